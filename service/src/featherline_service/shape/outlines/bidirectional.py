"""Directions of the runs of a line: the Unicode bidirectional algorithm for text without formatting characters.

Why not a library: those tried return reordered text, and shaping needs the runs in typing order. Rules X1 to X8 are
left out, since formatting characters (embeddings, overrides, isolates) are refused earlier.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import Final

_STRONG: Final = {"L", "R", "AL"}
_NEUTRAL: Final = {"B", "S", "WS", "ON", "BN"}
# Bidi_Paired_Bracket of the brackets in common use, and their canonical equivalents.
_BRACKETS: Final = {
    "(": ")", "[": "]", "{": "}", "\u0f3a": "\u0f3b", "\u0f3c": "\u0f3d", "\u169b": "\u169c", "\u2045": "\u2046",
    "\u207d": "\u207e", "\u208d": "\u208e", "\u2308": "\u2309", "\u230a": "\u230b", "\u2329": "\u232a",
    "\u27e6": "\u27e7", "\u27e8": "\u27e9", "\u27ea": "\u27eb", "\u27ec": "\u27ed", "\u27ee": "\u27ef",
    "\u2983": "\u2984", "\u2985": "\u2986", "\u3008": "\u3009", "\u300a": "\u300b", "\u300c": "\u300d",
    "\u300e": "\u300f", "\u3010": "\u3011", "\u3014": "\u3015", "\u3016": "\u3017", "\u3018": "\u3019",
    "\u301a": "\u301b", "\uff08": "\uff09", "\uff3b": "\uff3d", "\uff5b": "\uff5d", "\uff5f": "\uff60",
    "\uff62": "\uff63",
}  # fmt: skip
_CANONICAL: Final = {"\u2329": "\u3008", "\u232a": "\u3009"}
_MOST_OPEN_BRACKETS: Final = 63


@dataclass(frozen=True)
class Run:
    """Characters of a line from `start` up to `end` that run in one direction."""

    start: int
    end: int
    leftwards: bool


def runs(line: str) -> list[Run]:
    """Return the runs of a line from left to right; the characters of a run stay in typing order.

    References:
        Unicode Standard Annex #9, *Unicode Bidirectional Algorithm*, rules P2 to P3, W1 to W7, N0 to N2, I1 to I2, L1
        and L2.
    """
    levels = embedding_levels(line)
    level_runs: list[tuple[Run, int]] = []
    for place, level in enumerate(levels):
        if level_runs and level_runs[-1][1] == level:
            start = level_runs.pop()[0].start
            level_runs.append((Run(start, place + 1, level % 2 == 1), level))
        else:
            level_runs.append((Run(place, place + 1, level % 2 == 1), level))
    # L2: from the highest level down to 1, reverse every sequence of runs at that level or higher.
    for level in range(max(levels, default=0), 0, -1):
        place = 0
        while place < len(level_runs):
            end = place
            while end < len(level_runs) and level_runs[end][1] >= level:
                end += 1
            level_runs[place:end] = reversed(level_runs[place:end])
            place = end + 1
    return [run for run, _ in level_runs]


def embedding_levels(line: str, base: int | None = None) -> list[int]:
    """Return the embedding levels of a line's characters: even runs to the right, odd to the left.

    Args:
        line: A line without formatting characters.
        base: The paragraph's level, 0 or 1; None takes it from the first strong character.
    """
    classes = [unicodedata.bidirectional(character) or "L" for character in line]
    if base is None:
        base = next((int(kind != "L") for kind in classes if kind in _STRONG), 0)
    around = "R" if base % 2 else "L"
    kinds = _weak(classes, around)
    _brackets(line, kinds, classes, around)
    _neutral(kinds, around)
    steps = {"L": (0, 1), "R": (1, 0), "AN": (2, 1), "EN": (2, 1)}
    levels = [base + steps[kind][base % 2] for kind in kinds]
    # L1: separators, and whitespace before them and at the end, take the paragraph's level.
    trailing = True
    for place in range(len(line) - 1, -1, -1):
        trailing = classes[place] in {"S", "B"} or (trailing and classes[place] in {"WS", "BN"})
        if trailing:
            levels[place] = base
    return levels


def _weak(classes: list[str], around: str) -> list[str]:
    """Return the types after the weak types are resolved (W1 to W7)."""
    kinds = list(classes)
    before, strong = around, around
    for place, kind in enumerate(kinds):
        if kind == "NSM":
            kinds[place] = before
        elif kind == "EN" and strong == "AL":
            kinds[place] = "AN"
        before = kinds[place]
        strong = before if before in _STRONG else strong
    kinds = ["R" if kind == "AL" else kind for kind in kinds]
    _beside_numbers(kinds)
    strong = around
    for place, kind in enumerate(kinds):
        if kind == "EN" and strong == "L":
            kinds[place] = "L"
        strong = kind if kind in {"L", "R"} else strong
    return kinds


def _beside_numbers(kinds: list[str]) -> None:
    """Give separators and terminators beside numbers the number's type; the rest become neutral (W4 to W6)."""
    for place in range(1, len(kinds) - 1):
        left, kind, right = kinds[place - 1 : place + 2]
        if left == right and (kind == "CS" or (kind == "ES" and left == "EN")) and left in {"EN", "AN"}:
            kinds[place] = left
    for direction in (1, -1):
        for place in range(len(kinds))[::direction]:
            beside = place - direction
            if kinds[place] == "ET" and 0 <= beside < len(kinds) and kinds[beside] == "EN":
                kinds[place] = "EN"
    kinds[:] = ["ON" if kind in {"ES", "ET", "CS"} else kind for kind in kinds]


