from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Final

import msgspec
import pytest
from measured_work import WORK
from msgspec.structs import replace

from featherline.wire.costs import (
    Cost,
    CostAnswer,
    CostLine,
    CostRequest,
    Order,
    OrderWork,
    Price,
    PriceTax,
    Times,
    WhatIf,
    WhatIfAnswer,
)
from featherline.wire.money import Charge, Money
from featherline.wire.records import Tax
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.costs import estimate
from featherline_service.questions.pricing import what_ifs

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
TEN = replace(WORK, pairs=10)
PRESS = WhatIf(outlay=Charge(amount="1200.00", currency="EUR"))


def euros(amount: str) -> Money:
    """Return an amount of euros."""
    return Money(amount=amount, currency="EUR")


def line(what: str, amount: str) -> CostLine:
    """Return a line of a cost."""
    return CostLine(
        what=what, detail="", quantity="1", unit="h", rate=amount, amount=euros(amount), origin="rates/bench"
    )


COST: Final = Cost(
    lines=(line("labour", "30.00"), line("film", "20.00")),
    total=euros("50.00"),
    material=euros("20.00"),
    film=(),
    times=Times(labour_s=1.0, press_s=1.0, cutter_s=0.0, elapsed_s=1.0, working_days=None),
    spoil_chance=0.0,
    redo_chance=0.0,
)
PRICE: Final = Price(policy="counter", each=euros("8.00"), total=euros("80.00"), margin=0.375, why=())


def told(what_if: WhatIf, price: Price = PRICE, cost: Cost = COST) -> WhatIfAnswer:
    """Return the answer for ten pairs at 80 EUR, which cost 50 EUR, 30 of them labour."""
    answer = what_ifs.answer(what_if, cost, price, 10)
    assert answer is not None
    return answer


def outlay(amount: str) -> WhatIf:
    """Return how many pairs pay an outlay back."""
    return WhatIf(outlay=Charge(amount=amount, currency="EUR"))


@pytest.mark.parametrize(
    ("price", "pairs", "own", "left", "own_left", "sentence"),
    [
        ("80.00", 34, 17, "3.00", "6.00", "Paid back with pair 34; with pair 17 if the hours are the owner's own and "),
        (
            "50.00",
            None,
            34,
            "0.00",
            "3.00",
            "No number of pairs pays it back at this price; with pair 34 if the hours ",
        ),
        ("20.00", None, None, "-3.00", "0.00", "No number of pairs pays it back at this price."),
    ],
)
def test_an_outlay_is_paid_back_by_contributions(  # noqa: PLR0917 - a case has all of them
    price: str, pairs: int | None, own: int | None, left: str, own_left: str, sentence: str
) -> None:
    """100 EUR by 3 EUR a pair, and by 6 EUR where the owner's hours are not counted."""
    found = told(outlay("100.00"), replace(PRICE, total=euros(price))).break_even
    assert found is not None

    assert (pairs, own, left, own_left, "100.00") == (
        found.pairs,
        found.own_hours_pairs,
        found.contribution.amount,
        found.own_hours_contribution.amount,
        found.outlay.amount,
    )
    assert found.sentence.startswith(sentence)


def test_an_outlay_of_nothing_is_paid_back_at_once() -> None:
    """Both ways, so that one sentence is enough."""
    found = told(outlay("0.00")).break_even
    assert found is not None

    assert ("Paid back with pair 0.", 0, 0) == (found.sentence, found.pairs, found.own_hours_pairs)


