from __future__ import annotations

import inspect
import random
import re
from collections.abc import Callable
from typing import Any

import msgspec
import pytest
from draws import drawn
from msgspec.structs import replace

from featherline.wire.artworks import Artwork, PathArtwork, TextArtwork
from featherline.wire.fits import Fit, FitRequest
from featherline.wire.measures import ArtworkRequest, FilmVerdict
from featherline.wire.records import Film
from featherline_service.book.shop_book import Book
from featherline_service.questions import artworks
from featherline_service.questions.checks import Checks
from featherline_service.questions.fit import fits
from featherline_service.questions.fit import mends as module
from featherline_service.questions.fit.mends import mends
from featherline_service.questions.order import fine_detail, letter_spacing
from featherline_service.questions.order.artwork_sizes import Lettering, SizedArtwork, find_artwork
from featherline_service.questions.order.fine_detail import Flaw
from featherline_service.shape.outlines.curves import DrawingError

SYLLABLES = (
    "Á", "la", "Ör", "Šte", "mi", "ne", "Çe", "lik", "Ña", "Łu", "kasz", "Wil", "AV", "To", "fi", "Ty", "rij", "Zoë",
    "Ægir", "Ünal", "McK", "O'B", "St. J", "Ø", "J", "LT", "VA", "Ž", "ß",
)  # fmt: skip
FILMS = ("smooth", "stretch", "metallic", "flock")
DECK = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}


