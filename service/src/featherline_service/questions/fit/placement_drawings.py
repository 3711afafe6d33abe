"""The placement drawing of a fit."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from featherline.wire.artworks import Artwork, TextArtwork
from featherline.wire.fits import Fit, FitRequest
from featherline.wire.recipes import Units
from featherline.wire.shoes import BookShoe, Face, Shoe
from featherline_service.book.shop_book import Book
from featherline_service.drawing import placements
from featherline_service.drawing.placements import Placed
from featherline_service.drawing.printable import printable
from featherline_service.drawing.scene import Scene
from featherline_service.quantities import inches, millimetres
from featherline_service.questions.fit import fits
from featherline_service.questions.order.placements import Marking, understand
from featherline_service.shape.placement import anchors
from featherline_service.shape.placement.anchors import Anchor

_UNITS: Final[dict[Units, str]] = {"metric": "mm", "us": "in"}
_UNIT_WORDS: Final[dict[Units, str]] = {"metric": "millimetres", "us": "inches"}
_RULES: Final[dict[Units, tuple[float, float, str]]] = {
    "metric": (50.0, 10.0, "50 mm: measure it to check the print"),
    "us": (millimetres("2 in"), millimetres("0.5 in"), "2 in: measure it to check the print"),
}
"""Length and steps [mm] of the rule to check a print by, and its words."""
_LONGEST_NAME: Final = 60


def draw(book: Book, request: FitRequest) -> Scene:
    """Return the placement drawing of a fit, at true scale.

    Raises:
        RefusedError: As `fits.check`.
    """
    return placements.draw(placed(book, request))


def placed(book: Book, request: FitRequest, name: str = "placement") -> Placed:
    """Return what the placement drawing of a fit shows; `name` keeps drawings on one page apart. Raises as `draw`."""
    marking, fit = understand(book, request), fits.check(book, request)
    film = marking.film.name if marking.colour is None else f"{marking.film.name}, {marking.colour.name}"
    title = f"{panel_name(book, request.shoe, request.panel)}: {artwork_name(request.artwork)}"
    lines = (
        f"{film}, on {shoe_name(book, request.shoe)}.",
        _verdict(marking, fit),
        f"{fit.placed.sentence} {_side(request.shoe, fit.face)}Dimensions in {_UNIT_WORDS[request.units]}.",
    )
    return Placed(
        name=name,
        title=title,
        lines=lines,
        description=f"{title}. {' '.join(lines)} {_size(marking, fit)}",
        panel=marking.panel.outline,
        keep_outs=marking.panel.area.barriers[1:],
        artwork=marking.placed(),
        counted=marking.counted(),
        measured=_measured(marking),
        clearance=marking.clearance,
        film=film,
        film_colour=None if marking.colour is None else marking.colour.hex,
        upper="upper" if marking.panel.colour is not None else "upper, its colour not given",
        upper_colour=marking.panel.colour,
        toe=fit.face != "heel",
        free=marking.say(fit.clearance_mm).partition(" ")[0],
        say=_figures(request.units),
        unit=_UNITS[request.units],
        rule=_RULES[request.units],
    )


def _measured(marking: Marking) -> tuple[tuple[float, float], tuple[float, float]] | None:
    if not isinstance(marking.held, Anchor):
        return None
    return anchors.measured(marking.panel.area, marking.seen.region, marking.held, marking.artwork.scale)


def panel_name(book: Book, shoe: Shoe, panel: str) -> str:
    """Return what a panel is called: by the book, or by its id where a ruler has measured it."""
    if isinstance(shoe, BookShoe):
        return next((each.name for each in book.shoes[shoe.shoe].panels if each.id == panel), panel)
    return panel.replace("-", " ").capitalize()


def shoe_name(book: Book, shoe: Shoe) -> str:
    """Return what a shoe is called."""
    if isinstance(shoe, BookShoe):
        return f"{book.shoes[shoe.shoe].name}, {shoe.size.system} {shoe.size.value}"
    if shoe.upper is not None and shoe.upper in book.uppers:
        return f"a walk-in shoe of {book.uppers[shoe.upper].name}"
    return f"a walk-in shoe labelled {shoe.label}"


def artwork_name(artwork: Artwork) -> str:
    """Return what an artwork is called: its words, or that it is a drawing."""
    return printable(artwork.text, _LONGEST_NAME) if isinstance(artwork, TextArtwork) else "drawing"


def _figures(units: Units) -> Callable[[float], str]:
    if units == "us":
        return lambda length_mm: f"{inches(length_mm):.2f}"
    return lambda length_mm: f"{length_mm:.1f}"


def _verdict(marking: Marking, fit: Fit) -> str:
    declined = [reason.sentence for reason in fit.reasons if reason.verdict == "decline"]
    if declined:
        return f"Declined: {' '.join(declined)}"
    barrier = "the edge" if fit.bound_by == "edge" else f"the {fit.bound_by.replace('-', ' ')}"
    free, needed = marking.say(fit.clearance_mm), marking.say(fit.clearance_needed_mm, upwards=True)
    first = "" if fit.verdict == "ready" else " To be tried first."
    return f"It fits: {free} free, to {barrier}; {needed} needed.{first}"


def _side(shoe: Shoe, face: Face) -> str:
    """Return which shoe of the pair is drawn."""
    if not isinstance(shoe, BookShoe) or face not in {"outer", "inner"}:
        return ""
    drawn, other = ("right", "left") if face == "outer" else ("left", "right")
    return f"As on the {drawn} shoe: the {other} shoe's panel is its mirror image, the artwork is not. "


def _size(marking: Marking, fit: Fit) -> str:
    width, height = marking.say(fit.artwork.width_mm), marking.say(fit.artwork.height_mm)
    return f"The artwork is {width} wide and {height} high."
