from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from functools import cache, partial
from typing import Any

import msgspec
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline.wire import quantities as wire
from featherline_service.messages.values import Quantity
from featherline_service.quantities import (
    QuantityError,
    celsius,
    fahrenheit,
    inches,
    kelvin_difference,
    kilopascals,
    lengths,
    millimetres,
    plain,
    plain_seconds,
    radians,
    rise_over,
    say,
    say_bound,
    say_length,
    say_temperature,
    seconds,
    temperature,
    temperature_difference,
    temperatures,
    told_apart,
    without_zero,
)

# Each wire type with its units, its converter, and the unit that the converter returns.
DIMENSIONS: tuple[tuple[Any, tuple[str, ...], Callable[[str], float], str], ...] = (
    (wire.Length, wire.LENGTH_UNITS, millimetres, "mm"),
    (wire.Clearance, wire.LENGTH_UNITS, millimetres, "mm"),
    (wire.Offset, wire.LENGTH_UNITS, millimetres, "mm"),
    (wire.Duration, wire.DURATION_UNITS, seconds, "s"),
    (wire.Temperature, wire.TEMPERATURE_UNITS, celsius, "degC"),
    (wire.TemperatureDifference, wire.TEMPERATURE_DIFFERENCE_UNITS, kelvin_difference, "delta_degC"),
    (wire.Pressure, wire.PRESSURE_UNITS, kilopascals, "kPa"),
    (wire.Angle, wire.ANGLE_UNITS, radians, "rad"),
)
EVERY_UNIT = [(convert, unit, to) for _, units, convert, to in DIMENSIONS for unit in units]
HOSTILE = (
    "9**9**9 m",
    "9**9**9**9 m",
    "1e400 degC",
    "1e3 mm",
    "1" * 10_000,
    "1" * 10_000 + " mm",
    "NaN mm",
    "nan",
    "Infinity mm",
    "-inf mm",
    "٣ mm",  # ARABIC-INDIC DIGIT THREE
    "\uff13 mm",  # FULLWIDTH DIGIT THREE
    "2½ in",
    "1,5 in",
    "1 000 mm",
    "1_000 mm",
    "0x10 mm",
    "5 degC/min",
    "160 C",
    "160 °C",
    "22 mm\n",
    "22 mm ",
    " 22 mm",
    "22  mm",
    "22\tmm",
    "22\u00a0mm",
    "22 mm\x00",
    "22 MM",
    "22 millimetre",
    "22",
    "mm",
    "",
    " ",
    "+22 mm",
    "--2 mm",
    ".5 mm",
    "5. mm",
    "1.2.3 mm",
    "1234567890 mm",
    "0.1234567890 mm",
    "5 mm; import os",
    "5 mm mm",
    "__import__('os')",
    '22"',
    "22 mm2 ",
    "1/2 in",
)


@cache
def registry(numbers: type) -> Any:  # noqa: ANN401 - a class that pint makes
    """Return pint's units for a type of numbers; reading their definitions takes a third of a second."""
    return pint.UnitRegistry(non_int_type=numbers)


def spelt_for_pint(unit: str) -> str:
    """Return a unit in pint's spelling: powers with asterisks, and the inch in full."""
    return {"in": "inch", "in2": "inch**2"}.get(unit, unit.replace("m2", "m**2"))


@pytest.mark.parametrize(("convert", "unit", "to"), EVERY_UNIT)
@pytest.mark.parametrize("number", ["0", "1", "22", "0.000000001", "999999999.999999999", "36.6"])
def test_every_unit_converts_as_pint_converts_it(
    convert: Callable[[str], float], unit: str, to: str, number: str
) -> None:
    """Every unit of every dimension has pint's value."""
    expected = registry(float).Quantity(float(number), spelt_for_pint(unit)).to(to).magnitude

    # pint rounds at each step of its way, and an offset leaves an absolute error; ours is rounded once.
    assert expected == pytest.approx(convert(f"{number} {unit}"), rel=1e-14, abs=1e-12)


@given(st.decimals(min_value=0, max_value=999_999, places=6), st.sampled_from(EVERY_UNIT))
def test_a_conversion_is_rounded_once(number: Decimal, case: tuple[Callable[[str], float], str, str]) -> None:
    """A converted quantity is the float nearest to the exact value, by pint's exact definitions."""
    convert, unit, to = case
    exact = registry(Fraction).Quantity(Fraction(number), spelt_for_pint(unit)).to(to).magnitude

    assert float(exact) == convert(f"{number:f} {unit}")


