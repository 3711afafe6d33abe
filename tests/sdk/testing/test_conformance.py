import itertools
from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from typing import Any

import pytest
from msgspec.structs import replace

from featherline import testing
from featherline.plugins import ArtworkError, Drawing, Findings, Sale, SalePrice, Shelves, Supplied
from featherline.testing import conformance
from featherline.wire import Charge, Citation, Film, Money, Order, PriceStep, Reason, Source

SOURCE = Source(id="list-7", name="Price list 7", kind="invented", reference="Invented for a test.")
SQUARE = b"square 10"


class AtCost:
    """A lawful price policy: the cost, a unit more for each pair, so that pairs divide it."""

    def price(self, sale: Sale) -> SalePrice:
        """Return one minor unit a pair."""
        places = len(sale.cost.total.amount.partition(".")[2])
        unit = Decimal(1).scaleb(-places)
        pairs = sum(lot.pairs for lot in sale.lots)
        total = Money(amount=f"{unit * pairs:f}", currency=sale.currency)
        each = Money(amount=f"{unit:f}", currency=sale.currency)
        why = (PriceStep(what="unit", sentence="A minor unit a pair", amount=total),)
        return SalePrice(each=(each,) * len(sale.lots), total=total, why=why)


class Moody(AtCost):
    """A price policy that warns only the first time."""

    def __init__(self) -> None:
        self._asked = 0

    def price(self, sale: Sale) -> SalePrice:
        """Return another price than before."""
        self._asked += 1
        return replace(super().price(sale), warnings=(f"Asked {self._asked} times",))


class InEuros(AtCost):
    """A price policy that knows one currency."""

    def price(self, sale: Sale) -> SalePrice:
        """Return a price in euros."""
        price = super().price(sale)
        return replace(price, total=Money(amount=price.total.amount, currency="EUR"))


class Late:
    """A lawful check."""

    def check(self, order: Order, findings: Findings) -> Iterable[Reason]:
        """Yield a remark on every placement."""
        for index in range(len(findings.placements)):
            subject = f"/placements/{index}"
            yield Reason(code="late.tide", verdict="ready", subject=subject, sentence=f"Pairs: {order.pairs}.")


class Counting(Late):
    """A check that counts its calls."""

    counter = itertools.count()

    def check(self, order: Order, findings: Findings) -> Iterable[Reason]:
        """Yield another sentence each time."""
        for reason in super().check(order, findings):
            yield replace(reason, sentence=f"Asked {next(self.counter)} times.")


class Dearer:
    """A lawful record source: one film at another price."""

    def supply(self, book: Shelves) -> Supplied:
        """Return the film."""
        film = book["films"]["smooth"]
        assert isinstance(film, Film)
        roll = replace(film.roll, price=Charge(amount="200.00", currency="EUR"))
        cites = (*film.cites, Citation(values=("roll.price",), source=SOURCE.id))
        return Supplied(source=SOURCE, records=(replace(film, roll=roll, cites=cites),))


class Uncited(Dearer):
    """A record source that does not cite its source."""

    def supply(self, book: Shelves) -> Supplied:
        """Return the film, uncited."""
        return Supplied(source=SOURCE, records=(book["films"]["smooth"],))


class Shuffled(Dearer):
    """A record source that changes its records with every call."""

    def __init__(self) -> None:
        self._asked = 0

    def supply(self, book: Shelves) -> Supplied:
        """Return the film under another id each time."""
        self._asked += 1
        supplied = super().supply(book)
        records = tuple(replace(record, id=f"film-{self._asked}") for record in supplied.records)
        return replace(supplied, records=records)


class Squares:
    """A lawful artwork reader."""

    media_types = ("image/x-square",)

    def read(self, content: bytes, _media_type: str) -> Drawing:
        """Return the square."""
        word, _, side = content.decode("ascii", "replace").partition(" ")
        if word != "square" or not (side.isascii() and side.isdigit() and len(side) < 6):
            raise ArtworkError("It is no square: write `square` and its side")
        return Drawing(d=f"M0 0H{side}V{side}H0Z")


class Trusting(Squares):
    """A reader that accepts any text as a side."""

    def read(self, content: bytes, _media_type: str) -> Drawing:
        """Return the text as the side of a square."""
        side = content.decode("latin-1").partition(" ")[2]
        return Drawing(d=f"M0 0H{side}V{side}H0Z")


class Silent(Squares):
    """A reader whose errors have no message."""

    def read(self, content: bytes, media_type: str) -> Drawing:
        """Return the square, or raise an error without a message."""
        try:
            return super().read(content, media_type)
        except ArtworkError:
            raise ArtworkError from None


