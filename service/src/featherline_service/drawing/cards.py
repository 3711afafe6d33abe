"""Content of a bench card and how it is divided into sheets: the same for the page of HTML and for the PDF.

The card hangs over a press: settings are read from two metres away. Each loading has a sheet of its own. A card with a
trial has the trial's rungs as its only settings, so that no two recipes are on one card.
"""

from __future__ import annotations

from typing import Final, Literal, NamedTuple

from featherline_service.drawing import placements
from featherline_service.drawing.placements import Placed
from featherline_service.drawing.scene import Scene, room_for
from featherline_service.messages.values import Quantity, Speaker, in_english

SCALES: Final = (1.0, 0.8, 2.0 / 3.0, 0.5, 0.4, 1.0 / 3.0, 0.25, 0.2, 0.1)
"""The scales that a drawing on a card may have: 1 : 1, 1.25, 1.5, 2, 2.5, 3, 4, 5 and 10."""
WIDTH_MM: Final = 190.0
"""[mm] Printable width of both A4 and Letter with margins of 10 and 12.9 mm."""
SETTING_PT: Final = 32.0
"""[pt] Size of settings. Capitals and figures of Helvetica and Roboto are 0.71 of it, 8 mm high: read from two metres,
at 1/250 of the distance (common practice of signs, no source)."""
TILES_ABREAST: Final = 3
"""How many settings stand side by side: temperature, dwell and pressure; what comes after them is laid on by hand."""
TILE_PADDING_MM: Final = 1.8
FACT_LABEL_MM: Final = 26.0
_FACT_PT: Final = 10.0
_MM_PER_PT: Final = 25.4 / 72.0
_MOST_ABREAST: Final = 3
_WIDEST_WAYS: Final = 0.7
"""How much of a drawing's width the words for the toe and the shoe may take."""


class Density(NamedTuple):
    """How close a sheet is set.

    `body_pt` is the size of steps [pt], `small_pt` that of cautions and remarks. `large_cover` says whether the cover
    sheet is as large as a setting of the press, and `run_in` whether a list's sentences follow one another on a line.
    """

    body_pt: float
    small_pt: float
    large_cover: bool = True
    run_in: bool = False


DENSITIES: Final = (
    Density(10.0, 9.0),
    Density(9.5, 8.5),
    Density(9.0, 8.0),
    Density(9.0, 8.0, large_cover=False),
    Density(9.5, 8.5, large_cover=False, run_in=True),
    Density(9.0, 8.0, large_cover=False, run_in=True),
    Density(8.5, 7.5, large_cover=False, run_in=True),
    Density(8.0, 7.5, large_cover=False, run_in=True),
    Density(7.5, 7.5, large_cover=False, run_in=True),
)
"""The first at which a sheet takes one page is taken; what takes more pages anyway has the first of all. What is held
in the hand is read from 7.5 pt on (common practice, no source)."""


class Tile(NamedTuple):
    """One setting: its label, its value, and the value in the other scale or a remark.

    Settings of the press are `large`, to be read from two metres; what is done by hand, such as the peel, is not.
    """

    label: str
    value: str
    also: str = ""
    large: bool = True


class Pressing(NamedTuple):
    """One closing of the press: its number, what is loaded, its settings, and the number of its loading.

    `evidence` is a line on what its settings stand on; nothing where they are not ready.
    """

    heading: str
    where: str
    tiles: tuple[Tile, ...]
    loading: int = 1
    evidence: str = ""


class Steps(NamedTuple):
    """Steps in order, numbered from one, and the number of their loading."""

    heading: str
    sentences: tuple[str, ...]
    loading: int = 1


class Cut(NamedTuple):
    """Pieces of film to be cut: which and how many, film and colour, roll or offcut, and how, such as mirrored."""

    pieces: str
    film: str
    source: str
    way: str
    loading: int = 1


class Rung(NamedTuple):
    """A rung of a trial: its setting, what is laid, how sure it is, and what a bond means; nothing where none can be.

    `tiles` are the settings one by one, shown in place of `setting`, as large as those of a pressing.
    """

    setting: str
    lay: str
    heat: str
    holds: str
    tiles: tuple[Tile, ...] = ()


