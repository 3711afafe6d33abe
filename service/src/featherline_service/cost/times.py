"""How long things take: the cutter from its path, hands from what they do, the press from its cycles.

Lengths are in millimetres, times in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import groupby
from typing import Literal

from msgspec import Struct

from featherline.wire.records import Handling


def cutting_s(*, length_mm: float, stops: int, speed_mm_s: float, acceleration_mm_s2: float, passes: int) -> float:
    r"""Return how long the blade takes along a path on which it stops [s].

    Between two stops a distance :math:`s` apart the blade starts from rest, gathers speed, and comes to rest again
    (a trapezoidal velocity profile; a triangle where the distance is too short to reach full speed):

    .. math:: t(s) = s/v + v/a \quad (s \ge v^2/a), \qquad t(s) = 2\sqrt{s/a} \quad (s < v^2/a)

    Only the number of stops is known, not where they are. As :math:`t` is concave, stops evenly spread take the longest
    (Jensen's inequality), so the answer is never too short. Travel with the blade lifted is left out.

    Args:
        length_mm: length of the knife path [mm], zero or more.
        stops: at how many places the blade stops: corners, and ends of outlines.
        speed_mm_s: speed along a straight line [mm/s], above zero.
        acceleration_mm_s2: acceleration [mm/s^2], above zero.
        passes: how many times the whole path is cut.

    References:
        L. Biagiotti, C. Melchiorri, *Trajectory Planning for Automatic Machines and Robots* (Springer 2008), section
        3.2: trapezoidal velocity profile; from memory. It follows from v = a t in two lines.
    """
    if length_mm == 0:
        return 0.0
    runs = max(stops, 1)
    run_mm = length_mm / runs
    if run_mm * acceleration_mm_s2 >= speed_mm_s**2:
        run_s = run_mm / speed_mm_s + speed_mm_s / acceleration_mm_s2
    else:
        run_s = 2.0 * math.sqrt(run_mm / acceleration_mm_s2)
    return passes * runs * run_s


def weeding_s(*, length_mm: float, waste_pieces: int, piece_s: float, metre_s: float, ease: float) -> float:
    """Return how long weeding one piece of film takes: by pieces taken out, and by the length they are torn along [s].

    `ease` is the film's factor: 1 as smooth film, 2 twice as long.
    """
    return ease * (waste_pieces * piece_s + length_mm / 1000.0 * metre_s)


class Cut(Struct, frozen=True, kw_only=True):
    """Pieces of film of one kind as the blade and the weeder see them.

    The knife path includes the weed border's box; `weed_mm` is the length that waste is torn along. The blade stops at
    every corner, and at the end of every outline. `count` is how many there are in the whole order.
    """

    knife_mm: float
    stops: int
    weed_mm: float
    waste_pieces: int
    count: int
    passes: int
    weeding_ease: float


class Closing(Struct, frozen=True, kw_only=True):
    """Closings of the press at one setting, and what hands do for them; counts are for one pair.

    Closings of one `loading` follow one another without taking the shoes off. `setting` tells settings apart. `shoes`
    counts shoes laid on the platen, `placed` and `taped` pieces of film laid and taped. Where the platen takes shoes of
    several pairs, `closings` serve `pairs_at_once`.
    """

    loading: int
    setting: int
    dwell_s: float
    wait_s: float
    closings: int
    shoes: int
    placed: int
    taped: int
    pairs_at_once: int = 1

    def closed(self, pairs: int) -> int:
        """Return how often the press is closed for so many pairs."""
        return -(-pairs // self.pairs_at_once) * self.closings


class Run(Struct, frozen=True, kw_only=True):
    """So many pairs that take the same closings of the press, one after the other."""

    closings: tuple[Closing, ...]
    pairs: int


class Rounds(Struct, frozen=True, kw_only=True):
    """How the closings of an order are run: how many shoes are laid on, and how often the press is set anew."""

    shoes_laid: int
    settings_made: int


def rounds(runs: Sequence[Run], *, load_shoe_s: float, change_setting_s: float) -> Rounds:
    """Return the quickest way to run an order's closings.

    Loadings are run one after the other, each for all pairs of its run. Where the closings of one loading differ in
    setting, the bench either sets the press anew between them with the shoes left on, or presses all pairs at one
    setting and lays all shoes on again for the next; whichever takes less of its time.
    """
    shoes_laid = settings_made = 0
    before: int | None = None
    for run in runs:
        for _, group in groupby(run.closings, key=lambda closing: closing.loading):
            here = list(group)
            way = min(
                _ways(here, run.pairs, before),
                key=lambda way: way.shoes_laid * load_shoe_s + way.settings_made * change_setting_s,
            )
            shoes_laid += way.shoes_laid
            settings_made += way.settings_made
            before = here[-1].setting
    return Rounds(shoes_laid=shoes_laid, settings_made=settings_made)


def _ways(loading: Sequence[Closing], pairs: int, before: int | None) -> tuple[Rounds, Rounds]:
    """Return the ways to run one loading for so many pairs, the press set as `before`: shoes left on, or laid again."""
    settings = [list(closings) for _, closings in groupby(loading, key=lambda closing: closing.setting)]
    first = int(loading[0].setting != before)
    turns = max(closing.closed(pairs) for closing in loading)
    back = int(loading[0].setting != loading[-1].setting)
    left_on = Rounds(
        shoes_laid=pairs * max(closing.shoes for closing in loading),
        settings_made=first + turns * (len(settings) - 1) + (turns - 1) * back,
    )
    laid_again = Rounds(
        shoes_laid=pairs * sum(max(closing.shoes for closing in closings) for closings in settings),
        settings_made=first + len(settings) - 1,
    )
    return left_on, laid_again


class HandWork(Struct, frozen=True, kw_only=True):
    """Hand work of one sort, for the whole order, and what makes more of it; with `press` it takes up the press."""

    detail: str
    seconds: float
    grows_with: Literal["order", "pairs", "weeding", "press"]

    @property
    def at_press(self) -> bool:
        """Whether it takes up the press."""
        return self.grows_with == "press"


def hand_work(cuts: Sequence[Cut], runs: Sequence[Run], *, film_loads: int, handling: Handling) -> tuple[HandWork, ...]:
    """Return the hand work of an order, sort by sort, in the order of the bench.

    The press is attended while it is closed. While film cools before its peel, hands are free.
    """
    way = rounds(runs, load_shoe_s=handling.load_shoe_s, change_setting_s=handling.change_setting_s)
    pairs = sum(run.pairs for run in runs)
    weeded = sum(cut.count for cut in cuts)
    each = [(run.pairs, closing) for run in runs for closing in run.closings]
    closed = sum(closing.closed(pairs) for pairs, closing in each)
    attended = sum(closing.closed(pairs) * closing.dwell_s for pairs, closing in each)
    placed = sum(pairs * closing.placed for pairs, closing in each)
    taped = sum(pairs * closing.taped for pairs, closing in each)
    return (
        HandWork(detail="Taking the order in", seconds=handling.order_s, grows_with="order"),
        HandWork(
            detail=f"Loading film into the cutter: {film_loads}",
            seconds=film_loads * handling.load_film_s,
            grows_with="order",
        ),
        HandWork(detail=f"Weeding, pieces: {weeded}", seconds=weeded_s(cuts, handling), grows_with="weeding"),
        *(
            HandWork(detail=detail, seconds=seconds, grows_with="press")
            for detail, seconds in (
                (f"Setting the press: {way.settings_made}", way.settings_made * handling.change_setting_s),
                (f"Laying shoes on the platen: {way.shoes_laid}", way.shoes_laid * handling.load_shoe_s),
                (f"Positioning, pieces: {placed}", placed * handling.position_s),
                (f"Taping, pieces: {taped}", taped * handling.tape_s),
                (f"Attending the closed press, closings: {closed}", attended),
                (f"Peeling, carriers: {placed}", placed * handling.peel_s),
            )
        ),
        HandWork(detail=f"Packing, pairs: {pairs}", seconds=pairs * handling.pack_pair_s, grows_with="pairs"),
    )


def pressing_s(run: Run, handling: Handling) -> float:
    """Return how long the pairs of a run take up the press, setting it aside [s]: what they differ by."""
    return sum(
        closing.closed(run.pairs) * (closing.dwell_s + closing.wait_s)
        + run.pairs * closing.shoes * handling.load_shoe_s
        + run.pairs * closing.placed * (handling.position_s + handling.peel_s)
        + run.pairs * closing.taped * handling.tape_s
        for closing in run.closings
    )


def weeded_s(cuts: Sequence[Cut], handling: Handling) -> float:
    """Return how long weeding all pieces takes [s]."""
    return sum(
        cut.count
        * weeding_s(
            length_mm=cut.weed_mm,
            waste_pieces=cut.waste_pieces,
            piece_s=handling.weed_piece_s,
            metre_s=handling.weed_metre_s,
            ease=cut.weeding_ease,
        )
        for cut in cuts
    )


def press_s(work: Sequence[HandWork], runs: Sequence[Run]) -> float:
    """Return how long the press is taken up [s]: by hand work at it, and by shoes that wait there for their peel."""
    waits = sum(closing.closed(run.pairs) * closing.wait_s for run in runs for closing in run.closings)
    return sum(one.seconds for one in work if one.at_press) + waits


def cut_s(cuts: Sequence[Cut], *, speed_mm_s: float, acceleration_mm_s2: float) -> float:
    """Return how long the blade takes for all pieces [s]."""
    return sum(
        cut.count
        * cutting_s(
            length_mm=cut.knife_mm,
            stops=cut.stops,
            speed_mm_s=speed_mm_s,
            acceleration_mm_s2=acceleration_mm_s2,
            passes=cut.passes,
        )
        for cut in cuts
    )


def elapsed_s(
    work: Sequence[HandWork],
    *,
    at_press_s: float,
    at_cutter_s: float,
    film_loads: int,
    load_film_s: float,
    load_s: float,
) -> float:
    """Return the time from start to end when one person does one thing after another, waiting for cutter and press [s].

    What the press is taken up with, the cutter running, and all hand work elsewhere; film is loaded by hand while the
    cutter is taken up with it. Work that overlaps makes it shorter, never longer.
    """
    elsewhere = sum(one.seconds for one in work if not one.at_press)
    return elsewhere + at_press_s + at_cutter_s - film_loads * min(load_film_s, load_s)


def working_days(elapsed_s: float, hours_a_day: float) -> int:
    """Return on which working day the work is done, the first being 1."""
    return max(1, math.ceil(elapsed_s / (hours_a_day * 3600.0)))
