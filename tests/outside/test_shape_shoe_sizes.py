"""Shoe sizes against published rules; each row names its source."""

from __future__ import annotations

import pytest

from featherline_service.shape import shoe_sizes

# cfm-calculator.com, "shoe size calculator": sizes on the foot, 3 f[in] - 23 for UK adults, - 22 for US men, - 21 for
# US women (FIA), - 20.5 as commonly marked, 1.5 f[cm] + 2 for EU; JP is the foot in cm. Rows worked out from those.
ON_THE_FOOT = [
    # foot mm, EU, UK, US men, US women FIA, US women common, JP
    (220, 35.00, 2.984, 3.984, 4.984, 5.484, 22.0),
    (230, 36.50, 4.165, 5.165, 6.165, 6.665, 23.0),
    (240, 38.00, 5.346, 6.346, 7.346, 7.846, 24.0),
    (250, 39.50, 6.528, 7.528, 8.528, 9.028, 25.0),
    (260, 41.00, 7.709, 8.709, 9.709, 10.209, 26.0),
    (270, 42.50, 8.890, 9.890, 10.890, 11.390, 27.0),
    (280, 44.00, 10.071, 11.071, 12.071, 12.571, 28.0),
    (300, 47.00, 12.433, 13.433, 14.433, 14.933, 30.0),
]
# The same site: UK child 3 f[in] - 10, US child 3 f[in] - 9 2/3.
CHILDREN = [(130, 5.354, 5.688), (160, 8.898, 9.231), (180, 11.260, 11.593)]
# ISO 9407:2019, as quoted at ulstandardspdf.com: Mondopoint is the foot length in millimetres, from zero, in intervals
# of 5 or 7.5 mm.
MONDOPOINT = [(230.0, 230.0), (267.5, 267.5), (300.0, 300.0)]


@pytest.mark.parametrize("row", ON_THE_FOOT)
def test_adult_sizes_on_the_foot(row: tuple[float, ...]) -> None:
    """A foot has the published size in every adult system."""
    foot, *expected = row
    systems = ("EU", "UK", "US-men", "US-women-FIA", "US-women", "JP")

    actual = [shoe_sizes.exact_size(system, foot) for system in systems]

    assert pytest.approx(expected, abs=5.1e-4) == actual


@pytest.mark.parametrize(("foot", "uk", "us"), CHILDREN)
def test_child_sizes_on_the_foot(foot: float, uk: float, us: float) -> None:
    """A child's foot has the published size in both child systems."""
    assert pytest.approx((uk, us), abs=5.1e-4) == (
        shoe_sizes.exact_size("UK-child", foot),
        shoe_sizes.exact_size("US-child", foot),
    )


@pytest.mark.parametrize(("size", "foot"), MONDOPOINT)
def test_mondopoint_is_the_foot_in_millimetres(size: float, foot: float) -> None:
    """ISO 9407: the size is the foot length."""
    assert foot == shoe_sizes.foot_length("mondopoint", size)


@pytest.mark.parametrize(
    ("last", "system", "size"),
    [
        # isegoria.net, "Shoe Sizes" (2012): UK adult 3 L[in] - 25, UK child 3 L[in] - 12, US men 3 L[in] - 24.
        (203.2, "UK", -1.0),
        (203.2, "UK-child", 12.0),
        (203.2, "US-men", 0.0),
        (270.0, "UK", 6.8898),
        (270.0, "US-men", 7.8898),
        # The same: US women as commonly marked 3 L[in] - 22.5; US child 3 L[in] - 11 2/3.
        (254.0, "US-women", 7.5),
        (177.8, "US-child", 28.0 / 3.0),
        # ISO/TS 19407:2015, as quoted at ulstandardspdf.com: EU is L[mm] / 6.6667, read here on the last.
        (280.0, "EU", 42.0),
        (270.0, "EU", 40.5),
    ],
)
def test_sizes_on_the_last(last: float, system: str, size: float) -> None:
    """Rules on the last agree when the foot is two sizes shorter: two barleycorns, or for EU two Paris points."""
    allowance = 2.0 * (20.0 / 3.0) if system == "EU" else 2.0 * shoe_sizes.BARLEYCORN_MM

    assert pytest.approx(size, abs=5.1e-4) == shoe_sizes.exact_size(system, last - allowance)


def test_barleycorn_is_a_third_of_an_inch() -> None:
    """A whole English size is 25.4 / 3 mm (isegoria.net, "Shoe Sizes"), and the adult scale begins again after 13."""
    assert pytest.approx(8.466667, abs=1e-6) == shoe_sizes.BARLEYCORN_MM
    assert pytest.approx(shoe_sizes.foot_length("UK-child", 13.0)) == shoe_sizes.foot_length("UK", 0.5) - 0.5 * 8.466667


def test_girth_grows_by_a_quarter_inch_for_each_size() -> None:
    """shoemakersacademy.com, glossary, "joint girth": 6.35 mm for each whole English size of 8.4667 mm."""
    along, around = shoe_sizes.growth(250.0 + shoe_sizes.BARLEYCORN_MM, 250.0, 240.0)

    assert pytest.approx((250.0 + 8.466667) / 250.0) == along
    assert pytest.approx((240.0 + 6.35) / 240.0) == around
