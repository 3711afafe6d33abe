"""How long things take: the cutter from its path, hands from what they do, the press from its cycles.

Lengths are in millimetres, times in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import groupby

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
    every corner, and at the end of every outline.
    """

    knife_mm: float
    stops: int
    weed_mm: float
    waste_pieces: int
    per_pair: int
    passes: int
    weeding_ease: float


class Closing(Struct, frozen=True, kw_only=True):
    """Closings of the press at one setting, and what hands do for them; counts are for one pair.

    Closings of one `loading` follow one another without taking the shoes off. `setting` tells settings apart. `shoes`
    counts shoes laid on the platen, `placed` and `taped` pieces of film laid and taped.
    """

    loading: int
    setting: int
    dwell_s: float
    wait_s: float
    closings: int
    shoes: int
    placed: int
    taped: int


class Rounds(Struct, frozen=True, kw_only=True):
    """How the closings of an order are run: how many shoes are laid on, and how often the press is set anew."""

    shoes_laid: int
    settings_made: int


def rounds(closings: Sequence[Closing], *, pairs: int, load_shoe_s: float, change_setting_s: float) -> Rounds:
    """Return the quickest way to run an order's closings.

    Loadings are run one after the other, each for all pairs. Where the closings of one loading differ in setting, the
    bench either sets the press anew between them with the shoes left on, or presses all pairs at one setting and lays
    all shoes on again for the next; whichever takes less of its time.
    """
    shoes_laid = settings_made = 0
    before: int | None = None
    for _, group in groupby(closings, key=lambda closing: closing.loading):
        here = list(group)
        runs = [list(run) for _, run in groupby(here, key=lambda closing: closing.setting)]
        first = int(here[0].setting != before)
        turns = pairs * max(closing.closings for closing in here)
        back = int(here[0].setting != here[-1].setting)
        left_on = Rounds(
            shoes_laid=pairs * max(closing.shoes for closing in here),
            settings_made=first + turns * (len(runs) - 1) + (turns - 1) * back,
        )
        laid_again = Rounds(
            shoes_laid=pairs * sum(max(closing.shoes for closing in run) for run in runs),
            settings_made=first + len(runs) - 1,
        )
        way = min(
            (left_on, laid_again),
            key=lambda way: way.shoes_laid * load_shoe_s + way.settings_made * change_setting_s,
        )
        shoes_laid += way.shoes_laid
        settings_made += way.settings_made
        before = here[-1].setting
    return Rounds(shoes_laid=shoes_laid, settings_made=settings_made)


class HandWork(Struct, frozen=True, kw_only=True):
    """Hand work of one sort, for the whole order, and whether it takes up the press."""

    detail: str
    seconds: float
    at_press: bool = False


def hand_work(
    cuts: Sequence[Cut], closings: Sequence[Closing], *, pairs: int, film_loads: int, handling: Handling
) -> tuple[HandWork, ...]:
    """Return the hand work of an order, sort by sort, in the order of the bench.

    The press is attended while it is closed. While film cools before its peel, hands are free.
    """
    way = rounds(closings, pairs=pairs, load_shoe_s=handling.load_shoe_s, change_setting_s=handling.change_setting_s)
    weeding = pairs * sum(
        cut.per_pair
        * weeding_s(
            length_mm=cut.weed_mm,
            waste_pieces=cut.waste_pieces,
            piece_s=handling.weed_piece_s,
            metre_s=handling.weed_metre_s,
            ease=cut.weeding_ease,
        )
        for cut in cuts
    )
    weeded = pairs * sum(cut.per_pair for cut in cuts)
    closed = pairs * sum(closing.closings for closing in closings)
    attended = pairs * sum(closing.closings * closing.dwell_s for closing in closings)
    placed = pairs * sum(closing.placed for closing in closings)
    taped = pairs * sum(closing.taped for closing in closings)
    return (
        HandWork(detail="Taking the order in", seconds=handling.order_s),
        HandWork(detail=f"Loading film into the cutter: {film_loads}", seconds=film_loads * handling.load_film_s),
        HandWork(detail=f"Weeding, pieces: {weeded}", seconds=weeding),
        HandWork(
            detail=f"Setting the press: {way.settings_made}",
            seconds=way.settings_made * handling.change_setting_s,
            at_press=True,
        ),
        HandWork(
            detail=f"Laying shoes on the platen: {way.shoes_laid}",
            seconds=way.shoes_laid * handling.load_shoe_s,
            at_press=True,
        ),
        HandWork(detail=f"Positioning, pieces: {placed}", seconds=placed * handling.position_s, at_press=True),
        HandWork(detail=f"Taping, pieces: {taped}", seconds=taped * handling.tape_s, at_press=True),
        HandWork(detail=f"Attending the closed press, closings: {closed}", seconds=attended, at_press=True),
        HandWork(detail=f"Peeling, carriers: {placed}", seconds=placed * handling.peel_s, at_press=True),
        HandWork(detail=f"Packing, pairs: {pairs}", seconds=pairs * handling.pack_pair_s),
    )


def press_s(work: Sequence[HandWork], closings: Sequence[Closing], *, pairs: int) -> float:
    """Return how long the press is taken up [s]: by hand work at it, and by shoes that wait there for their peel."""
    waits = sum(closing.closings * closing.wait_s for closing in closings)
    return sum(one.seconds for one in work if one.at_press) + pairs * waits


def cutter_s(
    cuts: Sequence[Cut], *, pairs: int, film_loads: int, speed_mm_s: float, acceleration_mm_s2: float, load_s: float
) -> float:
    """Return how long the cutter is taken up: cutting every piece, and loading film [s]."""
    return film_loads * load_s + pairs * sum(
        cut.per_pair
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
