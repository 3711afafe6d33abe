from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from featherline_service.cost.film_purchase import (
    FilmRoll,
    LoadRule,
    Packs,
    charged_mm2,
    loads,
    packs,
    unrolled_mm,
)

ROLL = FilmRoll(width_mm=500, length_mm=10_000, sold_by_mm=1000)
RULE = LoadRule(lead_in_mm=30, trim_mm=20, remnant_share=0.5, least_kept_mm=25)
FREE = LoadRule()


def test_a_load_by_hand() -> None:
    """40 mm of length in use over 200 of 500 mm: 90 mm are unrolled, and 300 x 40 mm stay at half their price."""
    assert 90 == unrolled_mm(40, ROLL, RULE)
    assert 90 * 500 - 0.5 * 300 * 40 == charged_mm2(40, 200, ROLL, RULE)


def test_without_losses_and_with_remnants_at_the_full_price_the_nest_is_charged() -> None:
    """Only the rectangle of the nest is charged; with remnants worth nothing, the whole width is."""
    assert 40 * 200 == charged_mm2(40, 200, ROLL, FREE)
    assert 40 * 500 == charged_mm2(40, 200, ROLL, replace(FREE, remnant_share=0.0))


@pytest.mark.parametrize(("length", "used"), [(24.9, 200), (40, 475.1)])
def test_narrow_remnants_are_lost(length: float, used: float) -> None:
    """A remnant with a side below 25 mm is not kept: the whole width is charged."""
    assert 500 * (length + 50) == pytest.approx(charged_mm2(length, used, ROLL, RULE))


def test_nothing_from_the_roll_is_no_load() -> None:
    """Without a nest there is no loss and no charge."""
    assert (0, 0, 0) == (loads(0, ROLL, RULE), unrolled_mm(0, ROLL, RULE), charged_mm2(0, 0, ROLL, RULE))


def test_a_nest_longer_than_a_roll_is_loaded_roll_by_roll() -> None:
    """Of 10 m, 9.95 m are left by each load: 19.9 m take two rolls, 20 m three, and every one loses 50 mm."""
    assert [1, 2, 3] == [loads(length, ROLL, RULE) for length in (9950, 19_900, 20_000)]
    assert 20_150 == unrolled_mm(20_000, ROLL, RULE)


LENGTHS = st.floats(0, 30_000)
RULES = st.builds(
    LoadRule,
    lead_in_mm=st.floats(0, 200),
    trim_mm=st.floats(0, 200),
    remnant_share=st.floats(0, 1),
    least_kept_mm=st.floats(0, 100),
)


@given(LENGTHS, st.floats(0, 500), RULES)
def test_the_charge_is_between_the_nest_and_the_whole_width(length: float, used: float, rule: LoadRule) -> None:
    """No less than the rectangle of the nest and the losses, and no more than everything unrolled."""
    charged, unrolled = charged_mm2(length, used, ROLL, rule), unrolled_mm(length, ROLL, rule)

    assert length * used + (unrolled - length) * 500 <= charged * (1 + 1e-9) + 1e-6
    assert charged <= unrolled * 500 * (1 + 1e-9) + 1e-6


@given(LENGTHS, st.floats(0, 500), RULES, st.floats(0, 1))
def test_remnants_worth_more_are_never_charged_more(length: float, used: float, rule: LoadRule, share: float) -> None:
    """The more a remnant is worth by its next use, the less this order bears of it."""
    low, high = sorted((share, rule.remnant_share))

    assert charged_mm2(length, used, ROLL, replace(rule, remnant_share=high)) <= charged_mm2(
        length, used, ROLL, replace(rule, remnant_share=low)
    )


@pytest.mark.parametrize(
    ("unrolled", "sold_by", "bought"),
    [
        (0, 1000, Packs(count=0, length_mm=1000)),
        (90, 1000, Packs(count=1, length_mm=1000)),
        (1000, 1000, Packs(count=1, length_mm=1000)),
        (0.1 * 3 * 10_000, 1000, Packs(count=3, length_mm=1000)),
        (1000.1, 1000, Packs(count=2, length_mm=1000)),
        (10_001, None, Packs(count=2, length_mm=10_000)),
    ],
)
def test_film_is_bought_as_it_is_sold(unrolled: float, sold_by: float | None, bought: Packs) -> None:
    """By the metre, or by the roll of 10 m; a float's last digit buys no further metre."""
    assert bought == packs(unrolled, replace(ROLL, sold_by_mm=sold_by))


@pytest.mark.parametrize(
    ("length", "used", "rule"),
    [
        (40, 501, RULE),
        (40, -1, RULE),
        (-1, 200, RULE),
        (40, 200, replace(RULE, trim_mm=-1)),
        (40, 200, replace(RULE, trim_mm=9970)),
        (40, 200, replace(RULE, remnant_share=1.1)),
    ],
)
def test_measures_out_of_range_are_refused(length: float, used: float, rule: LoadRule) -> None:
    """A nest wider than the roll, lengths below zero, losses of a whole roll, and a worth above the roll's price."""
    with pytest.raises(ValueError, match=r"roll|zero"):
        charged_mm2(length, used, ROLL, rule)


@pytest.mark.parametrize(("unrolled", "sold_by"), [(1, 0), (-1, 1000)])
def test_film_sold_by_no_length_is_refused(unrolled: float, sold_by: float) -> None:
    """A supplier sells by a length above zero, and for one of zero or more."""
    with pytest.raises(ValueError, match="above zero"):
        packs(unrolled, replace(ROLL, sold_by_mm=sold_by))
