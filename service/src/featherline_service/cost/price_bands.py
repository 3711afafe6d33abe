r"""Price lists by bands of quantity: the total never falls, and the price of a pair never rises, when pairs are added.

A policy has bands, which begin at the counts of its quantity breaks, or at `BAND_COUNTS` where it has none; within a
band a pair has one price. An order has a single kind of pair. A roster has several, each with prices of its own, and
its band is that of all its pairs. Set-up is a line of its own, in full. What an order costs once (packing, post,
artwork) belongs to that line, priced by the policy's method, and not to the pairs: in a pair's price every pair of a
band would bear the share of its first count, so that an order would pay for its post several times.

In the first band a pair of kind :math:`i` is sold at its ended price :math:`e_{i,1}`: the steps of the policy, then the
ending. Where a policy shows prices with tax, they are with tax throughout: the tax is added before the list's charges.
From one band to the next, which begins at :math:`q` pairs,

.. math:: p_{i,k} = \min\big(p_{i,k-1},\ \max(e_{i,k},\ \lceil p_{i,k-1} - \min_j p_{j,k-1} / q \rceil)\big)

where the brackets raise a price to the ending. Hence prices never rise. One pair more that enters the band adds at
least :math:`(1 - 1/q) \min_j p_{j,k-1}`, and the :math:`q - 1` pairs before it fall by at most
:math:`\min_j p_{j,k-1} / q` each: the total never falls. With a single kind the last term is
:math:`p_{k-1} (q - 1) / q`.

The total with the set-up :math:`S`, which does not depend on the pairs, is raised to the policy's minimum order
:math:`M` by a line of its own: :math:`\max(T + S, M)` never falls either, nor does what a pair comes to in all,
:math:`\max(T + S, M) / n`, rise. All this holds for totals as the policy shows them.

All of this needs ended prices that depend on the kinds and the band, and not on how many pairs of each kind there are.
So `costs_at` is the cost of a pair of each kind in a run of so many pairs of that kind alone; where a policy prices the
rows of a roster alike, the highest of these costs counts for every kind. With rows priced by cost the total does not
fall either when a pair of a new kind is added; the other kinds may then become dearer within the band.

Amounts are decimals in units of the policy's currency.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Final, Literal

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.money import Charge
from featherline.wire.records import Ending, Policy, QuantityBreak, Tax
from featherline_service.cost.money import (
    LARGEST,
    MoneyError,
    amount_of,
    decimal_of,
    exact_arithmetic,
    minor_step,
    rounded,
    rounded_up,
)
from featherline_service.cost.order_risk import OrderLine, OrderRates, card_lines
from featherline_service.cost.tax import TaxedDocument, TaxLine, TaxRule, tax_document

BAND_COUNTS: Final = (1, 2, 5, 10, 25, 50, 100)
"""First counts of the bands of a policy without quantity breaks; our choice."""

_NOTHING: Final = Decimal(0)
_NO_CARD: Final = OrderRates()

StepValue = Decimal | int | None
"""A value of a step: an amount, a share or a count, as its name says; None where there is none."""


class PairKind(Struct, frozen=True, kw_only=True):
    """What a pair of one kind carries: placements and characters, counted on every shoe that carries them."""

    placements: int = 0
    characters: int = 0


class PairStep(Struct, frozen=True, kw_only=True):
    """A step towards the price of a pair, and the price after it; of a charge for items, `count` is their number.

    `values` are what made the step, by name: counts (`pairs`, `fewer`, `run`), shares (`share`, `off`, `rate`), and
    amounts in the policy's currency (`charge`, `floor`, `step`, `less`).
    """

    what: Literal[
        "cost",
        "markup",
        "margin",
        "list",
        "tax",
        "placements",
        "characters",
        "break",
        "floor",
        "rush",
        "ending",
        "hold",
        "band",
    ]
    price: Decimal
    values: tuple[tuple[str, StepValue], ...] = ()
    count: int | None = None


class HiddenBreak(Struct, frozen=True, kw_only=True):
    """A quantity break from `pairs` on that lowers no price, and what keeps it from that.

    `hold`: so many pairs would cost less than one fewer. `ending`: the price ending, in steps of `step`. `floor`: the
    least price of a pair. `cost`: a pair costs too much.
    """

    pairs: int
    off: Decimal
    why: Literal["hold", "ending", "floor", "cost"]
    step: Decimal | None
    floor: Decimal


class Band(Struct, frozen=True, kw_only=True):
    """The prices of a pair of each kind from `first_pairs` on, with the steps to each.

    `hidden_break` is a quantity break that lowers no price. `below_cost`: an order of the band's first
    count of some kind is sold for less than it costs, set-up and minimum order counted as income and card fees as cost.
    """

    first_pairs: int
    prices: tuple[Decimal, ...]
    steps: tuple[tuple[PairStep, ...], ...]
    hidden_break: HiddenBreak | None
    below_cost: bool


class PriceList(Struct, frozen=True, kw_only=True):
    """Prices for up to `most_pairs` pairs in bands, first band first; `set_up` is charged once for an order.

    `order_charge` is the part of the set-up for what an order costs once. `minimum` is the least total of an order.
    """

    currency: str
    set_up: Decimal
    order_charge: Decimal
    minimum: Decimal
    tax: Tax | None
    card: OrderRates
    bands: tuple[Band, ...]
    most_pairs: int

    def band(self, pairs: int) -> Band:
        """Return the band of a number of pairs.

        Raises:
            ValueError: the number is below 1 or above `most_pairs`.
        """
        if not 1 <= pairs <= self.most_pairs:
            raise ValueError(f"The price list is for 1 to {self.most_pairs} pairs, not for {pairs}")
        return next(band for band in reversed(self.bands) if band.first_pairs <= pairs)

    @property
    def printed(self) -> tuple[Band, ...]:
        """The bands with a price lower than in the band before: the price list as printed."""
        before = (None, *self.bands)
        return tuple(
            band
            for prior, band in zip(before, self.bands, strict=False)
            if prior is None or prior.prices != band.prices
        )


class RowPrices(Struct, frozen=True, kw_only=True):
    """Price of a pair and total of every row; the totals, the set-up and `to_minimum` sum to `total`.

    `to_minimum` raises the total to the minimum order. The lines of `tax` are the rows and, where they are not zero,
    the set-up and `to_minimum`. `card` are the fees on what is paid, tax included. `margin` is the share of the total
    without tax that is left of it after cost and card fees; `below_cost` is whether that is a loss.
    """

    prices: tuple[Decimal, ...]
    totals: tuple[Decimal, ...]
    set_up: Decimal
    to_minimum: Decimal
    total: Decimal
    tax: TaxedDocument | None
    card: tuple[OrderLine, ...]
    margin: float
    band: Band
    below_cost: bool


def policy_faults(policy: Policy) -> tuple[str, ...]:
    """Return what keeps a policy from pricing anything, one sentence each; empty where it can be used."""
    faults = []
    try:
        unit = minor_step(policy.currency)
        charges = (
            policy.per_placement,
            policy.per_character,
            policy.setup,
            policy.floor_per_pair,
            policy.minimum_order,
        )
        for charge in charges:
            if charge is not None:
                amount_of(charge, policy.currency, f"A charge of price policy {policy.id}")
        if policy.ending is not None:
            _ending_amounts(policy.ending, policy.currency, unit)
        if policy.tax is not None:
            tax_of((), policy.tax, policy.currency)
    except MoneyError as error:
        faults.append(str(error))
    if policy.method == "margin" and decimal_of(policy.share) >= 1:
        faults.append(f"Price policy {policy.id} wants the whole price as margin: give it a share below 1")
    if any(decimal_of(step.off) > 1 for step in policy.breaks):
        faults.append(f"Price policy {policy.id} takes more off than the whole price: give it a share of 1 at most")
    counts = [step.pairs for step in policy.breaks]
    if len(set(counts)) < len(counts):
        faults.append(f"Price policy {policy.id} has two quantity breaks at the same number of pairs: leave one out")
    return tuple(faults)


def band_counts(policy: Policy, *, below_first_break: bool = False) -> tuple[int, ...]:
    """Return the first counts of a policy's bands, in increasing order, 1 first.

    A single pair bears the whole work on an order. Where a policy's first break is far off, that price holds up to it,
    and at the break it can fall by one pair's price only. With `below_first_break` the usual counts below the first
    break begin bands too, so that prices follow the cost of small orders.
    """
    breaks = {step.pairs for step in policy.breaks}
    if not breaks:
        return BAND_COUNTS
    usual = {count for count in BAND_COUNTS if count < min(breaks)} if below_first_break else set()
    return tuple(sorted({1} | usual | breaks))


def price_list(
    costs_at: Callable[[int], Sequence[Fraction]],
    kinds: Sequence[PairKind],
    policy: Policy,
    *,
    most_pairs: int,
    rush: bool = False,
    counts: Sequence[int] | None = None,
    order_cost: Decimal = _NOTHING,
    card: OrderRates = _NO_CARD,
) -> PriceList:
    """Return the price list of an order (one kind) or of a roster (several kinds).

    The steps to the ended price of a pair: its cost, rounded up to the minor unit; markup, margin or list; tax, where
    prices are shown with it; placements and characters; quantity break; floor; rush; ending. Each is rounded half-even
    to the minor unit, so that it follows from the step before as printed; the ending raises the price. A rush raises
    the set-up by the same share.

    No price of an order falls when its cost rises. In a roster, a dearer cheapest kind may lower the others' prices.

    Args:
        costs_at: cost of a pair of each kind in a run of so many pairs of that kind alone, in the order of `kinds`.
            Called once for each band.
        kinds: what pairs carry; at least one.
        policy: the price policy, without `policy_faults`.
        most_pairs: bands that begin above this number are left out.
        rush: whether the order goes before others.
        counts: first counts of the bands, increasing, 1 first; null: `band_counts` of the policy.
        order_cost: what an order costs once, however many pairs it has; a price list leaves it out, as all costs.
        card: the rates of a card payment.

    Raises:
        MoneyError: the policy has faults, or a price has more than fifteen digits.
        ValueError: there is no kind, `costs_at` returns another number of costs, or the counts do not increase from 1.
    """
    faults = policy_faults(policy)
    if faults:
        raise MoneyError("policy.unusable", "{fault}", fault=faults[0])
    if not kinds:
        raise ValueError("A price list needs at least one kind of pair")
    counts = band_counts(policy) if counts is None else counts
    if list(counts) != sorted({1, *counts}):
        raise ValueError(f"The bands begin at increasing counts from 1 on, not at {list(counts)}")
    bands: list[Band] = []
    with exact_arithmetic():
        share = decimal_of(policy.rush) if rush and policy.rush is not None else Decimal(0)
        order_charge = rounded(_order_charge(order_cost, policy) * (1 + share), policy.currency)
        set_up = rounded(decimal_of(policy.setup.amount) * (1 + share), policy.currency) + order_charge
        minimum = _NOTHING if policy.minimum_order is None else decimal_of(policy.minimum_order.amount)
        prices = PriceList(
            currency=policy.currency,
            set_up=set_up,
            order_charge=order_charge,
            minimum=rounded_up(minimum, policy.currency),
            tax=policy.tax,
            card=card,
            bands=(),
            most_pairs=most_pairs,
        )
        once = Fraction(order_cost)
        for first_pairs in counts:
            if first_pairs <= most_pairs:
                costs = list(costs_at(first_pairs))
                band = _band(first_pairs, costs, kinds, policy, bands[-1] if bands else None, rush=rush)
                below = any(
                    _left(prices, first_pairs, price) < first_pairs * cost + once
                    for price, cost in zip(band.prices, costs, strict=True)
                )
                bands.append(replace(band, below_cost=below))
    return replace(prices, bands=tuple(bands))


def _left(prices: PriceList, pairs: int, price: Decimal) -> Fraction:
    """Return what pairs of one kind bring in without tax, after card fees."""
    net = gross = Fraction(max(price * pairs + prices.set_up, prices.minimum))
    if prices.tax is not None:
        net /= shown_share(prices.tax)
        gross = net * (1 + Fraction(decimal_of(prices.tax.rate)))
    if not (prices.card.card_share or prices.card.card_fixed):
        return net
    return net - gross * Fraction(prices.card.card_share) - Fraction(prices.card.card_fixed)


def _order_charge(cost: Decimal, policy: Policy) -> Decimal:
    """Return what is charged for a cost of the whole order: by the policy's method, as it shows prices."""
    unit = minor_step(policy.currency)
    charge = _method_step(rounded_up(cost, policy.currency), policy, unit).price
    return _half_even(Fraction(charge) * shown_share(policy.tax), unit)