def test_tax_is_not_the_shops() -> None:
    """Of 96.80 EUR with 21 % tax 80.00 are; a price set by hand is with tax too."""
    tax = PriceTax(net=euros("80.00"), tax=euros("16.80"), gross=euros("96.80"), rate="0.21", shown="gross")
    gross = replace(PRICE, total=euros("96.80"), tax=tax)
    net = replace(PRICE, tax=replace(tax, shown="net"))
    by_hand = WhatIf(at_price=Charge(amount="9.68", currency="EUR"), for_margin="0.5")
    paid = [told(outlay("100.00"), price).break_even for price in (gross, net)]
    taxed, plain = told(by_hand, gross), told(by_hand, PRICE)
    assert taxed.at_price is not None
    assert taxed.for_margin is not None
    assert plain.at_price is not None
    assert plain.for_margin is not None

    assert [34, 34] == [one and one.pairs for one in paid]
    assert ("3.00", 0.375, 0.0) == (taxed.at_price.profit.amount, taxed.at_price.margin, taxed.at_price.discount)
    assert ("4.68", pytest.approx(4.68 / 9.68), pytest.approx(-0.21)) == (
        plain.at_price.profit.amount,
        plain.at_price.margin,
        plain.at_price.discount,
    )
    assert ("12.10", "10.00") == (taxed.for_margin.each.amount, plain.for_margin.each.amount)
    assert ("121.00", 0.5, None) == (
        taxed.for_margin.total.amount,
        taxed.for_margin.margin,
        taxed.for_margin.largest_discount,
    )


@pytest.mark.parametrize(
    ("price", "profit", "sentence"),
    [
        ("8.00", "3.00", "A margin of 3.00 EUR a pair, 37.5% of the price."),
        ("5.00", "0.00", "A margin of 0.00 EUR a pair, 0.0% of the price."),
        ("4.00", "-1.00", "A loss of 1.00 EUR a pair, 25.0% of the price."),
    ],
)
def test_a_price_set_by_hand_leaves_a_margin_or_a_loss(price: str, profit: str, sentence: str) -> None:
    """At the cost itself it is a margin of nothing."""
    found = told(WhatIf(at_price=Charge(amount=price, currency="EUR"))).at_price
    assert found is not None

    assert (price, profit, sentence) == (found.each.amount, found.profit.amount, found.sentence)


def test_without_a_list_price_there_is_no_discount() -> None:
    """Nor can any be taken off; with one, what the margin's price gives away can."""
    free = replace(PRICE, total=euros("0.00"))
    both = WhatIf(at_price=Charge(amount="8.00", currency="EUR"), for_margin="0.2")
    none, some = told(both, free), told(both)
    assert none.at_price is not None
    assert none.for_margin is not None
    assert some.for_margin is not None

    assert (None, None) == (none.at_price.discount, none.for_margin.largest_discount)
    assert "From 6.25 EUR a pair on, a share of 0.2 of the price is margin." == none.for_margin.sentence
    assert pytest.approx(1.0 - 6.25 / 8.0) == some.for_margin.largest_discount
    assert some.for_margin.sentence.endswith(" At most 21.8% can be taken off the price of the order.")
    assert ("6.25", "62.50", pytest.approx(0.2)) == (
        some.for_margin.each.amount,
        some.for_margin.total.amount,
        some.for_margin.margin,
    )


@pytest.mark.parametrize("asked", ["0.38", "0.4", "0.417", "0.4999"])
def test_the_price_at_the_discount_that_is_said_leaves_the_margin(asked: str) -> None:
    """The percentage in the sentence is rounded down, by less than a tenth, and so is a margin that is said."""
    dearer = replace(PRICE, each=euros("11.03"), total=euros("110.30"))
    found = told(WhatIf(for_margin=asked), dearer).for_margin
    assert found is not None
    assert found.largest_discount is not None
    discount = Fraction(found.sentence.split("At most ")[1].split("%")[0]) / 100
    cut = Fraction("11.03") * (1 - discount)
    margin = told(WhatIf(at_price=Charge(amount=found.each.amount, currency="EUR")), dearer).at_price
    assert margin is not None
    said = Fraction(margin.sentence.split(", ")[1].split("%")[0]) / 100

    assert 1 - 5 / cut >= Fraction(asked)
    assert discount <= found.largest_discount < discount + Fraction(1, 1000)
    assert said <= margin.margin < said + Fraction(1, 1000)


