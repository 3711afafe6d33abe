"""What the bytes of an answer say in a word: its verdict, and the reasons that stand behind it."""

from __future__ import annotations

from typing import Final

import msgspec
from msgspec import Struct


class Said(Struct, frozen=True):
    """A reason: its code, and the verdict that it alone leads to."""

    code: str
    verdict: str


class Told(Struct, frozen=True):
    """The verdict of an answer, None where it has none, and its reasons."""

    verdict: str | None = None
    reasons: tuple[Said, ...] = ()


class _Answered(Told, frozen=True):
    """An answer: its verdict stands in it, or in what it is about. Of a roster the reasons stand in the rows."""

    recipe: Told | None = None
    fit: Told | None = None
    trial: Told | None = None
    rows: tuple[Told, ...] = ()


NOTHING: Final = Told()
_decode: Final = msgspec.json.Decoder(_Answered).decode


def told(answered: bytes) -> Told:
    """Return what the JSON text of an answer says."""
    answer = _decode(answered)
    own = answer.recipe or answer.fit or answer.trial or answer
    rows = tuple(reason for row in answer.rows for reason in row.reasons)
    return Told(own.verdict, (*own.reasons, *rows))
