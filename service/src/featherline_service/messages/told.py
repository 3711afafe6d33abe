"""Sentences for whoever writes a request: in English, with a code and the values that they are made of.

What a customer, the counter or the bench reads is made of a message of the catalogue (`values.py: said`) instead.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from msgspec import Struct

from featherline.wire.problems import CallerFaultCode, CustomerFaultCode
from featherline.wire.verdicts import Parameter
from featherline_service.messages.texts import english
from featherline_service.messages.values import Quantity

FaultCode = CallerFaultCode | CustomerFaultCode
ToldValue = str | int | float | Decimal | Quantity | tuple[str, ...] | None
"""A text, a count, a number, a quantity or several texts; None where there is none."""

_DECIMALS: Final = 9


class Told(Struct, frozen=True):
    """A sentence in English, its code and its values."""

    code: FaultCode
    sentence: str
    parameters: tuple[Parameter, ...]


class ToldError(ValueError):
    """What whoever writes a request or a book has to mend; the message is made of a code's values."""

    def __init__(self, code: FaultCode, pattern: str, /, **values: ToldValue) -> None:
        self.told = told(code, pattern, **values)
        super().__init__(self.told.sentence)


def told(code: FaultCode, pattern: str, /, **values: ToldValue) -> Told:
    """Return a sentence by a pattern with the names of the values in braces.

    Every value of the sentence is a parameter: so the pattern is written out where this is called, and no f-string.
    """
    sentence = pattern.format_map({name: _shown(value) for name, value in values.items()})
    return Told(code, sentence, tuple(_parameter(name, value) for name, value in values.items()))


def measured(value: float, unit: str | None = None) -> Quantity:
    """Return a quantity with the digits that it has, of six significant ones at most."""
    digits = f"{value:g}"
    return Quantity(float(value), unit, _DECIMALS if "e" in digits else len(digits.partition(".")[2]))


def _shown(value: ToldValue) -> str | int:
    match value:
        case Quantity():
            words = english()
            if value.unit is None:
                return words.number(value.value, value.decimals)
            return words.quantity(value.value, value.unit, value.decimals)
        case tuple():
            return ", ".join(value)
        case float():
            return f"{value:g}"
        case Decimal() | None:
            return str(value)
        case _:
            return value


def _parameter(name: str, value: ToldValue) -> Parameter:
    match value:
        case Quantity():
            return Parameter(name=name, value=value.value, unit=value.unit, decimals=value.decimals)
        case float():
            return _parameter(name, measured(value))
        case int():
            return Parameter(name=name, value=float(value), decimals=0)
        case Decimal():
            return Parameter(name=name, value=str(value))
        case _:
            return Parameter(name=name, value=value)
