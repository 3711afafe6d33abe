"""Contrast between two colours: the CIEDE2000 difference and the contrast ratio of WCAG 2."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from coloraide import Color

# [-] Least contrast ratio of a graphic against its surroundings: WCAG 2.2, success criterion 1.4.11 (W3C 2023). A mark
# on a shoe is such a graphic, seen from a few paces.
TONE_ON_TONE_RATIO: Final = 3.0
# [-] sRGB value below which the transfer function is linear: WCAG 2.2, definition of relative luminance.
_SRGB_LINEAR_BELOW: Final = 0.04045


@lru_cache(maxsize=4096)
def delta_e(first: str, second: str) -> float:
    """Return the CIEDE2000 colour difference of two sRGB colours.

    Args:
        first: a colour as ``#rrggbb``.
        second: the other colour as ``#rrggbb``.

    References:
        G. Sharma, W. Wu, E. N. Dalal, Color Res. Appl. 30(1), 2005, 21-30; CIELAB under D65.
    """
    return float(Color(first).convert("lab-d65").delta_e(Color(second).convert("lab-d65"), method="2000"))


def luminance(colour: str) -> float:
    """Return the relative luminance of an sRGB colour ``#rrggbb``, 0 for black to 1 for white.

    References:
        WCAG 2.2, W3C 2023, definition of relative luminance.
    """
    red, green, blue = (_linear(int(colour[i : i + 2], 16) / 255.0) for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(value: float) -> float:
    """Return the linear intensity [-] of an sRGB component, both from 0 to 1."""
    return float(value / 12.92 if value <= _SRGB_LINEAR_BELOW else ((value + 0.055) / 1.055) ** 2.4)


@lru_cache(maxsize=4096)
def contrast_ratio(first: str, second: str) -> float:
    """Return the contrast ratio [-] of two sRGB colours ``#rrggbb``, from 1 to 21.

    References:
        WCAG 2.2, W3C 2023, definition of contrast ratio: ``(L1 + 0.05) / (L2 + 0.05)``, L1 the lighter.
    """
    darker, lighter = sorted((luminance(first), luminance(second)))
    return (lighter + 0.05) / (darker + 0.05)
