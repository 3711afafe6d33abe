"""Costs and nests against common practice of the trade, ISO 4217 and closed forms."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from featherline.wire.costs import CutPiece, KnownPressing, Measured
from featherline.wire.money import Charge
from featherline.wire.records import Handling
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.cost.money import minor_digits
from featherline_service.cost.nesting.rectangles import nest
from featherline_service.questions.costs import estimate

# ISO 4217:2015, list one as SIX publishes it: digits of the minor unit.
MINOR_UNITS = {
    "BHD": 3,
    "CHF": 2,
    "CLP": 0,
    "EUR": 2,
    "GBP": 2,
    "ISK": 0,
    "JPY": 0,
    "KRW": 0,
    "KWD": 3,
    "TND": 3,
    "USD": 2,
}


def dollars(amount: str) -> Charge:
    """Return a charge in US dollars."""
    return Charge(amount=amount, currency="USD")


@pytest.fixture(scope="module")
def book() -> Book:
    """A book with film at a cent a square inch and ten dollars a pair (common practice); all else costs nothing.

    A roll of 20 x 1,000 in is 20,000 square inches, hence 200.00 dollars.
    """
    demo = load()
    smooth, rates, policy = demo.films["smooth"], demo.rates["bench"], demo.policies["counter"]
    assert smooth.cutting is not None
    roll = replace(smooth.roll, width_mm=508.0, length_m=25.4, price=dollars("200.00"))
    nothing = dollars("0.00")
    free = replace(
        rates,
        currency="USD",
        labour_per_hour=nothing,
        press_per_hour=nothing,
        cutter_per_hour=nothing,
        tape_per_placement=nothing,
        packing_per_pair=nothing,
        overhead="0",
        handling=Handling(**dict.fromkeys(Handling.__struct_fields__, 0.0)),
        spoilage=replace(rates.spoilage, handling=0.0, weak_guess=0.0, customer_pair_value=nothing, apology=nothing),
    )
    ten = replace(policy, currency="USD", setup=nothing, floor_per_pair=dollars("10.00"), ending=None)
    return replace(
        demo,
        films={"smooth": replace(smooth, roll=roll, cutting=replace(smooth.cutting, border_mm=3.0, gap_mm=0.0))},
        rates={"bench": free},
        policies={"counter": ten},
        offcuts={},
    )


def test_a_graphic_costs_five_cents_a_pair_ten_and_sells_at_ten_dollars(book: Book) -> None:
    """Common practice, no source: a cent a square inch, about five a graphic, about ten a pair, sold at ten dollars.

    By hand: with its weed border of 3 mm a graphic of 57.5 x 44.8 mm is 2.5 x 2 in, 5 square inches, 5 cents. Both of a
    pair lie side by side, 10 square inches, 64.52 cm2 at 200 / 129,032 dollars a cm2: 10 cents. Of ten dollars 9.90 is
    margin: 0.99.
    """
    graphic = CutPiece(
        film="smooth",
        colour="gorse",
        width="57.5 mm",
        height="44.8 mm",
        cut_length="400 mm",
        corners=20,
        waste_pieces=3,
        per_pair=2,
    )
    pair = Measured(pieces=(graphic,), pressings=(KnownPressing(dwell="30 s", per_pair=1),))
    answer = estimate(book, pair)
    one = estimate(book, replace(pair, pieces=(replace(graphic, per_pair=1),)))
    assert answer.cost is not None
    assert answer.price is not None
    assert one.cost is not None

    assert ("0.05", "0.10") == (one.cost.material.amount, answer.cost.material.amount)
    assert ("64.52", "0.0015500031") == (answer.cost.lines[0].quantity, answer.cost.lines[0].rate)
    assert "10.00" == answer.price.each.amount
    assert answer.price.margin == pytest.approx(0.99, abs=1e-12)


def test_the_minor_units_are_those_of_iso_4217() -> None:
    """Two digits for most currencies, none for the yen, three for dinars (ISO 4217 list one)."""
    assert MINOR_UNITS == {code: minor_digits(code) for code in MINOR_UNITS}


def test_fifty_rectangles_fill_a_strip_exactly() -> None:
    """Closed form: fifty rectangles of 20 x 10 have an area of 10,000, so they fill a strip of 100 x 100."""
    found = nest([(20, 10)] * 50, strip_mm=100, gap_mm=0, turnable=True)

    assert (100, 100) == (found.length_mm, found.width_mm)


@pytest.mark.parametrize(
    ("count", "size", "strip", "gap", "length"),
    [
        (6, (30.0, 20.0), 94.0, 2.0, 42.0),  # three a row with two gaps, two rows and a gap
        (1, (90.0, 10.0), 20.0, 0.0, 90.0),  # stands, as it is too wide to lie
        (8, (25.0, 25.0), 100.0, 0.0, 50.0),  # squares, four a row
        (2, (100.0, 1.0), 100.0, 3.0, 5.0),  # one a row, a gap between
    ],
)
def test_nests_with_closed_forms(
    count: int, size: tuple[float, float], strip: float, gap: float, length: float
) -> None:
    """Rows of equal rectangles are as long as their heights plus the gaps (closed form)."""
    assert length == pytest.approx(nest([size] * count, strip_mm=strip, gap_mm=gap, turnable=True).length_mm)