def test_a_what_if_says_what_its_price_of_a_pair_includes() -> None:
    """The policy charges 10 EUR of set-up and 5 up to the minimum order beside the pairs; tax is not in a margin."""
    both = WhatIf(at_price=Charge(amount="4.84", currency="EUR"), for_margin="0.2")
    tax = PriceTax(net=euros("80.00"), tax=euros("16.80"), gross=euros("96.80"), rate="0.21", shown="gross")
    price = replace(PRICE, set_up=euros("10.00"), total=euros("96.80"), tax=tax)
    taxed, raised = told(both, price), told(both, replace(PRICE, set_up=euros("10.00"), to_minimum=euros("5.00")))
    free = told(both, replace(PRICE, set_up=euros("0.00")))
    assert taxed.at_price is not None
    assert taxed.for_margin is not None
    assert raised.for_margin is not None
    assert free.for_margin is not None

    assert (
        "A loss of 1.00 EUR a pair, 25.0% of the price without tax, with the set-up shared by all pairs."
        == taxed.at_price.sentence
    )
    assert (
        "From 7.57 EUR a pair on, with the set-up shared by all pairs, a share of 0.2 of the price without tax is "
        "margin. At most 21.7% can be taken off the price of the order."
    ) == taxed.for_margin.sentence
    assert raised.for_margin.sentence.startswith(
        "From 6.25 EUR a pair on, with the set-up and what is added to reach the minimum order shared by all pairs, a "
    )
    assert free.for_margin.sentence.startswith("From 6.25 EUR a pair on, a share of 0.2 of the price is margin.")


def test_a_question_not_asked_has_no_answer() -> None:
    """Nor has one part of it that is not."""
    assert what_ifs.answer(None, COST, PRICE, 10) is None
    only = told(outlay("100.00"))
    assert (None, None) == (only.at_price, only.for_margin)


def answered(book: Book, what_if: WhatIf) -> tuple[CostAnswer, WhatIfAnswer]:
    """Return the whole answer, and what it says to the question."""
    answer = estimate(book, replace(TEN, what_if=what_if))
    assert answer.what_if is not None
    return answer, answer.what_if


def sums(answer: CostAnswer) -> tuple[Fraction, Fraction, Fraction]:
    """Return price, cost and labour of all pairs."""
    assert answer.price is not None
    assert answer.cost is not None
    labour = sum(Fraction(line.amount.amount) for line in answer.cost.lines if line.what == "labour")
    return Fraction(answer.price.total.amount), Fraction(answer.cost.total.amount), Fraction(labour)


