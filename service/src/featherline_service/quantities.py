"""Conversion of quantity texts to numbers, and of numbers to words. Pint works the factors out.

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
from featherline_service.messages.told import ToldError
from featherline_service.messages.values import Quantity

# Pint's spelling of the unit that the wire spells differently.
_PINT_SPELLING: Final = {"in": "inch"}
_SHAPE: Final = re.compile(r"(?P<number>-?[0-9]{1,9}(?:\.[0-9]{1,9})?) ?(?P<unit>[A-Za-z_0-9]+)", re.ASCII)
_LONGEST_TEXT: Final = 32
_TENTHS_BELOW_S: Final = 10.0
_MOST_PLACES: Final = 9
_REMEMBERED: Final = 1024  # texts per dimension; callers repeat a few sizes


class QuantityError(ToldError):
    """A text is not a quantity of the dimension wanted; the message names the units that are allowed."""


class _Dimension(NamedTuple):
    """A dimension in words, its units on the wire, and the unit that values are converted to, in pint's spelling."""

    what: str
    units: tuple[str, ...]
    to: str


_LENGTH: Final = _Dimension("a length", wire.LENGTH_UNITS, "mm")
_DURATION: Final = _Dimension("a duration", wire.DURATION_UNITS, "s")
_TEMPERATURE: Final = _Dimension("an absolute temperature", wire.TEMPERATURE_UNITS, "degC")
_TEMPERATURE_DIFFERENCE: Final = _Dimension("a temperature difference", wire.TEMPERATURE_DIFFERENCE_UNITS, "delta_degC")
_PRESSURE: Final = _Dimension("a pressure", wire.PRESSURE_UNITS, "kPa")
_ANGLE: Final = _Dimension("an angle", wire.ANGLE_UNITS, "rad")
_DIMENSIONS: Final = (_LENGTH, _DURATION, _TEMPERATURE, _TEMPERATURE_DIFFERENCE, _PRESSURE, _ANGLE)

_DEFINITIONS: Final = """
kilo- = 1e3 = k-
centi- = 1e-2 = c-
milli- = 1e-3 = m-
meter = [length] = m
second = [time] = s
gram = [mass] = g
kelvin = [temperature]; offset: 0 = K
radian = [] = rad
minute = 60 * second = min
hour = 60 * minute = h
inch = 25.4 * millimeter
pascal = kilogram / meter / second ** 2 = Pa
bar = 1e5 * pascal
pound_force_per_square_inch = 0.45359237 * kilogram * 9.80665 * meter / second ** 2 / inch ** 2 = psi
degree_Celsius = kelvin; offset: 273.15 = °C = degC
degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = °F = degF
degree = 3.1415926535897932384626433832795028841971693993751 / 180 * radian = deg
"""
"""The units of the wire, in pint's language; pint's own list has a thousand, which take half a second to read.

References:
    BIPM, The International System of Units, 9th edition (2019), tables 4 and 8; NIST Special Publication 811 (2008),
    appendix B.8: inch, pound, standard gravity, degree Fahrenheit.
"""

_Conversions = Mapping[str, tuple[Fraction, Fraction]]


def _all_conversions() -> Mapping[_Dimension, _Conversions]:
    """Return `(factor, offset)` of each unit: ``factor * value + offset`` is the value in the unit converted to.

    The registry is dropped afterwards: a caller's text must not reach it.
    """
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(None, non_int_type=Fraction)
    registry.load_definitions(_DEFINITIONS.splitlines())

    def conversion(unit: str, to: str) -> tuple[Fraction, Fraction]:
        spelling = _PINT_SPELLING.get(unit, unit)
        zero: Fraction = registry.Quantity(Fraction(0), spelling).to(to).magnitude
        unit_value: Fraction = registry.Quantity(Fraction(1), spelling).to(to).magnitude
        return unit_value - zero, zero

    return {dimension: {unit: conversion(unit, dimension.to) for unit in dimension.units} for dimension in _DIMENSIONS}