def price_rows(prices: PriceList, pairs: Sequence[int], cost: Decimal) -> RowPrices:
    """Return what the rows of an order or roster are sold at.

    Args:
        prices: the price list, of one kind per row.
        pairs: number of pairs of each row, at least 1.
        cost: cost of the whole order or roster, without card fees.

    Raises:
        ValueError: the rows are not as many as the kinds, or there are too many pairs.
        MoneyError: the total has more than fifteen digits.
    """
    band = prices.band(sum(pairs))
    with exact_arithmetic():
        totals = tuple(price * count for price, count in zip(band.prices, pairs, strict=True))
        reached = sum(totals, prices.set_up)
        total = max(reached, prices.minimum)
        if total >= LARGEST:
            raise MoneyError(
                "money.too-large",
                "The amount has more than fifteen digits: ask for fewer pairs, or mend the rates in the book",
            )
        lines = (*totals, *(line for line in (prices.set_up, total - reached) if line))
        tax = None if prices.tax is None else tax_of(lines, prices.tax, prices.currency)
        net, paid = (total, total) if tax is None else (tax.total.net, tax.total.gross)
        card = card_lines(prices.card, paid, prices.currency)
        spent = cost + sum(line.amount for line in card)
        margin = float((net - spent) / net) if net else 0.0
    return RowPrices(
        prices=band.prices,
        totals=totals,
        set_up=prices.set_up,
        to_minimum=total - reached,
        total=total,
        tax=tax,
        card=card,
        margin=margin,
        band=band,
        below_cost=net < spent,
    )


