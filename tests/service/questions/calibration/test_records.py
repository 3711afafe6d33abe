"""Contacts and a platen as records that go into a book."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from calibration_requests import calibration, readings

from featherline.wire.calibrations import BookFile, Calibration
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.calibration.calibrations import compose
from featherline_service.questions.recipe.evidence.practices import recorded_of

WORSE = {("contact", "platen-cover"): -1.5, ("contact", "cover-carrier"): -1.5}


@pytest.fixture(scope="module")
def found(book: Book) -> Calibration:
    """A press whose contacts on the cover sheet are worse than the book has them, and whose platen is hotter."""
    series = [readings(book, WORSE, 2.0, above) for above in ("siliconised sheet", "carrier", "bond line")]
    return compose(book, calibration(series=series)).calibration


def overlaid(folder: Path, files: tuple[BookFile, ...]) -> Book:
    """Return the demo book with some files of a shop's own laid over it."""
    (folder / "book.toml").write_text('mode = "overlay"')
    for file in files:
        (folder / file.path).parent.mkdir()
        (folder / file.path).write_text(file.text, "utf-8")
    return load([folder])


def test_contacts_and_platen_are_found(found: Calibration) -> None:
    """Each true value is in its interval, which is within the book's."""
    known = {quantity.record: quantity for quantity in found.quantities}
    contact, platen = known["platen-cover"], known["swing"]
    assert contact.after.low <= 1200.0 * 2.0 ** (-1.5 / 1.96) <= contact.after.high
    assert contact.before.low <= contact.after.low
    assert contact.after.high < 0.9 * contact.before.high
    assert platen.after.low <= 2.0 <= platen.after.high
    assert platen.after.high - platen.after.low < platen.before.high - platen.before.low
    assert f"{contact.after.low:.0f} to {contact.after.high:.0f} W/m²K" in contact.sentence
    times = math.log(contact.before.high / contact.before.low) / math.log(contact.after.high / contact.after.low)
    assert contact.sentence.endswith(f" It is known {times:.1f} times as closely now.")
    assert (
        f"is between {-platen.after.low:.1f} °C below and {platen.after.high:.1f} °C above what it" in platen.sentence
    )
    assert "; the book had 3.0 °C below and 3.0 °C above." in platen.sentence
    assert known["pad-lower-platen"].sentence.endswith(" The readings tell hardly anything of it.")
    assert ("contact", "W/m2K", "platen", "K") == (contact.kind, contact.unit, platen.kind, platen.unit)


def test_a_book_takes_the_records(found: Calibration, book: Book, tmp_path: Path) -> None:
    """As they are: its contacts and its press have the values and spreads of the answer, and cite the readings."""
    own = overlaid(tmp_path, found.records)
    for quantity in found.quantities:
        if quantity.kind == "contact":
            contact = own.contacts[quantity.record]
            assert (quantity.after.value, pytest.approx(quantity.after.high)) == (
                contact.conductance_w_m2k,
                contact.conductance_w_m2k * (1.0 + contact.spread),
            )
            assert book.contacts[quantity.record].exponent == contact.exponent
        else:
            press = own.presses[quantity.record]
            assert quantity.after.value == press.platen_offset_k
            assert pytest.approx(quantity.after.high - quantity.after.value) == press.platen_spread_k
    assert "test" in own.sources
    assert own.contacts.keys() == book.contacts.keys()


def test_a_book_takes_the_readings_instead(found: Calibration, book: Book, tmp_path: Path) -> None:
    """What it records then is what the request told, and its windows are those of the answer."""
    own = overlaid(tmp_path, found.observations)
    (recorded,) = recorded_of(own)
    assert 18 == len(recorded.readings)
    again = compose(own, calibration(series=[readings(book, WORSE, 2.0)])).calibration
    assert [window.after.shortest_s for window in found.windows] == [
        pytest.approx(window.before.shortest_s) for window in again.windows
    ]


def test_an_upper_of_the_book_is_recorded_by_its_id(book: Book) -> None:
    """A scrap has its layers."""
    onto = {
        "kind": "panel",
        "shoe": {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}},
        "panel": "outer-quarter",
    }
    on_shoe, on_scrap = (compose(book, calibration(**more)).calibration for more in ({"onto": onto}, {}))
    assert 'upper = "leather-lined"' in on_shoe.observations[0].text
    assert "layers" not in on_shoe.observations[0].text
    assert "[[record.layers]]" in on_scrap.observations[0].text


def test_strips_are_recorded_with_both_steps(book: Book) -> None:
    """The one that turned and the next."""
    strip = {"kind": "strip", "readings": [{"at": "30 s", "value": "132 degC", "below": "138 degC"}]}
    (file,) = compose(book, calibration(series=[strip])).calibration.observations
    assert "value_c = 132.0\nbelow_c = 138.0" in file.text
