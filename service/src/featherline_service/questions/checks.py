"""A request that cannot be answered: all its faults together, each with a JSON Pointer."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final, Literal, NoReturn, TypeVar

from msgspec import Struct

from featherline.wire.problems import Fault
from featherline.wire.records import Film
from featherline_service.identifiers import alike
from featherline_service.messages.told import Told, ToldError
from featherline_service.messages.values import Said, said

Value = TypeVar("Value")
RecordKind = Literal["film", "font", "shoe", "press", "upper", "label", "material", "cover-sheet", "price-policy"]
"""The kinds of records that requests name, as the words of messages."""
FAULT: Final = "fault."
"""The start of the ids of messages for faults; the rest is the fault's code."""

_NONE: Final[Mapping[str, str]] = MappingProxyType({})


class RefusedError(Exception):
    """The request names records that do not exist, or values that cannot be. `faults` holds all of its faults."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("; ".join(f"{fault.pointer}: {fault.detail}" for fault in faults))
        self.faults = faults


def said_fault(pointer: str, said: Said) -> Fault:
    """Return a fault at a JSON Pointer as a message has it; its code is the message's, without `FAULT`."""
    return Fault(
        pointer=pointer, detail=said.sentence, code=said.message.removeprefix(FAULT), parameters=said.parameters
    )


def told_fault(pointer: str, told: Told) -> Fault:
    """Return a fault at a JSON Pointer, of whoever writes the request."""
    return Fault(pointer=pointer, detail=told.sentence, code=told.code, parameters=told.parameters)


def not_in_film(film: Film, wanted: str) -> Said:
    """Return that a film has no such colour."""
    has, more = alike(wanted, (colour.id for colour in film.colours))
    return said("fault.colour.not-in-film", film=film, wanted=wanted, has=has or None, more=more)


class Places(Struct, frozen=True):
    """Where the parts of a question are in another, larger one: JSON Pointers by JSON Pointers.

    A part lies below `rest`, unless it lies below one of `parts`. `whole` are those whose own parts have no place of
    their own: all of them are at the place of the whole.
    """

    rest: str = ""
    parts: Mapping[str, str] = _NONE
    whole: Mapping[str, str] = _NONE

    def pointer(self, part: str) -> str:
        """Return where a part is. What is no pointer, such as a layer's name, is at `rest`, if there is one."""
        if part and not part.startswith("/"):
            return self.rest or part
        above = part
        while above:
            if above in self.whole:
                return self.whole[above]
            if above in self.parts:
                return self.parts[above] + part.removeprefix(above)
            above = above.rpartition("/")[0]
        return self.rest + part


class Checks:
    """Gathers the faults of a request, so that the caller learns of all of them at once.

    Each check returns the value it looked up, or None after noting a fault; `settle` raises when any was noted.
    """

    def __init__(self) -> None:
        self._places: tuple[Places, ...] = ()
        self._faults: list[Fault] = []

    def at(self, places: Places) -> Checks:
        """Return checks of a question that is a part of this one; they gather faults together."""
        inner = Checks()
        inner._places, inner._faults = (places, *self._places), self._faults
        return inner

    def under(self, pointer: str) -> Checks:
        """Return checks of what is at a JSON Pointer; they gather faults together."""
        return self.at(Places(rest=pointer))

    def pointer(self, part: str) -> str:
        """Return where in the request a part of the question is."""
        for places in self._places:
            part = places.pointer(part)
        return part

    @property
    def faults(self) -> tuple[Fault, ...]:
        """All faults of the request so far."""
        return tuple(self._faults)

    def note(self, pointer: str, detail: Said | Told) -> None:
        """Note a fault at a JSON Pointer: a customer's as a message, any other told to whoever writes the request."""
        at = self.pointer(pointer)
        self._faults.append(said_fault(at, detail) if isinstance(detail, Said) else told_fault(at, detail))

    def record(self, shelf: Mapping[str, Value], kind: RecordKind, wanted: str, pointer: str) -> Value | None:
        """Return the record `wanted` of a shelf; note a fault that lists the nearest ids when it is unknown."""
        record = shelf.get(wanted)
        if record is None:
            has, more = alike(wanted, sorted(shelf))
            self.note(pointer, said("fault.no-such-record", kind=kind, wanted=wanted, has=has or None, more=more))
        return record

    def value(self, convert: Callable[[str], Value], text: str, pointer: str) -> Value | None:
        """Return a converted text; note its fault when the conversion refuses it (`ToldError`)."""
        try:
            return convert(text)
        except ToldError as error:
            self.note(pointer, error.told)
            return None

    def settle(self) -> None:
        """Raise `RefusedError` when anything was noted."""
        if self._faults:
            raise RefusedError(self.faults)

    def refuse(self, pointer: str, detail: Said | Told) -> NoReturn:
        """Note a fault, and raise `RefusedError` with all."""
        self.note(pointer, detail)
        raise RefusedError(self.faults)
