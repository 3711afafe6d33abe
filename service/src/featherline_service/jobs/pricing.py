"""From known work to its cost and its price: film, times, spoilage and policy, with the rates of the book."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Final, Literal

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.costs import Cost, CostLine, Price, Times
from featherline.wire.money import Charge
from featherline.wire.problems import Fault
from featherline.wire.records import Cover, Cutter, Policy, Rates, ShoeModel
from featherline_service.book.shelves import Book
from featherline_service.cost.breakdown import MATERIAL, WORKED, line, total
from featherline_service.cost.money import MoneyError, charged, exact, exactly, minor_step, money
from featherline_service.cost.price import charge
from featherline_service.cost.spoilage import any_of
from featherline_service.cost.times import Closing, Cut, cutter_s, elapsed_s, hand_work, press_s, working_days
from featherline_service.jobs.film_lots import FilmPieces, cuts, film_lines, film_lots, film_use
from featherline_service.jobs.refusals import Checks, RefusedError

_HOUR_S: Final = 3600

_WHOLE: Final = Decimal(1)
_TIME_STEP_H: Final = Decimal("0.0001")  # a third of a second
_PAIR_STEP: Final = Decimal("0.000001")


class Pressed(Struct, frozen=True, kw_only=True):
    """Closings of the press, the cover sheet on them, and the chance that one shoe is spoilt in them."""

    closing: Closing
    cover: Cover | None
    shoe_chance: float


class Work(Struct, frozen=True, kw_only=True):
    """Work to be priced: everything that cost follows from. `shoe` is null where the book does not know it."""

    pieces: tuple[FilmPieces, ...]
    pressed: tuple[Pressed, ...]
    owner: Literal["customer", "shop"]
    shoe: ShoeModel | None
    pairs: int
    hours_a_day: float | None
    units: Literal["metric", "us"]


def find_policy(book: Book, wanted: str | None, checks: Checks) -> Policy | None:
    """Return the price policy asked for, or the bench's; note a fault where it is unknown or in another currency."""
    policy = checks.record(book.policies, "price policy", wanted or book.bench.policy, "/policy")
    currency = book.rates[book.bench.rates].currency
    if policy is not None and policy.currency != currency:
        checks.note(
            "/policy",
            f"Price policy {policy.id!r} is in {policy.currency}, and the bench's rates are in {currency}: "
            f"ask for a policy in {currency}",
        )
        return None
    return policy


def price_work(book: Book, work: Work, policy: Policy) -> tuple[Cost, Price]:
    """Return what the work costs the shop, and what to charge by the policy.

    Raises:
        RefusedError: a piece does not go on its film's roll, or money cannot be reckoned: charges of the book in mixed
            currencies, a currency without minor units, amounts too large.
    """
    try:
        cost = _cost(book, work)

        def cost_of(pairs: int) -> Decimal:
            found = cost if pairs == work.pairs else _cost(book, replace(work, pairs=pairs))
            return exact(found.total.amount)

        return cost, charge(cost_of, work.pairs, policy)
    except MoneyError as error:
        raise RefusedError((Fault(pointer="", detail=str(error)),)) from error


def _cost(book: Book, work: Work) -> Cost:
    lots = film_lots(book, work.pieces, work.pairs)
    rates = book.rates[book.bench.rates]
    cutter = book.cutters[book.bench.cutter]
    closings = [pressed.closing for pressed in work.pressed]
    cut = [cut for lot in lots for cut in cuts(lot)]
    loads = sum(lot.loads for lot in lots)

    hands = hand_work(cut, closings, pairs=work.pairs, film_loads=loads, handling=rates.handling)
    press = press_s(hands, closings, pairs=work.pairs)
    cutting = _cutter_time(cut, cutter, work.pairs, loads)
    elapsed = elapsed_s(
        hands,
        at_press_s=press,
        at_cutter_s=cutting,
        film_loads=loads,
        load_film_s=rates.handling.load_film_s,
        load_s=cutter.load_s,
    )
    spoil_chance = any_of(pressed.shoe_chance for pressed in work.pressed for _ in range(pressed.closing.shoes))

    lines = [one for lot in lots for one in film_lines(lot, rates, work.units)]
    lines += _cover_lines(work, rates.currency)
    taped = work.pairs * sum(closing.taped for closing in closings)
    if taped:
        lines.append(
            _counted("tape", "Tape, pieces held", taped, unit="piece", rate=rates.tape_per_placement, rates=rates)
        )
    lines.append(_counted("packing", "Packing", work.pairs, unit="pair", rate=rates.packing_per_pair, rates=rates))
    lines += [
        _timed("labour", hand.detail, hand.seconds, rates.labour_per_hour, rates) for hand in hands if hand.seconds
    ]
    lines.append(_timed("press", "The press, taken up", press, rates.press_per_hour, rates))
    if cutting:
        lines.append(_timed("cutter", "The cutter, taken up", cutting, rates.cutter_per_hour, rates))
    lines += _spoilage_lines(work, spoil_chance, lines, rates)
    if exact(rates.overhead):
        lines.append(
            line(
                "overhead",
                detail="Overhead, a share of labour, press and cutter",
                quantity=total(lines, WORKED),
                step=minor_step(rates.currency),
                unit=rates.currency,
                rate=exact(rates.overhead),
                currency=rates.currency,
                origin=f"rates/{rates.id}",
            )
        )
    return Cost(
        lines=tuple(lines),
        total=money(total(lines), rates.currency),
        material=money(total(lines, MATERIAL), rates.currency),
        film=tuple(film_use(lot) for lot in lots),
        times=Times(
            labour_s=sum(hand.seconds for hand in hands),
            press_s=press,
            cutter_s=cutting,
            elapsed_s=elapsed,
            working_days=None if work.hours_a_day is None else working_days(elapsed, work.hours_a_day),
        ),
        spoil_chance=spoil_chance,
    )


