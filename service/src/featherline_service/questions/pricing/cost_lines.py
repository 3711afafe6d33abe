"""What work costs the shop: film, consumables, times and spoilage, with the rates of the book, line by line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Final, Literal, NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.costs import Cost, CostLine, Times
from featherline.wire.money import Charge
from featherline.wire.records import Cover, Rates, ShoeModel
from featherline_service.book.shop_book import Book
from featherline_service.cost.breakdown import MATERIAL, OVERHEAD_BASE, cost_line, line_amount, total
from featherline_service.cost.money import amount_of, decimal_of, exact_arithmetic, minor_step, money
from featherline_service.cost.order_risk import OrderLine
from featherline_service.cost.spoilage import chance_of_any
from featherline_service.cost.times import (
    Closing,
    Run,
    pressing_s,
    total_cutting_s,
    total_weeding_s,
    working_days,
)
from featherline_service.questions.checks import Checks
from featherline_service.questions.pricing import order_costs
from featherline_service.questions.pricing.bench_work import BenchWork, bench_work
from featherline_service.questions.pricing.film_lots import (
    FilmLot,
    FilmPieces,
    cuts,
    film_amount,
    film_lines,
    film_lots,
    film_use,
    lots_of_runs,
)
from featherline_service.questions.pricing.offcuts import Offcuts
from featherline_service.questions.pricing.terms import CostTerms, Terms
from featherline_service.questions.pricing.trial_costs import TrialWork, trial_lines
from featherline_service.runtime.cache import cached

_HOUR_S: Final = 3600

_WHOLE: Final = Decimal(1)
_TIME_STEP_H: Final = Decimal("0.0001")  # a third of a second
_PAIR_STEP: Final = Decimal("0.000001")


class Presswork(Struct, frozen=True, kw_only=True, cache_hash=True):
    """Closings of the press, the cover sheet on them, and the chances to spoil a shoe, and of a weak bond.

    The platen takes `most_pairs` at once, however many there are.
    """

    closing: Closing
    cover: Cover | None
    shoe_chance: float
    weak_chance: float
    most_pairs: int = 1


class Part(Struct, frozen=True, kw_only=True, cache_hash=True):
    """Pairs that are all worked alike: a whole order, or a row of a roster. `shoe` is None where it is not in the book.

    `characters` are those of the texts on one pair, counted on each shoe that bears them. `trials` come before the
    pairs, each once. `drawings` are to be prepared once; the rows of a roster share those of their order.
    """

    pieces: tuple[FilmPieces, ...]
    presswork: tuple[Presswork, ...]
    owner: Literal["customer", "shop"]
    shoe: ShoeModel | None
    pairs: int
    characters: int
    trials: tuple[TrialWork, ...] = ()
    drawings: int = 0

    @property
    def closings(self) -> tuple[Closing, ...]:
        """The closings of the press for one pair."""
        return tuple(press.closing for press in self.presswork)

    @property
    def wanted(self) -> list[tuple[FilmPieces, int]]:
        """Its pieces of film, and how many of each there are."""
        return [(piece, piece.per_pair * self.pairs) for piece in self.pieces]

    @property
    def spoilt(self) -> float:
        """Chance that a pair is spoilt."""
        return chance_of_any(press.shoe_chance for press in self.presswork for _ in range(press.closing.shoes))

    @property
    def redone(self) -> float:
        """Chance that a pair has to be marked again: a weak bond is weak on both shoes."""
        return chance_of_any(press.weak_chance for press in self.presswork)


class Work(Struct, frozen=True, kw_only=True):
    """Work to be priced together, and the terms on which: everything that cost and price follow from."""

    parts: tuple[Part, ...]
    terms: Terms

    @property
    def pairs(self) -> int:
        """How many pairs there are in all."""
        return sum(part.pairs for part in self.parts)


class WorkCost(Struct, frozen=True, kw_only=True):
    """What work costs the shop, the share of each part in it, and the film it is cut from."""

    cost: Cost
    shares: tuple[Fraction, ...]
    lots: tuple[FilmLot, ...]


class _Lines:
    """The lines of a cost with their amounts, and the share that every part of the work has in them."""

    def __init__(self, parts: Sequence[Part]) -> None:
        self.lines: list[CostLine] = []
        self.amounts: list[Decimal] = []
        self._by_pairs = [float(part.pairs) for part in parts]
        self._shares = [0.0] * len(parts)

    @property
    def total(self) -> Decimal:
        """The exact sum of the lines so far."""
        return sum(self.amounts, Decimal(0))

    def add(self, lines: Iterable[CostLine], weights: Sequence[float] | None = None) -> Decimal:
        """Add lines whose amounts the parts share by weight, by their pairs where none has one; return their sum."""
        before = len(self.amounts)
        for one in lines:
            self.lines.append(one)
            self.amounts.append(Decimal(one.amount.amount))
        added = self.amounts[before:]
        if len(self._shares) > 1:
            weights = weights if weights is not None and any(weights) else self._by_pairs
            whole = sum(weights)
            for amount in map(float, added):
                self._shares = [
                    share + amount * (weight / whole) for share, weight in zip(self._shares, weights, strict=True)
                ]
        return sum(added, Decimal(0))

    def shares(self) -> tuple[Fraction, ...]:
        """Return the share of every part: of a single one exactly the total, of several to a billionth."""
        if len(self._shares) == 1:
            return (Fraction(self.total),)
        return tuple(Fraction(f"{share:.9f}") for share in self._shares)


def order_cost(book: Book, parts: Sequence[Part]) -> Decimal:
    """Return what work costs once, however many pairs it has."""
    return total(order_costs.order_lines(book.rates[book.bench.rates], max(part.drawings for part in parts)))


def with_card_fees(book: Book, costed: WorkCost, fees: Sequence[OrderLine], paid: Sequence[Decimal]) -> WorkCost:
    """Return the cost of work with the fees of a card, shared by what is paid for each part."""
    if not fees:
        return costed
    rates = book.rates[book.bench.rates]
    lines = order_costs.card_lines(rates, fees)
    whole, fee = sum(map(Fraction, paid)), Fraction(total(lines))
    shares = [Fraction(part) / whole if whole else Fraction(1, len(paid)) for part in paid]
    cost = costed.cost
    return replace(
        costed,
        cost=replace(
            cost,
            lines=(*cost.lines, *lines),
            total=money(decimal_of(cost.total.amount) + total(lines), rates.currency),
        ),
        shares=tuple(before + share * fee for before, share in zip(costed.shares, shares, strict=True)),
    )


def cost_work(book: Book, parts: Sequence[Part], terms: CostTerms, checks: Checks) -> WorkCost:
    """Return what the parts of work cost the shop together; `checks` note faults at its place in the request.

    Raises:
        RefusedError: pieces do not go on their film's roll; each fault at the piece's pointer.
        MoneyError: sums of the book are in mixed currencies, one without minor units, or too large.
    """
    rates = book.rates[book.bench.rates]
    lots, done, tried_s, found = _worked(book, parts, terms, checks)
    times = done.times
    return WorkCost(
        cost=Cost(
            lines=tuple(found.lines),
            total=money(found.total, rates.currency),
            material=money(total(found.lines, MATERIAL), rates.currency),
            film=tuple(film_use(lot, terms.units) for lot in lots),
            times=Times(
                labour_s=times.paid_s,
                press_s=times.press_s + tried_s,
                cutter_s=done.cutter_s,
                elapsed_s=times.elapsed_s,
                idle_s=times.free_s,
                standing_s=times.standing_s,
                cooling_s=times.cooling_s,
                working_days=None if terms.hours_a_day is None else working_days(times.elapsed_s, terms.hours_a_day),
            ),
            spoil_chance=_mean(parts, [part.spoilt for part in parts]),
            redo_chance=_mean(parts, [part.redone for part in parts]),
        ),
        shares=found.shares(),
        lots=lots,
    )


class _Worked(NamedTuple):
    """The film that work takes, its times, the time of its trials [s], and the lines of its cost."""

    lots: tuple[FilmLot, ...]
    bench: BenchWork
    tried_s: float
    lines: _Lines


def _worked(book: Book, parts: Sequence[Part], terms: CostTerms, checks: Checks) -> _Worked:
    rates, cutter = book.rates[book.bench.rates], book.cutters[book.bench.cutter]
    lots = film_lots(book, [(part.pieces, part.pairs) for part in parts], terms, checks)
    loads = sum(lot.loads for lot in lots)
    outlined = {(lot.film.id, lot.colour) for lot in lots if lot.taken.outlined}
    cut = [cuts(part.wanted, outlined) for part in parts]
    trials = tuple(dict.fromkeys(trial for part in parts for trial in part.trials))
    tried_s = sum(trial.seconds(rates.handling) for trial in trials)
    done = bench_work(book, [each for own in cut for each in own], _runs(parts), loads, checks, tried_s=tried_s)

    found = _Lines(parts)
    in_vain = Decimal(0)
    areas = [[_area_mm2(part, lot) for part in parts] for lot in lots]
    for lot, area in zip(lots, areas, strict=True):
        added = found.add(film_lines(lot, rates, terms.units), area)
        in_vain += added if lot.film.cutting is not None else 0
    _add_covers(found, parts, rates)
    _add_consumables(found, parts, rates)
    blade = [
        total_cutting_s(own, speed_mm_s=cutter.speed_mm_s, acceleration_mm_s2=cutter.acceleration_mm_s2) for own in cut
    ]
    weights: dict[str, list[float]] = {
        "weeding": [total_weeding_s(own, rates.handling) for own in cut],
        "press": [pressing_s(_run(part), rates.handling) for part in parts],
    }
    for hand in done.hands:
        if hand.seconds:
            line = _timed("labour", hand.detail, hand.seconds, rates.labour_per_hour, rates)
            added = found.add([line], weights.get(hand.grows_with))
            in_vain += added if hand.grows_with == "weeding" else 0
    pressed = _timed("press", "The press, taken up", done.times.press_s, rates.press_per_hour, rates)
    found.add([pressed], weights["press"])
    if done.cutter_s:
        in_vain += found.add(
            [_timed("cutter", "The cutter, taken up", done.cutter_s, rates.cutter_per_hour, rates)], blade
        )
    pieces = sum(lot.taken.pieces for lot in lots if lot.film.cutting is not None)
    found.add(order_costs.failed_cut_lines(rates, pieces, in_vain), blade)
    for lot, area in zip(lots, areas, strict=True):
        found.add(order_costs.scrap_lines(rates, lot.film, lot.colour, lot.loads), area)
    _add_spoilage(found, parts, rates)
    for trial in trials:
        found.add(trial_lines(trial, rates), [float(part.pairs * (trial in part.trials)) for part in parts])
    if decimal_of(rates.overhead):
        found.add([_overhead(found.lines, rates)])
    found.add(order_costs.order_lines(rates, max(part.drawings for part in parts)))
    found.add(order_costs.post_lines(rates, sum(part.pairs for part in parts)))
    return _Worked(lots, done, tried_s, found)


class _Pressed(NamedTuple):
    """What a run costs apart from its film and the work on that, none of which depends on the artwork.

    `made` is the total of what is made, `spoilt` what spoilt pairs are worth, `again` how many pairs are marked again
    by reason, `tried` what trials cost, `posted` the post for each pair. `worked` is what overhead is charged on.
    """

    made: Decimal
    spoilt: Decimal
    again: tuple[float, ...]
    tried: Decimal
    worked: Decimal
    posted: Decimal


@lru_cache(maxsize=1024)
def _pressed(book: Book, part: Part) -> _Pressed:
    """Return the costs of a part without pieces. Idle hands are left out."""
    rates, parts = book.rates[book.bench.rates], (part,)
    made, spoilt, tried, posted = (_Lines(parts) for _ in range(4))
    done = bench_work(book, (), _runs(parts), 0, Checks())
    _add_covers(made, parts, rates)
    _add_consumables(made, parts, rates)
    for hand in done.hands:
        made.add([_timed("labour", hand.detail, hand.seconds, rates.labour_per_hour, rates)])
    made.add([_timed("press", "", done.times.press_s, rates.press_per_hour, rates)])
    _add_spoilt_pairs(spoilt, parts, rates)
    for trial in dict.fromkeys(part.trials):
        tried.add(trial_lines(trial, rates))
    posted.add(order_costs.post_lines(rates, part.pairs))
    return _Pressed(
        made=made.total,
        spoilt=spoilt.total,
        again=tuple(marked_again[0] for _, marked_again in _marked_again(parts)),
        tried=tried.total,
        worked=total([*made.lines, *tried.lines], OVERHEAD_BASE),
        posted=posted.total,
    )


class RunFilm(NamedTuple):
    """What the film of a run costs with all the work on it, and that work alone, which overhead is charged on."""

    made: Decimal
    worked: Decimal


@cached
def films_of_runs(
    book: Book, pieces: tuple[FilmPieces, ...], counts: tuple[int, ...], offcuts: Offcuts, largest_nest: int
) -> tuple[RunFilm, ...]:
    """Return what the film of runs of so many pairs costs: the same for all shoes that an artwork is put on.

    Args:
        book: the shop book.
        pieces: the pieces of a pair, all of which go on their film's roll.
        counts: the numbers of pairs.
        offcuts: the offcuts that the request brings.
        largest_nest: most rectangles nested at once.
    """
    terms = CostTerms(offcuts=dict(offcuts), largest_nest=largest_nest)
    runs = zip(counts, lots_of_runs(book, pieces, counts, terms), strict=True)
    return tuple(_run_film(book, [(piece, piece.per_pair * pairs) for piece in pieces], lots) for pairs, lots in runs)


def _run_film(book: Book, wanted: Sequence[tuple[FilmPieces, int]], lots: Sequence[FilmLot]) -> RunFilm:
    rates, cutter = book.rates[book.bench.rates], book.cutters[book.bench.cutter]
    handling, currency = rates.handling, rates.currency
    cut = cuts(wanted, ())

    def timed(what: Literal["labour", "cutter"], seconds: float, rate: Charge) -> Decimal:
        return line_amount(what, seconds / _HOUR_S, _TIME_STEP_H, _hourly(what, rate, rates), currency)

    film = sum((film_amount(lot, rates) for lot in lots if lot.film.cutting is not None), Decimal(0))
    printed = sum((film_amount(lot, rates) for lot in lots if lot.film.cutting is None), Decimal(0))
    loads = sum(lot.loads for lot in lots)
    blade_s = total_cutting_s(cut, speed_mm_s=cutter.speed_mm_s, acceleration_mm_s2=cutter.acceleration_mm_s2)
    loading = timed("labour", loads * handling.load_film_s, rates.labour_per_hour)
    weeding = timed("labour", total_weeding_s(cut, handling), rates.labour_per_hour)
    cutting = timed("cutter", blade_s + loads * cutter.load_s, rates.cutter_per_hour)
    failed = order_costs.failed_cut_lines(rates, sum(one.count for one in cut), film + weeding + cutting)
    scraps = [line for lot in lots for line in order_costs.scrap_lines(rates, lot.film, lot.colour, lot.loads)]
    worked = loading + weeding + cutting
    return RunFilm(made=film + printed + worked + total(failed) + total(scraps), worked=worked)


def run_cost(book: Book, part: Part, film: RunFilm, terms: CostTerms) -> Decimal:
    """Return the cost of a part by `cost_work` less its `order_cost`, which takes less: a price list asks for seven.

    Args:
        book: the shop book.
        part: the pairs of the run; its pieces go on their film's roll.
        film: the film of the run, by `films_of_runs`.
        terms: the terms of the cost.

    Raises:
        MoneyError: as `cost_work`.
    """
    if book.bench.workplace is not None and book.bench.workplace.idle_paid:  # what cutting and weeding take counts
        return decimal_of(cost_work(book, (part,), terms, Checks()).cost.total.amount) - order_cost(book, (part,))
    rates = book.rates[book.bench.rates]
    currency = rates.currency
    pressed = _pressed(book, replace(part, pieces=()))
    made = pressed.made + film.made
    with exact_arithmetic():
        again = made / part.pairs
    spoilt = sum((line_amount("spoilage", count, _PAIR_STEP, again, currency) for count in pressed.again), Decimal(0))
    overhead = decimal_of(rates.overhead)
    if overhead:
        worked = pressed.worked + film.worked
        overhead = line_amount("overhead", worked, minor_step(currency), overhead, currency)
    return made + pressed.spoilt + spoilt + pressed.tried + overhead + pressed.posted


def _run(part: Part) -> Run:
    return Run(closings=part.closings, pairs=part.pairs)


def _runs(parts: Sequence[Part]) -> list[Run]:
    """Return the runs of the press: parts with the same closings are pressed in one, pairs that share them apart.

    Runs follow one another by what they are, whatever the order of the parts.
    """
    pairs: dict[tuple[tuple[Closing, ...], int], int] = {}
    for number, part in enumerate(parts):
        shared = any(closing.pairs_at_once > 1 for closing in part.closings)
        key = part.closings, number if shared else -1
        pairs[key] = pairs.get(key, 0) + part.pairs
    runs = [Run(closings=closings, pairs=count) for (closings, _), count in pairs.items()]
    return sorted(runs, key=_by_work)


def _by_work(run: Run) -> tuple[list[tuple[float, ...]], int]:
    """Return what a run is, without the number that its settings happen to have."""
    closings: list[tuple[float, ...]] = [
        (one.loading, one.dwell_s, one.wait_s, one.shoes, one.placed, one.taped, one.pairs_at_once, one.closings)
        for one in run.closings
    ]
    return closings, run.pairs


def _mean(parts: Sequence[Part], chances: Sequence[float]) -> float:
    """Return the mean of chances over all pairs."""
    if len(parts) == 1:
        return chances[0]
    pairs = sum(part.pairs for part in parts)
    return sum(part.pairs * chance for part, chance in zip(parts, chances, strict=True)) / pairs


def _area_mm2(part: Part, lot: FilmLot) -> float:
    """Return the area of a part's pieces of a lot of film."""
    return sum(piece.box_mm2 * count for piece, count in part.wanted if piece.lot == (lot.film.id, lot.colour))