def outcomes(laws: type, **attributes: Any) -> Mapping[str, str]:  # noqa: ANN401 - as the class takes them
    """Run every test of a class of laws as pytest would; return the messages of those that fail."""
    tests = type("TestIt", (laws,), attributes)()
    failures = {}
    for name in dir(tests):
        if name.startswith("test_"):
            try:
                getattr(tests, name)()
            except AssertionError as error:
                failures[name] = str(error)
    return failures


@pytest.mark.parametrize(
    ("laws", "attributes"),
    [
        (testing.PricePolicyTests, {"make": AtCost}),
        (testing.PricePolicyTests, {"make": lambda: AtCost()}),  # noqa: PLW0108 - a function is as good as a class
        (testing.CheckTests, {"make": Late, "name": "late"}),
        (testing.RecordSourceTests, {"make": Dearer}),
        (testing.ArtworkReaderTests, {"make": Squares, "samples": {"image/x-square": [SQUARE]}}),
    ],
)
def test_lawful_plugins_pass(laws: type, attributes: dict[str, Any]) -> None:
    """All tests of the kind pass, and there are at least three."""
    assert {} == outcomes(laws, **attributes)
    assert len([name for name in dir(laws) if name.startswith("test_")]) >= 3


@pytest.mark.parametrize(
    ("laws", "attributes", "test", "message"),
    [
        (testing.PricePolicyTests, {"make": object}, "test_it_is_a_price_policy", ""),
        (testing.PricePolicyTests, {"make": Moody}, "test_the_same_sale_has_the_same_price", "With the same arguments"),
        (testing.PricePolicyTests, {"make": InEuros}, "test_every_sale_has_a_lawful_price", "`total` is in EUR, and"),
        (testing.CheckTests, {"make": object, "name": "late"}, "test_it_is_a_check", ""),
        (testing.CheckTests, {"make": Late, "name": "other"}, "test_every_reason_is_lawful", "begin it with 'other.'"),
        (testing.CheckTests, {"make": Counting, "name": "late"}, "test_the_same_order_has_the_same_reasons", "Asked"),
        (testing.RecordSourceTests, {"make": object}, "test_it_is_a_record_source", ""),
        (testing.RecordSourceTests, {"make": Uncited}, "test_its_records_are_lawful", "does not cite 'list-7'"),
        (testing.RecordSourceTests, {"make": Shuffled}, "test_it_supplies_the_same_each_time", "film-2"),
        (
            testing.ArtworkReaderTests,
            {"make": Squares, "samples": {"image/x-square": [SQUARE], "image/x-circle": [SQUARE]}},
            "test_it_is_an_artwork_reader",
            "image/x-circle: give samples of what it reads",
        ),
        (
            testing.ArtworkReaderTests,
            {"make": Squares, "samples": {"image/x-square": []}},
            "test_it_is_an_artwork_reader",
            "image/x-square: give samples of what it reads",
        ),
        (
            testing.ArtworkReaderTests,
            {"make": Trusting, "samples": {"image/x-square": [SQUARE]}},
            "test_a_damaged_file_is_refused_or_read",
            "`d` ",
        ),
        (
            testing.ArtworkReaderTests,
            {"make": Silent, "samples": {"image/x-square": [SQUARE]}},
            "test_a_damaged_file_is_refused_or_read",
            "The ArtworkError has no message",
        ),
    ],
)
def test_unlawful_plugins_fail(laws: type, attributes: dict[str, Any], test: str, message: str) -> None:
    """The test of the broken law fails with a message that says what is wrong."""
    tests: Callable[[], Any] = type("TestIt", (laws,), attributes)
    with pytest.raises(AssertionError) as caught:
        getattr(tests(), test)()
    assert message in str(caught.value)


def test_an_error_of_a_plugin_fails_its_test() -> None:
    """The error of a plug-in is not caught, so pytest shows where it was raised."""

    class Broken:
        def price(self, _sale: Sale) -> SalePrice:
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        outcomes(testing.PricePolicyTests, make=Broken)


def test_recorded_sales_are_of_every_kind() -> None:
    """There are orders, measures and rosters, in three currencies, in a rush and not, and all add up."""
    sales = list(conformance._sales())
    assert {"EUR", "JPY", "KWD"} == {sale.currency for sale in sales}
    assert {1, 3} == {len(sale.lots) for sale in sales}
    assert {True, False} == {sale.rush for sale in sales}
    for sale in sales:
        total = Decimal(sale.cost.total.amount)
        assert total == sum(Decimal(line.amount.amount) for line in sale.cost.lines)
        assert total == sum(Decimal(lot.cost.amount) for lot in sale.lots)
        assert {"EUR": 2, "JPY": 0, "KWD": 3}[sale.currency] == len(sale.cost.total.amount.partition(".")[2])
