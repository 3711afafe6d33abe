from __future__ import annotations

from typing import Any

import msgspec
import pytest
from msgspec.structs import replace
from plain_marks import BAR, DECK, asked

from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Order
from featherline.wire.rosters import Roster, RosterRow
from featherline_service.book.shop_book import Book
from featherline_service.questions.order import letter_spacing
from featherline_service.questions.order.artwork_sizes import SizedArtwork
from featherline_service.questions.order.artwork_sizes import replace as set_otherwise
from featherline_service.questions.roster.letter_spacings import spaced


def text(words: str = "{name}", **changes: Any) -> TextArtwork:  # noqa: ANN401
    """Return words whose letters may be spaced."""
    plain = {"kind": "text", "text": words, "font": "plain", "letter_height": "10 mm", "fit_letters": "space"}
    asked_for = {name: value for name, value in {**plain, **changes}.items() if value is not None}
    return msgspec.convert(asked_for, TextArtwork)


def roster(*artworks: Any) -> Roster:  # noqa: ANN401
    """Return a roster with an artwork on each of some panels."""
    panels = "outer-quarter", "inner-quarter", "toe"
    placements = tuple(asked(panel=panel, artwork=one) for panel, one in zip(panels, artworks, strict=False))
    return Roster(order=Order(shoe=DECK, placements=placements), rows=(RosterRow(fields={"name": "II"}),))


def orders(asked_for: Roster, *names: str) -> list[tuple[int, Order]]:
    """Return the orders of rows with these names; the first row, with the index 0, has faults and none."""
    filled = []
    for index, name in enumerate(names, start=1):
        placements = tuple(
            replace(one, artwork=replace(one.artwork, text=name)) if isinstance(one.artwork, TextArtwork) else one
            for one in asked_for.order.placements
        )
        filled.append((index, replace(asked_for.order, placements=placements)))
    return filled


@pytest.fixture
def needed(monkeypatch: pytest.MonkeyPatch) -> dict[str, float]:
    """Stands for the computation of spacings: which each text needs, by its words."""
    spacings: dict[str, float] = {}

    def fitted(_: object, artwork: SizedArtwork) -> SizedArtwork:
        if artwork.text not in spacings or artwork.lettering is None:
            return artwork
        setting = set_otherwise(artwork.lettering.setting, letter_spacing=spacings[artwork.text])
        return set_otherwise(artwork, lettering=set_otherwise(artwork.lettering, setting=setting))

    monkeypatch.setattr(letter_spacing, "fitted", fitted)
    return spacings


def test_all_rows_have_the_largest_spacing_that_one_needs(book: Book, needed: dict[str, float]) -> None:
    """The first row that needs it is named; in millimetres where the letters' height is given."""
    needed |= {"HILL": 0.05, "LILLI": 0.123456, "IVO": 0.123456}
    asked_for = roster(text())
    there, (spacing,) = spaced(book, asked_for, orders(asked_for, "HILL", "LILLI", "IVO", "ADA"))
    artwork = there.order.placements[0].artwork

    assert (0, 0.123456, 1.2346, 2) == (
        spacing.placement,
        spacing.letter_spacing,
        spacing.letter_spacing_mm,
        spacing.row,
    )
    assert replace(text(), letter_spacing=0.123456, fit_letters="asked") == artwork
    assert asked_for.rows == there.rows


def test_a_spacing_no_larger_than_asked_for_is_kept(book: Book, needed: dict[str, float]) -> None:
    """No row is named then."""
    needed |= {"HILL": 0.2, "ADA": 0.1}
    asked_for = roster(text(letter_spacing=0.2))
    there, (spacing,) = spaced(book, asked_for, orders(asked_for, "HILL", "ADA"))

    assert (0.2, 2.0, None) == (spacing.letter_spacing, spacing.letter_spacing_mm, spacing.row)
    assert replace(text(), letter_spacing=0.2, fit_letters="asked") == there.order.placements[0].artwork


def test_each_placement_that_may_be_spaced_has_its_own(book: Book, needed: dict[str, float]) -> None:
    """By its place in the order; others stay as they are."""
    needed |= {"HILL": 0.07}
    asked_for = roster(BAR, text(fit_letters="asked"), text(letter_height=None, height="10 mm"))
    there, (spacing,) = spaced(book, asked_for, orders(asked_for, "HILL"))

    assert (2, 0.07, None, 1) == (
        spacing.placement,
        spacing.letter_spacing,
        spacing.letter_spacing_mm,
        spacing.row,
    )
    assert asked_for.order.placements[:2] == there.order.placements[:2]


def test_rows_that_cannot_be_drawn_are_left_out(book: Book, needed: dict[str, float]) -> None:
    """Their faults are told by the rows themselves, as that of an unknown film is; without any row the text stays."""
    needed |= {"HILL": 0.07}
    asked_for = roster(text())
    there, (spacing,) = spaced(book, asked_for, orders(asked_for, "\u4e00", "HILL"))
    assert (0.07, 2) == (spacing.letter_spacing, spacing.row)
    assert "asked" == there.order.placements[0].artwork.fit_letters  # type: ignore[union-attr]
    velvet = replace(asked_for.order, placements=(asked(artwork=text("HILL"), film="velvet"),))
    _, (none,) = spaced(book, asked_for, [(1, velvet)])
    assert (0.0, None, None) == (none.letter_spacing, none.letter_spacing_mm, none.row)
    _, (empty,) = spaced(book, asked_for, [])
    assert (0.0, None, None) == (empty.letter_spacing, empty.letter_spacing_mm, empty.row)
