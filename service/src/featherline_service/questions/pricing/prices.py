"""From what work costs the shop to what is charged for it, by a price policy of the book or one that is plugged in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Final, TypedDict

from msgspec import Struct
from msgspec.structs import replace

from featherline import plugins as protocols
from featherline.plugins import Sale
from featherline.wire.costs import Cost, Price, PriceBand, PriceStep, PriceTax, QuantityPrice, Taxed
from featherline.wire.money import Money
from featherline.wire.records import Policy
from featherline.wire.rosters import RosterBand, RosterPrice, RowPrice
from featherline.wire.verdicts import Message, Verdict
from featherline_service import plugins
from featherline_service.book.shop_book import Book
from featherline_service.cost import tax
from featherline_service.cost.money import MoneyError, decimal_of, exact_arithmetic, minor_step, money
from featherline_service.cost.order_risk import OrderLine, OrderRates, card_lines
from featherline_service.cost.price_bands import (
    HiddenBreak,
    PairKind,
    PairStep,
    PriceList,
    RowPrices,
    band_counts,
    price_list,
    price_rows,
)
from featherline_service.messages.values import Amount, Said, Value, messages, said
from featherline_service.questions.checks import Checks
from featherline_service.questions.pricing.cost_lines import (
    Part,
    Work,
    WorkCost,
    cost_work,
    films_of_runs,
    order_cost,
    run_cost,
    with_card_fees,
)
from featherline_service.questions.pricing.offcuts import Offcuts
from featherline_service.questions.pricing.order_costs import rates_of
from featherline_service.questions.pricing.terms import CostTerms, PluggedPolicy
from featherline_service.runtime.cache import cached

MOST_PAIRS: Final = 10_000
"""The largest order, and the largest roster."""

_NESTED_FOR_LIST: Final = 24
"""Most rectangles nested at once for a price list: more save little film, and take long; our choice."""

_STEPS: Final = (
    "cost", "markup", "margin", "list", "tax", "placements", "characters", "break", "floor", "rush", "ending", "hold",
    "band",
)  # fmt: skip
"""The steps to the price of a pair, in their order."""


_AMOUNTS: Final = frozenset({"charge", "floor"})
"""Values of steps that are said with their currency."""


class _Sold(Struct, frozen=True, kw_only=True):
    """What parts of work are sold at; without a price list and set-up where a plug-in says so."""

    each: tuple[Decimal, ...]
    totals: tuple[Decimal, ...]
    set_up: Decimal | None
    to_minimum: Decimal
    card: tuple[OrderLine, ...]
    total: Decimal
    tax: tax.TaxedDocument | None
    margin: float
    why: tuple[PriceStep, ...]
    warnings: tuple[Message, ...]
    prices: PriceList | None


def price_parts(book: Book, work: Work, checks: Checks) -> tuple[WorkCost, RosterPrice, tuple[RowPrice, ...]]:
    """Return what work of several parts costs the shop, what to charge for it, and for each part.

    Quantity breaks are for the pairs of all parts.

    Raises:
        RefusedError: as `price_order`.
    """
    currency = work.terms.policy.currency
    try:
        costed, sold = _costed_and_sold(book, work, checks, most_pairs=work.pairs)
        taxes = sold.tax.lines if sold.tax is not None and sold.tax.lines else (None,) * len(sold.each)
        return (
            costed,
            RosterPrice(
                **_whole_price(sold, work),
                price_list=tuple(
                    RosterBand(
                        from_pairs=band.first_pairs,
                        lowest=money(min(band.prices), currency),
                        highest=money(max(band.prices), currency),
                    )
                    for band in (() if sold.prices is None else sold.prices.printed)
                ),
            ),
            tuple(
                RowPrice(
                    each=money(pair_price, currency),
                    total=money(total, currency),
                    tax=_taxed(line, currency) if line else None,
                )
                for pair_price, total, line in zip(sold.each, sold.totals, taxes, strict=False)
            ),
        )
    except MoneyError as error:
        checks.refuse("", error.told)


def price_order(
    book: Book, work: Work, checks: Checks, *, quantities: Sequence[int] = (), verdict: Verdict = "ready"
) -> tuple[Cost, Price]:
    """Return what an order, work of one part, costs the shop, and what to charge; `checks` say where it is.

    Args:
        book: the shop book.
        work: the order as work.
        checks: note faults at its place in the request.
        quantities: other numbers of pairs to be priced.
        verdict: that of the order, whatever the number of pairs.

    Raises:
        RefusedError: a piece does not go on its film's roll, or money cannot be reckoned: charges of the book in mixed
            currencies, a currency without minor units, amounts too large.
    """
    currency = work.terms.policy.currency
    try:
        costed, sold = _costed_and_sold(book, work, checks, most_pairs=MOST_PAIRS)
        return costed.cost, Price(
            **_whole_price(sold, work),
            each=money(sold.each[0], currency),
            price_list=tuple(
                PriceBand(from_pairs=band.first_pairs, each=money(band.prices[0], currency), below_cost=band.below_cost)
                for band in (() if sold.prices is None else sold.prices.printed)
            ),
            quantities=tuple(_quantity_price(book, work, sold, pairs, verdict) for pairs in quantities),
        )
    except MoneyError as error:
        checks.refuse("", error.told)


def _costed_and_sold(book: Book, work: Work, checks: Checks, *, most_pairs: int) -> tuple[WorkCost, _Sold]:
    """Return the cost of work, the fees of a card in it, and what to charge."""
    costed = cost_work(book, work.parts, work.terms, checks)
    sold = _sell(book, work, costed, most_pairs=most_pairs)
    return with_card_fees(book, costed, sold.card, sold.totals), sold


class _WholePrice(TypedDict):
    """The fields that the price of an order and of a roster have in common."""

    policy: str
    set_up: Money | None
    to_minimum: Money | None
    total: Money
    tax: PriceTax | None
    margin: float
    why: tuple[PriceStep, ...]
    warnings: tuple[str, ...]
    warnings_messages: tuple[Message, ...]


def _whole_price(sold: _Sold, work: Work) -> _WholePrice:
    policy = work.terms.policy
    return _WholePrice(
        policy=policy.id,
        set_up=None if sold.set_up is None else money(sold.set_up, policy.currency),
        to_minimum=money(sold.to_minimum, policy.currency) if sold.to_minimum else None,
        total=money(sold.total, policy.currency),
        tax=_price_tax(sold, work),
        margin=sold.margin,
        why=sold.why,
        warnings=tuple(warning.sentence for warning in sold.warnings),
        warnings_messages=sold.warnings,
    )


def _sell(book: Book, work: Work, costed: WorkCost, *, most_pairs: int) -> _Sold:
    """Return what to charge for work that was costed."""
    policy = work.terms.policy
    if isinstance(policy, PluggedPolicy):
        return _by_plugin(work, costed, policy, rates_of(book.rates[book.bench.rates]))
    pairs = [part.pairs for part in work.parts]
    prices = _price_list(book, work, policy, most_pairs=most_pairs)
    rows = price_rows(prices, pairs, decimal_of(costed.cost.total.amount))
    hidden = [band.hidden_break for band in prices.bands]
    currency = policy.currency
    warnings = (
        *([said("price.below-cost")] if rows.below_cost else []),
        *(_hidden_break(one, currency) for one in hidden if one is not None),
    )
    return _Sold(
        each=rows.prices,
        totals=rows.totals,
        set_up=rows.set_up,
        to_minimum=rows.to_minimum,
        card=rows.card,
        total=rows.total,
        tax=rows.tax,
        margin=rows.margin,
        why=tuple(_steps(rows, pairs, policy.currency, prices.order_charge)),
        warnings=messages(warnings),
        prices=prices,
    )


def _price_list(book: Book, work: Work, policy: Policy, *, most_pairs: int) -> PriceList:
    """Return the price list of work: each part costed alone, in runs that begin the bands."""
    alone = tuple(_single(part) for part in work.parts)
    return _list_of(book, alone, policy, tuple(work.terms.offcuts.items()), work.terms.rush, most_pairs)


@cached
def _list_of(  # noqa: PLR0917 - a cached function is called by position
    book: Book, alone: tuple[Part, ...], policy: Policy, offcuts: Offcuts, rush: bool, most_pairs: int
) -> PriceList:
    """Return the price list of parts of single pairs.

    Where the parts are sold alike, the part that costs most as a single pair stands for all. The film is nested by
    rectangles: what a search by the clock saves differs from search to search.
    """
    terms = CostTerms(offcuts=dict(offcuts), largest_nest=_NESTED_FOR_LIST)

    @cache
    def costs(part: Part, counts: tuple[int, ...]) -> dict[int, Fraction]:
        """Return the cost of a pair in runs of so many pairs of a part."""
        films = films_of_runs(book, part.pieces, counts, offcuts, _NESTED_FOR_LIST)
        return {
            pairs: Fraction(run_cost(book, _run(part, pairs), film, terms)) / pairs
            for pairs, film in zip(counts, films, strict=True)
        }

    alike = len(alone) if policy.rows == "alike" else 1
    priced = alone if alike == 1 else (max(alone, key=lambda part: costs(part, (1,))[1]),)
    counts = band_counts(policy, below_first_break=True)
    within = tuple(count for count in counts if count <= most_pairs)

    return price_list(
        lambda pairs: [costs(part, within)[pairs] for part in priced] * alike,
        [PairKind(placements=_placements(part), characters=part.characters) for part in alone],
        policy,
        most_pairs=most_pairs,
        rush=rush,
        counts=counts,
        order_cost=order_cost(book, alone),
        card=rates_of(book.rates[book.bench.rates]),
    )


def _single(part: Part) -> Part:
    """Return a pair of a part: equal pairs are equal wherever their rows stand in the request."""
    pieces = tuple(replace(piece, pointer="", outline=None) for piece in part.pieces)
    return replace(part, pairs=1, pieces=pieces)


def _run(part: Part, pairs: int) -> Part:
    """Return a run of a part's pairs, as many on the platen as it takes."""
    return replace(
        part,
        pairs=pairs,
        presswork=tuple(
            replace(press, closing=replace(press.closing, pairs_at_once=min(pairs, press.most_pairs)))
            for press in part.presswork
        ),
    )


