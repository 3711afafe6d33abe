from __future__ import annotations

from typing import Final

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.artworks import PathArtwork, TextArtwork
from featherline.wire.measures import Mend
from featherline.wire.verdicts import Parameter, Reason
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.fit import film_limits
from featherline_service.questions.order import artwork_sizes, fine_detail
from featherline_service.questions.order.artwork_sizes import SizedArtwork, find_artwork
from featherline_service.questions.order.fine_detail import Flaw


def drawing(book: Book, d: str = "M0 0H10V10H0Z", units: str = "metric") -> SizedArtwork:
    """Return a drawing 10 mm high."""
    there = find_artwork(book, PathArtwork(d=d, height="10 mm"), units, Checks())  # type: ignore[arg-type]
    assert there is not None
    return there


def words(book: Book, text: str = "II", units: str = "metric", **more: object) -> SizedArtwork:
    """Return a text in letters of 10 mm."""
    asked = {"kind": "text", "text": text, "font": "plain", "letter_height": "10 mm", **more}
    there = find_artwork(book, msgspec.convert(asked, TextArtwork), units, Checks())  # type: ignore[arg-type]
    assert there is not None
    return there


def mend(kind: str, value: float | str, verdict: str = "ready", *, fits: bool | None = True) -> Mend:
    """Return a mend: a height in millimetres, a letter spacing that is ten times as wide, or the id of a record."""
    told = (
        ()
        if isinstance(value, str)
        else (
            Parameter(name="height", value=value, unit="mm", decimals=1),
            Parameter(name="added", value=10.0 * value, unit="mm", decimals=1),
            Parameter(name="letter_spacing", value=value, decimals=1),
        )
    )
    return Mend(
        kind=kind, subject="/film", value=value, verdict=verdict, fits=fits, sentence="Mend it.", parameters=told  # type: ignore[arg-type]
    )  # fmt: skip


def reasons(
    book: Book, monkeypatch: pytest.MonkeyPatch, artwork: SizedArtwork, *flaws: Flaw, mends: tuple[Mend, ...] = ()
) -> list[Reason]:
    """Return why an artwork with some flaws is too fine for a film with a finest stroke of 0.8 mm and gap of 0.7 mm."""
    smooth = book.films["smooth"]
    film = replace(smooth, finest=replace(smooth.finest, stroke_mm=0.8, gap_mm=0.7))
    monkeypatch.setattr(fine_detail, "flaws", lambda *_: flaws)
    return list(film_limits.too_fine(book, film, artwork, mends))


NAME: Final = "Smooth polyurethane film"
UNCURED = " No letter spacing, height, font or film of the book mends all of it here: change the artwork."
TAPER: Final = "is 2.5 mm long where it is narrower than"
GUESS: Final = "(a guess, no source)"


@pytest.mark.parametrize(
    ("flaw", "sentence", "told"),
    [
        (
            Flaw("fit.fine-stroke", "decline", 0.61111, 0.8),
            f"The narrowest stroke is 0.6 mm; {NAME} takes 0.8 mm.{UNCURED}",
            ("mm", None),
        ),
        (
            Flaw("fit.fine-gap", "decline", 0.61111, 0.7),
            f"The narrowest gap is 0.6 mm; {NAME} takes 0.7 mm.{UNCURED}",
            ("mm", None),
        ),
        (
            Flaw("fit.fine-island", "decline", 1.23456, 1.5),
            f"The smallest piece has 1.23 mm²; {NAME} takes 1.50 mm².{UNCURED}",
            ("mm2", None),
        ),
        (
            Flaw("fit.touch", "decline", 0.01, 0.7, 1),
            "Outlines touch in a point, neither joined nor apart: let them overlap, or part them by 0.7 mm.",
            ("mm", None),
        ),
        (
            Flaw("fit.touch", "decline", 0.01, 0.71, 3),
            "Outlines touch in 3 points, neither joined nor apart: let them overlap, or part them by 0.8 mm.",
            ("mm", None),
        ),
        (
            Flaw("fit.fine-tip", "trial", 2.41, 1.69, 1),
            f"The longest tip {TAPER} 0.8 mm; a tip longer than 1.6 mm lifts {GUESS}: try it first, or blunt it.",
            ("mm", "guess"),
        ),
        (
            Flaw("fit.fine-notch", "decline", 2.41, 1.69, 2),
            f"The longest notch of 2 {TAPER} 0.7 mm; a notch longer than 1.6 mm does not weed clean {GUESS}: open it.",
            ("mm", "guess"),
        ),
    ],
)
def test_a_flaw_is_said_with_its_measure_and_limit(
    book: Book, monkeypatch: pytest.MonkeyPatch, flaw: Flaw, sentence: str, told: tuple[str, str | None]
) -> None:
    """Measures to the nearest tenth, what promises something rounded so that it holds; tips and notches are guesses."""
    (reason,) = reasons(book, monkeypatch, drawing(book), flaw)

    assert sentence == reason.sentence
    assert (flaw.code, flaw.verdict, "/artwork", round(flaw.measure, 4), flaw.limit, *told) == (
        reason.code,
        reason.verdict,
        reason.subject,
        reason.measure,
        reason.limit,
        reason.unit,
        reason.evidence,
    )