def _add_covers(found: _Lines, parts: Sequence[Part], rates: Rates) -> None:
    """Add the wear of cover sheets: one sheet covers everything under the platen, once for every closing."""
    covers = {press.cover.id: press.cover for part in parts for press in part.presswork if press.cover is not None}
    for cover in covers.values():
        closed = [
            sum(
                one.closing.closed(part.pairs)
                for one in part.presswork
                if one.cover is not None and one.cover.id == cover.id
            )
            for part in parts
        ]
        with exact_arithmetic():
            rate = amount_of(cover.price, rates.currency, f"The cover sheet {cover.id}") / cover.lasts_presses
        wear = cost_line(
            "cover",
            detail=f"{cover.name}: wear, lasts {cover.lasts_presses} closings",
            quantity=Decimal(sum(closed)),
            step=_WHOLE,
            unit="closing",
            rate=rate,
            currency=rates.currency,
            origin=f"covers/{cover.id}",
        )
        found.add([wear], [float(count) for count in closed])


def _add_consumables(found: _Lines, parts: Sequence[Part], rates: Rates) -> None:
    taped = [part.pairs * sum(closing.taped for closing in part.closings) for part in parts]
    if any(taped):
        tape = _counted(
            "tape", "Tape, pieces held", sum(taped), unit="piece", rate=rates.tape_per_placement, rates=rates
        )
        found.add([tape], [float(count) for count in taped])
    pairs = sum(part.pairs for part in parts)
    found.add([_counted("packing", "Packing", pairs, unit="pair", rate=rates.packing_per_pair, rates=rates)])