def tax_of(lines: Sequence[Decimal], tax: Tax, currency: str) -> TaxedDocument:
    """Return the tax of a document's lines by the tax of a policy.

    Raises:
        MoneyError: as `tax_document`.
    """
    step = None if tax.line_step is None else amount_of(tax.line_step, currency, "The step of a line's tax")
    rule = TaxRule(shown=tax.shown, level=tax.level, rounding=tax.rounding, line_step=step)
    return tax_document([TaxLine(amount=line, rate=decimal_of(tax.rate)) for line in lines], rule, currency)


def shown_share(tax: Tax | None) -> Fraction:
    """Return what is shown for a net price of 1: above 1 where prices are shown with tax."""
    return 1 + Fraction(decimal_of(tax.rate)) if tax is not None and tax.shown == "gross" else Fraction(1)


def _band(
    first_pairs: int,
    costs: Sequence[Fraction],
    kinds: Sequence[PairKind],
    policy: Policy,
    before: Band | None,
    *,
    rush: bool,
) -> Band:
    """Return the band that begins at `first_pairs`, after the band `before`."""
    priced = [max(costs)] * len(costs) if policy.rows == "alike" else costs
    paths = [
        list(_steps_to_price(cost, kind, policy, first_pairs, rush=rush))
        for cost, kind in zip(priced, kinds, strict=True)
    ]
    open_prices = [next(step.price for step in reversed(path) if step.what != "ending") for path in paths]
    if before is not None:
        largest_cut = Fraction(min(before.prices)) / first_pairs
        for path, prior in zip(paths, before.prices, strict=True):
            ended = path[-1].price
            held = _ended(Fraction(prior) - largest_cut, policy.ending, policy.currency)
            if ended > prior:
                path.append(PairStep(what="band", price=prior))
            elif ended < held:
                values = (("pairs", first_pairs), ("fewer", first_pairs - 1))
                path.append(PairStep(what="hold", price=held, values=values))
    prices = tuple(path[-1].price for path in paths)
    hidden = None
    reached = next((step for step in policy.breaks if step.pairs == first_pairs), None)
    if before is not None and prices == before.prices and reached is not None:
        hidden = _hidden_break(reached, paths, open_prices, before, policy)
    return Band(
        first_pairs=first_pairs,
        prices=prices,
        steps=tuple(tuple(path) for path in paths),
        hidden_break=hidden,
        below_cost=False,
    )


