"""Rosters of invented crews: a name and a number on each pair, in mixed sizes."""

from __future__ import annotations

import itertools
import random
from typing import Final

from featherline.wire import BookShoe, Order, Placement, Roster, RosterRow, Size, TextArtwork

# Without letters whose strokes the plain font draws finer than film is cut.
_SYLLABLES: Final = ("MAR", "LOW", "SEN", "TI", "RO", "BEL", "DU", "HAR", "PER", "ISH", "WICK", "TON", "LEY", "COR")
_LETTERS: Final = 7


def roster(rows: int, seed: int = 8037) -> Roster:
    """Return a roster of so many rows, no two of one name; other seeds give other names."""
    draw = random.Random(seed)  # noqa: S311 - a repeatable choice of names, not a secret
    names = {first + second + third for first, second, third in itertools.product(_SYLLABLES, repeat=3)}
    return Roster(
        order=Order(
            shoe=BookShoe(shoe="court-trainer", size=_size(42)),
            placements=(_text("outer-quarter", "{name}", "9.5 mm"), _text("inner-quarter", "{number}", "18 mm")),
            policy="club",
            hours_a_day=6,
        ),
        rows=tuple(
            RosterRow(
                fields={"name": name[:_LETTERS], "number": str(draw.randint(1, 99))},
                size=_size(draw.randint(40, 46)),
                pairs=draw.choice((1, 1, 1, 2)),
            )
            for name in draw.sample(sorted({name[:_LETTERS] for name in names}), rows)
        ),
    )


def _size(value: int) -> Size:
    return Size(system="EU", value=str(value))


def _text(panel: str, text: str, letter_height: str) -> Placement:
    artwork = TextArtwork(text=text, font="plain", letter_height=letter_height, letter_spacing=0.12)
    return Placement(panel=panel, film="smooth", colour="gorse", artwork=artwork)
