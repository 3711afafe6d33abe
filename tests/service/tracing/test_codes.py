from __future__ import annotations

import numpy as np
import pytest

from featherline_service.tracing import codes
from featherline_service.tracing.sheet import MARKS, SHEETS


def test_the_words_stay_apart_in_every_position() -> None:
    """Two words, turned or mirrored at will, differ in four cells or more, and a word from itself otherwise turned."""
    every = np.stack([codes.positions(codes.cells(number)).reshape(8, -1) for number in range(len(codes.WORDS))])
    flat = every.reshape(-1, codes.CELLS**2)

    apart = np.count_nonzero(flat[:, None] != flat[None], axis=2)
    np.fill_diagonal(apart, codes.CELLS**2)

    assert codes.DISTANCE == apart.min()
    assert len(SHEETS) * MARKS == len(codes.WORDS)


@pytest.mark.parametrize("number", [0, 17, 39])
@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_a_word_is_read_with_a_wrong_cell_and_not_with_two(number: int, turns: int) -> None:
    """One wrong cell is mended; two are noticed; a mirrored word is read as such."""
    seen = np.rot90(codes.cells(number), turns).copy()
    mirrored = np.rot90(codes.cells(number)[:, ::-1], turns)

    assert codes.Reading(number, turns, mirrored=False) == codes.read(seen)
    assert codes.Reading(number, turns, mirrored=True) == codes.read(mirrored)

    seen[1, 2] ^= True
    assert codes.Reading(number, turns, mirrored=False) == codes.read(seen)

    seen[3, 0] ^= True
    assert codes.read(seen) is None
