from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from msgspec.structs import replace
from plain_work import CLOSING, HANDLING

from featherline.wire.records import Handling, HeatedMass, HeatingRate, Workplace
from featherline_service.book.shop_book import Book
from featherline_service.cost import bench_simulation
from featherline_service.cost.bench_simulation import Bench, BenchTimes, ChangeTime, Preparation, PressingTimes
from featherline_service.cost.times import Closing, Cut, Run, total_cutting_s
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.pricing import bench_work
from featherline_service.questions.pricing.bench_work import BenchWork

CUT = Cut(knife_mm=500.0, stops=10, weed_mm=400.0, waste_pieces=3, count=4, passes=1, weeding_ease=1.5)
WEED_S = 4 * 1.5 * (3 * 2.0 + 0.4 * 10.0)


def own(book: Book, workplace: Workplace | None = None, *, load_s: float = 90.0) -> Book:
    """Return a book with plain seconds of hand work, a workplace and a cutter that takes so long to load."""
    rates, cutter = book.rates[book.bench.rates], book.cutters[book.bench.cutter]
    return replace(
        book,
        bench=replace(book.bench, workplace=workplace),
        rates={rates.id: replace(rates, handling=HANDLING)},
        cutters={cutter.id: replace(cutter, load_s=load_s)},
    )


def worked(
    book: Book, *runs: Run, film_loads: int = 2, place: Workplace | None = None, load_s: float = 90.0
) -> BenchWork:
    """Return the work of runs, or of one run of three pairs."""
    runs = runs or (Run(pairs=3, closings=(CLOSING,)),)
    return bench_work.bench_work(own(book, place, load_s=load_s), [CUT], runs, film_loads, Checks())


def hours(work: BenchWork) -> dict[str, tuple[float, str]]:
    """Return the seconds of each kind of hand work, by the first words of it, and what it grows with."""
    return {one.detail.partition(":")[0]: (one.seconds, one.grows_with) for one in work.hands}


def test_hand_work_is_in_the_order_of_the_work(book: Book) -> None:
    """Waiting comes before peeling and packing; two closings serve each of three pairs, of two shoes."""
    work = worked(book)

    assert [
        "Taking the order in",
        "Loading film into the cutter: 2",
        "Weeding, pieces: 4",
        "Setting the press: 1",
        "Laying shoes on the platen: 6",
        "Positioning, pieces: 6",
        "Taping, pieces: 0",
        "Attending the closed press, closings: 6",
        "Standing by while film cools",
        "Hands idle, paid",
        "Peeling, carriers: 6",
        "Packing, pairs: 3",
    ] == [one.detail for one in work.hands]


def test_waiting_is_what_the_bench_says(book: Book) -> None:
    """Attending and standing grow with the press, paid idleness with the pairs; unpaid it costs nothing."""
    standing = worked(book, place=Workplace(wait="standing", idle_paid=True, operators=2))
    seconds = hours(standing)

    assert (standing.times.attending_s, "press") == seconds[["Attending the closed press, closings"][0]]
    assert (standing.times.standing_s, "press") == seconds["Standing by while film cools"]
    assert (standing.times.idle_s, "pairs") == seconds["Hands idle, paid"]
    assert min(standing.times.attending_s, standing.times.standing_s, standing.times.idle_s) > 0.0
    unpaid = worked(book, place=Workplace(operators=2))
    assert unpaid.times.idle_s > 0.0
    assert (0.0, "pairs") == hours(unpaid)["Hands idle, paid"]


def test_the_cutter_is_busy_cutting_and_loading(book: Book) -> None:
    """Every load of film takes its 90 s; what it takes longer than the hands makes the order wait."""
    cutter = book.cutters[book.bench.cutter]
    cut_s = total_cutting_s([CUT], speed_mm_s=cutter.speed_mm_s, acceleration_mm_s2=cutter.acceleration_mm_s2)
    quick, slow = worked(book, load_s=10.0), worked(book, load_s=90.0)

    assert pytest.approx(cut_s + 2 * 90.0) == slow.cutter_s
    assert pytest.approx(cut_s + 2 * 10.0) == quick.cutter_s
    assert pytest.approx(2 * (90.0 - 40.0), abs=0.01) == slow.times.elapsed_s - quick.times.elapsed_s
    assert pytest.approx(0.0, abs=0.01) == worked(book, load_s=40.0).times.elapsed_s - quick.times.elapsed_s