def _add_spoilage(found: _Lines, parts: Sequence[Part], rates: Rates) -> None:
    """Add the expected cost of spoilt pairs, and of films that do not hold.

    A customer's own pair is paid for, with an apology. A pair of the shop's is replaced and marked again. Where a film
    does not hold, the pair is sound but is marked again.
    """
    with exact_arithmetic():
        again = found.total / sum(part.pairs for part in parts)
    _add_spoilt_pairs(found, parts, rates)
    for detail, marked_again in _marked_again(parts):
        line = _spoilage(detail, marked_again, again, f"rates/{rates.id}", rates)
        found.add([line], marked_again)


def _add_spoilt_pairs(found: _Lines, parts: Sequence[Part], rates: Rates) -> None:
    """Add what the pairs that are expected to be spoilt are worth."""
    expected = [part.spoilt * part.pairs for part in parts]
    worth = [_worth(part, rates) for part in parts]
    for value, detail, from_ in dict.fromkeys(worth):
        own = [count if (value, detail, from_) == its else 0.0 for count, its in zip(expected, worth, strict=True)]
        found.add([_spoilage(detail, own, value, from_, rates)], own)


def _marked_again(parts: Sequence[Part]) -> Iterator[tuple[str, list[float]]]:
    """Yield how many pairs of each part are expected to be marked again, and why."""
    if any(part.owner == "shop" for part in parts):
        replaced = [part.spoilt * part.pairs if part.owner == "shop" else 0.0 for part in parts]
        yield "Marking the pairs that replace them, at the lines above for one pair", replaced
    weak = [part.redone * part.pairs for part in parts]
    if any(weak):
        yield "Pairs expected to be marked again as a film does not hold, at the lines above for one pair", weak


