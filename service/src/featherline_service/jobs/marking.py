"""A request to mark a panel, understood: its records found, its quantities in millimetres and radians."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from shapely import MultiPolygon

from featherline.wire import artworks
from featherline.wire.artworks import At, Searched, TextArtwork
from featherline.wire.fits import FitRequest
from featherline.wire.records import Colour, Film, Press
from featherline.wire.shoes import MeasuredShoe
from featherline_service.book.shelves import Book
from featherline_service.jobs.panels import FoundPanel, find_panel, panel_area
from featherline_service.jobs.refusals import Checks
from featherline_service.jobs.sized_artworks import SizedArtwork, find_artwork
from featherline_service.keeping import kept
from featherline_service.quantities import millimetres, radians, say_bound
from featherline_service.shape import figures, outlines, placing, searching
from featherline_service.shape.curves import DrawingError
from featherline_service.shape.figures import Figure, Sides
from featherline_service.shape.placing import FreeArea, Pose

FARTHEST_MM: Final = 1000.0
COMMON_CHARACTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"


@dataclass(frozen=True, eq=False)
class Marking:
    """What is to be marked where: records, and lengths in millimetres."""

    panel: FoundPanel
    film: Film
    colour: Colour | None
    press: Press
    artwork: SizedArtwork
    pose: Pose
    clearance: float
    measured: bool
    """The shoe is known by a ruler and its label alone."""
    sides: Sides
    """The shoes on which the artwork is not mirrored, though their panels are."""
    found: float | None
    """The scale of the largest copy that a search found to fit at the pose; None when the pose was given."""

    def placed(self) -> MultiPolygon:
        """Return the artwork where it is to be on the right shoe, in its panel's millimetres."""
        return _placed(self.artwork.figure, self.artwork.fineness, self.artwork.scale, self.pose)

    def extent(self) -> tuple[float, float]:
        """Return width and height of the placed artwork's box."""
        left, low, right, high = self.placed().bounds
        return right - left, high - low

    def say(self, length_mm: float, *, upwards: bool = False) -> str:
        """Return a length for people, rounded down, or up, so that what it promises holds."""
        return say_bound(length_mm, self.artwork.units, upwards=upwards)


def prepare(book: Book) -> None:
    """Draw and measure what most requests ask for: every font's capitals and digits, every panel of the book.

    Nothing depends on it but how long the first requests take.
    """
    for file in book.font_files.values():
        face = outlines.typeface(file)
        for character in COMMON_CHARACTERS:
            if face.font.get_nominal_glyph(ord(character)):
                figures.of_text(face, character)
    for shoe in book.shoes.values():
        for panel in shoe.panels:
            panel_area(panel, 1.0, 1.0)


@kept
def _placed(figure: Figure, fineness: int, scale: float, pose: Pose) -> MultiPolygon:
    return placing.place(figure.drawn(fineness), pose, scale)


def understand(book: Book, request: FitRequest) -> Marking:
    """Return a request with its records found and its quantities converted.

    Raises:
        RefusedError: The request names what the book has not, or asks for what cannot be; with all its faults.
    """
    checks = Checks()
    panel = find_panel(book, request.shoe, request.panel, checks)
    film = checks.record(book.films, "film", request.film, "/film")
    colour = _colour(film, request.colour, checks)
    press = checks.record(book.presses, "press", request.press or book.bench.press, "/press")
    artwork = find_artwork(book, request.artwork, request.units, checks)
    clearance = (
        book.bench.clearance_mm
        if request.clearance is None
        else checks.value(millimetres, request.clearance, "/clearance")
    )
    shift = _shift(request.pose, checks)
    turn = _turn(request.pose, checks)
    checks.settle()
    if (
        panel is None
        or film is None
        or press is None
        or artwork is None
        or clearance is None
        or shift is None
        or turn is None
    ):
        raise AssertionError("What is missing has been noted as a fault, and faults have been raised")
    sides = _sides(request)
    pose, found = Pose(panel.centre[0] + shift.x, panel.centre[1] + shift.y, shift.rotation), None
    if isinstance(request.pose, Searched):
        try:
            copy = _searched(panel.area, artwork.figure, artwork.fineness, sides, clearance, shift.rotation, turn)
        except DrawingError as error:
            checks.note("/pose", str(error))
            checks.settle()
        pose, found = (pose, None) if copy is None else (copy.pose, copy.scale)
    return Marking(
        panel=panel,
        film=film,
        colour=colour,
        press=press,
        artwork=artwork,
        pose=pose,
        clearance=clearance,
        measured=isinstance(request.shoe, MeasuredShoe) and request.shoe.upper is None,
        sides=sides,
        found=found,
    )


def _sides(request: FitRequest) -> Sides:
    """Return the shoes on which the artwork is not mirrored with the panel."""
    if not isinstance(request.artwork, TextArtwork) and request.artwork.directional:
        return "right"
    return request.sides


def _colour(film: Film | None, wanted: str | None, checks: Checks) -> Colour | None:
    if film is None or wanted is None:
        return None
    found = next((colour for colour in film.colours if colour.id == wanted), None)
    if found is None:
        has = ", ".join(colour.id for colour in film.colours)
        checks.note("/colour", f"{film.name} has no colour {wanted!r}; it has: {has}")
    return found


def _shift(pose: artworks.Pose, checks: Checks) -> Pose | None:
    """Return a pose from the panel's centre."""
    rotation = checks.value(radians, pose.rotation, "/pose/rotation")
    offsets = (pose.x, pose.y) if isinstance(pose, At) else ("0 mm", "0 mm")
    x, y = (checks.value(millimetres, text, f"/pose/{name}") for name, text in zip("xy", offsets, strict=True))
    if rotation is None or x is None or y is None:
        return None
    if max(abs(x), abs(y)) > FARTHEST_MM:
        checks.note("/pose", f"That is off any shoe: give offsets of at most {FARTHEST_MM:.0f} mm")
    return Pose(x, y, math.fmod(rotation, 2.0 * math.pi))


def _turn(pose: artworks.Pose, checks: Checks) -> float | None:
    """Return how far a searched pose may turn either way."""
    if not isinstance(pose, Searched):
        return 0.0
    turn = checks.value(radians, pose.turn, "/pose/turn")
    return None if turn is None else min(turn, math.pi)


@kept
def _searched(  # noqa: PLR0917 - a cached function is called by position
    area: FreeArea, figure: Figure, fineness: int, sides: Sides, clearance: float, rotation: float, turn: float
) -> searching.Found | None:
    """Return the largest copy that was found to fit, whatever the height asked for."""
    return searching.largest_copy(area, figures.seen(figure, fineness, sides), clearance, rotation, turn)
