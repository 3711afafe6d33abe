"""Why a placement does not fit, or cannot be pressed on or seen: reasons behind a fit's verdict."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from featherline.wire.fits import Contrast
from featherline.wire.records import Platen
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.contrast import TONE_ON_TONE_RATIO
from featherline_service.quantities import say_lengths, say_numbers
from featherline_service.questions.fit import reach
from featherline_service.questions.order.placements import Placement
from featherline_service.questions.shoes.makers_consents import is_missing, without_consent
from featherline_service.questions.shoes.presses import PSI_KPA, pressure_kpa
from featherline_service.shape.outlines.footprints import Footprint
from featherline_service.shape.placement import curvature, wrapping
from featherline_service.shape.placement.anchors import Anchor
from featherline_service.shape.placement.containment import Room

_COUNTED: Final[dict[Footprint, str]] = {
    "exact": "The artwork",
    "filled": "The artwork with its holes filled",
    "hull": "The artwork's hull",
}
_BARRIERS: Final = {"edge": "the edge of the panel", "old-mark": "the old mark", "toe-cap": "the toe cap"}
# The share of the film's pressure that an artwork's corners must get. Intimate contact grows with the fifth root of
# pressure (W. I. Lee, G. S. Springer, J. Compos. Mater. 21, 1987, from memory): at half of it 13 % is lost.
LEAST_PRESSURE_SHARE: Final = 0.5
_UPRIGHT_WITHIN: Final = math.radians(45.0)
"""A mark turned further lies sideways, and upside down within this of it: nearer to that than to upright."""
_ROUNDING_RAD: Final = 1e-9


def outside(placement: Placement, room: Room, largest: float | None) -> Iterator[Reason]:
    """Yield why an artwork does not fit, and how large it may be at its centre or by its anchor."""
    barrier = _BARRIERS.get(room.bound_by, f"the {room.bound_by}")
    counted = _COUNTED[placement.footprint]
    if room.clearance < 0.0:
        finding = f"{counted} reaches {placement.say(-room.clearance, upwards=True)} over {barrier}."
    else:
        near, needed = say_lengths(room.clearance, placement.clearance, placement.artwork.units)
        finding = f"{counted} comes within {near} of {barrier}; {needed} are needed."
    where = "at that distance" if isinstance(placement.position.datum, Anchor) else "with its centre there"
    most = (
        f"No size fits {where}: move it."
        if largest is None
        else f"{where.capitalize()} it fits up to {placement.artwork.high(largest)}."
    )
    yield Reason(
        code="fit.outside",
        verdict="decline",
        subject="/artwork",
        sentence=f"{finding} {most}",
        measure=round(room.clearance, 4),
        limit=round(placement.clearance, 4),
        unit="mm",
    )


def curved(book: Book, placement: Placement) -> Iterator[Reason]:
    """Yield why the panel is, or may be, too curved for flat film and a flat platen.

    The pad is that of the platen which serves best. That the upper itself gives way, and lies flatter than
    the shoe stands, is not counted on.
    """
    panel = placement.shape
    if panel.face == "heel":
        return  # It lies flat, or is not marked: `reach` says which.
    if not panel.curvature_known:
        yield Reason(
            code="fit.curved",
            verdict="trial",
            subject="/shoe/panels",
            sentence="How the panel curves is not known, so it counts as tight, with a radius of "
            f"{placement.say(panel.radius_along)}: lay a ruler on it and say flat, gentle or tight.",
        )
    if math.isinf(panel.radius_along) and math.isinf(panel.radius_across):
        return
    worst: Verdict = "decline" if panel.curvature_known else "trial"
    yield from _overstretched(placement, worst)
    if taking := reach.platens_that_take(book, placement):
        yield from _underpressed(book, placement, taking[0], worst)


def _overstretched(placement: Placement, worst: Verdict) -> Iterator[Reason]:
    """Yield that the film must give more than it can, wrapped over both curves or bent over one."""
    panel, film = placement.shape, placement.film
    radii, artwork = (panel.radius_along, panel.radius_across), placement.artwork
    # The disc round the artwork's box is strained more, and known at once.
    edge, centre = curvature.wrapping_strain(math.hypot(*placement.extent) / 2.0, *radii)
    if max(abs(edge), abs(centre)) > film.stretch:
        edge, centre = wrapping.footprint_strain(artwork.figure.drawn(0), *radii, artwork.scale)
    thickness = sum(layer.thickness_mm for layer in film.layers)
    bent = curvature.bending_strain(thickness, min(map(abs, radii)))
    strain = max(abs(edge), abs(centre), bent)
    if strain > film.stretch:
        must, can = say_numbers(100.0 * strain, 100.0 * film.stretch, 1)
        yield Reason(
            code="fit.curved",
            verdict=worst,
            subject="/artwork",
            sentence=f"To lie on the panel the film must give by {must} %; {film.name} gives by {can} %: "
            "make it smaller, or choose a film that stretches.",
            measure=round(strain, 6),
            limit=film.stretch,
            unit="1",
        )


def _underpressed(book: Book, placement: Placement, platen: Platen, worst: Verdict) -> Iterator[Reason]:
    """Yield that the artwork's corners get too little pressure, or none."""
    panel, film, pad = placement.shape, placement.film, book.pads[platen.pad]
    asked_kpa = pressure_kpa(placement.press.pressures, film.setting.pressure)
    width, height = placement.extent
    gap = curvature.gap_under_platen(width / 2.0, height / 2.0, panel.radius_along, panel.radius_across)
    corner_kpa = 0.0
    if not math.isinf(gap):
        corner_kpa = curvature.corner_pressure(
            width / 2.0,
            height / 2.0,
            panel.radius_along,
            panel.radius_across,
            asked_kpa,
            pad.thickness_mm,
            tuple((point.pressure_kpa, point.strain) for point in pad.compression),
        )
    least_kpa = LEAST_PRESSURE_SHARE * asked_kpa
    if corner_kpa >= least_kpa:
        return
    turned = "the panel turns away from the platen before them"
    why = turned if math.isinf(gap) else f"the gap is {placement.say(gap)}"
    yield Reason(
        code="fit.curved",
        verdict=worst if corner_kpa <= 0.0 else "trial",
        subject="/artwork",
        sentence=f"The artwork's corners get {_say_pressures(corner_kpa, asked_kpa, placement.artwork.units)}, for "
        f"{why} under a flat platen with {pad.name}: make it smaller, or try first that its corners bond.",
        measure=round(corner_kpa, 4),
        limit=round(least_kpa, 4),
        unit="kPa",
    )


