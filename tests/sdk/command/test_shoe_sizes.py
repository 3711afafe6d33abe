"""Shoe sizes as people write them."""

from __future__ import annotations

from typing import get_args

import pytest

from featherline.command import shoe_sizes
from featherline.wire import Size, SizeSystem


@pytest.mark.parametrize(
    ("text", "system", "value"),
    [
        ("EU 42", "EU", "42"),
        ("eu42", "EU", "42"),
        ("42 EUR", "EU", "42"),
        ("EU 42,5", "EU", "42.5"),
        ("EU 42.50", "EU", "42.5"),
        ("EU 42.0", "EU", "42"),
        ("EU 42½", "EU", "42.5"),
        ("EU 42 ½", "EU", "42.5"),
        ("EU 42 1/2", "EU", "42.5"),
        ("EU 42 1\N{FRACTION SLASH}2", "EU", "42.5"),
        ("EU 42 2/3", "EU", "42 2/3"),
        ("EU 42⅔", "EU", "42 2/3"),
        ("EU 42.67", "EU", "42 2/3"),
        ("EU 42,33", "EU", "42 1/3"),
        ("42 1/3 (EU)", "EU", "42 1/3"),
        ("UK 8", "UK", "8"),
        ("8 1/2 UK", "UK", "8.5"),
        ("UK-child 9", "UK-child", "9"),
        ("US-men 9.5", "US-men", "9.5"),
        ("US men's 9,5", "US-men", "9.5"),
        ("9.5 US (M)", "US-men", "9.5"),
        ("W 8 US", "US-women", "8"),
        ("US-women-FIA 8", "US-women-FIA", "8"),
        ("26,5 cm", "JP", "26.5"),
        ("265 mm", "mondopoint", "265"),
        ("\N{NO-BREAK SPACE}UK\N{NO-BREAK SPACE}08 ", "UK", "8"),
    ],
)
def test_a_size_is_read_however_it_is_written(text: str, system: SizeSystem, value: str) -> None:
    """System first or last, halves and thirds as fractions, signs or decimals, decimal points or commas."""
    assert Size(system=system, value=value) == shoe_sizes.parse(text)


@pytest.mark.parametrize("system", get_args(get_args(SizeSystem)[0]))
def test_every_system_of_the_service_is_read(system: SizeSystem) -> None:
    """As the service names it; a bare value takes the system that it is given."""
    assert Size(system=system, value="20") == shoe_sizes.parse(f"{system} 20")
    assert Size(system=system, value="20") == shoe_sizes.parse("20", system)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "huge",
        "42-43",
        "41/42",
        "42 5/7",
        "-42",
        "=42",
        "#N/A",
        "EU",
        "8-Sep",
        "EU 42 UK 8",
        "EUUK 8",
        "1 2",
        "420000",
    ],
)
def test_what_is_no_size_is_refused(text: str) -> None:
    """Two sizes, a date that a spreadsheet made of one, an error value, a sign: nothing is guessed."""
    with pytest.raises(ValueError, match="is not a size"):
        shoe_sizes.parse(text, "EU")


def test_a_size_without_its_system_says_what_to_write() -> None:
    """US alone is the marking of three systems."""
    with pytest.raises(ValueError, match="write US-men, US-women or US-child"):
        shoe_sizes.parse("US 9", "EU")
    with pytest.raises(ValueError, match=r"'42' is not a size without its system; write .* \"EU 42\""):
        shoe_sizes.parse("42")