class Simulated:
    """Takes down what the simulation of the bench is asked, and lets it compute."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.runs: list[Run] = []
        self.bench = Bench()
        self.change_s: ChangeTime = lambda _before, _after: -1.0
        self.preparation = Preparation()
        monkeypatch.setattr(bench_work, "pressing_times", self.pressing_times)
        monkeypatch.setattr(bench_work, "bench_times", self.bench_times)

    def pressing_times(
        self, runs: Sequence[Run], bench: Bench, handling: Handling, *, change_s: ChangeTime
    ) -> PressingTimes:
        """Take the question down, and answer it."""
        assert HANDLING == handling
        self.runs, self.bench, self.change_s = list(runs), bench, change_s
        return bench_simulation.pressing_times(runs, bench, handling, change_s=change_s)

    def bench_times(self, pressing: PressingTimes, bench: Bench, preparation: Preparation) -> BenchTimes:
        """Take the preparation down, and answer."""
        assert self.bench == bench
        self.preparation = preparation
        return bench_simulation.bench_times(pressing, bench, preparation)


@pytest.fixture
def simulated(monkeypatch: pytest.MonkeyPatch) -> Simulated:
    """Return what the simulation is asked."""
    return Simulated(monkeypatch)


def test_film_is_prepared_before_pressing(book: Book, simulated: Simulated) -> None:
    """The order, its loads by hand, cutting with the rest of the loads, and weeding."""
    cutter = book.cutters[book.bench.cutter]
    cut_s = total_cutting_s([CUT], speed_mm_s=cutter.speed_mm_s, acceleration_mm_s2=cutter.acceleration_mm_s2)
    worked(book, film_loads=3)
    prepared = simulated.preparation

    assert pytest.approx((100.0, 3 * 40.0, cut_s + 3 * 50.0, WEED_S)) == (
        prepared.order_s,
        prepared.load_film_s,
        prepared.cut_s,
        prepared.weed_s,
    )


def test_a_trial_takes_one_operator_before_pressing(book: Book, simulated: Simulated) -> None:
    """Its seconds are in the times of hands and of the whole, and not in the work by kind, which its own lines have."""
    runs = (Run(pairs=3, closings=(CLOSING,)),)
    plain, tried = (bench_work.bench_work(own(book), [CUT], runs, 2, Checks(), tried_s=trial) for trial in (0.0, 250.0))

    assert 250.0 + 100.0 == simulated.preparation.order_s
    assert plain.hands == tried.hands
    assert pytest.approx((250.0, 250.0)) == (
        tried.times.elapsed_s - plain.times.elapsed_s,
        tried.times.paid_s - plain.times.paid_s,
    )


def test_runs_pressed_before_are_not_simulated_again(book: Book, simulated: Simulated) -> None:
    """Other pieces of film take other times to cut; what is pressed is the same, whatever number its setting has."""
    there = own(book)
    for setting, film_loads in ((0, 2), (4, 3)):
        simulated.runs = []
        bench_work.bench_work(
            there, [CUT], [Run(pairs=3, closings=(replace(CLOSING, setting=setting),))], film_loads, Checks()
        )

    assert [] == simulated.runs


def test_the_bench_is_that_of_the_book(book: Book, simulated: Simulated) -> None:
    """Every field of its workplace; without one, one operator at one press, who works elsewhere meanwhile."""
    place = Workplace(
        operators=3,
        presses=2,
        tables=4,
        cooling_places=5,
        wait="overlapped",
        attended=False,
        weeds_while_cutting=True,
        idle_paid=True,
    )
    worked(book, place=place)

    assert simulated.bench == Bench(
        presses=2,
        operators=3,
        tables=4,
        cooling_places=5,
        attended=False,
        wait="overlapped",
        weeds_while_cutting=True,
        idle_paid=True,
    )
    worked(book)
    assert Bench() == simulated.bench


@pytest.mark.parametrize(
    ("heating", "changes"),
    [
        (None, (0.0, 0.0, 0.0)),
        (HeatingRate(heating_k_s=0.5, cooling_k_s=0.1), (0.0, 40.0, 200.0)),
        # A platen of 4 kg and 900 J/kgK that a heater of 1600 W could bring to 421 degC, losing 4 W/K to a room of 21:
        # 900 s * ln(261 / 241) up by 20 K at 160 degC, and 900 s * ln(159 / 139) down again.
        (
            HeatedMass(mass_kg=4.0, heat_capacity_j_kgk=900.0, heater_w=1600.0, loss_w_k=4.0),
            (0.0, 71.75, 120.99),
        ),
    ],
)
def test_a_platen_takes_its_time_from_setting_to_setting(
    book: Book, simulated: Simulated, heating: HeatingRate | HeatedMass | None, changes: tuple[float, ...]
) -> None:
    """The first is reached while film is cut; hotter by the heater, cooler by the room."""
    settings = replace(CLOSING, setting=0), replace(CLOSING, setting=1, temperature_c=180.0)
    worked(book, Run(pairs=1, closings=settings), place=Workplace(heating=heating))
    change_s = simulated.change_s
    temperatures = {one.setting: one.temperature_c for run in simulated.runs for one in run.closings}
    cool, hot = sorted(temperatures, key=lambda setting: temperatures[setting] or 0.0)

    assert pytest.approx(changes, abs=0.02) == (change_s(None, hot), change_s(cool, hot), change_s(hot, cool))


def test_an_unknown_temperature_takes_no_time_to_reach(book: Book, simulated: Simulated) -> None:
    """Neither to it nor from it."""
    settings = replace(CLOSING, setting=0), replace(CLOSING, setting=1, temperature_c=None)
    place = Workplace(heating=HeatingRate(heating_k_s=0.5, cooling_k_s=0.1))
    worked(book, Run(pairs=1, closings=settings), place=place)

    assert (0.0, 0.0) == (simulated.change_s(0, 1), simulated.change_s(1, 0))


def test_a_platen_that_never_gets_there_is_refused(book: Book) -> None:
    """The fault says what to mend."""
    weak = HeatedMass(mass_kg=4.0, heat_capacity_j_kgk=900.0, heater_w=400.0, loss_w_k=4.0)
    settings = replace(CLOSING, setting=0), replace(CLOSING, setting=1, temperature_c=180.0)

    with pytest.raises(RefusedError, match="never reaches 180 degC: mend the workplace of the bench in the book"):
        worked(book, Run(pairs=1, closings=settings), place=Workplace(heating=weak))


def numbers(*runs: tuple[int, tuple[Closing, ...]]) -> list[list[int]]:
    """Return the numbers that the settings of runs get, by what is pressed at them."""
    alike = bench_work._numbered_alike([Run(pairs=pairs, closings=closings) for pairs, closings in runs])
    return [[one.setting for one in run.closings] for run in alike]


def test_settings_are_numbered_by_what_is_pressed_at_them() -> None:
    """The coolest first, of equal ones the shortest, whatever number they had; what is alike stays alike."""
    hot = replace(CLOSING, setting=0, temperature_c=180.0)
    unknown = replace(CLOSING, setting=7, temperature_c=None)
    cool = replace(CLOSING, setting=3)
    longer = replace(CLOSING, setting=1, dwell_s=12.0)

    assert [[3, 0], [1, 2, 3]] == numbers((1, (hot, unknown)), (2, (cool, longer, hot)))
    assert [[0]] == numbers((5, (hot,)))


@pytest.mark.parametrize(
    "more",
    [
        {"dwell_s": 11.0},
        {"wait_s": 5.0},
        {"loading": 2},
        {"shoes": 3},
        {"placed": 3},
        {"taped": 1},
        {"closings": 3},
        {"temperature_c": 161.0},
    ],
)
def test_whatever_differs_orders_the_settings(more: dict[str, Any]) -> None:
    """So that the order of a roster's rows does not matter: the larger has the larger number, first or last."""
    plain, other = replace(CLOSING, setting=0), replace(CLOSING, setting=1, **more)
    swapped = replace(CLOSING, setting=1), replace(CLOSING, setting=0, **more)

    assert [[0, 1]] == numbers((1, (plain, other)))
    assert [[0, 1]] == numbers((1, swapped))
    assert [[1, 0]] == numbers((1, (other, plain)))


def test_pairs_order_settings_last() -> None:
    """Of equal closings those with more pairs come last; at an unknown temperature they are coolest of all."""
    one, other = replace(CLOSING, setting=5), replace(CLOSING, setting=2)

    assert [[1], [0]] == numbers((9, (one,)), (4, (other,)))
    assert [[1], [0]] == numbers((4, (replace(one, temperature_c=0.0),)), (9, (replace(other, temperature_c=None),)))
