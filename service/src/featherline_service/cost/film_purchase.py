r"""What film is charged, and what has to be bought of it: losses of every load, and remnants valued by their next use.

One rule for single orders and rosters. A nest of the length :math:`l` that uses :math:`w` of a roll's width :math:`W`
is cut in :math:`n` loads, as many as the rolls that it takes, and unrolls :math:`l + n (l_{in} + l_{trim})` over the
whole width. Beside the width in use a remnant of :math:`(W - w) \times l` stays; where it is wide and long enough to
keep, it is worth a share :math:`v` of the roll's price by area. Charged at that price is

.. math:: A = W (l + n (l_{in} + l_{trim})) - v (W - w) l

With :math:`v = 1` and no losses that is the rectangle of the nest; with :math:`v = 0` the shop never uses a remnant.
The unused rest of a roll stays in stock and is not charged: what is bought is another matter, in `packs`.

Lengths in millimetres.
"""

from __future__ import annotations

import math

from msgspec import Struct

_ROUNDING: float = 1e-9
"""A length that exceeds a roll by this share of it is that of the roll: sums of floats differ by less."""


class FilmRoll(Struct, frozen=True, kw_only=True):
    """A roll of film [mm], and the length that the supplier sells it by; null: whole rolls."""

    width_mm: float
    length_mm: float
    sold_by_mm: float | None = None


class LoadRule(Struct, frozen=True, kw_only=True):
    """Losses of every load of film into the cutter [mm], and the worth of remnants.

    `lead_in_mm` is fed before the first cut and `trim_mm` cut off behind the last. `remnant_share` is from 0 to 1, a
    share of the roll's price by area. Remnants with a side below `least_kept_mm` are thrown away.
    """

    lead_in_mm: float = 0.0
    trim_mm: float = 0.0
    remnant_share: float = 1.0
    least_kept_mm: float = 0.0

    @property
    def lost_mm(self) -> float:
        """The length that every load loses."""
        return self.lead_in_mm + self.trim_mm


class Packs(Struct, frozen=True, kw_only=True):
    """Film as it is bought: a number of packs (rolls or cuts) of one length [mm]."""

    count: int
    length_mm: float


def loads(length_mm: float, roll: FilmRoll, rule: LoadRule) -> int:
    """Return how often film is loaded for a nest of a length: one roll after the other.

    Raises:
        ValueError: a load loses the whole roll; a measure is out of its range.
    """
    _check(length_mm, roll, rule)
    return math.ceil(length_mm / (roll.length_mm - rule.lost_mm) - _ROUNDING)


def unrolled_mm(length_mm: float, roll: FilmRoll, rule: LoadRule) -> float:
    """Return the length of roll for a nest of a length, with the losses of its loads.

    Raises:
        ValueError: as `loads`.
    """
    return length_mm + loads(length_mm, roll, rule) * rule.lost_mm


def charged_mm2(length_mm: float, used_mm: float, roll: FilmRoll, rule: LoadRule) -> float:
    """Return the area of a roll that a nest is charged, at the roll's price by area.

    Args:
        length_mm: length of the nest.
        used_mm: width that it uses.
        roll: the roll.
        rule: losses and remnants.

    Raises:
        ValueError: as `loads`; the nest is wider than the roll.
    """
    if not 0 <= used_mm <= roll.width_mm * (1 + _ROUNDING):
        raise ValueError(f"A nest {used_mm} mm wide is not on a roll {roll.width_mm} mm wide")
    beside_mm = max(0.0, roll.width_mm - used_mm)
    kept = min(beside_mm, length_mm) >= rule.least_kept_mm
    lost_mm2 = (unrolled_mm(length_mm, roll, rule) - length_mm) * roll.width_mm
    share = 1 - rule.remnant_share if kept else 1.0
    return length_mm * used_mm + lost_mm2 + share * beside_mm * length_mm


def packs(unrolled: float, roll: FilmRoll) -> Packs:
    """Return what has to be bought for a length of roll, losses included, as the supplier sells it.

    Raises:
        ValueError: the length is below zero, or the roll is not sold by a length above zero.
    """
    pack_mm = roll.length_mm if roll.sold_by_mm is None else roll.sold_by_mm
    if pack_mm <= 0 or unrolled < 0:
        raise ValueError("Film is sold by a length above zero, for a length of zero or more")
    return Packs(count=math.ceil(unrolled / pack_mm - _ROUNDING), length_mm=pack_mm)


def _check(length_mm: float, roll: FilmRoll, rule: LoadRule) -> None:
    if min(length_mm, rule.lead_in_mm, rule.trim_mm, rule.least_kept_mm) < 0:
        raise ValueError("A nest, lead-in, trim and the least side of a remnant are zero or more")
    if rule.lost_mm >= roll.length_mm:
        raise ValueError(f"Lead-in and trim of {rule.lost_mm} mm leave nothing of a roll of {roll.length_mm} mm")
    if not 0 <= rule.remnant_share <= 1:
        raise ValueError("A remnant is worth from 0 to 1 of the roll's price by area")
