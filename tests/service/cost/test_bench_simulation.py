from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise, permutations

import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from scipy.integrate import solve_ivp

from featherline.wire.records import Handling
from featherline_service.cost import bench_simulation
from featherline_service.cost.bench_simulation import (
    Bench,
    BenchTimes,
    ChangeTime,
    Platen,
    Preparation,
    Ramp,
    bench_times,
    pressing_times,
)
from featherline_service.cost.times import Closing, Run, pressing_s

NONE = Handling(**dict.fromkeys(Handling.__struct_fields__, 0.0))
UNPREPARED = Preparation()
HANDLING = replace(NONE, load_shoe_s=10.0, peel_s=5.0, pack_pair_s=40.0, position_s=20.0, change_setting_s=60.0)
# Per pair of these closings: two shoes and two pieces loaded 60 s, closed 30 s, wait 12 s, two peels 10 s, packed 40 s.
LOAD, DWELL, WAIT, PEEL, PACK = 60.0, 30.0, 12.0, 10.0, 40.0


def closing(
    loading: int = 1,
    setting: int = 0,
    *,
    dwell_s: float = DWELL,
    wait_s: float = WAIT,
    closings: int = 1,
    pairs_at_once: int = 1,
) -> Closing:
    """Return a closing that bonds two pieces on two shoes."""
    return Closing(
        loading=loading,
        setting=setting,
        dwell_s=dwell_s,
        wait_s=wait_s,
        closings=closings,
        shoes=2,
        placed=2,
        taped=0,
        pairs_at_once=pairs_at_once,
    )


def at_once(_before: int | None, _after: int) -> float:
    """Return no time for any change of setting."""
    return 0.0


def times(bench: Bench, pairs: int, *closings: Closing, handling: Handling = HANDLING) -> BenchTimes:
    """Return the times of one run of closings, without change of setting in the first place."""
    run = Run(closings=closings or (closing(),), pairs=pairs)
    return whole_times([run], bench, replace(handling, change_setting_s=0.0))


def whole_times(
    runs: Sequence[Run],
    bench: Bench,
    handling: Handling,
    *,
    change_s: ChangeTime = at_once,
    preparation: Preparation = UNPREPARED,
) -> BenchTimes:
    """Return the times of runs from start to end."""
    return bench_times(pressing_times(runs, bench, handling, change_s=change_s), bench, preparation)


@pytest.mark.parametrize("bench", [Bench(wait="standing"), Bench(wait="standing", attended=False)])
def test_one_press_and_one_operator_without_overlap_take_the_sum(bench: Bench) -> None:
    """Standing through every wait, five pairs take five times 152 s; the press is busy for all of it but packing."""
    found = times(bench, 5)

    # Unattended, hands pack the pair before during the 30 s at which the press is closed, but for the last.
    saved = 0.0 if bench.attended else 4 * 30.0
    assert found.elapsed_s == pytest.approx(5 * (LOAD + DWELL + WAIT + PEEL + PACK) - saved)
    assert found.hands_s == pytest.approx(5 * (LOAD + PEEL + PACK))
    assert found.standing_s == pytest.approx(5 * WAIT)
    assert found.attending_s == pytest.approx(5 * DWELL if bench.attended else 0.0)


def test_the_sum_agrees_with_the_times_of_one_operation_after_another() -> None:
    """The bench that overlaps nothing takes the sum, cutter and preparation included."""
    handling = replace(HANDLING, order_s=120.0, load_film_s=45.0)
    run = Run(closings=(closing(), closing(2, 0)), pairs=7)
    pressing = HANDLING.change_setting_s + pressing_s(run, handling)
    bench = Bench(wait="standing")
    pressed = pressing_times([run], bench, handling, change_s=at_once)
    found = bench_times(pressed, bench, Preparation(order_s=120.0, load_film_s=45.0, cut_s=300.0))

    assert 120.0 + 45.0 + 300.0 + pressing + 7 * PACK == pytest.approx(found.elapsed_s)
    assert pressing == pytest.approx(found.press_s)
    assert (1, 28) == (pressed.settings_made, pressed.shoes_laid)


def test_a_wait_worked_elsewhere_is_packed_through() -> None:
    """A wait of 45 s, of which 40 s are spent packing the pair before: 40 s saved for each pair but the last."""
    pair = closing(wait_s=45.0)
    standing, elsewhere = (times(Bench(wait=wait), 6, pair).elapsed_s for wait in ("standing", "elsewhere"))

    assert 5 * PACK == pytest.approx(standing - elsewhere)


