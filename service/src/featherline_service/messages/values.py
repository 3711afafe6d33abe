"""The values in a sentence, and the sentence in English, as they are made where something is computed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Final, NamedTuple, Protocol

from msgspec import Struct

from featherline.wire.verdicts import Message, Parameter
from featherline_service.messages.catalogues import signatures
from featherline_service.messages.texts import NameOf, Texts, english


class Quantity(Struct, frozen=True):
    """A number, rounded to so many decimals, and its unit; none for a number alone."""

    value: float
    unit: str | None
    decimals: int


class Amount(Struct, frozen=True):
    """An amount of money in a currency."""

    value: Decimal
    currency: str


class Named(Protocol):
    """A record: it has an id, and a name for people."""

    @property
    def id(self) -> str:
        """The id."""
        ...

    @property
    def name(self) -> str:
        """The name in the shop's language."""
        ...


Value = str | int | date | Decimal | Amount | Quantity | Named | Sequence[Named] | Sequence[str] | None
"""A value: a word or text, a count, a day, an exact number, an amount of money, a quantity, a record, several records
or texts; None where there is none."""


class Said(NamedTuple):
    """A message with its values, and its sentence in English."""

    message: str
    parameters: tuple[Parameter, ...]
    sentence: str


def messages(words: Iterable[Said]) -> tuple[Message, ...]:
    """Return sentences with their messages, as answers have them beside the sentences alone."""
    return tuple(Message(sentence=each.sentence, message=each.message, parameters=each.parameters) for each in words)


RECORDS: Final[Mapping[str, str]] = {
    "cover": "covers",
    "film": "films",
    "font": "fonts",
    "pad": "pads",
    "platen": "platens",
    "press": "presses",
    "shoe": "shoes",
    "upper": "uppers",
}
"""The kind of record of a parameter that is a single one."""
_SHELVES: Final = frozenset({*RECORDS.values(), "materials"})


def said(message: str, /, **values: Value) -> Said:
    """Return a message with its values, and its sentence in English.

    Raises:
        AssertionError: The values are not those that the message is declared with.
    """
    parameters, names = _filled(message, values)
    return Said(message, parameters, _sentence(message, parameters, tuple(names.items())))


class Speaker(NamedTuple):
    """Says messages in a language. Records are said by the names of `name_of`, or by those that they come with."""

    texts: Texts
    name_of: NameOf | None = None

    def __call__(self, message: str, /, **values: Value) -> str:
        """Return the sentence of a message with its values.

        Raises:
            AssertionError: As `said`.
        """
        parameters, names = _filled(message, values)
        return self.texts.say(message, parameters, self.name_of or (lambda kind, id_: names[kind, id_])).text

    def again(self, said: Said) -> str:
        """Return the sentence of a message that was said in English."""
        return self.texts.say(said.message, said.parameters, self.name_of or _no_name).text

    def name(self, kind: str, record: Named) -> str:
        """Return the name of a record."""
        return record.name if self.name_of is None else self.name_of(kind, record.id)


def _no_name(kind: str, id_: str) -> str:
    raise AssertionError(f"The name of {id_} of the {kind} is not known here")


def in_english() -> Speaker:
    """Return who says messages in English."""
    return Speaker(english())


def _filled(message: str, values: Mapping[str, Value]) -> tuple[tuple[Parameter, ...], Mapping[tuple[str, str], str]]:
    """Return the parameters of a message, and the names of the records among them by kind and id."""
    signature = signatures()[message]
    if values.keys() != signature.keys():
        raise AssertionError(f"{message} has the parameters {', '.join(signature)}; it was given {', '.join(values)}")
    names: dict[tuple[str, str], str] = {}
    return tuple(_parameter(name, value, signature[name], names) for name, value in values.items()), names


@lru_cache(maxsize=1024)
def _sentence(message: str, parameters: tuple[Parameter, ...], names: tuple[tuple[tuple[str, str], str], ...]) -> str:
    """Return the sentence of a message in English; `names` are those of records by kind and id."""
    name_of = dict(names)
    return english().say(message, parameters, lambda kind, id_: name_of[kind, id_]).text


def quantity_of(parameters: Sequence[Parameter], name: str) -> Quantity:
    """Return the quantity that a parameter has.

    Raises:
        StopIteration: There is none of that name.
    """
    parameter = next(parameter for parameter in parameters if parameter.name == name)
    assert isinstance(parameter.value, float)  # noqa: S101 - so it is declared
    return Quantity(parameter.value, parameter.unit, parameter.decimals or 0)


def _parameter(  # noqa: PLR0911 - one for each type of value
    name: str, value: Value, kind: str | tuple[str, ...], names: dict[tuple[str, str], str]
) -> Parameter:
    match value:
        case None:
            return Parameter(name=name, value=None)
        case Quantity():
            return Parameter(name=name, value=value.value, unit=value.unit, decimals=value.decimals)
        case Amount():
            return Parameter(name=name, value=str(value.value), unit=value.currency)
        case Decimal():
            return Parameter(name=name, value=str(value))
        case date():
            return Parameter(name=name, value=value.isoformat())
        case int():
            return Parameter(name=name, value=float(value), decimals=0)
        case str():
            if isinstance(kind, tuple) and value not in kind:
                raise AssertionError(f"{name} is one of {', '.join(kind)}, not {value}")
            return Parameter(name=name, value=value)
        case Sequence():
            return _several(name, value, str(kind).removesuffix("?"), names)
        case _:
            record = RECORDS[str(kind).removesuffix("?")]
            names[record, value.id] = value.name
            return Parameter(name=name, value=value.id, record=record)


def _several(
    name: str, value: Sequence[Named] | Sequence[str], kind: str, names: dict[tuple[str, str], str]
) -> Parameter:
    shelf = kind.removesuffix("-or")
    record = shelf if shelf in _SHELVES else None
    ids = []
    for item in value:
        if isinstance(item, str):
            ids.append(item)
        else:
            ids.append(item.id)
            names[shelf, item.id] = item.name
    return Parameter(name=name, value=tuple(ids), record=record)
