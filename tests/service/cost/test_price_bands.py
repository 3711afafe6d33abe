from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import msgspec
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from random_policies import policies

from featherline.wire.money import Charge
from featherline.wire.records import Ending, Policy, QuantityBreak, Tax
from featherline_service.book.loader import load
from featherline_service.cost.money import MoneyError, minor_step
from featherline_service.cost.order_risk import OrderRates
from featherline_service.cost.price_bands import (
    BAND_COUNTS,
    PairKind,
    PriceList,
    RowPrices,
    band_counts,
    policy_faults,
    price_list,
    price_rows,
)

MOST_PAIRS = 130


def euros(amount: str) -> Charge:
    """Return a charge in euros."""
    return Charge(amount=amount, currency="EUR")


PLAIN = Policy(
    id="plain",
    name="Plain",
    currency="EUR",
    method="markup",
    share="0.50",
    setup=euros("0.00"),
    floor_per_pair=euros("0.00"),
    breaks=(QuantityBreak(pairs=10, off="0.10"),),
    cites=(),
)


def order(policy: Policy, cost: str, *, rush: bool = False, kind: PairKind | None = None) -> PriceList:
    """Return the price list of an order in which a pair always costs the same."""
    return price_list(lambda _: [Fraction(cost)], [kind or PairKind()], policy, most_pairs=MOST_PAIRS, rush=rush)


def prices(found: PriceList) -> list[tuple[int, str]]:
    """Return first count and price of the first kind of each band."""
    return [(band.first_pairs, str(band.prices[0])) for band in found.bands]


def steps(found: PriceList, band: int = 0) -> list[tuple[str, str]]:
    """Return kind and price of each step of a band."""
    return [(step.what, str(step.price)) for step in found.bands[band].steps[0]]


def test_bands_begin_at_the_breaks() -> None:
    """A policy with a break at 10 has the bands 1 and 10, one without breaks the usual counts."""
    assert (1, 10) == band_counts(PLAIN)
    assert BAND_COUNTS == band_counts(replace(PLAIN, breaks=()))
    assert (1, 2, 5, 10) == band_counts(PLAIN, below_first_break=True)


def test_markup_break_and_hold_by_hand() -> None:
    """4.01 at a markup of a half is 6.02; ten pairs at a tenth off 5.42 cost 54.20, more than nine at 54.18."""
    found = order(PLAIN, "4.01")

    assert [(1, "6.02"), (10, "5.42")] == prices(found)
    assert [("cost", "4.01"), ("markup", "6.02"), ("break", "5.42")] == steps(found, 1)


def test_a_break_larger_than_one_pair_is_held() -> None:
    """At half off ten pairs at 3.01 would cost 30.10: they are held at 5.42, where nine cost 54.18 and ten 54.20."""
    found = order(replace(PLAIN, breaks=(QuantityBreak(pairs=10, off="0.50"),)), "4.01")

    assert ("hold", "5.42") == steps(found, 1)[-1]


def test_a_margin_is_a_share_of_the_price() -> None:
    """A cost of 6.00 at a margin of 0.40 is sold at 10.00, and the reported margin is 0.40."""
    found = order(replace(PLAIN, method="margin", share="0.40"), "6.00")

    assert (1, "10.00") == prices(found)[0]
    assert pytest.approx(0.4) == price_rows(found, [3], Decimal("18.00")).margin


def test_a_list_price_leaves_the_cost_out() -> None:
    """Two artworks at 2.50 and seven letters at 0.40 are 7.80, whatever the cost; below it, a warning says so."""
    policy = replace(PLAIN, method="list", share="0", per_placement=euros("2.50"), per_character=euros("0.40"))
    found = order(policy, "20.00", kind=PairKind(placements=2, characters=7))

    assert (1, "7.80") == prices(found)[0]
    assert found.bands[0].below_cost
    assert price_rows(found, [1], Decimal("20.00")).below_cost


def test_set_up_is_a_line_of_its_own() -> None:
    """Three pairs at 6.02 and a set-up of 15.00 are 33.06; a rush of a quarter raises both."""
    policy = replace(PLAIN, setup=euros("15.00"), rush="0.25")
    plain = price_rows(order(policy, "4.01"), [3], Decimal("12.03"))
    rush = price_rows(order(policy, "4.01", rush=True), [3], Decimal("12.03"))

    assert (Decimal("18.06"), Decimal("15.00"), Decimal("33.06")) == (plain.totals[0], plain.set_up, plain.total)
    # 6.02 x 1.25 = 7.525, half-even 7.52; 15.00 x 1.25 = 18.75.
    assert (Decimal("22.56"), Decimal("18.75"), Decimal("41.31")) == (rush.totals[0], rush.set_up, rush.total)