@pytest.fixture(autouse=True)
def _nothing_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Look for better films in every test anew: some tests say which flaws there are."""
    monkeypatch.setattr(module, "_better_films", inspect.unwrap(module._better_films))


def judged(book: Book, film: str, artwork: dict[str, Any]) -> FilmVerdict:
    """Return what a film says of an artwork."""
    asked = msgspec.convert({"artwork": artwork, "film": film}, ArtworkRequest)
    (answer,) = artworks.measure(book, asked).films
    return answer


def lettered(text: str, **changes: Any) -> dict[str, Any]:  # noqa: ANN401 - the JSON of any field
    """Return a text of the plain font, 11 mm high."""
    return {"kind": "text", "text": text, "font": "plain", "letter_height": "11 mm", **changes}


def placed(book: Book, film: str, artwork: dict[str, Any], **changes: Any) -> Fit:  # noqa: ANN401 - as above
    """Return the fit of an artwork on a deck shoe."""
    asked = {"shoe": DECK, "panel": "outer-quarter", "film": film, "artwork": artwork, **changes}
    return fits.check(book, msgspec.convert(asked, FitRequest))


def names(count: int) -> list[tuple[str, str, str, str]]:
    """Return texts with their fonts, letter heights and films, as drawn from a fixed seed."""
    draw = random.Random(20)  # noqa: S311 - a sample, not a secret
    return [
        (
            "".join(draw.choice(SYLLABLES) for _ in range(draw.randint(1, 3))),
            draw.choice(("plain", "bold")),
            f"{draw.uniform(9.0, 14.0):.1f} mm",
            draw.choice(FILMS),
        )
        for _ in range(count)
    ]


@pytest.mark.slow
def test_every_decline_of_a_name_carries_mends_that_mend_it(book: Book) -> None:
    """Of names of 9 to 14 mm every declined one has a mend, and each mend, asked for, has the verdict it states."""
    declined, kinds = 0, set()
    for text, font, height, film in names(drawn(200)):
        artwork = lettered(text, font=font, letter_height=height)
        answer = judged(book, film, artwork)
        if answer.verdict != "decline":
            continue
        declined += 1
        assert answer.mends, (text, font, height, film)
        for mend in answer.mends:
            kinds.add(mend.kind)
            field = mend.subject.rpartition("/")[2]
            again = (
                judged(book, str(mend.value), artwork)
                if field == "film"
                else judged(book, film, {**artwork, field: mend.value})
            )
            assert mend.verdict == again.verdict != "decline", (text, font, height, film, mend)

    assert declined > 0.3 * drawn(200)
    assert {"spacing", "height", "font", "film"} == kinds


def test_spacing_that_mends_a_gap_comes_first_and_nearly_less_does_not_mend(book: Book) -> None:
    """HILL stands too close for stretch film: the spacing opens the gap, and a little less of it does not."""
    close = lettered("HILL", letter_spacing=-0.08)
    answer = judged(book, "stretch", close)
    mend = answer.mends[0]

    assert ("decline", "spacing", "/artwork/letter_spacing") == (answer.verdict, mend.kind, mend.subject)
    assert isinstance(mend.value, float)
    assert "ready" == judged(book, "stretch", {**close, "letter_spacing": mend.value}).verdict
    assert "decline" == judged(book, "stretch", {**close, "letter_spacing": mend.value - 0.005}).verdict
    assert mend.sentence in answer.reasons[0].sentence
    assert "between letters" in answer.reasons[0].sentence


def test_letters_that_touch_are_said_to_touch(book: Book) -> None:
    """Letters a hair apart touch; the answer has the spacing that parts them, and no absurd height."""
    gap = judged(book, "smooth", lettered("HH")).smallest
    assert gap is not None
    apart = artworks.measure(
        book, msgspec.convert({"artwork": lettered("HH"), "film": "smooth"}, ArtworkRequest)
    ).artwork.narrowest_gap_mm
    assert apart is not None
    touching = lettered("HH", letter_spacing=round(-(apart - 0.012) / 11.0, 6))

    answer = judged(book, "smooth", touching)

    assert ["fit.touch"] == [reason.code for reason in answer.reasons]
    assert answer.reasons[0].sentence.startswith("Letters touch in ")
    assert "spacing" == answer.mends[0].kind
    assert "height" not in {mend.kind for mend in answer.mends}
    assert answer.smallest is None


def test_a_mend_says_whether_it_still_fits(book: Book) -> None:
    """A height that the panel has no room for is a mend that does not fit, comes last, and is not advised."""
    fit = placed(book, "flake", lettered("TIDE", letter_height="12 mm"))
    height = next(mend for mend in fit.mends if mend.kind == "height")

    assert height.fits is not None
    again = placed(book, "flake", lettered("TIDE", letter_height=height.value))
    assert height.fits == ("fit.outside" not in {reason.code for reason in again.reasons})
    order = [(mend.verdict != "ready", mend.fits is False) for mend in fit.mends]
    assert sorted(order) == order
    assert height.fits or height.sentence not in fit.reasons[0].sentence


@pytest.mark.slow
def test_no_height_is_larger_than_panel_and_pad(book: Book) -> None:
    """Of names on a quarter, no height to mend them makes them larger than the quarter's box or the largest pad."""
    quarter = book.shoes["regatta-deck"].panels[0]
    growth = 800.0 / 3.0 / 260.0  # EU 42 has a foot of 266.7 mm, drawn at 260 mm; around it grows less
    xs = [float(x) for x in re.findall(r"([0-9.]+) [0-9.]+", quarter.outline)]
    ys = [float(y) for y in re.findall(r"[0-9.]+ ([0-9.]+)", quarter.outline)]
    pads = [book.platens[name] for name in book.presses["swing"].platens if "outer" in book.platens[name].faces]
    held = max(pad.length_mm - 2.0 * pad.rim_mm for pad in pads)
    heights = 0
    for text, font, height, film in names(40):
        fit = placed(book, film, lettered(text, font=font, letter_height=height))
        for mend in fit.mends:
            if mend.kind == "height":
                heights += 1
                scale = float(str(mend.value).split()[0]) / float(height.split()[0])
                assert scale * fit.artwork.width_mm < min(growth * (max(xs) - min(xs)), held)
                assert scale * fit.artwork.height_mm < growth * (max(ys) - min(ys))
    assert heights > 5


def test_that_nothing_mends_it_is_said(book: Book) -> None:
    """A hair no film takes, too long for panel and pads once it is thick enough: its reason offers nothing."""
    hair = {"kind": "path", "d": "M0 0H80V0.05H0Z", "height": "0.05 mm"}
    fit = placed(book, "smooth", hair)
    alone = judged(book, "smooth", hair)

    assert ((), ()) == (fit.mends, alone.mends)
    assert None is alone.smallest
    for reasons in (fit.reasons, alone.reasons):
        sentence = next(reason.sentence for reason in reasons if reason.code == "fit.fine-stroke")
        assert "of the book mends all of it here: change the artwork." in sentence


def test_what_does_not_fit_is_said_to_need_another_place(book: Book) -> None:
    """A bar that is thick enough only once it is too wide for where it is: what mends it is said not to fit there."""
    bar = {"kind": "path", "d": "M0 0H40V0.4H0Z", "height": "0.4 mm"}
    fit = placed(book, "smooth", bar, pose={"kind": "at", "x": "30 mm", "y": "-4 mm"})
    sentence = next(reason.sentence for reason in fit.reasons if reason.code == "fit.fine-stroke")

    assert {False} == {mend.fits for mend in fit.mends}
    assert sentence.endswith("So it does not fit where it is asked for: move it, or take another panel.")


