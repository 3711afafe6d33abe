"""Pseudo-locales: English changed so that it shows which texts are not made of messages, and mirrored for a test."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Final

ACCENTED: Final = "en-XA"
MIRRORED: Final = "ar-XB"
OPEN: Final = "\ue000"
CLOSE: Final = "\ue001"
"""Around each value in a sentence, before it is changed: of the private use area, which no value has."""

_ACCENTS: Final = str.maketrans(
    "ABCDEFGHIJKLMNOPRSTUWYZabcdefghijklmnoprstuwyz", "ÅƁÇÐÉƑĜĤÎĴĶĻṀÑÖÞŔŠŢÛŴÝŽåƀçđéƒĝĥîĵķļɱñöþŕšţûŵýž"
)
_VALUE: Final = re.compile(f"({OPEN}.*?{CLOSE})", re.DOTALL)
_WORD: Final = re.compile(r"\w+")
_FIRST_STRONG: Final = "\u2068"
_RIGHT_TO_LEFT: Final = "\u202e"
_POP_ISOLATE: Final = "\u2069"
_POP_OVERRIDE: Final = "\u202c"


def isolated(value: str) -> str:
    """Return a value whose direction neither changes that of the sentence nor is changed by it (UAX 9)."""
    return f"{_FIRST_STRONG}{value}{_POP_ISOLATE}"


def _accented(sentence: str) -> str:
    parts = (part[1:-1] if part.startswith(OPEN) else part.translate(_ACCENTS) for part in _VALUE.split(sentence))
    return f"[{''.join(parts)}]"


def _mirrored(sentence: str) -> str:
    def turned(word: re.Match[str]) -> str:
        return f"{_RIGHT_TO_LEFT}{word[0]}{_POP_OVERRIDE}"

    return "".join(
        isolated(part[1:-1]) if part.startswith(OPEN) else _WORD.sub(turned, part) for part in _VALUE.split(sentence)
    )


CHANGES: Final[Mapping[str, Callable[[str], str]]] = {ACCENTED: _accented, MIRRORED: _mirrored}
"""The change of an English sentence, by pseudo-locale."""
