"""Searches a nest of outlines, in a process of its own: JSON on standard input, JSON on standard output.

Run as a file. It imports the search library, and nothing of ours or that is slow to start.
"""

from __future__ import annotations

import sys

import msgspec
from msgspec import Struct


class Piece(Struct, frozen=True):
    """A piece of one outline [mm], how many there are, and by which angles it may be turned [degrees]."""

    outline: tuple[tuple[float, float], ...]
    count: int
    angles: tuple[float, ...]


class Search(Struct, frozen=True):
    """Pieces to be laid on a strip, a distance apart, and for how long to search [s]."""

    pieces: tuple[Piece, ...]
    strip_mm: float
    gap_mm: float
    budget_s: int


class Laid(Struct, frozen=True):
    """Where a copy lies: its piece's place, turned about the origin [degrees], then moved [mm], `x` along the strip."""

    piece: int
    angle: float
    x_mm: float
    y_mm: float


SEED = 8037


def search(asked: Search) -> list[Laid]:
    """Return where every copy lies on the shortest strip that was found.

    References:
        The library `spyrrow`, which binds `sparrow`: J. Gardeyn, G. Vanden Berghe, T. Wauters, *An open-source
        heuristic to reboot 2D nesting research* (2025); from memory.
    """
    import spyrrow  # noqa: PLC0415 - an extra, and only this process has it

    items = [
        spyrrow.Item(str(place), piece.outline, piece.count, piece.angles) for place, piece in enumerate(asked.pieces)
    ]
    config = spyrrow.StripPackingConfig(
        min_items_separation=asked.gap_mm or None, total_computation_time=asked.budget_s, num_workers=1, seed=SEED
    )
    found = spyrrow.StripPackingInstance("", asked.strip_mm, items).solve(config)
    return [Laid(int(one.id), one.rotation, *one.translation) for one in found.placed_items]


def main() -> int:
    """Search once. Returns the exit code."""
    asked = msgspec.json.decode(sys.stdin.buffer.read(), type=Search)
    sys.stdout.buffer.write(msgspec.json.encode(search(asked)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
