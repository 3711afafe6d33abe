"""Prices of whole orders: the law of the price list, its table of quantities, and tax."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any, get_args

import msgspec
import pytest
from msgspec.structs import replace
from plain_work import part

from featherline.plugins import Installed, Sale, SalePrice
from featherline.wire.artworks import TextArtwork
from featherline.wire.book import Plugin
from featherline.wire.costs import Order, Pairs, Price, PriceStep, QuantityPrice
from featherline.wire.money import Money
from featherline.wire.records import Charge, Ending, OrderCosts, Policy, QuantityBreak, Tax
from featherline.wire.rosters import Roster, RosterRow
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.cost.price_bands import Band, PairStep, RowPrices
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.pricing import prices
from featherline_service.questions.pricing.cost_lines import Part, Work
from featherline_service.questions.pricing.film_lots import FilmPieces
from featherline_service.questions.pricing.terms import AnyPolicy, PluggedPolicy, Terms
from featherline_service.questions.quote import quotes
from featherline_service.questions.roster import rosters

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
MARLOW = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
MOST = 500


def changed(**artwork: object) -> Order:
    """Return the example's order with its text changed."""
    (placement,) = MARLOW.placements
    assert isinstance(placement.artwork, TextArtwork)
    return replace(MARLOW, placements=(replace(placement, artwork=replace(placement.artwork, **artwork)),))


def price_of(book: Book, order: Order) -> Price:
    """Return the price of an order that can be done."""
    price = quotes.compose(book, order).price
    assert price is not None
    return price


def amounts(table: Sequence[QuantityPrice]) -> list[tuple[Fraction, Fraction]]:
    """Return total and price of a pair of every line of a table."""
    return [(Fraction(line.total.amount), Fraction(line.each.amount)) for line in table]


def swept(book: Book, order: Order) -> list[tuple[Fraction, Fraction]]:
    """Return total and price of a pair from 1 to `MOST` pairs."""
    return [
        line
        for first in range(1, MOST + 1, 20)
        for line in amounts(price_of(book, replace(order, quantities=tuple(range(first, first + 20)))).quantities)
    ]


ORDERS = {
    "a name": MARLOW,
    "a name by the shop's own pairs": replace(MARLOW, owner="shop"),
    "a letter": changed(text="M"),
    "a name on the left shoe": replace(MARLOW, placements=(replace(MARLOW.placements[0], sides="left"),)),
}


@pytest.mark.parametrize("order", ORDERS.values(), ids=ORDERS)
@pytest.mark.parametrize("policy", sorted(load().policies))
def test_more_pairs_never_cost_less_nor_does_a_pair_cost_more(book: Book, policy: str, order: Order) -> None:
    """The law of the price list, for every policy of the demo book, from 1 to 500 pairs."""
    table = swept(book, replace(order, policy=policy))

    assert MOST == len(table)
    assert all(more[0] >= fewer[0] and more[1] <= fewer[1] for fewer, more in pairwise(table))


@pytest.mark.parametrize("shown", ["net", "gross"])
def test_the_law_holds_of_what_is_shown_with_tax(book: Book, shown: str) -> None:
    """With breaks, an ending and tax, net or gross, in a policy of its own."""
    policy = replace(
        book.policies["web"],
        tax=msgspec.convert({"rate": "0.21", "shown": shown, "level": "line"}, Tax),
        breaks=(QuantityBreak(pairs=7, off="0.10"), QuantityBreak(pairs=31, off="0.35")),
    )
    table = swept(replace(book, policies={**book.policies, "web": policy}), replace(MARLOW, policy="web"))

    assert all(more[0] >= fewer[0] and more[1] <= fewer[1] for fewer, more in pairwise(table))


@pytest.mark.parametrize("policy", sorted(load().policies))
def test_a_table_of_quantities_says_what_the_orders_would_cost(book: Book, policy: str) -> None:
    """Asked alone, an order of so many pairs has the total and price of its line, and the next break lowers it."""
    order = replace(MARLOW, policy=policy)
    counts = (1, 2, 5, 10, 25, 50)
    table = price_of(book, replace(order, quantities=counts)).quantities

    assert counts == tuple(line.pairs for line in table)
    for line in table:
        alone = price_of(book, replace(order, pairs=line.pairs))
        assert (alone.total, alone.each) == (line.total, line.each)
        if line.next_break is not None:
            before, at = price_of(book, replace(order, quantities=(line.next_break - 1, line.next_break))).quantities
            assert Fraction(before.each.amount) == Fraction(line.each.amount) > Fraction(at.each.amount)


