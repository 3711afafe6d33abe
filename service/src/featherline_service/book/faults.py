"""Faults of a shop book, reported all together."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct


class BookFault(Struct, frozen=True):
    """One fault of a book: file, record and key, each empty if it does not apply, and advice on how to correct it.

    `line` is that of the key in the file, or of the record that lacks it; None where it does not apply.
    """

    file: str
    record: str
    key: str
    advice: str
    line: int | None = None

    def __str__(self) -> str:
        """Return the fault on one line."""
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        return ": ".join(part for part in (place, self.record, self.key, self.advice) if part)


class BookError(Exception):
    """A shop book has faults and cannot be used. The message has a line for each; `faults` are the same as data."""

    def __init__(self, faults: Sequence[BookFault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))