def test_two_presses_and_one_operator_without_hands_at_the_closed_press() -> None:
    """Load 60, closed 500, peel 10, pack 40 s: the presses bind, and a period of two pairs takes 60 + 500 + 10 s.

    The second press runs 60 s behind the first, and 70 s from the second pair on, as hands that peel and load at the
    first make it wait 10 s. Six pairs: three periods, 70 s, and the last packing.
    """
    pair = closing(dwell_s=500.0, wait_s=0.0)
    found = times(Bench(presses=2, attended=False), 6, pair)

    assert 3 * (LOAD + 500.0 + PEEL) + LOAD + 10.0 + PACK == pytest.approx(found.elapsed_s)
    assert 6 * (LOAD + 500.0 + PEEL) + 10.0 == pytest.approx(found.press_s)


def test_many_presses_are_bound_by_the_hands() -> None:
    """With eight presses one operator never stops: as long as all hand work, and the last dwell, peel and pack."""
    pairs = 60
    found = times(Bench(presses=8, attended=False), pairs, closing(wait_s=0.0))
    hands = pairs * (LOAD + PEEL + PACK)

    assert hands <= found.elapsed_s <= hands + DWELL + PEEL + PACK


@pytest.mark.parametrize("places", [1, 2])
def test_cooling_longer_than_pressing_binds_the_bench(places: int) -> None:
    """A wait of 600 s on one or two cooling places: a pair leaves every (600 + 10) s over the number of places."""
    bench = Bench(wait="overlapped", cooling_places=places)
    few, many = (times(bench, pairs, closing(wait_s=600.0)) for pairs in (20, 20 + 2 * places))

    assert 2 * (600.0 + PEEL) == pytest.approx(many.elapsed_s - few.elapsed_s)
    assert 20 * (600.0 + PEEL) == pytest.approx(few.cooling_s, rel=0.005)


def test_a_wait_overlapped_is_free_for_hands_and_press() -> None:
    """One place is enough where hands bind: per pair 60 s of loading, 30 s attending, 10 s peeling, 40 s packing."""
    found = times(Bench(wait="overlapped", cooling_places=1), 50)
    hands = 50 * (LOAD + DWELL + PEEL + PACK)

    assert hands <= found.elapsed_s <= hands + WAIT + PEEL
    assert 50 * (LOAD + DWELL) == pytest.approx(found.press_s, rel=0.2)


def test_a_table_takes_loading_off_the_press() -> None:
    """Two operators, one press: with tables a pair takes the press for 30 s and no longer for 30 + 60 s."""
    pair = closing(wait_s=0.0)
    on_press, off_press = (times(Bench(operators=3, tables=tables), 40, pair) for tables in (0, 2))

    assert 40 * (LOAD + DWELL + PEEL) == pytest.approx(on_press.press_s)
    assert off_press.elapsed_s < 0.6 * on_press.elapsed_s
    assert off_press.press_s == pytest.approx(40 * (DWELL + PEEL), rel=0.2)


def test_idle_hands_are_paid_where_the_bench_says_so() -> None:
    """Two operators for the work of one: the idle half is paid, or not."""
    paid, unpaid = (times(Bench(operators=2, wait="standing", idle_paid=idle_paid), 5) for idle_paid in (True, False))

    assert 2 * paid.elapsed_s == pytest.approx(paid.paid_s)
    assert paid.paid_s - paid.idle_s == pytest.approx(unpaid.paid_s)


def test_weeding_during_cutting_takes_the_longer_of_both() -> None:
    """300 s of cutting and 200 s of weeding: 500 s one after the other, 300 s together."""
    run = Run(closings=(closing(),), pairs=1)
    preparation = Preparation(cut_s=300.0, weed_s=200.0)
    after, meanwhile = (
        whole_times([run], Bench(weeds_while_cutting=together), NONE, preparation=preparation).elapsed_s
        for together in (False, True)
    )

    assert 200.0 == pytest.approx(after - meanwhile)


