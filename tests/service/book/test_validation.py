from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from featherline_service.book.faults import BookFault
from featherline_service.book.loader import demo_folder, load
from featherline_service.book.shop_book import Book
from featherline_service.book.validation import CONTACTS

Shop = Callable[..., Path]
Faults = Callable[..., list[BookFault]]


def altered(file: str, *changes: tuple[str, str]) -> dict[str, str]:
    """Return a file of the demo book with some of its text changed."""
    text = (demo_folder() / file).read_text("utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    return {file: text}


def test_a_record_that_contradicts_itself_is_named(shop: Shop, faults: Faults) -> None:
    """A fault within a record is reported with its file and id."""
    folder = shop(altered("shoes/turf-boot.toml", ("smallest = 36.0", "smallest = 53.0")))
    lines = (folder / "shoes" / "turf-boot.toml").read_text("utf-8").splitlines()
    line = 1 + next(at for at, text in enumerate(lines) if text.startswith("sizes = "))
    expected = BookFault(
        str(folder / "shoes" / "turf-boot.toml"), "turf-boot", "sizes.largest",
        "Less than sizes.smallest; swap the two, or correct one",
        line,
    )  # fmt: skip
    assert [expected] == faults(folder)


def test_a_dangling_reference_is_named(shop: Shop, faults: Faults) -> None:
    """A reference to a record that the book lacks is reported with its file, id and key."""
    folder = shop(altered("shoes/ward-clog.toml", ('upper = "polypropylene"', 'upper = "cork"')))
    (fault,) = faults(folder)
    assert fault.key == "panels[2].upper"
    assert fault.advice == (
        "There is no uppers/cork; add that record, or name one of polyester-knit, pvc-coated, canvas, cotton-woven, "
        "glossy and 12 more"
    )


def test_a_broken_record_is_told_once(shop: Shop, faults: Faults) -> None:
    """A record that names a broken record has no fault for it."""
    own = {"films/own.toml": 'id = "own"', "offcuts/own.toml": OFFCUT.format(film="own", colour="gorse")}
    found = faults(shop(own))
    assert {fault.file.rsplit("/", 1)[-1] for fault in found} == {"own.toml"}
    families = "smooth, stretch, flock, metallic, reflective, flake, glow, printed"
    assert {fault.advice for fault in found} == {"Missing; add it", f"Missing; give one of {families}"}


def test_an_offcut_in_no_colour_of_its_film_is_named(shop: Shop, faults: Faults) -> None:
    """The colour of an offcut is one that its film comes in."""
    (fault,) = faults(shop({"offcuts/own.toml": OFFCUT.format(film="reflective", colour="gorse")}))
    assert (fault.record, fault.key) == ("own", "colour")
    assert fault.advice.startswith("reflective does not come in gorse; name one of beacon")


def test_a_label_that_no_upper_is_sold_under_is_named(shop: Shop, faults: Faults) -> None:
    """A label of which no shoe could be is a fault of the book."""
    found = faults(shop({"labels/own.toml": 'id = "textile"\nname = "Textile"'}, preface='mode = "replace"'))
    assert [("textile", "No upper names it in its `labels`; add one")] == [
        (fault.record, fault.advice) for fault in found if "labels" in fault.file and fault.record == "textile"
    ]


@pytest.mark.parametrize("currency", ["EUX", "XAU", "XTS"])
def test_a_currency_is_one_in_use(shop: Shop, faults: Faults, currency: str) -> None:
    """Codes that ISO 4217 does not have, and those without a minor unit, are refused."""
    (fault,) = faults(shop(altered("shoes/ward-clog.toml", ('"EUR"', f'"{currency}"'))))
    assert fault.key == "pair_value.currency"
    assert fault.advice == f"{currency} is not a currency in use; give an ISO 4217 code, such as 'EUR'"


def test_a_book_has_one_currency(shop: Shop, faults: Faults) -> None:
    """Sums in another currency than the bench's rates are reported in rates, policies, prices and values."""
    (fault,) = faults(shop(altered("shoes/ward-clog.toml", ('"EUR"', '"USD"'))))
    assert fault.advice == "USD is not EUR, the currency of the bench's rates; give all sums in one currency"
    found = faults(shop(altered("policies/policies.toml", ('currency = "EUR"', 'currency = "SEK"')), name="second"))
    assert {"currency", "setup.currency", "floor_per_pair.currency"} <= {fault.key for fault in found}
    assert {"counter", "club", "web", "letters"} == {fault.record for fault in found}


def test_a_negative_rate_is_refused(shop: Shop, faults: Faults) -> None:
    """A negative rate, price, floor or share is refused; the fault names record and key, and advises."""
    files = {
        **altered(
            "rates/rates.toml", ('amount = "24.00"', 'amount = "-24.00"'), ('overhead = "0.15"', 'overhead = "-0.15"')
        ),
        **altered("policies/policies.toml", ('share = "0.60"', 'share = "-0.60"')),
    }
    found = faults(shop(files))
    assert {("bench", "labour_per_hour.amount"), ("bench", "overhead"), ("counter", "share")} == {
        (fault.record, fault.key) for fault in found
    }
    assert all(fault.advice for fault in found)


def test_a_currency_that_is_none_is_refused(shop: Shop, faults: Faults) -> None:
    """A code that ISO 4217 does not have, or that has no minor unit."""
    for code in ("EUX", "XAU"):
        (fault, *_) = faults(shop(altered("shoes/ward-clog.toml", ('"EUR"', f'"{code}"')), name=code))
        assert fault.advice == f"{code} is not a currency in use; give an ISO 4217 code, such as 'EUR'"


def test_two_contacts_for_the_same_faces_are_refused(shop: Shop, faults: Faults) -> None:
    """A second contact for the same pair of faces is refused."""
    contact = """
        id = "own"\nname = "Own"\nabove = "film"\nbelow = "upper"\nconductance_w_m2k = 900.0\nreference_kpa = 276
        exponent = 0.4\nspread = 1\n
        cites = [{values = ["conductance_w_m2k", "reference_kpa", "exponent"], source = "invented"}]
    """
    (fault,) = faults(shop({"contacts/own.toml": contact}))
    assert (fault.record, fault.key, fault.advice) == (
        "own",
        "below",
        "film-upper is already the contact of film on upper; keep one of the two",
    )


def test_the_demo_book_has_every_contact(demo: Book) -> None:
    """Every pair of faces that may touch has a contact in the demo book."""
    assert {(contact.above, contact.below) for contact in demo.contacts.values()} >= CONTACTS


def test_an_empty_book_is_told_all_that_it_lacks(shop: Shop, faults: Faults) -> None:
    """A book needs a bench, the four labels of Directive 94/11/EC, and a contact for each pair of faces."""
    found = faults(shop(preface='mode = "replace"'))
    assert BookFault("contacts", "", "", "The contact of film on upper is missing; add it") in found
    assert {fault.record for fault in found if fault.file == "labels"} == {
        "leather", "coated-leather", "textile", "other",
    }  # fmt: skip
    advice = "A book needs a bench; add one"
    assert BookFault("benches", "", "", advice) in found
    assert len(CONTACTS) + 4 + 1 == len(found)


def test_a_broken_contact_is_told_once(shop: Shop, faults: Faults) -> None:
    """While a contact cannot be read, no contact is reported missing."""
    found = faults(shop({"contacts/own.toml": 'id = "own"'}, preface='mode = "replace"'))
    assert not [fault for fault in found if fault.file == "contacts"]


def test_a_pad_that_is_not_known_at_a_pressure_pressed_on_it_is_named(shop: Shop, faults: Faults) -> None:
    """A compression curve must reach every pressure of the presses that use the pad."""
    folder = shop(altered("pads/pads.toml", ("    { pressure_kpa = 414.0, strain = 0.6 },\n", "")))
    found = faults(folder)
    assert {("silicone-foam", "compression")} == {(fault.record, fault.key) for fault in found}
    assert {str(folder / "pads" / "pads.toml")} == {fault.file for fault in found}
    assert BookFault(
        str(folder / "pads" / "pads.toml"), "silicone-foam", "compression",
        "Known from 0 to 276 kPa, but the press clam presses on it with 172 to 414 kPa; extend the curve, or name "
        "another pad", 9,
    ) in found  # fmt: skip


def test_a_reference_pad_reaches_the_reference_pressures(shop: Shop, faults: Faults) -> None:
    """The reference pad's curve must reach the bench's reference pressures."""
    (fault,) = faults(shop(altered("benches/bench.toml", ("firm_kpa = 414.0", "firm_kpa = 500.0"))))
    assert "the bench bench, as its reference pad, presses on it with 172 to 500 kPa" in fault.advice


def test_a_second_bench_is_refused(shop: Shop, faults: Faults) -> None:
    """An overlay must give its bench the id of the one before."""
    bench = altered("benches/bench.toml", ('id = "bench"', 'id = "own"'))
    advice = "A book has one bench, this has bench and own; keep one, or give both the same id"
    assert [BookFault("benches", "", "", advice)] == faults(shop(bench))


OFFCUT = 'id = "own"\nfilm = "{film}"\ncolour = "{colour}"\nwidth_mm = 30\nheight_mm = 40'


def test_a_cutter_that_loses_whole_rolls_is_named(shop: Shop, faults: Faults) -> None:
    """Lead-in and trim of 25 m leave nothing of the rolls that have no more."""
    lost = "width_mm = 600.0\nlead_in_mm = 24990.0\ntrim_mm = 10.0"
    cited = ('"load_s"]', '"load_s", "lead_in_mm", "trim_mm"]')
    found = faults(shop(altered("cutters/cutters.toml", ("width_mm = 600.0", lost), cited)))

    assert found
    assert {("bench-cutter", "lead_in_mm")} == {(fault.record, fault.key) for fault in found}
    assert all("all of a roll of" in fault.advice for fault in found)


OBSERVED = """
id = "scrap-test"
name = "A scrap of leather under the thin sheet"
date = 2026-11-03
press = "swing"
cover = "silicone-thin"
{stack}
temperature_c = 160.0
dwell_s = 30.0
readings = [
    {{ above = "{above}", at_s = 10.0, value_c = 120.0, kind = "thermocouple-class-1", gauge = "probe" }},
]
"""
SCRAP = 'layers = [{ name = "scrap", material = "upper-leather", thickness_mm = 1.4 }]'


@pytest.mark.parametrize(
    ("stack", "above", "has"),
    [
        (SCRAP, "lining", "bond line, siliconised sheet, scrap, pad"),
        ('upper = "canvas"\nfilm = "smooth"', "scrap", "carrier"),
        ('upper = "canvas"', "carrier", "siliconised sheet"),
    ],
)
def test_a_reading_is_above_a_layer_of_its_stack(shop: Shop, faults: Faults, stack: str, above: str, has: str) -> None:
    """One above a layer that the stack has not is named, with the layers that it has."""
    folder = shop({"observations/own.toml": OBSERVED.format(stack=stack, above=above)})
    (fault,) = faults(folder)
    assert ("scrap-test", "readings[0].above") == (fault.record, fault.key)
    assert f"no layer '{above}'" in fault.advice
    assert has in fault.advice


def test_an_observation_is_a_record_of_an_overlay(shop: Shop) -> None:
    """It is read with its day, and names no record that is not there."""
    book = load([shop({"observations/own.toml": OBSERVED.format(stack=SCRAP, above="scrap")})])
    (observed,) = book.observations.values()
    assert (date(2026, 11, 3), "swing", 1) == (observed.date, observed.press, len(observed.readings))
    assert book.revision != load().revision


def test_the_guides_observation_is_one(shop: Shop) -> None:
    """The record that evidence.md shows goes into a book as it is."""
    guide = (Path(__file__).parents[3] / "service" / "evidence.md").read_text("utf-8")
    shown = guide.partition("```toml\n")[2].partition("```")[0]
    (observed,) = load([shop({"observations/own.toml": shown})]).observations.values()
    assert ("holds", "unchanged", "unchanged") == (observed.bond, observed.upper_looks, observed.beside_looks)
