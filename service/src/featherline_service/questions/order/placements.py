"""A request to mark a panel, understood: its records found, its quantities in millimetres and radians."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from shapely import MultiPolygon

from featherline.wire.artworks import TextArtwork
from featherline.wire.fits import FitRequest
from featherline.wire.records import Colour, Film, Press
from featherline.wire.shoes import MeasuredShoe
from featherline_service.book.shop_book import Book
from featherline_service.quantities import millimetres, say_bound
from featherline_service.questions.checks import Checks
from featherline_service.questions.order import poses
from featherline_service.questions.order.artwork_sizes import SizedArtwork, find_artwork
from featherline_service.questions.shoes.panels import FoundPanel, find_panel
from featherline_service.runtime import computation_lock
from featherline_service.runtime.cache import kept
from featherline_service.shape.outlines import figures, footprints, text_outlines
from featherline_service.shape.outlines.figures import Figure, Seen, Sides
from featherline_service.shape.outlines.footprints import Footprint
from featherline_service.shape.placement import containment
from featherline_service.shape.placement.anchors import Anchor
from featherline_service.shape.placement.containment import Pose

COMMON_CHARACTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"


@dataclass(frozen=True, eq=False)
class Marking:
    """What is to be marked where: records, and lengths in millimetres."""

    panel: FoundPanel
    film: Film
    colour: Colour | None
    press: Press
    artwork: SizedArtwork
    seen: Seen
    """The artwork as it counts on the right shoe's panel, for the shoes that it is for."""
    footprint: Footprint
    """What of it counts."""
    pose: Pose
    held: Pose | Anchor
    """What a copy of another size keeps to."""
    found: float | None
    """The scale of the largest copy that a search found to fit at the pose; None when the pose was given."""
    where: str
    """The pose in words."""
    clearance: float
    measured: bool
    """The shoe is known by a ruler and its label alone."""

    def placed(self) -> MultiPolygon:
        """Return the artwork where it is to be on the right shoe, in its panel's millimetres."""
        return _placed(self.artwork.figure, self.artwork.fineness, self.artwork.scale, self.pose)

    def counted(self) -> MultiPolygon:
        """Return what of the artwork counts against edges and keep-outs, where it is to be on the right shoe."""
        return footprints.counted(self.placed(), self.footprint)

    def extent(self) -> tuple[float, float]:
        """Return width and height of the placed artwork's box."""
        left, low, right, high = self.placed().bounds
        return right - left, high - low

    def say(self, length_mm: float, *, upwards: bool = False) -> str:
        """Return a length for people, rounded down, or up, so that what it promises holds."""
        return say_bound(length_mm, self.artwork.units, upwards=upwards)


def prepare(book: Book) -> None:
    """Draw and measure what most requests ask for: every font's capitals and digits.

    Nothing depends on it but how long the first requests take. Each character is a turn of its own, so that whoever
    asks meanwhile waits for one at the most.
    """
    for file in book.font_files.values():
        face = text_outlines.typeface(file)
        for character in COMMON_CHARACTERS:
            if face.font.get_nominal_glyph(ord(character)):
                with computation_lock.turn():
                    figures.of_text(face, character)


@kept
def _placed(figure: Figure, fineness: int, scale: float, pose: Pose) -> MultiPolygon:
    return containment.place(figure.drawn(fineness), pose, scale)


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
    pose = poses.read(request.pose, panel, artwork, checks)
    checks.settle()
    if panel is None or film is None or press is None or artwork is None or clearance is None or pose is None:
        raise AssertionError("What is missing has been noted as a fault, and faults have been raised")
    seen = figures.seen(artwork.figure, artwork.fineness, _sides(request), request.footprint)
    found = poses.resolve(pose, panel, seen, artwork.scale, clearance)
    return Marking(
        panel=panel,
        film=film,
        colour=colour,
        press=press,
        artwork=artwork,
        seen=seen,
        footprint=request.footprint,
        pose=found.pose,
        held=found.held,
        found=found.found,
        where=poses.say(request.pose, found.pose, panel, request.units),
        clearance=clearance,
        measured=isinstance(request.shoe, MeasuredShoe) and request.shoe.upper is None,
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
