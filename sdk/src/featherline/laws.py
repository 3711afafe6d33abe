"""What a plug-in's answers must be: the service refuses others, and the tests of `featherline.testing` find them first.

Each law yields a sentence for everything that is wrong.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any, Final, get_args

import msgspec

from featherline.plugins import Drawing, Sale, SalePrice, Supplied
from featherline.wire.artworks import MediaType
from featherline.wire.costs import Order
from featherline.wire.money import Money
from featherline.wire.records import Bench, Font, Record, Source
from featherline.wire.verdicts import Reason

FARTHEST: Final = 1e6
"""The farthest from its origin that a drawing may reach, in its own unit: beyond it a float holds too few digits."""

MOST_REASONS: Final = 100
"""The most that a check may say of an order."""

_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_COMMANDS: Final = re.compile(r"[\sMmLlHhVvCcSsQqTtAaZz0-9eE.,+-]*")


_RECORDS: Final = get_args(Record)


def misfit(value: Any, type_: Any) -> str | None:  # noqa: ANN401 - of any type
    """Return how a value departs from its type, as the wire has it; None: it does not."""
    try:
        read = msgspec.json.decode(msgspec.json.encode(value), type=type_)
    except (msgspec.MsgspecError, TypeError, ValueError, RecursionError) as error:
        return str(error)
    return (
        None
        if read == value
        else "It is not of the types of featherline.wire throughout: give those, and tuples for lists"
    )


def of_price(sale: Sale, price: object) -> Iterator[str]:
    """Yield what is wrong with what a price policy answers."""
    if not isinstance(price, SalePrice):
        yield f"A price policy returns a SalePrice, not {type(price).__name__}"
        return
    if (fault := misfit(price, SalePrice)) is not None:
        yield fault
        return
    if not price.why:
        yield "`why` is empty: say at least one step"
    if len(price.each) != len(sale.lots):
        yield f"`each` has {len(price.each)} prices, and the sale has {len(sale.lots)} lots: give one for each"
        return
    named = {f"each[{place}]": one for place, one in enumerate(price.each)} | {"total": price.total}
    named |= {f"why[{place}].amount": step.amount for place, step in enumerate(price.why)}
    wrong = [fault for name, one in named.items() for fault in _of_sum(name, one, sale.cost.total)]
    yield from wrong
    if wrong:
        return
    added = sum((Decimal(one.amount) * lot.pairs for one, lot in zip(price.each, sale.lots, strict=True)), Decimal(0))
    if added != Decimal(price.total.amount):
        yield f"`total` is {price.total.amount}, and each price times its pairs adds up to {added}"
    if price.why and Decimal(price.why[-1].amount.amount) != Decimal(price.total.amount):
        yield f"The last step is at {price.why[-1].amount.amount}, and `total` is {price.total.amount}"


def _of_sum(name: str, one: Money, cost: Money) -> Iterator[str]:
    if one.currency != cost.currency:
        yield f"`{name}` is in {one.currency}, and the cost in {cost.currency}"
    if _decimals(one) != _decimals(cost):
        yield f"`{name}` is {one.amount}: write it in the minor unit, with as many decimals as {cost.amount} has"
    if one.amount.startswith("-"):
        yield f"`{name}` is {one.amount}: a price is zero or more"


def _decimals(money: Money) -> int:
    return len(money.amount.partition(".")[2])


def of_reasons(name: str, order: Order, reasons: Sequence[object]) -> Iterator[str]:
    """Yield what is wrong with what a check of a name answers."""
    content = msgspec.to_builtins(order)
    if len(reasons) > MOST_REASONS:
        yield f"There are more than {MOST_REASONS} reasons: say the most important"
        return
    for place, reason in enumerate(reasons):
        at = f"Reason {place}"
        if not isinstance(reason, Reason):
            yield f"{at} is no Reason, but {type(reason).__name__}"
        elif (fault := misfit(reason, Reason)) is not None:
            yield f"{at}: {fault}"
        else:
            if not reason.code.startswith(f"{name}."):
                yield f"{at} has the code {reason.code!r}: begin it with {name + '.'!r}, so that no other has it"
            if not _leads(reason.subject, content):
                yield f"{at} has the subject {reason.subject!r}, which leads nowhere in the order"


def _leads(pointer: str, content: Any) -> bool:  # noqa: ANN401 - JSON data
    """Return whether a JSON Pointer (RFC 6901) leads to something."""
    if not pointer:
        return True
    if not pointer.startswith("/"):
        return False
    for token in pointer[1:].split("/"):
        name = token.replace("~1", "/").replace("~0", "~")
        if isinstance(content, dict) and name in content:
            content = content[name]
        elif isinstance(content, Sequence) and not isinstance(content, str) and re.fullmatch("0|[1-9][0-9]{0,5}", name):
            if int(name) >= len(content):
                return False
            content = content[int(name)]
        else:
            return False
    return True


def of_drawing(drawing: object) -> Iterator[str]:
    """Yield what is wrong with what an artwork reader answers, as far as it can be told without drawing it."""
    if not isinstance(drawing, Drawing):
        yield f"An artwork reader returns a Drawing, not {type(drawing).__name__}"
        return
    if (fault := misfit(drawing, Drawing)) is not None:
        yield fault
        return
    if _COMMANDS.fullmatch(drawing.d) is None:
        yield "`d` has what no SVG path data has"
        return
    *closed, rest = re.split("[Zz]", drawing.d)
    if not closed or rest.strip():
        yield "`d` is not closed: end every subpath with Z"
    if any(len(re.findall("[Mm]", subpath)) > 1 for subpath in closed):
        yield "`d` has a subpath that is not closed: end each with Z before the next begins"
    if any(abs(float(number)) > FARTHEST for number in _NUMBER.findall(drawing.d)):
        yield f"`d` reaches beyond {FARTHEST:g}: draw it in a larger unit"


def of_media_types(media_types: object) -> Iterator[str]:
    """Yield what is wrong with the media types of an artwork reader."""
    if isinstance(media_types, str) or not isinstance(media_types, Sequence) or not media_types:
        yield "`media_types` is a tuple of one or more"
        return
    for each in media_types:
        if misfit(each, MediaType) is not None:
            yield f"{each!r} is no media type in lower case and without parameters, such as 'image/x-outline'"


def of_supplied(supplied: object) -> Iterator[str]:
    """Yield what is wrong with what a record source answers, record by record; what must fit the book, it checks."""
    if not isinstance(supplied, Supplied):
        yield f"A record source returns Supplied, not {type(supplied).__name__}"
        return
    if (fault := misfit(supplied.source, Source)) is not None:
        yield f"`source`: {fault}"
        return
    seen: set[tuple[type, str]] = set()
    records: object = supplied.records
    if not isinstance(records, tuple):
        yield f"`records` is a tuple, not {type(records).__name__}"
        return
    for record in records:
        if not isinstance(record, _RECORDS):
            yield f"A {type(record).__name__} is no record"
            continue
        at = f"{type(record).__name__} {record.id}"
        if isinstance(record, Bench | Font | Source):
            yield f"{at}: a record source gives no {type(record).__name__}; that is the book's own"
        elif (fault := misfit(record, type(record))) is not None:
            yield f"{at}: {fault}"
        elif (type(record), record.id) in seen:
            yield f"{at} is there twice"
        elif hasattr(record, "cites") and supplied.source.id not in {cite.source for cite in record.cites}:
            yield f"{at} does not cite {supplied.source.id!r}: name it as the source of what is from there"
        seen.add((type(record), record.id))
