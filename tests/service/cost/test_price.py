from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from featherline.wire.costs import Price
from featherline.wire.money import Charge
from featherline.wire.records import Ending, Policy, QuantityBreak
from featherline_service.cost.money import MoneyError, minor_step
from featherline_service.cost.price import charge

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


def price(policy: Policy, cost: str, pairs: int = 1) -> Price:
    """Price an order of which every size costs the same."""
    return charge(lambda _: Decimal(cost), pairs, policy)


def steps(found: Price) -> list[tuple[str, str]]:
    """Return what each step was for, and the price after it."""
    return [(step.what, step.amount.amount) for step in found.why]


def test_markup_is_a_share_of_the_cost() -> None:
    """Half of 4.01 on top is 6.015, to the even cent 6.02."""
    found = price(PLAIN, "4.01")

    assert [("cost", "4.01"), ("markup", "6.02")] == steps(found)
    assert ("6.02", "6.02") == (found.each.amount, found.total.amount)


def test_margin_is_a_share_of_the_price() -> None:
    """Of 10.00 a share of 0.40 is margin when the cost is 6.00; and that is the margin reported."""
    found = price(replace(PLAIN, method="margin", share="0.40"), "6.00")

    assert [("cost", "6.00"), ("margin", "10.00")] == steps(found)
    assert found.margin == pytest.approx(0.4)


def test_a_margin_of_everything_is_refused() -> None:
    """No price has its whole self as margin."""
    with pytest.raises(MoneyError, match="below 1"):
        price(replace(PLAIN, method="margin", share="1"), "6.00")


def test_the_break_reached_last_comes_off_and_setting_up_does_not() -> None:
    """Twelve pairs at 100.00: 150.00, a tenth off is 135.00, setting up 15.00 in full: 150.00, 12.50 each."""
    breaks = (QuantityBreak(pairs=5, off="0.05"), QuantityBreak(pairs=12, off="0.10"))
    policy = replace(PLAIN, setup=euros("15.00"), breaks=(*breaks, QuantityBreak(pairs=24, off="0.5")))
    found = charge(lambda pairs: Decimal(100) if pairs == 12 else Decimal(1), 12, policy)

    assert [("cost", "100.00"), ("markup", "150.00"), ("break", "135.00"), ("setup", "150.00")] == steps(found)
    assert found.each.amount == "12.50"


def test_the_floor_holds_per_pair() -> None:
    """Three pairs at 2.00 in all would be 3.00; the floor of 9.90 a pair makes it 29.70."""
    found = price(replace(PLAIN, floor_per_pair=euros("9.90")), "2.00", 3)

    assert ("floor", "29.70") == steps(found)[-1]
    assert found.each.amount == "9.90"


@pytest.mark.parametrize(
    ("cost", "each"), [("6.60", "9.90"), ("6.61", "10.90"), ("0.01", "0.90"), ("6.0", "9.90"), ("7.26", "10.90")]
)
def test_an_ending_is_reached_from_below(cost: str, each: str) -> None:
    """Prices end in .90: a price that has it stays, any other goes up."""
    policy = replace(PLAIN, ending=Ending(step=euros("1.00"), less=euros("0.10")))

    assert each == price(policy, cost).each.amount


def test_an_ending_never_undoes_the_floor() -> None:
    """A floor of 10.00 with prices that end in .90 gives 10.90."""
    policy = replace(PLAIN, floor_per_pair=euros("10.00"), ending=Ending(step=euros("1.00"), less=euros("0.10")))

    assert price(policy, "1.00").each.amount == "10.90"


def test_a_price_that_does_not_divide_is_raised_to_the_cent() -> None:
    """10.00 for three pairs is 3.34 each and 10.02 in all, and the last step says so."""
    found = price(replace(PLAIN, share="0"), "10.00", 3)

    assert ("3.34", "10.02", ("ending", "10.02")) == (found.each.amount, found.total.amount, steps(found)[-1])


@pytest.mark.parametrize("ending", [("0.00", "0.00"), ("0.005", "0.00"), ("1.00", "0.001")])
def test_an_ending_in_no_whole_cents_is_refused(ending: tuple[str, str]) -> None:
    """A step of nothing, or parts of a cent, end no price."""
    with pytest.raises(MoneyError, match="whole minor units"):
        price(replace(PLAIN, ending=Ending(step=euros(ending[0]), less=euros(ending[1]))), "5.00")


def test_a_charge_in_another_currency_is_refused() -> None:
    """A floor in dollars is no floor for euros."""
    with pytest.raises(MoneyError, match="USD"):
        price(replace(PLAIN, floor_per_pair=Charge(amount="9.90", currency="USD")), "5.00")


