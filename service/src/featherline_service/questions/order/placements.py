"""Placements: artwork on a panel of a shoe, in a film, under a press; lengths in millimetres."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import cached_property
from typing import Final, Literal

import numpy as np
import shapely
from msgspec import Struct
from msgspec.structs import replace
from shapely import MultiPolygon

from featherline.wire import costs
from featherline.wire.fits import FitRequest
from featherline.wire.recipes import OldMarks
from featherline.wire.records import Colour, Film, Press
from featherline_service.book.shop_book import Book
from featherline_service.quantities import millimetres, say_bound
from featherline_service.questions.checks import Checks, not_in_film
from featherline_service.questions.order import largest_letters, letter_spacing, poses
from featherline_service.questions.order.artwork_sizes import SizedArtwork, find_artwork, with_border
from featherline_service.questions.order.largest_letters import Place
from featherline_service.questions.shoes.old_marks import check_old_marks, read_outlines
from featherline_service.questions.shoes.panels import PanelShape, panel_shape
from featherline_service.questions.shoes.presses import find_press
from featherline_service.questions.shoes.shoes import Panel, Shoe, find_panel, find_shoe
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines import figures, footprints, text_outlines
from featherline_service.shape.outlines.figures import Figure, FittedRegion, Sides
from featherline_service.shape.outlines.footprints import Footprint
from featherline_service.shape.placement import anchors, containment
from featherline_service.shape.placement.containment import FreeArea, Pose

FEATHERLINE: Final = "featherline"
COMMON_CHARACTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"

Foot = Literal["left", "right"]
FEET: Final[dict[Sides, tuple[Foot, ...]]] = {"both": ("left", "right"), "left": ("left",), "right": ("right",)}
"""The shoes of a pair by the sides of a placement."""
_OTHER_SIDES: Final[dict[Sides, Sides]] = {"both": "both", "left": "right", "right": "left"}


class Placement(Struct, frozen=True, eq=False, dict=True):
    """An artwork to be put on a panel."""

    shoe: Shoe
    panel: Panel
    shape: PanelShape
    film: Film
    colour: Colour | None
    press: Press
    artwork: SizedArtwork
    sides: Sides
    seen: FittedRegion
    """The artwork as it counts on the right shoe's panel, for all shoes that it is on."""
    footprint: Footprint
    position: poses.Position
    clearance: float
    old_marks: OldMarks
    old_outlines: tuple[MultiPolygon | None, ...] = ()
    """The regions of its old marks where they are given, in the drawing's millimetres."""
    onto: int | None = None
    """The index of the placement that it lies on, or that its backing lies on; None for the panel."""
    backing: Placement | None = None
    """The same artwork with a border, in the film below it."""
    is_backing: bool = False
    behind: str | None = None
    """The colour of what it lies on, as a CSS hex colour; None where it is not known."""

    @property
    def feet(self) -> tuple[Foot, ...]:
        """The shoes of a pair that it marks."""
        return FEET[self.sides]

    def placed(self) -> MultiPolygon:
        """Return the artwork where it is to be on the right shoe, in its panel's millimetres."""
        return containment.place(
            self.artwork.figure.drawn(self.artwork.fineness), self.position.pose, self.artwork.scale
        )

    def counted(self) -> MultiPolygon:
        """Return what of the artwork counts against edges and keep-outs, where it is to be on the right shoe."""
        return footprints.footprint_of(self.placed(), self.footprint)

    def film_on(self, foot: Foot) -> MultiPolygon:
        """Return the film on one shoe, in the millimetres of the panel's drawing."""
        return self._on(foot, "exact")

    def counted_on(self, foot: Foot) -> MultiPolygon:
        """Return what of the artwork counts against other marks on one shoe, in the drawing's millimetres."""
        return self._on(foot, self.footprint)

    def _on(self, foot: Foot, footprint: Footprint) -> MultiPolygon:
        return containment.place(self.seen_on(foot, footprint).region, self.position.pose, self.artwork.scale)

    def seen_on(self, foot: Foot, footprint: Footprint) -> FittedRegion:
        """Return the artwork on one shoe as it counts in the panel's drawing, in its own units."""
        sides = as_drawn(self.artwork, self.panel, foot)
        return FittedRegion(self.artwork.figure, self.artwork.fineness, sides, footprint)

    @cached_property
    def extent(self) -> tuple[float, float]:
        """Return width and height of the placed artwork's box."""
        return _extent(self.artwork.figure, self.artwork.fineness, self.artwork.scale, self.position.pose)

    @cached_property
    def sole_gap(self) -> float:
        """How far the placed artwork is from the featherline [mm]; infinite where the panel has none."""
        if FEATHERLINE not in anchors.edges(self.shape.area):
            return math.inf
        return _sole_gap(self.shape.area, self.seen, self.artwork.scale, self.position.pose)

    def say(self, length_mm: float, *, upwards: bool = False) -> str:
        """Return a length for people, rounded down, or up, so that what it promises holds."""
        return say_bound(length_mm, self.artwork.units, upwards=upwards)


