from __future__ import annotations

from typing import Any

import msgspec
import pytest
from msgspec.structs import replace
from msgspec.structs import replace as changed

from featherline.wire.artworks import PathArtwork, TextArtwork
from featherline.wire.records import Film
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.order import fine_detail, letter_spacing
from featherline_service.questions.order.artwork_sizes import SizedArtwork, find_artwork
from featherline_service.questions.order.fine_detail import Flaw
from featherline_service.shape.outlines import text_mends
from featherline_service.shape.outlines.text_outlines import TextError


def sized(book: Book, words: str = "II", **more: Any) -> SizedArtwork:  # noqa: ANN401
    """Return words in letters of 10 mm."""
    asked = {"kind": "text", "text": words, "font": "plain", **({"letter_height": "10 mm"} | more)}
    there = find_artwork(book, msgspec.convert(asked, TextArtwork), "metric", Checks())
    assert there is not None
    return there


def film(book: Book, gap_mm: float, stroke_mm: float = 0.3) -> Film:
    """Return smooth film with another finest gap and stroke."""
    smooth = book.films["smooth"]
    return changed(smooth, finest=changed(smooth.finest, gap_mm=gap_mm, stroke_mm=stroke_mm, island_mm2=0.1))


def gap_of(artwork: SizedArtwork) -> float:
    """Return the narrowest gap of an artwork [mm]."""
    gap = artwork.detail.gap
    assert gap is not None
    return gap


def spacing_of(artwork: SizedArtwork | None) -> float:
    """Return the letter spacing of an artwork that is set otherwise."""
    assert artwork is not None
    assert artwork.lettering is not None
    return artwork.lettering.setting.letter_spacing


def test_letters_too_near_are_spaced_by_what_is_missing(book: Book) -> None:
    """Rounded up to thousandths of the capitals' height, so that the gap is enough and no more than needed."""
    plain = sized(book)
    wider = film(book, gap_of(plain) + 1.0)
    spaced = letter_spacing.spaced(wider, plain)
    spacing = spacing_of(spaced)
    assert spaced is not None

    assert spacing == round(spacing, 3)
    assert 0.1 <= spacing < 0.103
    assert () == fine_detail.flaws(wider, spaced.figure, spaced.scale)
    assert plain.scale == spaced.scale
    assert wider.finest.gap_mm <= gap_of(spaced) < wider.finest.gap_mm + 0.03


