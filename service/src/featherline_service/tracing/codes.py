"""Codes of the marks: words of 4 x 4 cells that stay apart however a mark is turned, and when it is mirrored.

The words were picked in a random order, each at a Hamming distance of four or more from all before in all eight
positions, and from itself in the other seven: of one wrong cell a mark is read right, two are noticed.

References:
    S. Garrido-Jurado, R. Muñoz-Salinas, F. J. Madrid-Cuevas, M. J. Marín-Jiménez, Automatic generation and detection of
    highly reliable fiducial markers under occlusion, Pattern Recognition 47 (6), 2014: dictionaries of square marks by
    their distance under rotation (from memory).
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

CELLS: Final = 4
DISTANCE: Final = 4
"""Cells in which two words differ at least, in any two positions."""
_MOST_WRONG: Final = 1
_TURNS: Final = 4
WORDS: Final = (
    0x0B5E, 0x72F3, 0x4F84, 0x2849, 0xEE02, 0x5CDD, 0xE2E2, 0xD733, 0xC32A, 0xABC2,
    0x7247, 0xAADE, 0xAB51, 0x584E, 0x021D, 0x05D1, 0xA079, 0xA6B5, 0xD265, 0x3A06,
    0xC371, 0x7E8E, 0xF0AC, 0x3B9D, 0x3917, 0x1EF9, 0x32DC, 0xDB27, 0x4C0D, 0x3EA4,
    0x8F9E, 0x5A17, 0x4249, 0x1675, 0xF0B1, 0x11FC, 0xB81B, 0xAE8F, 0x0836, 0x67D3,
)  # fmt: skip
"""Each word's cells, row by row from the top left, the first in the highest bit; set cells are white."""
_WEIGHTS: Final = 1 << np.arange(CELLS * CELLS - 1, -1, -1)


class Reading(NamedTuple):
    """A mark that was read: its number, by how many quarter turns it lies counter-clockwise, whether it is mirrored."""

    number: int
    turns: int
    mirrored: bool


def cells(number: int) -> NDArray[np.bool_]:
    """Return the cells of a mark from the top left, true where white, shape (4, 4)."""
    return (WORDS[number] & _WEIGHTS > 0).reshape(CELLS, CELLS)


def positions(word: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return a word as it looks in its eight positions, four turns and four mirrored, shape (8, 4, 4)."""
    return np.stack([np.rot90(side, turns) for side in (word, word[:, ::-1]) for turns in range(_TURNS)])


_POSITIONS: Final = np.stack([positions(cells(number)).reshape(8, -1) for number in range(len(WORDS))])


def read(seen: NDArray[np.bool_]) -> Reading | None:
    """Return the mark whose cells these are, shape (4, 4); None where no word is so near."""
    wrong = np.count_nonzero(seen.reshape(-1) != _POSITIONS, axis=2)
    number, position = np.unravel_index(np.argmin(wrong), wrong.shape)
    if wrong[number, position] > _MOST_WRONG:
        return None
    mirrored, turns = divmod(int(position), _TURNS)
    return Reading(int(number), turns, bool(mirrored))