def test_what_can_be_cut_has_no_mends(book: Book) -> None:
    """An artwork that the film takes has no mends, with a panel or without."""
    assert () == placed(book, "smooth", lettered("TIDE", letter_height="20 mm")).mends
    assert () == judged(book, "smooth", lettered("TIDE", letter_height="20 mm")).mends


def test_letters_are_spaced_where_that_is_allowed(book: Book) -> None:
    """With "space" the service takes the smallest spacing that mends the text, and names it; the fit is that of it."""
    close = lettered("HILL", letter_spacing=-0.08)
    mend = judged(book, "stretch", close).mends[0]

    fit = placed(book, "stretch", {**close, "fit_letters": "space"})
    alone = placed(book, "stretch", {**close, "letter_spacing": mend.value})

    (remark,) = [reason for reason in fit.reasons if reason.code == "fit.letters-spaced"]
    assert "ready" == remark.verdict
    assert f"letter spacing {mend.value:g}" in remark.sentence
    assert mend.value == fit.artwork.letter_spacing
    assert isinstance(mend.value, float)
    assert pytest.approx(11.0 * mend.value, abs=1e-3) == fit.artwork.letter_spacing_mm == remark.measure
    assert (alone.artwork, alone.clearance_mm, alone.largest) == (fit.artwork, fit.clearance_mm, fit.largest)


def test_letters_that_spacing_cannot_mend_stay_as_asked(book: Book) -> None:
    """A stroke too fine for flake film is declined as without "space"; a text that is well stays as it is."""
    fine = judged(book, "flake", lettered("TIDE", fit_letters="space"))
    well = placed(book, "smooth", lettered("TIDE", letter_height="20 mm", fit_letters="space"))

    assert "decline" == fine.verdict
    assert "fit.letters-spaced" not in {reason.code for reason in (*fine.reasons, *well.reasons)}
    assert 0.0 == well.artwork.letter_spacing


@pytest.mark.parametrize(
    ("d", "height", "said"),
    [
        # A bar 0.7997 mm thick against 0.8 mm, and one of 0.4 mm.
        ("M0 0H30V9H0Z", "0.7997 mm", "is 0.7997 mm; Smooth film takes 0.8 mm"),
        ("M0 0H30V9H0Z", "0.4 mm", "is 0.4 mm; Smooth film takes 0.8 mm"),
    ],
)
def test_measures_in_words_are_below_their_limits(book: Book, d: str, height: str, said: str) -> None:
    """A stroke that is nearly enough is said with as many decimals as show that it is not."""
    answer = judged(book, "smooth", {"kind": "path", "d": d, "height": height})
    sentence = next(reason.sentence for reason in answer.reasons if reason.code == "fit.fine-stroke")

    assert said.split(";", maxsplit=1)[0].split()[1] in sentence
    assert float(sentence.split(" is ")[1].split(" mm")[0]) < float(sentence.split(" takes ")[1].split(" mm")[0])


def drawing(book: Book) -> SizedArtwork:
    """Return a bar of 10 mm."""
    there = find_artwork(book, PathArtwork(d="M0 0H20V10H0Z", height="10 mm"), "metric", Checks())
    assert there is not None
    return there


