"""Blocks of lines: what a process prices at a time, and what one file of answers is about."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property
from hashlib import sha256
from typing import Final

from msgspec import Struct

from featherline_service.web.http.lines import Line

FEWEST_LINES: Final = 1_000  # to send a block and to write its file takes as long as to price some lines
MOST_BYTES: Final = 8_388_608


class Block(Struct, frozen=True, dict=True):
    """Lines that follow one another."""

    lines: tuple[Line, ...]

    @property
    def first(self) -> int:
        """The number of the first line."""
        return self.lines[0].number

    @cached_property
    def digest(self) -> str:
        """The SHA-256 of the lines and their numbers, in hexadecimal digits."""
        total = sha256()
        for line in self.lines:
            length = "too long" if line.text is None else len(line.text)
            total.update(f"{line.number} {length}\n".encode())
            total.update(line.text or b"")
        return total.hexdigest()


def split(lines: Iterable[Line], most: int, most_bytes: int = MOST_BYTES) -> Iterator[Block]:
    """Yield blocks of `most` lines, or fewer where these have `most_bytes` together, so that memory is bounded."""
    block: list[Line] = []
    size = 0
    for line in lines:
        block.append(line)
        size += len(line.text or b"")
        if len(block) >= most or size >= most_bytes:
            yield Block(tuple(block))
            block, size = [], 0
    if block:
        yield Block(tuple(block))
