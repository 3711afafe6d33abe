"""The placement drawing of a fit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from featherline.wire.fits import Fit, FitRequest
from featherline.wire.recipes import Units
from featherline_service.book.shop_book import Book
from featherline_service.drawing import placements
from featherline_service.drawing.placements import Mark, Placed
from featherline_service.drawing.scene import Scene
from featherline_service.quantities import inches, millimetres
from featherline_service.questions.fit import fits
from featherline_service.questions.order.placements import Placement, of_fit
from featherline_service.shape.placement import anchors
from featherline_service.shape.placement.anchors import Anchor

_UNITS: Final[dict[Units, str]] = {"metric": "mm", "us": "in"}
_UNIT_WORDS: Final[dict[Units, str]] = {"metric": "millimetres", "us": "inches"}
_RULES: Final[dict[Units, tuple[float, float, str]]] = {
    "metric": (50.0, 10.0, "50 mm: measure it to check the print"),
    "us": (millimetres("2 in"), millimetres("0.5 in"), "2 in: measure it to check the print"),
}
"""Length and steps [mm] of the rule to check a print by, and its words."""


def draw(book: Book, request: FitRequest) -> Scene:
    """Return the placement drawing of a fit, at true scale.

    Raises:
        RefusedError: As `fits.check`.
    """
    placement = of_fit(book, request)
    return placements.draw(placed(placement, fits.fit_of(book, placement)))


def placed(placement: Placement, fit: Fit, name: str = "placement", *, under: Sequence[Placement] = ()) -> Placed:
    """Return what the placement drawing of a fit shows; `name` keeps drawings on one page apart.

    `under` are the placements that it lies on, the lowest first.
    """
    panel, shape, artwork = placement.panel, placement.shape, placement.artwork
    film = film_of(placement)
    title = f"{panel.name}: {artwork.name}"
    lines = (
        f"{film}, on {placement.shoe.name}.",
        _verdict(placement, fit),
        f"{fit.placed.sentence} {_side(placement)}Dimensions in {_UNIT_WORDS[artwork.units]}.",
    )
    return Placed(
        name=name,
        title=title,
        lines=lines,
        description=f"{title}. {' '.join(lines)} {_size(placement, fit)}",
        panel=shape.outline,
        keep_outs=shape.area.barriers[1:],
        artwork=placement.placed(),
        counted=placement.counted(),
        measured=_measured(placement),
        clearance=placement.clearance,
        film=film,
        film_colour=None if placement.colour is None else placement.colour.hex,
        upper="upper" if panel.colour is not None else "upper, its colour not given",
        upper_colour=panel.colour,
        toe=fit.face != "heel",
        free=placement.say(fit.clearance_mm).partition(" ")[0],
        say=_figures(artwork.units),
        unit=_UNITS[artwork.units],
        rule=_RULES[artwork.units],
        marks=tuple(
            Mark(lower.placed(), film_of(lower), None if lower.colour is None else lower.colour.hex, backing=True)
            for lower in under
        ),
    )


def film_of(placement: Placement) -> str:
    """Return the name of a placement's film with its colour."""
    return placement.film.name if placement.colour is None else f"{placement.film.name}, {placement.colour.name}"


def _measured(placement: Placement) -> tuple[tuple[float, float], tuple[float, float]] | None:
    if not isinstance(placement.position.datum, Anchor):
        return None
    return anchors.measured(
        placement.shape.area, placement.seen.region, placement.position.datum, placement.artwork.scale
    )


def _figures(units: Units) -> Callable[[float], str]:
    if units == "us":
        return lambda length_mm: f"{inches(length_mm):.2f}"
    return lambda length_mm: f"{length_mm:.1f}"


def _verdict(placement: Placement, fit: Fit) -> str:
    declined = [reason.sentence for reason in fit.reasons if reason.verdict == "decline"]
    if declined:
        return f"Declined: {' '.join(declined)}"
    barrier = "the edge" if fit.bound_by == "edge" else f"the {fit.bound_by.replace('-', ' ')}"
    free, needed = placement.say(fit.clearance_mm), placement.say(fit.clearance_needed_mm, upwards=True)
    first = "" if fit.verdict == "ready" else " To be tried first."
    return f"It fits: {free} free, to {barrier}; {needed} needed.{first}"


def _side(placement: Placement) -> str:
    """Return which shoe of the pair is drawn."""
    if placement.shoe.model is None or placement.panel.face not in {"outer", "inner"}:
        return ""
    drawn, other = ("right", "left") if placement.panel.face == "outer" else ("left", "right")
    return f"As on the {drawn} shoe: the {other} shoe's panel is its mirror image, the artwork is not. "


def _size(placement: Placement, fit: Fit) -> str:
    width, height = placement.say(fit.artwork.width_mm), placement.say(fit.artwork.height_mm)
    return f"The artwork is {width} wide and {height} high."