def test_films_are_named_by_how_near_their_finest_stroke_is(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """In proportion, whether finer or coarser: stretch film's is 1.5 times smooth film's 0.8 mm, printed film's 0.6."""
    fine = Flaw("fit.fine-stroke", "decline", 0.5, 0.8)
    monkeypatch.setattr(
        fine_detail, "flaws", lambda film, *_: () if film.id in {"printed", "stretch", "flake"} else (fine,)
    )
    monkeypatch.setattr(fine_detail, "smallest_scale", lambda *_: None)

    assert ["stretch", "printed", "flake"] == [one.value for one in mends(book, book.films["smooth"], drawing(book))]


@pytest.mark.parametrize(("taken_to", "height"), [(2.0, "12.4 mm"), (1.2339, None)])
def test_a_height_is_rounded_up_and_judged_again(
    book: Book, monkeypatch: pytest.MonkeyPatch, taken_to: float, height: str | None
) -> None:
    """12.34 mm is said to be 12.4 mm, and is no mend where that is taken no more."""
    fine = Flaw("fit.fine-stroke", "decline", 0.5, 0.8)
    monkeypatch.setattr(
        fine_detail, "flaws", lambda film, _, scale: () if film.id == "smooth" and 1.2 < scale < taken_to else (fine,)
    )
    monkeypatch.setattr(fine_detail, "smallest_scale", lambda *_: 1.2338)
    told = mends(book, book.films["smooth"], drawing(book))

    assert ([] if height is None else [("height", height, "ready")]) == [
        (one.kind, one.value, one.verdict) for one in told
    ]


def test_what_fits_and_is_surer_comes_first(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ready before to be tried, fitting before not, then the least change; an artwork that is taken has no mends."""
    flaws = {
        "stretch": (Flaw("fit.fine-tip", "trial", 2.0, 1.0),),
        "printed": (),
        "metallic": (),
    }
    fine = (Flaw("fit.fine-stroke", "decline", 0.5, 0.8),)
    monkeypatch.setattr(
        fine_detail,
        "flaws",
        lambda film, _, scale: flaws.get(film.id, fine) if film.id != "smooth" or scale < 2.0 else (),
    )
    monkeypatch.setattr(fine_detail, "smallest_scale", lambda *_: 2.0)
    told = mends(book, book.films["smooth"], drawing(book), lambda artwork: artwork.scale < 1.5)

    assert [
        ("film", "printed", True),
        ("film", "metallic", True),
        ("height", "20.0 mm", False),
        ("film", "stretch", True),
    ] == [(one.kind, one.value, one.fits) for one in told]
    monkeypatch.setattr(fine_detail, "flaws", lambda *_: ())
    assert () == mends(book, book.films["smooth"], drawing(book))


@pytest.mark.parametrize(
    ("artwork", "subject", "said"),
    [
        (PathArtwork(d="M0 0H20V10H0Z", height="10 mm"), "/artwork/height", "from 15.0 mm high."),
        (TextArtwork(text="II", font="plain", height="10 mm"), "/artwork/height", "from 15.0 mm high."),
        (
            TextArtwork(text="II", font="plain", letter_height="10 mm"),
            "/artwork/letter_height",
            "from letters 15.0 mm high.",
        ),
    ],
)
def test_a_height_is_that_which_was_asked_for(
    book: Book, monkeypatch: pytest.MonkeyPatch, artwork: Artwork, subject: str, said: str
) -> None:
    """Of the whole or of its letters; at half as much again it is taken."""
    there = find_artwork(book, artwork, "metric", Checks())
    assert there is not None
    fine = (Flaw("fit.fine-stroke", "decline", 0.5, 0.8),)
    monkeypatch.setattr(
        fine_detail,
        "flaws",
        lambda film, _, scale: () if film.id == "smooth" and scale > 1.4 * there.scale else fine,
    )
    asked: list[float] = []

    def smallest_scale(_: object, __: object, scale: float, most: float, ___: object) -> float:
        asked.append(most)
        return 1.4999 * scale

    monkeypatch.setattr(fine_detail, "smallest_scale", smallest_scale)
    (height,) = (one for one in mends(book, book.films["smooth"], there) if one.kind == "height")

    assert (subject, "15.0 mm", None) == (height.subject, height.value, height.fits)
    assert height.sentence.endswith(said)
    assert [1000.0 / max(there.figure.width, there.figure.height)] == asked


def test_other_fonts_are_tried_and_the_own_is_not(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each that has the characters, at the same height; a drawing has none."""
    text = TextArtwork(text="II", font="plain", letter_height="10 mm")
    there = find_artwork(book, text, "metric", Checks())
    assert there is not None
    fine = (Flaw("fit.fine-stroke", "decline", 0.5, 0.8),)
    monkeypatch.setattr(
        fine_detail, "flaws", lambda film, figure, _: () if film.id == "smooth" and figure is not there.figure else fine
    )
    monkeypatch.setattr(fine_detail, "smallest_scale", lambda *_: None)
    told = [one for one in mends(book, book.films["smooth"], there) if one.kind == "font"]

    assert {font for font in book.fonts if font != "plain"} == {one.value for one in told}
    assert {("/artwork/font", "ready")} == {(one.subject, one.verdict) for one in told}
    assert all(f"In {book.fonts[str(one.value)].name} it can be cut and weeded at" in one.sentence for one in told)
    assert [] == [one for one in mends(book, book.films["smooth"], drawing(book)) if one.kind == "font"]


FINE = Flaw("fit.fine-stroke", "decline", 0.5, 0.8)


def words(book: Book, **changes: Any) -> SizedArtwork:  # noqa: ANN401 - of any field
    """Return a text with letters 10 mm high."""
    text = TextArtwork(text="II", font="bold", letter_height="10 mm")
    there = find_artwork(book, msgspec.structs.replace(text, **changes), "metric", Checks())
    assert there is not None
    return there


def spaced_by(spacing: float) -> Callable[[Film, SizedArtwork], SizedArtwork | None]:
    """Return what gives a text this letter spacing."""

    def spaced(_: Film, artwork: SizedArtwork) -> SizedArtwork | None:
        own = artwork.lettering
        assert own is not None
        return artwork.lettered(replace(own, setting=replace(own.setting, letter_spacing=spacing)))

    return spaced


@pytest.mark.parametrize(("asked", "added"), [(0.0, "1.3 mm"), (-0.08, "2.1 mm"), (0.1, "0.3 mm")])
def test_letters_are_said_to_go_further_apart_by_what_is_added(
    book: Book, monkeypatch: pytest.MonkeyPatch, asked: float, added: str
) -> None:
    """The spacing is a share of the letters' height, 10 mm: 0.13 is 1.3 mm, less what is there already."""
    monkeypatch.setattr(letter_spacing, "spaced", spaced_by(0.13))
    monkeypatch.setattr(fine_detail, "flaws", lambda *_: (FINE,))
    monkeypatch.setattr(fine_detail, "smallest_scale", lambda *_: None)
    (mend,) = mends(book, book.films["smooth"], words(book, letter_spacing=asked))

    assert ("spacing", "/artwork/letter_spacing", 0.13, "decline", None) == (
        mend.kind, mend.subject, mend.value, mend.verdict, mend.fits,
    )  # fmt: skip
    assert mend.sentence == (
        f"With its letters {added} further apart (letter spacing 0.13) it can be cut and weeded at this height."
    )


@pytest.mark.parametrize(("enlarged", "kinds"), [(1.1, ["height", "spacing"]), (1.9, ["spacing", "height"])])
def test_of_spacing_and_height_what_widens_less_comes_first(
    book: Book, monkeypatch: pytest.MonkeyPatch, enlarged: float, kinds: list[str]
) -> None:
    """Two letters, 3 mm further apart, are less than 1.9 times and more than 1.1 times as wide; both fit or do not."""
    there = words(book)
    wider = spaced_by(0.3)(book.films["smooth"], there)
    assert wider is not None
    growth = wider.figure.width * wider.scale / (there.figure.width * there.scale)
    assert 1.2 < growth < 1.8
    monkeypatch.setattr(letter_spacing, "spaced", lambda *_: wider)
    monkeypatch.setattr(
        fine_detail,
        "flaws",
        lambda film, figure, scale: (
            () if film.id == "smooth" and (figure is wider.figure or scale > 1.05 * there.scale) else (FINE,)
        ),
    )
    monkeypatch.setattr(fine_detail, "smallest_scale", lambda *_: enlarged * there.scale)
    monkeypatch.setattr(SizedArtwork, "lettered", lambda *_: None)
    fitting, crowded = (mends(book, book.films["smooth"], there, lambda _, says=says: says) for says in (True, False))

    assert [(kind, True, "ready") for kind in kinds] == [(one.kind, one.fits, one.verdict) for one in fitting]
    assert [(kind, False) for kind in kinds] == [(one.kind, one.fits) for one in crowded]


def test_fonts_are_named_by_how_near_their_width_is(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """1.1 times as wide before 1.3 times, and that before 0.6 times; one that lacks a letter does not end the search.

    Each font is judged, and asked whether it fits, as it is set.
    """
    there = words(book)
    shares = {"wide": 1.3, "narrow": 0.6, "near": 1.1}
    record, file = book.fonts["bold"], book.font_files["bold"]
    names = ("lacking", "wide", "too-long", "narrow", "bold", "near")
    own = msgspec.structs.replace(
        book, fonts=dict.fromkeys(names, record), font_files=dict.fromkeys(names, file), films={}
    )

    def lettered(artwork: SizedArtwork, lettering: Lettering) -> SizedArtwork | None:
        assert lettering.text == "II"
        if lettering.font == "lacking":
            raise DrawingError("drawing.no-area", "The font has no I")
        share = shares.get(lettering.font)
        return None if share is None else replace(artwork, scale=share * artwork.scale, lettering=lettering)

    monkeypatch.setattr(SizedArtwork, "lettered", lettered)
    monkeypatch.setattr(letter_spacing, "spaced", lambda *_: None)
    monkeypatch.setattr(fine_detail, "smallest_scale", lambda *_: None)
    monkeypatch.setattr(fine_detail, "flaws", lambda _, __, scale: (FINE,) if scale == there.scale else ())
    told, crowded = (
        mends(own, book.films["smooth"], there, fits)
        for fits in (None, lambda artwork: artwork.scale < 1.2 * there.scale)
    )

    assert [("near", None), ("wide", None), ("narrow", None)] == [(one.value, one.fits) for one in told]
    assert [("near", True), ("narrow", True), ("wide", False)] == [(one.value, one.fits) for one in crowded]
    assert f"In {record.name} it can be cut and weeded at this height." == told[0].sentence


def test_what_changes_the_artwork_less_comes_first(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its height, then its font, then its film, however little another font or film differs."""
    there = words(book)
    monkeypatch.setattr(letter_spacing, "spaced", lambda *_: None)
    monkeypatch.setattr(fine_detail, "smallest_scale", lambda *_: 3.0 * there.scale)
    monkeypatch.setattr(
        fine_detail,
        "flaws",
        lambda film, figure, scale: (
            (FINE,) if (film.id, figure, scale) == ("smooth", there.figure, there.scale) else ()
        ),
    )
    kinds = [one.kind for one in mends(book, book.films["smooth"], there)]

    assert ["height", *["font"] * (len(book.fonts) - 1), *["film"] * (len(book.films) - 1)] == kinds


def test_a_larger_copy_that_cannot_be_drawn_is_no_mend(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """A larger drawing has finer curves, which may be too many; films that take it as it is are still named."""

    def smallest_scale(*_: object) -> float:
        raise DrawingError("drawing.too-many-points", "The curves are too many")

    monkeypatch.setattr(fine_detail, "smallest_scale", smallest_scale)
    monkeypatch.setattr(fine_detail, "flaws", lambda film, *_: () if film.id == "stretch" else (FINE,))
    (mend,) = mends(book, book.films["smooth"], drawing(book))

    assert ("film", "/film", "stretch", "ready", None, f"{book.films['stretch'].name} takes it at this size.") == (
        mend.kind, mend.subject, mend.value, mend.verdict, mend.fits, mend.sentence,
    )  # fmt: skip


@pytest.mark.parametrize(("most", "height"), [(1.239, []), (1.24, ["12.4 mm"]), (2.0, ["12.4 mm"])])
def test_no_height_is_beyond_what_panel_and_press_take(
    book: Book, monkeypatch: pytest.MonkeyPatch, most: float, height: list[str]
) -> None:
    """12.34 mm, said as 12.4 mm, is 1.24 times the height: as much as may be is no more than may be."""
    asked: list[float] = []

    def smallest_scale(_: object, __: object, scale: float, largest: float, ___: object) -> float:
        asked.append(largest)
        return 1.234 * scale

    monkeypatch.setattr(fine_detail, "smallest_scale", smallest_scale)
    monkeypatch.setattr(fine_detail, "flaws", lambda film, _, s: () if film.id == "printed" and s > 1.2 else (FINE,))
    told = mends(book, book.films["printed"], drawing(book), most=most)

    assert [most] == asked
    assert height == [one.value for one in told]
    assert [f"It can be printed from {one} high." for one in height] == [one.sentence for one in told]


def test_an_artwork_to_be_tried_is_mended_too(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """By what takes it as it is, and not by what would have to be tried as well."""
    tip = Flaw("fit.fine-tip", "trial", 2.0, 1.0)
    flaws = {"smooth": (tip,), "stretch": (tip,), "printed": ()}
    monkeypatch.setattr(fine_detail, "flaws", lambda film, *_: flaws.get(film.id, (FINE,)))
    monkeypatch.setattr(fine_detail, "smallest_scale", lambda *_: None)

    assert [("printed", "ready")] == [
        (one.value, one.verdict) for one in mends(book, book.films["smooth"], drawing(book))
    ]
