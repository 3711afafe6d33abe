r"""What film costs: metres or whole rolls bought, losses of every load, and remnants valued by their next use.

One rule for single orders and rosters. A load of nested pieces takes from a roll of width :math:`W` the length
:math:`l + l_{in} + l_{trim}`, over the whole width. Beside the width in use, :math:`w`, a remnant of
:math:`(W - w) \times l` stays; where it is wide and long enough to keep, it is worth a share :math:`v` of the roll's
price by area. The charge is

.. math:: C = \frac{P}{W L} \big( W (l + l_{in} + l_{trim}) - v (W - w) l \big)

with :math:`P` the price of a roll of length :math:`L`. With :math:`v = 1` and no losses the rectangle of the nest is
charged; with :math:`v = 0` the shop never uses a remnant. The unused rest of a roll stays in stock and is not charged:
what is paid to the supplier is another sum, in `Bought`.

Lengths in millimetres; amounts are exact, in units of the roll's currency, and not rounded.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from featherline_service.cost.money import exact_arithmetic


class FilmRoll(Struct, frozen=True, kw_only=True):
    """A roll of film, its price, and the length that the supplier sells it by: a whole roll, or a cut such as 1 m."""

    width_mm: Decimal
    length_mm: Decimal
    price: Decimal
    sold_by_mm: Decimal


class LoadRule(Struct, frozen=True, kw_only=True):
    """Losses of every load of film into the cutter, and what remnants are worth.

    `lead_in_mm` is fed before the first cut and `trim_mm` cut off behind the last. `remnant_worth` is from 0 to 1, a
    share of the roll's price by area. Remnants with a side below `least_kept_mm` are thrown away.
    """

    lead_in_mm: Decimal
    trim_mm: Decimal
    remnant_worth: Decimal
    least_kept_mm: Decimal


class Load(Struct, frozen=True, kw_only=True):
    """Film nested in one load: the length of the nest, and the width that it uses."""

    length_mm: Decimal
    used_mm: Decimal


class FilmCharge(Struct, frozen=True, kw_only=True):
    """Film of some loads: length unrolled, area lost for good, area of the remnants kept, and the charge."""

    length_mm: Decimal
    lost_mm2: Decimal
    kept_mm2: Decimal
    charge: Fraction


class Bought(Struct, frozen=True, kw_only=True):
    """What is bought: a number of rolls or cuts, their length, and what is paid for them."""

    count: int
    length_mm: Decimal
    paid: Fraction


def film_charge(loads: Sequence[Load], roll: FilmRoll, rule: LoadRule) -> FilmCharge:
    """Return what the film of some loads is charged at.

    Raises:
        ValueError: a load is wider than the roll or has a side below zero; the roll has no area; a loss is below zero;
            the remnants' worth is not from 0 to 1.
    """
    _check(loads, roll, rule)
    length = lost = kept = Decimal(0)
    with exact_arithmetic():
        for load in loads:
            swept = load.length_mm + rule.lead_in_mm + rule.trim_mm
            beside = roll.width_mm - load.used_mm
            remnant = beside * load.length_mm if min(beside, load.length_mm) >= rule.least_kept_mm else Decimal(0)
            length += swept
            kept += remnant
            lost += swept * roll.width_mm - remnant
    price_mm2 = Fraction(roll.price) / Fraction(roll.width_mm) / Fraction(roll.length_mm)
    area = Fraction(lost) + Fraction(kept) * (1 - Fraction(rule.remnant_worth))
    return FilmCharge(length_mm=length, lost_mm2=lost, kept_mm2=kept, charge=area * price_mm2)


def roster_charge(
    together: Sequence[Load], rows: Sequence[Sequence[Load]], roll: FilmRoll, rule: LoadRule
) -> FilmCharge:
    """Return the lower charge of a roster's film: nested together, or row by row.

    So a roster's film never costs more than that of its rows as orders of their own.

    Args:
        together: the loads of all rows nested together.
        rows: the loads of each row as an order of its own.
        roll: the roll.
        rule: losses and remnants.

    Raises:
        ValueError: as `film_charge`.
    """
    apart = [load for row in rows for load in row]
    return min((film_charge(loads, roll, rule) for loads in (together, apart)), key=lambda film: film.charge)


def film_bought(length_mm: Decimal, in_stock_mm: Decimal, roll: FilmRoll) -> Bought:
    """Return what has to be bought for a length of film, as the supplier sells it.

    Args:
        length_mm: length to be unrolled, losses included.
        in_stock_mm: length on rolls that the shop has.
        roll: the roll; a cut is charged in proportion to the roll's length.

    Raises:
        ValueError: the roll is not sold by a length above zero.
    """
    if roll.sold_by_mm <= 0 or roll.length_mm <= 0:
        raise ValueError("Film is sold by a length above zero")
    missing = max(Fraction(0), Fraction(length_mm) - Fraction(in_stock_mm))
    count = math.ceil(missing / Fraction(roll.sold_by_mm))
    with exact_arithmetic():
        bought = count * roll.sold_by_mm
    return Bought(
        count=count, length_mm=bought, paid=Fraction(roll.price) * Fraction(bought) / Fraction(roll.length_mm)
    )


def _check(loads: Sequence[Load], roll: FilmRoll, rule: LoadRule) -> None:
    if roll.width_mm <= 0 or roll.length_mm <= 0:
        raise ValueError("A roll of film has a width and a length above zero")
    if min(rule.lead_in_mm, rule.trim_mm, rule.least_kept_mm) < 0:
        raise ValueError("Lead-in, trim and the least side of a remnant are zero or more")
    if not 0 <= rule.remnant_worth <= 1:
        raise ValueError("A remnant is worth from 0 to 1 of the roll's price by area")
    for load in loads:
        if load.length_mm < 0 or not 0 <= load.used_mm <= roll.width_mm:
            raise ValueError(f"A load of {load.length_mm} x {load.used_mm} mm is not on a roll {roll.width_mm} mm wide")
