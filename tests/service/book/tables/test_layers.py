from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from featherline_service.book.loader import load, load_timetable

Shop = Callable[..., Path]


def test_an_overlay_changes_one_field_of_a_record(shop: Shop) -> None:
    """A record of an overlay has the fields of the one before it but for those that it says."""
    before = load()
    folder = shop({"films/smooth.toml": 'id = "smooth"\nroll = { price = "200.00" }'})
    film = load([folder]).films["smooth"]

    assert ("200.00", "EUR", 500.0) == (film.roll.price.amount, film.roll.price.currency, film.roll.width_mm)
    assert before.films["smooth"].setting == film.setting
    assert before.films["flock"] == load([folder]).films["flock"]


def test_a_record_is_replaced_where_it_says_so(shop: Shop) -> None:
    """With `replaces` nothing is taken from the record before it."""
    text = 'id = "smooth-gorse-1"\nfilm = "smooth"\ncolour = "gorse"\nwidth_mm = 30.0\nheight_mm = 40.0\n'
    outlined = shop({"offcuts/own.toml": text + 'outline = "M0 0H30V40H0Z"'})
    kept = shop({"offcuts/own.toml": text}, name="second")
    replaced = shop({"offcuts/own.toml": text + "replaces = true"}, name="third")

    assert "M0 0H30V40H0Z" == load([outlined, kept]).offcuts["smooth-gorse-1"].outline
    assert None is load([outlined, replaced]).offcuts["smooth-gorse-1"].outline


def test_a_change_to_come_says_what_changes_alone(shop: Shop) -> None:
    """A price from an instant on is a few lines, in the folder of the record or in another; changes add up."""
    later = "\n".join(
        f'[[record]]\nid = "counter"\n{field} = "{amount}"\nvalid_from = {start}'
        for field, amount, start in (
            ("floor_per_pair", "12.00", "2087-02-01T00:00:00Z"),
            ("setup", "3.00", "2087-03-01T00:00:00Z"),
        )
    )
    books = load_timetable([shop({"policies/later.toml": later})], not_before=datetime(2087, 1, 1, tzinfo=UTC)).books
    policies = [book.policies["counter"] for book in books]

    assert [("9.90", "0.00"), ("12.00", "0.00"), ("12.00", "3.00")] == [
        (policy.floor_per_pair.amount, policy.setup.amount) for policy in policies
    ]
    assert {"0.60"} == {policy.share for policy in policies}


def test_a_currency_is_changed_in_one_line(shop: Shop) -> None:
    """All sums before the line keep their amounts and count in the book's currency."""
    before = load()
    book = load([shop(preface='mode = "overlay"\ncurrency = "GBP"')])

    assert ("GBP", "9.90") == (book.policies["counter"].currency, book.policies["counter"].floor_per_pair.amount)
    sums = [
        *(film.roll.price for film in book.films.values()),
        *(cover.price for cover in book.covers.values()),
        *(shoe.pair_value for shoe in book.shoes.values()),
        book.rates["bench"].labour_per_hour,
    ]
    assert {"GBP"} == {one.currency for one in sums}
    assert [film.roll.price.amount for film in before.films.values()] == [
        film.roll.price.amount for film in book.films.values()
    ]


def test_a_currency_changes_from_an_instant_on(shop: Shop) -> None:
    """A country that changes its money changes one line, too."""
    folder = shop(preface='mode = "overlay"\ncurrency = "GBP"\nvalid_from = 2087-01-01T00:00:00Z')
    assert ["EUR", "GBP"] == [book.rates["bench"].currency for book in load_timetable([folder]).books]


def test_a_shop_of_its_own_has_nothing_of_the_demo_shop(shop: Shop) -> None:
    """Materials, contacts, uppers, covers, pads, platens, fonts and labels stay; films, shoes and prices go."""
    demo = load()
    book = load([shop(OWN, preface='mode = "own"\ncurrency = "GBP"')])

    assert (demo.materials, demo.contacts, demo.uppers, demo.pads) == (
        book.materials, book.contacts, book.uppers, book.pads,
    )  # fmt: skip
    assert ({}, {}, {}) == (book.films, book.shoes, book.offcuts)
    assert ["rates"] == list(book.rates)
    assert ("Curlew Marking", False) == (book.bench.name, book.bench.invented)
    assert {"GBP"} == {cover.price.currency for cover in book.covers.values()}


OWN = {
    "benches/bench.toml": 'id = "bench"\nname = "Curlew Marking"\npress = "press"\ncutter = "cutter"\nrates = "rates"\n'
    'policy = "counter"',
    "presses/press.toml": 'id = "press"\nname = "Press"\nopening = "swing-away"',
    "cutters/cutter.toml": 'id = "cutter"\nname = "Cutter"',
    "rates/rates.toml": 'id = "rates"\nname = "Rates"\nlabour_per_hour = "21.00"\n'
    'spoilage = { customer_pair_value = "60.00" }',
    "policies/counter.toml": 'id = "counter"\nname = "Counter"\nmethod = "markup"\nshare = "0.60"',
}