SECONDS = st.integers(0, 900).map(float)
CLOSINGS = st.builds(
    closing,
    st.integers(1, 2),
    st.integers(0, 1),
    dwell_s=st.integers(1, 90).map(float),
    wait_s=SECONDS,
    closings=st.integers(1, 2),
    pairs_at_once=st.integers(1, 3),
)
RUNS = st.lists(
    st.builds(
        lambda closings, pairs: Run(
            closings=tuple(sorted(closings, key=lambda one: (one.loading, one.setting))), pairs=pairs
        ),
        st.lists(CLOSINGS, min_size=1, max_size=3),
        st.integers(1, 30),
    ),
    min_size=1,
    max_size=3,
)
BENCHES = st.builds(
    Bench,
    presses=st.integers(1, 3),
    operators=st.integers(1, 3),
    tables=st.integers(0, 2),
    cooling_places=st.integers(1, 3),
    attended=st.booleans(),
    wait=st.sampled_from(["standing", "elsewhere", "overlapped"]),
    idle_paid=st.booleans(),
)
HANDLINGS = st.builds(
    lambda load, position, peel, pack, change: replace(
        NONE, load_shoe_s=load, position_s=position, peel_s=peel, pack_pair_s=pack, change_setting_s=change
    ),
    *[st.integers(0, 60).map(float)] * 5,
)


