"""The chance that a shoe is spoilt: by a slip of the hand, by a limit that is not well known, by too much heat."""

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


def any_of(chances: Iterable[float]) -> float:
    """Return the chance that at least one of several independent things happens."""
    spared = 1.0
    for chance in chances:
        spared *= 1.0 - chance
    return 1.0 - spared