_CONVERSIONS: Final = _all_conversions()


def _converter(dimension: _Dimension, lowest: Fraction | None = None) -> Callable[[str], float]:
    what, table = dimension.what, _CONVERSIONS[dimension]
    allowed = ", ".join(table)

    @lru_cache(_REMEMBERED)
    def convert(text: str) -> float:
        match = _SHAPE.fullmatch(text) if len(text) <= _LONGEST_TEXT else None
        if match is None or match["unit"] not in table:
            shown = text if len(text) <= _LONGEST_TEXT else text[:_LONGEST_TEXT] + "…"
            raise QuantityError(
                "quantity.unreadable",
                "{shown!r} is not {what}: write a plain decimal and one of the units {allowed}",
                shown=shown,
                what=what,
                allowed=allowed,
            )
        factor, offset = table[match["unit"]]
        value = factor * Fraction(match["number"]) + offset
        if lowest is not None and value < lowest:
            raise QuantityError(
                "quantity.below-absolute-zero",
                "{text!r} is below absolute zero: write {what} that there can be",
                text=text,
                what=what,
            )
        return float(value)

    convert.__doc__ = f"Return {what} given as text, in {dimension.to}. Raises `QuantityError` for any other text."
    return convert


_CELSIUS: Final = _CONVERSIONS[_TEMPERATURE]
_ABSOLUTE_ZERO_C: Final = _CELSIUS["K"][1]

millimetres: Final = _converter(_LENGTH)
seconds: Final = _converter(_DURATION)
celsius: Final = _converter(_TEMPERATURE, lowest=_ABSOLUTE_ZERO_C)
kelvin_difference: Final = _converter(_TEMPERATURE_DIFFERENCE)
kilopascals: Final = _converter(_PRESSURE)
radians: Final = _converter(_ANGLE)

_INCH_MM: Final = millimetres("1 in")


def rise_over(text: str) -> tuple[float, float]:
    """Return how far a straight edge stands off, and its length, both in millimetres, from "2.5 mm over 60 mm".

    Raises:
        QuantityError: The text is not two lengths with "over" between them.
    """
    rise, over, length = text.partition(" over ")
    if not over:
        raise QuantityError(
            "quantity.not-a-rise",
            "{text!r} is no rise: write two lengths, such as '2.5 mm over 60 mm'",
            text=text[:_LONGEST_TEXT],
        )
    return millimetres(rise), millimetres(length)


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


def length(length_mm: float, units: str) -> Quantity | None:
    """Return a length as it is said: in millimetres, or inches when `units` is ``us``; None if it is not finite."""
    if not math.isfinite(length_mm):
        return None
    # Adding zero turns a negative zero into zero.
    if units == "us":
        return Quantity(round(inches(length_mm), 2) + 0.0, "in", 2)
    return Quantity(round(length_mm, 1) + 0.0, "mm", 1)


def say_length(length_mm: float, units: str) -> str:
    """Return a length for people: millimetres, or inches when `units` is ``us``; "no length" if it is not finite."""
    quantity = length(length_mm, units)
    return "no length" if quantity is None else say(quantity)


def bound(length_mm: float, units: str, *, upwards: bool = False) -> Quantity:
    """Return a length as `length` does, but rounded down, or up: a limit in words must not overstate."""
    places, value, unit = (2, inches(length_mm), "in") if units == "us" else (1, length_mm, "mm")
    steps = value * 10.0**places
    # A value within rounding errors of a whole step counts as that step.
    whole = math.ceil(steps - 1e-6) if upwards else math.floor(steps + 1e-6)
    return Quantity(whole / 10.0**places, unit, places)


def say_bound(length_mm: float, units: str, *, upwards: bool = False) -> str:
    """Return a length for people as `bound` does."""
    return say(bound(length_mm, units, upwards=upwards))