def test_areas_and_lengths_are_said_in_inches_too(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """A square inch is 645.16 mm2 (exactly, by the inch of 25.4 mm)."""
    island, stroke = reasons(
        book,
        monkeypatch,
        drawing(book, units="us"),
        Flaw("fit.fine-island", "decline", 0.64516, 1.29032),
        Flaw("fit.fine-stroke", "decline", 0.254, 0.762),
    )

    assert "0.0010 in²" in island.sentence
    assert "0.0020 in²" in island.sentence
    assert "is 0.01 in; " in stroke.sentence
    assert "takes 0.03 in." in stroke.sentence


def test_a_gap_between_letters_is_said_to_be_one(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is where no gap within a letter is narrower; a drawing has no letters, and a stroke lies within one."""
    text = words(book)
    letters = text.figure.letters
    assert letters is not None
    between = letters.gap * text.scale
    same, within, stroke = reasons(
        book,
        monkeypatch,
        text,
        Flaw("fit.fine-gap", "decline", between, 3.0),
        Flaw("fit.fine-gap", "decline", 0.999 * between, 3.0),
        Flaw("fit.fine-stroke", "decline", between, 3.0),
    )

    assert same.sentence.startswith("The narrowest gap between letters is ")
    assert within.sentence.startswith("The narrowest gap is ")
    assert stroke.sentence.startswith("The narrowest stroke is ")
    (touch,) = reasons(book, monkeypatch, text, Flaw("fit.touch", "decline", 0.0, 0.7))
    assert touch.sentence.startswith("Letters touch in a point")


def test_what_mends_a_flaw_follows_it(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Spacing and height, the fonts, and the films in one sentence, of which only those that are ready are named."""
    flaw = Flaw("fit.fine-stroke", "decline", 0.5, 0.8)
    mends = (
        mend("film", "printed"),
        mend("height", 20.0),
        mend("film", "glow", "trial"),
        mend("film", "stretch", fits=None),
        mend("spacing", 0.1, fits=False),
        mend("font", "bold", "trial"),
    )
    (reason,) = reasons(book, monkeypatch, drawing(book), flaw, mends=mends)
    films = f"{book.films['printed'].name}; {book.films['stretch'].name}"

    assert reason.sentence.endswith(
        f"takes 0.8 mm. It can be cut and weeded from 20.0 mm high. In {book.fonts['bold'].name} it can be cut and "
        f"weeded at this height. At this size these films take it: {films}."
    )
    told = {parameter.name: parameter for parameter in reason.parameters}
    assert Parameter(name="height", value=20.0, unit="mm", decimals=1) == told["height"]
    assert Parameter(name="films", value=("printed", "stretch"), record="films") == told["films"]
    assert (None, "here") == (told["added"].value, told["mended"].value)


def test_wider_spacing_mends_and_a_single_film_takes_it(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """The spacing is said with what it adds."""
    flaw = Flaw("fit.fine-gap", "decline", 0.5, 0.8)
    (reason,) = reasons(book, monkeypatch, words(book), flaw, mends=(mend("spacing", 0.1), mend("film", "printed")))
    assert reason.sentence.endswith(
        " With its letters 1.0 mm further apart (letter spacing 0.1) it can be cut and weeded at this height. At this "
        f"size this film takes it: {book.films['printed'].name}."
    )


def test_what_does_not_fit_is_advised_only_if_nothing_else_is(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is said to mend, and that the panel has no room for it."""
    flaw = Flaw("fit.fine-stroke", "decline", 0.5, 0.8)
    large = mend("height", 200.0, fits=False)
    (alone,) = reasons(book, monkeypatch, drawing(book), flaw, mends=(large,))
    (tried,) = reasons(book, monkeypatch, drawing(book), flaw, mends=(large, mend("film", "glow", "trial")))

    assert alone.sentence.endswith(
        "takes 0.8 mm. It can be cut and weeded from 200.0 mm high. So it does not fit where it is asked for: move "
        "it, or take another panel."
    )
    assert tried.sentence.endswith("takes 0.8 mm.")


def test_letters_that_were_spaced_are_remarked_on(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the spacing, rounded up; none that was asked for, or that is zero, is remarked on."""
    plain = words(book)
    assert plain.lettering is not None
    setting = artwork_sizes.replace(plain.lettering.setting, letter_spacing=0.0213)
    spaced = artwork_sizes.replace(plain, lettering=artwork_sizes.replace(plain.lettering, setting=setting))
    asked = words(book, letter_spacing=0.0213)
    assert asked.lettering is not None
    closed = artwork_sizes.replace(asked, lettering=artwork_sizes.replace(plain.lettering, asked_spacing=0.05))
    (reason,) = reasons(book, monkeypatch, spaced)

    assert ("fit.letters-spaced", "ready", "/artwork/letter_spacing", 0.213, None, "mm") == (
        reason.code,
        reason.verdict,
        reason.subject,
        reason.measure,
        reason.limit,
        reason.unit,
    )
    assert reason.sentence == (
        f"The letters are set 0.3 mm further apart than the font has them (letter spacing 0.0213), so that {NAME} "
        "can be weeded between them."
    )
    assert [] == reasons(book, monkeypatch, asked)
    assert [] == reasons(book, monkeypatch, closed)
    assert [] == reasons(book, monkeypatch, drawing(book))


def test_films_that_take_an_artwork_have_no_flaw_in_it(book: Book) -> None:
    """A bar of 1 mm is too fine for film with a finest stroke of 1.2 mm or more, by the book."""
    bar = drawing(book, "M0 0H1V10H0Z")

    assert {film.id for film in book.films.values() if film.finest.stroke_mm <= 1.0} == {
        film.id for film in film_limits.taken_by(book, bar)
    }
