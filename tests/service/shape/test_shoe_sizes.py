from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline.wire.shoes import SizeSystem
from featherline_service.shape import shoe_sizes


@given(system=st.sampled_from(sorted(shoe_sizes.SCALES)), half=st.integers(0, 300))
def test_size_and_foot_go_back_and_forth(system: str, half: int) -> None:
    """The size of a size's foot length is that size."""
    size = half * shoe_sizes.SCALES[system].step
    try:
        foot = shoe_sizes.foot_length(system, size)
    except shoe_sizes.SizeError:
        return

    assert pytest.approx(size) == shoe_sizes.exact_size(system, foot)
    assert shoe_sizes.SHORTEST_FOOT_MM <= foot <= shoe_sizes.LONGEST_FOOT_MM


@pytest.mark.parametrize(
    ("system", "size", "says"),
    [
        ("EU", 42.25, "whole and half sizes"),
        ("EU", 420.0, "from 14 to 55.5"),
        ("EU", 0.0, "from 14 to 55.5"),
        ("EU", 13.5, "from 14 to 55.5"),
        ("UK", 20.5, "from 0 to 19"),
        ("UK-child", 14.0, "from 0 to 13.5"),
        ("US-child", 99.0, "from 0 to 13.5"),
        ("US-men", 7.1, "whole and half sizes"),
        ("JP", 5.0, "from 8 to 36"),
        ("mondopoint", 42.0, "multiples of 2.5 mm"),
        ("mondopoint", 42.5, "from 80 to 360"),
    ],
)
def test_missing_sizes_are_refused_with_the_sizes_there_are(system: str, size: float, says: str) -> None:
    """A size that a system does not have is refused with the sizes that it has."""
    with pytest.raises(shoe_sizes.SizeError, match=says):
        shoe_sizes.foot_length(system, size)


def test_thirds_of_eu_sizes_are_paris_points() -> None:
    """A Paris point is two thirds of a centimetre (ISO/TS 19407): three thirds of a size are 6.667 mm."""
    whole, third, two_thirds, next_whole = (
        shoe_sizes.foot_length("EU", shoe_sizes.number(text)) for text in ("42", "42 1/3", "42 2/3", "43")
    )

    assert pytest.approx([20.0 / 9.0] * 3) == [third - whole, two_thirds - third, next_whole - two_thirds]
    with pytest.raises(shoe_sizes.SizeError, match=r"whole and half sizes$"):
        shoe_sizes.foot_length("UK", shoe_sizes.number("8 1/3"))


@given(foot=st.floats(100.0, 320.0))
def test_length_and_girth_grow_at_their_own_rates(foot: float) -> None:
    """A panel grows with the foot's length, and with three quarters of that growth around the girth."""
    along, around = shoe_sizes.growth(foot, 250.0, 240.0)

    assert pytest.approx(foot - 250.0) == 250.0 * (along - 1.0)
    assert pytest.approx(0.75 * (foot - 250.0)) == 240.0 * (around - 1.0)


def test_every_convention_is_named() -> None:
    """All systems name the convention of their sizes."""
    assert all(scale.convention for scale in shoe_sizes.SCALES.values())
    assert set(get_args(get_args(SizeSystem)[0])) == set(shoe_sizes.SCALES)


@pytest.mark.parametrize("system", sorted(shoe_sizes.SCALES))
def test_half_sizes_lie_midway(system: str) -> None:
    """A half size, or 2.5 mm of Mondopoint, is a foot midway between its neighbours; smaller steps are refused."""
    step = shoe_sizes.SCALES[system].step
    middle = round(shoe_sizes.exact_size(system, 165.0 if system.endswith("child") else 250.0) / step) * step
    low, half, high = (shoe_sizes.foot_length(system, middle + k * step) for k in (-1, 0, 1))

    assert pytest.approx((low + high) / 2.0) == half
    with pytest.raises(shoe_sizes.SizeError, match=f"{system} has no size"):
        shoe_sizes.foot_length(system, middle + step / 2.0)


@pytest.mark.parametrize("system", sorted(shoe_sizes.SCALES))
def test_sizes_beyond_the_range_are_refused(system: str) -> None:
    """A step below the smallest size, or above the largest, is refused with the sizes there are."""
    scale = shoe_sizes.SCALES[system]
    there = [k * scale.step for k in range(401) if is_there(system, k * scale.step)]

    for beyond in (there[0] - scale.step, there[-1] + scale.step):
        with pytest.raises(shoe_sizes.SizeError, match=f"it goes from {there[0]:g} to {there[-1]:g}"):
            shoe_sizes.foot_length(system, beyond)


def is_there(system: str, size: float) -> bool:
    """Return whether a system has a size."""
    try:
        shoe_sizes.foot_length(system, size)
    except shoe_sizes.SizeError:
        return False
    return True
