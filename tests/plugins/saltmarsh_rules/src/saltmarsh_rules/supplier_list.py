"""The films of a supplier's price list: its prices for rolls, in place of the book's."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from importlib import resources
from typing import Final

from msgspec.structs import replace

from featherline.plugins import Shelves, Supplied
from featherline.wire import Charge, Citation, Film, Source

LIST: Final = Source(
    id="supplier-list-12",
    name="Supplier's price list 12",
    kind="invented",
    reference="Price list 12 of the supplier of Saltmarsh Quay, who is as invented as the shop.",
)
PRICE: Final = "roll.price"


class SupplierList:
    """Reads the list that lies in this package: `our film`, `their code`, `a roll`, divided by semicolons."""

    def supply(self, book: Shelves) -> Supplied:
        """Return every film of the list as the book has it, at the list's price."""
        return Supplied(source=LIST, records=tuple(self._films(book)))

    def _films(self, book: Shelves) -> Iterator[Film]:
        text = (resources.files(__package__) / "price_list_12.csv").read_text("utf-8")
        for row in csv.DictReader(text.splitlines(), delimiter=";"):
            film = book["films"][row["our film"]]
            assert isinstance(film, Film)
            price = Charge(amount=row["a roll"], currency=film.roll.price.currency)
            yield replace(film, roll=replace(film.roll, price=price), cites=_cited(film, row["their code"]))


def _cited(film: Film, code: str) -> tuple[Citation, ...]:
    """Return the citations of a film, that of its price led to the list."""
    others = (
        replace(cite, values=tuple(value for value in cite.values if value != PRICE))
        for cite in film.cites
        if cite.values != (PRICE,)
    )
    return (*others, Citation(values=(PRICE,), source=LIST.id, at=code))