def _direction(kind: str) -> str | None:
    """Return the direction of a type for its neutral neighbours; None for a neutral type."""
    return {"L": "L", "R": "R", "EN": "R", "AN": "R"}.get(kind)


def _brackets(line: str, kinds: list[str], classes: list[str], around: str) -> None:
    """Give bracket pairs the direction of the text inside, or before them (N0)."""
    for start, end in _pairs(line, kinds):
        directions = {_direction(kind) for kind in kinds[start + 1 : end]} - {None}
        if around in directions:
            direction = around
        elif directions:
            before = next((d for kind in kinds[start - 1 :: -1] if start and (d := _direction(kind))), around)
            direction = before if before != around else around
        else:
            continue
        for place in (start, end):
            kinds[place] = direction
            # Marks on a bracket take its direction.
            after = place + 1
            while after < len(kinds) and classes[after] == "NSM":
                kinds[after] = direction
                after += 1


def _pairs(line: str, kinds: list[str]) -> list[tuple[int, int]]:
    """Return the positions of matching brackets, ordered by the opening bracket (BD16)."""
    opened: list[tuple[str, int]] = []
    pairs = []
    for place, character in enumerate(line):
        if kinds[place] != "ON":
            continue
        closing = _BRACKETS.get(character)
        if closing is not None:
            if len(opened) == _MOST_OPEN_BRACKETS:
                break
            opened.append((_CANONICAL.get(closing, closing), place))
            continue
        closing = _CANONICAL.get(character, character)
        for depth in range(len(opened) - 1, -1, -1):
            if opened[depth][0] == closing:
                pairs.append((opened[depth][1], place))
                del opened[depth:]
                break
    return sorted(pairs)


def _neutral(kinds: list[str], around: str) -> None:
    """Give neutrals the direction that both their neighbours share, or else the paragraph's (N1, N2)."""
    place = 0
    while place < len(kinds):
        if kinds[place] not in _NEUTRAL:
            place += 1
            continue
        end = place
        while end < len(kinds) and kinds[end] in _NEUTRAL:
            end += 1
        left = _direction(kinds[place - 1]) if place else around
        right = _direction(kinds[end]) if end < len(kinds) else around
        kinds[place:end] = [left if left == right and left else around] * (end - place)
        place = end
