"""Constrained texts that many types share: ids, sentences, revisions, instants, colours, path data."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Final

from msgspec import Meta

TYPED: Final = "typed"
"""In a type's `extra`: what a customer types there on a shop's page, a text, a height or a number of pairs."""

# `$` alone also matches before a final newline in Python; the look-ahead holds it to the true end of the text.
_END: Final = r"$(?!\n)"

Identifier = Annotated[
    str,
    Meta(
        pattern=f"^[a-z0-9]+(-[a-z0-9]+)*{_END}",
        max_length=48,
        description="The id of a record: lower-case letters and digits, joined by single hyphens.",
        examples=["smooth"],
    ),
]
Sentence = Annotated[str, Meta(min_length=1, max_length=1000, description="A sentence for people.")]
Name = Annotated[str, Meta(min_length=1, max_length=120, description="A name for people.")]
LanguageTag = Annotated[
    str,
    Meta(
        pattern=f"^[a-z]{{2,3}}(-[A-Za-z0-9]{{2,8}})*{_END}",
        max_length=35,
        description="A language tag (BCP 47).",
        examples=["de"],
    ),
]
Reference = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=64,
        description="The caller's own word for an order, such as its number. The answer repeats it, the seal holds it, "
        "and the bench card shows it.",
        examples=["K-2041"],
    ),
]
Hex = Annotated[
    str,
    Meta(
        pattern=f"^#[0-9a-f]{{6}}{_END}",
        max_length=7,
        description="An sRGB colour as six lower-case hexadecimal digits.",
        examples=["#1d2b44"],
    ),
]
Revision = Annotated[
    str,
    Meta(
        pattern=f"^sha256:[0-9a-f]{{64}}{_END}",
        max_length=71,
        description="The SHA-256 of the canonical shop book and of the plug-ins in force.",
    ),
]
Day = Annotated[
    str,
    Meta(
        pattern=f"^[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}{_END}",
        max_length=10,
        description="A day as year, month and day.",
        examples=["2026-11-03"],
    ),
]
Instant = Annotated[datetime, Meta(tz=True, description="An instant, RFC 3339, in UTC.")]
BookUntil = Annotated[
    Instant | None,
    Meta(
        description="Until when this revision of the book is in force: the same question may get another answer from "
        "then on. Null where no change is known. Past where the request named a revision that was in force before."
    ),
]
Engine = Annotated[str, Meta(max_length=32, description="The version of the service that computed the answer.")]
PathData = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=100_000,
        description="SVG path data (SVG 1.1 section 8.3), y downwards.",
        examples=["M0 0H60V30H0Z"],
    ),
]