def _break_at(policy: Policy, pairs: int) -> QuantityBreak | None:
    """Return the quantity break that applies to a number of pairs."""
    return max((step for step in policy.breaks if step.pairs <= pairs), key=lambda step: step.pairs, default=None)


def _hidden_break(
    reached: QuantityBreak,
    paths: Sequence[Sequence[PairStep]],
    open_prices: Sequence[Decimal],
    before: Band,
    policy: Policy,
) -> HiddenBreak:
    """Return a quantity break that lowers no price, and why."""
    why: Literal["hold", "ending", "floor", "cost"] = "cost"
    if any(path[-1].what == "hold" for path in paths):
        why = "hold"
    elif any(price < prior for price, prior in zip(open_prices, before.prices, strict=True)):
        why = "ending"
    elif any(step.what == "floor" for path in paths for step in path):
        why = "floor"
    return HiddenBreak(
        pairs=reached.pairs,
        off=decimal_of(reached.off),
        why=why,
        step=None if policy.ending is None else decimal_of(policy.ending.step.amount),
        floor=decimal_of(policy.floor_per_pair.amount),
    )


def _steps_to_price(cost: Fraction, kind: PairKind, policy: Policy, pairs: int, *, rush: bool) -> Iterator[PairStep]:
    """Yield the steps from the cost of a pair to its ended price in an order of `pairs`."""
    currency = policy.currency
    unit = minor_step(currency)
    price = _up(cost, unit)
    yield PairStep(what="cost", price=price)
    method = _method_step(price, policy, unit)
    price = method.price
    yield method
    if policy.tax is not None and policy.tax.shown == "gross" and policy.method != "list":
        price = _half_even(Fraction(price) * shown_share(policy.tax), unit)
        yield PairStep(what="tax", price=price, values=(("rate", decimal_of(policy.tax.rate)),))
    added: tuple[tuple[Literal["placements", "characters"], Charge | None, int], ...] = (
        ("placements", policy.per_placement, kind.placements),
        ("characters", policy.per_character, kind.characters),
    )
    for step, charge, count in added:
        if charge is not None and count:
            amount = decimal_of(charge.amount)
            price = rounded(price + amount * count, currency)
            yield PairStep(what=step, price=price, values=(("charge", amount),), count=count)
    reached = _break_at(policy, pairs)
    if reached is not None:
        price = rounded(price * (1 - decimal_of(reached.off)), currency)
        yield PairStep(what="break", price=price, values=(("pairs", reached.pairs), ("off", decimal_of(reached.off))))
    floor = decimal_of(policy.floor_per_pair.amount)
    if price < floor:
        price = rounded_up(floor, currency)
        yield PairStep(what="floor", price=price, values=(("floor", floor),))
    if rush and policy.rush is not None:
        price = rounded(price * (1 + decimal_of(policy.rush)), currency)
        yield PairStep(what="rush", price=price, values=(("share", decimal_of(policy.rush)),))
    if price >= LARGEST:
        raise MoneyError(
            "money.too-large", "The price has more than fifteen digits: mend the rates or the policy in the book"
        )
    ended = _ended(price, policy.ending, currency)
    if ended != price and policy.ending is not None:
        values = (("step", decimal_of(policy.ending.step.amount)), ("less", decimal_of(policy.ending.less.amount)))
        yield PairStep(what="ending", price=ended, values=values)