def without_zero(quantity: Quantity) -> Quantity:
    """Return a quantity without its decimal, if it has one and that is zero."""
    if quantity.decimals == 1 and not quantity.value % 1.0:
        return Quantity(quantity.value, quantity.unit, 0)
    return quantity


def plain_seconds(time_s: float) -> Quantity:
    """Return a time in seconds with the digits that it has."""
    number = plain(time_s)
    return Quantity(number.value, "s", number.decimals)


def say(quantity: Quantity) -> str:
    """Return a quantity for people, in English."""
    number = f"{quantity.value:.{quantity.decimals}f}"
    return number if quantity.unit is None else f"{number} {quantity.unit}"


def plain(value: float) -> Quantity:
    """Return a number with the digits that it has, of six significant ones at most."""
    digits = f"{value:g}"
    _, _, decimals = digits.partition(".")
    return Quantity(value, None, _MOST_PLACES if "e" in digits else len(decimals))


def told_apart(measure: float, limit: float, places: int, unit: str | None = None) -> tuple[Quantity, Quantity]:
    """Return a measure and its limit with as few decimals as tell them apart, and at least `places`.

    Rounded to the nearest with equally many decimals, two numbers keep their order: no sentence contradicts the verdict
    that came of them, as "0.5 where 0.5 are needed" would.
    """
    for decimals in range(places, _MOST_PLACES + 1):
        # Adding zero turns a negative zero into zero.
        first, second = round(measure, decimals) + 0.0, round(limit, decimals) + 0.0
        if first != second or measure == limit:
            break
    return Quantity(first, unit, decimals), Quantity(second, unit, decimals)


def lengths(measure_mm: float, limit_mm: float, units: str) -> tuple[Quantity, Quantity]:
    """Return a length and its limit, told apart as by `told_apart`."""
    if units == "us":
        return told_apart(inches(measure_mm), inches(limit_mm), 2, "in")
    return told_apart(measure_mm, limit_mm, 1, "mm")


def temperatures(measure_c: float, limit_c: float, units: str) -> tuple[Quantity, Quantity]:
    """Return a temperature and its limit, told apart as by `told_apart`."""
    if units == "us":
        return told_apart(fahrenheit(measure_c), fahrenheit(limit_c), 0, "degF")
    return told_apart(measure_c, limit_c, 0, "degC")


def temperature(temperature_c: float, units: str) -> Quantity:
    """Return a temperature in whole degrees Celsius, or Fahrenheit when `units` is ``us``."""
    if units == "us":
        return Quantity(round(fahrenheit(temperature_c)) + 0.0, "degF", 0)
    return Quantity(round(temperature_c) + 0.0, "degC", 0)


def temperature_difference(difference_k: float, units: str) -> Quantity:
    """Return a difference of temperatures in whole degrees Celsius, or Fahrenheit when `units` is ``us``."""
    if units == "us":
        return Quantity(round(fahrenheit(difference_k) - fahrenheit(0.0)) + 0.0, "delta_degF", 0)
    return Quantity(round(difference_k) + 0.0, "delta_degC", 0)


def seconds_said(time_s: float) -> Quantity:
    """Return a time in tenths of a second below ten, and else in whole ones."""
    decimals = 1 if time_s < _TENTHS_BELOW_S else 0
    return Quantity(round(time_s, decimals), "s", decimals)


def say_seconds(time_s: float) -> str:
    """Return a time for people as `seconds_said` does."""
    return say(seconds_said(time_s))


def say_temperature(temperature_c: float, units: str) -> str:
    """Return a temperature for people: degrees Celsius, or Fahrenheit when `units` is ``us``."""
    return f"{fahrenheit(temperature_c):.0f} °F" if units == "us" else f"{temperature_c:.0f} °C"


def say_temperature_range(low_c: float, high_c: float, units: str) -> str:
    """Return a range of temperatures for people: degrees Celsius, or Fahrenheit when `units` is ``us``."""
    return f"{say_temperature(low_c, units)} to {say_temperature(high_c, units)}"
