"""The work of an order or roster on the book's bench: hand work by kind, and the times of hands, presses and places."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire import records
from featherline_service.book.shop_book import Book
from featherline_service.cost.bench_simulation import (
    Bench,
    BenchTimes,
    ChangeTime,
    Platen,
    Preparation,
    PressingTimes,
    Ramp,
    bench_times,
    pressing_times,
)
from featherline_service.cost.times import Closing, Cut, HandWork, Run, hand_work, total_cutting_s, total_weeding_s
from featherline_service.messages.told import told
from featherline_service.questions.checks import Checks
from featherline_service.runtime.cache import cached

_PLAIN: Final = records.Workplace()


class BenchWork(Struct, frozen=True, kw_only=True):
    """Paid hand work by kind, waiting included, the times of the bench, and the time that the cutter is busy [s]."""

    hands: tuple[HandWork, ...]
    times: BenchTimes
    cutter_s: float


def bench_work(
    book: Book, cuts: Sequence[Cut], runs: Sequence[Run], film_loads: int, checks: Checks, *, tried_s: float = 0.0
) -> BenchWork:
    """Return the work of runs on the book's bench, for pieces cut from so many loads of film.

    Of trials, which take one operator `tried_s`, the times have the hands and the whole, and the work by kind nothing.

    Raises:
        RefusedError: the platen of the book never reaches a setting.
    """
    workplace = _place(book)
    handling, cutter = book.rates[book.bench.rates].handling, book.cutters[book.bench.cutter]
    cut_s = total_cutting_s(cuts, speed_mm_s=cutter.speed_mm_s, acceleration_mm_s2=cutter.acceleration_mm_s2)
    preparation = Preparation(
        order_s=handling.order_s + tried_s,
        load_film_s=film_loads * handling.load_film_s,
        # The cutter may take longer to load than the hands.
        cut_s=cut_s + film_loads * max(0.0, cutter.load_s - handling.load_film_s),
        weed_s=total_weeding_s(cuts, handling),
    )
    try:
        pressing = _pressing_times(book, _numbered_alike(runs))
    except ValueError as error:
        checks.refuse(
            "", told("bench.unworkable", "{error}: mend the workplace of the bench in the book", error=str(error))
        )
    times = bench_times(pressing, _bench(workplace), preparation)
    hands = hand_work(
        cuts,
        runs,
        film_loads=film_loads,
        settings_made=pressing.settings_made,
        shoes_laid=pressing.shoes_laid,
        handling=handling,
    )
    closed = sum(closing.closed(run.pairs) for run in runs for closing in run.closings)
    waits = (
        HandWork(
            detail=f"Attending the closed press, closings: {closed}", seconds=times.attending_s, grows_with="press"
        ),
        HandWork(detail="Standing by while film cools", seconds=times.standing_s, grows_with="press"),
        HandWork(detail="Hands idle, paid", seconds=times.idle_s if workplace.idle_paid else 0.0, grows_with="pairs"),
    )
    return BenchWork(hands=(*hands[:-2], *waits, *hands[-2:]), times=times, cutter_s=cut_s + film_loads * cutter.load_s)


@cached
def _pressing_times(book: Book, runs: tuple[Run, ...]) -> PressingTimes:
    """Return the times of pressing runs on the book's bench: rows and orders that differ by their artwork share them.

    Raises:
        ValueError: the platen of the book never reaches a setting.
    """
    workplace = _place(book)
    change_s = _change(workplace, runs, book.bench.room_c)
    return pressing_times(runs, _bench(workplace), book.rates[book.bench.rates].handling, change_s=change_s)


def _place(book: Book) -> records.Workplace:
    return book.bench.workplace or _PLAIN


def _bench(workplace: records.Workplace) -> Bench:
    return Bench(
        presses=workplace.presses,
        operators=workplace.operators,
        tables=workplace.tables,
        cooling_places=workplace.cooling_places,
        attended=workplace.attended,
        wait=workplace.wait,
        weeds_while_cutting=workplace.weeds_while_cutting,
        idle_paid=workplace.idle_paid,
    )


def _change(workplace: records.Workplace, runs: Sequence[Run], room_c: float) -> ChangeTime:
    """Return the platen's time from one setting to another.

    The first setting is reached while film is cut; to or from an unknown temperature no time is counted.
    """
    reached = {closing.setting: closing.temperature_c for run in runs for closing in run.closings}
    platen: Ramp | Platen
    match workplace.heating:
        case records.HeatingRate(heating_k_s=heating, cooling_k_s=cooling):
            platen = Ramp(heating_k_s=heating, cooling_k_s=cooling)
        case records.HeatedMass() as mass:
            platen = Platen(
                mass_kg=mass.mass_kg,
                heat_capacity_j_kgk=mass.heat_capacity_j_kgk,
                heater_w=mass.heater_w,
                loss_w_k=mass.loss_w_k,
                room_c=room_c,
            )
        case None:
            return lambda _before, _after: 0.0

    def change_s(before: int | None, after: int) -> float:
        from_c, to_c = None if before is None else reached[before], reached[after]
        return 0.0 if from_c is None or to_c is None else platen.change_s(from_c, to_c)

    return change_s


def _numbered_alike(runs: Sequence[Run]) -> tuple[Run, ...]:
    """Return runs with their settings numbered by what is pressed at them, whatever the order of a roster's rows."""
    uses: dict[int, list[tuple[float, ...]]] = {}
    for run in runs:
        for closing in run.closings:
            uses.setdefault(closing.setting, []).append((*_measures(closing), float(run.pairs)))
    order = sorted(uses, key=lambda setting: sorted(uses[setting]))
    numbers = {setting: number for number, setting in enumerate(order)}
    return tuple(
        replace(run, closings=tuple(replace(closing, setting=numbers[closing.setting]) for closing in run.closings))
        for run in runs
    )


def _measures(closing: Closing) -> tuple[float, ...]:
    temperature_c = -1.0 if closing.temperature_c is None else closing.temperature_c
    return (
        temperature_c,
        closing.dwell_s,
        closing.wait_s,
        closing.loading,
        closing.shoes,
        closing.placed,
        closing.taped,
        closing.closings,
    )
