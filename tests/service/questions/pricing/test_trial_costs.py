from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from msgspec.structs import replace
from plain_work import HANDLING

from featherline.wire.costs import CostLine
from featherline.wire.money import Charge
from featherline.wire.records import Rates
from featherline_service.book.shop_book import Book
from featherline_service.cost.money import MoneyError
from featherline_service.questions.pricing.trial_costs import TEST_MARK_MM, TrialWork, trial_lines


def euros(amount: str) -> Charge:
    """Return an amount of euros."""
    return Charge(amount=amount, currency="EUR")


@pytest.fixture
def rates(book: Book) -> Rates:
    """Return rates of 36 EUR an hour for labour and 18 for the press."""
    bench = book.rates[book.bench.rates]
    return replace(bench, handling=HANDLING, labour_per_hour=euros("36.00"), press_per_hour=euros("18.00"))


def work(book: Book, **changes: Any) -> TrialWork:  # noqa: ANN401
    """Return a trial of three rungs, two of which press film; a roll of 100 m2 for 50 EUR, a sheet of 9 EUR for 300."""
    smooth, sheet = book.films["smooth"], book.covers["silicone-thin"]
    film = replace(smooth, roll=replace(smooth.roll, width_mm=500.0, length_m=200.0, price=euros("500.00")))
    cover = replace(sheet, price=euros("9.00"), lasts_presses=300)
    plain = TrialWork(
        shoe="regatta-deck", panel="outer-quarter", film=film, cover=cover, dwells_s=(5.0, 8.0, 14.0), test_marks=2
    )
    return replace(plain, **changes)


def lines(book: Book, rates: Rates, **changes: Any) -> dict[str, CostLine]:  # noqa: ANN401
    """Return the lines of a trial by their kind."""
    return {line.what: line for line in trial_lines(work(book, **changes), rates)}


def test_every_rung_sets_the_press_and_lays_the_shoe(book: Book) -> None:
    """Three rungs of 60 + 12 s, two marks of 20 + 5 s, and 27 s of dwell: 293 s."""
    assert 293.0 == work(book).seconds(HANDLING)
    assert 72.0 + 9.0 == work(book, dwells_s=(9.0,), test_marks=0).seconds(HANDLING)


def test_a_trial_takes_hands_and_press_alike(book: Book, rates: Rates) -> None:
    """293 s are 0.0814 h to four decimals; hands at 36 EUR, the press at 18 EUR an hour."""
    there = lines(book, rates)

    assert ["labour", "press", "cover", "film"] == [*there]
    assert [("0.0814", "h", "36.00", "2.93"), ("0.0814", "h", "18.00", "1.47")] == [
        (line.quantity, line.unit, line.rate, line.amount.amount) for line in (there["labour"], there["press"])
    ]
    assert f"Trial pressings: 3, of {book.films['smooth'].name}" == there["labour"].detail
    assert "Trial pressings: 3, the press taken up" == there["press"].detail
    assert {f"rates/{rates.id}"} == {there["labour"].origin, there["press"].origin}


def test_an_hour_has_3600_seconds(book: Book, rates: Rates) -> None:
    """A rung of ten hours, less the 72 s that it takes to set and load, is ten hours."""
    assert "10.0000" == lines(book, rates, dwells_s=(36_000.0 - 72.0,), test_marks=0)["labour"].quantity


def test_every_rung_wears_the_cover_sheet(book: Book, rates: Rates) -> None:
    """A sheet of 9 EUR lasts 300 closings: three cost 0.09 EUR; without a sheet there is no line."""
    cover = lines(book, rates)["cover"]

    assert ("3", "closing", "0.03", "0.09", "covers/silicone-thin") == (
        cover.quantity,
        cover.unit,
        cover.rate,
        cover.amount.amount,
        cover.origin,
    )
    assert cover.detail == f"Trial pressings: 3, wear of {book.covers['silicone-thin'].name}"
    assert ["labour", "press", "film"] == [*lines(book, rates, cover=None)]


def test_every_test_mark_takes_a_square_of_film(book: Book, rates: Rates) -> None:
    """10 mm square (common practice, no source): a roll of 100 m2 for 500 EUR costs 0.0005 EUR a square centimetre."""
    film = lines(book, rates, test_marks=80)["film"]

    assert 10.0 == TEST_MARK_MM
    assert ("80.00", "cm2", "0.0005", "0.04", "films/smooth") == (
        film.quantity,
        film.unit,
        film.rate,
        film.amount.amount,
        film.origin,
    )
    assert "Trial pressings: 3, test marks: 80 of 10 mm square" == film.detail
    assert ["labour", "press", "cover"] == [*lines(book, rates, test_marks=0)]


def test_a_rate_keeps_what_a_roll_costs_exactly(book: Book, rates: Rates) -> None:
    """A third of a cent is no float: 12 EUR over 37 m of 0.3 m, to twelve decimals."""
    odd = work(book).film
    film = replace(odd, roll=replace(odd.roll, width_mm=300.0, length_m=37.0, price=euros("12.00")))

    assert f"{Decimal(12) / Decimal(111000):.12f}" == lines(book, rates, film=film)["film"].rate


def test_charges_in_another_currency_are_refused(book: Book, rates: Rates) -> None:
    """The message names the record of the book."""
    sheet = replace(book.covers["paper"], price=Charge(amount="1.00", currency="USD"))
    smooth = book.films["smooth"]
    film = replace(smooth, roll=replace(smooth.roll, price=Charge(amount="1.00", currency="USD")))
    pressed = replace(rates, press_per_hour=Charge(amount="1.00", currency="USD"))

    for changes, own, name in (
        ({"cover": sheet}, rates, "The cover sheet paper"),
        ({"film": film}, rates, "The roll of film smooth"),
        ({}, pressed, f"An hour of press of rates {rates.id}"),
    ):
        with pytest.raises(MoneyError, match=name):
            lines(book, own, **changes)