def _placements(part: Part) -> int:
    return sum(piece.per_pair for piece in part.pieces)


def _steps(rows: RowPrices, pairs: Sequence[int], currency: str, order_charge: Decimal) -> Iterator[PriceStep]:
    """Yield the steps to the total: those to the price of a pair, for all pairs of all rows, set-up and minimum."""
    prices = [Decimal(0)] * len(pairs)
    paths: list[dict[str, PairStep]] = [{step.what: step for step in path} for path in rows.band.steps]
    with exact_arithmetic():
        for step_kind in _STEPS:
            taken = [path.get(step_kind) for path in paths]
            steps = [step for step in taken if step is not None]
            if not steps:
                continue
            prices = [price if step is None else step.price for price, step in zip(prices, taken, strict=True)]
            counts = [step.count * count for step, count in zip(taken, pairs, strict=True) if step and step.count]
            values = _values(steps[0], currency)
            if counts:
                values["items"] = sum(counts)
            if step_kind == "cost":
                values = _cost_values(prices, sum(pairs), rows.band.first_pairs, currency)
            words = said(f"price.{step_kind}", **values)
            yield PriceStep(what=step_kind, amount=money(_dot(prices, pairs), currency), **words._asdict())
        if rows.set_up:
            words = said("price.setup", **_set_up_values(rows.set_up, order_charge, currency))
            yield PriceStep(what="setup", amount=money(rows.total - rows.to_minimum, currency), **words._asdict())
        if rows.to_minimum:
            words = said("price.minimum", minimum=Amount(rows.total, currency))
            yield PriceStep(what="minimum", amount=money(rows.total, currency), **words._asdict())