def _method_step(cost: Decimal, policy: Policy, unit: Decimal) -> PairStep:
    """Return the step from the cost of a pair by markup, margin or list."""
    share = decimal_of(policy.share)
    match policy.method:
        case "list":
            price = Decimal(0).quantize(unit)
            return PairStep(what="list", price=price)
        case "markup":
            price = rounded(cost * (1 + share), policy.currency)
            return PairStep(what="markup", price=price, values=(("share", share),))
        case "margin":
            price = _half_even(Fraction(cost) / (1 - Fraction(share)), unit)
            return PairStep(what="margin", price=price, values=(("share", share),))


def _half_even(amount: Fraction, unit: Decimal) -> Decimal:
    """Return an amount rounded half-even to whole units."""
    return round(amount / Fraction(unit)) * unit


def _ending_amounts(ending: Ending, currency: str, unit: Decimal) -> tuple[Decimal, Decimal]:
    """Return step and deduction of an ending.

    Raises:
        MoneyError: an amount is in another currency or not in whole minor units, or the step is zero.
    """
    step = amount_of(ending.step, currency, "A price ending")
    less = amount_of(ending.less, currency, "A price ending")
    if step <= 0 or step % unit or less % unit:
        raise MoneyError(
            "policy.ending-unusable",
            "A price ending needs a step above zero and amounts in whole minor units of "
            "{currency}: {step} less {less} is not in steps of {unit}",
            currency=currency,
            step=step,
            less=less,
            unit=unit,
        )
    return step, less


def _ended(price: Fraction | Decimal, ending: Ending | None, currency: str) -> Decimal:
    """Return the lowest price at or above `price` with the ending; without an ending, in whole minor units."""
    unit = minor_step(currency)
    if ending is None:
        return _up(price, unit)
    step, less = _ending_units(ending, currency, unit)
    return ((_units_up(price, unit) + less + step - 1) // step * step - less) * unit


@lru_cache(maxsize=256)
def _ending_units(ending: Ending, currency: str, unit: Decimal) -> tuple[int, int]:
    """Return step and deduction of an ending in minor units. MoneyError: as `_ending_amounts`."""
    step, less = _ending_amounts(ending, currency, unit)
    return int(step / unit), int(less / unit)


def _up(amount: Fraction | Decimal, unit: Decimal) -> Decimal:
    """Return an amount rounded up to whole units."""
    return _units_up(amount, unit) * unit


def _units_up(amount: Fraction | Decimal, unit: Decimal) -> int:
    """Return the least number of units that an amount is no larger than."""
    # By whole numbers: fractions take ten times longer.
    numerator, denominator = amount.as_integer_ratio()
    per_amount, per_unit = unit.as_integer_ratio()
    return -(-numerator * per_unit // (denominator * per_amount))
