from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from featherline_service.cost.film_purchase import (
    FilmRoll,
    Load,
    LoadRule,
    film_bought,
    film_charge,
    roster_charge,
)

ROLL = FilmRoll(width_mm=Decimal(500), length_mm=Decimal(10_000), price=Decimal("50.00"), sold_by_mm=Decimal(1000))
RULE = LoadRule(lead_in_mm=Decimal(30), trim_mm=Decimal(20), remnant_worth=Decimal("0.5"), least_kept_mm=Decimal(25))
# 50.00 for 5 m2: a hundred-thousandth of a currency unit for a square millimetre.
PER_MM2 = Fraction(1, 100_000)


def load(length: float, used: float) -> Load:
    """Return a load [mm]."""
    return Load(length_mm=Decimal(str(length)), used_mm=Decimal(str(used)))


def test_a_load_by_hand() -> None:
    """40 mm of length in use over 200 of 500 mm: 90 mm are unrolled, 300 x 40 mm stay at half their price."""
    found = film_charge([load(40, 200)], ROLL, RULE)

    assert (Decimal(90), Decimal(12_000), Decimal(33_000)) == (found.length_mm, found.kept_mm2, found.lost_mm2)
    assert (33_000 + 6_000) * PER_MM2 == found.charge


def test_without_losses_and_with_remnants_at_the_full_price_the_nest_is_charged() -> None:
    """Only the rectangle of the nest is charged; with remnants worth nothing, the whole width is."""
    free = replace(RULE, lead_in_mm=Decimal(0), trim_mm=Decimal(0), remnant_worth=Decimal(1))

    assert 40 * 200 * PER_MM2 == film_charge([load(40, 200)], ROLL, free).charge
    assert 40 * 500 * PER_MM2 == film_charge([load(40, 200)], ROLL, replace(free, remnant_worth=Decimal(0))).charge


@pytest.mark.parametrize(("length", "used"), [(24.9, 200), (40, 475.1)])
def test_narrow_remnants_are_lost(length: float, used: float) -> None:
    """A remnant with a side below 25 mm is not kept."""
    assert 0 == film_charge([load(length, used)], ROLL, RULE).kept_mm2


LOADS = st.lists(st.builds(load, st.integers(0, 3000), st.integers(0, 500)), min_size=1, max_size=5)
RULES = st.builds(
    LoadRule,
    lead_in_mm=st.integers(0, 200).map(Decimal),
    trim_mm=st.integers(0, 200).map(Decimal),
    remnant_worth=st.decimals(0, 1, places=3),
    least_kept_mm=st.integers(0, 100).map(Decimal),
)


@given(LOADS, RULES)
def test_the_charge_is_between_the_nest_and_the_whole_width(loads: list[Load], rule: LoadRule) -> None:
    """No less than the rectangles of the nests, and no more than everything unrolled; areas add up."""
    found = film_charge(loads, ROLL, rule)

    assert sum(Fraction(one.length_mm * one.used_mm) for one in loads) * PER_MM2 <= found.charge
    assert found.charge <= Fraction(found.length_mm) * 500 * PER_MM2
    assert found.lost_mm2 + found.kept_mm2 == found.length_mm * 500


@given(LOADS, st.lists(LOADS, min_size=1, max_size=4), RULES)
def test_a_rosters_film_costs_no_more_than_its_rows(
    together: list[Load], rows: list[list[Load]], rule: LoadRule
) -> None:
    """Whatever the nests, the charge is at most that of the rows one by one, and at most that of the nest together."""
    found = roster_charge(together, rows, ROLL, rule)

    assert found.charge <= sum(film_charge(row, ROLL, rule).charge for row in rows)
    assert found.charge <= film_charge(together, ROLL, rule).charge


def test_losses_make_a_roster_cheaper_than_its_rows() -> None:
    """157 rows of 26 mm lose 50 mm each, their nest of 1,650 mm once."""
    rows = [[load(26, 200)]] * 157
    found = roster_charge([load(1650, 500)], rows, ROLL, RULE)

    assert Decimal(1700) == found.length_mm
    assert found.charge < sum(film_charge(row, ROLL, RULE).charge for row in rows) / 5


@pytest.mark.parametrize(
    ("length", "stock", "sold_by", "count", "paid"),
    [
        ("90", "0", "1000", 1, "5"),
        ("1000", "0", "1000", 1, "5"),
        ("1000.1", "0", "1000", 2, "10"),
        ("1700", "800", "1000", 1, "5"),
        ("1700", "1700", "1000", 0, "0"),
        ("10001", "0", "10000", 2, "100"),
    ],
)
def test_film_is_bought_as_it_is_sold(length: str, stock: str, sold_by: str, count: int, paid: str) -> None:
    """By the metre or by the roll of 10 m at 50.00, less what is in stock."""
    found = film_bought(Decimal(length), Decimal(stock), replace(ROLL, sold_by_mm=Decimal(sold_by)))

    assert (count, Fraction(paid)) == (found.count, found.paid)
    assert found.length_mm >= Decimal(length) - Decimal(stock)


@pytest.mark.parametrize(
    ("loads", "roll", "rule"),
    [
        ([load(40, 501)], ROLL, RULE),
        ([load(-1, 200)], ROLL, RULE),
        ([], replace(ROLL, width_mm=Decimal(0)), RULE),
        ([], ROLL, replace(RULE, trim_mm=Decimal(-1))),
        ([], ROLL, replace(RULE, remnant_worth=Decimal("1.1"))),
    ],
)
def test_measures_out_of_range_are_refused(loads: list[Load], roll: FilmRoll, rule: LoadRule) -> None:
    """A load wider than the roll, lengths below zero, and a worth above the roll's price raise."""
    with pytest.raises(ValueError, match=r"roll|zero"):
        film_charge(loads, roll, rule)


def test_film_sold_by_no_length_is_refused() -> None:
    """A supplier sells by a length above zero."""
    with pytest.raises(ValueError, match="above zero"):
        film_bought(Decimal(1), Decimal(0), replace(ROLL, sold_by_mm=Decimal(0)))
