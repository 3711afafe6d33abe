"""Letters as large as fits: at every kind of place, between bounds, spaced, and with a backing."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.artworks import Anchored, At, PathArtwork, Searched, TextArtwork
from featherline.wire.costs import Backing, Order, Placement
from featherline.wire.fits import Fit, FitRequest
from featherline.wire.measures import ArtworkRequest
from featherline.wire.rosters import Roster, RosterRow
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.shop_book import Book
from featherline_service.questions import artworks
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.fit import fits
from featherline_service.questions.order import largest_letters
from featherline_service.questions.quote import quotes
from featherline_service.questions.roster import rosters

NAME = TextArtwork(text="MARLOW", font="plain", letter_height="largest")
DECK = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
ASKED = FitRequest(shoe=DECK, panel="outer-quarter", film="smooth", artwork=NAME)
PLACEMENT = Placement(panel="outer-quarter", film="smooth", colour="gorse", artwork=NAME)


def fit(book: Book, request: FitRequest = ASKED, **changes: Any) -> Fit:  # noqa: ANN401 - parts of an artwork
    """Return the fit of a request, its artwork changed."""
    return fits.check(book, replace(request, artwork=replace(request.artwork, **changes)))


def codes(fit: Fit) -> set[str]:
    """Return the codes of the reasons of a fit."""
    return {reason.code for reason in fit.reasons}


@pytest.mark.parametrize(
    "pose",
    [
        At(x="10 mm", y="-4 mm"),
        At(x="0 mm", y="0 mm", rotation="8 deg"),
        Searched(turn="10 deg"),
        Anchored(side="above", edge="featherline", distance="14 mm"),
    ],
)
def test_they_fit_and_are_no_larger_by_a_step(book: Book, pose: Any) -> None:  # noqa: ANN401 - any pose
    """At the height of the answer the text fits where it is asked for, and a tenth of a millimetre more does not."""
    asked = replace(ASKED, pose=pose)
    height = fit(book, asked).artwork.letter_height_mm
    assert height is not None
    there, larger = (fit(book, asked, letter_height=f"{size:.1f} mm") for size in (height, height + 0.1))

    assert (False, True) == ("fit.outside" in codes(there), "fit.outside" in codes(larger))
    assert height == round(height, 1)


def test_bounds_hold(book: Book) -> None:
    """Letters are no larger than is asked, and no smaller: then they do not fit."""
    free, small, large = (
        fit(book, **bounds)
        for bounds in ({}, {"letters_to": "9.25 mm"}, {"letters_from": "20 mm", "letters_to": "2 in"})
    )

    assert (13.4, 9.2, 20.0) == tuple(answer.artwork.letter_height_mm for answer in (free, small, large))
    assert (False, False, True) == tuple("fit.outside" in codes(answer) for answer in (free, small, large))


def test_where_nothing_fits_that_is_said(book: Book) -> None:
    """Off the panel no height fits; the text is shown at some height, or at the least one."""
    asked = replace(ASKED, pose=At(x="200 mm", y="0 mm"))

    assert [True, True] == ["fit.outside" in codes(fit(book, asked, **more)) for more in ({}, {"letters_from": "9 mm"})]
    assert 9.0 == fit(book, asked, letters_from="9 mm").artwork.letter_height_mm


def test_letters_that_are_spaced_for_the_film_fit_too(book: Book) -> None:
    """Spaced letters are wider, so they are smaller: the text as it is cut fits."""
    close, spaced = (fit(book, text="TIDEWATER", fit_letters=way) for way in ("asked", "space"))

    assert "fit.outside" not in codes(spaced)
    assert (close.artwork.letter_height_mm or 0.0) > (spaced.artwork.letter_height_mm or 0.0) > 0.0
    assert (spaced.artwork.letter_spacing or 0.0) > 0.0


def test_a_spacing_that_does_not_settle_ends(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each round makes spaced letters smaller, and smaller letters more spaced: the last round counts."""
    monkeypatch.setattr(largest_letters, "_ROUNDS", 1)

    assert (fit(book, text="TIDEWATER", fit_letters="space").artwork.letter_spacing or 0.0) > 0.0


def test_a_backing_fits_too(book: Book) -> None:
    """Its border takes its room: the backing keeps the clearance, and letters larger by half a millimetre do not."""
    backed = replace(PLACEMENT, backing=Backing(film="smooth", colour="pitch", border="2 mm"))

    def quoted(height: str) -> tuple[set[str], float]:
        quote = quotes.compose(
            book, Order(shoe=DECK, placements=(replace(backed, artwork=replace(NAME, letter_height=height)),))
        )
        backing = quote.placements[0].backing
        assert backing is not None
        return codes(backing.fit), quote.placements[0].fit.artwork.letter_height_mm or 0.0

    there, height = quoted("largest")

    assert ("fit.outside" in there, True) == (False, height < 13.4)
    assert "fit.outside" in quoted(f"{height + 0.5:.1f} mm")[0]


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"letters_from": "9 mm", "letters_to": "8 mm"}, "/artwork/letters_to"),
        ({"letter_height": "9 mm", "letters_to": "8 mm"}, "/artwork/letters_to"),
        ({"letter_height": None, "height": "9 mm", "letters_from": "8 mm"}, "/artwork/letters_from"),
        ({"letters_from": "99999999 m"}, "/artwork/letters_from"),
    ],
)
def test_bounds_that_cannot_be_are_refused(book: Book, changes: dict[str, Any], pointer: str) -> None:
    """Bounds the wrong way round, and bounds of a height that is given."""
    with pytest.raises(RefusedError) as refused:
        fit(book, **changes)

    assert [pointer] == [fault.pointer for fault in refused.value.faults]


def test_letters_of_a_list_or_without_a_place_have_a_height(book: Book) -> None:
    """Names of one crew have letters of one size, and without a panel nothing says what fits."""
    roster = Roster(order=Order(shoe=DECK, placements=(PLACEMENT,)), rows=(RosterRow(fields={}),))
    with pytest.raises(RefusedError) as of_roster:
        rosters.compose(book, roster)
    with pytest.raises(RefusedError) as of_artwork:
        artworks.measure(book, ArtworkRequest(artwork=NAME))

    assert "/order/placements/0/artwork/letter_height" in [fault.pointer for fault in of_roster.value.faults]
    assert ["/artwork/letter_height"] == [fault.pointer for fault in of_artwork.value.faults]


def test_another_word_is_no_height() -> None:
    """The grammar takes a length or the one word."""
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({"kind": "text", "text": "M", "font": "plain", "letter_height": "larger"}, TextArtwork)


def test_a_drawing_has_no_letters() -> None:
    """Its height is a length."""
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({"kind": "path", "d": "M0 0H9V9Z", "height": "largest"}, PathArtwork)