def _cutter_time(cuts: Sequence[Cut], cutter: Cutter, pairs: int, loads: int) -> float:
    return cutter_s(
        cuts,
        pairs=pairs,
        film_loads=loads,
        speed_mm_s=cutter.speed_mm_s,
        acceleration_mm_s2=cutter.acceleration_mm_s2,
        load_s=cutter.load_s,
    )


def _cover_lines(work: Work, currency: str) -> list[CostLine]:
    """Return the wear of cover sheets: one sheet covers everything under the platen, once for every closing."""
    lines = []
    covers = {pressed.cover.id: pressed.cover for pressed in work.pressed if pressed.cover is not None}
    for cover in covers.values():
        closed = work.pairs * sum(
            pressed.closing.closings
            for pressed in work.pressed
            if pressed.cover is not None and pressed.cover.id == cover.id
        )
        with exactly():
            rate = charged(cover.price, currency, f"The cover sheet {cover.id}") / cover.lasts_presses
        lines.append(
            line(
                "cover",
                detail=f"{cover.name}: wear, lasts {cover.lasts_presses} closings",
                quantity=Decimal(closed),
                step=_WHOLE,
                unit="closing",
                rate=rate,
                currency=currency,
                origin=f"covers/{cover.id}",
            )
        )
    return lines


def _spoilage_lines(work: Work, spoil_chance: float, before: Sequence[CostLine], rates: Rates) -> list[CostLine]:
    """Return the expected cost of spoilt pairs.

    A customer's own pair is paid for, with an apology. A pair of the shop's is replaced and marked again.
    """
    spoilage = rates.spoilage
    expected = spoil_chance * work.pairs
    pair = charged(spoilage.customer_pair_value, rates.currency, "A customer's pair")
    origin = f"rates/{rates.id}"
    detail = "Pairs expected to be spoilt, at what a customer's pair is taken to be worth"
    with exactly():
        if work.owner == "customer":
            pair += charged(spoilage.apology, rates.currency, "The apology for a spoilt pair")
            detail += ", and an apology"
        elif work.shoe is not None:
            pair = charged(work.shoe.pair_value, rates.currency, f"The shoe {work.shoe.id}")
            origin = f"shoes/{work.shoe.id}"
            detail = "Pairs expected to be spoilt, at what the shop's pair is worth"
        again = total(before) / work.pairs
    lines = [
        line(
            "spoilage",
            detail=detail,
            quantity=expected,
            step=_PAIR_STEP,
            unit="pair",
            rate=pair,
            currency=rates.currency,
            origin=origin,
        )
    ]
    if work.owner == "shop":
        lines.append(
            line(
                "spoilage",
                detail="Marking the pairs that replace them, at the lines above for one pair",
                quantity=expected,
                step=_PAIR_STEP,
                unit="pair",
                rate=again,
                currency=rates.currency,
                origin=f"rates/{rates.id}",
            )
        )
    return lines


def _counted(
    what: Literal["tape", "packing"], detail: str, count: int, *, unit: str, rate: Charge, rates: Rates
) -> CostLine:
    return line(
        what,
        detail=detail,
        quantity=Decimal(count),
        step=_WHOLE,
        unit=unit,
        rate=charged(rate, rates.currency, f"{detail} of rates {rates.id}"),
        currency=rates.currency,
        origin=f"rates/{rates.id}",
    )


def _timed(
    what: Literal["labour", "press", "cutter"], detail: str, seconds: float, rate: Charge, rates: Rates
) -> CostLine:
    return line(
        what,
        detail=detail,
        quantity=seconds / _HOUR_S,
        step=_TIME_STEP_H,
        unit="h",
        rate=charged(rate, rates.currency, f"An hour of {what} of rates {rates.id}"),
        currency=rates.currency,
        origin=f"rates/{rates.id}",
    )
