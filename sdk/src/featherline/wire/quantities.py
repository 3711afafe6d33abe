"""Quantities in requests: a decimal number and a unit as text, such as ``"22 mm"``; a bare number is refused.

Answers have plain numbers, whose names end in the unit, such as ``dwell_s``.
"""

from __future__ import annotations

from typing import Annotated, Final

from msgspec import Meta

from featherline.wire.texts import TYPED

LENGTH_UNITS: Final = ("mm", "cm", "m", "in")
AREA_UNITS: Final = ("mm2", "cm2", "m2", "in2")
DURATION_UNITS: Final = ("s", "min", "h")
TEMPERATURE_UNITS: Final = ("degC", "degF", "K")
TEMPERATURE_DIFFERENCE_UNITS: Final = ("delta_degC", "delta_degF")
PRESSURE_UNITS: Final = ("kPa", "bar", "psi")
ANGLE_UNITS: Final = ("deg", "rad")

_UNSIGNED: Final = r"[0-9]{1,9}(\.[0-9]{1,9})?"
_POSITIVE: Final = r"(?=[0-9.]*[1-9])" + _UNSIGNED
_SIGNED: Final = r"-?" + _UNSIGNED
# `$` alone also matches before a final newline in Python; the look-ahead holds it to the true end of the text.
_END: Final = r"$(?!\n)"


def _grammar(number: str, units: tuple[str, ...], what: str, example: str) -> Meta:
    """Return the constraint of a quantity as text: a number, at most one space, and a unit."""
    return Meta(
        pattern=f"^{number} ?({'|'.join(units)}){_END}",
        max_length=32,
        description=f"{what}, as text with its unit ({', '.join(units)}), such as '{example}'.",
        examples=[example],
    )


Length = Annotated[str, _grammar(_POSITIVE, LENGTH_UNITS, "A length greater than zero", "22 mm")]
Height = Annotated[Length, Meta(extra={TYPED: "height"})]
LARGEST: Final = "largest"
LetterHeight = Annotated[
    str,
    Meta(
        pattern=f"^({LARGEST}|{_POSITIVE} ?({'|'.join(LENGTH_UNITS)})){_END}",
        max_length=32,
        description="The height of a flat capital, such as '14 mm'; or 'largest': as large as fits there, to a "
        "tenth of a millimetre.",
        examples=["14 mm", LARGEST],
        extra={TYPED: "height"},
    ),
]
Clearance = Annotated[str, _grammar(_UNSIGNED, LENGTH_UNITS, "A length of zero or more", "3 mm")]
Offset = Annotated[str, _grammar(_SIGNED, LENGTH_UNITS, "A length that may be negative", "-4 mm")]
Area = Annotated[str, _grammar(_POSITIVE, AREA_UNITS, "An area greater than zero", "5 in2")]
Duration = Annotated[str, _grammar(_POSITIVE, DURATION_UNITS, "A duration greater than zero", "30 s")]
Temperature = Annotated[str, _grammar(_SIGNED, TEMPERATURE_UNITS, "An absolute temperature", "320 degF")]
TemperatureDifference = Annotated[
    str,
    _grammar(_UNSIGNED, TEMPERATURE_DIFFERENCE_UNITS, "A temperature difference of zero or more", "5 delta_degC"),
]
Pressure = Annotated[str, _grammar(_POSITIVE, PRESSURE_UNITS, "A pressure greater than zero", "40 psi")]
Angle = Annotated[str, _grammar(_SIGNED, ANGLE_UNITS, "An angle, counter-clockwise positive", "15 deg")]
Turn = Annotated[str, _grammar(_UNSIGNED, ANGLE_UNITS, "An angle of zero or more", "15 deg")]

_RADIUS: Final = f"{_POSITIVE} ?({'|'.join(LENGTH_UNITS)})"
Curvature = Annotated[
    str,
    Meta(
        pattern=f"^(flat|gentle|tight|{_RADIUS}){_END}",
        max_length=32,
        description="How a panel curves: 'flat', 'gentle', 'tight', or its smallest radius, such as '120 mm'.",
        examples=["gentle", "120 mm"],
    ),
]
RiseText = Annotated[
    str,
    Meta(
        pattern=f"^{_SIGNED} ?({'|'.join(LENGTH_UNITS)}) over {_RADIUS}{_END}",
        max_length=64,
        description="How far a straight edge of a length stands off, such as '2.5 mm over 60 mm'. On a panel that "
        "bulges it touches in its middle, and both its ends stand off by so much; on one that is hollow its ends touch "
        "and its middle stands off, and the number is negative: '-1 mm over 60 mm'.",
        examples=["2.5 mm over 60 mm"],
    ),
]
