"""The types of plug-ins. Never run, only checked by mypy strict and basedpyright."""

from __future__ import annotations

from collections.abc import Iterator

from featherline.plugins import (
    ArtworkReader,
    Check,
    Drawing,
    Findings,
    PricePolicy,
    RecordSource,
    Sale,
    SalePrice,
    Shelves,
    Supplied,
)
from featherline.testing import CheckTests, PricePolicyTests, RecordedService, problem
from featherline.wire import Order, Reason, Source

source = Source(id="list-1", name="List 1", kind="invented", reference="An invented list.")


class Free:
    def price(self, sale: Sale) -> SalePrice:
        """Do it."""
        raise NotImplementedError(sale.currency)


class Nothing:
    def check(self, order: Order, found: Findings) -> Iterator[Reason]:
        """Do it."""
        yield from found.reasons[: order.pairs]


class Empty:
    def supply(self, book: Shelves) -> Supplied:
        """Do it."""
        return Supplied(source=source, records=tuple(book["films"].values()))


class Square:
    media_types = ("image/x-square",)

    def read(self, content: bytes, media_type: str) -> Drawing:
        """Do it."""
        raise ValueError(content, media_type)


class Wrong:
    def price(self, sale: Sale) -> float:
        """Do it."""
        return float(sale.cost.total.amount)


policy: PricePolicy = Free()
check: Check = Nothing()
records: RecordSource = Empty()
reader: ArtworkReader = Square()
wrong: PricePolicy = Wrong()  # type: ignore[assignment]


class TestFree(PricePolicyTests):
    make = Free


class TestNothing(CheckTests):
    make = Nothing
    name = "nothing"


class TestWrong(PricePolicyTests):
    make = Wrong  # type: ignore[assignment]


def integrators(service: RecordedService, order: Order) -> None:
    """`give` takes a request or its type, and an answer, a problem, or a function that returns one."""
    service.give(order, problem(429), times=1)
    service.give(Order, lambda _: problem(503))
    service.give(order, 7)  # type: ignore[arg-type]
