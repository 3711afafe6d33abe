"""A request that cannot be understood: all its faults together, each with a JSON Pointer."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypeVar

from featherline.wire.problems import Fault

Value = TypeVar("Value")


class RefusedError(Exception):
    """The request names records that do not exist, or values that cannot be. `faults` holds every one found."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("; ".join(f"{fault.pointer}: {fault.detail}" for fault in faults))
        self.faults = faults


class Checks:
    """Gathers the faults of a request, so that the caller learns of all of them at once.

    Each check returns the value it looked up, or None after noting a fault; `settle` raises when any was noted.
    """

    def __init__(self) -> None:
        self._faults: list[Fault] = []

    def note(self, pointer: str, detail: str) -> None:
        """Note a fault at a JSON Pointer."""
        self._faults.append(Fault(pointer=pointer, detail=detail))

    def record(self, shelf: Mapping[str, Value], kind: str, wanted: str, pointer: str) -> Value | None:
        """Return the record `wanted` of a shelf; note a fault that lists the ids there are when it is unknown."""
        found = shelf.get(wanted)
        if found is None:
            self.note(pointer, f"The book has no {kind} {wanted!r}; it has: {', '.join(sorted(shelf))}")
        return found

    def value(self, convert: Callable[[str], Value], text: str, pointer: str) -> Value | None:
        """Return a converted text; note its fault when the conversion refuses it (`ValueError`)."""
        try:
            return convert(text)
        except ValueError as error:
            self.note(pointer, str(error))
            return None

    def settle(self) -> None:
        """Raise `RefusedError` when anything was noted."""
        if self._faults:
            raise RefusedError(tuple(self._faults))
