from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline_service.drawing.printable import printable


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("MARLOW\n7", "MARLOW / 7"),
        ("  MARLOW \r\n\n 7 ", "MARLOW / 7"),
        ("tab\there", "tab�here"),
        ("bell\x07", "bell�"),
        ("\x00\x01", "��"),
        ("\ud800", "�"),
        ("\ufffe\ufdd0", "��"),
        ("abc\u202egpj.exe", "abc�gpj.exe"),
        ("naïve שלום 名", "naïve שלום 名"),
        ("", ""),
    ],
)
def test_what_cannot_be_printed_is_seen_to_be_replaced(text: str, expected: str) -> None:
    """Controls, surrogates, non-characters and turns of direction are replaced, never dropped."""
    assert expected == printable(text)


def test_a_long_text_is_cut_with_an_ellipsis() -> None:
    """A text is cut to the longest asked for, the ellipsis included."""
    assert "abcd…" == printable("abcdefgh", 5)


@given(st.text(max_size=300) | st.text(st.characters(codec=None), max_size=50))
def test_any_text_is_one_line_that_xml_allows(text: str) -> None:
    """Whatever comes in, what goes out survives an XML writer and reader unchanged, on one line."""
    shown = printable(text)
    element = ET.Element("text")
    element.text = shown

    assert shown == (ET.fromstring(ET.tostring(element)).text or "")  # noqa: S314 - our own output
    assert len(shown.splitlines()) <= 1
    assert len(shown) <= 200
