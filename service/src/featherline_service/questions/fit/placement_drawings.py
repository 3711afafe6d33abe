"""The placement drawing of a fit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from featherline.wire.fits import Fit, FitRequest
from featherline.wire.recipes import Units
from featherline.wire.verdicts import Verdict
from featherline_service.book.shop_book import Book
from featherline_service.drawing import placements
from featherline_service.drawing.placements import Placed
from featherline_service.drawing.scene import Scene
from featherline_service.quantities import inches, millimetres
from featherline_service.questions.fit import fits
from featherline_service.questions.order.placements import Foot, Placement, of_fit
from featherline_service.shape.placement import anchors
from featherline_service.shape.placement.anchors import Anchor

_UNITS: Final[dict[Units, str]] = {"metric": "mm", "us": "in"}
_UNIT_WORDS: Final[dict[Units, str]] = {"metric": "millimetres", "us": "inches"}
_RULES: Final[dict[Units, tuple[float, float, str]]] = {
    "metric": (50.0, 10.0, "50 mm: measure it to check the print"),
    "us": (millimetres("2 in"), millimetres("0.5 in"), "2 in: measure it to check the print"),
}
"""Length and steps [mm] of the rule to check a print by, and its words."""
_OFFERED: Final[dict[Verdict, str]] = {
    "ready": "It fits.",
    "trial": "It fits; the shop tries it first.",
    "decline": "It cannot be done like this.",
}


def draw(book: Book, request: FitRequest) -> Scene:
    """Return the placement drawing of a fit, at true scale: of the shoe asked for, of both the one drawn in the book.

    Raises:
        RefusedError: As `fits.check`.
    """
    placement = of_fit(book, request)
    foot = drawn_foot(placement) if placement.sides == "both" else placement.sides
    return placements.draw(placed([PlacedFit(placement, fits.fit_of(book, placement))], foot))


def draw_offer(book: Book, request: FitRequest) -> Scene:
    """Return the placement drawing of a fit for a customer: without the clearance that the shop keeps, and its reasons.

    Raises:
        RefusedError: As `fits.check`.
    """
    placement = of_fit(book, request)
    foot = drawn_foot(placement) if placement.sides == "both" else placement.sides
    fit = fits.fit_of(book, placement)
    drawn = placed([PlacedFit(placement, fit)], foot)
    lines = (drawn.lines[0], _OFFERED[fit.verdict], drawn.lines[2])
    description = f"{drawn.title}. {' '.join(lines)} {_size(placement, fit)}"
    return placements.draw(drawn._replace(lines=lines, description=description, clearance=0.0))


class PlacedFit(NamedTuple):
    """A placement with its fit; `number` is its number in an order of several, else None."""

    placement: Placement
    fit: Fit
    number: int | None = None


def drawn_foot(placement: Placement) -> Foot:
    """Return the shoe that the panel is drawn of: with the toe to the right an inner panel is the left shoe's."""
    return "left" if placement.panel.face == "inner" else "right"


def placed(marks: Sequence[PlacedFit], foot: Foot, name: str = "placement") -> Placed:
    """Return what the placement drawing of a panel shows.

    Args:
        marks: what is on the panel, from the bottom up; dimensions and clearance are those of the first.
        foot: the shoe to draw.
        name: keeps drawings on one page apart.
    """
    (placement, fit, number), *further = marks
    panel, shape, units = placement.panel, placement.shape, placement.artwork.units
    title = f"{panel.name}: {', '.join(_named(mark) for mark in marks if not mark.placement.is_backing)}"
    lines = (
        f"{film_name(placement)}, on {placement.shoe.name}.",
        _verdict(placement, fit),
        f"{fit.placed.sentence} {_shoe_drawn(placement, foot)} Dimensions in {_UNIT_WORDS[units]}.",
        *(_further(mark) for mark in further),
    )
    return placements.on_shoe(
        Placed(
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
            film=film_name(placement),
            film_colour=None if placement.colour is None else placement.colour.hex,
            upper="upper" if panel.colour is not None else "upper, its colour not given",
            upper_colour=panel.colour,
            toe=fit.face != "heel",
            free="",
            say=_figures(units),
            unit=_UNITS[units],
            rule=_RULES[units],
            marks=tuple(_mark(mark) for mark in further),
            label=str(number) if further and number is not None else "",
            shoe=drawn_foot(placement),
            rotation_deg=fit.placed.rotation_deg,
            directional=placement.artwork.is_directional,
        ),
        foot,
    )


def _mark(mark: PlacedFit) -> placements.Mark:
    placement = mark.placement
    return placements.Mark(
        artwork=placement.placed(),
        film=film_name(placement),
        film_colour=None if placement.colour is None else placement.colour.hex,
        backing=placement.is_backing,
        label="" if mark.number is None else str(mark.number),
        rotation_deg=mark.fit.placed.rotation_deg,
        directional=placement.artwork.is_directional,
    )


def _further(mark: PlacedFit) -> str:
    if mark.placement.is_backing:
        return (
            f"{'It' if mark.number is None else f'Placement {mark.number}'} is backed in {film_name(mark.placement)}."
        )
    return f"Placement {mark.number}: {film_name(mark.placement)}. {mark.fit.placed.sentence}"


def _named(mark: PlacedFit) -> str:
    name = mark.placement.artwork.name
    return name if mark.number is None else f"({mark.number}) {name}"


def film_name(placement: Placement) -> str:
    """Return a placement's film and colour, for people."""
    return placement.film.name if placement.colour is None else f"{placement.film.name}, {placement.colour.name}"


def _measured(placement: Placement) -> tuple[tuple[float, float], tuple[float, float]] | None:
    if not isinstance(placement.position.datum, Anchor):
        return None
    return anchors.ruler(placement.shape.area, placement.seen.region, placement.position.datum, placement.artwork.scale)


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
    least = "at least " if placement.sides == "both" else ""
    return f"It fits: {least}{free} free, to {barrier}; {needed} needed.{first}"


def _shoe_drawn(placement: Placement, foot: Foot) -> str:
    """Return which shoe of the pair is drawn, and how it is on the other one where that is marked too."""
    if placement.sides != "both":
        return f"Drawn: the {foot} shoe."
    other = "left" if foot == "right" else "right"
    artwork = "and so is the artwork" if placement.artwork.is_directional else "the artwork is not"
    return f"Drawn: the {foot} shoe. The {other} shoe's panel is its mirror image, {artwork}."


def _size(placement: Placement, fit: Fit) -> str:
    width, height = placement.say(fit.artwork.width_mm), placement.say(fit.artwork.height_mm)
    return f"The artwork is {width} wide and {height} high."