def test_the_printed_price_list_is_what_is_charged(book: Book) -> None:
    """Every band of the list has the price of an order of its first count; below the next one it stays."""
    price = price_of(book, replace(MARLOW, policy="club"))
    assert price.set_up is not None

    assert len(price.price_list) > 1
    for band in price.price_list:
        charged = price_of(book, replace(MARLOW, policy="club", pairs=band.from_pairs))
        assert charged.each == band.each
        assert Fraction(charged.total.amount) == band.from_pairs * Fraction(band.each.amount) + Fraction(
            price.set_up.amount
        )


def test_tax_of_prices_without_and_with_it(book: Book) -> None:
    """Net and tax add up to gross, and the total is the shown one of the two; at 21 % of 10.00, 2.10 are tax."""
    for shown in ("net", "gross"):
        counter = replace(
            book.policies["counter"],
            ending=Ending(step=Charge(amount="10.00", currency="EUR"), less=Charge(amount="0.00", currency="EUR")),
            tax=msgspec.convert({"rate": "0.21", "shown": shown}, Tax),
        )
        price = price_of(replace(book, policies={**book.policies, "counter": counter}), MARLOW)
        assert price.tax is not None
        net, tax, gross = (Decimal(sum_.amount) for sum_ in (price.tax.net, price.tax.tax, price.tax.gross))

        assert net + tax == gross
        assert Decimal(price.total.amount) == (net if shown == "net" else gross)
        assert 0 == Decimal(price.each.amount) % 10
        assert abs(tax - net * Decimal("0.21")) <= Decimal("0.01")


def test_a_repeated_row_never_lowers_a_rosters_total(book: Book) -> None:
    """The law for rosters, for every policy: one row's pairs go up, the total does not fall and no price rises."""
    crew = msgspec.json.decode((EXAMPLES / "roster-request.json").read_bytes(), type=Roster)
    for policy in book.policies:
        before: list[Fraction] | None = None
        for pairs in (1, 2, 4, 5, 9, 10, 11, 24, 25, 26):
            rows = (replace(crew.rows[0], pairs=pairs), *crew.rows[1:])
            answer = rosters.compose(book, replace(crew, order=replace(crew.order, policy=policy), rows=rows))
            assert answer.price is not None
            prices = [Fraction(row.price.each.amount) for row in answer.rows if row.price is not None]
            now = [-Fraction(answer.price.total.amount), *prices]
            assert prices
            if before is not None:
                assert all(after <= earlier for after, earlier in zip(now, before, strict=True)), (policy, pairs)
            before = now


def said_cost(price: Price) -> tuple[str, str]:
    """Return sentence and amount of the step that a price begins at."""
    step = price.why[0]
    assert "cost" == step.what
    return step.sentence, step.amount.amount


LINES = "; the lines of the cost are those of this order, so their total may differ"


@pytest.mark.parametrize(("pairs", "first", "noun"), [(1, 1, "pair"), (3, 2, "pairs"), (12, 12, "pairs")])
def test_the_first_step_says_what_its_amount_is(book: Book, pairs: int, first: int, noun: str) -> None:
    """So many pairs at the cost of a pair in the run that begins their band: the amount is the product."""
    sentence, amount = said_cost(price_of(book, replace(MARLOW, policy="club", pairs=pairs)))
    each = Fraction(amount) / pairs

    assert f"{pairs} {noun} at {float(each):.2f} EUR, the cost of a pair in a run of {first}{LINES}" == sentence


