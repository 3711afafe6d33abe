"""Orders that are computed before any caller asks."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from featherline.wire.costs import Order
from featherline.wire.shoes import BookShoe
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.customers import first_orders
from featherline_service.questions.quote import quotes


@pytest.fixture(scope="module")
def book() -> Book:
    """The demo book."""
    return load()


def asked(book: Book, monkeypatch: pytest.MonkeyPatch, declined: str = "") -> list[tuple[str, str]]:
    """Return the shoes and films that are asked for, without computing; of one shoe, that no film suits it."""
    orders: list[Order] = []
    no_window = SimpleNamespace(reasons=(SimpleNamespace(code="heat.no-window"),))

    def note(_: Book, order: Order) -> object:
        orders.append(order)
        assert isinstance(order.shoe, BookShoe)
        if order.shoe.shoe == "turf-boot":
            raise RefusedError(())
        return no_window if order.shoe.shoe == declined else SimpleNamespace(reasons=())

    monkeypatch.setattr(quotes, "compose", note)
    steps = len([*first_orders.prepare(book)])
    assert steps == len(orders)
    return [(order.shoe.shoe, order.placements[0].film) for order in orders if isinstance(order.shoe, BookShoe)]


def test_each_shoe_is_asked_for_once_in_a_film_that_bonds_to_it(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the finest; a request that is refused ends nothing."""
    orders = asked(book, monkeypatch)

    assert [*book.shoes] == [shoe for shoe, _ in orders]
    for shoe, film in orders:
        surface = book.uppers[book.shoes[shoe].panels[0].upper].surface
        fits = [each for each in book.films.values() if surface in each.bonds_to]
        assert not fits or film in {each.id for each in fits}
        assert not fits or book.films[film].finest.stroke_mm == min(each.finest.stroke_mm for each in fits)


def test_a_shoe_that_no_film_suits_is_asked_for_in_all(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """After the others: what would help is looked for among all films."""
    orders = asked(book, monkeypatch, declined="ward-clog")

    assert {("ward-clog", film) for film in book.films} == {order for order in orders if order[0] == "ward-clog"}
    assert len(book.shoes) + len(book.films) - 1 == len(orders)
    assert {"ward-clog"} == {shoe for shoe, _ in orders[len(book.shoes) :]}


def test_no_more_orders_than_a_start_has_time_for(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many shoes a book has."""
    monkeypatch.setattr(first_orders, "MOST", 3)

    assert [*book.shoes][:3] == [shoe for shoe, _ in asked(book, monkeypatch)]
