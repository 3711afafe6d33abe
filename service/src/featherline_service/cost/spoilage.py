"""The chance that a shoe is spoilt by a slip, by a limit little known or by heat, and that its film does not hold."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

TWO_SIDED_95: Final = 1.959963984540054
"""Standard deviations within which 95 % of a normal quantity lies, on both sides (ISO 3534-1; any normal table)."""


def heat_chance(*, peak_c: float, worst_case_c: float, limit_c: float, limit_spread_k: float) -> float:
    r"""Return the chance that a layer gets hotter than it stands.

    Peak and limit are taken as independent and normal. The peak's standard deviation follows from its worst case, the
    limit's from its spread, both at 95 %:

    .. math:: p = \Phi\Big(-\frac{T_{limit} - T_{peak}}{\sqrt{\sigma_{peak}^2 + \sigma_{limit}^2}}\Big)

    Args:
        peak_c: nominal peak of the layer [degC].
        worst_case_c: its peak at the 95 % worst case [degC].
        limit_c: nominal limit of the layer's material [degC].
        limit_spread_k: half-width of the band that holds the limit with 95 % probability [K].

    References:
        A. H.-S. Ang, W. H. Tang, *Probability Concepts in Engineering Planning and Design* vol. 2 (1984): normal load
        against normal resistance, p = Phi(-beta); from memory.
    """
    sigma = math.hypot(worst_case_c - peak_c, limit_spread_k) / TWO_SIDED_95
    margin = limit_c - peak_c
    if sigma == 0:
        return 0.0 if margin > 0 else 1.0
    return 0.5 * math.erfc(margin / (sigma * math.sqrt(2)))


def weak_chance(*, dwell_s: float, needed_s: float, sure_s: float) -> float:
    r"""Return the chance that a bond line gathers less than its film needs.

    The logarithm of the dwell that is needed is taken as normal, its standard deviation from its worst case at 95 %:

    .. math:: p = \Phi\Big(-\frac{\ln(t / t_{needed})}{\ln(t_{sure} / t_{needed}) / 1.96}\Big)

    Args:
        dwell_s: the dwell [s], above zero.
        needed_s: the dwell that bonds as the book has all properties [s], above zero.
        sure_s: the dwell that bonds at the 95 % worst case [s]; infinite where none does.

    References:
        As `heat_chance`: Ang and Tang (1984), here with a lognormal resistance; from memory.
    """
    margin = math.log(dwell_s / needed_s)
    sigma = math.log(sure_s / needed_s) / TWO_SIDED_95
    if sigma <= 0:
        return 0.0 if margin >= 0 else 1.0
    return 0.5 * math.erfc(margin / (sigma * math.sqrt(2)))


def any_of(chances: Iterable[float]) -> float:
    """Return the chance that at least one of several independent things happens."""
    spared = 1.0
    for chance in chances:
        spared *= 1.0 - chance
    return 1.0 - spared