class Trial(NamedTuple):
    """A trial: its place, what comes before its rungs, these in order, what to look for, when to stop, and the rest.

    `afterwards` is what is done with its result. `uppers` are those that the shoe may be of, each behind the letter by
    which the rungs name it. `loadings` are those that the trial is about; empty: all.
    """

    heading: str
    where: str
    before: tuple[str, ...]
    rungs: tuple[Rung, ...]
    looks: tuple[str, ...]
    stop: tuple[str, ...]
    afterwards: tuple[str, ...]
    uppers: tuple[str, ...] = ()
    loadings: tuple[int, ...] = ()

    @property
    def rules(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """What holds for every rung and after the last, in order, by the message of its heading."""
        return (
            ("card.trial.looks", self.looks),
            ("card.trial.stop", self.stop),
            ("card.trial.after", self.afterwards),
        )


class Card(NamedTuple):
    """A bench card.

    `by_hand` are the blanks to fill in; `letter` is for paper of 8.5 by 11 in, else A4. With `trials`, and on a card
    of an order that is declined, neither pressings nor cuts nor steps are shown. `drawing_loadings` are the loadings of
    the drawings, one for each; empty: all of the first. `fact_loadings` are, for each fact, the loadings that it is
    about; empty: all. `reference` is the caller's own word for the order. `tell` says the card's own words.
    """

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
    cuts: tuple[Cut, ...] = ()
    drawing_loadings: tuple[int, ...] = ()
    fact_loadings: tuple[tuple[int, ...], ...] = ()
    reference: str = ""
    tell: Speaker = in_english()


class Sheet(NamedTuple):
    """The part of a card for one loading, or for one trial: a page, and more where it is long.

    `heading` names the trial, or the loading of several. `drawings` have their number on the card, None for
    a card with one drawing, and `facts` are those of the order and of this loading. The `first` sheet has the reasons
    and the cautions, the `last` one the blanks.
    """

    heading: str
    facts: tuple[tuple[str, str], ...]
    pressings: tuple[Pressing, ...]
    cuts: tuple[Cut, ...]
    drawings: tuple[tuple[int | None, Placed], ...]
    steps: tuple[Steps, ...]
    trials: tuple[Trial, ...]
    first: bool
    last: bool


class Drawn(NamedTuple):
    """A placement drawing on the card, the words under it, and its scale."""

    scene: Scene
    words: str
    scale: float


def sheets(card: Card) -> tuple[Sheet, ...]:
    """Return the sheets of a card: one for each loading, or for each trial; one for a decline."""
    numbers = [number if len(card.drawings) > 1 else None for number in range(1, len(card.drawings) + 1)]
    loadings = card.drawing_loadings or (1,) * len(card.drawings)
    drawings = list(zip(numbers, card.drawings, strict=True))
    facts = list(zip(card.facts, card.fact_loadings or ((),) * len(card.facts), strict=True))
    if card.verdict == "decline":
        return (Sheet("", card.facts, (), (), tuple(drawings), (), (), first=True, last=True),)
    if card.trials:
        return tuple(
            Sheet(
                heading=trial.heading,
                facts=tuple(fact for fact, about in facts if _meet(about, trial.loadings)),
                pressings=(),
                cuts=(),
                drawings=tuple(
                    each for each, at in zip(drawings, loadings, strict=True) if _meet((at,), trial.loadings)
                ),
                steps=(),
                trials=(trial,),
                first=number == 1,
                last=number == len(card.trials),
            )
            for number, trial in enumerate(card.trials, 1)
        )
    there = sorted({pressing.loading for pressing in card.pressings} | set(loadings)) or [1]
    return tuple(
        Sheet(
            heading=card.tell("card.loading", loading=loading, loadings=len(there)) if len(there) > 1 else "",
            facts=tuple(fact for fact, about in facts if not about or loading in about),
            pressings=tuple(pressing for pressing in card.pressings if pressing.loading == loading),
            cuts=tuple(cut for cut in card.cuts if cut.loading == loading),
            drawings=tuple(drawing for drawing, at in zip(drawings, loadings, strict=True) if at == loading),
            steps=tuple(steps for steps in card.steps if steps.loading == loading),
            trials=(),
            first=loading == there[0],
            last=loading == there[-1],
        )
        for loading in there
    )


def _meet(some: tuple[int, ...], others: tuple[int, ...]) -> bool:
    """Return whether loadings have one in common; none stands for all."""
    return not some or not others or not set(some).isdisjoint(others)


def large_tiles(pressing: Pressing, density: Density) -> tuple[Tile, ...]:
    """Return the settings that are shown in large."""
    large = tuple(tile for tile in pressing.tiles if tile.large)
    return large if density.large_cover else large[:TILES_ABREAST]


def fact_rows(facts: tuple[tuple[str, str], ...]) -> tuple[tuple[tuple[str, str], ...], ...]:
    """Return facts in rows: short ones in twos, which saves lines at the head of the sheet."""
    rows: list[tuple[tuple[str, str], ...]] = []
    for fact in facts:
        if rows and len(rows[-1]) == 1 and _is_short(fact) and _is_short(rows[-1][0]):
            rows[-1] = (*rows[-1], fact)
        else:
            rows.append((fact,))
    return tuple(rows)


def _is_short(fact: tuple[str, str]) -> bool:
    return room_for(fact[1], _FACT_PT * _MM_PER_PT) <= 0.5 * WIDTH_MM - FACT_LABEL_MM


def same_pressure(trial: Trial) -> Tile | None:
    """Return the pressure of a trial's rungs where all have the same, and None where they differ."""
    pressures = {rung.tiles[-1] if rung.tiles else None for rung in trial.rungs}
    return pressures.pop() if len(pressures) == 1 else None


def same_lay(trial: Trial) -> str:
    """Return what is laid on at every rung; nothing where it differs."""
    lays = {rung.lay for rung in trial.rungs}
    return lays.pop() if len(lays) == 1 else ""


def same_holds(trial: Trial) -> str:
    """Return what a bond means where it means the same at every rung; nothing where it differs."""
    holds = {rung.holds for rung in trial.rungs}
    return holds.pop() if len(holds) == 1 else ""


def abreast(sheet: Sheet) -> int:
    """Return how many drawings stand side by side."""
    return max(1, min(len(sheet.drawings), _MOST_ABREAST))


def drawn(sheet: Sheet, height_mm: float, tell: Speaker) -> tuple[Drawn, ...]:
    """Return a sheet's drawings at the largest of `SCALES` at which all rows together fit a height [mm]."""
    columns = abreast(sheet)
    rows = max(1, -(-len(sheet.drawings) // columns))
    return tuple(
        _drawn(number, placed, (WIDTH_MM / columns - 2.0, height_mm / rows), tell) for number, placed in sheet.drawings
    )


def _drawn(number: int | None, placed: Placed, room: tuple[float, float], tell: Speaker) -> Drawn:
    if placements.room_for_ways(placed) > _WIDEST_WAYS * room[0]:  # the words under the drawing name the shoe, too
        placed = placed._replace(ways=placed.ways._replace(left="", right=""))
    scale = placements.largest_scale(placed, *room, SCALES)
    if scale is None:
        scale = placements.scale_to_fit(placed, *room)
    first = "" if number is None else f"{number}. "
    ratio = float(f"{1.0 / scale:.3g}")
    words = tell(
        "card.drawn",
        shoe=placed.shoe or "none",
        title=placed.title,
        scale=Quantity(ratio, None, len(f"{ratio:g}".partition(".")[2])),
    )
    return Drawn(placements.draw_small(placed, scale), f"{first}{words}", scale)


def spans(tiles: tuple[Tile, ...]) -> tuple[int, ...]:
    """Return over how many of `TILES_ABREAST` columns each tile goes, so that values fit and rows are full."""
    column = WIDTH_MM / TILES_ABREAST
    columns: list[int] = []
    used = 0
    for tile in tiles:
        needed = 1 if room_for(tile.value, SETTING_PT * _MM_PER_PT) <= column - 2.0 * TILE_PADDING_MM else 2
        if used + needed > TILES_ABREAST:
            columns[-1] += TILES_ABREAST - used
            used = 0
        columns.append(needed)
        used = (used + needed) % TILES_ABREAST
    if columns and used:
        columns[-1] += TILES_ABREAST - used
    return tuple(columns)