def _worth(part: Part, rates: Rates) -> tuple[Decimal, str, str]:
    """Return what a spoilt pair costs, in words too, and the record that says so."""
    spoilage = rates.spoilage
    if part.shoe is None:
        value = amount_of(spoilage.customer_pair_value, rates.currency, "An unknown pair")
        detail, origin = (
            "Pairs expected to be spoilt, at what an unknown pair is taken to be worth",
            f"rates/{rates.id}",
        )
    else:
        value = amount_of(part.shoe.pair_value, rates.currency, f"The shoe {part.shoe.id}")
        detail, origin = "Pairs expected to be spoilt, at what the book says of the shoe", f"shoes/{part.shoe.id}"
    if part.owner == "customer":
        with exact_arithmetic():
            value += amount_of(spoilage.apology, rates.currency, "The apology for a spoilt pair")
        detail += ", and an apology"
    return value, detail, origin


def _spoilage(detail: str, expected: Sequence[float], rate: Decimal, origin: str, rates: Rates) -> CostLine:
    return cost_line(
        "spoilage",
        detail=detail,
        quantity=float(sum(expected)),
        step=_PAIR_STEP,
        unit="pair",
        rate=rate,
        currency=rates.currency,
        origin=origin,
    )


def _overhead(lines: Sequence[CostLine], rates: Rates) -> CostLine:
    return cost_line(
        "overhead",
        detail="Overhead, a share of labour, press and cutter",
        quantity=total(lines, OVERHEAD_BASE),
        step=minor_step(rates.currency),
        unit=rates.currency,
        rate=decimal_of(rates.overhead),
        currency=rates.currency,
        origin=f"rates/{rates.id}",
    )


def _counted(
    what: Literal["tape", "packing"], detail: str, count: int, *, unit: str, rate: Charge, rates: Rates
) -> CostLine:
    return cost_line(
        what,
        detail=detail,
        quantity=Decimal(count),
        step=_WHOLE,
        unit=unit,
        rate=amount_of(rate, rates.currency, f"{detail} of rates {rates.id}"),
        currency=rates.currency,
        origin=f"rates/{rates.id}",
    )


def _timed(
    what: Literal["labour", "press", "cutter"], detail: str, seconds: float, rate: Charge, rates: Rates
) -> CostLine:
    return cost_line(
        what,
        detail=detail,
        quantity=seconds / _HOUR_S,
        step=_TIME_STEP_H,
        unit="h",
        rate=_hourly(what, rate, rates),
        currency=rates.currency,
        origin=f"rates/{rates.id}",
    )


def _hourly(what: Literal["labour", "press", "cutter"], rate: Charge, rates: Rates) -> Decimal:
    return amount_of(rate, rates.currency, f"An hour of {what} of rates {rates.id}")
