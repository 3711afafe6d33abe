"""Conversion of quantity texts to numbers, and of numbers to words. The factors are pint's.

At import the factor and offset of every unit that the wire allows are read from pint as exact fractions, so that a
converted quantity is the float nearest to its text: 320 degF is 160 degC, not 160.00000000000003. A caller's text never
reaches pint. Absolute temperatures and temperature differences have different units and cannot be mistaken for one
another.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from fractions import Fraction
from functools import lru_cache
from typing import Final, NamedTuple

import pint

from featherline.wire import quantities as wire

# Pint's spelling of the units that the wire spells differently.
_PINT_SPELLING: Final = {"mm2": "mm**2", "cm2": "cm**2", "m2": "m**2", "in2": "inch**2", "in": "inch"}
_SHAPE: Final = re.compile(r"(?P<number>-?[0-9]{1,9}(?:\.[0-9]{1,9})?) ?(?P<unit>[A-Za-z_0-9]+)", re.ASCII)
_LONGEST_TEXT: Final = 32
_CLOSE: Final = 0.03
_MOST_PLACES: Final = 8
_REMEMBERED: Final = 1024  # texts per dimension; callers repeat a few sizes


class QuantityError(ValueError):
    """A text is not a quantity of the dimension wanted; the message names the units that are allowed."""


class _Dimension(NamedTuple):
    """A dimension in words, its units on the wire, and the unit that values are converted to, in pint's spelling."""

    what: str
    units: tuple[str, ...]
    to: str


_LENGTH: Final = _Dimension("a length", wire.LENGTH_UNITS, "mm")
_AREA: Final = _Dimension("an area", wire.AREA_UNITS, "mm**2")
_DURATION: Final = _Dimension("a duration", wire.DURATION_UNITS, "s")
_TEMPERATURE: Final = _Dimension("an absolute temperature", wire.TEMPERATURE_UNITS, "degC")
_TEMPERATURE_DIFFERENCE: Final = _Dimension("a temperature difference", wire.TEMPERATURE_DIFFERENCE_UNITS, "delta_degC")
_PRESSURE: Final = _Dimension("a pressure", wire.PRESSURE_UNITS, "kPa")
_ANGLE: Final = _Dimension("an angle", wire.ANGLE_UNITS, "rad")
_DIMENSIONS: Final = (_LENGTH, _AREA, _DURATION, _TEMPERATURE, _TEMPERATURE_DIFFERENCE, _PRESSURE, _ANGLE)

_Conversions = Mapping[str, tuple[Fraction, Fraction]]


def _all_conversions() -> Mapping[_Dimension, _Conversions]:
    """Return `(factor, offset)` of each unit: ``factor * value + offset`` is the value in the unit converted to.

    The registry is dropped afterwards: it holds a thousand units, of which thirty are needed.
    """
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)

    def conversion(unit: str, to: str) -> tuple[Fraction, Fraction]:
        spelling = _PINT_SPELLING.get(unit, unit)
        zero: Fraction = registry.Quantity(Fraction(0), spelling).to(to).magnitude
        one: Fraction = registry.Quantity(Fraction(1), spelling).to(to).magnitude
        return one - zero, zero

    return {each: {unit: conversion(unit, each.to) for unit in each.units} for each in _DIMENSIONS}


_CONVERSIONS: Final = _all_conversions()


def _converter(dimension: _Dimension, lowest: Fraction | None = None) -> Callable[[str], float]:
    what, table = dimension.what, _CONVERSIONS[dimension]
    allowed = ", ".join(table)

    @lru_cache(_REMEMBERED)
    def convert(text: str) -> float:
        match = _SHAPE.fullmatch(text) if len(text) <= _LONGEST_TEXT else None
        if match is None or match["unit"] not in table:
            shown = text if len(text) <= _LONGEST_TEXT else text[:_LONGEST_TEXT] + "…"
            raise QuantityError(f"{shown!r} is not {what}: write a plain decimal and one of the units {allowed}")
        factor, offset = table[match["unit"]]
        value = factor * Fraction(match["number"]) + offset
        if lowest is not None and value < lowest:
            raise QuantityError(f"{text!r} is below absolute zero: write {what} that there can be")
        return float(value)

    convert.__doc__ = f"Return {what} given as text, in {dimension.to}. Raises `QuantityError` for any other text."
    return convert