def _values(step: PairStep, currency: str) -> dict[str, Value]:
    return {
        name: Amount(value, currency) if name in _AMOUNTS and isinstance(value, Decimal) else value
        for name, value in step.values
    }


def _cost_values(costs: Sequence[Decimal], pairs: int, first_pairs: int, currency: str) -> dict[str, Value]:
    """Return the values of the step that prices begin at: the pairs, what a pair costs, and in which run."""
    lowest, highest = min(costs), max(costs)
    return {
        "pairs": pairs,
        "lowest": Amount(lowest, currency),
        "highest": None if lowest == highest else Amount(highest, currency),
        "run": first_pairs,
    }


def _set_up_values(set_up: Decimal, order_charge: Decimal, currency: str) -> dict[str, Value]:
    """Return the values of the line that is charged once."""
    setting_up = set_up - order_charge
    return {
        "set_up": Amount(setting_up, currency) if setting_up else None,
        "order": Amount(order_charge, currency) if order_charge else None,
    }


def _hidden_break(hidden: HiddenBreak, currency: str) -> Said:
    return said(
        "price.hidden-break",
        pairs=hidden.pairs,
        off=hidden.off,
        why=hidden.why,
        fewer=hidden.pairs - 1,
        step=None if hidden.step is None else Amount(hidden.step, currency),
        floor=Amount(hidden.floor, currency),
    )


