from __future__ import annotations

import pytest
from msgspec.structs import replace

from featherline_service.shape.outlines import figures, text_mends
from featherline_service.shape.outlines.text_outlines import PLAIN, TextError, TextSetting, Typeface

FONTS = ("plain", "bold")


@pytest.fixture(params=FONTS)
def face(request: pytest.FixtureRequest) -> Typeface:
    """Return a font of the demo book."""
    found: Typeface = request.getfixturevalue(request.param)
    return found


def gap_of(face: Typeface, text: str, setting: TextSetting, spacing: float, border: float = 0.0) -> float:
    """Return the narrowest gap of a text at a letter spacing [capital heights]; zero where letters touch."""
    detail = figures.of_text(face, text, replace(setting, letter_spacing=spacing), border).detail
    assert detail.gap is not None
    return 0.0 if detail.touches else detail.gap / face.capital


@pytest.mark.parametrize("text", ["HARBOUR REGATTA 2026", "AVAILABLE", "TO LT 77 RK", "III", "MARLOW\n7"])
@pytest.mark.parametrize("share", [0.06, 0.1])
def test_the_spacing_is_the_smallest_that_reaches_the_gap(face: Typeface, text: str, share: float) -> None:
    """At the spacing found all gaps are wide enough, and at a thousandth of a capital less they are not."""
    spacing = text_mends.smallest_letter_spacing(face, text, PLAIN, share * face.capital)

    assert spacing is not None
    assert share <= gap_of(face, text, PLAIN, spacing)
    if spacing > 0.0:
        assert gap_of(face, text, PLAIN, spacing) <= 1.005 * share
        assert gap_of(face, text, PLAIN, spacing - 0.001) < share


@pytest.mark.parametrize("arc", [4.0, -5.0])
def test_letters_on_an_arc_are_spaced_by_their_nearest_corners(face: Typeface, arc: float) -> None:
    """On an arch and in a bowl the spacing found reaches the gap between the letters' feet, or their heads."""
    setting = TextSetting(arc=arc)

    spacing = text_mends.smallest_letter_spacing(face, "HARBOUR", setting, 0.1 * face.capital)

    assert spacing is not None
    assert 0.1 <= gap_of(face, "HARBOUR", setting, spacing) <= 1.01 * 0.1
    assert gap_of(face, "HARBOUR", setting, spacing - 0.002) < 0.1


def test_overlapping_letters_are_drawn_apart(face: Typeface) -> None:
    """Letters that overlap by a negative spacing get the spacing that leaves the gap."""
    setting = TextSetting(letter_spacing=-0.15)

    spacing = text_mends.smallest_letter_spacing(face, "HINT", setting, 0.08 * face.capital)

    assert spacing is not None
    assert 0.08 <= gap_of(face, "HINT", setting, spacing) <= 1.005 * 0.08


def test_wide_enough_gaps_need_no_spacing(face: Typeface) -> None:
    """A text whose gaps are wide enough keeps its spacing."""
    for spacing in (0.0, 0.3):
        setting = TextSetting(letter_spacing=spacing)
        assert spacing == text_mends.smallest_letter_spacing(face, "HINT", setting, 0.02 * face.capital)


def test_a_gap_within_a_letter_cannot_be_spaced(face: Typeface) -> None:
    """The counter of an A is as narrow at every spacing."""
    counter = figures.of_text(face, "A").detail.gap

    assert counter is not None
    assert text_mends.smallest_letter_spacing(face, "AAA", PLAIN, 1.01 * counter) is None
    assert text_mends.smallest_letter_spacing(face, "AAA", PLAIN, 0.99 * counter) is not None


def test_a_gap_between_lines_cannot_be_spaced(face: Typeface) -> None:
    """Lines 1.05 capital heights apart leave 0.05 between them, whatever the letter spacing."""
    setting = TextSetting(line_distance=1.05)

    assert text_mends.smallest_letter_spacing(face, "HI\nHI", setting, 0.06 * face.capital) is None
    assert text_mends.smallest_letter_spacing(face, "HI\nHI", setting, 0.04 * face.capital) is not None


def test_a_gap_to_a_mark_cannot_be_spaced(bold: Typeface) -> None:
    """A combining dot below stands as near to its letter at every spacing."""
    alone, marked = (figures.of_text(bold, text).detail for text in ("HH", "H\u0323H"))

    assert alone.gap is not None
    assert marked.gap is not None
    assert marked.gap < alone.gap
    assert text_mends.smallest_letter_spacing(bold, "H\u0323H", PLAIN, 1.05 * marked.gap) is None


def test_an_arc_may_be_too_small_for_the_spaced_text(face: Typeface) -> None:
    """Letters that fill their circle cannot be spaced; a text that does not fit its circle at all is refused."""
    assert text_mends.smallest_letter_spacing(face, "IIIIIIIIII", TextSetting(arc=1.0), 0.9 * face.capital) is None
    with pytest.raises(TextError, match="longer than the circle"):
        text_mends.smallest_letter_spacing(face, "HARBOUR REGATTA", TextSetting(arc=1.0), 0.1 * face.capital)


def test_bordered_letters_need_more_spacing_by_twice_the_border(face: Typeface) -> None:
    """Upright stems grown by 0.05 need 0.1 more spacing for the same gap."""
    bare, bordered = (
        text_mends.smallest_letter_spacing(face, "II", PLAIN, 0.3 * face.capital, border) for border in (0.0, 0.05)
    )

    assert bare is not None
    assert bordered is not None
    assert pytest.approx(0.1, abs=1e-3) == bordered - bare
    assert 0.3 <= gap_of(face, "II", PLAIN, bordered, 0.05) <= 1.01 * 0.3
