"""Settings of text: letter spacing, arcs, borders and direction."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from fontTools.feaLib.builder import addOpenTypeFeaturesFromString
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen

from featherline_service.shape.outlines import figures, text_outlines
from featherline_service.shape.outlines.text_outlines import TextError, TextSetting, Typeface

HEBREW = "\u05d0\u05d1\u05d2"


@pytest.fixture(scope="module")
def hebrew(tmp_path_factory: pytest.TempPathFactory) -> Typeface:
    """Return a font made here of bars with distinct widths: Latin with a ligature, digits and Hebrew."""
    names = {"A": ord("A"), "f": ord("f"), "i": ord("i"), "one": ord("1"), "two": ord("2"), "space": ord(" ")}
    names |= {f"hebrew{place}": ord(letter) for place, letter in enumerate(HEBREW)}
    order = [".notdef", *names, "f_i"]
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder(order)
    builder.setupCharacterMap({code: name for name, code in names.items()})
    glyphs = {}
    for width, name in enumerate(order, start=1):
        pen = TTGlyphPen(None)
        if name != "space":
            for x, y in ((0, 0), (0, 700), (20 * width, 700), (20 * width, 0)):
                (pen.moveTo if (x, y) == (0, 0) else pen.lineTo)((x, y))
            pen.closePath()
        glyphs[name] = pen.glyph()
    builder.setupGlyf(glyphs)
    builder.setupHorizontalMetrics(dict.fromkeys(order, (300, 0)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupOS2(sCapHeight=700)
    builder.setupNameTable({"familyName": "Bars", "styleName": "Regular"})
    builder.setupPost()
    addOpenTypeFeaturesFromString(builder.font, "feature liga { sub f i by f_i; } liga;")
    file = tmp_path_factory.mktemp("fonts") / "Bars.ttf"
    builder.save(file)
    return text_outlines.typeface(Path(file))


def ids(typeface: Typeface, text: str, setting: TextSetting = text_outlines.PLAIN) -> list[str]:
    """Return the names of the inked glyphs of a line, from left to right."""
    (line,) = text_outlines.lay_out(typeface, text, setting)
    return [typeface.font.glyph_to_string(glyph.id) for glyph in sorted(line, key=lambda glyph: glyph.x)]


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        (HEBREW, ["hebrew2", "hebrew1", "hebrew0"]),
        # A number keeps its own order within a line to the left, and stands where the line has come to.
        (f"{HEBREW[0]} 12", ["one", "two", "hebrew0"]),
        (f"12 {HEBREW[0]}", ["hebrew0", "one", "two"]),
        (f"A {HEBREW[:2]}", ["A", "hebrew1", "hebrew0"]),
        (f"{HEBREW[0]} A {HEBREW[1]}", ["hebrew1", "A", "hebrew0"]),
        ("A12", ["A", "one", "two"]),
    ],
)
def test_glyphs_are_in_visual_order(hebrew: Typeface, text: str, seen: list[str]) -> None:
    """Hebrew runs to the left, numbers and Latin inside it to the right (Unicode Standard Annex 9)."""
    assert seen == ids(hebrew, text)


def test_letters_that_make_a_ligature_are_joined_unless_spaced(hebrew: Typeface) -> None:
    """The ligature of f and i is used, but not with letter spacing."""
    assert ["f_i"] == ids(hebrew, "fi")
    assert ["f", "i"] == ids(hebrew, "fi", TextSetting(letter_spacing=0.1))


def test_spacing_is_added_between_letters_and_runs(hebrew: Typeface) -> None:
    """Letter spacing is added between all neighbouring letters, also where the direction changes."""
    for text in ("A1", f"A{HEBREW[0]}", HEBREW[:2]):
        close, wide = ((text_outlines.lay_out(hebrew, text, TextSetting(letter_spacing=s)))[0] for s in (0.0, 0.5))
        gaps = [abs(line[1].x - line[0].x) for line in (close, wide)]
        assert pytest.approx(350.0) == gaps[1] - gaps[0], text


def test_letter_without_a_flat_capital_takes_its_height_from_the_font(hebrew: Typeface) -> None:
    """The capital height comes from the font's table when the font has no H."""
    assert 700.0 == hebrew.capital


@pytest.mark.parametrize("arc", [6.0, -6.0])
def test_letters_on_an_arc_stand_square_on_their_circle(bold: Typeface, arc: float) -> None:
    """On an arch or in a bowl the middles of the letters' baselines lie on the circle, perpendicular to its radius."""
    (line,) = text_outlines.lay_out(bold, "HARBOUR", TextSetting(arc=arc))
    centre = complex(0.0, -arc * bold.capital)

    for glyph in line:
        extents = bold.font.get_glyph_extents(glyph.id)
        middle = (extents.x_bearing + extents.width / 2.0) * complex(math.cos(glyph.turn), math.sin(glyph.turn))
        at = complex(glyph.x, glyph.y) + middle - centre
        assert pytest.approx(abs(arc) * bold.capital) == abs(at)
        outwards = (
            math.atan2(at.imag, at.real) - math.pi / 2.0 if arc > 0 else math.atan2(at.imag, at.real) + math.pi / 2
        )
        assert pytest.approx(0.0, abs=1e-9) == math.remainder(outwards - glyph.turn, 2.0 * math.pi)


def test_wide_arc_is_nearly_a_line(bold: Typeface) -> None:
    """On a very large circle a text is the same as on a straight line."""
    straight, bent = (figures.of_text(bold, "HARBOUR", TextSetting(arc=arc)) for arc in (None, 1000.0))

    assert pytest.approx(straight.width, rel=1e-3) == bent.width
    assert pytest.approx(straight.detail.area) == bent.detail.area
    assert pytest.approx(straight.detail.stroke) == bent.detail.stroke


def test_lower_lines_of_an_arch_run_on_smaller_circles(bold: Typeface) -> None:
    """Lines of an arch share a centre, and their radii differ by the line distance."""
    first, second = text_outlines.lay_out(bold, "H\nH", TextSetting(arc=5.0, line_distance=1.5))

    assert pytest.approx(1.5 * bold.capital) == first[0].y - second[0].y
    assert (0.0, 0.0) == (first[0].turn, second[0].turn)


@pytest.mark.parametrize(("text", "arc"), [("HARBOUR REGATTA", 1.5), ("A\nB\nC", 2.0)])
def test_line_longer_than_its_circle_is_refused(bold: Typeface, text: str, arc: float) -> None:
    """A line that would overlap itself or reach the circle's centre is refused with what to change."""
    with pytest.raises(TextError, match="larger radius or fewer letters"):
        text_outlines.lay_out(bold, text, TextSetting(arc=arc))


def test_border_grows_letters_alike_on_all_sides(plain: Typeface) -> None:
    """A border adds its width to all sides of the box and twice its width to strokes, and contains the letters."""
    bare, bordered = (figures.of_text(plain, "IL", border=border) for border in (0.0, 0.1))
    reach = 0.1 * plain.capital

    assert np.allclose(np.add(bare.box, (-reach, -reach, reach, reach)), bordered.box, atol=0.5)
    assert pytest.approx(bare.detail.stroke + 2.0 * reach, rel=2e-3) == bordered.detail.stroke
    assert shapely.covers(bordered.drawn(0), bare.drawn(0))
    assert bordered.capital == bare.capital


def test_wide_border_joins_letters_into_one_piece(plain: Typeface) -> None:
    """Letters whose borders overlap are one piece of film."""
    assert (2, 1) == tuple(figures.of_text(plain, "IL", border=border).detail.pieces for border in (0.0, 0.3))
