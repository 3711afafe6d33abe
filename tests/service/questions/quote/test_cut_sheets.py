from __future__ import annotations

from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

import msgspec
import numpy as np
import pytest

from featherline.wire.costs import Order
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.order.orders import read_order
from featherline_service.questions.quote import cut_sheets

DECK: dict[str, Any] = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}
FLAG: dict[str, Any] = {"kind": "path", "d": "M0 0L30 10 0 20Z", "height": "10 mm"}


def placement(**more: Any) -> dict[str, Any]:  # noqa: ANN401 - as the wire has it
    """Return a placement of a flag, which is 15 mm long and points to the right."""
    return {"panel": "outer-quarter", "film": "smooth", "colour": "gorse", "artwork": FLAG, **more}


def sheet(book: Book, *placements: dict[str, Any], **more: Any) -> ET.Element:  # noqa: ANN401 - as the wire has it
    """Return the cut sheet of an order."""
    order = msgspec.convert({"shoe": DECK, "placements": placements, **more}, Order)
    return ET.fromstring(cut_sheets.draw(book, order))  # noqa: S314 - our own


def groups(root: ET.Element) -> list[ET.Element]:
    """Return the groups of a sheet."""
    return root.findall("{*}g")


def points(path: ET.Element) -> np.ndarray:
    """Return the corners of a path of straight lines."""
    numbers = path.attrib["d"].replace("M", " ").replace("L", " ").replace("Z", " ").split()
    return np.array(numbers, dtype=np.float64).reshape(-1, 2)


def test_each_film_and_colour_has_a_group_at_true_size(book: Book) -> None:
    """Artworks and their backings, a piece for each shoe, a border of the film apart; and nothing else."""
    root = sheet(
        book,
        placement(backing={"film": "stretch", "colour": "pitch", "border": "2 mm"}),
        placement(panel="tongue", sides="left"),
        pairs=3,
        reference="A-17",
    )
    yellow, black = sorted(groups(root), key=lambda group: group.attrib["data-film"])
    pieces = yellow.findall("{*}path")
    border = book.films["smooth"].cutting

    assert ("smooth-gorse", "stretch-pitch") == (yellow.attrib["id"], black.attrib["id"])
    assert [("0", "left"), ("0", "right"), ("1", "left")] == [
        (piece.attrib["data-placement"], piece.attrib["data-foot"]) for piece in pieces
    ]
    assert {"backing"} == {piece.attrib["data-part"] for piece in black.findall("{*}path")}
    assert [pytest.approx([15.0, 10.0], abs=2e-3)] * 3 == [np.ptp(points(piece), axis=0) for piece in pieces]
    assert border is not None
    gaps = [points(right)[:, 0].min() - points(left)[:, 0].max() for left, right in pairwise(pieces)]
    assert [pytest.approx(2.0 * border.border_mm + border.gap_mm, abs=2e-3)] * 2 == gaps
    assert {"title", "g", "path"} == {one.tag.rpartition("}")[2] for one in root.iter()} - {"svg"}
    assert "A-17: what is cut for one pair: cut 3 times" == root[0].text
    assert root.attrib["width"].removesuffix("mm") == root.attrib["viewBox"].split()[2]


def test_a_piece_is_mirrored_as_its_film_is_cut(book: Book) -> None:
    """A flag to the right points to the left where the film is cut through; one with a direction, on one shoe alone."""
    plain = groups(sheet(book, placement()))[0].findall("{*}path")
    directed = groups(sheet(book, placement(artwork={**FLAG, "directional": True})))[0].findall("{*}path")

    assert book.films["smooth"].cut_mirrored
    for piece in (*plain, *directed):
        corners = points(piece)
        tip = corners[np.isclose(corners[:, 1], corners[:, 1].mean(), atol=0.1)][0]
        is_left = bool(tip[0] == corners[:, 0].min())
        assert is_left == (piece.attrib["data-mirrored"] == "true")
    assert ["true", "true"] == [piece.attrib["data-mirrored"] for piece in plain]
    assert ["false", "true"] == [piece.attrib["data-mirrored"] for piece in directed]


def test_pieces_are_laid_in_rows_no_wider_than_the_roll(book: Book) -> None:
    """And sheets one below the other: no box reaches into another."""
    many = [placement(artwork={**FLAG, "height": "30 mm"}, onto=None) for _ in range(6)]
    root = sheet(book, *many, placement(film="stretch", colour="pitch"))
    first, second = groups(root)
    boxes = [np.array(group.attrib["data-box"].split(), dtype=np.float64) for group in (first, second)]

    assert boxes[0][2] <= book.films["smooth"].roll.width_mm
    assert 2 <= len({round(float(points(piece)[:, 1].min()), 2) for piece in first.findall("{*}path")})
    assert boxes[1][1] > boxes[0][1] + boxes[0][3]
    assert pytest.approx(boxes[1][1] + boxes[1][3]) == float(root.attrib["viewBox"].split()[3])


def test_a_printed_transfer_is_not_on_the_sheet(book: Book) -> None:
    """It is not cut; an order of nothing else has an empty sheet."""
    root = sheet(book, placement(film="printed", colour=book.films["printed"].colours[0].id))

    assert [] == groups(root)
    assert ("1.000mm", "1.000mm") == (root.attrib["width"], root.attrib["height"])


def test_what_cannot_be_read_is_refused(book: Book) -> None:
    """With its faults, as a quote."""
    with pytest.raises(RefusedError):
        sheet(book, placement(film="smoth"))


def test_the_card_says_the_same_of_each_piece(book: Book) -> None:
    """How a piece is cut is decided in one place."""
    asked = {"shoe": DECK, "placements": [placement(artwork={**FLAG, "directional": True})]}
    order = read_order(book, msgspec.convert(asked, Order), Checks())

    assert order is not None
    assert [False, True] == [cut_sheets.cut_mirrored(order.placements[0], foot) for foot in ("left", "right")]
