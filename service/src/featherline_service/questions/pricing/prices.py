"""From what work costs the shop to what is charged for it, by a price policy of the book or one that is plugged in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Final

from msgspec.structs import replace

from featherline import plugins as protocols
from featherline.plugins import Sale
from featherline.wire.costs import Cost, Price
from featherline.wire.money import Money
from featherline.wire.records import Policy
from featherline_service import plugins
from featherline_service.book.shop_book import Book
from featherline_service.cost.money import MoneyError, decimal_of, exact_arithmetic, minor_step, money
from featherline_service.cost.price import BELOW_COST, Basis, Lot, Priced, charge, dearest_first
from featherline_service.questions.checks import Checks
from featherline_service.questions.pricing.cost_lines import Work, WorkCost, cost_work
from featherline_service.questions.pricing.terms import PluggedPolicy

MOST_PAIRS: Final = 10_000
"""The largest order, and the largest roster."""


def price_parts(book: Book, work: Work, checks: Checks) -> tuple[WorkCost, Priced]:
    """Return what work of several parts costs the shop, and what to charge for each of them.

    Quantity breaks are for the pairs of all parts. The smaller work that just misses a break is the dearest parts.

    Raises:
        RefusedError: as `price_order`.
    """
    policy = work.terms.policy
    try:
        costed = cost_work(book, work, checks)
        if isinstance(policy, PluggedPolicy):
            return costed, _by_plugin(work, costed, policy)
        order = dearest_first(_basis(work, costed), policy)
        return costed, _charged(
            book, work, costed, policy, of=lambda pairs: _first(work, order, pairs), most_pairs=work.pairs
        )
    except MoneyError as error:
        checks.refuse("", str(error))


def _first(work: Work, order: Sequence[int], pairs: int) -> Work:
    """Return so many pairs of work, its parts taken in an order."""
    parts, left = [], pairs
    for place in order:
        part = work.parts[place]
        taken = min(part.pairs, left)
        left -= taken
        if taken:
            parts.append(replace(part, pairs=taken))
    return replace(work, parts=tuple(parts))


def price_order(book: Book, work: Work, checks: Checks) -> tuple[Cost, Price]:
    """Return what an order, work of one part, costs the shop, and what to charge; `checks` say where it is.

    Raises:
        RefusedError: a piece does not go on its film's roll, or money cannot be reckoned: charges of the book in mixed
            currencies, a currency without minor units, amounts too large.
    """
    (part,), policy = work.parts, work.terms.policy

    def of(pairs: int) -> Work:
        return replace(work, parts=(replace(part, pairs=pairs),))

    try:
        costed = cost_work(book, work, checks)
        if isinstance(policy, PluggedPolicy):
            priced = _by_plugin(work, costed, policy)
        else:
            priced = _charged(book, work, costed, policy, of=of, most_pairs=MOST_PAIRS)
    except MoneyError as error:
        checks.refuse("", str(error))
    each, everything = (money(amount, policy.currency) for amount in (priced.each[0], priced.total))
    return costed.cost, Price(
        policy=policy.id, each=each, total=everything, margin=priced.margin, why=priced.why, warnings=priced.warnings
    )


def _charged(
    book: Book, work: Work, costed: WorkCost, policy: Policy, *, of: Callable[[int], Work], most_pairs: int
) -> Priced:
    """Return what to charge for work that was costed. `of` gives the same work for other numbers of pairs."""

    def basis_of(pairs: int) -> Basis:
        if pairs == work.pairs:
            return _basis(work, costed)
        other = of(pairs)
        return _basis(other, cost_work(book, other, Checks()))

    return charge(basis_of, work.pairs, policy, rush=work.terms.rush, most_pairs=most_pairs)


def _by_plugin(work: Work, costed: WorkCost, policy: PluggedPolicy) -> Priced:
    """Return what a plug-in charges for work that was costed; its answer is known to add up."""
    basis = _basis(work, costed)
    shares = apportioned(costed.cost.total, costed.shares)
    sale = Sale(
        currency=policy.currency,
        cost=costed.cost,
        lots=tuple(
            protocols.Lot(pairs=lot.pairs, cost=share, placements=lot.placements, characters=lot.characters)
            for lot, share in zip(basis.lots, shares, strict=True)
        ),
        rush=work.terms.rush,
    )
    price = plugins.price(policy.installed, sale)
    with exact_arithmetic():
        each = tuple(decimal_of(one.amount) for one in price.each)
        totals = tuple(one * lot.pairs for one, lot in zip(each, basis.lots, strict=True))
        total = sum(totals, Decimal(0))
        margin = float((total - basis.cost) / total) if total else 0.0
    return Priced(
        each=each,
        totals=totals,
        total=total,
        margin=margin,
        why=price.why,
        warnings=(*price.warnings, *((BELOW_COST,) if total < basis.cost else ())),
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
    by_remainder = sorted(range(len(shares)), key=lambda place: (given[place] - quotas[place], place))
    for place in by_remainder[: units - sum(given)]:
        given[place] += 1
    return tuple(money(count * step, total.currency) for count in given)


def _basis(work: Work, costed: WorkCost) -> Basis:
    return Basis(
        cost=decimal_of(costed.cost.total.amount),
        lots=tuple(
            Lot(
                pairs=part.pairs,
                cost=share,
                placements=part.pairs * sum(piece.per_pair for piece in part.pieces),
                characters=part.pairs * part.characters,
            )
            for part, share in zip(work.parts, costed.shares, strict=True)
        ),
    )