def test_the_price_never_rises_with_the_cost_of_a_larger_run() -> None:
    """Where a pair of a larger run costs more, its price stays, and the price list says that it is below cost."""
    found = price_list(lambda pairs: [Fraction(4 if pairs < 10 else 40)], [PairKind()], PLAIN, most_pairs=MOST_PAIRS)

    assert ["6.00", "6.00"] == [price for _, price in prices(found)]
    assert ("band", "6.00") == steps(found, 1)[-1]
    assert [False, True] == [band.below_cost for band in found.bands]


@pytest.mark.parametrize(
    ("policy", "why"),
    [
        (replace(PLAIN, ending=Ending(step=euros("5.00"), less=euros("0.05"))), ("ending", "5.00", "0.00")),
        (replace(PLAIN, floor_per_pair=euros("9.90")), ("floor", None, "9.90")),
        (
            replace(
                PLAIN,
                share="1",
                breaks=(QuantityBreak(pairs=10, off="0.15"),),
                ending=Ending(step=euros("1.00"), less=euros("0.05")),
            ),
            ("hold", "1.00", "0.00"),
        ),
    ],
)
def test_a_break_that_lowers_no_price_is_named(policy: Policy, why: tuple[str, str | None, str]) -> None:
    """It says whether the ending, the floor, or the law of the total hides the break.

    At a markup of 1 a pair is 7.95, and 6.95 with the break; ten pairs at 6.95 are cheaper than nine at 7.95.
    """
    found = order(policy, "3.90")

    hidden = found.bands[1].hidden_break
    assert hidden is not None
    assert (10, why) == (hidden.pairs, (hidden.why, hidden.step and str(hidden.step), str(hidden.floor)))
    assert 1 == len(found.printed)
    assert None is order(PLAIN, "3.90").bands[1].hidden_break


@pytest.mark.parametrize(
    ("ending", "currency"),
    [(("0.005", "0.00"), "EUR"), (("1.00", "0.001"), "EUR"), (("0.00", "0.00"), "EUR"), (("1.00", "0.10"), "JPY")],
)
def test_an_ending_finer_than_the_minor_unit_is_a_fault(ending: tuple[str, str], currency: str) -> None:
    """The check names the ending in a sentence, and no price list is made."""
    step, less = (Charge(amount=amount, currency=currency) for amount in ending)
    none = Charge(amount="0", currency=currency)
    policy = replace(PLAIN, currency=currency, setup=none, floor_per_pair=none, ending=Ending(step=step, less=less))

    assert [f"whole minor units of {currency}" in fault for fault in policy_faults(policy)] == [True]
    with pytest.raises(MoneyError, match="whole minor units"):
        order(policy, "4.00")


@pytest.mark.parametrize(
    ("policy", "says"),
    [
        (replace(PLAIN, method="margin", share="1"), "below 1"),
        (replace(PLAIN, breaks=(QuantityBreak(pairs=5, off="1.01"),)), "more off"),
        (replace(PLAIN, breaks=(QuantityBreak(pairs=5, off="0.1"), QuantityBreak(pairs=5, off="0.2"))), "two quantity"),
        (replace(PLAIN, floor_per_pair=Charge(amount="1.00", currency="USD")), "USD"),
        (replace(PLAIN, currency="XAU"), "minor unit"),
    ],
)
def test_policies_that_cannot_price_are_named(policy: Policy, says: str) -> None:
    """Each fault is one sentence."""
    faults = policy_faults(policy)

    assert 1 == len(faults)
    assert says in faults[0]


def test_the_demo_book_has_no_faults() -> None:
    """All policies of the demo book can price."""
    assert [()] * len(load().policies) == [policy_faults(policy) for policy in load().policies.values()]


# The law, over drawn policies and costs.

COSTS = st.tuples(st.integers(0, 20_000), st.integers(0, 5000), st.integers(0, 3000), st.integers(1, 30))
"""Fixed cost of a run, cost of a pair, a jump of the cost of a run, and at how many pairs it jumps [minor units]."""


