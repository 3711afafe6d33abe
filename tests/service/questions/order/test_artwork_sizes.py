from __future__ import annotations

import base64
import math
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace as changed

from featherline.plugins import Drawing
from featherline.wire.artworks import Artwork, FileArtwork, PathArtwork, SvgArtwork, TextArtwork
from featherline_service.book.shop_book import Book
from featherline_service.quantities import say
from featherline_service.questions.checks import Checks
from featherline_service.questions.order import artwork_sizes
from featherline_service.questions.order.artwork_sizes import SizedArtwork, find_artwork, measures, with_border
from featherline_service.shape.outlines import figures

RING = PathArtwork(d="M0 0H40V20H0ZM5 5V15H35V5Z", height="10 mm")
"""A frame, 20 mm wide at 10 mm, with bars of 2.5 mm."""


def text(words: str = "H", **more: Any) -> TextArtwork:  # noqa: ANN401
    """Return words in the plain font, whose capital H is 10 mm high."""
    asked = {"kind": "text", "text": words, "font": "plain", **({"letter_height": "10 mm"} | more)}
    return msgspec.convert({name: value for name, value in asked.items() if value is not None}, TextArtwork)


def sized(book: Book, artwork: Artwork, units: str = "metric") -> SizedArtwork:
    """Return an artwork at its height, without faults."""
    checks = Checks()
    there = find_artwork(book, artwork, units, checks)  # type: ignore[arg-type]
    assert () == checks.faults
    assert there is not None
    return there


def faults(book: Book, artwork: Artwork) -> list[tuple[str, str]]:
    """Return what is wrong with an artwork that cannot be drawn, and where."""
    checks = Checks()
    assert find_artwork(book, artwork, "metric", checks) is None
    return [(fault.pointer, fault.detail) for fault in checks.faults]


def test_a_drawing_is_scaled_to_its_height(book: Book) -> None:
    """All lengths by half, its area by a quarter; the surround is waste beside its counter."""
    ring = sized(book, RING)
    taken = measures(ring)

    assert 0.5 == ring.scale
    assert (20.0, 10.0, 125.0, 100.0) == (taken.width_mm, taken.height_mm, taken.area_mm2, taken.cut_length_mm)
    assert (8, 1, 2) == (taken.corners, taken.pieces, taken.waste_pieces)
    assert pytest.approx((2.5, 5.0, 5.0), abs=1e-3) == (
        taken.narrowest_stroke_mm,
        taken.narrowest_gap_mm,
        taken.narrowest_counter_mm,
    )
    assert (125.0, 0, 90.0) == (taken.smallest_island_mm2, taken.tips, taken.sharpest_deg)
    assert (None, None, None) == (taken.letter_height_mm, taken.letter_spacing, taken.letter_spacing_mm)
    assert ("drawing", 0, 0.0, None) == (ring.name, ring.characters, ring.letter_height_mm, ring.letter_spacing_mm)
    assert (None, None, False, False) == (ring.text, ring.lettering, ring.by_letters, ring.is_directional)


def test_measures_have_four_decimals(book: Book) -> None:
    """A frame twice as wide as it is high, and a text, at no whole height; only the spacing asked for is as asked."""
    frame = measures(sized(book, changed(RING, height="6.172839 mm")))
    letters = measures(sized(book, text("Q", letter_height="6.172839 mm", letter_spacing=0.123456)))
    side = 6.172839

    assert (round(2.0 * side, 4), round(side, 4)) == (frame.width_mm, frame.height_mm)
    assert (round(1.25 * side**2, 4), round(1.25 * side**2, 4)) == (frame.area_mm2, frame.smallest_island_mm2)
    assert round(10.0 * side, 4) == frame.cut_length_mm
    for taken in (frame, letters):
        lengths = {name: value for name, value in msgspec.to_builtins(taken).items() if isinstance(value, float)}
        assert {name: round(value, 4) for name, value in lengths.items() if name != "letter_spacing"}.items() <= (
            lengths.items()
        )
    assert 0.123456 == letters.letter_spacing


