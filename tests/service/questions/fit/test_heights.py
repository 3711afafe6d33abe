"""Heights at which an artwork fits and can be made: the change that does it, or that there is none."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from featherline.wire.artworks import At, PathArtwork, TextArtwork
from featherline.wire.fits import Fit, FitRequest
from featherline.wire.records import Film
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.shop_book import Book
from featherline_service.questions.fit import fits
from featherline_service.questions.order import fine_detail
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.figures import Figure

NAME = TextArtwork(text="MARLOW", font="plain", letter_height="30 mm")
DECK = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
ASKED = FitRequest(shoe=DECK, panel="outer-quarter", film="smooth", artwork=NAME)


def fit(book: Book, **changes: Any) -> Fit:  # noqa: ANN401 - parts of a request
    """Return the fit of a request, some of it changed."""
    return fits.check(book, replace(ASKED, **changes))


def codes(fit: Fit) -> set[str]:
    """Return the codes of the reasons of a fit."""
    return {reason.code for reason in fit.reasons}


def test_a_name_too_long_is_told_the_height_at_which_it_fits_and_can_be_cut(book: Book) -> None:
    """The change is first, and holds: as it says, the text fits and the film takes it."""
    change = fit(book).mends[0]
    changed = fit(book, artwork=replace(NAME, letter_height=str(change.value)))

    assert ("height", "/artwork/letter_height", "13.4 mm", True) == (
        change.kind, change.subject, change.value, change.fits,
    )  # fmt: skip
    assert set() == codes(changed) & {"fit.outside", "fit.fine-stroke", "fit.fine-gap", "fit.no-height"}
    assert "It fits up to letters 13.4 mm high, and can be cut and weeded so." == change.sentence


def test_what_is_too_fine_at_every_height_that_fits_is_told_so(book: Book) -> None:
    """Too large or too fine as asked: in this film there is no height; in another there is."""
    long = replace(NAME, text="MARLOW OF THE QUAY")
    large, small, printed = (
        fit(book, artwork=replace(long, letter_height=height), film=film)
        for height, film in (("14 mm", "smooth"), ("4 mm", "smooth"), ("14 mm", "printed"))
    )

    assert [True, True, False] == ["fit.no-height" in codes(answer) for answer in (large, small, printed)]
    assert [] == [mend for mend in large.mends if mend.fits]
    assert "can be printed so" in printed.mends[0].sentence
    (reason,) = (reason for reason in large.reasons if reason.code == "fit.no-height")
    assert reason.sentence.startswith("At no height does it fit there and can be cut and weeded in Smooth")


def test_what_can_be_cut_larger_is_not_told_that_there_is_no_height(book: Book) -> None:
    """Too fine as asked, it fits larger."""
    answer = fit(book, artwork=replace(NAME, letter_height="4 mm"))

    assert ("fit.no-height" in codes(answer), [("height", True)]) == (
        False, [(mend.kind, mend.fits) for mend in answer.mends if mend.kind == "height"],
    )  # fmt: skip


def test_where_nothing_fits_nothing_is_said_of_heights(book: Book) -> None:
    """Off the panel it is the place that is to be changed, not the film."""
    answer = fit(book, pose=At(x="200 mm", y="0 mm"))

    assert ({"fit.outside"}, ()) == (codes(answer) & {"fit.outside", "fit.no-height"}, answer.mends)


def test_a_drawing_is_told_its_height(book: Book) -> None:
    """Of the whole, as its height is given."""
    change = fit(book, artwork=PathArtwork(d="M0 0H60V30H0Z", height="80 mm")).mends[0]

    assert ("/artwork/height", "printed" in change.sentence) == (change.subject, False)
    assert "fit.outside" not in codes(fit(book, artwork=PathArtwork(d="M0 0H60V30H0Z", height=str(change.value))))


def test_what_fits_only_as_a_speck_has_no_height(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Smaller than a step, or so small that its outlines cannot be measured, it is made by no film."""
    dust = PathArtwork(d="M0 0H4000V1H0Z", height="0.2 mm")
    flaws = fine_detail.flaws

    def unmeasured(film: Film, figure: Figure, scale: float) -> tuple[fine_detail.Flaw, ...]:
        if figure.height * scale < 60.0:
            raise DrawingError("drawing.too-many-points", "Too many outlines touch")
        return flaws(film, figure, scale)

    assert "fit.no-height" in codes(fit(book, artwork=dust))
    monkeypatch.setattr(fine_detail, "flaws", unmeasured)
    assert "fit.no-height" in codes(fit(book, artwork=PathArtwork(d="M0 0H60V30H0Z", height="80 mm")))
