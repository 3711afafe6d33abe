"""From a cost to a price, by a policy of the book, each step said."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal

from featherline.wire.costs import Price, PriceStep
from featherline.wire.records import Ending, Policy
from featherline_service.cost.money import MoneyError, charged, exact, exactly, money, raised, rounded


def marked_up(cost: Decimal, policy: Policy) -> Decimal:
    """Return the cost with the policy's markup (a share of the cost) or margin (a share of the price), unrounded.

    Raises:
        MoneyError: a margin of the whole price or more.
    """
    share = exact(policy.share)
    with exactly():
        if policy.method == "markup":
            return cost * (1 + share)
        if share >= 1:
            raise MoneyError(f"Policy {policy.id} wants the whole price as margin: give a share below 1")
        return cost / (1 - share)


def ended(each: Decimal, ending: Ending, currency: str) -> Decimal:
    """Return the first price at or above `each` that is a multiple of the ending's step, less its `less`.

    Raises:
        MoneyError: the step is zero, or not in whole minor units of the currency.
    """
    step = charged(ending.step, currency, "The ending's step")
    less = charged(ending.less, currency, "The ending's less")
    if step <= 0 or rounded(step, currency) != step or rounded(less, currency) != less:
        raise MoneyError(f"A price ending needs a step above zero, and both in whole minor units of {currency}")
    with exactly():
        times = ((each + less) / step).to_integral_value(rounding=ROUND_CEILING)
        return times * step - less


def charge(cost: Decimal, pairs: int, policy: Policy) -> Price:
    """Return what to charge for `pairs` pairs that cost the shop `cost` in all.

    In order: markup or margin, quantity break, set-up (never discounted), floor, ending. Every step but the last two
    is rounded half-even to the minor unit; the price of a pair is then raised, never lowered, so that pairs times it
    is the total. No step lets the price fall when the cost rises.

    Raises:
        MoneyError: the policy's charges are not all in its currency, or it cannot price (see its steps).
    """
    currency = policy.currency
    steps = []

    def step(what: str, sentence: str, amount: Decimal) -> Decimal:
        steps.append(PriceStep(what=what, sentence=sentence, amount=money(amount, currency)))  # type: ignore[arg-type]
        return amount

    with exactly():
        price = step("cost", f"What the order costs the shop, {pairs} pairs", rounded(cost, currency))
        taken = "of the cost on top of it" if policy.method == "markup" else "of the price is margin"
        price = step(policy.method, f"A share of {policy.share} {taken}", rounded(marked_up(price, policy), currency))
        reached = [at for at in policy.breaks if at.pairs <= pairs]
        if reached:
            best = max(reached, key=lambda at: at.pairs)
            price = step(
                "break",
                f"From {best.pairs} pairs on, a share of {best.off} off",
                rounded(price * (1 - exact(best.off)), currency),
            )
        setup = charged(policy.setup, currency, f"The set-up of policy {policy.id}")
        if setup:
            price = step("setup", f"Set-up of {setup} {currency} once", rounded(price + setup, currency))
        floor = charged(policy.floor_per_pair, currency, f"The floor of policy {policy.id}")
        if price < floor * pairs:
            price = step("floor", f"No less than {floor} {currency} a pair", raised(floor * pairs, currency))
        each = raised(price / pairs, currency)
        if policy.ending is not None:
            each = ended(each, policy.ending, currency)
        total = each * pairs
        if total != price:
            kind = (
                f"raised to the next multiple of {policy.ending.step.amount} less {policy.ending.less.amount}"
                if policy.ending is not None
                else "raised to a whole minor unit"
            )
            step("ending", f"{each} {currency} a pair, {kind}", total)
        margin = float((total - cost) / total) if total else 0.0
    return Price(
        policy=policy.id,
        each=money(each, currency),
        total=money(total, currency),
        margin=margin,
        why=tuple(steps),
    )
