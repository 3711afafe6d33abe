"""What moves between two books: verdicts, settings and prices of example orders, and why."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from decimal import Decimal

from msgspec import Struct

from featherline.wire.matrices import MatrixCell
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import Setting
from featherline_service.book.shop_book import Book
from featherline_service.book_command.matrix_files import sentence
from featherline_service.book_command.move_causes import causes
from featherline_service.questions.matrix.matrices import Sample, matrix, order_of
from featherline_service.questions.quote import quotes


class Move(Struct, frozen=True):
    """An order whose answer moves: a panel in a film in both books, or in one of them alone."""

    before: MatrixCell | None
    after: MatrixCell | None
    causes: tuple[str, ...] = ()

    def __str__(self) -> str:
        """Return the move on one line, and each of its causes on a line below it."""
        told = self.told
        return "\n    ".join((told, *(cause for cause in self.causes if cause.partition(": ")[2] not in told)))

    @property
    def told(self) -> str:
        """What moves."""
        cell = self.after or self.before
        assert cell is not None  # noqa: S101 - one of the two is there
        place = f"{cell.shoe} {cell.panel} {cell.film}"
        if self.before is None:
            return f"{place}: new: {_verdict(cell)}"
        if self.after is None:
            return f"{place}: gone"
        return f"{place}: {', '.join(_moved(self.before, self.after))}"


def moves(
    before: Book, after: Book, sample: Sample, shoes: Collection[str] = (), films: Collection[str] = ()
) -> Iterator[Move]:
    """Yield the orders of either book's matrix whose verdict, setting or price is another in the other book."""
    old, new = (
        {(cell.shoe, cell.panel, cell.film): cell for cell in matrix(book, sample, shoes, films).cells}
        for book in (before, after)
    )
    for key in dict.fromkeys((*old, *new)):
        one, other = old.get(key), new.get(key)
        if one is None or other is None or any(_moved(one, other)):
            yield Move(one, other, tuple(_causes(before, after, sample, one, other)))


def _causes(before: Book, after: Book, sample: Sample, old: MatrixCell | None, new: MatrixCell | None) -> Iterator[str]:
    """Yield why an order moves that both books answer."""
    if old is None or new is None or old.letters_mm is None or new.letters_mm is None:
        return
    yield from causes(*(_quote(book, sample, cell) for book, cell in ((before, old), (after, new))))


def _quote(book: Book, sample: Sample, cell: MatrixCell) -> QuoteAnswer:
    shoe = book.shoes[cell.shoe]
    panel = next(panel for panel in shoe.panels if panel.id == cell.panel)
    assert cell.letters_mm is not None  # noqa: S101 - `_causes` asks for no other
    return quotes.compose(book, order_of(book, sample, shoe, panel, book.films[cell.film], cell.letters_mm))


def _moved(before: MatrixCell, after: MatrixCell) -> Iterator[str]:
    """Yield what differs between the answers to an order, and by how much."""
    if before.verdict != after.verdict:
        yield f"{_verdict(before)} -> {_verdict(after)}"
    if before.letters_mm != after.letters_mm:
        yield f"letters {before.letters_mm:g} -> {after.letters_mm:g} mm"
    if before.setting != after.setting:
        yield f"{_setting(before.setting)} -> {_setting(after.setting)}"
    if before.price != after.price:
        yield _price(before, after)


def _price(before: MatrixCell, after: MatrixCell) -> str:
    old, new = before.price, after.price
    if old is None or new is None:
        return f"price {'none' if old is None else old.amount} -> {'none' if new is None else new.amount}"
    if old.currency != new.currency:
        return f"price {old.amount} {old.currency} -> {new.amount} {new.currency}"
    share = f" ({(Decimal(new.amount) / Decimal(old.amount) - 1) * 100:+.1f} %)" if Decimal(old.amount) else ""
    return f"price {old.amount} -> {new.amount} {new.currency}{share}"


def _verdict(cell: MatrixCell) -> str:
    why = sentence(cell) if cell.verdict == "decline" else ""
    return f"{cell.verdict} ({why})" if why else cell.verdict


def _setting(setting: Setting | None) -> str:
    if setting is None:
        return "no setting"
    return f"{setting.temperature_c:g} degC {setting.dwell_s:g} s {setting.pressure} under {setting.cover or 'nothing'}"
