from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline_service.questions.templates import TemplateError, read


@pytest.mark.parametrize(
    ("text", "fields", "filled"),
    [
        ("{name}\n{number}", ("name", "number"), "MARLOW\n7"),
        ("{name} and {name}", ("name",), "MARLOW and MARLOW"),
        ("No. {number}", ("number",), "No. 7"),
        ("{{{name}}}", ("name",), "{MARLOW}"),
        ("{{name}}", (), "{name}"),
        ("}}{{", (), "}{"),
        ("plain", (), "plain"),
    ],
)
def test_fields_are_filled_and_doubled_braces_are_braces(text: str, fields: tuple[str, ...], filled: str) -> None:
    """A name in braces is a field, whatever stands around it."""
    template = read(text)

    assert (fields, filled) == (template.fields, template.fill({"name": "MARLOW", "number": "7"}))


@pytest.mark.parametrize(
    "text", ["{", "a } b", "{name", "name}", "{name}}", "{{name}", "{}", "{Name}", "{na me}", "{1st}"]
)
def test_what_is_no_field_is_refused(text: str) -> None:
    """A brace alone, or around what is no name of a field; the message says how to write a brace."""
    with pytest.raises(TemplateError, match=r"twice|double"):
        read(text)


@given(st.text(max_size=50), st.text(max_size=50))
def test_a_value_stands_as_it_is(value: str, around: str) -> None:
    """Names may hold braces, and any text can be written with doubled ones."""
    escaped = around.replace("{", "{{").replace("}", "}}")

    assert around + value + around == read(f"{escaped}{{name}}{escaped}").fill({"name": value})


def test_a_value_is_not_a_template() -> None:
    """A player called {number} is not number seven."""
    assert "{number} 7" == read("{name} {number}").fill({"name": "{number}", "number": "7"})
