"""Shoe sizes as people write them: ``EU 42``, ``42 2/3``, ``42½``, ``8 UK``, ``US men's 9,5``, ``26.5 cm``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final, cast

from featherline.command.parser import literals
from featherline.wire import Size, SizeSystem

_SYSTEMS: Final[Mapping[frozenset[str], SizeSystem]] = {
    frozenset(words.split()): system
    for system, spellings in cast(
        "Mapping[SizeSystem, str]",
        {
            "EU": "eu, eur, euro",
            "UK": "uk, gb",
            "UK-child": "uk child, uk children, uk childrens, uk kids, uk junior",
            "US-men": "us men, us mens, us m",
            "US-women": "us women, us womens, us w, us ladies",
            "US-women-FIA": "us women fia",
            "US-child": "us child, us children, us childrens, us kids",
            "JP": "jp, japan, cm",
            "mondopoint": "mondopoint, mm",
        },
    ).items()
    for words in spellings.split(", ")
}
_SIZE: Final = re.compile(
    r"(?P<before>[^0-9]*?)(?P<whole>[0-9]{1,3})"
    r"(?:[.,](?P<decimals>[0-9]{1,2})|\s*(?P<sign>[¼½¾⅓⅔])|\s+(?P<fraction>[0-9]\s?[/\u2044]\s?[0-9]))?"
    r"(?P<after>[^0-9]*)"
)
_SYSTEM: Final = re.compile(r"[a-z][a-z\s().-]*|\([a-z\s.-]+\)|")
_DECIMALS: Final[Mapping[str, str]] = {
    **dict.fromkeys(("¼", "1/4"), ".25"),
    **dict.fromkeys(("½", "1/2"), ".5"),
    **dict.fromkeys(("¾", "3/4"), ".75"),
    **dict.fromkeys(("⅓", "1/3", "33"), " 1/3"),
    **dict.fromkeys(("⅔", "2/3", "66", "67"), " 2/3"),
}
_APOSTROPHES: Final = str.maketrans("", "", "'`\N{RIGHT SINGLE QUOTATION MARK}")
_LONGEST_EXCERPT: Final = 40


def parse(text: str, system: SizeSystem | None = None) -> Size:
    """Return the size of a text.

    Args:
        text: A value and, before or after it, its system.
        system: The system of a value without one.

    Raises:
        ValueError: The text is not a size, or does not say its system; the message says what to write.
    """
    size = _SIZE.fullmatch(text.strip().casefold().translate(_APOSTROPHES))
    names = [] if size is None else [name for part in ("before", "after") if (name := size[part].strip())]
    if size is None or not all(map(_SYSTEM.fullmatch, names)):
        raise ValueError(f"{_excerpt(text)} is not a size; {_EXAMPLES}")
    words = frozenset(re.findall(r"[a-z]+", " ".join(names)))
    if words == {"us"}:
        raise ValueError(
            f"{_excerpt(text)} is not a size of one system: write US-men, US-women or US-child with its value"
        )
    if not words and system is None:
        raise ValueError(f"{_excerpt(text)} is not a size without its system; {_EXAMPLES}")
    if words and words not in _SYSTEMS:
        raise ValueError(f"{_excerpt(text)} is not a size of a known system; {_EXAMPLES}")
    value = f"{int(size['whole'])}{_part(size)}"
    return Size(system=cast("SizeSystem", _SYSTEMS[words] if words else system), value=value)


def _part(size: re.Match[str]) -> str:
    """Return what a value has after its whole number, as the service reads it."""
    written = size["sign"] or re.sub(r"\s", "", size["fraction"] or "").replace("\N{FRACTION SLASH}", "/")
    if written:
        if written not in _DECIMALS:
            raise ValueError(f"{_excerpt(size[0])} is not a size: sizes go in halves or thirds")
        return _DECIMALS[written]
    decimals = (size["decimals"] or "").rstrip("0")
    return _DECIMALS.get(decimals, f".{decimals}" if decimals else "")


def _excerpt(text: str) -> str:
    return repr(text if len(text) <= _LONGEST_EXCERPT else f"{text[:_LONGEST_EXCERPT]}...")


_EXAMPLES: Final = (
    'write a system and a value, such as "EU 42", "EU 42 2/3", "UK 8.5" or "US-men 9"; the systems are '
    f"{', '.join(literals(SizeSystem))}"
)
