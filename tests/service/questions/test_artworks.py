from __future__ import annotations

import math
from typing import Any

import msgspec
import pytest

from featherline.wire import ArtworkAnswer, ArtworkRequest
from featherline_service.book.shop_book import Book
from featherline_service.questions import artworks
from featherline_service.questions.checks import RefusedError

TEXT = {"kind": "text", "text": "BOW 7", "font": "plain", "height": "15 mm"}
FRAME = {"kind": "path", "d": "M0 0H40V20H0ZM5 5V15H35V5ZM15 9H25V11H15Z", "height": "20 mm"}


def measured(book: Book, artwork: dict[str, Any], **more: Any) -> ArtworkAnswer:  # noqa: ANN401 - the JSON of any part
    """Return the answer to a request."""
    return artworks.measure(book, msgspec.convert({"artwork": artwork, **more}, ArtworkRequest))


def faults(book: Book, artwork: dict[str, Any], **more: Any) -> dict[str, str]:  # noqa: ANN401 - as above
    """Return the faults of a request by their pointers."""
    with pytest.raises(RefusedError) as error:
        measured(book, artwork, **more)
    return {fault.pointer: fault.detail for fault in error.value.faults}


def test_a_drawing_has_the_measures_of_its_rectangles(book: Book) -> None:
    """A frame of 5 mm around a counter with a bar in it: every figure is that of its rectangles."""
    found = measured(book, FRAME).artwork

    assert (40.0, 20.0, None) == (found.width_mm, found.height_mm, found.letter_height_mm)
    assert (800.0 - 300.0 + 20.0, 120.0 + 80.0 + 24.0) == (found.area_mm2, found.cut_length_mm)
    assert (12, 2, 2) == (found.corners, found.pieces, found.waste_pieces)
    assert (2.0, 4.0, 4.0, 20.0) == (
        found.narrowest_stroke_mm, found.narrowest_gap_mm, found.narrowest_counter_mm, found.smallest_island_mm2,
    )  # fmt: skip
    assert (0, 90.0) == (found.tips, found.sharpest_deg)


def test_a_gap_outside_is_no_counter(book: Book) -> None:
    """A slot in an edge is the narrowest gap; the counter beside it is wider."""
    slotted = {"kind": "path", "d": "M0 0H19V10H20V0H40V20H0ZM5 12V17H35V12Z", "height": "20 mm"}

    found = measured(book, slotted).artwork

    assert (1.0, 5.0) == (found.narrowest_gap_mm, found.narrowest_counter_mm)


def test_a_tip_is_told_with_its_angle(book: Book) -> None:
    """A long triangle has three corners; the one that is a tip is as sharp as its sides say."""
    found = measured(book, {"kind": "path", "d": "M0 0L40 5L0 10Z", "height": "10 mm"}).artwork

    assert (3, 1) == (found.corners, found.tips)
    assert found.sharpest_deg is not None
    assert pytest.approx(2.0 * math.degrees(math.atan(5.0 / 40.0)), abs=1e-4) == found.sharpest_deg


def test_a_disc_has_neither_corner_nor_gap(book: Book) -> None:
    """What there is none of is null."""
    found = measured(book, {"kind": "path", "d": "M0 5A5 5 0 1 1 10 5A5 5 0 1 1 0 5Z", "height": "10 mm"})

    assert (None, None, None, 0) == (
        found.artwork.narrowest_gap_mm, found.artwork.narrowest_counter_mm, found.artwork.sharpest_deg,
        found.artwork.tips,
    )  # fmt: skip
    assert (None, None, None) == (
        found.proportions.narrowest_gap, found.proportions.narrowest_counter, found.proportions.letter_height,
    )  # fmt: skip


def test_proportions_give_the_measures_at_any_height(book: Book) -> None:
    """They are the same at every height, and times the height, or its square, they are the measures there."""
    low, high = (measured(book, {**TEXT, "height": height}) for height in ("8 mm", "31 mm"))
    shares = high.proportions

    assert low.proportions == shares
    assert pytest.approx((31.0 * shares.width, 31.0 * shares.narrowest_stroke), rel=1e-4) == (
        high.artwork.width_mm, high.artwork.narrowest_stroke_mm,
    )  # fmt: skip
    assert shares.letter_height is not None
    assert shares.narrowest_gap is not None
    assert shares.narrowest_counter is not None
    assert pytest.approx((31.0 * shares.letter_height, 31.0 * shares.narrowest_gap), rel=1e-4) == (
        high.artwork.letter_height_mm, high.artwork.narrowest_gap_mm,
    )  # fmt: skip
    assert pytest.approx((31.0**2 * shares.area, 31.0**2 * shares.smallest_island), rel=1e-4) == (
        high.artwork.area_mm2, high.artwork.smallest_island_mm2,
    )  # fmt: skip
    assert pytest.approx((31.0 * shares.cut_length, 31.0 * shares.narrowest_counter), rel=1e-4) == (
        high.artwork.cut_length_mm, high.artwork.narrowest_counter_mm,
    )  # fmt: skip