def test_a_press_is_paid_back_by_what_pairs_leave(book: Book) -> None:
    """The pairs are those that the price less the cost takes, and fewer where the owner's hours are not counted."""
    answer, said = answered(book, PRESS)
    price, cost, labour = sums(answer)
    found = said.break_even
    assert found is not None

    assert -(-1200 * 10 // (price - cost)) == found.pairs
    assert -(-1200 * 10 // (price - cost + labour)) == found.own_hours_pairs
    assert found.own_hours_pairs < found.pairs
    assert Fraction(found.contribution.amount) == pytest.approx((price - cost) / 10, abs=0.005)
    assert f"with pair {found.pairs}" in found.sentence
    assert (None, None) == (said.at_price, said.for_margin)


def test_a_price_below_the_cost_is_a_loss(book: Book) -> None:
    """Ten cents a pair pay for nothing, and the answer says what is lost."""
    answer, said = answered(book, WhatIf(at_price=Charge(amount="0.10", currency="EUR")))
    _, cost, _ = sums(answer)
    found = said.at_price
    assert found is not None

    assert found.margin == pytest.approx(float(1 - cost / 10 / Fraction("0.10")))
    assert found.sentence.startswith("A loss of ")
    assert found.profit.amount.startswith("-")


def test_a_margin_and_its_price_are_each_others_inverse(book: Book) -> None:
    """The margin at the price for a margin of 0.55 is 0.55 or a little more."""
    answer, said = answered(book, WhatIf(for_margin="0.55"))
    assert said.for_margin is not None
    each = said.for_margin.each
    _, again = answered(book, WhatIf(at_price=Charge(amount=each.amount, currency="EUR")))
    assert again.at_price is not None

    assert again.at_price.margin == said.for_margin.margin
    assert 0.55 <= said.for_margin.margin < 0.552
    assert Fraction(said.for_margin.total.amount) == 10 * Fraction(each.amount)
    assert answer.price is not None


def test_the_largest_discount_is_what_the_margins_price_gives_away(book: Book) -> None:
    """Asked for again as a price set by hand, the price for a margin is that much below the policy's."""
    answer, said = answered(book, WhatIf(for_margin="0.20"))
    assert said.for_margin is not None
    assert answer.price is not None
    each = said.for_margin.each
    _, again = answered(book, WhatIf(at_price=Charge(amount=each.amount, currency="EUR")))
    assert again.at_price is not None

    assert said.for_margin.largest_discount == pytest.approx(
        float(1 - 10 * Fraction(each.amount) / Fraction(answer.price.total.amount))
    )
    assert again.at_price.discount == said.for_margin.largest_discount
    _, more = answered(book, WhatIf(for_margin="0.99"))
    assert more.for_margin is not None
    assert more.for_margin.largest_discount is None


def test_with_tax_in_the_prices_margins_are_of_what_is_left_of_them(book: Book) -> None:
    """Of 12.10 with 21 % tax 10.00 are the shop's; profit, margin and the price for a margin count these alone."""
    counter = replace(book.policies["counter"], tax=Tax(rate="0.21", shown="gross"))
    taxed = replace(book, policies={**book.policies, "counter": counter})
    cost = sums(estimate(book, TEN))[1] / 10
    _, at = answered(taxed, WhatIf(at_price=Charge(amount="12.10", currency="EUR")))
    _, margin = answered(taxed, WhatIf(for_margin="0.50"))
    assert at.at_price is not None
    assert margin.for_margin is not None

    assert at.at_price.margin == pytest.approx(float(1 - cost / 10))
    assert Fraction(at.at_price.profit.amount) == pytest.approx(10 - cost, abs=0.005)
    assert Fraction(margin.for_margin.each.amount) == pytest.approx(2 * cost * Fraction("1.21"), abs=0.01)


def test_where_a_price_leaves_nothing_nothing_is_paid_back(book: Book) -> None:
    """A price list that sells below cost never pays a press back; not even with hours for nothing."""
    gift = replace(
        book.policies["letters"],
        per_placement=Charge(amount="0.01", currency="EUR"),
        floor_per_pair=Charge(amount="0.00", currency="EUR"),
    )
    answer = estimate(replace(book, policies={"letters": gift}), replace(TEN, policy="letters", what_if=PRESS))
    assert answer.what_if is not None
    found = answer.what_if.break_even
    assert found is not None

    assert (None, None) == (found.pairs, found.own_hours_pairs)
    assert found.sentence == "No number of pairs pays it back at this price."


def test_an_order_is_asked_the_same(book: Book) -> None:
    """As work by an order, with its pairs; declined, there is nothing to answer."""
    order = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
    clog = msgspec.json.decode((EXAMPLES / "clog.json").read_bytes(), type=Order)
    answer = estimate(book, OrderWork(order=order, what_if=PRESS))
    assert answer.what_if is not None

    assert answer.what_if.break_even is not None
    assert estimate(book, OrderWork(order=clog, what_if=PRESS)).what_if is None


def test_every_fault_of_a_question_is_told(book: Book) -> None:
    """Another currency, a price of nothing, a margin of everything; with those of the order beside."""
    order = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
    what_if = WhatIf(
        outlay=Charge(amount="1.00", currency="USD"), at_price=Charge(amount="0.00", currency="EUR"), for_margin="1.0"
    )
    with pytest.raises(RefusedError) as caught:
        estimate(book, OrderWork(order=replace(order, policy="no-such"), what_if=what_if))

    assert [
        "/what_if/outlay/currency",
        "/what_if/at_price/amount",
        "/what_if/for_margin",
        "/order/policy",
    ] == [fault.pointer for fault in caught.value.faults]


def test_a_sum_beyond_the_wire_is_refused(book: Book) -> None:
    """The dearest margin asks for a price of more than fifteen digits, and is told so."""
    with pytest.raises(RefusedError, match="fifteen digits"):
        estimate(book, replace(TEN, what_if=WhatIf(for_margin="0.999999999999"), pairs=10_000))


def test_a_question_that_asks_nothing_is_none() -> None:
    """One of the three is needed, on the wire as in code."""
    with pytest.raises(ValueError, match="at least"):
        WhatIf()
    with pytest.raises(msgspec.ValidationError, match="at least"):
        msgspec.convert({**msgspec.to_builtins(TEN), "what_if": {}}, CostRequest)
