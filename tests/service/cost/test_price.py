from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from featherline.wire.money import Charge
from featherline.wire.records import Ending, Policy, QuantityBreak
from featherline_service.cost.money import MoneyError, minor_step
from featherline_service.cost.price import Basis, Lot, Priced, charge, dearest_first

PLAIN = Policy(
    id="plain",
    name="Plain",
    currency="EUR",
    method="markup",
    share="0.50",
    setup=Charge(amount="0.00", currency="EUR"),
    floor_per_pair=Charge(amount="0.00", currency="EUR"),
    cites=(),
)


def euros(amount: str) -> Charge:
    """Return a charge in euros."""
    return Charge(amount=amount, currency="EUR")


def order(cost: Decimal, pairs: int, placements: int = 0, characters: int = 0) -> Basis:
    """Return the cost basis of an order."""
    lot = Lot(pairs=pairs, cost=Fraction(cost), placements=placements * pairs, characters=characters * pairs)
    return Basis(cost=cost, lots=(lot,))


def price(policy: Policy, cost: str, pairs: int = 1) -> Priced:
    """Return the price of an order whose cost does not depend on the number of pairs."""
    return charge(lambda size: order(Decimal(cost), size), pairs, policy)


def each_and_total(found: Priced) -> tuple[str, str]:
    """Return the price of a pair and the total, as text."""
    return str(found.each[0]), str(found.total)


def steps(found: Priced) -> list[tuple[str, str]]:
    """Return kind and amount of each step."""
    return [(step.what, step.amount.amount) for step in found.why]


def test_markup_is_a_share_of_the_cost() -> None:
    """Half of 4.01 on top is 6.015, to the even cent 6.02."""
    found = price(PLAIN, "4.01")

    assert [("cost", "4.01"), ("markup", "6.02")] == steps(found)
    assert ("6.02", "6.02") == each_and_total(found)


def test_margin_is_a_share_of_the_price() -> None:
    """A cost of 6.00 at a margin of 0.40 is sold at 10.00, and the reported margin is 0.40."""
    found = price(replace(PLAIN, method="margin", share="0.40"), "6.00")

    assert [("cost", "6.00"), ("margin", "10.00")] == steps(found)
    assert found.margin == pytest.approx(0.4)


def test_a_margin_of_one_is_refused() -> None:
    """A margin of 1 has no finite price."""
    with pytest.raises(MoneyError, match="below 1"):
        price(replace(PLAIN, method="margin", share="1"), "6.00")


def test_the_largest_break_reached_applies_and_set_up_is_not_discounted() -> None:
    """Twelve pairs at 100.00: 150.00, less a tenth 135.00, plus the whole set-up 150.00: 12.50 a pair."""
    breaks = (QuantityBreak(pairs=5, off="0.05"), QuantityBreak(pairs=12, off="0.10"))
    policy = replace(PLAIN, setup=euros("15.00"), breaks=(*breaks, QuantityBreak(pairs=24, off="0.5")))
    found = charge(lambda pairs: order(Decimal(100 if pairs == 12 else 1), pairs), 12, policy)

    assert [("cost", "100.00"), ("markup", "150.00"), ("break", "135.00"), ("setup", "150.00")] == steps(found)
    assert str(found.each[0]) == "12.50"


def test_the_floor_applies_to_a_pair() -> None:
    """Three pairs that cost 2.00 would sell at 3.00; the floor of 9.90 a pair makes it 29.70."""
    found = price(replace(PLAIN, floor_per_pair=euros("9.90")), "2.00", 3)

    assert ("floor", "29.70") == steps(found)[-1]
    assert str(found.each[0]) == "9.90"


@pytest.mark.parametrize(
    ("cost", "each"), [("6.60", "9.90"), ("6.61", "10.90"), ("0.01", "0.90"), ("6.0", "9.90"), ("7.26", "10.90")]
)
def test_an_ending_raises_the_price(cost: str, each: str) -> None:
    """With an ending of .90 a price that has it stays, and any other rises to the next."""
    policy = replace(PLAIN, ending=Ending(step=euros("1.00"), less=euros("0.10")))

    assert each == str(price(policy, cost).each[0])


def test_the_ending_applies_after_the_floor() -> None:
    """A floor of 10.00 with prices that end in .90 gives 10.90."""
    policy = replace(PLAIN, floor_per_pair=euros("10.00"), ending=Ending(step=euros("1.00"), less=euros("0.10")))

    assert "10.90" == str(price(policy, "1.00").each[0])


