"""How Accept and If-None-Match are read."""

from __future__ import annotations

import pytest

from featherline_service.web.http.negotiation import has, weight


@pytest.mark.parametrize(
    ("accept", "expected"),
    [
        ("text/*;q=0.3, text/plain;q=0.7, text/plain;format=flowed, text/plain;format=fixed;q=0.4, */*;q=0.5", 0.7),
        ("text/*;q=0.3, */*;q=0.5", 0.3),
        ("image/png, */*;q=0.5", 0.5),
        ("image/png", 0.0),
        ("text/plain", 1.0),
        ("TEXT/Plain ; Q=0.25", 0.25),
        ("*/*, text/plain;q=0", 0.0),
        ("text/plain;q=0, */*", 0.0),
        ("text/*;q=0, */*", 0.0),
        ("text/plain;q=0.001", 0.001),
        ("text/plain;q=2", 1.0),
        (",, text/plain", 1.0),
        (";", 0.0),
    ],
)
def test_the_most_specific_range_gives_the_weight(accept: str, expected: float) -> None:
    """A range for the type itself counts before one for its group, and that before all (RFC 9110 section 12.5.1).

    The first row is the example of that section, without the types that differ by a parameter alone.
    """
    assert expected == weight(accept, "text/plain")


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ('"xyzzy"', True),
        ('W/"xyzzy"', True),
        ('"r2d2xxxx", "xyzzy", "c3piozzzz"', True),
        ('"r2d2xxxx","xyzzy"', True),
        ("*", True),
        (' "xyzzy" ', True),
        ('"a,b", "xyzzy"', True),
        ('"r2d2xxxx"', False),
        ("xyzzy", False),
        ('""xyzzy""', False),
        ("", False),
        ('"*"', False),
    ],
)
def test_a_tag_is_found_in_a_list(header: str, *, expected: bool) -> None:
    """Tags are compared weakly, whole and in their quotes (RFC 9110 section 13.1.2, with its examples)."""
    assert expected == has(header, '"xyzzy"')