def test_more_off_than_everything_is_refused() -> None:
    """A break may give all away, and no more."""
    with pytest.raises(MoneyError, match="more off"):
        price(replace(PLAIN, breaks=(QuantityBreak(pairs=1, off="1.01"),)), "5.00")


HALF_OFF = replace(PLAIN, breaks=(QuantityBreak(pairs=10, off="0.50"),))


def per_pair(pairs: int) -> Decimal:
    """Return a cost of one a pair."""
    return Decimal(pairs)


def test_a_larger_order_is_held_at_the_price_of_the_one_that_misses_the_break() -> None:
    """Nine pairs are 13.50, ten with half off would be 7.50: held at 13.50, 1.35 each."""
    found = charge(per_pair, 10, HALF_OFF)

    assert ("hold", "13.50") == steps(found)[-1]
    assert ("1.35", "13.50", ()) == (found.each.amount, found.total.amount, found.warnings)


def test_a_policy_may_let_a_larger_order_be_cheaper_and_the_answer_warns() -> None:
    """The same order under a policy that says so is 7.50, with a warning; nineteen pairs are dearer than nine again."""
    policy = replace(HALF_OFF, larger_may_be_cheaper=True)
    found = charge(per_pair, 10, policy)

    assert found.total.amount == "7.50"
    assert "cheaper in total than 9" in found.warnings[0]
    assert () == charge(per_pair, 19, policy).warnings


SUMS = st.decimals(min_value=0, max_value=1000, places=3)
SHARES = st.decimals(min_value=0, max_value=Decimal("0.99"), places=4)


@st.composite
def policies(draw: st.DrawFn) -> Policy:
    """Draw a policy in one of four currencies, its sums in whole minor units."""
    currency = draw(st.sampled_from(["JPY", "EUR", "USD", "KWD"]))
    unit = minor_step(currency)

    def sums(least: int = 0) -> Charge:
        return Charge(amount=str(draw(st.integers(least, 5000)) * unit), currency=currency)

    breaks = draw(st.dictionaries(st.integers(1, 60), SHARES, max_size=3))
    return replace(
        PLAIN,
        currency=currency,
        method=draw(st.sampled_from(["markup", "margin"])),
        share=f"{draw(SHARES):f}",
        setup=sums(),
        floor_per_pair=sums(),
        breaks=tuple(QuantityBreak(pairs=pairs, off=f"{off:f}") for pairs, off in sorted(breaks.items())),
        ending=draw(st.none() | st.builds(lambda: Ending(step=sums(1), less=sums()))),
    )


@settings(max_examples=300)
@given(policies(), st.integers(0, 10**6), st.integers(0, 10**6), st.integers(1, 100))
def test_a_price_never_falls_when_the_cost_rises(policy: Policy, cost: int, rise: int, pairs: int) -> None:
    """Under any policy, dearer work is not sold for less."""
    unit = minor_step(policy.currency)
    lower = charge(lambda _: cost * unit, pairs, policy)
    higher = charge(lambda _: (cost + rise) * unit, pairs, policy)

    assert Decimal(higher.total.amount) >= Decimal(lower.total.amount)


@settings(max_examples=300)
@given(policies(), st.integers(0, 10**6), st.integers(1, 100))
def test_pairs_times_each_is_the_total(policy: Policy, cost: int, pairs: int) -> None:
    """To the last minor unit, never below the floor, with the ending, and the steps end at the total."""
    unit = minor_step(policy.currency)
    found = charge(lambda _: cost * unit, pairs, policy)
    each = Fraction(found.each.amount)

    assert Fraction(found.total.amount) == each * pairs
    assert each >= Fraction(policy.floor_per_pair.amount)
    assert found.why[-1].amount == found.total
    if policy.ending is not None:
        assert (each + Fraction(policy.ending.less.amount)) % Fraction(policy.ending.step.amount) == 0


@settings(max_examples=60)
@given(policies(), st.integers(1, 500), st.integers(0, 5000))
def test_a_quantity_break_never_makes_a_larger_order_cheaper(policy: Policy, pair: int, setup: int) -> None:
    """Just missing a break is never dearer in total than reaching it, whatever the endings do between breaks."""
    unit = minor_step(policy.currency)
    totals = [
        Decimal(charge(lambda pairs: (setup + pair * pairs) * unit, pairs, policy).total.amount)
        for pairs in range(1, 62)
    ]
    for one in policy.breaks:
        if one.pairs > 1:
            assert min(totals[one.pairs - 1 :]) >= totals[one.pairs - 2]


def test_without_breaks_or_endings_more_pairs_are_never_cheaper() -> None:
    """A plain policy over a plain cost rises with every pair."""
    totals = [Decimal(charge(per_pair, pairs, PLAIN).total.amount) for pairs in range(1, 100)]

    assert all(less <= more for less, more in pairwise(totals))