def prepare(*books: Book) -> Iterator[None]:
    """Draw and measure every font's capitals and digits, which most requests need; yield after each."""
    for file in dict.fromkeys(file for book in books for file in book.font_files.values()):
        face = text_outlines.typeface(file)
        for character in COMMON_CHARACTERS:
            if face.font.get_nominal_glyph(ord(character)):
                figures.of_text(face, character)
                yield


@cached
def _extent(figure: Figure, fineness: int, scale: float, pose: Pose) -> tuple[float, float]:
    left, low, right, high = containment.place(figure.drawn(fineness), pose, scale).bounds
    return right - left, high - low


@cached
def _sole_gap(area: FreeArea, seen: FittedRegion, scale: float, pose: Pose) -> float:
    placed = [containment.place(part, pose, scale) for part in seen.parts]
    return float(np.min(shapely.distance(anchors.edge(area, FEATHERLINE), placed)))


def as_drawn(artwork: SizedArtwork, panel: Panel, sides: Sides) -> Sides:
    """Return the sides in a panel's drawing, which shows the right shoe: for an inner panel the left one.

    A directional artwork is mirrored with the panel, so it is everywhere as on the shoe that is drawn.
    """
    if artwork.is_directional:
        return "right"
    return _OTHER_SIDES[sides] if panel.face == "inner" else sides


def of_fit(book: Book, request: FitRequest) -> Placement:
    """Return the placement of a request for a fit.

    Raises:
        RefusedError: The request names what the book has not, or asks for what cannot be; with all its faults.
    """
    checks = Checks()
    placement = Reader(book, request, checks).read(request, checks)
    checks.settle()
    assert placement is not None  # noqa: S101 - settle has raised where there is none
    return placement


class _BackingFilm(Struct, frozen=True, eq=False):
    """The artwork of a backing, in its film."""

    film: Film
    colour: Colour
    artwork: SizedArtwork


