from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline import laws
from featherline.plugins import Drawing, Lot, Sale, SalePrice, Supplied
from featherline.testing import recordings
from featherline.wire import Citation, CostAnswer, Font, Money, Order, Platen, PriceStep, Reason, Roll, Source
from featherline.wire.records import Film

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
COST = msgspec.json.decode((EXAMPLES / "cost-answer.json").read_bytes(), type=CostAnswer).cost
ORDER = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)


def euro(amount: str) -> Money:
    """Return a sum in euros."""
    return Money(amount=amount, currency="EUR")


assert COST is not None
SALE = Sale(
    currency="EUR",
    cost=COST,
    lots=(
        Lot(pairs=2, cost=euro("4.00"), placements=4, characters=24),
        Lot(pairs=1, cost=euro("2.00"), placements=2, characters=6),
    ),
    rush=False,
)
PRICE = SalePrice(
    each=(euro("9.90"), euro("8.00")),
    total=euro("27.80"),
    why=(PriceStep(what="list", sentence="By our list", amount=euro("27.80")),),
)
REASON = Reason(code="club.colour", verdict="decline", subject="/placements/0/colour", sentence="Not the club's.")
SOURCE = Source(id="list-7", name="Price list 7", kind="invented", reference="An invented price list.")
PLATEN = Platen(
    id="own",
    name="Our own",
    pad="pad",
    length_mm=200.0,
    width_mm=80.0,
    rim_mm=6.0,
    smallest_inside_length_mm=190.0,
    shoes_at_once=2,
    faces=("outer",),
    cites=(Citation(values=("length_mm", "width_mm", "rim_mm", "smallest_inside_length_mm"), source="list-7"),),
)


def test_a_lawful_price_has_no_fault() -> None:
    """The prices of the lots are in whole minor units and add up to the total."""
    assert [] == list(laws.of_price(SALE, PRICE))


@pytest.mark.parametrize(
    ("price", "message"),
    [
        (27.8, "returns a SalePrice, not float"),
        (replace(PRICE, total=27.8), "Expected `object`, got `float`"),
        (replace(PRICE, each=[euro("9.90"), euro("8.00")]), "give those, and tuples for lists"),
        (replace(PRICE, total=euro("1e3")), "matching regex"),
        (replace(PRICE, why=()), "`why` is empty"),
        (replace(PRICE, each=(euro("9.90"),)), "has 1 prices, and the sale has 2 lots"),
        (replace(PRICE, total=Money(amount="27.80", currency="USD")), "`total` is in USD, and the cost in EUR"),
        (replace(PRICE, each=(euro("9.9"), euro("8.00"))), "`each[0]` is 9.9: write it in the minor unit"),
        (replace(PRICE, each=(euro("9.901"), euro("8.00"))), "`each[0]` is 9.901: write it in the minor unit"),
        (replace(PRICE, each=(euro("-9.90"), euro("8.00"))), "`each[0]` is -9.90: a price is zero or more"),
        (replace(PRICE, total=euro("27.81")), "`total` is 27.81, and each price times its pairs adds up to 27.80"),
        (
            replace(PRICE, why=(PriceStep(what="list", sentence="By our list", amount=euro("20.00")),)),
            "The last step is at 20.00, and `total` is 27.80",
        ),
    ],
)
def test_the_faults_of_a_price(price: Any, message: str) -> None:  # noqa: ANN401 - anything
    """They are in its types, currency, minor units, or sums."""
    faults = list(laws.of_price(SALE, price))
    assert any(message in fault for fault in faults), faults


def test_lawful_reasons_have_no_fault() -> None:
    """The code begins with the check's name, and the subject is a part of the order, or the whole."""
    assert [] == list(laws.of_reasons("club", ORDER, (REASON, replace(REASON, subject=""))))


@pytest.mark.parametrize(
    ("reason", "message"),
    [
        ("no", "Reason 0 is not a Reason, but str"),
        (replace(REASON, verdict="better"), "Reason 0: Invalid enum value 'better'"),
        (replace(REASON, code="fit.outside"), "begin it with 'club.'"),
        (replace(REASON, subject="placements"), "points at nothing in the order"),
        (replace(REASON, subject="/placements/1"), "points at nothing in the order"),
        (replace(REASON, subject="/placements/00"), "points at nothing in the order"),
        (replace(REASON, subject="/placements/0/colour/0"), "points at nothing in the order"),
        (replace(REASON, subject="/shoe~1"), "points at nothing in the order"),
    ],
)
def test_the_faults_of_a_reason(reason: Any, message: str) -> None:  # noqa: ANN401 - anything
    """They are in its types, its code, or its subject."""
    (fault,) = laws.of_reasons("club", ORDER, (reason,))
    assert message in fault


