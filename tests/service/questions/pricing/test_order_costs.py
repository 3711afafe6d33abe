"""Costs of an order beside its work: their lines, and the price list with them."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import msgspec
import pytest
from measured_work import WORK
from msgspec.structs import replace

from featherline.plugins import Installed, Sale, SalePrice
from featherline.wire.artworks import PathArtwork, SvgArtwork
from featherline.wire.book import Plugin
from featherline.wire.costs import Cost, Order, Price, PriceStep, WhatIf
from featherline.wire.money import Charge, Money
from featherline.wire.records import OrderCosts, Tax
from featherline.wire.rosters import Roster, RosterRow
from featherline_service.book.shop_book import Book
from featherline_service.plugins import Plugins
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.costs import estimate
from featherline_service.questions.quote import quotes
from featherline_service.questions.roster import rosters

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
MARLOW = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
PLAIN = replace(MARLOW, policy="club")
SQUARE = PathArtwork(d="M0 0H10V10H0Z", height="20 mm")


def euros(amount: str) -> Charge:
    """Return a charge in euros."""
    return Charge(amount=amount, currency="EUR")


ORDERS = OrderCosts(
    failed_cuts=0.02,
    test_cuts=2,
    artwork=euros("8.00"),
    packing=euros("0.60"),
    post=euros("3.20"),
    post_per_pair=euros("1.10"),
    card_share="0.014",
    card_fixed=euros("0.25"),
)


def with_orders(book: Book, orders: OrderCosts = ORDERS) -> Book:
    """Return the book with costs of orders."""
    return replace(book, rates={"bench": replace(book.rates["bench"], orders=orders)})


def with_minimum(book: Book, amount: str) -> Book:
    """Return the book with a minimum order in every policy."""
    return replace(
        book,
        policies={name: replace(policy, minimum_order=euros(amount)) for name, policy in book.policies.items()},
    )


def sold(book: Book, order: Order) -> tuple[Cost, Price]:
    """Return cost and price of an order that can be done."""
    answer = quotes.compose(book, order)
    assert answer.cost is not None
    assert answer.price is not None
    return answer.cost, answer.price


def drawn(order: Order, *artworks: PathArtwork | SvgArtwork) -> Order:
    """Return an order with drawings, one a shoe."""
    (placement,) = order.placements
    sides = ("left", "right")
    return replace(
        order,
        placements=tuple(
            msgspec.convert(
                {**msgspec.to_builtins(placement), "artwork": msgspec.to_builtins(artwork), "sides": side},
                type(placement),
            )
            for artwork, side in zip(artworks, sides, strict=False)
        ),
    )


def amounts(cost: Cost, *kinds: str) -> list[tuple[str, str, str, str]]:
    """Return kind, quantity, rate and amount of the lines of some kinds."""
    return [(line.what, line.quantity, line.rate, line.amount.amount) for line in cost.lines if line.what in kinds]


def test_a_book_without_them_has_no_such_lines(book: Book) -> None:
    """Nothing but the packing of every pair, and no minimum order."""
    cost, price = sold(book, MARLOW)

    assert {"film", "offcut", "cover", "packing", "labour", "press", "cutter", "spoilage", "overhead"} >= {
        line.what for line in cost.lines
    }
    assert price.to_minimum is None


def test_the_lines_of_an_order_by_hand(book: Book) -> None:
    """12 pairs: post 3.20 and 12 x 1.10, packing 0.60 beside that of the pairs; by card 1.4 % and 0.25."""
    cost, price = sold(with_orders(book), replace(PLAIN, pairs=12))

    assert [("post", "1", "3.20", "3.20"), ("post", "12", "1.10", "13.20")] == amounts(cost, "post")
    assert ("packing", "1", "0.60", "0.60") == amounts(cost, "packing")[-1]
    paid = Decimal(price.total.amount)
    assert [
        ("card", price.total.amount, "0.014", f"{paid * Decimal('0.014'):.2f}"),
        ("card", "1", "0.25", "0.25"),
    ] == amounts(cost, "card")
    assert [] == amounts(cost, "artwork")


def test_all_lines_add_up_and_can_be_redone(book: Book) -> None:
    """Quantity times rate to the cent, and their sum the total; the margin is what they leave of the price."""
    cost, price = sold(with_orders(book), drawn(replace(PLAIN, pairs=60), SQUARE))

    for line in cost.lines:
        assert round(Fraction(line.quantity) * Fraction(line.rate) * 100) == Fraction(line.amount.amount) * 100
    assert Fraction(cost.total.amount) == sum(Fraction(line.amount.amount) for line in cost.lines)
    assert price.margin == pytest.approx(1 - float(cost.total.amount) / float(price.total.amount))
    assert {"failed-cuts", "test-cuts", "artwork", "post", "card"} <= {line.what for line in cost.lines}


def test_cuts_in_vain_are_paid_at_film_cutter_and_weeding(book: Book) -> None:
    """Of 200 pieces 2 % fail: 200 x 0.02 / 0.98 more are cut, at the mean of those lines."""
    cost = estimate(with_orders(book), replace(WORK, pairs=100)).cost
    assert cost is not None
    cutting = sum(
        Fraction(line.amount.amount)
        for line in cost.lines
        if line.what in {"film", "offcut", "cutter"} or line.detail.startswith("Weeding")
    )
    ((_, quantity, rate, _),) = amounts(cost, "failed-cuts")

    assert "4.081633" == quantity
    assert cutting / 200 == Fraction(rate)


def test_a_test_cut_is_a_small_square_with_its_border(book: Book) -> None:
    """Two for the only load of film, at the roll's price by area; common practice, no source."""
    bare = replace(with_orders(book), offcuts={})
    cost = estimate(bare, WORK).cost
    assert cost is not None
    roll, cutting = bare.films["smooth"].roll, bare.films["smooth"].cutting
    assert cutting is not None
    side_mm = 10 + 2 * cutting.border_mm
    mm2 = float(roll.price.amount) / (roll.width_mm * roll.length_m * 1000)
    ((_, quantity, rate, amount),) = amounts(cost, "test-cuts")

    assert "2" == quantity
    assert [f"Smooth polyurethane film, gorse: test cuts {side_mm} mm square, loads: 1"] == [
        line.detail for line in cost.lines if line.what == "test-cuts"
    ]
    assert float(rate) == pytest.approx(side_mm**2 * mm2, abs=1e-9)
    assert float(cost.material.amount) == pytest.approx(
        float(amount) + sum(float(line[3]) for line in amounts(cost, "film", "cover"))
    )


