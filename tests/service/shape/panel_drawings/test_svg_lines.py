from __future__ import annotations

import numpy as np
import pytest

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.panel_drawings import svg_lines

BOX = '<path d="M10 10H100V50H10Z"/>'


def svg(content: str, size: str = 'width="120mm" height="60mm" viewBox="0 0 120 60"') -> str:
    """Return a drawing on a page."""
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{content}</svg>'


@pytest.mark.parametrize(
    ("size", "width"),
    [
        ('width="120mm" height="60mm" viewBox="0 0 120 60"', 90.0),
        ('width="12cm" height="6cm" viewBox="0 0 120 60"', 90.0),
        ('width="2in" height="1in" viewBox="0 0 120 60"', 90.0 * 25.4 / 60.0),
        ('width="120mm" height="60mm" viewBox="0 0 240 120"', 45.0),
        ('width="120mm" height="60mm"', 90.0 * 25.4 / 96.0),
    ],
)
def test_the_size_of_the_page_says_what_a_unit_is(size: str, width: float) -> None:
    """Without a viewBox a unit is a ninety-sixth of an inch (CSS Values 3, W3C, section 6.2)."""
    (line,) = svg_lines.read(svg(BOX, size), None).lines

    assert pytest.approx(width) == np.ptp(line.points[:, 0])


def test_the_caller_may_say_the_unit() -> None:
    """Whatever the page says."""
    (line,) = svg_lines.read(svg(BOX, 'width="9px"'), "cm").lines

    assert pytest.approx([100.0, 100.0]) == line.points.min(axis=0)


@pytest.mark.parametrize(
    ("size", "told"),
    [
        ("", r"\(it has neither width nor height\): set the width and height of its page in mm"),
        ('width="120" height="60"', r"\(width='120' height='60'\)"),
        ('width="120mm"', r"\(width='120mm'\)"),
        ('width="100%" height="100%" viewBox="0 0 9 9"', "100%"),
        ('width="120mm" height="70mm" viewBox="0 0 120 60"', "a unit is 1 mm wide and 1.16667 mm high"),
    ],
)
def test_a_page_without_a_size_in_millimetres_is_refused(size: str, told: str) -> None:
    """The message repeats the size and says what to do."""
    with pytest.raises(DrawingError, match=told):
        svg_lines.read(svg(BOX, size), None)


def test_lines_are_what_is_stroked_or_filled_with_names_and_colour() -> None:
    """By the stroke, if there is one; what nobody sees, and white paper, is no line; an open one stays open."""
    drawing = svg_lines.read(
        svg(
            '<rect width="120" height="60" fill="white"/><rect width="9" height="9" fill="none"/>'
            '<g id="collar"><path id="c-1" d="M0 0H9V9" fill="none" stroke="red"/></g>'
            '<polygon points="0,0 9,0 9,9" color="red" fill="none" stroke="currentColor"/>'
            '<circle r="4" cx="50" cy="30" fill="#e00" transform="scale(2 1)"/>'
            '<path d="M0 0H9V9" stroke="#00f" fill="red"/>'
        ),
        None,
    )

    assert [
        (("collar", "c-1"), False, True, 3),
        ((), True, True, 3),
        ((), True, True, len(drawing.lines[2].points)),
        ((), False, False, 3),
    ] == [(line.names, line.closed, line.red, len(line.points)) for line in drawing.lines]
    assert pytest.approx([108.0, 34.0], abs=0.01) == drawing.lines[2].points.max(axis=0)
    assert () == drawing.cautions
