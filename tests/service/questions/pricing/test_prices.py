"""Prices of whole orders: the law of the price list, its table of quantities, and tax."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Order, Price, QuantityPrice
from featherline.wire.records import Charge, Ending, QuantityBreak, Tax
from featherline.wire.rosters import Roster, RosterRow
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
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
        f"2 pairs at {float(lowest):.2f} to {float(highest):.2f} EUR, the cost of a pair in a run of 2{LINES}"
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