def test_every_drawing_is_prepared_once(book: Book) -> None:
    """Two drawings are two artworks, one on both shoes is one, a prepared one none, and a text never is."""
    other = replace(SQUARE, d="M0 0H10V10Z")
    priced = with_orders(book)
    orders = (
        drawn(MARLOW, SQUARE, other),
        drawn(MARLOW, SQUARE, replace(SQUARE, height="15 mm")),
        replace(drawn(MARLOW, SQUARE), prepared=True),
        MARLOW,
    )

    assert [["2"], ["1"], [], []] == [[line[1] for line in amounts(sold(priced, it)[0], "artwork")] for it in orders]


def test_drawings_of_every_kind_are_prepared(book: Book) -> None:
    """An SVG document too."""
    svg = SvgArtwork(svg='<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0H10V10H0Z"/></svg>', height="20 mm")

    assert [("artwork", "1", "8.00", "8.00")] == amounts(sold(with_orders(book), drawn(MARLOW, svg))[0], "artwork")


def test_order_costs_are_charged_once(book: Book) -> None:
    """Post and packing at the club's markup, 3.80 x 1.55 = 5.89, beside 15.00 for setting up, whatever the pairs."""
    for pairs in (1, 12, 60):
        price = sold(with_orders(book), replace(PLAIN, pairs=pairs))[1]
        assert price.set_up is not None

        assert "20.89" == price.set_up.amount
        assert (
            "15.00 EUR for setting up and 5.89 EUR for order costs (packing, post, artwork), once"
            == price.why[-1].sentence
        )
        assert price.why[-1].amount == price.total


def test_order_costs_without_a_set_up_are_named_alone(book: Book) -> None:
    """At the counter, 3.80 x 1.60 = 6.08 are charged once for packing and post, and nothing for setting up."""
    price = sold(with_orders(book), replace(PLAIN, policy="counter"))[1]

    assert "6.08 EUR for order costs (packing, post, artwork), once" == price.why[-1].sentence


def test_a_minimum_order_is_a_line_of_its_own(book: Book) -> None:
    """One pair at 9.90 is raised to 25.00, three at 9.90 are not."""
    one, three = (sold(with_minimum(book, "25.00"), replace(MARLOW, pairs=pairs))[1] for pairs in (1, 3))

    assert one.to_minimum is not None
    assert ("9.90", "15.10", "25.00") == (one.each.amount, one.to_minimum.amount, one.total.amount)
    assert ("minimum", one.total) == (one.why[-1].what, one.why[-1].amount)
    assert None is three.to_minimum


@pytest.mark.parametrize("shown", ["net", "gross", None])
def test_the_law_holds_with_all_of_them(book: Book, shown: str | None) -> None:
    """For every policy from 1 to 100 pairs: totals never fall, no price rises, nor does what a pair comes to in all."""
    priced = with_minimum(with_orders(book), "40.00")
    if shown is not None:
        tax = msgspec.convert({"rate": "0.21", "shown": shown, "level": "line"}, Tax)
        priced = replace(priced, policies={name: replace(policy, tax=tax) for name, policy in priced.policies.items()})
    for policy in priced.policies:
        table = [
            line
            for first in range(1, 101, 20)
            for line in sold(
                priced, replace(drawn(MARLOW, SQUARE), policy=policy, quantities=tuple(range(first, first + 20)))
            )[1].quantities
        ]
        for fewer, more in pairwise(table):
            assert Fraction(fewer.total.amount) <= Fraction(more.total.amount)
            assert Fraction(fewer.each.amount) >= Fraction(more.each.amount)
            assert Fraction(fewer.total.amount) / fewer.pairs >= Fraction(more.total.amount) / more.pairs
        assert Fraction(40) <= Fraction(table[0].total.amount)


