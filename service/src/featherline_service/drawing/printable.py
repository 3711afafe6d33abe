"""Printable text: callers' words on one line, without what XML forbids or what turns the reading direction."""

from __future__ import annotations

import unicodedata
from typing import Final

_REPLACEMENT: Final = "\N{REPLACEMENT CHARACTER}"
_TURNS: Final = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Characters that turn the direction of what follows them (Unicode Standard Annex 9, table 1)."""
_BREAKS: Final = " / "


def printable(text: str, longest: int = 200) -> str:
    """Return a text on one line, its line breaks as ``/``, cut to at most `longest` characters.

    Controls, surrogates, non-characters and characters that turn the reading direction become the replacement
    character, so that nothing is dropped unseen.

    References:
        Extensible Markup Language (XML) 1.0, fifth edition, production 2 (Char).
    """
    lines = (line.strip() for line in text.splitlines())
    whole = "".join(_shown(character) for character in _BREAKS.join(line for line in lines if line))
    return whole if len(whole) <= longest else whole[: longest - 1].rstrip() + "…"


def _shown(character: str) -> str:
    noncharacter = ord(character) & 0xFFFE == 0xFFFE or 0xFDD0 <= ord(character) <= 0xFDEF  # noqa: PLR2004 - Unicode, 23.7
    hidden = unicodedata.category(character) in {"Cc", "Cs", "Zl", "Zp"}
    return _REPLACEMENT if noncharacter or hidden or character in _TURNS else character
