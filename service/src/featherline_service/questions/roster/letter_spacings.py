"""Letter spacings of a roster: where letters may be spaced, the largest that a row needs, for all rows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from msgspec.structs import replace

from featherline.wire import costs
from featherline.wire.artworks import TextArtwork
from featherline.wire.rosters import Roster, RosterSpacing
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.order import letter_spacing
from featherline_service.questions.order.artwork_sizes import SizedArtwork, find_artwork


def spaced(
    book: Book, roster: Roster, orders: Sequence[tuple[int, costs.Order]]
) -> tuple[Roster, tuple[RosterSpacing, ...]]:
    """Return a roster with its letter spacings set, and the spacings.

    A row is then answered as its order asked alone with that spacing.

    Args:
        book: The shop book.
        roster: The roster.
        orders: The orders of rows without faults of their own, by index, with their texts filled in.
    """
    placements, spacings = list(roster.order.placements), []
    for placement_index, placement in enumerate(placements):
        artwork = placement.artwork
        if not isinstance(artwork, TextArtwork) or artwork.fit_letters != "space":
            continue
        spacing, spacing_mm, row = artwork.letter_spacing, None, None
        for index, sized in _spaced_rows(book, placement_index, orders):
            lettering = sized.lettering
            if lettering is not None and lettering.setting.letter_spacing > spacing:
                spacing, row = lettering.setting.letter_spacing, index
            spacing_mm = sized.letter_height_mm * spacing if sized.by_letters else None
        spacings.append(
            RosterSpacing(
                placement=placement_index,
                letter_spacing=spacing,
                letter_spacing_mm=None if spacing_mm is None else round(spacing_mm, 4),
                row=row,
            )
        )
        placements[placement_index] = replace(
            placement, artwork=replace(artwork, letter_spacing=spacing, fit_letters="asked")
        )
    return replace(roster, order=replace(roster.order, placements=tuple(placements))), tuple(spacings)


def _spaced_rows(
    book: Book, placement_index: int, orders: Sequence[tuple[int, costs.Order]]
) -> Iterator[tuple[int, SizedArtwork]]:
    """Yield the artworks of rows as they are cut alone; what cannot be drawn is a fault that its row tells of."""
    for index, order in orders:
        placement = order.placements[placement_index]
        film = book.films.get(placement.film)
        artwork = find_artwork(book, placement.artwork, order.units, Checks())
        if film is not None and artwork is not None:
            yield index, letter_spacing.fitted(film, artwork)
