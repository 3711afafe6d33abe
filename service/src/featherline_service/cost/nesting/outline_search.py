"""The search of a nest of outlines, by a library that is an extra."""

from __future__ import annotations

from msgspec import Struct


class Piece(Struct, frozen=True):
    """An outline [mm], the number of copies, and the allowed angles of rotation [degrees]."""

    outline: tuple[tuple[float, float], ...]
    count: int
    angles: tuple[float, ...]


class Search(Struct, frozen=True):
    """Pieces, width of the strip, gap between pieces [mm], and time of the search [s]."""

    pieces: tuple[Piece, ...]
    strip_mm: float
    gap_mm: float
    budget_s: int


class Laid(Struct, frozen=True):
    """A laid copy: index of its piece, rotation about the origin [degrees], then translation [mm].

    `x` is along the strip.
    """

    piece: int
    angle: float
    x_mm: float
    y_mm: float


SEED = 8037


def search(asked: Search) -> list[Laid]:
    """Return the copies as laid on the shortest strip found.

    References:
        The library `spyrrow`, which binds `sparrow`: J. Gardeyn, G. Vanden Berghe, T. Wauters, *An open-source
        heuristic to reboot 2D nesting research* (2025); from memory.
    """
    import spyrrow  # noqa: PLC0415 - an optional dependency

    items = [
        spyrrow.Item(str(index), piece.outline, piece.count, piece.angles) for index, piece in enumerate(asked.pieces)
    ]
    config = spyrrow.StripPackingConfig(
        min_items_separation=asked.gap_mm or None, total_computation_time=asked.budget_s, num_workers=1, seed=SEED
    )
    solution = spyrrow.StripPackingInstance("", asked.strip_mm, items).solve(config)
    return [Laid(int(item.id), item.rotation, *item.translation) for item in solution.placed_items]