@pytest.mark.slow
@settings(max_examples=drawn(150), deadline=None)
@given(RUNS, BENCHES, HANDLINGS, SECONDS)
def test_no_bench_is_faster_than_its_resources_allow(
    runs: list[Run], bench: Bench, handling: Handling, change: float
) -> None:
    """The elapsed time is at least the work of hands, presses and cooling places over their numbers, and of any pair.

    Nor is it longer than everything one after the other.
    """

    def change_s(before: int | None, after: int) -> float:
        return change if before != after else 0.0

    found = whole_times(runs, bench, handling, change_s=change_s)
    dwells = sum(run.pairs // one.pairs_at_once * one.closings * one.dwell_s for run in runs for one in run.closings)
    tolerance = 0.01

    assert found.elapsed_s >= (found.hands_s + found.attending_s + found.standing_s) / bench.operators - tolerance
    assert found.elapsed_s >= found.press_s / bench.presses - tolerance
    assert found.elapsed_s >= found.cooling_s / bench.cooling_places - tolerance
    assert found.press_s >= dwells - tolerance
    assert found.elapsed_s <= found.hands_s + found.press_s + found.cooling_s + tolerance
    assert found.hands_s >= sum(run.pairs for run in runs) * handling.pack_pair_s - tolerance
    assert found.idle_s + found.hands_s + found.attending_s + found.standing_s == pytest.approx(
        bench.operators * found.elapsed_s, abs=tolerance
    )


@settings(max_examples=drawn(40), deadline=None)
@given(CLOSINGS, BENCHES, HANDLINGS, st.lists(st.integers(1, 9), min_size=1, max_size=9))
def test_runs_of_identical_pairs_take_as_long_as_one_run(
    one: Closing, bench: Bench, handling: Handling, pairs: list[int]
) -> None:
    """Rows that share no platen are runs of their own; alike, they have the times of all their pairs in one run."""
    one = replace(one, pairs_at_once=1)
    rows = [Run(closings=(one,), pairs=count) for count in pairs]
    whole = Run(closings=(one,), pairs=sum(pairs))

    assert pressing_times([whole], bench, handling, change_s=at_once) == pressing_times(
        rows, bench, handling, change_s=at_once
    )


@settings(max_examples=drawn(60), deadline=None)
@given(CLOSINGS, BENCHES, HANDLINGS, st.integers(1, 120))
def test_skipping_periods_changes_no_time(one: Closing, bench: Bench, handling: Handling, pairs: int) -> None:
    """The same simulation without the skip has the same sums, to the millisecond."""
    run = Run(closings=(one,), pairs=pairs)
    groups = bench_simulation._joined(bench_simulation._laid_again([run], bench, handling, at_once))
    whole = bench_simulation._Simulation(bench, groups)
    whole._skip_periods = lambda: None  # type: ignore[method-assign]

    assert whole.run() == bench_simulation._Simulation(bench, groups).run()


# Settings.

TEMPERATURES = {0: 150.0, 1: 110.0, 2: 160.0, 3: 130.0}
RAMP = Ramp(heating_k_s=0.5, cooling_k_s=0.1)


def by_ramp(before: int | None, after: int) -> float:
    """Return the time of a change on a press that heats five times faster than it cools, cold at the start."""
    return RAMP.change_s(20.0 if before is None else TEMPERATURES[before], TEMPERATURES[after])


def test_the_coolest_setting_comes_first_on_a_press_that_cools_slowly() -> None:
    """Four runs at 150, 110, 160 and 130 degC: 140 K of heating in all, whatever the order of the runs.

    Pairs are packed while the platen heats, for 40, 40 and 20 s.
    """
    runs = [Run(closings=(closing(setting=setting),), pairs=1) for setting in TEMPERATURES]
    handling = replace(HANDLING, change_setting_s=0.0)
    pressing = 4 * (LOAD + DWELL + WAIT + PEEL) + 20.0 + PACK
    found = {
        pressing_times(order, Bench(wait="standing"), handling, change_s=by_ramp).elapsed_s
        for order in permutations(runs)
    }

    assert {pressing + 140 / 0.5} == found


def test_a_pair_keeps_the_order_of_its_loadings() -> None:
    """A pair at 160 and then 110 degC, many pairs: heated to 160 and cooled by 50 K, once."""
    run = Run(closings=(closing(1, 2), closing(2, 1)), pairs=10)
    found = pressing_times([run], Bench(wait="standing"), replace(HANDLING, change_setting_s=0.0), change_s=by_ramp)
    pressing = 10 * (2 * (LOAD + DWELL + WAIT + PEEL) + PACK)

    assert pressing + 140 / 0.5 + 50 / 0.1 == pytest.approx(found.elapsed_s)
    assert 2 == found.settings_made


def test_shoes_stay_on_where_that_is_quicker() -> None:
    """One pair at two settings on one loading stays on the press; ten pairs are laid on twice."""
    both = (closing(1, 3), closing(1, 0))
    one, ten = (
        pressing_times([Run(closings=both, pairs=pairs)], Bench(wait="standing"), HANDLING, change_s=by_ramp)
        for pairs in (1, 10)
    )

    assert (2, 1) == (one.settings_made, one.loads)
    assert (2, 20) == (ten.settings_made, ten.loads)
    # Two shoes are laid on once: 2 x 10 s less than by laying them on again.
    assert 2 * (LOAD + DWELL + WAIT + PEEL) - 20 + PACK + 2 * 60 + 110 / 0.5 + 20 / 0.5 == pytest.approx(one.elapsed_s)


def test_the_order_of_settings_is_the_best_of_all_permutations() -> None:
    """With a table of random change times the order found is as quick as the quickest of all."""
    table = {
        (before, after): float((7 * (before + 2) ** 2 + 13 * after**2 + 5 * before * after) % 97)
        for before in (-1, *range(6))
        for after in range(6)
    }

    def change_s(before: int | None, after: int) -> float:
        return table[-1 if before is None else before, after]

    order = bench_simulation._settings([(setting,) for setting in range(6)], change_s, 0.0)
    costs = [
        change_s(None, way[0]) + sum(change_s(before, after) for before, after in pairwise(way))
        for way in permutations(range(6))
    ]

    assert min(costs) == change_s(None, order[0]) + sum(change_s(*pair) for pair in pairwise(order))


@pytest.mark.parametrize(("from_c", "to_c"), [(20.0, 160.0), (160.0, 110.0), (110.0, 130.0)])
def test_a_platen_takes_as_long_as_its_equation_integrated(from_c: float, to_c: float) -> None:
    """The closed form agrees with scipy's integration of m c dT/dt = P - G (T - room)."""
    platen = Platen(mass_kg=8.0, heat_capacity_j_kgk=900.0, heater_w=1200.0, loss_w_k=4.0, room_c=20.0)
    power = platen.heater_w if to_c > from_c else 0.0

    def reached(_: float, state: list[float]) -> float:
        return state[0] - to_c

    reached.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        lambda _, state: [
            (power - platen.loss_w_k * (state[0] - platen.room_c)) / (platen.mass_kg * platen.heat_capacity_j_kgk)
        ],
        (0.0, 1e5),
        [from_c],
        events=reached,
        rtol=1e-9,
        atol=1e-9,
    )

    assert solved.t_events[0][0] == pytest.approx(platen.change_s(from_c, to_c), rel=1e-6)


def test_a_platen_never_reaches_more_than_its_heater_allows() -> None:
    """1200 W over 4 W/K settle 300 K above the room; 330 degC and less than the room are refused."""
    platen = Platen(mass_kg=8.0, heat_capacity_j_kgk=900.0, heater_w=1200.0, loss_w_k=4.0, room_c=20.0)

    assert math.isfinite(platen.change_s(20.0, 319.0))
    for to_c in (330.0, 10.0):
        with pytest.raises(ValueError, match="never reaches"):
            platen.change_s(160.0, to_c)


@pytest.mark.parametrize("bench", [Bench(presses=0), Bench(operators=0), Bench(wait="overlapped")])
def test_benches_that_cannot_work_are_refused(bench: Bench) -> None:
    """No press, no operator, or an overlapped wait without a cooling place."""
    with pytest.raises(ValueError, match="at least one"):
        times(bench, 1)