def test_definitions_hold() -> None:
    """Defined values come out exactly.

    The inch is 25.4 mm by the international yard and pound agreement of 1959; degF and K are defined by degC (NIST
    SP 811, 2008, appendix B.8); 1 psi is 6.894757 kPa (the same).
    """
    assert (25.4, 63.5) == (millimetres("1 in"), millimetres("2.5 in"))
    assert (160.0, 100.0, 0.0, -273.15, -40.0) == tuple(
        map(celsius, ("320 degF", "212 degF", "32 degF", "0 K", "-40 degF"))
    )
    assert (5.0, 5.0) == (kelvin_difference("9 delta_degF"), kelvin_difference("5 delta_degC"))
    assert pytest.approx(6.894757, abs=5e-7) == kilopascals("1 psi")
    assert (100.0, 90.0, 3600.0) == (kilopascals("1 bar"), seconds("1.5 min"), seconds("1 h"))
    assert (math.pi, math.pi / 2) == (radians("180 deg"), radians("90 deg"))


def test_differences_and_temperatures_do_not_stand_for_one_another() -> None:
    """A temperature is refused as a difference, and a difference as a temperature."""
    with pytest.raises(QuantityError, match="absolute temperature"):
        celsius("5 delta_degC")
    with pytest.raises(QuantityError, match="temperature difference"):
        kelvin_difference("5 degC")


@pytest.mark.parametrize("text", ["-273.16 degC", "-459.68 degF", "-1 K"])
def test_nothing_is_colder_than_absolute_zero(text: str) -> None:
    """A temperature below absolute zero is refused."""
    with pytest.raises(QuantityError, match="absolute zero"):
        celsius(text)


@pytest.mark.parametrize("text", HOSTILE, ids=lambda text: ascii(text[:24]))
@pytest.mark.parametrize("dimension", DIMENSIONS, ids=lambda dimension: dimension[3])
def test_hostile_texts_are_refused_at_once(
    dimension: tuple[Any, tuple[str, ...], Callable[[str], float], str], text: str
) -> None:
    """Texts outside the grammar are refused by type and converter; pint itself would hang on some of them."""
    type_, _, convert, _ = dimension

    with pytest.raises(msgspec.ValidationError):
        msgspec.json.decode(msgspec.json.encode(text), type=type_)
    with pytest.raises(QuantityError, match="write a plain decimal") as refused:
        convert(text)

    assert len(str(refused.value)) < 250


@given(st.text(max_size=40))
def test_wire_and_converter_agree_on_any_text(text: str) -> None:
    """Every text that the wire type accepts, the converter accepts."""
    for type_, _, convert, _ in DIMENSIONS:
        try:
            msgspec.convert(text, type_)
        except msgspec.ValidationError:
            continue
        assert math.isfinite(convert(text))


@given(st.from_regex(r"\A-?[0-9]{1,10}(\.[0-9]{1,10})? {0,2}(mm2?|cm|m|in2?|deg|rad|degC|psi)\n?\Z"))
def test_wire_and_converter_have_one_grammar(text: str) -> None:
    """Types that allow a sign accept what the converter accepts; types without a sign accept the same without one."""
    converted = is_taken(millimetres, text, QuantityError)

    assert converted == is_taken(partial(msgspec.convert, type=wire.Offset), text, msgspec.ValidationError)
    assert (converted and text[0] != "-") == is_taken(
        partial(msgspec.convert, type=wire.Clearance), text, msgspec.ValidationError
    )
    assert is_taken(radians, text, QuantityError) == is_taken(
        partial(msgspec.convert, type=wire.Angle), text, msgspec.ValidationError
    )


def is_taken(function: Callable[[str], object], text: str, refusal: type[Exception]) -> bool:
    """Return whether a function accepts a text."""
    try:
        function(text)
    except refusal:
        return False
    return True


@pytest.mark.parametrize(
    ("type_", "text"),
    [
        (wire.Length, "0 mm"),
        (wire.Length, "0.000 in"),
        (wire.Length, "-22 mm"),
        (wire.Clearance, "-1 mm"),
        (wire.Area, "0 mm2"),
        (wire.Duration, "0 s"),
        (wire.Pressure, "-40 psi"),
        (wire.TemperatureDifference, "-5 delta_degC"),
        (wire.Curvature, "0 mm"),
        (wire.Curvature, "tight\n"),
        (wire.Curvature, "flat tight"),
        (wire.RiseText, "2.5 mm over 0 mm"),
        (wire.RiseText, "2.5 over 60 mm"),
    ],
)
def test_the_wire_holds_the_sign(type_: Any, text: str) -> None:  # noqa: ANN401 - an annotated type
    """Quantities that must be positive, or not negative, are so on the wire."""
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert(text, type_)


@pytest.mark.parametrize(
    ("type_", "text"),
    [
        (wire.Length, "22mm"),
        (wire.Length, "000000001 mm"),
        (wire.Clearance, "0 mm"),
        (wire.Offset, "-4.25 in"),
        (wire.Temperature, "-5 degC"),
        (wire.TemperatureDifference, "0 delta_degF"),
        (wire.Curvature, "gentle"),
        (wire.Curvature, "120 mm"),
        (wire.RiseText, "2.5 mm over 60 mm"),
        (wire.RiseText, "-0.1 in over 3 in"),
    ],
)
def test_the_wire_takes_what_is_written_well(type_: Any, text: str) -> None:  # noqa: ANN401 - an annotated type
    """Plain decimals with a unit pass."""
    assert text == msgspec.convert(text, type_)