def test_a_price_that_does_not_divide_is_raised_to_the_cent() -> None:
    """10.00 for three pairs is 3.34 each and 10.02 in all, as the last step records."""
    found = price(replace(PLAIN, share="0"), "10.00", 3)

    assert ("3.34", "10.02", ("ending", "10.02")) == (str(found.each[0]), str(found.total), steps(found)[-1])


@pytest.mark.parametrize("ending", [("0.00", "0.00"), ("0.005", "0.00"), ("1.00", "0.001")])
def test_an_ending_finer_than_a_cent_is_refused(ending: tuple[str, str]) -> None:
    """A step of zero, or amounts in fractions of a cent, are refused."""
    with pytest.raises(MoneyError, match="whole minor units"):
        price(replace(PLAIN, ending=Ending(step=euros(ending[0]), less=euros(ending[1]))), "5.00")


def test_a_charge_in_another_currency_is_refused() -> None:
    """A floor in dollars is refused by a policy in euros."""
    with pytest.raises(MoneyError, match="USD"):
        price(replace(PLAIN, floor_per_pair=Charge(amount="9.90", currency="USD")), "5.00")


def test_a_break_above_one_is_refused() -> None:
    """A break takes off at most the whole price."""
    with pytest.raises(MoneyError, match="takes off more"):
        price(replace(PLAIN, breaks=(QuantityBreak(pairs=1, off="1.01"),)), "5.00")


HALF_OFF = replace(PLAIN, breaks=(QuantityBreak(pairs=10, off="0.50"),))


def per_pair(pairs: int) -> Basis:
    """Return the basis of an order that costs 1.00 a pair."""
    return order(Decimal(pairs), pairs)


def test_an_order_at_the_break_is_held_at_the_total_of_the_largest_order_short_of_it() -> None:
    """Nine pairs are 13.50 and ten at half price 7.50: held at 13.50, 1.35 each."""
    found = charge(per_pair, 10, HALF_OFF)

    assert ("hold", "13.50") == steps(found)[-1]
    assert ("1.35", "13.50", ()) == (str(found.each[0]), str(found.total), found.warnings)


def test_a_policy_may_allow_a_larger_order_to_be_cheaper_with_a_warning() -> None:
    """The same order under such a policy is 7.50 with a warning; nineteen pairs are dearer than nine, without one."""
    policy = replace(HALF_OFF, larger_may_be_cheaper=True)
    found = charge(per_pair, 10, policy)

    assert str(found.total) == "7.50"
    assert "cheaper in total than 9" in found.warnings[0]
    assert not [warning for warning in charge(per_pair, 19, policy).warnings if "cheaper" in warning]


SUMS = st.decimals(min_value=0, max_value=1000, places=3)
SHARES = st.decimals(min_value=0, max_value=Decimal("0.99"), places=4)


@st.composite
def policies(draw: st.DrawFn) -> Policy:
    """Draw a policy in one of four currencies with amounts in whole minor units."""
    currency = draw(st.sampled_from(["JPY", "EUR", "USD", "KWD"]))
    unit = minor_step(currency)

    def sums(least: int = 0) -> Charge:
        return Charge(amount=str(draw(st.integers(least, 5000)) * unit), currency=currency)

    breaks = draw(st.dictionaries(st.integers(1, 60), SHARES, max_size=3))
    return replace(
        PLAIN,
        currency=currency,
        method=draw(st.sampled_from(["markup", "margin", "list"])),
        share=f"{draw(SHARES):f}",
        per_placement=draw(st.none() | st.builds(sums)),
        per_character=draw(st.none() | st.builds(sums)),
        setup=sums(),
        rush=draw(st.none() | SHARES.map("{:f}".format)),
        rows=draw(st.sampled_from(["alike", "by-cost"])),
        floor_per_pair=sums(),
        breaks=tuple(QuantityBreak(pairs=pairs, off=f"{off:f}") for pairs, off in sorted(breaks.items())),
        ending=draw(st.none() | st.builds(lambda: Ending(step=sums(1), less=sums()))),
    )


ROWS = st.lists(
    st.tuples(st.integers(1, 9), st.integers(0, 5000), st.integers(1, 4), st.integers(0, 24)), min_size=1, max_size=6
)
"""Rows of a roster: pairs, their cost in minor units, placements and characters on a pair."""


