"""Times of cutter, hands and press: from the knife path, the hand operations and the press closings.

Lengths in millimetres, times in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
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
    the peel. `temperature_c` is the platen's, where it is known.
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
    temperature_c: float | None = None

    def closed(self, pairs: int) -> int:
        """Return the number of closings for a number of pairs."""
        return -(-pairs // self.pairs_at_once) * self.closings


class Run(Struct, frozen=True, kw_only=True):
    """Pairs with the same closings, pressed one after the other."""

    closings: tuple[Closing, ...]
    pairs: int


class HandWork(Struct, frozen=True, kw_only=True):
    """Hand work of one kind for the whole order, and the quantity that it is shared out by."""

    detail: str
    seconds: float
    grows_with: Literal["order", "pairs", "weeding", "press"]


def hand_work(
    cuts: Sequence[Cut],
    runs: Sequence[Run],
    *,
    film_loads: int,
    settings_made: int,
    shoes_laid: int,
    handling: Handling,
) -> tuple[HandWork, ...]:
    """Return the hand work of an order by kind, in the order of the work, without waiting at the press.

    `settings_made` and `shoes_laid` are those of the bench's plan.
    """
    pairs = sum(run.pairs for run in runs)
    weeded = sum(cut.count for cut in cuts)
    closings = [(run.pairs, closing) for run in runs for closing in run.closings]
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
                (f"Setting the press: {settings_made}", settings_made * handling.change_setting_s),
                (f"Laying shoes on the platen: {shoes_laid}", shoes_laid * handling.load_shoe_s),
                (f"Positioning, pieces: {placed}", placed * handling.position_s),
                (f"Taping, pieces: {taped}", taped * handling.tape_s),
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


def working_days(elapsed_s: float, hours_a_day: float) -> int:
    """Return the number of the working day on which the work is finished, the first being 1."""
    return max(1, math.ceil(elapsed_s / (hours_a_day * 3600.0)))
