from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline.wire.records import Handling
from featherline_service.cost.times import (
    Closing,
    Cut,
    Run,
    cutting_s,
    hand_work,
    pressing_s,
    total_cutting_s,
    weeding_s,
    working_days,
)

SPEED, ACCELERATION = 300.0, 2000.0

HANDLING = Handling(
    order_s=1000,
    load_film_s=100,
    weed_piece_s=2,
    weed_metre_s=30,
    position_s=20,
    tape_s=7,
    load_shoe_s=10,
    peel_s=5,
    change_setting_s=60,
    pack_pair_s=40,
)


def cut(length_mm: float, stops: int, passes: int = 1) -> float:
    """Return the cutting time on the cutter of these tests [s]."""
    return cutting_s(length_mm=length_mm, stops=stops, speed_mm_s=SPEED, acceleration_mm_s2=ACCELERATION, passes=passes)


def closing(
    loading: int, setting: int, *, closings: int = 1, shoes: int = 2, dwell_s: float = 30, pairs_at_once: int = 1
) -> Closing:
    """Return a closing that bonds two pieces."""
    return Closing(
        loading=loading,
        setting=setting,
        dwell_s=dwell_s,
        wait_s=12,
        closings=closings,
        shoes=shoes,
        placed=2,
        taped=0,
        pairs_at_once=pairs_at_once,
    )


@pytest.mark.parametrize("run_mm", [0.5, 10.0, 44.9, 45.1, 200.0])
def test_a_run_takes_as_long_as_its_motion_integrated_step_by_step(run_mm: float) -> None:
    """Motion integrated in steps of ten microseconds takes as long as the formula."""
    step, at, speed, elapsed = 1e-5, 0.0, 0.0, 0.0
    while at < run_mm:
        braking = speed**2 / (2 * ACCELERATION)
        if run_mm - at <= braking:
            speed = max(speed - ACCELERATION * step, 1e-3)
        else:
            speed = min(speed + ACCELERATION * step, SPEED)
        at += speed * step
        elapsed += step

    assert elapsed == pytest.approx(cut(run_mm, 1), abs=2e-3)


@given(st.lists(st.floats(0.1, 300), min_size=1, max_size=20))
def test_stops_evenly_spread_take_the_longest(runs: list[float]) -> None:
    """No distribution of the stops takes longer than the formula."""
    assert sum(cut(run, 1) for run in runs) <= cut(sum(runs), len(runs)) + 1e-9


def test_a_square_by_hand() -> None:
    """Four sides of 90 mm: 90 / 300 + 300 / 2000 = 0.45 s each."""
    assert cut(360, 4) == pytest.approx(1.8)


def test_passes_repeat_the_whole_path() -> None:
    """Two passes take twice as long as one."""
    assert cut(500, 9, passes=2) == pytest.approx(2 * cut(500, 9))


def test_no_path_takes_no_time() -> None:
    """A path of length zero takes no time, whatever the number of stops."""
    assert cut(0, 4) == 0


def test_weeding_by_hand() -> None:
    """Six pieces at 2 s and 0.6 m at 30 s/m with an ease of 1.5: (12 + 18) x 1.5 s."""
    assert weeding_s(length_mm=600, waste_pieces=6, piece_s=2, metre_s=30, ease=1.5) == pytest.approx(45)


def test_hand_work_by_hand() -> None:
    """Three pairs with one closing and two pieces each: every kind of work calculated on paper."""
    cuts = [Cut(knife_mm=700, stops=50, weed_mm=500, waste_pieces=4, count=6, passes=1, weeding_ease=1.0)]
    work = hand_work(
        cuts, [Run(closings=(closing(1, 0),), pairs=3)], film_loads=2, settings_made=1, shoes_laid=6, handling=HANDLING
    )

    assert [
        1000,  # the order
        2 * 100,  # film loaded twice
        6 * (4 * 2 + 0.5 * 30),  # six pieces weeded
        60,  # one setting
        6 * 10,  # six shoes
        6 * 20,  # six pieces laid
        0,  # none taped
        6 * 5,  # six peels
        3 * 40,  # three pairs packed
    ] == [one.seconds for one in work]


@pytest.mark.parametrize(("hours", "day"), [(0.5, 1), (8.0, 1), (8.001, 2), (16.0, 2), (0.0, 1)])
def test_the_working_day_of_the_end(hours: float, day: int) -> None:
    """Eight hours of work at eight hours a day end on the first day, slightly more on the second."""
    assert day == working_days(hours * 3600, 8)


def test_the_cutting_time_of_all_pieces() -> None:
    """Six pieces of 1.8 s each."""
    cuts = [Cut(knife_mm=360, stops=4, weed_mm=300, waste_pieces=1, count=6, passes=1, weeding_ease=1.0)]

    assert total_cutting_s(cuts, speed_mm_s=SPEED, acceleration_mm_s2=ACCELERATION) == pytest.approx(6 * 1.8)


def test_pairs_on_the_platen_together_share_a_closing() -> None:
    """Five pairs, two at once: three closings of 30 s and waits of 12 s; shoes are laid and pieces placed all the same.

    Laid 5 x 2 x 10 s, placed and peeled 5 x 2 x (20 + 5) s, closed and waited for 3 x (30 + 12) s.
    """
    run = Run(closings=(closing(1, 0, pairs_at_once=2),), pairs=5)

    assert [1, 1, 2, 3] == [run.closings[0].closed(pairs) for pairs in (1, 2, 3, 5)]
    assert 100 + 250 + 126 == pressing_s(run, HANDLING)


def test_a_press_is_busy_with_its_closings_and_the_hands_at_it() -> None:
    """Five pairs, two at once: three closings of 14 s, and for each pair two shoes, three pieces and one taped."""
    handling = Handling(
        order_s=1000.0,
        load_film_s=1000.0,
        weed_piece_s=1000.0,
        weed_metre_s=1000.0,
        position_s=20.0,
        tape_s=6.0,
        load_shoe_s=12.0,
        peel_s=5.0,
        change_setting_s=1000.0,
        pack_pair_s=1000.0,
    )
    closing = Closing(
        loading=1, setting=0, dwell_s=10.0, wait_s=4.0, closings=1, shoes=2, placed=3, taped=1, pairs_at_once=2
    )

    assert 3 * 14.0 + 5 * (2 * 12.0 + 3 * 25.0 + 6.0) == pressing_s(Run(closings=(closing,), pairs=5), handling)
    assert [0, 1, 1, 2, 3] == [closing.closed(pairs) for pairs in (0, 1, 2, 3, 5)]
