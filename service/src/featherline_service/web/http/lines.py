"""A stream of bytes as lines, the longest of which has a limit."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct


class Line(Struct, frozen=True):
    """A line that is not empty, without its line feed, and its number from 1. `text` is None when it is too long."""

    number: int
    text: bytes | None


class LineSplitter:
    """Divides bytes at line feeds, however they arrive; holds no more of a line than the longest allowed.

    A carriage return before the line feed is white space, as in JSON. A line of nothing but white space is counted, and
    that is all.
    """

    def __init__(self, longest: int) -> None:
        self._longest = longest
        self.number = 1
        """The number of the line that is to end next."""
        self._begun = bytearray()
        self._too_long = False

    def feed(self, part: bytes) -> Iterator[Line]:
        """Yield the lines that a part of the stream completes."""
        first, *rest = part.split(b"\n")
        self._extend(first)
        for piece in rest:
            yield from self.end()
            self._extend(piece)

    def end(self) -> Iterator[Line]:
        """Yield the line begun, if there is one: here it ends."""
        if self._too_long:
            yield Line(self.number, None)
        elif text := bytes(self._begun).strip(b" \t\r"):
            yield Line(self.number, text)
        self.number += 1
        self._begun.clear()
        self._too_long = False

    def _extend(self, piece: bytes) -> None:
        self._begun += piece
        if len(self._begun) > self._longest:
            self._too_long = True
            self._begun.clear()
