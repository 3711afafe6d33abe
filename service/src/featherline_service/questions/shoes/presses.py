"""Presses: what a level of pressure means at one, and the lower platen that a shoe goes on."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final, Literal

from shapely import MultiPolygon

from featherline.wire.recipes import Setting, Units
from featherline.wire.records import Platen, Press, PressureLevel, Pressures
from featherline.wire.shoes import Face
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import Quantity
from featherline_service.quantities import fahrenheit, kilopascals, plain
from featherline_service.questions.checks import Checks
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines.figures import OUTLINE_TOLERANCE_MM
from featherline_service.shape.outlines.svg import paths
from featherline_service.shape.placement.containment import ROUNDING_MM

PSI_KPA: Final = kilopascals("1 psi")
_ROUNDING: Final = 1e-4
"""[K] A setting in few decimals of one scale may be so far off a step of the other."""

Scale = Literal["degC", "degF"]


def settable_in(press: Press, platen_c: float) -> tuple[Scale, ...]:
    """Return the scales of a press on which a platen temperature [degC] is one of its steps."""
    scales: tuple[tuple[Scale, float, float], ...] = (
        ("degC", platen_c, press.step_c),
        ("degF", fahrenheit(platen_c), press.step_f),
    )
    return tuple(scale for scale, value, step in scales if _on_step(value, step))


def _on_step(value: float, step: float) -> bool:
    return abs(value - step * round(value / step)) < _ROUNDING


def setting_of(press: Press, pressure: PressureLevel, cover: str | None, *, platen_c: float, dwell_s: float) -> Setting:
    """Return a setting of a press in both scales."""
    scales, platen_f = settable_in(press, platen_c), fahrenheit(platen_c)
    return Setting(
        temperature_c=press.step_c * round(platen_c / press.step_c) if "degC" in scales else platen_c,
        temperature_f=press.step_f * round(platen_f / press.step_f) if "degF" in scales else platen_f,
        settable_in=scales,
        dwell_s=dwell_s,
        pressure=pressure,
        pressure_kpa=pressure_kpa(press.pressures, pressure),
        cover=cover,
    )


def temperatures_of(setting: Setting, units: Units) -> tuple[Quantity, ...]:
    """Return a setting's temperature as the press can be set to it: on one scale or both, that of `units` first."""
    values: dict[Scale, float] = {"degC": setting.temperature_c, "degF": setting.temperature_f}
    scales: tuple[Scale, ...] = ("degF", "degC") if units == "us" else ("degC", "degF")
    return tuple(_settable(values[scale], scale) for scale in scales if scale in setting.settable_in)


def _settable(value: float, scale: Scale) -> Quantity:
    number = plain(float(f"{value:.4g}"))
    return Quantity(number.value, scale, number.decimals)


def pressures_of(setting: Setting, units: Units) -> tuple[Quantity, Quantity]:
    """Return a setting's pressure at the platen in both units, that of `units` first."""
    kpa = Quantity(round(setting.pressure_kpa) + 0.0, "kPa", 0)
    psi = Quantity(round(setting.pressure_kpa / PSI_KPA) + 0.0, "psi", 0)
    return (psi, kpa) if units == "us" else (kpa, psi)


def find_press(book: Book, wanted: str | None, checks: Checks) -> Press | None:
    """Return a press, the bench's where none is named; note that it is unknown."""
    return checks.record(book.presses, "press", wanted or book.bench.press, "/press")


def pressure_kpa(pressures: Pressures, level: PressureLevel) -> float:
    """Return the pressure [kPa] that a level means at a press."""
    return {"light": pressures.light_kpa, "medium": pressures.medium_kpa, "firm": pressures.firm_kpa}[level]


def offset_k(book: Book, press: str) -> float:
    """Return how much hotter a press's platen is than what it is set to [K]; of no press of the book, zero."""
    return (book.presses[press].platen_offset_k if press else None) or 0.0


def platens_for(book: Book, press: Press, face: Face, inside_length: float | None) -> Iterator[Platen]:
    """Yield the platens of a press that present a face and take a shoe, in the order of its record, the best first.

    A shoe whose inside length [mm] is not known is taken to go on, and one that has the smallest but for rounding.
    """
    longest = math.inf if inside_length is None else inside_length + ROUNDING_MM
    for name in press.platens:
        platen = book.platens[name]
        if face in platen.faces and platen.smallest_inside_length_mm <= longest:
            yield platen


def first_platen(book: Book, press: Press, face: Face, inside_length: float | None) -> Platen:
    """Return the platen that recipes are resolved for: the first of `platens_for`, or else the press's first."""
    return next(platens_for(book, press, face, inside_length), book.platens[press.platens[0]])


@cached
def pad_outline(outline: str) -> MultiPolygon:
    """Return the outline of a pad cut to order.

    Raises:
        DrawingError: As `paths.region`.
    """
    return paths.region(outline, "nonzero", OUTLINE_TOLERANCE_MM)