@pytest.mark.parametrize("asked_by", ["height", "letter_height"])
def test_the_smallest_height_is_taken_and_a_little_less_is_not(book: Book, asked_by: str) -> None:
    """At the height from which a film takes it, each takes it; at a thousandth less it does not."""
    for film in measured(book, TEXT).films:
        assert film.smallest is not None
        height = getattr(film.smallest, f"{asked_by}_mm")
        sized = {**{name: value for name, value in TEXT.items() if name != "height"}}
        verdicts = [
            measured(book, {**sized, asked_by: f"{share * height:.4f} mm"}, film=film.film).films[0].verdict
            for share in (1.0, 0.999)
        ]
        assert ["ready", "decline"] == verdicts, film.film


def test_without_a_film_every_film_is_asked_about(book: Book) -> None:
    """All films of the book, those first that take it smallest; `taken_by` are those that take it as it is."""
    found = measured(book, TEXT)

    assert set(book.films) == {film.film for film in found.films}
    assert sorted(film.smallest.scale for film in found.films if film.smallest) == [
        film.smallest.scale for film in found.films if film.smallest
    ]
    assert {film.film for film in found.films if film.verdict == "ready"} == set(found.taken_by)
    assert 0 < len(found.taken_by) < len(book.films)
    assert {film.film for film in found.films if not film.is_cut} == {"printed"}


def test_a_named_film_is_told_of_alone_and_the_others_that_take_it_by_id(book: Book) -> None:
    """Flake film does not take letters so fine; the answer says from which height, and which films do."""
    found = measured(book, TEXT, film="flake")
    (flake,) = found.films

    assert ("flake", "decline", True) == (flake.film, flake.verdict, flake.is_cut)
    assert {"fit.fine-stroke", "fit.fine-gap"} <= {reason.code for reason in flake.reasons}
    assert flake.smallest is not None
    assert f"from {math.ceil(flake.smallest.height_mm * 10) / 10:.1f} mm high" in flake.reasons[0].sentence
    assert "smooth" in found.taken_by
    assert "flake" not in found.taken_by


def test_what_no_height_is_enough_for_has_no_smallest(book: Book) -> None:
    """A hairline between two plates would have to be larger than anything that may be asked for."""
    hairline = {"kind": "path", "d": "M0 0H400V400H0ZM400.05 0H800V400H400.05Z", "height": "100 mm"}

    (smooth,) = measured(book, hairline, film="flake").films

    assert ("decline", None) == (smooth.verdict, smooth.smallest)


def test_missing_characters_are_named_with_the_fonts_that_have_them(book: Book) -> None:
    """What the font lacks is named, and so are the fonts that can set the whole text, if there are any."""
    lacking = faults(book, {**TEXT, "text": "Ж7"})
    nowhere = faults(book, {**TEXT, "text": "漢7"})

    assert lacking["/artwork/text"].startswith("The font Fjalla One lacks 'Ж' (U+0416 CYRILLIC CAPITAL LETTER ZHE)")
    assert lacking["/artwork/text"].endswith("The whole text can be set in Roboto Black")
    assert "can be set in" not in nowhere["/artwork/text"]


def test_every_fault_is_told_at_once(book: Book) -> None:
    """A film and a font that are not there are both named, with what there is that is most like them."""
    assert {"/film", "/artwork/font"} == set(faults(book, {**TEXT, "font": "italic"}, film="velvet"))
    nearest = "smooth, stretch, flock, glow, printed and 3 more"
    assert {"/film": f"The book has no film 'smoth'; it has: {nearest}"} == faults(book, TEXT, film="smoth")


def test_sentences_are_in_the_units_asked_for(book: Book) -> None:
    """In US units sentences speak of inches, and the figures stay in millimetres."""
    (flake,) = measured(book, TEXT, film="flake", units="us").films

    assert all(" in" in reason.sentence and " mm" not in reason.sentence for reason in flake.reasons)
    assert {"mm", "mm2"} >= {reason.unit for reason in flake.reasons}


def test_films_are_in_the_order_of_the_smallest_copy_they_take(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Those that take none in any size come last."""
    scales = {"flake": None, "flock": 3.0, "glow": 0.5}
    monkeypatch.setattr(artworks.fine_detail, "smallest_scale", lambda film, *_: scales.get(film.id, 1.0))
    request = msgspec.convert({"artwork": {"kind": "path", "d": "M0 0H9V9H0Z", "height": "9 mm"}}, ArtworkRequest)
    films = [one.film for one in artworks.measure(book, request).films]

    assert ("glow", ["flock", "flake"]) == (films[0], films[-2:])


def test_proportions_have_six_digits() -> None:
    """Outlines are known to 1 in 8,192."""
    assert [1.23457, 0.000123457, 123457.0, 1.0] == [
        artworks._significant(share) for share in (1.2345678, 0.00012345678, 123456.7, 1.0)
    ]


def test_sizes_of_the_smallest_copy_are_rounded_up() -> None:
    """So that a film takes an artwork of that height."""
    assert [1.2346, 1.2346, 1.0] == [artworks._up(length) for length in (1.23451, 1.2346, 1.0)]
