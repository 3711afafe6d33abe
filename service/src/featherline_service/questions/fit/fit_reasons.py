"""Why a placement does not fit, or cannot be pressed on or seen: reasons behind a fit's verdict."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from featherline.wire.fits import Contrast
from featherline.wire.records import Platen
from featherline.wire.verdicts import Reason, ReasonCode, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.contrast import TONE_ON_TONE_RATIO
from featherline_service.messages.values import Quantity, Said, said
from featherline_service.quantities import bound, lengths, told_apart
from featherline_service.questions.fit import reach
from featherline_service.questions.order.placements import Placement
from featherline_service.questions.reasons import reason
from featherline_service.questions.shoes.makers_consents import is_missing, without_consent
from featherline_service.questions.shoes.presses import PSI_KPA, pressure_kpa
from featherline_service.shape.placement import curvature, wrapping
from featherline_service.shape.placement.anchors import Anchor
from featherline_service.shape.placement.containment import Room

# The share of the film's pressure that an artwork's corners must get. Intimate contact grows with the fifth root of
# pressure (W. I. Lee, G. S. Springer, J. Compos. Mater. 21, 1987, from memory): at half of it 13 % is lost.
LEAST_PRESSURE_SHARE: Final = 0.5
_UPRIGHT_WITHIN: Final = math.radians(45.0)
"""A mark turned further lies sideways, and upside down within this of it: nearer to that than to upright."""
_ROUNDING_RAD: Final = 1e-9


def outside(placement: Placement, room: Room, largest: float | None) -> Iterator[Reason]:
    """Yield why an artwork does not fit, and how large it may be at its centre or by its anchor."""
    artwork = placement.artwork
    over: Quantity | None = None
    near: Quantity | None = None
    needed: Quantity | None = None
    if room.clearance < 0.0:
        over = bound(-room.clearance, artwork.units, upwards=True)
    else:
        near, needed = lengths(room.clearance, placement.clearance, artwork.units)
    yield reason(
        "fit.outside",
        "decline",
        "/artwork",
        said(
            "fit.outside",
            counted=placement.footprint,
            over=over,
            near=near,
            needed=needed,
            barrier=room.bound_by,
            where="anchored" if isinstance(placement.position.datum, Anchor) else "centred",
            largest=None if largest is None else artwork.height_said(largest),
            sized=artwork.sized_by,
        ),
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
        radius = bound(panel.radius_along, placement.artwork.units)
        yield reason("fit.curved", "trial", "/shoe/panels", said("fit.curved.unknown", radius=radius))
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
        must, can = told_apart(100.0 * strain, 100.0 * film.stretch, 1, "%")
        yield reason(
            "fit.curved",
            worst,
            "/artwork",
            said("fit.curved.stretch", must=must, film=film, can=can),
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
    units = placement.artwork.units
    corner, asked = _pressures(corner_kpa, asked_kpa, units)
    yield reason(
        "fit.curved",
        worst if corner_kpa <= 0.0 else "trial",
        "/artwork",
        said(
            "fit.curved.pressure",
            corner=corner,
            asked=asked,
            gap=None if math.isinf(gap) else bound(gap, units),
            pad=pad,
        ),
        measure=round(corner_kpa, 4),
        limit=round(least_kpa, 4),
        unit="kPa",
    )


def _pressures(part_kpa: float, whole_kpa: float, units: str) -> tuple[Quantity, Quantity]:
    """Return a part of a pressure, without its unit, and the whole."""
    unit, size = ("psi", PSI_KPA) if units == "us" else ("kPa", 1.0)
    part, whole = told_apart(part_kpa / size, whole_kpa / size, 0, unit)
    return Quantity(part.value, None, part.decimals), whole


def measured(placement: Placement) -> Iterator[Reason]:
    """Yield that a shoe known by its label alone is tried first."""
    if placement.shoe.known_by_label:
        yield reason("shoe.measured", "trial", "/shoe", said("shoe.measured.by-ruler"))


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
    code: ReasonCode = "sight.upside-down" if off > math.pi - _UPRIGHT_WITHIN else "sight.sideways"
    angle = Quantity(round(math.degrees(off)), "deg", 0)
    yield reason(
        code,
        "ready",
        "/pose",
        said(code, angle=angle),
        measure=round(math.degrees(off), 4),
        limit=math.degrees(_UPRIGHT_WITHIN),
        unit="deg",
    )


def tone_on_tone(contrast: Contrast | None) -> Iterator[Reason]:
    """Yield the remark that film and upper are alike; it declines nothing."""
    if contrast is not None and contrast.ratio < TONE_ON_TONE_RATIO:
        yield reason(
            "sight.tone-on-tone",
            "ready",
            "/colour",
            Said(contrast.message, contrast.parameters, contrast.sentence),
            measure=contrast.ratio,
            limit=TONE_ON_TONE_RATIO,
            unit="1",
        )
