"""Colour differences and contrast ratios against published values."""

from __future__ import annotations

import math

import pytest
from coloraide import Color

from featherline_service.contrast import TONE_ON_TONE_RATIO, contrast_ratio, delta_e, luminance

# G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula", Color Res. Appl. 30(1), 2005, Table 1:
# pair, CIELAB of both, difference. Pairs 15 and 34: result from memory.
SHARMA = [
    (1, (50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    (7, (50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
    (10, (50.0, 2.49, -0.001), (50.0, -2.49, 0.001), 7.1792),
    (11, (50.0, 2.49, -0.001), (50.0, -2.49, 0.0011), 7.2195),
    (14, (50.0, -0.001, 2.49), (50.0, 0.001, -2.49), 4.8045),
    (15, (50.0, -0.001, 2.49), (50.0, 0.0011, -2.49), 4.7461),
    (17, (50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    (25, (60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    (28, (35.0831, -44.1164, 3.7933), (35.0232, -40.0716, 1.5901), 1.8645),
    (34, (2.0776, 0.0795, -1.135), (0.9033, -0.0636, -0.5514), 0.9082),
]
# WCAG 2.2, W3C 2023, definitions of contrast ratio and relative luminance; worked out to six decimals.
WCAG = [
    ("#000000", "#ffffff", 21.0),
    ("#777777", "#ffffff", 4.478089),
    ("#767676", "#ffffff", 4.542225),
    ("#595959", "#ffffff", 7.004729),
    ("#949494", "#ffffff", 3.033470),
    ("#ff0000", "#ffffff", 3.998477),
    ("#0000ff", "#ffffff", 8.592471),
    ("#ffff00", "#ffffff", 1.073839),
    ("#ff0000", "#0000ff", 2.148936),
    ("#808080", "#000000", 5.317210),
]


def ciede2000(one: tuple[float, float, float], other: tuple[float, float, float]) -> float:
    """Return CIEDE2000, written out from the paper's equations 2 to 22."""
    (l1, a1, b1), (l2, a2, b2) = one, other
    c7 = ((math.hypot(a1, b1) + math.hypot(a2, b2)) / 2.0) ** 7
    g = 0.5 * (1.0 - math.sqrt(c7 / (c7 + 25.0**7)))
    a1, a2 = (1.0 + g) * a1, (1.0 + g) * a2
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h1, h2 = (math.degrees(math.atan2(b, a)) % 360.0 if (a, b) != (0.0, 0.0) else 0.0 for a, b in ((a1, b1), (a2, b2)))
    turn = 0.0 if c1 * c2 == 0.0 else (h2 - h1 + 180.0) % 360.0 - 180.0 if abs(h2 - h1) != 180.0 else h2 - h1
    dl, dc, dh = l2 - l1, c2 - c1, 2.0 * math.sqrt(c1 * c2) * math.sin(math.radians(turn / 2.0))
    lightness, c = (l1 + l2) / 2.0, (c1 + c2) / 2.0
    if c1 * c2 == 0.0:
        h = h1 + h2
    elif abs(h1 - h2) <= 180.0:
        h = (h1 + h2) / 2.0
    else:
        h = (h1 + h2 + (360.0 if h1 + h2 < 360.0 else -360.0)) / 2.0
    t = (
        1.0 - 0.17 * math.cos(math.radians(h - 30.0)) + 0.24 * math.cos(math.radians(2.0 * h))
        + 0.32 * math.cos(math.radians(3.0 * h + 6.0)) - 0.20 * math.cos(math.radians(4.0 * h - 63.0))
    )  # fmt: skip
    sl = 1.0 + 0.015 * (lightness - 50.0) ** 2 / math.sqrt(20.0 + (lightness - 50.0) ** 2)
    sc, sh = 1.0 + 0.045 * c, 1.0 + 0.015 * c * t
    rc = 2.0 * math.sqrt(c**7 / (c**7 + 25.0**7))
    rt = -math.sin(math.radians(60.0 * math.exp(-(((h - 275.0) / 25.0) ** 2)))) * rc
    return math.sqrt((dl / sl) ** 2 + (dc / sc) ** 2 + (dh / sh) ** 2 + rt * (dc / sc) * (dh / sh))


@pytest.mark.parametrize(("pair", "one", "other", "difference"), SHARMA)
def test_library_reproduces_the_published_pairs(
    pair: int, one: tuple[float, float, float], other: tuple[float, float, float], difference: float
) -> None:
    """The colour library in use and the formula written out both give the paper's differences."""
    actual = Color("lab-d65", one).delta_e(Color("lab-d65", other), method="2000")

    assert (pair, pytest.approx(difference, abs=1e-4)) == (pair, actual)
    assert (pair, pytest.approx(difference, abs=1e-4)) == (pair, ciede2000(one, other))


@pytest.mark.parametrize(
    ("one", "other"), [("#f2c230", "#1d2b44"), ("#c0392b", "#2c3e50"), ("#00ff00", "#0000ff"), ("#101010", "#111111")]
)
def test_difference_of_srgb_colours_is_that_of_their_cielab(one: str, other: str) -> None:
    """Our difference of sRGB colours is the written-out formula of their CIELAB under D65, not D50."""
    lab = [tuple(Color(colour).convert("lab-d65").coords()) for colour in (one, other)]

    assert pytest.approx(ciede2000(*lab), abs=1e-9) == delta_e(one, other)


@pytest.mark.parametrize(
    ("colour", "lab"),
    [
        # sRGB (IEC 61966-2-1) to CIELAB under D65, 2 degrees: two colour libraries agree to 0.03.
        ("#ffffff", (100.0, 0.0, 0.0)),
        ("#808080", (53.585, 0.0, 0.0)),
        ("#ff0000", (53.2371, 80.0901, 67.2033)),
        ("#2c3e50", (25.4419, -1.7319, -13.1665)),
    ],
)
def test_cielab_is_taken_under_d65(colour: str, lab: tuple[float, float, float]) -> None:
    """Colours go to CIELAB under D65."""
    assert pytest.approx(lab, abs=0.03) == tuple(Color(colour).convert("lab-d65").coords())


@pytest.mark.parametrize(("one", "other", "ratio"), WCAG)
def test_contrast_ratios(one: str, other: str, ratio: float) -> None:
    """The contrast ratio is WCAG's, in either order."""
    assert pytest.approx((ratio, ratio), abs=1e-6) == (contrast_ratio(one, other), contrast_ratio(other, one))


def test_luminance_of_primaries_is_their_weight() -> None:
    """WCAG 2.2: L = 0.2126 R + 0.7152 G + 0.0722 B."""
    primaries = [luminance(colour) for colour in ("#ff0000", "#00ff00", "#0000ff", "#ffffff")]

    assert pytest.approx([0.2126, 0.7152, 0.0722, 1.0]) == primaries


def test_luminance_of_dark_colours_is_linear() -> None:
    """WCAG 2.2: up to 0.04045 a channel of sRGB counts by its value over 12.92."""
    assert pytest.approx(10.0 / 255.0 / 12.92, rel=1e-12) == luminance("#0a0a0a")
    assert pytest.approx(((11.0 / 255.0 + 0.055) / 1.055) ** 2.4, rel=1e-12) == luminance("#0b0b0b")


def test_tone_on_tone_is_less_than_the_contrast_of_graphics() -> None:
    """WCAG 2.2, success criterion 1.4.11: graphics have a contrast of at least 3 to 1 against what is next to them."""
    assert 3.0 == TONE_ON_TONE_RATIO
