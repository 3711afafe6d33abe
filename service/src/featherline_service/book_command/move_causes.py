"""Why an order moves between two books: which lines of its cost and steps of its price, and which reasons."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Final, NamedTuple

from featherline.wire.costs import CostLine, Price
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.verdicts import Reason, Verdict

_MOST_TOLD: Final = 3
_RANK: Final[dict[Verdict, int]] = {"ready": 0, "trial": 1, "decline": 2}


class _Part(NamedTuple):
    """The lines of a cost of one kind at the rates of one record, in two books."""

    what: str
    before: Sequence[CostLine]
    after: Sequence[CostLine]

    @property
    def move(self) -> Decimal:
        """By how much it costs more."""
        return _sum(self.after) - _sum(self.before)


def causes(before: QuoteAnswer, after: QuoteAnswer) -> Iterator[str]:
    """Yield in words why the verdict or the price of an order is another; what counts most first."""
    if before.verdict != after.verdict:
        yield from _reasons(before, after)
    if before.price is None or after.price is None or before.cost is None or after.cost is None:
        return
    if before.price.total.currency != after.price.total.currency or before.price == after.price:
        return
    yield from _cost(before.cost.lines, after.cost.lines)
    yield from _policy(before.price, after.price)


def _reasons(before: QuoteAnswer, after: QuoteAnswer) -> Iterator[str]:
    """Yield the reasons for the worse verdict that the other book's answer has not."""
    worse, other, word = (
        (after, before, "now") if _RANK[after.verdict] > _RANK[before.verdict] else (before, after, "no longer")
    )
    there = {_key(reason) for reason in other.reasons if reason.verdict == worse.verdict}
    told = dict.fromkeys(
        reason.sentence for reason in worse.reasons if reason.verdict == worse.verdict and _key(reason) not in there
    )
    yield from (f"{word}: {sentence}" for sentence in list(told)[:_MOST_TOLD])


def _key(reason: Reason) -> tuple[str, str]:
    return reason.code, reason.subject


def _cost(before: Sequence[CostLine], after: Sequence[CostLine]) -> Iterator[str]:
    """Yield the lines of the cost that moved, the largest move first."""
    keys = dict.fromkeys((line.what, line.origin) for line in (*before, *after))
    parts = [
        _Part(key[0], *([line for line in lines if (line.what, line.origin) == key] for lines in (before, after)))
        for key in keys
    ]
    moved = sorted((part for part in parts if part.move), key=lambda part: -abs(part.move))
    yield from (f"{part.what} costs {_move(part)}" for part in moved[:_MOST_TOLD])
    rest = moved[_MOST_TOLD:]
    if sum(part.move for part in rest):
        names = ", ".join(dict.fromkeys(part.what for part in rest))
        yield f"{names}: {sum(part.move for part in rest):+f} in all"


def _move(part: _Part) -> str:
    """Return how lines moved, and by which of their factors."""
    amounts = " -> ".join(f"{_sum(lines):f}" if lines else "nothing" for lines in (part.before, part.after))
    if not part.before or not part.after:
        return f"{amounts} ({(*part.before, *part.after)[0].detail})"
    why = []
    unit = part.after[0].unit
    rates, units = (
        [{getattr(line, name) for line in lines} for lines in (part.before, part.after)] for name in ("rate", "unit")
    )
    if rates[0] != rates[1] and len(rates[0]) == len(rates[1]) == 1:
        why.append(f"{part.after[0].origin}: {rates[0].pop()} -> {rates[1].pop()} for each {unit}")
    if units[0] == units[1] and len(units[0]) == 1:
        old, new = (sum(Decimal(line.quantity) for line in lines) for lines in (part.before, part.after))
        if old != new:
            why.append(f"{old:f} -> {new:f} {unit}")
    return f"{amounts} ({'; '.join(why)})" if why else amounts


def _sum(lines: Sequence[CostLine]) -> Decimal:
    return sum((Decimal(line.amount.amount) for line in lines), Decimal(0))


def _policy(before: Price, after: Price) -> Iterator[str]:
    """Yield what the price policy does differently: another policy, and steps that come, go or read otherwise."""
    if before.policy != after.policy:
        yield f"policy {before.policy} -> {after.policy}"
    old, new = ({step.what: step.sentence for step in price.why if step.what != "cost"} for price in (before, after))
    steps = [what for what in dict.fromkeys((*old, *new)) if old.get(what) != new.get(what)]
    for what in steps[:_MOST_TOLD]:
        yield f"policies/{after.policy}: {old.get(what, f'no {what}')} -> {new.get(what, f'no {what}')}"