def test_the_first_step_of_a_roster_says_from_what_to_what_a_pair_costs(book: Book) -> None:
    """Where rows are priced by their cost, a long name costs more than a letter."""
    club = replace(book.policies["club"], rows="by-cost")
    rows = tuple(RosterRow(fields={"name": name}) for name in ("M", "MM"))
    roster = Roster(order=replace(changed(text="{name}"), policy="club"), rows=rows)
    price = rosters.compose(replace(book, policies={**book.policies, "club": club}), roster).price
    assert price is not None
    lowest, highest = (
        Fraction(said_cost(price_of(book, replace(changed(text=text), policy="club", pairs=2)))[1]) / 2
        for text in ("M", "MM")
    )

    assert lowest < highest
    assert price.why[0].sentence == (
        f"2 pairs at {float(lowest):.2f} EUR to {float(highest):.2f} EUR, the cost of a pair in a run of 2{LINES}"
    )
    assert lowest + highest == Fraction(price.why[0].amount.amount)


def test_a_break_that_the_ending_hides_is_named(book: Book) -> None:
    """Ten percent off in steps of fifty lower no price, and the answer says why."""
    counter = replace(
        book.policies["counter"],
        breaks=(QuantityBreak(pairs=10, off="0.10"),),
        ending=Ending(step=Charge(amount="50.00", currency="EUR"), less=Charge(amount="0.10", currency="EUR")),
    )
    price = price_of(replace(book, policies={**book.policies, "counter": counter}), MARLOW)

    assert any("From 10 pairs on a share of 0.10 off does not show" in warning for warning in price.warnings)


def test_a_price_below_cost_is_warned_of(book: Book) -> None:
    """A list of one cent does not pay for the work."""
    cent = Charge(amount="0.01", currency="EUR")
    gift = replace(book.policies["letters"], per_placement=cent, per_character=None, floor_per_pair=cent, setup=cent)
    price = price_of(replace(book, policies={"letters": gift}), replace(MARLOW, policy="letters"))

    assert "The price is below what the work costs the shop" in price.warnings
    assert price.price_list[0].below_cost


def test_a_roster_has_no_table_of_quantities(book: Book) -> None:
    """Its rows say how many pairs there are."""
    roster = Roster(order=replace(changed(text="{name}"), quantities=(1, 2)), rows=(RosterRow(fields={"name": "LEE"}),))
    with pytest.raises(RefusedError) as caught:
        rosters.compose(book, roster)

    assert ["/order/quantities"] == [fault.pointer for fault in caught.value.faults]


def euros(amount: str) -> Charge:
    """Return an amount of euros."""
    return Charge(amount=amount, currency="EUR")


def bars(book: Book, **changes: Any) -> Part:  # noqa: ANN401 - of any field
    """Return pairs with a bar on each shoe, some of them changed."""
    bar = FilmPieces(
        film=book.films["smooth"],
        colour="gorse",
        width_mm=54.0,
        height_mm=24.0,
        cut_length_mm=500.0,
        corners=30,
        outlines=1,
        waste_pieces=4,
        per_pair=2,
        pointer="/pieces/0",
    )
    return part(book, **{"pieces": (bar,), "characters": 5, **changes})


def letters(book: Book, **changes: Any) -> Part:  # noqa: ANN401 - of any field
    """Return pairs with a small bar on one shoe."""
    (bar,) = bars(book).pieces
    small = replace(bar, width_mm=20.0, cut_length_mm=90.0, per_pair=1)
    return bars(book, **{"pieces": (small,), "characters": 4, **changes})


def listed(book: Book, **changes: Any) -> Policy:  # noqa: ANN401 - of any field
    """Return a policy of 10.00 an artwork and nothing else, some of it changed."""
    plain = replace(
        book.policies["letters"],
        per_placement=euros("10.00"),
        per_character=None,
        setup=euros("0"),
        floor_per_pair=euros("0"),
        minimum_order=None,
        rush=None,
        breaks=(),
        ending=None,
        tax=None,
    )
    return replace(plain, **changes)


def work(policy: AnyPolicy, *parts: Part, rush: bool = False) -> Work:
    """Return parts to be priced by a policy."""
    return Work(parts=parts, terms=Terms(offcuts={}, policy=policy, rush=rush))


class Fixed:
    """Sells the pairs of each lot at a price of its own, and remembers the sales."""

    def __init__(self, *each: str) -> None:
        self.each = each
        self.sales: list[Sale] = []

    def price(self, sale: Sale) -> SalePrice:
        """Return the prices of the first lots."""
        self.sales.append(sale)
        each = tuple(Money(amount=one, currency=sale.currency) for one in self.each[: len(sale.lots)])
        sum_ = sum(Decimal(one.amount) * lot.pairs for one, lot in zip(each, sale.lots, strict=True))
        total = Money(amount=f"{sum_:.2f}", currency=sale.currency)
        why = (PriceStep(what="own", sentence="By the lot", amount=total),)
        return SalePrice(each=each, total=total, why=why, warnings=("Ask twice",))


