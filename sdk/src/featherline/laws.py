"""The laws that results of plug-ins keep: the service refuses others, and `featherline.testing` tests them beforehand.

Each function yields a sentence for every fault.
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
"""The largest coordinate of a drawing, in its own unit; larger floats have too few digits after the point."""

MOST_REASONS: Final = 100
"""The most reasons that a check may give for an order."""

_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_PATH_DATA: Final = re.compile(r"[\sMmLlHhVvCcSsQqTtAaZz0-9eE.,+-]*")
_RECORDS: Final = get_args(Record)


def misfit(value: Any, type_: Any) -> str | None:  # noqa: ANN401 - of any type
    """Return what makes a value invalid for a type of the wire, or None for a valid one."""
    try:
        decoded = msgspec.json.decode(msgspec.json.encode(value), type=type_)
    except (msgspec.MsgspecError, TypeError, ValueError, RecursionError) as error:
        return str(error)
    if decoded == value:
        return None
    return "Some of it is not of the types of featherline.wire: give those, and tuples for lists"


def of_price(sale: Sale, price: object) -> Iterator[str]:
    """Yield the faults of what a price policy returns."""
    if not isinstance(price, SalePrice):
        yield f"A price policy returns a SalePrice, not {type(price).__name__}"
        return
    if (fault := misfit(price, SalePrice)) is not None:
        yield fault
        return
    if not price.why:
        yield "`why` is empty: give at least one step"
    if len(price.each) != len(sale.lots):
        yield f"`each` has {len(price.each)} prices, and the sale has {len(sale.lots)} lots: give one for each"
        return
    amounts = {f"each[{index}]": money for index, money in enumerate(price.each)} | {"total": price.total}
    amounts |= {f"why[{index}].amount": step.amount for index, step in enumerate(price.why)}
    faults = [fault for name, money in amounts.items() for fault in _of_amount(name, money, sale.cost.total)]
    yield from faults
    if faults:
        return
    total = sum(
        (Decimal(money.amount) * lot.pairs for money, lot in zip(price.each, sale.lots, strict=True)), Decimal(0)
    )
    if total != Decimal(price.total.amount):
        yield f"`total` is {price.total.amount}, and each price times its pairs adds up to {total}"
    if price.why and Decimal(price.why[-1].amount.amount) != Decimal(price.total.amount):
        yield f"The last step is at {price.why[-1].amount.amount}, and `total` is {price.total.amount}"


def _of_amount(name: str, money: Money, cost: Money) -> Iterator[str]:
    if money.currency != cost.currency:
        yield f"`{name}` is in {money.currency}, and the cost in {cost.currency}"
    if _decimals(money) != _decimals(cost):
        yield f"`{name}` is {money.amount}: write it in the minor unit, with as many decimals as {cost.amount} has"
    if money.amount.startswith("-"):
        yield f"`{name}` is {money.amount}: a price is zero or more"


def _decimals(money: Money) -> int:
    return len(money.amount.partition(".")[2])


def of_reasons(name: str, order: Order, reasons: Sequence[object]) -> Iterator[str]:
    """Yield the faults of what the check of a name returns."""
    content = msgspec.to_builtins(order)
    if len(reasons) > MOST_REASONS:
        yield f"There are more than {MOST_REASONS} reasons: say the most important"
        return
    for index, reason in enumerate(reasons):
        label = f"Reason {index}"
        if not isinstance(reason, Reason):
            yield f"{label} is not a Reason, but {type(reason).__name__}"
        elif (fault := misfit(reason, Reason)) is not None:
            yield f"{label}: {fault}"
        else:
            if not reason.code.startswith(f"{name}."):
                yield f"{label} has the code {reason.code!r}: begin it with {name + '.'!r}, so that it is yours alone"
            if not _resolves(reason.subject, content):
                yield f"{label} has the subject {reason.subject!r}, which points at nothing in the order"


def _resolves(pointer: str, content: Any) -> bool:  # noqa: ANN401 - JSON data
    """Return whether a JSON Pointer (RFC 6901) points at a value."""
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
    """Yield the faults of what an artwork reader returns, as far as its text shows them."""
    if not isinstance(drawing, Drawing):
        yield f"An artwork reader returns a Drawing, not {type(drawing).__name__}"
        return
    if (fault := misfit(drawing, Drawing)) is not None:
        yield fault
        return
    if _PATH_DATA.fullmatch(drawing.d) is None:
        yield "`d` has characters that SVG path data cannot have"
        return
    *closed, rest = re.split("[Zz]", drawing.d)
    if not closed or rest.strip():
        yield "`d` is not closed: end every subpath with Z"
    if any(len(re.findall("[Mm]", subpath)) > 1 for subpath in closed):
        yield "`d` has a subpath that is not closed: end each with Z before the next begins"
    if any(abs(float(number)) > FARTHEST for number in _NUMBER.findall(drawing.d)):
        yield f"`d` reaches beyond {FARTHEST:g}: draw it in a larger unit"


def of_media_types(media_types: object) -> Iterator[str]:
    """Yield the faults of the media types of an artwork reader."""
    if isinstance(media_types, str) or not isinstance(media_types, Sequence) or not media_types:
        yield "`media_types` is a tuple of one or more"
        return
    for media_type in media_types:
        if misfit(media_type, MediaType) is not None:
            yield f"{media_type!r} is not a media type in lower case and without parameters, such as 'image/x-outline'"


def of_supplied(supplied: object) -> Iterator[str]:
    """Yield the faults of what a record source returns, record by record; the service checks them with the book."""
    if not isinstance(supplied, Supplied):
        yield f"A record source returns Supplied, not {type(supplied).__name__}"
        return
    if (fault := misfit(supplied.source, Source)) is not None:
        yield f"`source`: {fault}"
        return
    seen: set[tuple[type, str]] = set()
    records: object = supplied.records
    if not isinstance(records, tuple):
        yield f"`records` must be a tuple, not {type(records).__name__}"
        return
    for record in records:
        if not isinstance(record, _RECORDS):
            yield f"A {type(record).__name__} is not a record"
            continue
        label = f"{type(record).__name__} {record.id}"
        if isinstance(record, Bench | Font | Source):
            yield f"{label}: a record source supplies no {type(record).__name__}; only the book has one"
        elif (fault := misfit(record, type(record))) is not None:
            yield f"{label}: {fault}"
        elif (type(record), record.id) in seen:
            yield f"{label} is there twice"
        elif hasattr(record, "cites") and supplied.source.id not in {cite.source for cite in record.cites}:
            yield f"{label} does not cite {supplied.source.id!r}: cite it for the values that it supplies"
        seen.add((type(record), record.id))