class Reader:
    """Reads the placements of a request. Shoe and press are read once, with the first placement."""

    def __init__(self, book: Book, request: FitRequest | costs.Order, checks: Checks) -> None:
        self._book = book
        self._request = request
        self._checks = checks
        self._shapes: dict[str, PanelShape | None] = {}

    @cached_property
    def shoe(self) -> Shoe | None:
        """The shoe."""
        return find_shoe(self._book, self._request.shoe, self._checks)

    @cached_property
    def press(self) -> Press | None:
        """The press."""
        return find_press(self._book, self._request.press, self._checks)

    def read(self, asked: FitRequest | costs.Placement, checks: Checks) -> Placement | None:
        """Return a placement; note what is wrong with it."""
        before = checks.faults
        book, shoe, units = self._book, self.shoe, self._request.units
        panel = None if shoe is None else find_panel(shoe, asked.panel, checks)
        shape = None if shoe is None or panel is None else self._shape(shoe, panel)
        film = checks.record(book.films, "film", asked.film, "/film")
        colour = _colour(film, asked.colour, checks)
        press = self.press
        artwork = find_artwork(book, asked.artwork, units, checks)
        if artwork is not None and film is not None:
            artwork = letter_spacing.fitted(film, artwork)
        clearance: float | None = book.bench.clearance_mm
        if asked.clearance is not None:
            clearance = checks.value(millimetres, asked.clearance, "/clearance")
        pose = poses.read(asked.pose, shape, artwork, checks)
        if artwork is not None and film is not None and shape is not None and panel is not None:
            artwork = self._as_large_as_fits(asked, film, artwork, (panel, shape, pose, clearance))
        if shoe is None or panel is None or shape is None or film is None or press is None:
            return None
        if artwork is None or clearance is None or pose is None or len(checks.faults) > len(before):
            return None
        sides = as_drawn(artwork, panel, asked.sides)
        seen = FittedRegion(artwork.figure, artwork.fineness, sides, asked.footprint)
        backed = asked.backing if isinstance(asked, costs.Placement) else None
        backing_film = None if backed is None else self._backing(backed, artwork, checks.under("/backing"))
        if backed is not None and backing_film is None:
            return None
        # A search has to find room for the backing too.
        widest = (
            seen
            if backing_film is None
            else FittedRegion(backing_film.artwork.figure, artwork.fineness, sides, asked.footprint)
        )
        searched = widest if isinstance(pose, poses.Search) else seen
        position = poses.position(pose, shape, searched, artwork.scale, clearance=clearance, checks=checks)
        if position is None:
            return None
        if asked.pose.rotation is None:
            position = replace(position, turned_upright=True)
        old_marks = asked.old_marks if isinstance(asked, costs.Placement) else ()
        check_old_marks(book, old_marks, checks)
        old_outlines = read_outlines(old_marks, shape.centre, checks)
        placement = Placement(
            shoe=shoe,
            panel=panel,
            shape=shape,
            film=film,
            colour=colour,
            press=press,
            artwork=artwork,
            sides=asked.sides,
            seen=seen,
            footprint=asked.footprint,
            position=position,
            clearance=clearance,
            old_marks=old_marks,
            old_outlines=old_outlines,
            onto=asked.onto if isinstance(asked, costs.Placement) else None,
            behind=panel.colour,
        )
        if backing_film is None:
            return placement
        backing = replace(
            placement,
            film=backing_film.film,
            colour=backing_film.colour,
            artwork=backing_film.artwork,
            seen=widest,
            position=replace(position, datum=position.pose),
            is_backing=True,
        )
        return replace(placement, backing=backing, behind=backing_film.colour.hex)

    def _as_large_as_fits(
        self,
        asked: FitRequest | costs.Placement,
        film: Film,
        artwork: SizedArtwork,
        there: tuple[Panel, PanelShape, poses.AnyPose | None, float | None],
    ) -> SizedArtwork:
        """Return an artwork whose letters are to be as large as fits at that height; any other as it is."""
        panel, shape, pose, clearance = there
        if artwork.largest is None or pose is None or clearance is None:
            return artwork
        backing = asked.backing if isinstance(asked, costs.Placement) else None
        border = None if backing is None else Checks().value(millimetres, backing.border, "")
        sides = as_drawn(artwork, panel, asked.sides)
        place = Place(shape, pose, sides, asked.footprint, clearance, border or 0.0)
        return largest_letters.sized(film, artwork, place)

    def _backing(self, asked: costs.Backing, artwork: SizedArtwork, checks: Checks) -> _BackingFilm | None:
        """Return film, colour and artwork of a backing; note what is wrong with it."""
        film = checks.record(self._book.films, "film", asked.film, "/film")
        colour = _colour(film, asked.colour, checks)
        border = checks.value(millimetres, asked.border, "/border")
        if film is None or colour is None or border is None:
            return None
        grown = with_border(artwork, border, checks)
        return None if grown is None else _BackingFilm(film=film, colour=colour, artwork=grown)

    def _shape(self, shoe: Shoe, panel: Panel) -> PanelShape | None:
        if panel.id not in self._shapes:
            self._shapes[panel.id] = panel_shape(shoe, panel, self._checks)
        return self._shapes[panel.id]


def _colour(film: Film | None, wanted: str | None, checks: Checks) -> Colour | None:
    if film is None or wanted is None:
        return None
    colour = next((colour for colour in film.colours if colour.id == wanted), None)
    if colour is None:
        checks.note("/colour", not_in_film(film, wanted))
    return colour
