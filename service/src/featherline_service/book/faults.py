"""What is wrong with a shop book, said once and all together."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct


class BookFault(Struct, frozen=True):
    """One fault of a book: the file, the record in it, the key in that (each empty if there is none), what to do."""

    file: str
    record: str
    key: str
    advice: str

    def __str__(self) -> str:
        """Return the fault on one line."""
        return ": ".join(part for part in (self.file, self.record, self.key, self.advice) if part)


class BookError(Exception):
    """A shop book cannot be used. The message has one line per fault; `faults` has them as data."""

    def __init__(self, faults: Sequence[BookFault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))
