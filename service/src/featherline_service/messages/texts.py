"""Messages put into words of one language."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Final, NamedTuple

from icu4py.locale import Locale
from icu4py.messageformat import MessageFormat

from featherline.wire.verdicts import Parameter
from featherline_service.messages.catalogues import (
    ALTERNATIVES,
    COMMAS,
    ENGLISH,
    NONE,
    NUMBERS,
    SURFACES,
    Arguments,
    Signature,
    bare_kind,
    catalogues,
    keyword,
    signatures,
)
from featherline_service.messages.pseudo import CHANGES, CLOSE, OPEN, isolated

NameOf = Callable[[str, str], str]
"""The name of a record for people, by its kind and id."""

_RIGHT_TO_LEFT: Final = frozenset({"ar", "dv", "fa", "he", "ku", "ps", "sd", "ug", "ur", "yi"})
_UNIT: Final = "unit."
_MONEY: Final = "money"
_JOINED: Final = "list"
_OR: Final = "list.or"
_NAMES: Final = "list.names"
_SURFACE: Final = "surface."


class Sentence(NamedTuple):
    """A sentence, and its language where that is another than the one asked for."""

    text: str
    language: str | None = None


class Texts:
    """The messages of one language; those that it lacks are English, and say so."""

    def __init__(self, language: str, patterns: Mapping[str, str], english: Texts | None = None) -> None:
        self.language = language
        self._english = english
        self._patterns = patterns
        self._made: dict[str, MessageFormat] = {}
        self._change = CHANGES.get(language)
        self._locale = ENGLISH if self._change is not None else language
        self._isolates = language.partition("-")[0] in _RIGHT_TO_LEFT

    def has(self, message: str) -> bool:
        """Return whether the language has a message."""
        return message in self._patterns

    def knows(self, message: str) -> bool:
        """Return whether there is a message, be it in English."""
        return message in self._patterns or (self._english is not None and self._english.knows(message))

    def say(self, message: str, parameters: Iterable[Parameter], name_of: NameOf) -> Sentence:
        """Return the sentence of a message.

        Args:
            message: The id of the message.
            parameters: Its values.
            name_of: The names of records.

        Raises:
            KeyError: There is no such message, not even in English.
        """
        if message not in self._patterns:
            english_texts = self._english
            if english_texts is None:
                raise KeyError(message)
            return Sentence(english_texts.say(message, parameters, name_of).text, ENGLISH)
        signature = signatures().get(message, _NO_SIGNATURE)
        arguments: Arguments = {}
        for parameter in parameters:
            self._add(arguments, parameter, signature.get(parameter.name), name_of)
        text = self._pattern(message).format(arguments)
        return Sentence(text if self._change is None else self._change(text))

    def number(self, value: float, decimals: int) -> str:
        """Return a number as the language writes it, with so many decimals and without grouping."""
        return _number(self._locale, decimals).format({"n": value})

    def exact(self, value: str, currency: str | None) -> str:
        """Return a decimal with the digits that it has, with its currency where it is an amount of money."""
        _, _, decimals = value.partition(".")
        number = _number(self._locale, len(decimals)).format({"n": Decimal(value)})
        if currency is None:
            return number
        return self._pattern(_MONEY).format({"n": number, "currency": currency})

    def day(self, day: date) -> str:
        """Return a day as the language writes it."""
        return _day(self._locale).format({"d": datetime(day.year, day.month, day.day, 12, tzinfo=UTC)})

    def quantity(self, value: float, unit: str, decimals: int) -> str:
        """Return a number with its unit, as the language writes them."""
        return self._pattern(f"{_UNIT}{unit}").format({"n": self.number(value, decimals)})

    def joined(self, names: Iterable[str], by: str = "list") -> str:
        """Return names as a list, joined by the pattern of a message."""
        joined = ""
        for name in names:
            joined = self._pattern(by).format({"first": joined, "second": name}) if joined else name
        return joined

    def _add(
        self, arguments: Arguments, parameter: Parameter, kind: str | tuple[str, ...] | None, name_of: NameOf
    ) -> None:
        value, name = parameter.value, parameter.name
        if value is None:
            arguments[name] = NONE
        elif isinstance(value, tuple):
            arguments[f"{name}_count"] = len(value)
            names = list(value) if parameter.record is None else [name_of(parameter.record, id_) for id_ in value]
            if kind in SURFACES:
                names = [self._pattern(f"{_SURFACE}{surface}").format({}) for surface in value]
            arguments[name] = self._shown(self.joined(names, _joined_by(parameter.record, kind))) if value else NONE
        elif isinstance(value, str):
            if isinstance(kind, tuple):
                arguments[name] = keyword(value)
            elif bare_kind(kind) in NUMBERS:
                arguments[name] = self._shown(self.exact(value, parameter.unit))
            elif kind == "date":
                arguments[name] = self._shown(self.day(date.fromisoformat(value)))
            else:
                arguments[name] = self._shown(value if parameter.record is None else name_of(parameter.record, value))
        elif parameter.unit is None and not parameter.decimals:
            arguments[name] = int(value)
        elif parameter.unit is None:
            arguments[name] = self._shown(self.number(value, parameter.decimals or 0))
        else:
            arguments[name] = self._shown(self.quantity(value, parameter.unit, parameter.decimals or 0))

    def _shown(self, value: str) -> str:
        if self._change is not None:
            return f"{OPEN}{value}{CLOSE}"
        return isolated(value) if self._isolates else value

    def _pattern(self, message: str) -> MessageFormat:
        """Return the pattern of a message; of units and lists in English where the language has none of its own."""
        made = self._made.get(message)
        if made is None:
            pattern = self._patterns.get(message) or catalogues()[ENGLISH].messages[message]
            made = self._made[message] = MessageFormat(pattern, Locale(self._locale))
        return made


def _joined_by(record: str | None, kind: str | tuple[str, ...] | None) -> str:
    """Return the message that joins a list."""
    if kind in ALTERNATIVES:
        return _OR
    return _NAMES if record in COMMAS else _JOINED


_NO_SIGNATURE: Final[Signature] = {}


@lru_cache(maxsize=256)
def _number(locale: str, decimals: int) -> MessageFormat:
    places = f".{'0' * decimals}" if decimals else "precision-integer"
    return MessageFormat(f"{{n, number, ::{places} group-off}}", locale)


@lru_cache(maxsize=64)
def _day(locale: str) -> MessageFormat:
    return MessageFormat("{d, date, ::yyyyMMMd}", locale)


@lru_cache(maxsize=1)
def english() -> Texts:
    """Return the service's own messages in English."""
    return Texts(ENGLISH, catalogues()[ENGLISH].messages)