def test_a_spacing_is_rounded_up(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """To thousandths: 0.1201 is 0.121."""
    plain = sized(book)
    monkeypatch.setattr(letter_spacing, "_smallest", lambda *_: 0.1201)

    assert 0.121 == spacing_of(letter_spacing.spaced(film(book, gap_of(plain) + 1.2), plain))


@pytest.mark.parametrize(
    ("smallest", "spacing"), [(None, None), (2.0, 2.0), (2.0001, None), (0.05, None), (0.051, 0.051), (0.01, None)]
)
def test_a_spacing_is_larger_than_the_one_asked_for_and_at_most_two(
    book: Book, monkeypatch: pytest.MonkeyPatch, smallest: float | None, spacing: float | None
) -> None:
    """Two capital heights are the most that a request can ask for."""
    plain = sized(book, letter_spacing=0.05)
    monkeypatch.setattr(letter_spacing, "_smallest", lambda *_: smallest)
    monkeypatch.setattr(letter_spacing, "_declined", lambda *_: False)
    spaced = letter_spacing.spaced(film(book, gap_of(plain) + 0.005), plain)

    assert spacing == (None if spaced is None else spacing_of(spaced))


GAP = Flaw("fit.fine-gap", "decline", 0.5, 0.8)
TOUCH = Flaw("fit.touch", "decline", 0.01, 0.8)
STROKE = Flaw("fit.fine-stroke", "decline", 0.5, 0.8)
TIP = Flaw("fit.fine-tip", "trial", 2.0, 1.6)
NOTCH = Flaw("fit.fine-notch", "decline", 4.0, 1.6)


@pytest.mark.parametrize(
    ("flaws", "border", "tried"),
    [
        ((GAP,), 0.0, True),
        ((TOUCH,), 0.0, True),
        ((GAP, TIP), 0.0, True),
        ((STROKE,), 0.0, False),
        ((GAP, STROKE), 0.0, False),
        ((GAP, NOTCH), 0.0, False),
        ((TIP,), 0.0, False),
        ((), 0.0, False),
        ((GAP, STROKE), 0.02, True),  # a border's letters are not measured one by one
    ],
)
def test_spacing_is_tried_where_gaps_alone_are_too_fine(
    book: Book, monkeypatch: pytest.MonkeyPatch, flaws: tuple[Flaw, ...], border: float, *, tried: bool
) -> None:
    """Whatever else is declined would still be; what is to be tried first is no worse than it was."""
    asked: list[float] = []
    monkeypatch.setattr(letter_spacing, "_widened", lambda _, __, gap: asked.append(gap))
    monkeypatch.setattr(fine_detail, "flaws", lambda *_: flaws)

    assert letter_spacing.spaced(film(book, 1.0), sized(book, border=border)) is None
    assert tried == bool(asked)


def test_the_gap_is_asked_for_in_the_fonts_units(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """The film's finest gap over the scale, with the face, words, setting and border as they are."""
    asked: list[tuple[object, ...]] = []
    plain = sized(book, border=0.02)
    assert plain.lettering is not None

    def smallest(*arguments: object) -> None:
        asked.append(arguments)

    monkeypatch.setattr(text_mends, "smallest_letter_spacing", smallest)
    assert letter_spacing.spaced(film(book, 4.0), plain) is None
    lettering = plain.lettering
    assert [(lettering.face, "II", lettering.setting, 4.0 / plain.scale, 0.02)] == asked


def test_what_is_taken_or_only_tried_is_not_spaced(book: Book) -> None:
    """Nor a drawing, nor letters of which something else is too fine."""
    plain = sized(book)
    drawing = find_artwork(book, PathArtwork(d="M0 0H5V5H0ZM5.5 0H10V5H5.5Z", height="5 mm"), "metric", Checks())
    assert drawing is not None

    assert letter_spacing.spaced(film(book, 0.5), plain) is None
    assert letter_spacing.spaced(film(book, 2.0), drawing) is None
    assert letter_spacing.spaced(film(book, gap_of(plain) + 1.0, stroke_mm=9.0), plain) is None
    assert letter_spacing.spaced(film(book, gap_of(plain) + 1.0), plain) is not None


def test_letters_that_touch_are_parted(book: Book) -> None:
    """A gap of a hundredth of a millimetre is a touch."""
    touching = sized(book, letter_spacing=round(-(gap_of(sized(book)) - 0.012) / 10.0, 6))
    own = film(book, 0.5)

    assert {"fit.touch"} == {flaw.code for flaw in fine_detail.flaws(own, touching.figure, touching.scale)}
    parted = letter_spacing.spaced(own, touching)
    assert parted is not None
    assert () == fine_detail.flaws(own, parted.figure, parted.scale)


def test_on_an_arc_spacing_is_tried_again_with_the_smaller_letters(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a given height in all, a longer text has smaller letters, whose gaps are smaller again: four times at most."""
    arc = sized(book, "IIIIIIII", letter_height=None, height="10 mm", arc=4.0)
    own = film(book, gap_of(arc) + 0.3)
    gaps: list[float] = []
    solve = text_mends.smallest_letter_spacing

    def smallest(face: Any, text: str, setting: Any, gap: float, border: float) -> float | None:  # noqa: ANN401
        gaps.append(gap)
        return solve(face, text, setting, gap, border)

    monkeypatch.setattr(text_mends, "smallest_letter_spacing", smallest)
    spaced = letter_spacing.spaced(own, arc)

    assert spaced is not None
    assert 1 < len(gaps) <= 4
    assert gaps == sorted(set(gaps))
    assert pytest.approx(own.finest.gap_mm / arc.scale) == gaps[0]
    assert () == fine_detail.flaws(own, spaced.figure, spaced.scale)


def test_spacing_is_given_up_after_four_rounds(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each round asks anew for a spacing, and none that is still declined is an answer."""
    rounds: list[float] = []

    def widened(artwork: SizedArtwork, _: object, gap: float) -> SizedArtwork:
        rounds.append(gap)
        return artwork.sized(0.9 * artwork.scale)

    monkeypatch.setattr(letter_spacing, "_widened", widened)
    plain = sized(book)
    own = film(book, gap_of(plain) + 1.0)

    assert letter_spacing.spaced(own, plain) is None
    assert 4 == len(rounds)
    assert pytest.approx(own.finest.gap_mm / (0.9 * plain.scale)) == rounds[1]


def test_a_text_too_long_for_its_circle_is_not_spaced(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """The outlines refuse it, which is no fault of the request."""

    def too_long(*_: object) -> None:
        raise TextError("text.too-long", "too long")

    monkeypatch.setattr(letter_spacing, "_widened", too_long)
    plain = sized(book)

    assert letter_spacing.spaced(film(book, gap_of(plain) + 1.0), plain) is None


def test_letters_are_spaced_only_where_that_is_allowed(book: Book) -> None:
    """Else, and where spacing mends nothing, the artwork stays as it is asked for."""
    asked, spaced = sized(book), sized(book, fit_letters="space")
    own = film(book, gap_of(asked) + 1.0)

    assert asked is letter_spacing.fitted(own, asked)
    assert 0.1 <= spacing_of(letter_spacing.fitted(own, spaced)) < 0.103
    assert spaced is letter_spacing.fitted(film(book, 0.5), spaced)
    drawing = replace(spaced, lettering=None)
    assert drawing is letter_spacing.fitted(own, drawing)
