from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline.wire.records import Handling
from featherline_service.cost.times import (
    Closing,
    Cut,
    LoadsAndSettings,
    Run,
    cutting_s,
    elapsed_s,
    hand_work,
    loads_and_settings,
    press_s,
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


def ways(*closings: Closing, pairs: int, load: float = 10, change: float = 60) -> LoadsAndSettings:
    """Return the loads and setting changes of one run."""
    return loads_and_settings([Run(closings=closings, pairs=pairs)], load_shoe_s=load, change_setting_s=change)


def test_one_setting_is_made_once() -> None:
    """All pairs at one setting take one change, and every shoe is laid once."""
    assert LoadsAndSettings(shoes_laid=20, settings_made=1) == ways(closing(1, 0), pairs=10)


def test_two_faces_at_one_setting_are_two_loadings() -> None:
    """Every shoe is laid twice, and the setting stays."""
    assert LoadsAndSettings(shoes_laid=40, settings_made=1) == ways(closing(1, 0), closing(2, 0), pairs=10)


def test_two_settings_on_one_loading_of_one_pair_leave_the_shoes_on() -> None:
    """Laying two shoes again costs 20 s and saves no change, so the shoes stay on."""
    assert LoadsAndSettings(shoes_laid=2, settings_made=2) == ways(closing(1, 0), closing(1, 1), pairs=1)


def test_two_settings_on_one_loading_of_many_pairs_lay_the_shoes_again() -> None:
    """Ten pairs would take twenty changes with the shoes left on, and two with the shoes laid again."""
    assert LoadsAndSettings(shoes_laid=40, settings_made=2) == ways(closing(1, 0), closing(1, 1), pairs=10)


def test_free_changes_of_setting_leave_the_shoes_on() -> None:
    """With a change of zero seconds no shoe is laid twice."""
    assert LoadsAndSettings(shoes_laid=20, settings_made=20) == ways(closing(1, 0), closing(1, 1), pairs=10, change=0)


def test_a_setting_carried_to_the_next_loading_is_not_made_again() -> None:
    """The second loading starts at the setting of the first loading's end."""
    assert LoadsAndSettings(shoes_laid=4, settings_made=2) == ways(closing(1, 0), closing(1, 1), closing(2, 1), pairs=1)


def test_hand_work_by_hand() -> None:
    """Three pairs with one closing and two pieces each: every kind of work calculated on paper."""
    cuts = [Cut(knife_mm=700, stops=50, weed_mm=500, waste_pieces=4, count=6, passes=1, weeding_ease=1.0)]
    work = hand_work(cuts, [Run(closings=(closing(1, 0),), pairs=3)], film_loads=2, handling=HANDLING)

    assert [
        1000,  # the order
        2 * 100,  # film loaded twice
        6 * (4 * 2 + 0.5 * 30),  # six pieces weeded
        60,  # one setting
        6 * 10,  # six shoes
        6 * 20,  # six pieces laid
        0,  # none taped
        3 * 30,  # three closings
        6 * 5,  # six peels
        3 * 40,  # three pairs packed
    ] == [one.seconds for one in work]


def test_the_busy_time_of_the_press_counts_all_work_at_it() -> None:
    """One setting, six shoes, and per pair dwell, wait, two pieces positioned and two peels."""
    runs = [Run(closings=(closing(1, 0),), pairs=3)]
    work = hand_work([], runs, film_loads=2, handling=HANDLING)
    expected = 60 + 6 * 10 + 3 * (30 + 12 + 2 * 20 + 2 * 5)

    assert expected == press_s(work, runs)


def test_the_elapsed_time_is_the_sum_of_all_operations() -> None:
    """Order, packing, press and cutter in turn; the cutter's 25 s of loading are within the hands' 100 s."""
    work = hand_work([], [Run(closings=(closing(1, 0),), pairs=3)], film_loads=2, handling=HANDLING)
    elapsed = elapsed_s(work, at_press_s=396, at_cutter_s=2 * 25 + 60, film_loads=2, load_film_s=100, load_s=25)

    assert 1000 + 2 * 100 + 3 * 40 + 396 + 60 == elapsed


@pytest.mark.parametrize(("hours", "day"), [(0.5, 1), (8.0, 1), (8.001, 2), (16.0, 2), (0.0, 1)])
def test_the_working_day_of_the_end(hours: float, day: int) -> None:
    """Eight hours of work at eight hours a day end on the first day, slightly more on the second."""
    assert day == working_days(hours * 3600, 8)


def test_the_cutting_time_of_all_pieces() -> None:
    """Six pieces of 1.8 s each."""
    cuts = [Cut(knife_mm=360, stops=4, weed_mm=300, waste_pieces=1, count=6, passes=1, weeding_ease=1.0)]

    assert total_cutting_s(cuts, speed_mm_s=SPEED, acceleration_mm_s2=ACCELERATION) == pytest.approx(6 * 1.8)


def test_a_run_starts_at_the_setting_of_the_run_before() -> None:
    """Two pairs at one setting, then three and five at another: two settings, twenty shoes."""
    runs = [Run(closings=(closing(1, setting),), pairs=pairs) for setting, pairs in ((0, 2), (1, 3), (1, 5))]

    assert LoadsAndSettings(shoes_laid=20, settings_made=2) == loads_and_settings(
        runs, load_shoe_s=10, change_setting_s=60
    )


def test_the_pressing_time_is_the_busy_time_of_the_press_without_its_setting() -> None:
    """For one run at one setting the difference is the 60 s of setting."""
    run = Run(closings=(closing(1, 0), closing(2, 0)), pairs=3)
    work = hand_work([], [run], film_loads=0, handling=HANDLING)

    assert press_s(work, [run]) - 60 == pytest.approx(pressing_s(run, HANDLING))


def test_pairs_on_the_platen_together_share_a_closing() -> None:
    """Five pairs, two at once: three closings of 30 s and waits of 12 s; shoes are laid and pieces placed all the same.

    Laid 5 x 2 x 10 s, placed and peeled 5 x 2 x (20 + 5) s, closed and waited for 3 x (30 + 12) s.
    """
    run = Run(closings=(closing(1, 0, pairs_at_once=2),), pairs=5)
    work = hand_work((), [run], film_loads=0, handling=HANDLING)

    assert [1, 1, 2, 3] == [run.closings[0].closed(pairs) for pairs in (1, 2, 3, 5)]
    assert "closings: 3" in next(one.detail for one in work if one.detail.startswith("Attending"))
    assert 100 + 250 + 126 == pressing_s(run, HANDLING)
    assert 100 + 250 + 126 + 60 == press_s(work, [run])


def test_settings_that_change_between_shared_closings_change_less_often() -> None:
    """With two pairs at once, two settings on one loading change four times for four pairs instead of eight."""
    shared = (closing(1, 0, pairs_at_once=2), closing(1, 1, pairs_at_once=2))

    assert 4 == ways(*shared, pairs=4, change=0).settings_made
    assert 8 == ways(closing(1, 0), closing(1, 1), pairs=4, change=0).settings_made
