from __future__ import annotations

import pytest
from msgspec.structs import replace
from plain_work import CLOSING, part

from featherline.wire.money import Money
from featherline.wire.rosters import Purchase
from featherline_service.book.shop_book import Book
from featherline_service.cost.film import FilmTaken
from featherline_service.cost.film_purchase import LoadRule
from featherline_service.questions.pricing.film_lots import FilmLot
from featherline_service.questions.pricing.purchases import purchases


@pytest.fixture(scope="module")
def book(book: Book) -> Book:
    """Return the demo book with smooth film in rolls of 5 m, and a cover sheet that lasts 10 closings."""
    smooth, sheet = book.films["smooth"], book.covers["silicone-thin"]
    roll = replace(smooth.roll, length_m=5.0, width_mm=500.0, price=replace(smooth.roll.price, amount="40.5"))
    films = {**book.films, "smooth": replace(smooth, roll=roll)}
    return replace(book, films=films, covers={**book.covers, sheet.id: replace(sheet, lasts_presses=10)})


def lot(book: Book, length_mm: float, colour: str = "gorse") -> FilmLot:
    """Return smooth film of which so much of the roll is taken."""
    taken = FilmTaken(
        pieces=2,
        piece_area_mm2=100.0,
        offcuts=(),
        too_small=(),
        roll_length_mm=length_mm,
        roll_used_mm=300.0,
        roll_left=None,
        charged_mm2=length_mm * 300.0,
    )
    return FilmLot(film=book.films["smooth"], colour=colour, offcuts=(), pieces=(), taken=taken, rule=LoadRule())


@pytest.mark.parametrize(("length_mm", "rolls"), [(30.0, 1), (5000.0, 1), (5000.1, 2), (10000.0, 2), (10001.0, 3)])
def test_film_is_bought_by_the_roll(book: Book, length_mm: float, rolls: int) -> None:
    """A roll of 5 m is enough for 5 m; the price is that of one roll, the quantity in metres."""
    (film,) = purchases(book, [lot(book, length_mm)], [], "metric")

    assert (length_mm / 1000.0, "m", rolls) == (film.quantity, film.unit, film.packs)
    assert ("film", "films/smooth", "gorse") == (film.what, film.record, film.colour)
    assert Money(amount="40.50", currency="EUR") == film.price


def test_film_is_said_in_the_callers_units(book: Book) -> None:
    """What is taken of the roll, its width and its whole length."""
    metric, us = (next(iter(purchases(book, [lot(book, 254.0)], [], units))) for units in ("metric", "us"))
    name = f"{book.films['smooth'].name}, {next(c.name for c in book.films['smooth'].colours if c.id == 'gorse')}"

    chalk = next(iter(purchases(book, [lot(book, 254.0, "chalk")], [], "metric")))
    colours = {colour.id: colour.name for colour in book.films["smooth"].colours}
    last = next(iter(purchases(book, [lot(book, 254.0, [*colours][-1])], [], "metric")))

    assert f"{book.films['smooth'].name}, {colours['chalk']}: " in chalk.sentence
    assert f"{book.films['smooth'].name}, {[*colours.values()][-1]}: " in last.sentence
    assert f"{name}: 254.0 mm of a roll 500.0 mm wide; 1 roll of 5 m is enough." == metric.sentence
    assert f"{name}: 10.00 in of a roll 19.69 in wide; 1 roll of 196.85 in is enough." == us.sentence


def test_film_from_offcuts_alone_is_not_bought(book: Book) -> None:
    """Each other lot is, in its order."""
    bought = list(purchases(book, [lot(book, 0.0), lot(book, 9.0, "chalk"), lot(book, 8.0)], [], "metric"))

    assert ["chalk", "gorse"] == [one.colour for one in bought]


def covers(book: Book, *parts: object) -> list[Purchase]:
    """Return the cover sheets to buy."""
    return [one for one in purchases(book, [], parts, "metric") if one.what == "cover"]  # type: ignore[arg-type]


@pytest.mark.parametrize(("pairs", "closed", "sheets"), [(1, 2, 1), (5, 10, 1), (6, 12, 2), (10, 20, 2), (11, 22, 3)])
def test_a_cover_sheet_lasts_its_closings(book: Book, pairs: int, closed: int, sheets: int) -> None:
    """Each pair takes two closings, and a sheet stands ten."""
    (cover,) = covers(book, part(book, pairs=pairs))

    assert (float(closed), "closing", sheets) == (cover.quantity, cover.unit, cover.packs)
    assert ("covers/silicone-thin", None, Money(amount="12.00", currency="EUR")) == (
        cover.record,
        cover.colour,
        cover.price,
    )
    enough = "1 sheet is enough" if sheets == 1 else f"{sheets} sheets are enough"
    assert cover.sentence == (
        f"{book.covers['silicone-thin'].name}: for {closed} closings of the press; a sheet lasts 10, so {enough}."
    )


def test_closings_count_under_their_own_cover_sheet(book: Book) -> None:
    """Over all parts and closings; where the platen takes three pairs at once, four pairs take two rounds."""
    several = replace(CLOSING, closings=1, pairs_at_once=3)
    bought = covers(
        book,
        part(book, CLOSING, several, pairs=4),
        part(book, cover="paper", pairs=3),
        part(book, pairs=5),
        part(book, cover=None, pairs=7),
    )

    assert {"covers/silicone-thin": 8.0 + 2.0 + 10.0, "covers/paper": 6.0} == {
        one.record: one.quantity for one in bought
    }


def test_tape_is_bought_by_the_piece(book: Book) -> None:
    """Of each closing as many as are taped on a pair, for every pair; without any there is none to buy."""
    taped = [replace(CLOSING, taped=count) for count in (2, 3)]
    bought = list(purchases(book, [], [part(book, *taped, pairs=4), part(book, taped[0], pairs=7)], "metric"))
    (tape,) = (one for one in bought if one.what == "tape")

    assert (34.0, "piece", None, None, None) == (tape.quantity, tape.unit, tape.packs, tape.price, tape.colour)
    assert f"rates/{book.bench.rates}" == tape.record
    assert "Heat-proof tape for carriers that do not hold by themselves: pieces held 34." == tape.sentence
    assert [] == [one for one in purchases(book, [], [part(book, pairs=4)], "metric") if one.what == "tape"]
    assert [] == list(purchases(book, [], [part(book, cover=None)], "metric"))