def _say_pressures(part_kpa: float, whole_kpa: float, units: str) -> str:
    unit, size = ("psi", PSI_KPA) if units == "us" else ("kPa", 1.0)
    part, whole = say_numbers(part_kpa / size, whole_kpa / size, 0)
    return f"{part} of {whole} {unit}"


def measured(placement: Placement) -> Iterator[Reason]:
    """Yield that a shoe known by its label alone is tried first."""
    if placement.shoe.known_by_label:
        yield Reason(
            code="shoe.measured",
            verdict="trial",
            subject="/shoe",
            sentence="The shoe is known by a ruler and its tongue label alone: try the film where it does not show.",
        )


def protective(placement: Placement) -> Iterator[Reason]:
    """Yield that protective footwear is not marked before its maker's consent is stated."""
    if is_missing(placement.shoe.model, consented=placement.shoe.makers_consent):
        yield without_consent("/shoe/makers_consent")


def not_upright(placement: Placement) -> Iterator[Reason]:
    """Yield the remark that an artwork lies sideways or upside down as the shoe is worn; it declines nothing."""
    if placement.artwork.is_directional:
        return
    off = abs(math.remainder(placement.position.pose.rotation - placement.shape.upright, 2.0 * math.pi))
    if off <= _UPRIGHT_WITHIN + _ROUNDING_RAD:
        return
    how = "upside down" if off > math.pi - _UPRIGHT_WITHIN else "sideways"
    yield Reason(
        code="sight.upside-down" if how == "upside down" else "sight.sideways",
        verdict="ready",
        subject="/pose",
        sentence=f"It lies {how} for whoever looks at the worn shoe, {math.degrees(off):.0f} degrees from upright: "
        "without a rotation it is turned upright.",
        measure=round(math.degrees(off), 4),
        limit=math.degrees(_UPRIGHT_WITHIN),
        unit="deg",
    )


def tone_on_tone(contrast: Contrast | None) -> Iterator[Reason]:
    """Yield the remark that film and upper are alike; it declines nothing."""
    if contrast is not None and contrast.ratio < TONE_ON_TONE_RATIO:
        yield Reason(
            code="sight.tone-on-tone",
            verdict="ready",
            subject="/colour",
            sentence=contrast.sentence,
            measure=contrast.ratio,
            limit=TONE_ON_TONE_RATIO,
            unit="1",
        )
