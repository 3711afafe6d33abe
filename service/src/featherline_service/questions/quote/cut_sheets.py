"""The cut sheet of an order: for one pair, what is cut from each film, mirrored where its film is cut so."""

from __future__ import annotations

from collections import defaultdict

import shapely

from featherline.wire import costs
from featherline_service.book.shop_book import Book
from featherline_service.drawing import cut_sheets
from featherline_service.drawing.cut_sheets import Piece, Sheet
from featherline_service.drawing.scene import contours
from featherline_service.questions.checks import Checks
from featherline_service.questions.fit.placement_drawings import drawn_foot
from featherline_service.questions.order.orders import read_order
from featherline_service.questions.order.placements import Foot, Placement


def draw(book: Book, request: costs.Order) -> str:
    """Return the cut sheet of an order as SVG, whether or not it can be done: what is printed is not on it.

    Raises:
        RefusedError: The order names what the book has not, or asks for what cannot be; with all its faults.
    """
    checks = Checks()
    order = read_order(book, request, checks)
    checks.settle()
    assert order is not None  # noqa: S101 - settle has raised where there is none
    cut: dict[tuple[str, str], list[tuple[int, Placement]]] = defaultdict(list)
    for index, placement in order.marks:
        if placement.film.cutting is not None and placement.colour is not None:
            cut[placement.film.id, placement.colour.id].append((index, placement))
    sheets = [_sheet(marks) for marks in cut.values()]
    for_all = "" if request.pairs == 1 else f": cut {request.pairs} times"
    return cut_sheets.write(f"{request.reference or order.shoe.name}: what is cut for one pair{for_all}", sheets)


def cut_mirrored(placement: Placement, foot: Foot) -> bool:
    """Tell whether a placement is cut mirrored for a shoe; a directional one is the other way on the shoe not drawn."""
    turned = placement.artwork.is_directional and foot != drawn_foot(placement)
    return placement.film.cut_mirrored is not turned


def _sheet(marks: list[tuple[int, Placement]]) -> Sheet:
    _, first = marks[0]
    film, colour, cutting = first.film, first.colour, first.film.cutting
    assert colour is not None and cutting is not None  # noqa: S101, PT018 - as `draw` has chosen them
    return Sheet(
        film=film.id,
        colour=colour.id,
        name=f"{film.name}, {colour.name}",
        fill=colour.hex,
        border=cutting.border_mm + cutting.gap_mm / 2.0,
        widest=film.roll.width_mm,
        pieces=[_piece(index, placement, foot) for index, placement in marks for foot in placement.feet],
    )


def _piece(index: int, placement: Placement, foot: Foot) -> Piece:
    artwork = placement.artwork
    region = artwork.figure.drawn(artwork.fineness)
    left, low, right, high = (side * artwork.scale for side in shapely.bounds(region).tolist())
    mirrored = cut_mirrored(placement, foot)
    sign, start = (-1.0, right) if mirrored else (1.0, -left)
    # y runs upwards in the figure, and downwards on the sheet.
    rings = [ring * artwork.scale * (sign, -1.0) + (start, high) for ring in contours(region)]
    part = "backing" if placement.is_backing else "artwork"
    return Piece(rings, right - left, high - low, index, foot, part, mirrored)