def plugged(policy: Fixed) -> PluggedPolicy:
    """Return a policy that is plugged in."""
    plugin = Plugin(name="fixed", kind="price-policy", distribution="quay-rules", version="1.0")
    return PluggedPolicy("fixed", "EUR", Installed(plugin, policy))


BELOW_COST = "The price is below what the work costs the shop"
EXEMPT = "The prices are those of a plug-in, fixed: more pairs may cost less in total"


def test_a_plug_in_is_told_of_every_lot_and_its_prices_are_charged(book: Book) -> None:
    """Three pairs with two artworks and five letters each, two with one and four: at 200 and 300 euros, 1200 in all."""
    fixed = Fixed("200.00", "300.00")
    own = work(plugged(fixed), bars(book, pairs=3), letters(book, pairs=2), rush=True)

    costed, price, rows = prices.price_parts(book, own, Checks())

    (sale,) = fixed.sales
    cost = Decimal(costed.cost.total.amount)
    assert ("EUR", costed.cost, True) == (sale.currency, sale.cost, sale.rush)
    assert [(3, 6, 15), (2, 2, 8)] == [(lot.pairs, lot.placements, lot.characters) for lot in sale.lots]
    assert cost == sum(Decimal(lot.cost.amount) for lot in sale.lots)
    assert [("200.00", "600.00", None), ("300.00", "600.00", None)] == [
        (row.each.amount, row.total.amount, row.tax) for row in rows
    ]
    assert ("fixed", None, None, "1200.00", None) == (
        price.policy, price.set_up, price.to_minimum, price.total.amount, price.tax,
    )  # fmt: skip
    assert (("Ask twice", EXEMPT), (), ["own"]) == (price.warnings, price.price_list, [one.what for one in price.why])
    assert float((1200 - cost) / 1200) == price.margin


def test_a_plug_in_that_sells_below_cost_is_warned_of(book: Book) -> None:
    """At the very cost nothing is left, and nothing lost; a gift has no margin; the fees of a card are a cost too."""
    pair = bars(book)

    def sold(own: Book, each: str) -> Price:
        return prices.price_order(own, work(plugged(Fixed(each)), pair), Checks())[1]

    cost, _ = prices.price_order(book, work(plugged(Fixed("1.00")), pair), Checks())
    rates = book.rates[book.bench.rates]
    by_card = replace(book, rates={rates.id: replace(rates, orders=OrderCosts(card_share="0.1"))})
    even, less, gift = (
        sold(book, each) for each in (cost.total.amount, f"{Decimal(cost.total.amount) - Decimal('0.01'):.2f}", "0.00")
    )

    assert (0.0, ("Ask twice", EXEMPT)) == (even.margin, even.warnings)
    assert ("Ask twice", EXEMPT, BELOW_COST) == less.warnings
    assert -0.01 < less.margin < 0.0
    assert (0.0, ("Ask twice", EXEMPT, BELOW_COST)) == (gift.margin, gift.warnings)
    assert BELOW_COST in sold(by_card, cost.total.amount).warnings
    assert pytest.approx(0.9 - float(cost.total.amount) / 1000.0) == sold(by_card, "1000.00").margin


def test_a_table_by_a_plug_in_asks_it_for_each_number(book: Book) -> None:
    """It has no breaks to name; the verdict is that of the order."""
    fixed = Fixed("200.00")
    _, price = prices.price_order(book, work(plugged(fixed), bars(book)), Checks(), quantities=(2, 5), verdict="trial")

    assert [(2, "200.00", "400.00", "trial", None), (5, "200.00", "1000.00", "trial", None)] == [
        (one.pairs, one.each.amount, one.total.amount, one.verdict, one.next_break) for one in price.quantities
    ]
    assert [1, 2, 5] == [lot.pairs for sale in fixed.sales for lot in sale.lots]