def test_a_rise_is_two_lengths() -> None:
    """How far a straight edge stands off, and its length, each in its own unit."""
    assert (-2.5, 76.2) == rise_over("-0.25 cm over 3 in")
    with pytest.raises(QuantityError, match=r"write two lengths, such as '2\.5 mm over 60 mm'"):
        rise_over("2.5 mm")


@given(st.floats(min_value=-273, max_value=1000))
def test_fahrenheit_and_back(temperature_c: float) -> None:
    """Conversion to Fahrenheit is the inverse of the conversion from it."""
    assert temperature_c == pytest.approx((fahrenheit(temperature_c) - 32) / 1.8, abs=1e-9)


def test_fahrenheit_of_a_press_setting_is_whole() -> None:
    """Settings of a press convert without rounding errors."""
    assert [320.0, 32.0, -40.0, 311.0] == [fahrenheit(each) for each in (160.0, 0.0, -40.0, 155.0)]


def test_words_follow_the_units_asked_for() -> None:
    """Sentences for people are in millimetres and Celsius, or in inches and Fahrenheit."""
    assert ("25.4 mm", "1.00 in") == (say_length(25.4, "metric"), say_length(25.4, "us"))
    assert ("160 °C", "320 °F") == (say_temperature(160, "metric"), say_temperature(160, "us"))
    assert ("0.0 mm", "no length") == (say_length(-0.04, "metric"), say_length(math.inf, "metric"))
    assert inches(254) == 10


def test_a_refusal_says_what_to_write() -> None:
    """The message names the text, the dimension and its units."""
    with pytest.raises(QuantityError) as refused:
        millimetres("22 degC")

    assert "'22 degC' is not a length: write a plain decimal and one of the units mm, cm, m, in" == str(refused.value)


@given(
    st.floats(-1e6, 1e6).map(lambda value: round(value, 6)),
    st.floats(-10.0, 10.0).map(lambda value: round(value, 6)),
    st.integers(0, 3),
)
def test_a_measure_said_beside_its_limit_never_contradicts_it(limit: float, less: float, places: int) -> None:
    """As said, measure and limit are in the order that they are in, and differ where they do."""
    measure = limit + less
    said = tuple(map(say, told_apart(measure, limit, places)))
    there, wanted = map(Decimal, said)
    assert (measure > limit, measure < limit) == (there > wanted, there < wanted)
    assert not any(text.startswith("-0") and Decimal(text) == 0 for text in said)


@given(st.floats(0.0, 1e3), st.floats(1e-6, 10.0), st.sampled_from(["metric", "us"]))
def test_a_length_rounded_down_is_said_less_than_a_larger_one_rounded_up(
    length: float, more: float, units: str
) -> None:
    """A measure said by `say_bound` and the limit above it never read alike, from a thousandth of a micrometre on."""
    below, above = say_bound(length, units), say_bound(length + more, units, upwards=True)
    assert float(below.split()[0]) < float(above.split()[0])


def test_a_length_beside_its_limit_has_as_few_decimals_as_tell_them_apart() -> None:
    """0.5997 mm is not "0.6" where 0.6 mm are needed; 0.3 mm is."""
    assert ["0.5997 mm", "0.6000 mm"] == [*map(say, lengths(0.5997, 0.6, "metric"))]
    assert ["0.3 mm", "0.6 mm"] == [*map(say, lengths(0.3, 0.6, "metric"))]
    assert ["0.03 in", "0.04 in"] == [*map(say, lengths(0.8, 1.0, "us"))]


def test_temperatures_are_whole_degrees_of_the_units() -> None:
    """160 degC are 320 degF, and a difference of 5 K is one of 9 degrees Fahrenheit (NIST SP 811, 2008, B.8)."""
    assert [Quantity(160.0, "degC", 0), Quantity(320.0, "degF", 0)] == [
        temperature(160.2, units) for units in ("metric", "us")
    ]
    assert [Quantity(5.0, "delta_degC", 0), Quantity(9.0, "delta_degF", 0)] == [
        temperature_difference(5.0, units) for units in ("metric", "us")
    ]
    assert ["70.0 degC", "69.9 degC"] == [*map(say, temperatures(70.02, 69.91, "metric"))]
    assert ["158 degF", "148 degF"] == [*map(say, temperatures(70.0, 64.6, "us"))]


def test_numbers_have_the_digits_that_they_have() -> None:
    """Up to six decimals; a single one that is zero is left out where that is asked."""
    assert ["30", "0.0213", "0.333333", "0.000010000"] == [
        say(plain(value)) for value in (30.0, 0.0213, 1.0 / 3.0, 1e-5)
    ]
    assert Quantity(7.5, "s", 1) == plain_seconds(7.5)
    assert [0, 1, 2] == [
        without_zero(Quantity(12.0, "s", 1)).decimals,
        without_zero(Quantity(12.5, "s", 1)).decimals,
        without_zero(Quantity(12.0, "s", 2)).decimals,
    ]
