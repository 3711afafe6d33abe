from __future__ import annotations

from pathlib import Path

import pytest

from featherline_service.messages.values import said
from featherline_service.shape.outlines import text_outlines
from featherline_service.shape.outlines.text_outlines import TextError, Typeface


def width(typeface: Typeface, text: str) -> float:
    """Return the width of a text's ink in font units."""
    left, _, right, _ = text_outlines.text_region(text_outlines.lay_out(typeface, text), typeface, 1.0).bounds
    return float(right - left)


def test_capital_height_is_that_of_a_flat_capital(plain: Typeface, bold: Typeface) -> None:
    """The capital height of both fonts is the height of their H."""
    for typeface in (plain, bold):
        low, high = (
            text_outlines.text_region(text_outlines.lay_out(typeface, "H"), typeface, 1.0).bounds[i] for i in (1, 3)
        )
        assert (0.0, typeface.capital) == (low, high)


def test_kerned_pair_is_narrower_than_its_letters_apart(bold: Typeface) -> None:
    """Roboto sets V closer to A than H to H: the pair overhangs."""
    (glyphs,) = text_outlines.lay_out(bold, "AV")
    (apart,) = text_outlines.lay_out(bold, "A V")

    assert glyphs[1].x - glyphs[0].x < bold.font.get_glyph_h_advance(glyphs[0].id)
    assert apart[1].x - apart[0].x > glyphs[1].x - glyphs[0].x


def test_combining_mark_joins_its_letter(bold: Typeface) -> None:
    """A letter with a combining acute is drawn as the precomposed letter."""
    composed, combined = (text_outlines.lay_out(bold, text) for text in ("\u00c9", "E\u0301"))

    assert composed == combined


def test_lines_stand_a_line_distance_apart(plain: Typeface) -> None:
    """The distance of baselines is the line distance in capital heights."""
    first, second = text_outlines.lay_out(plain, "H\nH", text_outlines.TextSetting(line_distance=1.5))

    assert 1.5 * plain.capital == first[0].y - second[0].y


@pytest.mark.parametrize("align", ["left", "centre", "right"])
def test_lines_are_aligned_by_their_ink(plain: Typeface, align: text_outlines.Align) -> None:
    """Lines are aligned by the edges or middles of their ink; spaces at an end do not count."""
    lines = text_outlines.lay_out(plain, "MARLOW\n 7  ", text_outlines.TextSetting(align=align))
    boxes = [text_outlines.text_region((line,), plain, 1.0).bounds for line in lines]
    places = {
        "left": [box[0] for box in boxes],
        "centre": [(box[0] + box[2]) / 2.0 for box in boxes],
        "right": [box[2] for box in boxes],
    }[align]

    assert pytest.approx(0.0, abs=1e-6) == places[0] - places[1]


def test_glyph_is_drawn_to_the_tolerance(bold: Typeface) -> None:
    """Outlines are within their tolerance of outlines a hundred times finer."""
    for character in "ABGOQS&@8":
        glyph = bold.font.get_nominal_glyph(ord(character))
        rough, fine = (text_outlines.glyph_region(bold, glyph, tolerance) for tolerance in (2.0, 0.02))
        assert rough.boundary.hausdorff_distance(fine.boundary) <= 2.0, character


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no ink"),
        ("   ", "no ink"),
        (" \n\n ", "no ink"),
        ("\u00a0", "no ink"),
        ("A\tB", r"Character 2, \(U\+0009\), is a control character"),
        ("A\r\nB", "control character"),
        ("A\x00", "control character"),
        ("A\u200d", r"U\+200D ZERO WIDTH JOINER\), is an invisible formatting character"),
        ("\u202eABC", "invisible formatting character"),
        ("A\u00adB", "invisible formatting character"),
        ("\ufeffA", "invisible formatting character"),
        ("A\u2028B", "line separator"),
        ("\ud83d", "half of a surrogate pair"),
        ("\ue000", "private character"),
        ("\U0010ffff", "not a character"),
        ("A\ufe0f", r"lacks \(U\+FE0F VARIATION SELECTOR-16\)"),
        ("A\u034f", r"lacks \(U\+034F COMBINING GRAPHEME JOINER\)"),
        ("\u4e2d", r"lacks '中' \(U\+4E2D"),
        ("OK\U0001f60a", "lacks '\U0001f60a' "),
        ("A" * 201, "201 characters"),
        ("A\n" * 12, "more than 12 lines"),
    ],
)
def test_what_cannot_be_marked_is_named(plain: Typeface, text: str, says: str) -> None:
    """A character that cannot be marked, or that the font lacks, is refused by name."""
    with pytest.raises(TextError, match=says):
        text_outlines.lay_out(plain, text)


def test_every_missing_character_is_named_once(plain: Typeface) -> None:
    """All characters that the font lacks are named once."""
    with pytest.raises(TextError) as error:
        text_outlines.lay_out(plain, "A中B文C中")

    assert 1 == str(error.value).count("中")
    assert 1 == str(error.value).count("文")


def test_overlapping_glyphs_are_united(bold: Typeface) -> None:
    """Overlapping letters are one piece, and their overlap counts once."""
    glyph = bold.font.get_nominal_glyph(ord("O"))
    one = text_outlines.Glyph(glyph, 0.0, 0.0)
    twice = text_outlines.text_region(((one, text_outlines.Glyph(glyph, 100.0, 0.0)),), bold, 1.0)

    assert twice.is_valid
    assert twice.area < 2.0 * text_outlines.glyph_region(bold, glyph, 1.0).area


def test_file_that_is_no_font_is_refused(tmp_path: Path) -> None:
    """A file that is not a font is refused by name."""
    (tmp_path / "no-font.ttf").write_bytes(b"not a font")

    with pytest.raises(ValueError, match=r"no-font\.ttf is not a font"):
        text_outlines.typeface(tmp_path / "no-font.ttf")


def test_text_is_as_wide_whatever_stands_beside_it(plain: Typeface) -> None:
    """A second, narrower line does not change the width."""
    assert width(plain, "MARLOW") == width(plain, "MARLOW\n7")


@pytest.mark.parametrize("text", [" ", "A" * 1000, "A\n" * 100, "A\u200b", "A\u2028"])
def test_a_text_that_cannot_be_marked_is_the_same_in_words_and_as_a_message(plain: Typeface, text: str) -> None:
    """The code and the values of the error are those of the message that people read."""
    with pytest.raises(TextError) as refused:
        text_outlines.lay_out(plain, text)
    assert str(refused.value) == said(f"fault.{refused.value.code}", **refused.value.values).sentence