def cost_functions(drawn: Sequence[tuple[int, int, int, int]], unit: Decimal) -> Callable[[int], list[Fraction]]:
    """Return the cost of a pair of each kind in a run: not monotone where the jumps are large."""

    def costs_at(pairs: int) -> list[Fraction]:
        return [
            Fraction(fixed + pair * pairs + jump * (pairs // every) ** 2) * Fraction(unit) / pairs
            for fixed, pair, jump, every in drawn
        ]

    return costs_at


def check_sum(found: RowPrices, pairs: Sequence[int]) -> None:
    """Check that prices times pairs are the totals; totals, set-up and what reaches the minimum are the total."""
    assert [price * count for price, count in zip(found.prices, pairs, strict=True)] == list(found.totals)
    assert found.total == sum(found.totals) + found.set_up + found.to_minimum


COUNTS = st.none() | st.sets(st.integers(2, 60), max_size=12).map(lambda counts: sorted({1} | counts))
"""First counts of bands: those of the policy, or any."""


@settings(max_examples=drawn(150))
@given(policies(), COSTS, st.integers(0, 4), st.integers(0, 24), st.booleans(), COUNTS)
def test_another_pair_never_lowers_the_total_nor_raises_the_price(  # noqa: PLR0917 - all that is drawn
    policy: Policy,
    cost: tuple[int, int, int, int],
    placements: int,
    characters: int,
    rush: bool,
    counts: list[int] | None,
) -> None:
    """For every policy, cost function and bands, from one pair to 130; prices keep floor, ending and minor unit."""
    unit = minor_step(policy.currency)
    kind = PairKind(placements=placements, characters=characters)
    costs = cost_functions([cost], unit)
    listed = price_list(costs, [kind], policy, most_pairs=MOST_PAIRS, rush=rush, counts=counts)
    found = [price_rows(listed, [pairs], Decimal(0)) for pairs in range(1, MOST_PAIRS + 1)]

    for fewer, more in pairwise(found):
        assert fewer.total <= more.total
        assert fewer.prices[0] >= more.prices[0]
    for pairs, priced in enumerate(found, start=1):
        check_sum(priced, [pairs])
        assert priced.prices[0] % unit == 0
        assert priced.prices[0] >= Decimal(policy.floor_per_pair.amount)
        if policy.ending is not None:
            ended = priced.prices[0] + Decimal(policy.ending.less.amount)
            assert ended % Decimal(policy.ending.step.amount) == 0
    for band in listed.bands:
        assert band.prices[0] == band.steps[0][-1].price


KINDS = st.lists(st.tuples(COSTS, st.integers(0, 4), st.integers(0, 24)), min_size=1, max_size=4)


@settings(max_examples=drawn(150))
@given(policies(), KINDS, st.lists(st.integers(0, 3), min_size=1, max_size=60), st.booleans())
def test_another_row_never_lowers_a_rosters_total(
    policy: Policy, drawn: list[tuple[tuple[int, int, int, int], int, int]], added: list[int], rush: bool
) -> None:
    """Rows added in any order: a repeated row neither lowers the total nor raises a price.

    With rows priced by cost, a new row does not lower the total either.
    """
    unit = minor_step(policy.currency)
    counts: dict[int, int] = {}
    before: tuple[Decimal, dict[int, Decimal]] | None = None
    for index in added:
        new = index % len(drawn)
        repeated = new in counts
        counts[new] = counts.get(new, 0) + 1
        there = sorted(counts)
        listed = price_list(
            cost_functions([drawn[kind][0] for kind in there], unit),
            [PairKind(placements=drawn[kind][1], characters=drawn[kind][2]) for kind in there],
            policy,
            most_pairs=MOST_PAIRS,
            rush=rush,
        )
        pairs = [counts[kind] for kind in there]
        found = price_rows(listed, pairs, Decimal(0))
        check_sum(found, pairs)
        now = dict(zip(there, found.prices, strict=True))
        if before is not None:
            if repeated or policy.rows == "by-cost":
                assert found.total >= before[0]
            if repeated:
                assert all(now[kind] <= price for kind, price in before[1].items())
        before = found.total, now


@settings(max_examples=drawn(60))
@given(policies(), COSTS, st.integers(0, 5000), st.booleans())
def test_no_price_of_an_order_falls_when_its_cost_rises(
    policy: Policy, cost: tuple[int, int, int, int], rise: int, rush: bool
) -> None:
    """With a higher fixed cost no price of any band is lower; nor is it for a rush."""
    unit = minor_step(policy.currency)
    dearer = (cost[0] + rise, *cost[1:])
    low = price_list(cost_functions([cost], unit), [PairKind()], policy, most_pairs=MOST_PAIRS, rush=rush)
    high = price_list(cost_functions([dearer], unit), [PairKind()], policy, most_pairs=MOST_PAIRS, rush=rush)
    hurried = price_list(cost_functions([cost], unit), [PairKind()], policy, most_pairs=MOST_PAIRS, rush=True)

    for cheap, dear, fast in zip(low.bands, high.bands, hurried.bands, strict=True):
        assert cheap.prices[0] <= dear.prices[0]
        assert cheap.prices[0] <= fast.prices[0]


def test_equal_rows_cost_what_an_order_does() -> None:
    """A roster of rows of the same content has the prices and the total of an order of as many pairs."""
    policy = load().policies["club"]
    costs = cost_functions([(900, 610, 0, 1)], Decimal("0.01"))
    one = price_list(costs, [PairKind(characters=5)], policy, most_pairs=60)
    many = price_list(lambda pairs: costs(pairs) * 3, [PairKind(characters=5)] * 3, policy, most_pairs=60)

    assert price_rows(one, [30], Decimal(200)).total == price_rows(many, [5, 10, 15], Decimal(200)).total


@pytest.mark.parametrize("policy", load().policies.values(), ids=lambda policy: policy.id)
@pytest.mark.parametrize(("fixed", "pair"), [(150, 420), (400, 560), (950, 700), (2000, 1250)])
def test_five_hundred_pairs_under_each_demo_policy(policy: Policy, fixed: int, pair: int) -> None:
    """Costs of an order from 1.50 + 4.20 n to 20.00 + 12.50 n, n from 1 to 500: the law holds at every step."""
    listed = price_list(
        cost_functions([(fixed, pair, 0, 1)], Decimal("0.01")),
        [PairKind(placements=2, characters=10)],
        policy,
        most_pairs=500,
    )
    found = [price_rows(listed, [pairs], Decimal(0)) for pairs in range(1, 501)]

    assert all(fewer.total <= more.total for fewer, more in pairwise(found))
    assert all(fewer.prices[0] >= more.prices[0] for fewer, more in pairwise(found))
    assert [band.first_pairs for band in listed.bands] == list(band_counts(policy))


def test_numbers_outside_the_list_are_refused() -> None:
    """A price list for 130 pairs has no price for 0 or 131, and a list without kinds is none."""
    listed = order(PLAIN, "4.00")
    for pairs in (0, MOST_PAIRS + 1):
        with pytest.raises(ValueError, match="1 to 130"):
            price_rows(listed, [pairs], Decimal(0))
    with pytest.raises(ValueError, match="at least one kind"):
        price_list(lambda _: [], [], PLAIN, most_pairs=5)
    for counts in ([], [2, 5], [1, 5, 5], [1, 5, 2]):
        with pytest.raises(ValueError, match="increasing counts"):
            price_list(lambda _: [Fraction(4)], [PairKind()], PLAIN, most_pairs=5, counts=counts)


def test_amounts_beyond_fifteen_digits_are_refused() -> None:
    """A price or a total of sixteen digits raises."""
    with pytest.raises(MoneyError, match="fifteen digits"):
        order(PLAIN, "1000000000000000")
    with pytest.raises(MoneyError, match="fifteen digits"):
        price_rows(order(PLAIN, "66000000000000"), [100], Decimal(0))


def test_a_minimum_order_by_hand() -> None:
    """Pairs of 6.00 and 1.00 for setting up: one pair is raised by 8.00 to 15.00, three cost 19.00 by themselves."""
    policy = replace(PLAIN, setup=euros("1.00"), minimum_order=euros("15.00"))
    listed = order(policy, "4.00")
    one, three = (price_rows(listed, [pairs], Decimal("4.00") * pairs) for pairs in (1, 3))

    assert ["6.00", "8.00", "15.00"] == [str(sum_) for sum_ in (one.prices[0], one.to_minimum, one.total)]
    assert ["6.00", "0.00", "19.00"] == [str(sum_) for sum_ in (three.prices[0], three.to_minimum, three.total)]
    assert pytest.approx(11 / 15) == one.margin


@pytest.mark.parametrize(("shown", "gross"), [("net", "18.15"), ("gross", "15.00")])
def test_the_minimum_order_is_as_prices_are_shown(shown: str, gross: str) -> None:
    """At 21 % a least total of 15.00 without tax is paid with 18.15; with tax, with 15.00."""
    tax = msgspec.convert({"rate": "0.21", "shown": shown, "level": "line"}, Tax)
    found = price_rows(order(replace(PLAIN, tax=tax, minimum_order=euros("15.00")), "4.00"), [1], Decimal(0))
    assert found.tax is not None

    assert "15.00" == str(found.total)
    assert gross == str(found.tax.total.gross)
    assert 2 == len(found.tax.lines)


def test_what_an_order_costs_once_is_charged_once() -> None:
    """4.20 of post at a markup of half is 6.30 for one pair and for fifty, beside 1.00 for setting up."""
    policy = replace(PLAIN, setup=euros("1.00"))
    listed = price_list(
        lambda _: [Fraction(4)], [PairKind()], policy, most_pairs=MOST_PAIRS, order_cost=Decimal("4.20")
    )

    assert ("6.30", "7.30") == (str(listed.order_charge), str(listed.set_up))
    assert {Decimal("7.30")} == {price_rows(listed, [pairs], Decimal(0)).set_up for pairs in (1, 50)}


@pytest.mark.parametrize(
    ("method", "share", "shown", "charge"),
    [("margin", "0.40", "net", "7.00"), ("margin", "0.40", "gross", "8.47"), ("list", "0", "net", "0.00")],
)
def test_order_costs_are_priced_by_the_policys_method(method: str, share: str, shown: str, charge: str) -> None:
    """4.20 are three fifths of 7.00, which is 8.47 with 21 % of tax; a price list leaves costs out."""
    tax = msgspec.convert({"rate": "0.21", "shown": shown}, Tax)
    policy = msgspec.convert({**msgspec.to_builtins(PLAIN), "method": method, "share": share}, Policy)
    listed = price_list(
        lambda _: [Fraction(4)], [PairKind()], replace(policy, tax=tax), most_pairs=1, order_cost=Decimal("4.20")
    )

    assert charge == str(listed.order_charge)


def test_a_card_fee_is_of_what_is_paid_with_tax() -> None:
    """Ten pairs at 5.40, 21 % of tax: of 65.34 paid 1 % is 0.65, and 0.30; 13.05 of 54.00 are left of a cost of 40."""
    tax = msgspec.convert({"rate": "0.21", "shown": "net"}, Tax)
    card = OrderRates(card_share=Decimal("0.01"), card_fixed=Decimal("0.30"))
    listed = price_list(
        lambda _: [Fraction(4)], [PairKind()], replace(PLAIN, tax=tax), most_pairs=MOST_PAIRS, card=card
    )
    found = price_rows(listed, [10], Decimal("40.00"))

    assert ["0.65", "0.30"] == [str(line.amount) for line in found.card]
    assert pytest.approx(13.05 / 54) == found.margin


def test_a_card_fee_may_leave_less_than_the_cost() -> None:
    """At a markup of half 2.00 are left of a pair at 6.00; a fee of 2.50 takes more, and of fewer pairs only."""
    listed = price_list(
        lambda _: [Fraction(4)],
        [PairKind()],
        PLAIN,
        most_pairs=MOST_PAIRS,
        card=OrderRates(card_fixed=Decimal("2.50")),
    )

    assert [True, False] == [band.below_cost for band in listed.bands]
    assert price_rows(listed, [1], Decimal("4.00")).below_cost
    assert not price_rows(listed, [10], Decimal("40.00")).below_cost


@settings(max_examples=drawn(100))
@given(policies(), KINDS, st.integers(0, 3000), st.lists(st.integers(1, 9), min_size=4, max_size=4))
def test_the_law_holds_with_a_minimum_order_and_order_costs(
    policy: Policy, drawn: list[tuple[tuple[int, int, int, int], int, int]], once: int, pairs: list[int]
) -> None:
    """When a row is repeated the total does not fall, and neither a price nor what a pair comes to in all rises."""
    unit = minor_step(policy.currency)
    listed = price_list(
        cost_functions([kind[0] for kind in drawn], unit),
        [PairKind(placements=placements, characters=characters) for _, placements, characters in drawn],
        policy,
        most_pairs=MOST_PAIRS,
        order_cost=once * unit,
    )
    counts = pairs[: len(drawn)]
    fewer = price_rows(listed, counts, Decimal(0))
    for _ in range(12):
        counts[0] += 1
        more = price_rows(listed, counts, Decimal(0))
        check_sum(more, counts)
        assert Decimal("0" if policy.minimum_order is None else policy.minimum_order.amount) <= more.total
        assert fewer.total <= more.total
        assert all(after <= before for after, before in zip(more.prices, fewer.prices, strict=True))
        if len(drawn) == 1:
            assert more.total * (counts[0] - 1) <= fewer.total * counts[0]
        fewer = more