def test_a_list_with_breaks_says_which_comes_next(book: Book) -> None:
    """20.00 a pair, 18.00 from 10 and 17.50 from 25: the break at hand is not the next."""
    policy = listed(book, breaks=(QuantityBreak(pairs=10, off="0.1"), QuantityBreak(pairs=25, off="0.125")))
    _, price = prices.price_order(book, work(policy, bars(book)), Checks(), quantities=(9, 10, 24, 25))

    assert [(1, "20.00"), (10, "18.00"), (25, "17.50")] == [
        (band.from_pairs, band.each.amount) for band in price.price_list
    ]
    assert [
        (9, "20.00", "180.00", "ready", 10),
        (10, "18.00", "180.00", "ready", 25),
        (24, "18.00", "432.00", "ready", 25),
        (25, "17.50", "437.50", "ready", None),
    ] == [(one.pairs, one.each.amount, one.total.amount, one.verdict, one.next_break) for one in price.quantities]
    assert ("20.00", "0.00", None) == (price.each.amount, price.set_up and price.set_up.amount, price.to_minimum)


def test_set_up_and_minimum_are_charged_once(book: Book) -> None:
    """Three pairs at 20.00 and two at 10.00 with 5.00 for setting up are 85.00, which 15.00 raise to a hundred."""
    policy = listed(book, setup=euros("5.00"), minimum_order=euros("100.00"))
    _, price, rows = prices.price_parts(book, work(policy, bars(book, pairs=3), letters(book, pairs=2)), Checks())

    assert [("20.00", "60.00"), ("10.00", "20.00")] == [(row.each.amount, row.total.amount) for row in rows]
    assert ("5.00", "15.00", "100.00") == (
        price.set_up and price.set_up.amount, price.to_minimum and price.to_minimum.amount, price.total.amount,
    )  # fmt: skip
    assert [(1, "10.00", "20.00")] == [
        (band.from_pairs, band.lowest.amount, band.highest.amount) for band in price.price_list
    ]


def test_rows_are_sold_alike_or_by_their_cost(book: Book) -> None:
    """Alike, by the row that costs most, wherever it stands; by cost, each row at the price of such an order."""
    dear, cheap = bars(book, pairs=2), letters(book, pairs=2)
    policy = listed(book, method="markup", per_placement=None)

    def each(rows: str, *parts: Part) -> list[str]:
        own = work(replace(policy, rows=rows), *parts)
        return [row.each.amount for row in prices.price_parts(book, own, Checks())[2]]

    (most,), (least,) = each("alike", replace(dear, pairs=4)), each("by-cost", replace(cheap, pairs=4))
    assert Decimal(least) < Decimal(most)
    assert [most, most] == each("alike", dear, cheap) == each("alike", cheap, dear)
    assert [most, least] == each("by-cost", dear, cheap)


def test_a_pair_without_markup_is_sold_at_its_cost(book: Book) -> None:
    """What an order costs once is the set-up: 4.20 of post; nothing is left over."""
    rates = book.rates[book.bench.rates]
    own = replace(book, rates={rates.id: replace(rates, orders=OrderCosts(post=euros("4.20")))})
    policy = listed(own, method="markup", per_placement=None)

    cost, price = prices.price_order(own, work(policy, bars(own)), Checks())

    assert ("4.20", cost.total) == (price.set_up and price.set_up.amount, price.total)
    assert (Decimal(cost.total.amount) - Decimal("4.20"), 0.0) == (Decimal(price.each.amount), price.margin)


