"""What a bench card says: plain words, settings and drawings, for the page and for the PDF alike."""

from __future__ import annotations

from typing import Final, Literal, NamedTuple

from featherline_service.drawing import placements
from featherline_service.drawing.placements import Placed
from featherline_service.drawing.scene import Scene

SCALES: Final = (1.0, 0.8, 2.0 / 3.0, 0.5, 0.4, 1.0 / 3.0, 0.25, 0.2, 0.1)
"""The scales that a drawing on a card may have: 1 : 1, 1.25, 1.5, 2, 2.5, 3, 4, 5 and 10."""
WIDTH_MM: Final = 190.0
"""[mm] Printable width of both A4 and Letter with margins of 10 and 12.9 mm."""
_DRAWINGS_HEIGHT_MM: Final = 96.0
_BESIDE_A_TRIAL_MM: Final = 44.0
_PRESSING_MM: Final = 11.0
_LEAST_HEIGHT_MM: Final = 34.0
_MOST_ABREAST: Final = 3


class Tile(NamedTuple):
    """One setting: what it is, its value, and the same in the other scale or unit."""

    label: str
    value: str
    also: str = ""


class Pressing(NamedTuple):
    """One closing of the press: its number, what is loaded, and its settings."""

    heading: str
    where: str
    tiles: tuple[Tile, ...]


class Steps(NamedTuple):
    """Steps in order, numbered from one."""

    heading: str
    sentences: tuple[str, ...]


class Rung(NamedTuple):
    """A rung of a trial: its setting, what is laid, how sure it is, and what a bond says of the upper."""

    setting: str
    lay: str
    heat: str
    holds: str


class Trial(NamedTuple):
    """A trial to be done first."""

    heading: str
    where: str
    rungs: tuple[Rung, ...]
    looks: tuple[str, ...]
    stop: tuple[str, ...]


class Card(NamedTuple):
    """A bench card. `by_hand` are the blanks to be filled in; `letter` is for paper of 8.5 by 11 in, else A4."""

    shop: str
    subject: str
    facts: tuple[tuple[str, str], ...]
    verdict: Literal["ready", "trial", "decline"]
    verdict_words: str
    reasons: tuple[str, ...]
    drawings: tuple[Placed, ...]
    pressings: tuple[Pressing, ...]
    steps: tuple[Steps, ...]
    trials: tuple[Trial, ...]
    cautions: tuple[str, ...]
    by_hand: tuple[str, ...]
    footing: str
    letter: bool


class Drawn(NamedTuple):
    """A placement drawing on the card, and the words under it."""

    scene: Scene
    words: str


def is_dense(card: Card) -> bool:
    """Return whether a card has so much to say that its words are set smaller."""
    return bool(card.trials) or len(card.pressings) > 1


def abreast(card: Card) -> int:
    """Return how many drawings stand side by side."""
    return max(1, min(len(card.drawings), _MOST_ABREAST))


def drawn(card: Card) -> tuple[Drawn, ...]:
    """Return a card's drawings, each at the largest of `SCALES` that leaves room for the rest of the page."""
    columns = abreast(card)
    rows = -(-len(card.drawings) // columns)
    whole = _BESIDE_A_TRIAL_MM if card.trials else _DRAWINGS_HEIGHT_MM
    height = max(_LEAST_HEIGHT_MM, (whole - _PRESSING_MM * (len(card.pressings) - 1)) / max(rows, 1))
    return tuple(
        _drawn(number if len(card.drawings) > 1 else None, placed, WIDTH_MM / columns - 2.0, height)
        for number, placed in enumerate(card.drawings, 1)
    )


def _drawn(number: int | None, placed: Placed, width: float, height: float) -> Drawn:
    most = placements.scale_to_fit(placed, width, height)
    scale = next((scale for scale in SCALES if scale <= most), most)
    first = "" if number is None else f"{number}. "
    return Drawn(
        placements.draw_small(placed, scale),
        f"{first}{placed.title}. {placed.lines[1]} Scale 1 : {1.0 / scale:.3g}. Hatched: not to be marked. "
        "Dashed: the clearance.",
    )
