from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline_service import contrast

COLOURS = st.integers(0, 0xFFFFFF).map(lambda value: f"#{value:06x}")


@given(one=COLOURS, other=COLOURS)
def test_both_measures_do_not_mind_the_order(one: str, other: str) -> None:
    """Both measures are symmetric and within their bounds."""
    assert contrast.contrast_ratio(one, other) == contrast.contrast_ratio(other, one)
    assert pytest.approx(contrast.delta_e(one, other), abs=1e-9) == contrast.delta_e(other, one)
    assert 1.0 <= contrast.contrast_ratio(one, other) <= 21.0 + 1e-9
    assert contrast.delta_e(one, other) >= 0.0


@given(colour=COLOURS)
def test_colour_does_not_differ_from_itself(colour: str) -> None:
    """A colour has a difference of zero and a contrast of one with itself."""
    assert (0.0, 1.0) == (contrast.delta_e(colour, colour), contrast.contrast_ratio(colour, colour))