def test_a_check_has_at_most_a_hundred_reasons() -> None:
    """More are a fault."""
    assert [] == list(laws.of_reasons("club", ORDER, (REASON,) * 100))
    (fault,) = laws.of_reasons("club", ORDER, (REASON,) * 101)
    assert "more than 100 reasons" in fault


@pytest.mark.parametrize("d", ["M0 0H60V30H0Z", "m0,0 1,0 0,1z M2 2 3 2 3 3 Z\n", "M0 0A1 1 0 0 1 1e2 -.5Z"])
def test_a_lawful_drawing_has_no_fault(d: str) -> None:
    """Its subpaths are closed, in any notation."""
    assert [] == list(laws.of_drawing(Drawing(d=d)))


@pytest.mark.parametrize(
    ("drawing", "message"),
    [
        ("M0 0H1V1Z", "returns a Drawing, not str"),
        (Drawing(d=""), "length >= 1"),
        (Drawing(d="M0 0H60V30H0Z", fill_rule="other"), "Invalid enum value"),  # type: ignore[arg-type]
        (Drawing(d="M0 0H60V30NaNZ"), "has characters that SVG path data cannot have"),
        (Drawing(d="M0 0H60V30"), "is not closed"),
        (Drawing(d="M0 0H60V30Z M1 1H2V2"), "is not closed"),
        (Drawing(d="M0 0H60V30 M1 1H2V2Z"), "has a subpath that is not closed"),
        (Drawing(d="M0 0H1e7V30Z"), "reaches beyond 1e+06"),
        (Drawing(d="M0 0H1e999V30Z"), "reaches beyond 1e+06"),
    ],
)
def test_the_faults_of_a_drawing(drawing: Any, message: str) -> None:  # noqa: ANN401 - anything
    """They are in its types, its open subpaths, or its coordinates."""
    (fault,) = laws.of_drawing(drawing)
    assert message in fault


@pytest.mark.parametrize("media_types", [(), "image/x-outline", ("Image/X",), ("image",), (7,), None])
def test_media_types(media_types: object) -> None:
    """A reader has at least one media type, in lower case and without parameters."""
    assert [] != list(laws.of_media_types(media_types))
    assert [] == list(laws.of_media_types(("image/x-outline", "application/vnd.own+json")))


def test_lawful_records_have_no_fault() -> None:
    """Every record that has citations cites the source."""
    assert [] == list(laws.of_supplied(Supplied(source=SOURCE, records=(PLATEN, film("list-7")))))


def film(source: str) -> Film:
    """Return the recorded film, with its price from a source."""
    recorded = recordings.shelves()["films"]["smooth"]
    assert isinstance(recorded, Film)
    roll = Roll(width_mm=500.0, length_m=25.0, price=recorded.roll.price)
    return replace(recorded, roll=roll, cites=(*recorded.cites, Citation(values=("roll.price",), source=source)))


@pytest.mark.parametrize(
    ("supplied", "message"),
    [
        ([PLATEN], "returns Supplied, not list"),
        (Supplied(source=replace(SOURCE, kind="rumour"), records=()), "`source`: Invalid enum value 'rumour'"),
        (Supplied(source=SOURCE, records=iter([PLATEN])), "`records` must be a tuple, not list_iterator"),  # type: ignore[arg-type]
        (Supplied(source=SOURCE, records=("smooth",)), "A str is not a record"),  # type: ignore[arg-type]
        (Supplied(source=SOURCE, records=(replace(PLATEN, length_mm=-1.0),)), "Platen own: Expected `float` > 0.0"),
        (Supplied(source=SOURCE, records=(PLATEN, PLATEN)), "Platen own is there twice"),
        (Supplied(source=SOURCE, records=(film("elsewhere"),)), "Film smooth does not cite 'list-7'"),
        (
            Supplied(source=SOURCE, records=(Font(id="own", name="Own", file="own.ttf", licence="OFL-1.1"),)),
            "Font own: a record source supplies no Font",
        ),
    ],
)
def test_the_faults_of_records(supplied: Any, message: str) -> None:  # noqa: ANN401 - anything
    """They are in their types, their kinds, or their citations."""
    (fault,) = laws.of_supplied(supplied)
    assert message in fault