_CELSIUS: Final = _CONVERSIONS[_TEMPERATURE]
_ABSOLUTE_ZERO_C: Final = _CELSIUS["K"][1]

millimetres: Final = _converter(_LENGTH)
square_millimetres: Final = _converter(_AREA)
seconds: Final = _converter(_DURATION)
celsius: Final = _converter(_TEMPERATURE, lowest=_ABSOLUTE_ZERO_C)
kelvin_difference: Final = _converter(_TEMPERATURE_DIFFERENCE)
kilopascals: Final = _converter(_PRESSURE)
radians: Final = _converter(_ANGLE)

_INCH_MM: Final = millimetres("1 in")


def fahrenheit(temperature_c: float) -> float:
    """Return a temperature in degrees Fahrenheit, given in degrees Celsius."""
    factor, offset = _CELSIUS["degF"]
    return float((Fraction(temperature_c) - offset) / factor)


def from_fahrenheit(temperature_f: float) -> float:
    """Return a temperature in degrees Celsius, given in degrees Fahrenheit."""
    factor, offset = _CELSIUS["degF"]
    return float(Fraction(temperature_f) * factor + offset)


def inches(length_mm: float) -> float:
    """Return a length in inches, given in millimetres."""
    return length_mm / _INCH_MM


def say_short(length_mm: float, limit_mm: float, units: str) -> tuple[str, str]:
    """Return a length for people and the limit that it falls short of, so that the words say so too.

    Both have the fewest decimals, from one for millimetres and two for inches, with which the length reads as less than
    the limit and neither is wrong by more than 3 %.
    """
    unit, fewest, size = ("in", 2, _INCH_MM) if units == "us" else ("mm", 1, 1.0)
    length, limit = length_mm / size, limit_mm / size
    for places in range(fewest, _MOST_PLACES):
        said, least = round(length, places), math.ceil(limit * 10.0**places - 1e-6) / 10.0**places
        close = all(abs(a - b) <= _CLOSE * abs(b) for a, b in ((said, length), (least, limit)))
        if said < least and close:
            return f"{said + 0.0:.{places}f} {unit}", f"{least:.{places}f} {unit}"
    return f"{length:.12g} {unit}", f"{limit:.12g} {unit}"


def say_length(length_mm: float, units: str) -> str:
    """Return a length for people: millimetres, or inches when `units` is ``us``; "no length" if it is not finite."""
    if not math.isfinite(length_mm):
        return "no length"
    # Adding zero turns a negative zero into zero.
    return f"{round(inches(length_mm), 2) + 0.0:.2f} in" if units == "us" else f"{round(length_mm, 1) + 0.0:.1f} mm"


def say_bound(length_mm: float, units: str, *, upwards: bool = False) -> str:
    """Return a length for people as `say_length` does, but rounded down, or up: a limit in words must not overstate."""
    places, value, unit = (2, inches(length_mm), "in") if units == "us" else (1, length_mm, "mm")
    steps = value * 10.0**places
    # A value within rounding errors of a whole step counts as that step.
    whole = math.ceil(steps - 1e-6) if upwards else math.floor(steps + 1e-6)
    return f"{whole / 10.0**places:.{places}f} {unit}"


def say_temperature(temperature_c: float, units: str) -> str:
    """Return a temperature for people: degrees Celsius, or Fahrenheit when `units` is ``us``."""
    return f"{fahrenheit(temperature_c):.0f} °F" if units == "us" else f"{temperature_c:.0f} °C"


def say_temperature_range(low_c: float, high_c: float, units: str) -> str:
    """Return a range of temperatures for people: degrees Celsius, or Fahrenheit when `units` is ``us``."""
    return f"{say_temperature(low_c, units)} to {say_temperature(high_c, units)}"