def test_the_steps_are_for_all_pairs_of_all_rows() -> None:
    """A row that a step does not touch keeps its price; items are counted on all pairs; set-up and minimum are last."""

    def items(price: str, count: int) -> PairStep:
        return PairStep(what="placements", price=Decimal(price), values=(("charge", Decimal("1.00")),), count=count)

    off = PairStep(what="break", price=Decimal("11.00"), values=(("pairs", 2), ("off", Decimal("0.10"))))
    paths = (
        (PairStep(what="cost", price=Decimal("10.00")), items("12.00", 2), off),
        (PairStep(what="cost", price=Decimal("8.00")), items("9.00", 1)),
    )
    band = Band(first_pairs=1, prices=(), steps=paths, hidden_break=None, below_cost=False)
    rows = RowPrices(
        prices=(), totals=(), set_up=Decimal("5.00"), to_minimum=Decimal("4.00"), total=Decimal("60.00"), tax=None,
        card=(), margin=0.0, band=band, below_cost=False,
    )  # fmt: skip

    def told(own: RowPrices, order_charge: str) -> list[tuple[str, str, str]]:
        steps = prices._steps(own, (3, 2), "EUR", Decimal(order_charge))
        return [(one.what, one.sentence, one.amount.amount) for one in steps]

    run = "the cost of a pair in a run of 1; the lines of the cost are those of this order, so their total may differ"
    pairs = [
        ("cost", f"5 pairs at 8.00 EUR to 10.00 EUR, {run}", "46.00"),
        ("placements", "1.00 EUR for every artwork on a shoe: 8", "54.00"),
        ("break", "From 2 pairs on, a share of 0.10 off", "51.00"),
    ]
    least = ("minimum", "No less than 60.00 EUR an order", "60.00")
    assert [*pairs, ("setup", "5.00 EUR for setting up, once", "56.00"), least] == told(rows, "0")
    once = "3.80 EUR for setting up and 1.20 EUR for order costs (packing, post, artwork), once"
    assert [*pairs, ("setup", once, "56.00"), least] == told(rows, "1.20")
    assert pairs == told(replace(rows, set_up=Decimal(0), to_minimum=Decimal(0)), "0")


@pytest.mark.parametrize(
    ("total", "shares", "expected"),
    [
        ("10.00", (1, 1, 1), ("3.34", "3.33", "3.33")),
        ("0.03", (2, 1, 1), ("0.01", "0.01", "0.01")),
        ("1.00", (Fraction(1, 3), Fraction(2, 3)), ("0.33", "0.67")),
        ("12.34", (0, 5), ("0.00", "12.34")),
        ("0.05", (0, 0), ("0.03", "0.02")),
        ("7.00", (3,), ("7.00",)),
    ],
)
def test_a_total_is_shared_out_in_whole_cents(
    total: str, shares: tuple[Fraction, ...], expected: tuple[str, ...]
) -> None:
    """The largest remainders are rounded up, the first of equal ones; without any share all have the same."""
    told = prices.apportioned(Money(amount=total, currency="EUR"), [Fraction(share) for share in shares])

    assert expected == tuple(one.amount for one in told)


def test_a_total_is_shared_out_in_the_minor_units_of_its_currency() -> None:
    """Yen have none, dinars a thousand."""
    shares = [Fraction(1), Fraction(2)]

    assert ["33", "67"] == [one.amount for one in prices.apportioned(Money(amount="100", currency="JPY"), shares)]
    assert ["0.333", "0.667"] == [
        one.amount for one in prices.apportioned(Money(amount="1.000", currency="KWD"), shares)
    ]


def test_money_that_cannot_be_reckoned_is_refused(book: Book) -> None:
    """Charges in two currencies: the fault is of the whole request."""
    mixed = work(listed(book, setup=Charge(amount="5.00", currency="USD")), bars(book))
    faults = []
    for price in (prices.price_order, prices.price_parts):
        with pytest.raises(RefusedError) as refused:
            price(book, mixed, Checks())
        faults += refused.value.faults

    assert ["", ""] == [fault.pointer for fault in faults]
    assert all("USD" in fault.detail for fault in faults)


def test_a_price_list_is_for_as_many_pairs_as_an_order_may_have() -> None:
    """The largest order of the contract has a price, and no larger one."""
    _, meta = get_args(Pairs)

    assert meta.le == prices.MOST_PAIRS


def test_a_run_has_as_many_pairs_on_the_platen_as_it_takes(book: Book) -> None:
    """One pair of a run of one, two of a run of five where two go on; its pieces are anywhere in the request."""
    pair = bars(book, pairs=7)
    two = replace(pair, presswork=tuple(replace(press, most_pairs=2) for press in pair.presswork))

    at_once = [[press.closing.pairs_at_once for press in prices._run(two, pairs).presswork] for pairs in (1, 2, 5)]

    assert [[1], [2], [2]] == at_once
    assert 5 == prices._run(two, 5).pairs
    (piece,) = prices._single(pair).pieces
    assert (1, "", None, 2) == (prices._single(pair).pairs, piece.pointer, piece.outline, piece.per_pair)