def test_a_rosters_rows_share_them(book: Book) -> None:
    """Rows, set-up and what reaches the minimum add up to the total; the shares of the cost to the cost, fees too."""
    rows = tuple(RosterRow(fields={}, pairs=pairs) for pairs in (1, 2, 1))
    priced = with_minimum(with_orders(book), "90.00")
    answer = rosters.compose(priced, Roster(order=drawn(PLAIN, SQUARE), rows=rows))
    assert answer.price is not None
    assert answer.price.set_up is not None
    assert answer.price.to_minimum is not None
    assert answer.cost is not None
    parts = [Fraction(row.price.total.amount) for row in answer.rows if row.price is not None]
    costs = [Fraction(row.cost.amount) for row in answer.rows if row.cost is not None]

    assert Fraction(90) == Fraction(answer.price.total.amount)
    assert Fraction(90) == sum(parts) + Fraction(answer.price.set_up.amount) + Fraction(answer.price.to_minimum.amount)
    assert Fraction(answer.cost.total.amount) == sum(costs)
    assert [("artwork", "1", "8.00", "8.00")] == amounts(answer.cost, "artwork")
    assert ("card", "90.00", "0.014", "1.26") == amounts(answer.cost, "card")[0]


def test_a_gift_has_no_card_fee(book: Book) -> None:
    """Where nothing is paid, nothing is taken."""
    nothing = euros("0.00")
    gift = replace(
        book.policies["letters"], per_placement=nothing, per_character=nothing, floor_per_pair=nothing, setup=nothing
    )
    cost, price = sold(with_orders(replace(book, policies={"letters": gift})), replace(MARLOW, policy="letters"))

    assert "0.00" == price.total.amount
    assert [] == amounts(cost, "card")


def test_what_ifs_count_the_card_fee(book: Book) -> None:
    """At the price for a margin of 0.30 a card's 1.4 % of it, with 21 % tax, are paid besides; with 0.99 none is."""
    tax = msgspec.convert({"rate": "0.21", "shown": "net"}, Tax)
    taxed = replace(book, policies={"counter": replace(book.policies["counter"], tax=tax)})
    priced = with_orders(taxed)
    answer = estimate(priced, replace(WORK, pairs=10, what_if=WhatIf(for_margin="0.30")))
    assert answer.what_if is not None
    assert answer.what_if.for_margin is not None
    assert answer.cost is not None
    each = answer.what_if.for_margin.each
    again = estimate(
        priced, replace(WORK, pairs=10, what_if=WhatIf(at_price=Charge(amount=each.amount, currency="EUR")))
    )
    assert again.what_if is not None
    assert again.what_if.at_price is not None
    other = sum(Fraction(line.amount.amount) for line in answer.cost.lines if line.unit != "EUR" or line.what != "card")
    price = Fraction(each.amount)
    left = price - other / 10 - price * Fraction("1.21") * Fraction("0.014")

    assert float(left / price) == pytest.approx(answer.what_if.for_margin.margin)
    assert 0 <= left / price - Fraction("0.30") < Fraction("0.001")
    assert answer.what_if.for_margin.margin == pytest.approx(again.what_if.at_price.margin)
    with pytest.raises(RefusedError, match="card fee"):
        estimate(priced, replace(WORK, what_if=WhatIf(for_margin="0.99")))


class Fifty:
    """Sells a pair at 50.00."""

    def price(self, sale: Sale) -> SalePrice:
        """Return the same for every pair."""
        each = Money(amount="50.00", currency=sale.currency)
        total = Money(amount=f"{50 * sum(lot.pairs for lot in sale.lots)}.00", currency=sale.currency)
        assert "card" not in {line.what for line in sale.cost.lines}
        why = (PriceStep(what="fifty", sentence="50.00 a pair", amount=total),)
        return SalePrice(each=(each,) * len(sale.lots), total=total, why=why)


def test_a_plugins_price_has_card_fees_and_no_minimum(book: Book) -> None:
    """1.4 % of 50.00 and 0.25 are costs after the plug-in has set its price, below any minimum of the policies."""
    plugin = Plugin(name="fifty", kind="price-policy", distribution="quay-rules", version="1.0")
    plugged = Plugins(price_policies={"fifty": Installed(plugin, Fifty())})
    priced = replace(with_minimum(with_orders(book), "90.00"), plugins=plugged)
    cost, price = sold(priced, replace(MARLOW, policy="fifty"))

    assert [("card", "50.00", "0.014", "0.70"), ("card", "1", "0.25", "0.25")] == amounts(cost, "card")
    assert ("50.00", None) == (price.total.amount, price.to_minimum)
    assert price.margin == pytest.approx(1 - float(cost.total.amount) / 50)
