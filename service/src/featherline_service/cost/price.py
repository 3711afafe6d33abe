"""Prices from costs by a price policy, with every step recorded, for an order or the rows of a roster."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Final, Literal

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.costs import PriceStep
from featherline.wire.money import Charge
from featherline.wire.records import Ending, Policy, QuantityBreak
from featherline_service.cost.money import (
    MoneyError,
    amount_of,
    decimal_of,
    exact_arithmetic,
    minor_step,
    money,
    rounded,
)

What = Literal[
    "cost", "markup", "margin", "list", "placements", "characters", "break", "setup", "floor", "rush", "hold", "ending"
]


BELOW_COST: Final = "The price is below what the work costs the shop"


class Lot(Struct, frozen=True, kw_only=True):
    """Pairs sold at the same price: a whole order, or a row of a roster.

    `cost` is the cost of these pairs, of a row its share. `placements` and `characters` are totals over all its pairs,
    counted on every shoe that carries them.
    """

    pairs: int
    cost: Fraction
    placements: int = 0
    characters: int = 0


class Basis(Struct, frozen=True, kw_only=True):
    """The total cost in whole minor units, and the lots that share it."""

    cost: Decimal
    lots: tuple[Lot, ...]

    @property
    def pairs(self) -> int:
        """Total number of pairs."""
        return sum(lot.pairs for lot in self.lots)


class Priced(Struct, frozen=True, kw_only=True):
    """Price of a pair of each lot, total of each lot, and the sum of these totals, with the steps and warnings."""

    each: tuple[Decimal, ...]
    totals: tuple[Decimal, ...]
    total: Decimal
    margin: float
    why: tuple[PriceStep, ...]
    warnings: tuple[str, ...]


def dearest_first(basis: Basis, policy: Policy) -> list[int]:
    """Return the indices of the lots by price of a pair before any quantity break, highest first."""
    with exact_arithmetic():
        pricing = _Pricing(basis, replace(policy, rows="by-cost"), rush=False)
        pricing.start()
        each = pricing.each()
    return sorted(range(len(each)), key=lambda index: (-each[index], index))


def charge(
    basis_of: Callable[[int], Basis], pairs: int, policy: Policy, *, rush: bool = False, most_pairs: int = 10_000
) -> Priced:
    """Return the price of an order of `pairs`, or of a roster with that many.

    Steps, in order: markup, margin or list; placements and characters; quantity break; set-up, spread over all pairs
    and never discounted; floor; rush; hold; ending. The total is held at or above that of the largest order short of
    the break, unless the policy allows larger orders to be cheaper; both orders then carry a warning. With a single
    lot every step is rounded half-even to the minor unit, the floor and the ending up; several lots share each step
    exactly. The ending never lowers the price of a pair, and the total is the sum of pairs times their prices. At a
    given number of pairs the price never falls when the cost rises.

    Args:
        basis_of: the cost basis of a number of pairs. Called with `pairs` and with the numbers on either side of a
            break; for a roster it returns the pairs with the highest prices.
        pairs: number of pairs.
        policy: the price policy.
        rush: whether the order goes before others.
        most_pairs: the largest number that `basis_of` accepts.

    Raises:
        MoneyError: a charge is not in the policy's currency; a margin is not below 1, or a break above 1; an ending has
            a step of zero or is finer than the minor unit.
    """
    held, held_pairs = Fraction(0), 0
    with exact_arithmetic():
        for reached in _reached(policy, pairs):
            if reached.pairs > 1:
                held_pairs = reached.pairs - 1
                held = Fraction(_Pricing(basis_of(held_pairs), policy, rush=rush).finish(held, 0).total)
        basis = basis_of(pairs)
        finished = _Pricing(basis, policy, rush=rush).finish(Fraction(0), 0)
        warnings = []
        if finished.total < held and policy.larger_may_be_cheaper:
            warnings.append(
                f"{pairs} pairs are cheaper in total than {held_pairs}: the policy's quantity break says so"
            )
        elif held:
            finished = _Pricing(basis, policy, rush=rush).finish(held, held_pairs)
        following = next((step for step in policy.breaks if pairs < step.pairs <= most_pairs), None)
        if policy.larger_may_be_cheaper and following is not None:
            more = _Pricing(basis_of(following.pairs), policy, rush=rush).finish(Fraction(0), 0)
            if more.total < finished.total:
                warnings.append(f"{following.pairs} pairs would be cheaper in total: {more.total} {policy.currency}")
        if finished.total < basis.cost:
            warnings.append(BELOW_COST)
        margin = float((finished.total - basis.cost) / finished.total) if finished.total else 0.0
    return Priced(
        each=finished.each,
        totals=finished.totals,
        total=finished.total,
        margin=margin,
        why=finished.why,
        warnings=tuple(warnings),
    )


def _reached(policy: Policy, pairs: int) -> list[QuantityBreak]:
    """Return the quantity breaks at or below `pairs`, smallest first."""
    return sorted((step for step in policy.breaks if step.pairs <= pairs), key=lambda step: step.pairs)


class _Finished(Struct, frozen=True, kw_only=True):
    each: tuple[Decimal, ...]
    totals: tuple[Decimal, ...]
    total: Decimal
    why: tuple[PriceStep, ...]


class _Pricing:
    """The steps of a policy: the running amount of each lot, and the record of the steps taken."""

    def __init__(self, basis: Basis, policy: Policy, *, rush: bool) -> None:
        self._lots = basis.lots
        self._pairs = basis.pairs
        self._policy = policy
        self._rush = rush
        self._cost = basis.cost
        alike = policy.rows == "alike"
        self._amounts = [Fraction(basis.cost) * lot.pairs / self._pairs if alike else lot.cost for lot in basis.lots]
        self._why: list[PriceStep] = []

    def start(self) -> None:
        """Take the steps before the quantity break."""
        policy = self._policy
        self._say("cost", f"What the work costs the shop; pairs: {self._pairs}", self._amounts)
        self._mark_up()
        self._add("placements", policy.per_placement, [lot.placements for lot in self._lots], "artwork on a shoe")
        self._add("characters", policy.per_character, [lot.characters for lot in self._lots], "character on a shoe")

    def each(self) -> list[Fraction]:
        """Return the running price of a pair of each lot."""
        return [amount / lot.pairs for amount, lot in zip(self._amounts, self._lots, strict=True)]

    def finish(self, held: Fraction, held_pairs: int) -> _Finished:
        """Take every step; `held` is the total of `held_pairs` pairs and the least total of these."""
        policy = self._policy
        self.start()
        for reached in _reached(policy, self._pairs)[-1:]:
            off = decimal_of(reached.off)
            if off > 1:
                raise MoneyError(
                    f"A break of price policy {policy.id} takes off more than the whole price: `off` must be 1 at most"
                )
            self._scale("break", f"From {reached.pairs} pairs on, a share of {off} off", 1 - Fraction(off))
        setup = amount_of(policy.setup, policy.currency, f"The set-up of price policy {policy.id}")
        if setup:
            spread = [
                amount + Fraction(setup) * lot.pairs / self._pairs
                for amount, lot in zip(self._amounts, self._lots, strict=True)
            ]
            self._say("setup", f"{setup} {policy.currency} for setting up, once", spread)
        self._lift_to_floor()
        if self._rush and policy.rush is not None:
            share = decimal_of(policy.rush)
            self._scale("rush", f"To go before others, a share of {share} more", 1 + Fraction(share))
        total = sum(self._amounts, Fraction(0))
        if total < held:
            shares = [
                amount / total if total else Fraction(lot.pairs, self._pairs)
                for amount, lot in zip(self._amounts, self._lots, strict=True)
            ]
            sentence = f"No less than {held_pairs} pairs, which just miss the quantity break"
            self._say("hold", sentence, [held * share for share in shares])
        return self._end()

    def _say(self, what: What, sentence: str, amounts: Sequence[Fraction]) -> None:
        """Record a step. A single lot's amount is rounded, so that the next step follows from the printed one."""
        total = rounded(_decimal(sum(amounts, Fraction(0))), self._policy.currency)
        self._amounts = [Fraction(total)] if len(amounts) == 1 else list(amounts)
        self._why.append(PriceStep(what=what, sentence=sentence, amount=money(total, self._policy.currency)))

    def _scale(self, what: What, sentence: str, factor: Fraction) -> None:
        self._say(what, sentence, [amount * factor for amount in self._amounts])

    def _add(self, what: What, each: Charge | None, counts: Sequence[int], of: str) -> None:
        """Add a charge per item, for the number of items in each lot."""
        if each is None or not any(counts):
            return
        policy = self._policy
        amount_each = amount_of(each, policy.currency, f"The charge for {what} of price policy {policy.id}")
        added = [amount + Fraction(amount_each) * count for amount, count in zip(self._amounts, counts, strict=True)]
        self._say(what, f"{amount_each} {policy.currency} for every {of}: {sum(counts)}", added)

    def _mark_up(self) -> None:
        """Apply markup, margin or list."""
        policy = self._policy
        share = decimal_of(policy.share)
        if policy.method == "list":
            self._scale("list", "By a price list: what the work costs does not count", Fraction(0))
        elif policy.method == "markup":
            self._scale("markup", f"The cost, and a share of {share} of it", 1 + Fraction(share))
        elif share < 1:
            self._scale("margin", f"Of the price a share of {share} is margin", 1 / (1 - Fraction(share)))
        else:
            raise MoneyError(f"Price policy {policy.id} wants the whole price as margin: give it a share below 1")

    def _lift_to_floor(self) -> None:
        policy = self._policy
        floor = amount_of(policy.floor_per_pair, policy.currency, f"The floor of price policy {policy.id}")
        lifted = [
            max(amount, Fraction(floor) * lot.pairs) for amount, lot in zip(self._amounts, self._lots, strict=True)
        ]
        if lifted != self._amounts:
            step = Fraction(minor_step(policy.currency))
            whole = [math.ceil(amount / step) * step for amount in lifted] if len(lifted) == 1 else lifted
            self._say("floor", f"No less than {floor} {policy.currency} a pair", whole)

    def _end(self) -> _Finished:
        """Raise the price of a pair of each lot to the ending."""
        policy = self._policy
        each = tuple(_ended(price, policy.ending, policy.currency) for price in self.each())
        totals = tuple(price * lot.pairs for price, lot in zip(each, self._lots, strict=True))
        total = sum(totals, Decimal(0))
        if Fraction(total) != sum(self._amounts, Fraction(0)):
            how = "a whole minor unit"
            if policy.ending is not None:
                how = f"a multiple of {policy.ending.step.amount}, less {policy.ending.less.amount}"
            dearest = f"{each[0]} {policy.currency} a pair" if len(set(each)) == 1 else "what each pair is sold at"
            self._why.append(
                PriceStep(what="ending", sentence=f"Raised to {dearest}: {how}", amount=money(total, policy.currency))
            )
        return _Finished(each=each, totals=totals, total=total, why=tuple(self._why))


def _decimal(amount: Fraction) -> Decimal:
    return Decimal(amount.numerator) / Decimal(amount.denominator)


def _ended(price: Fraction, ending: Ending | None, currency: str) -> Decimal:
    """Return the lowest price at or above `price` with the ending; without an ending, in whole minor units.

    Raises:
        MoneyError: the ending's step is zero, or its amounts are not in whole minor units of the currency.
    """
    unit = minor_step(currency)
    if ending is None:
        return math.ceil(price / Fraction(unit)) * unit
    step = amount_of(ending.step, currency, "A price ending")
    less = amount_of(ending.less, currency, "A price ending")
    if step <= 0 or rounded(step, currency) != step or rounded(less, currency) != less:
        raise MoneyError(
            f"The step of a price ending must be above zero, and `step` and `less` whole minor units of {currency}"
        )
    steps = math.ceil((price + Fraction(less)) / Fraction(step))
    return steps * step - less