def _dot(prices: Sequence[Decimal], pairs: Sequence[int]) -> Decimal:
    return sum((price * count for price, count in zip(prices, pairs, strict=True)), Decimal(0))


def _quantity_price(book: Book, work: Work, sold: _Sold, pairs: int, verdict: Verdict) -> QuantityPrice:
    """Return the price of another number of pairs."""
    currency = work.terms.policy.currency
    if sold.prices is None:
        other = replace(work, parts=(_run(work.parts[0], pairs),))
        priced = _sell(book, other, cost_work(book, other.parts, other.terms, Checks()), most_pairs=MOST_PAIRS)
        pair_price, total, following = priced.each[0], priced.total, None
    else:
        rows = price_rows(sold.prices, [pairs], Decimal(0))
        pair_price, total = rows.prices[0], rows.total
        following = next((band.first_pairs for band in sold.prices.printed if band.first_pairs > pairs), None)
    return QuantityPrice(
        pairs=pairs,
        each=money(pair_price, currency),
        total=money(total, currency),
        verdict=verdict,
        next_break=following,
    )


def _price_tax(sold: _Sold, work: Work) -> PriceTax | None:
    policy = work.terms.policy
    if sold.tax is None or isinstance(policy, PluggedPolicy) or policy.tax is None:
        return None
    whole = _taxed(sold.tax.total, policy.currency)
    return PriceTax(net=whole.net, tax=whole.tax, gross=whole.gross, rate=policy.tax.rate, shown=policy.tax.shown)


def _taxed(amounts: tax.Taxed, currency: str) -> Taxed:
    net, share, gross = (money(amount, currency) for amount in (amounts.net, amounts.tax, amounts.gross))
    return Taxed(net=net, tax=share, gross=gross)


def _by_plugin(work: Work, costed: WorkCost, policy: PluggedPolicy, rates: OrderRates) -> _Sold:
    """Return what a plug-in charges for work that was costed; its answer is known to add up."""
    cost = decimal_of(costed.cost.total.amount)
    sale = Sale(
        currency=policy.currency,
        cost=costed.cost,
        lots=tuple(
            protocols.Lot(
                pairs=part.pairs,
                cost=share,
                placements=part.pairs * _placements(part),
                characters=part.pairs * part.characters,
            )
            for part, share in zip(work.parts, apportioned(costed.cost.total, costed.shares), strict=True)
        ),
        rush=work.terms.rush,
    )
    price = plugins.price(policy.installed, sale)
    with exact_arithmetic():
        pair_prices = tuple(decimal_of(pair_price.amount) for pair_price in price.each)
        totals = tuple(pair_price * part.pairs for pair_price, part in zip(pair_prices, work.parts, strict=True))
        total = sum(totals, Decimal(0))
        card = card_lines(rates, total, policy.currency)
        spent = cost + sum(line.amount for line in card)
        margin = float((total - spent) / total) if total else 0.0
    own = [Message(sentence=warning) for warning in price.warnings]
    ours = (said("price.plugged", policy=policy.id), *([said("price.below-cost")] if total < spent else []))
    return _Sold(
        each=pair_prices,
        totals=totals,
        set_up=None,
        to_minimum=Decimal(0),
        card=card,
        total=total,
        tax=None,
        margin=margin,
        why=price.why,
        warnings=(*own, *messages(ours)),
        prices=None,
    )


def apportioned(total: Money, shares: Sequence[Fraction]) -> tuple[Money, ...]:
    """Return a total shared out in whole minor units, which add up to it: the largest remainders are rounded up.

    References:
        Hamilton's method of apportionment; from memory.
    """
    step = minor_step(total.currency)
    units = int(decimal_of(total.amount) / step)
    whole = sum(shares)
    quotas = [share * units / whole if whole else Fraction(units, len(shares)) for share in shares]
    given = [int(quota) for quota in quotas]
    by_remainder = sorted(range(len(shares)), key=lambda index: (given[index] - quotas[index], index))
    for index in by_remainder[: units - sum(given)]:
        given[index] += 1
    return tuple(money(count * step, total.currency) for count in given)