def test_an_artwork_too_intricate_at_its_height_is_a_fault(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of its height, for another might do."""

    def refuse(*_: object) -> None:
        raise figures.DrawingError("drawing.too-many-points", "It has too many points")

    monkeypatch.setattr(figures, "detail_at", refuse)
    checks = Checks()
    find_artwork(book, RING, "metric", checks)

    assert [("/artwork/height", "artwork.too-detailed", "10 mm")] == [
        (fault.pointer, fault.code, fault.parameters[0].value) for fault in checks.faults
    ]


def test_the_finest_details_of_a_drawing_are_measured(book: Book) -> None:
    """A triangle beside a bar: its tips and their angle in degrees, the gap between, the smaller piece."""
    drawing = PathArtwork(d="M0 0H20V30H0ZM24 0H44L34 5Z", height="30 mm")
    taken = measures(sized(book, drawing))

    assert pytest.approx((4.0, 50.0), abs=2e-3) == (taken.narrowest_gap_mm, taken.smallest_island_mm2)
    assert None is taken.narrowest_counter_mm
    assert 2 == taken.tips
    assert round(math.degrees(math.atan(0.5)), 4) == taken.sharpest_deg
    assert (2, 1) == (taken.pieces, taken.waste_pieces)


def test_a_text_is_scaled_to_its_height_or_to_that_of_its_letters(book: Book) -> None:
    """A Q is higher than a flat capital, by its tail and its round."""
    by_letters, whole = sized(book, text("Q")), sized(book, text("Q", letter_height=None, height="10 mm"))

    assert pytest.approx(10.0) == by_letters.letter_height_mm
    assert pytest.approx(10.0) == measures(whole).height_mm
    assert measures(by_letters).height_mm > 10.1
    assert pytest.approx(measures(by_letters).height_mm * whole.letter_height_mm, abs=1e-3) == 100.0
    assert (True, False) == (by_letters.by_letters, whole.by_letters)
    assert pytest.approx(10.0, abs=1e-4) == measures(by_letters).letter_height_mm


def test_letter_spacing_is_in_capital_heights(book: Book) -> None:
    """At letters of 10 mm a spacing of 0.12345 is 1.2345 mm."""
    spaced = sized(book, text("HH", letter_spacing=0.12345))

    assert (0.12345, 1.2345) == (measures(spaced).letter_spacing, spaced.letter_spacing_mm)
    assert measures(spaced).letter_spacing_mm == spaced.letter_spacing_mm
    plain = sized(book, text("HH"))
    assert (0.0, 0.0) == (measures(plain).letter_spacing, plain.letter_spacing_mm)
    assert pytest.approx(1.2345, abs=1e-3) == measures(spaced).width_mm - measures(plain).width_mm


@pytest.mark.parametrize(
    ("words", "count"), [("AB 7", 3), ("A\nB", 2), ("A\u0301", 1), (" ", 0), ("é!", 2), ("a\u00a0b\u200d", 2)]
)
def test_letters_and_signs_are_counted(book: Book, words: str, count: int) -> None:
    """Spaces, breaks of lines, combining marks and characters without a sign do not count."""
    plain = sized(book, text())

    assert (
        count
        == SizedArtwork(
            plain.figure, 1.0, words, plain.lettering, by_letters=True, is_directional=False, units="metric"
        ).characters
    )


def test_lettering_keeps_how_it_was_asked_for(book: Book) -> None:
    """Align, lines, spacing, border and arc reach the setting; a spacing may grow where that is said."""
    asked = text(
        "HI\nHO", align="left", line_distance=1.7, letter_spacing=0.05, border=0.1, arc=20.0, fit_letters="space"
    )
    lettering = sized(book, asked).lettering
    assert lettering is not None

    assert ("left", 1.7, 0.05, 20.0) == (
        lettering.setting.align,
        lettering.setting.line_distance,
        lettering.setting.letter_spacing,
        lettering.setting.arc,
    )
    assert ("HI\nHO", "plain", 0.1, 0.05, True) == (
        lettering.text,
        lettering.font,
        lettering.border,
        lettering.asked_spacing,
        lettering.may_space,
    )
    plain = sized(book, text()).lettering
    assert plain is not None
    assert (False, 0.0, 0.0) == (plain.may_space, plain.asked_spacing, plain.border)
    bold = sized(book, text(font="bold")).lettering
    assert bold is not None
    assert plain.face is not bold.face


def test_a_border_of_a_text_grows_its_letters(book: Book) -> None:
    """By a tenth of the capitals' height on each side."""
    plain, bordered = (measures(sized(book, text("I", border=border))) for border in (0.0, 0.1))

    assert pytest.approx(plain.width_mm + 2.0, abs=0.02) == bordered.width_mm


@pytest.mark.parametrize(
    ("artwork", "said"),
    [
        ("drawing", ("10.0 mm", "5.0 mm", "0.40 in")),
        ("letters", ("10.0 mm", "5.0 mm", "0.40 in")),
    ],
)
def test_a_height_is_said_as_it_was_given(book: Book, artwork: str, said: tuple[str, str, str]) -> None:
    """That of the whole, or of its letters, rounded down or up."""
    asked = {"drawing": PathArtwork(d="M0 0H10V10H0Z", height="10 mm"), "letters": text()}[artwork]
    metric, us = sized(book, asked), sized(book, asked, "us")

    assert {"drawing": "artwork", "letters": "letters"}[artwork] == metric.sized_by
    assert said == (
        say(metric.height_said(metric.scale)),
        say(metric.height_said(metric.scale * 0.50999)),
        say(us.height_said(us.scale, upwards=True)),
    )
    assert said[2].replace("0.40", "0.39") == say(us.height_said(us.scale))


def test_a_name_is_the_words_or_a_drawing(book: Book) -> None:
    """Longer words than sixty characters are cut."""
    assert "HI" == sized(book, text("HI")).name
    cut = SizedArtwork(
        sized(book, text()).figure, 1.0, "H" * 90, None, by_letters=True, is_directional=False, units="us"
    ).name
    assert cut.startswith("H" * 50)
    assert len(cut) <= 62
    assert (
        "H" * 60
        in SizedArtwork(
            sized(book, text()).figure, 1.0, "H" * 60, None, by_letters=True, is_directional=False, units="us"
        ).name
    )


def test_a_drawing_alone_may_be_directional(book: Book) -> None:
    """A text is read from left to right on either shoe."""
    assert sized(book, changed(RING, directional=True)).is_directional
    assert not sized(book, RING).is_directional
    assert not sized(book, text()).is_directional


def test_fill_rules_and_svg_documents_are_read(book: Book) -> None:
    """Of two squares drawn the same way round the inner one is a hole by the even-odd rule alone."""
    squares = "M0 0H20V20H0ZM5 5H15V15H5Z"
    rules = [
        measures(sized(book, PathArtwork(d=squares, height="20 mm", fill_rule=rule))) for rule in ("nonzero", "evenodd")
    ]
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 20"><rect width="20" height="10"/></svg>'

    assert [400.0, 300.0] == [taken.area_mm2 for taken in rules]
    assert 10.0 == measures(sized(book, SvgArtwork(svg=svg, height="5 mm"))).width_mm


@pytest.mark.parametrize(
    ("artwork", "pointer"),
    [
        (PathArtwork(d="M0 0L1", height="5 mm"), "/artwork/d"),
        (SvgArtwork(svg="<svg>", height="5 mm"), "/artwork/svg"),
        (PathArtwork(d="M0 0H1V1H0Z", height="high"), "/artwork/height"),
        (TextArtwork(text="H", font="runes", height="5 mm"), "/artwork/font"),
        (TextArtwork(text="H", font="plain", letter_height="high"), "/artwork/letter_height"),
        (TextArtwork(text="\u0007", font="plain", height="5 mm"), "/artwork/text"),
    ],
)
def test_what_cannot_be_drawn_is_a_fault_at_its_part(book: Book, artwork: Artwork, pointer: str) -> None:
    """Once, at the field that is wrong."""
    assert [pointer] == [where for where, _ in faults(book, artwork)]


def test_a_font_that_lacks_a_character_names_those_that_have_it(book: Book) -> None:
    """Or no font, where none has."""
    (pointer, told), *_ = faults(book, TextArtwork(text="H\u4e00", font="plain", height="5 mm"))
    assert "/artwork/text" == pointer
    assert told.startswith("The font Fjalla One lacks ")
    assert told.endswith(": choose another font, or leave it out")
    able = {font: artwork_sizes._fonts_that_have(book, letter) for font, letter in (("all", "H"), ("none", "H\u4e00"))}
    assert {"all": sorted(book.font_files), "none": []} == able
    ((_, told),) = faults(book, TextArtwork(text="H\u0394", font="plain", height="5 mm"))  # a Greek capital delta
    assert told.endswith(": choose another font, or leave it out. The whole text can be set in Roboto Black")


@pytest.mark.parametrize(
    ("d", "height", "told"),
    [
        ("M0 0H10V10H0Z", "1000.1 mm", "1000 mm wide and 1000 mm high"),
        ("M0 0H100V10H0Z", "100.1 mm", "1001 mm wide and 100 mm high"),
        ("M0 0H10V100H0Z", "1001 mm", "100 mm wide and 1001 mm high"),
    ],
)
def test_an_artwork_larger_than_any_shoe_is_a_fault(book: Book, d: str, height: str, told: str) -> None:
    """Either way more than 1000 mm; that itself is allowed."""
    ((pointer, detail),) = faults(book, PathArtwork(d=d, height=height))

    assert "/artwork/height" == pointer
    assert f"At {height} the artwork is {told}; ask for at most 1000 mm either way" == detail
    assert 1000.0 == measures(sized(book, PathArtwork(d="M0 0H10V10H0Z", height="1000 mm"))).width_mm
    assert 1000.0 == measures(sized(book, PathArtwork(d="M0 0H100V10H0Z", height="100 mm"))).width_mm


def test_letters_wider_than_any_shoe_are_a_fault_of_their_height(book: Book) -> None:
    """At the field that was given."""
    assert ["/artwork/letter_height"] == [where for where, _ in faults(book, text("H" * 100, letter_height="60 mm"))]


def test_a_border_on_all_sides_is_added_in_millimetres(book: Book) -> None:
    """A square with a border of 2 mm is 4 mm larger either way at any scale, its height no longer that of letters."""
    square = sized(book, PathArtwork(d="M0 0H10V10H0Z", height="20 mm"))
    checks = Checks()
    bordered = with_border(square, 2.0, checks)
    letters = with_border(sized(book, text()), 1.0, checks)
    assert bordered is not None
    assert letters is not None

    assert () == checks.faults
    assert pytest.approx(24.0, abs=0.02) == measures(bordered).width_mm
    assert pytest.approx(24.0, abs=0.02) == measures(bordered).height_mm
    assert pytest.approx(576.0 - (4.0 - math.pi) * 4.0, abs=0.3) == measures(bordered).area_mm2
    assert not letters.by_letters
    assert ("artwork", "12.0 mm") == (letters.sized_by, say(letters.height_said(letters.scale * 1.0001)))


@pytest.mark.parametrize(("border_mm", "allowed"), [(50.0, True), (50.001, False)])
def test_with_its_border_no_artwork_is_larger_than_any_shoe(book: Book, border_mm: float, allowed: bool) -> None:
    """The border counts on both sides: 900 mm and twice 50 mm are the most, wide or high."""
    for d in ("M0 0H10V1H0Z", "M0 0H1V10H0Z"):
        height = "90 mm" if d.startswith("M0 0H10") else "900 mm"
        checks = Checks()
        bordered = with_border(sized(book, PathArtwork(d=d, height=height)), border_mm, checks)

        assert allowed == (bordered is not None)
        assert ([] if allowed else [("/border", "With it the artwork is larger than 1000 mm")]) == [
            (fault.pointer, fault.detail) for fault in checks.faults
        ]


def test_words_set_otherwise_keep_the_height_asked_for(book: Book) -> None:
    """Of the letters, or of the whole where that was given; too wide for any shoe there are none."""
    for asked in (text("HO"), text("HO", letter_height=None, height="10 mm")):
        before = sized(book, asked)
        assert before.lettering is not None
        bordered = before.lettered(artwork_sizes.replace(before.lettering, border=0.2))
        assert bordered is not None

        assert "10.0 mm" == say(before.height_said(before.scale))
        if asked.height is None:
            assert pytest.approx(before.scale) == bordered.scale
            assert measures(bordered).height_mm > 13.0
        else:
            assert pytest.approx(10.0, abs=1e-3) == measures(bordered).height_mm
            assert bordered.scale < before.scale
        assert 0.2 == (bordered.lettering and bordered.lettering.border)
    wide = sized(book, text("H" * 40, letter_height="30 mm"))
    assert wide.lettering is not None
    spaced = artwork_sizes.replace(wide.lettering.setting, letter_spacing=1.5)
    assert wide.lettered(artwork_sizes.replace(wide.lettering, setting=spaced)) is None


def test_a_file_is_read_by_the_plug_in_for_its_media_type(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is no Base64, has no reader or cannot be drawn is a fault at its field."""
    plugged = changed(
        book, plugins=changed(book.plugins, artwork_readers={"image/x-outline": object(), "image/x-chart": object()})
    )
    drawings = {b"square": Drawing(d="M0 0H10V10H0Z"), b"broken": Drawing(d="M0 0L1")}
    monkeypatch.setattr(artwork_sizes.plugins, "read", lambda _, content, __: drawings[content])

    def file(content: bytes, media_type: str = "image/x-outline") -> FileArtwork:
        return FileArtwork(media_type=media_type, base64=base64.b64encode(content).decode(), height="5 mm")

    assert 5.0 == measures(sized(plugged, file(b"square"))).width_mm
    ((pointer, told),) = faults(plugged, file(b"broken"))
    assert "/artwork/base64" == pointer
    assert told.startswith("Read as image/x-outline: ")
    ((pointer, told),) = faults(plugged, file(b"square", "image/x-none"))
    assert "/artwork/media_type" == pointer
    assert "they read: image/x-chart, image/x-outline." in told
    assert "they read: none." in faults(book, file(b"square"))[0][1]
    for wrong in ("QUJ", "c3F1YXJl=c3F1"):  # too short, and going on after its end
        ((pointer, told),) = faults(plugged, changed(file(b"square"), base64=wrong))
        assert "/artwork/base64" == pointer
        assert told.startswith("It is not Base64: ")


def test_a_copy_at_another_scale_is_as_fine_as_it_needs(book: Book) -> None:
    """Its curves are drawn out more finely where it is larger."""
    circle = sized(book, PathArtwork(d="M0 5a5 5 0 1 1 10 0a5 5 0 1 1 -10 0Z", height="10 mm"))
    larger = circle.sized(circle.scale * 64.0)

    assert 64.0 * circle.scale == larger.scale
    assert circle.fineness < larger.fineness
    assert larger.fineness == figures.Figure.fineness(larger.figure, larger.scale)
    assert pytest.approx(64.0 * circle.detail.stroke) == larger.detail.stroke
