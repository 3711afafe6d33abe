"""From a cost to a price, by a policy of the book, each step said."""

from __future__ import annotations

from collections.abc import Callable
from decimal import ROUND_CEILING, Decimal
from typing import Literal

from msgspec import Struct

from featherline.wire.costs import Price, PriceStep
from featherline.wire.records import Ending, Policy, QuantityBreak
from featherline_service.cost.money import MoneyError, charged, exact, exactly, money, raised, rounded

What = Literal["cost", "markup", "margin", "break", "setup", "floor", "hold", "ending"]


class _Step(Struct, frozen=True, kw_only=True):
    """A step of the policy, and the price for all pairs after it."""

    what: What
    sentence: str
    amount: Decimal


class _Priced(Struct, frozen=True, kw_only=True):
    """The price of a pair and of all pairs, and the steps that led there."""

    each: Decimal
    total: Decimal
    steps: tuple[_Step, ...]


def charge(cost_of: Callable[[int], Decimal], pairs: int, policy: Policy) -> Price:
    """Return what to charge for so many pairs.

    In order: markup or margin, quantity break, set-up (never discounted), floor, hold, ending. A larger order is held
    at the price of the largest that just misses its break, unless the policy lets it be cheaper; then a warning says
    so. Steps are rounded half-even to the minor unit; the price of a pair is then raised, never lowered, so that pairs
    times it is the total. No step lets the price fall when a cost rises.

    Args:
        cost_of: what an order of so many pairs costs the shop, in whole minor units. Asked for `pairs`, and for the
            orders that just miss the breaks that `pairs` reaches.
        pairs: how many pairs.
        policy: the price policy.

    Raises:
        MoneyError: the policy's charges are not all in its currency, or no price can be made by it (see its steps).
    """
    held = Decimal(0)
    held_pairs = 0
    with exactly():
        for reached in _reached(policy, pairs):
            if reached.pairs > 1:
                held_pairs = reached.pairs - 1
                held = _priced(cost_of(held_pairs), held_pairs, policy, held, 0).total
        cost = cost_of(pairs)
        free = _priced(cost, pairs, policy, Decimal(0), 0)
        warnings: tuple[str, ...] = ()
        if free.total < held and policy.larger_may_be_cheaper:
            warnings = (f"{pairs} pairs are cheaper in total than {held_pairs}: the policy's quantity break says so",)
            found = free
        else:
            found = _priced(cost, pairs, policy, held, held_pairs)
        margin = float((found.total - cost) / found.total) if found.total else 0.0
    currency = policy.currency
    return Price(
        policy=policy.id,
        each=money(found.each, currency),
        total=money(found.total, currency),
        margin=margin,
        why=tuple(
            PriceStep(what=step.what, sentence=step.sentence, amount=money(step.amount, currency))
            for step in found.steps
        ),
        warnings=warnings,
    )


def _reached(policy: Policy, pairs: int) -> list[QuantityBreak]:
    """Return the quantity breaks that so many pairs reach, the smallest first."""
    return sorted((one for one in policy.breaks if one.pairs <= pairs), key=lambda one: one.pairs)


def _priced(cost: Decimal, pairs: int, policy: Policy, held: Decimal, held_pairs: int) -> _Priced:
    """Return the price of so many pairs that cost so much, held at no less than `held` in all."""
    currency = policy.currency
    steps = [_Step(what="cost", sentence=f"What the order costs the shop; pairs: {pairs}", amount=cost)]

    def step(what: What, sentence: str, amount: Decimal) -> None:
        steps.append(_Step(what=what, sentence=sentence, amount=rounded(amount, currency)))

    step(*_marked_up(cost, policy))
    for reached in _reached(policy, pairs)[-1:]:
        off = exact(reached.off)
        if off > 1:
            raise MoneyError(
                f"Price policy {policy.id} takes more off than the whole price: give it a share of 1 at most"
            )
        step("break", f"From {reached.pairs} pairs on, a share of {off} off", steps[-1].amount * (1 - off))
    setup = charged(policy.setup, currency, f"The set-up of price policy {policy.id}")
    if setup:
        step("setup", f"{setup} {currency} for setting up, once", steps[-1].amount + setup)
    floor = charged(policy.floor_per_pair, currency, f"The floor of price policy {policy.id}")
    if steps[-1].amount < floor * pairs:
        step("floor", f"No less than {floor} {currency} a pair", raised(floor * pairs, currency))
    if steps[-1].amount < held:
        step("hold", f"No less than {held_pairs} pairs, which just miss the quantity break", held)
    each = _each(steps[-1].amount / pairs, policy.ending, currency)
    if each * pairs != steps[-1].amount:
        how = "a whole minor unit"
        if policy.ending is not None:
            how = f"a multiple of {policy.ending.step.amount}, less {policy.ending.less.amount}"
        step("ending", f"Raised to {each} {currency} a pair: {how}", each * pairs)
    return _Priced(each=each, total=each * pairs, steps=tuple(steps))


def _marked_up(cost: Decimal, policy: Policy) -> tuple[What, str, Decimal]:
    """Return the first step from a cost to a price."""
    share = exact(policy.share)
    if policy.method == "markup":
        return "markup", f"The cost, and a share of {share} of it", cost * (1 + share)
    if share < 1:
        return "margin", f"Of the price a share of {share} is margin", cost / (1 - share)
    raise MoneyError(f"Price policy {policy.id} wants the whole price as margin: give it a share below 1")


def _each(price: Decimal, ending: Ending | None, currency: str) -> Decimal:
    """Return the first price of a pair at or above `price` that has the ending, or is in whole minor units.

    Raises:
        MoneyError: the ending's step is zero, or it is not in whole minor units of the currency.
    """
    if ending is None:
        return raised(price, currency)
    step = charged(ending.step, currency, "A price ending")
    less = charged(ending.less, currency, "A price ending")
    if step <= 0 or rounded(step, currency) != step or rounded(less, currency) != less:
        raise MoneyError(f"A price ending needs a step above zero, both its sums in whole minor units of {currency}")
    steps = ((price + less) / step).to_integral_value(rounding=ROUND_CEILING)
    return steps * step - less
