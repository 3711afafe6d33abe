"""Times of cutter, hands and press: from the knife path, the hand operations and the press closings.

Lengths in millimetres, times in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import groupby
from typing import Literal

from msgspec import Struct

from featherline.wire.records import Handling


def cutting_s(*, length_mm: float, stops: int, speed_mm_s: float, acceleration_mm_s2: float, passes: int) -> float:
    r"""Return the cutting time of a knife path with stops [s].

    Between two stops a distance :math:`s` apart the blade accelerates from rest, travels and decelerates to rest
    (trapezoidal velocity profile; triangular where the distance is too short for full speed):

    .. math:: t(s) = s/v + v/a \quad (s \ge v^2/a), \qquad t(s) = 2\sqrt{s/a} \quad (s < v^2/a)

    Only the number of stops is known, not their places. As :math:`t` is concave, evenly spread stops take the longest
    (Jensen's inequality), so the result is an upper bound. Travel with the blade lifted is left out.

    Args:
        length_mm: length of the knife path [mm], zero or more.
        stops: number of stops: corners, and ends of outlines.
        speed_mm_s: speed along a straight line [mm/s], above zero.
        acceleration_mm_s2: acceleration [mm/s^2], above zero.
        passes: number of times the whole path is cut.

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
    """Return the weeding time of one piece of film [s].

    Args:
        length_mm: length of the edges that waste is torn along [mm].
        waste_pieces: number of pieces of waste to take out.
        piece_s: time per piece of waste [s].
        metre_s: time per metre of edge [s].
        ease: the film's factor: 1 for smooth film, 2 takes twice as long.
    """
    return ease * (waste_pieces * piece_s + length_mm / 1000.0 * metre_s)


class Cut(Struct, frozen=True, kw_only=True):
    """Cutting and weeding of identical pieces of film.

    `knife_mm` includes the box of the weed border; `weed_mm` is the length of the edges that waste is torn along. The
    blade stops at every corner and at the end of every outline. `count` is the number of pieces in the whole order.
    """

    knife_mm: float
    stops: int
    weed_mm: float
    waste_pieces: int
    count: int
    passes: int
    weeding_ease: float


class Closing(Struct, frozen=True, kw_only=True):
    """Closings of the press at one setting, and the hand operations around them; counts are for one pair.

    Closings of the same `loading` follow one another with the shoes left on. Equal `setting` means equal settings.
    `shoes` is the number of shoes laid on the platen, `placed` and `taped` the number of pieces of film positioned and
    taped. Where the platen takes several pairs, `closings` serve `pairs_at_once` of them. `wait_s` is the time before
    the peel.
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
        """Return the number of closings for a number of pairs."""
        return -(-pairs // self.pairs_at_once) * self.closings


class Run(Struct, frozen=True, kw_only=True):
    """Pairs with the same closings, pressed one after the other."""

    closings: tuple[Closing, ...]
    pairs: int


class LoadsAndSettings(Struct, frozen=True, kw_only=True):
    """Number of shoes laid on the platen and of changes of setting in an order."""

    shoes_laid: int
    settings_made: int


def loads_and_settings(runs: Sequence[Run], *, load_shoe_s: float, change_setting_s: float) -> LoadsAndSettings:
    """Return the number of loads and setting changes of an order.

    Loadings are run one after the other, each for all pairs of its run. Where the closings of one loading differ in
    setting, either the setting is changed between them with the shoes left on, or all pairs are pressed at one setting
    and all shoes laid on again for the next; the quicker of the two is taken, loading by loading.
    """
    shoes_laid = settings_made = 0
    before: int | None = None
    for run in runs:
        for _, group in groupby(run.closings, key=lambda closing: closing.loading):
            here = list(group)
            quickest = min(
                _sequences(here, run.pairs, before),
                key=lambda sequence: sequence.shoes_laid * load_shoe_s + sequence.settings_made * change_setting_s,
            )
            shoes_laid += quickest.shoes_laid
            settings_made += quickest.settings_made
            before = here[-1].setting
    return LoadsAndSettings(shoes_laid=shoes_laid, settings_made=settings_made)


def _sequences(loading: Sequence[Closing], pairs: int, before: int | None) -> tuple[LoadsAndSettings, LoadsAndSettings]:
    """Return the two sequences of a loading after the setting `before`: shoes left on, and shoes laid on again."""
    settings = [list(closings) for _, closings in groupby(loading, key=lambda closing: closing.setting)]
    first = int(loading[0].setting != before)
    turns = max(closing.closed(pairs) for closing in loading)
    back = int(loading[0].setting != loading[-1].setting)
    left_on = LoadsAndSettings(
        shoes_laid=pairs * max(closing.shoes for closing in loading),
        settings_made=first + turns * (len(settings) - 1) + (turns - 1) * back,
    )
    laid_again = LoadsAndSettings(
        shoes_laid=pairs * sum(max(closing.shoes for closing in closings) for closings in settings),
        settings_made=first + len(settings) - 1,
    )
    return left_on, laid_again


class HandWork(Struct, frozen=True, kw_only=True):
    """Hand work of one kind for the whole order, and the quantity that it is shared out by."""

    detail: str
    seconds: float
    grows_with: Literal["order", "pairs", "weeding", "press"]

    @property
    def at_press(self) -> bool:
        """Whether the press is busy meanwhile."""
        return self.grows_with == "press"


def hand_work(cuts: Sequence[Cut], runs: Sequence[Run], *, film_loads: int, handling: Handling) -> tuple[HandWork, ...]:
    """Return the hand work of an order by kind, in the order of the work.

    The press is attended while it is closed. While film cools before its peel, hands are free.
    """
    counts = loads_and_settings(runs, load_shoe_s=handling.load_shoe_s, change_setting_s=handling.change_setting_s)
    pairs = sum(run.pairs for run in runs)
    weeded = sum(cut.count for cut in cuts)
    closings = [(run.pairs, closing) for run in runs for closing in run.closings]
    closed = sum(closing.closed(pairs) for pairs, closing in closings)
    attended = sum(closing.closed(pairs) * closing.dwell_s for pairs, closing in closings)
    placed = sum(pairs * closing.placed for pairs, closing in closings)
    taped = sum(pairs * closing.taped for pairs, closing in closings)
    return (
        HandWork(detail="Taking the order in", seconds=handling.order_s, grows_with="order"),
        HandWork(
            detail=f"Loading film into the cutter: {film_loads}",
            seconds=film_loads * handling.load_film_s,
            grows_with="order",
        ),
        HandWork(detail=f"Weeding, pieces: {weeded}", seconds=total_weeding_s(cuts, handling), grows_with="weeding"),
        *(
            HandWork(detail=detail, seconds=seconds, grows_with="press")
            for detail, seconds in (
                (f"Setting the press: {counts.settings_made}", counts.settings_made * handling.change_setting_s),
                (f"Laying shoes on the platen: {counts.shoes_laid}", counts.shoes_laid * handling.load_shoe_s),
                (f"Positioning, pieces: {placed}", placed * handling.position_s),
                (f"Taping, pieces: {taped}", taped * handling.tape_s),
                (f"Attending the closed press, closings: {closed}", attended),
                (f"Peeling, carriers: {placed}", placed * handling.peel_s),
            )
        ),
        HandWork(detail=f"Packing, pairs: {pairs}", seconds=pairs * handling.pack_pair_s, grows_with="pairs"),
    )


def pressing_s(run: Run, handling: Handling) -> float:
    """Return how long the press is busy with the pairs of a run, changes of setting left out [s]."""
    return sum(
        closing.closed(run.pairs) * (closing.dwell_s + closing.wait_s)
        + run.pairs * closing.shoes * handling.load_shoe_s
        + run.pairs * closing.placed * (handling.position_s + handling.peel_s)
        + run.pairs * closing.taped * handling.tape_s
        for closing in run.closings
    )


def total_weeding_s(cuts: Sequence[Cut], handling: Handling) -> float:
    """Return the weeding time of all pieces [s]."""
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
    """Return how long the press is busy [s]: hand work at it, and shoes that wait there for their peel."""
    waits = sum(closing.closed(run.pairs) * closing.wait_s for run in runs for closing in run.closings)
    return sum(item.seconds for item in work if item.at_press) + waits


def total_cutting_s(cuts: Sequence[Cut], *, speed_mm_s: float, acceleration_mm_s2: float) -> float:
    """Return the cutting time of all pieces [s]."""
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
    """Return the time from start to end when one person does one operation after another [s].

    The sum of the press's busy time, the cutter's and the hand work elsewhere; loading film, which keeps hands and
    cutter busy at once, is counted once. Overlap can only shorten it.

    Args:
        work: the hand work.
        at_press_s: busy time of the press [s].
        at_cutter_s: busy time of the cutter, loading included [s].
        film_loads: number of times film is loaded.
        load_film_s: hand time of one loading [s].
        load_s: cutter time of one loading [s].
    """
    elsewhere = sum(item.seconds for item in work if not item.at_press)
    return elsewhere + at_press_s + at_cutter_s - film_loads * min(load_film_s, load_s)


def working_days(elapsed_s: float, hours_a_day: float) -> int:
    """Return the number of the working day on which the work is finished, the first being 1."""
    return max(1, math.ceil(elapsed_s / (hours_a_day * 3600.0)))
