"""Probabilities of damage by heat and of a weak bond, from the margins of a recipe and their uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

TWO_SIDED_95: Final = 1.959963984540054
"""Two-sided 95 % quantile of the standard normal distribution (ISO 3534-1; any table of it)."""


def heat_damage_chance(*, peak_c: float, worst_case_c: float, limit_c: float, limit_spread_k: float) -> float:
    r"""Return the probability that a layer exceeds its limit temperature.

    Peak and limit are independent and normal. The standard deviation of the peak follows from its worst case, that of
    the limit from its spread, both at 95 %:

    .. math:: p = \Phi\Big(-\frac{T_{limit} - T_{peak}}{\sqrt{\sigma_{peak}^2 + \sigma_{limit}^2}}\Big)

    Args:
        peak_c: nominal peak of the layer [degC].
        worst_case_c: peak at the 95 % worst case [degC].
        limit_c: nominal limit of the layer's material [degC].
        limit_spread_k: half-width of the 95 % band of the limit [K].

    References:
        A. H.-S. Ang, W. H. Tang, *Probability Concepts in Engineering Planning and Design* vol. 2 (1984): normal load
        against normal resistance, p = Phi(-beta); from memory.
    """
    sigma = math.hypot(worst_case_c - peak_c, limit_spread_k) / TWO_SIDED_95
    margin = limit_c - peak_c
    if sigma == 0:
        return 0.0 if margin > 0 else 1.0
    return 0.5 * math.erfc(margin / (sigma * math.sqrt(2)))


def weak_bond_chance(*, dwell_s: float, shortest_s: float, sure_s: float) -> float:
    r"""Return the probability that a bond line receives a smaller thermal dose than its film needs.

    The needed dwell is lognormal; its standard deviation follows from the worst case at 95 %:

    .. math:: p = \Phi\Big(-\frac{\ln(t / t_{needed})}{\ln(t_{sure} / t_{needed}) / 1.96}\Big)

    Args:
        dwell_s: the dwell [s], above zero.
        shortest_s: the dwell that bonds at the nominal properties [s], above zero.
        sure_s: the dwell that bonds at the 95 % worst case [s]; infinite where no dwell does.

    References:
        Ang and Tang (1984), as in `heat_damage_chance`, with a lognormal resistance; from memory.
    """
    margin = math.log(dwell_s / shortest_s)
    sigma = math.log(sure_s / shortest_s) / TWO_SIDED_95
    if sigma <= 0:
        return 0.0 if margin >= 0 else 1.0
    return 0.5 * math.erfc(margin / (sigma * math.sqrt(2)))


def chance_of_any(chances: Iterable[float]) -> float:
    """Return the probability that at least one of several independent events happens."""
    none_happens = 1.0
    for chance in chances:
        none_happens *= 1.0 - chance
    return 1.0 - none_happens
