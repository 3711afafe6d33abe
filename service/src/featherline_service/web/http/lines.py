"""Splits a stream of bytes into lines of limited length."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from featherline_service.messages.told import told
from featherline_service.web.http.problems import BODY_TOO_LARGE, ProblemError


class Line(Struct, frozen=True):
    """A line that is not empty, without its line feed, and its number from 1. `text` is None when it is too long."""

    number: int
    text: bytes | None


class LineSplitter:
    """Splits bytes at line feeds, however they arrive; holds no more of a line than the longest allowed.

    A carriage return before the line feed is white space, as in JSON. A line of white space alone is counted and left
    out.
    """

    def __init__(self, longest: int) -> None:
        self._longest = longest
        self.number = 1
        """The number of the present line."""
        self._present = bytearray()
        self._too_long = False

    def feed(self, part: bytes) -> Iterator[Line]:
        """Yield the lines that a part of the stream completes."""
        first, *rest = part.split(b"\n")
        self._extend(first)
        for piece in rest:
            yield from self.end()
            self._extend(piece)

    def end(self) -> Iterator[Line]:
        """End the present line, and yield it unless it is empty."""
        if self._too_long:
            yield Line(self.number, None)
        elif text := bytes(self._present).strip(b" \t\r"):
            yield Line(self.number, text)
        self.number += 1
        self._present.clear()
        self._too_long = False

    def _extend(self, piece: bytes) -> None:
        self._present += piece
        if len(self._present) > self._longest:
            self._too_long = True
            self._present.clear()


def too_large_line(longest: int) -> ProblemError:
    """Return the problem of a line that has more bytes than the `longest` that is taken."""
    return ProblemError(
        BODY_TOO_LARGE,
        told("line.too-large", "A line may have {longest:,} bytes; send less in it.", longest=longest),
    )