def roster(rows: Sequence[tuple[int, int, int, int]], unit: Decimal, policy: Policy = PLAIN) -> Callable[[int], Basis]:
    """Return a function from a number of pairs to the basis of a roster's dearest pairs."""

    def of(pairs: int) -> Basis:
        everything = pairs == sum(row[0] for row in rows)
        return some(rows if everything else [rows[at] for at in dearest_first(some(rows, 10_000), policy)], pairs)

    def some(rows: Sequence[tuple[int, int, int, int]], pairs: int) -> Basis:
        lots, left = [], pairs
        for count, cost, placements, characters in rows:
            taken = min(count, left)
            left -= taken
            if taken:
                share = Fraction(cost * unit) * taken / count
                lots.append(Lot(pairs=taken, cost=share, placements=taken * placements, characters=taken * characters))
        total = sum((lot.cost for lot in lots), Fraction(0))
        return Basis(cost=Decimal(-(-total // Fraction(unit))) * unit, lots=tuple(lots))

    return of


@settings(max_examples=80)
@given(policies(), ROWS, st.booleans())
def test_the_rows_of_a_roster_sum_to_its_total(
    policy: Policy, rows: list[tuple[int, int, int, int]], rush: bool
) -> None:
    """The rows sum exactly to the total, each price is at or above the floor with the ending, as the last step says."""
    unit = minor_step(policy.currency)
    pairs = sum(row[0] for row in rows)
    found = charge(roster(rows, unit), pairs, policy, rush=rush, most_pairs=pairs)

    assert found.total == sum(found.totals)
    assert [each * row[0] for each, row in zip(found.each, rows, strict=True)] == list(found.totals)
    assert min(found.each) >= Decimal(policy.floor_per_pair.amount)
    assert found.total >= Decimal(found.why[-1].amount.amount) - unit
    if policy.ending is not None:
        step, less = Fraction(policy.ending.step.amount), Fraction(policy.ending.less.amount)
        assert all((Fraction(each) + less) % step == 0 for each in found.each)


@settings(max_examples=100)
@given(policies(), st.integers(1, 6), st.integers(0, 9999), st.booleans())
def test_a_roster_of_equal_rows_costs_what_the_order_does(policy: Policy, rows: int, cost: int, rush: bool) -> None:
    """Equal rows of one pair cost as much as an order of as many, up to the rounding of the order's steps."""
    unit = minor_step(policy.currency)
    policy = replace(policy, ending=None, breaks=())
    one = charge(lambda size: order(cost * rows * unit, size, 2, 7), rows, policy, rush=rush)
    many = charge(roster([(1, cost, 2, 7)] * rows, unit), rows, policy, rush=rush)

    assert len(set(many.each)) == 1
    assert abs(many.total - one.total) <= rows * 5 * unit


def test_rows_alike_differ_only_by_their_characters() -> None:
    """Rows that cost 1.00 and 3.00 at a markup of a half: 3.00 each, plus 4 and 8 letters at 0.25."""
    policy = replace(PLAIN, per_character=euros("0.25"))
    found = charge(roster([(1, 100, 1, 4), (1, 300, 1, 8)], Decimal("0.01")), 2, policy)

    assert ["4.00", "5.00"] == [str(each) for each in found.each]
    assert [("cost", "4.00"), ("markup", "6.00"), ("characters", "9.00")] == steps(found)


def test_rows_by_cost_are_priced_by_their_costs() -> None:
    """The same rows by cost: 1.50 and 4.50, plus half of a set-up of 2.00 each, plus a tenth for the rush."""
    policy = replace(PLAIN, rows="by-cost", setup=euros("2.00"), rush="0.10")
    found = charge(roster([(1, 100, 1, 4), (1, 300, 1, 8)], Decimal("0.01")), 2, policy, rush=True)

    assert ["2.75", "6.05"] == [str(each) for each in found.each]
    assert [("cost", "4.00"), ("markup", "6.00"), ("setup", "8.00"), ("rush", "8.80")] == steps(found)


def test_rows_below_the_floor_are_raised_and_the_others_stay() -> None:
    """Rows of 1.50 and 4.50 over a floor of 3.00 are 3.00 and 4.50."""
    policy = replace(PLAIN, rows="by-cost", floor_per_pair=euros("3.00"))
    found = charge(roster([(1, 100, 1, 4), (1, 300, 1, 8)], Decimal("0.01")), 2, policy)

    assert ["3.00", "4.50"] == [str(each) for each in found.each]


@settings(max_examples=60)
@given(policies(), ROWS.filter(lambda rows: len(rows) > 1), st.data())
def test_another_row_never_makes_a_roster_cheaper(
    policy: Policy, rows: list[tuple[int, int, int, int]], data: st.DataObject
) -> None:
    """Without any one row the rest costs no more, up to one minor unit a pair of rounding."""
    unit = minor_step(policy.currency)
    left_out = data.draw(st.integers(0, len(rows) - 1))
    rest = [row for at, row in enumerate(rows) if at != left_out]
    pairs, fewer = sum(row[0] for row in rows), sum(row[0] for row in rest)
    policy = replace(policy, ending=None)
    whole = charge(roster(rows, unit, policy), pairs, policy, most_pairs=pairs)
    part = charge(roster(rest, unit, policy), fewer, policy, most_pairs=fewer)

    assert whole.total + fewer * unit >= part.total


def test_a_list_price_does_not_depend_on_the_cost() -> None:
    """Two artworks at 4.00 and seven letters at 0.50 are 11.50, with a warning as the cost is 20.00."""
    policy = replace(PLAIN, method="list", share="0", per_placement=euros("4.00"), per_character=euros("0.50"))
    found = charge(lambda size: order(Decimal("20.00"), size, 2, 7), 1, policy)

    assert [("cost", "20.00"), ("list", "0.00"), ("placements", "8.00"), ("characters", "11.50")] == steps(found)
    assert ("The price is below what the work costs the shop",) == found.warnings
    assert found.margin == pytest.approx((11.5 - 20) / 11.5)


def test_charges_for_letters_and_artworks_are_discounted_by_the_break() -> None:
    """Ten pairs at 10.00: 15.00, with 20 artworks at 0.50 and 40 letters at 0.10 29.00, less half 14.50."""
    policy = replace(HALF_OFF, per_placement=euros("0.50"), per_character=euros("0.10"), larger_may_be_cheaper=True)
    found = charge(lambda size: order(Decimal(size), size, 2, 4), 10, policy)

    assert [
        ("cost", "10.00"),
        ("markup", "15.00"),
        ("placements", "25.00"),
        ("characters", "29.00"),
        ("break", "14.50"),
    ] == steps(found)


def test_a_warning_names_a_cheaper_larger_order() -> None:
    """Nine pairs are 13.50 and ten at half price 7.50; the warning says so where the policy allows it."""
    found = charge(per_pair, 9, replace(HALF_OFF, larger_may_be_cheaper=True))

    assert ("10 pairs would be cheaper in total: 7.50 EUR",) == found.warnings
    assert () == charge(per_pair, 9, HALF_OFF).warnings


@settings(max_examples=100)
@given(policies(), st.integers(0, 10**6), st.integers(0, 10**6), st.integers(1, 100))
def test_a_price_never_falls_when_the_cost_rises(policy: Policy, cost: int, rise: int, pairs: int) -> None:
    """Under any policy a higher cost never gives a lower total."""
    unit = minor_step(policy.currency)
    lower = charge(lambda size: order(cost * unit, size), pairs, policy)
    higher = charge(lambda size: order((cost + rise) * unit, size), pairs, policy)

    assert higher.total >= lower.total


@settings(max_examples=100)
@given(policies(), st.integers(0, 10**6), st.integers(1, 100))
def test_the_total_is_pairs_times_the_price_of_a_pair(policy: Policy, cost: int, pairs: int) -> None:
    """The total is exact, at or above the floor, has the ending, and is the amount of the last step."""
    unit = minor_step(policy.currency)
    found = charge(lambda size: order(cost * unit, size), pairs, policy)
    each = Fraction(found.each[0])

    assert Fraction(found.total) == each * pairs
    assert each >= Fraction(policy.floor_per_pair.amount)
    assert found.why[-1].amount.amount == str(found.total)
    if policy.ending is not None:
        assert (each + Fraction(policy.ending.less.amount)) % Fraction(policy.ending.step.amount) == 0


@settings(max_examples=40)
@given(policies(), st.integers(1, 500), st.integers(0, 5000))
def test_a_quantity_break_never_makes_a_larger_order_cheaper(policy: Policy, pair: int, setup: int) -> None:
    """No order at or above a break is cheaper in total than the largest order short of it."""
    unit = minor_step(policy.currency)
    totals = [
        charge(lambda pairs: order((setup + pair * pairs) * unit, pairs), pairs, policy).total for pairs in range(1, 62)
    ]
    for one in policy.breaks:
        if one.pairs > 1:
            assert min(totals[one.pairs - 1 :]) >= totals[one.pairs - 2]


def test_without_breaks_or_endings_more_pairs_are_never_cheaper() -> None:
    """Without breaks and endings the total rises with every pair."""
    totals = [charge(per_pair, pairs, PLAIN).total for pairs in range(1, 100)]

    assert all(less <= more for less, more in pairwise(totals))
