"""A short, repeatable run of the fuzz targets."""

from __future__ import annotations

import importlib
import random
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Final

import pytest

TARGETS: Final = ("decoder", "path", "svg")
TROUBLE: Final = (b"\x00", b"\xff", b'"', b"\\u", b"e9", b"-", b"<", b"&", b"0.", b"\n")
SEED: Final = 8037
RUNS: Final = {"decoder": 2000, "path": 300, "svg": 300}  # a drawing takes milliseconds


@pytest.fixture(scope="module")
def targets() -> Iterator[ModuleType]:
    """Return the fuzz targets as a module."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(Path(__file__).parent)
        yield importlib.import_module("targets")


def mutants(seeds: list[bytes], count: int) -> Iterator[bytes]:
    """Yield inputs that are nearly valid: bytes inserted, lost, doubled and changed, and two inputs spliced."""
    draw = random.Random(SEED)  # noqa: S311 - repeatable, not a secret
    for _ in range(count):
        data = bytearray(draw.choice(seeds))
        for _ in range(draw.randint(1, 4)):
            start = draw.randrange(len(data) + 1)
            end = min(len(data), start + draw.randint(0, 8))
            match draw.randrange(4):
                case 0:
                    data[start:end] = draw.randbytes(draw.randint(0, 4))
                case 1:
                    data[start:end] = data[start:end] * draw.choice((0, 2, 40))
                case 2:
                    data[start:end] = draw.choice(TROUBLE)
                case _:
                    other = draw.choice(seeds)
                    data[start:] = other[draw.randrange(len(other)) :]
        yield bytes(data)


@pytest.mark.parametrize("name", TARGETS)
def test_a_short_run_finds_nothing(targets: ModuleType, name: str) -> None:
    """Nearly valid inputs are read or refused, and nothing else."""
    for data in mutants(list(targets.seeds(name)), RUNS[name]):
        targets.TARGETS[name](data)


@pytest.mark.parametrize("name", TARGETS)
def test_seeds_are_read(targets: ModuleType, name: str) -> None:
    """Every seed is valid for at least one type."""
    for data in targets.seeds(name):
        targets.TARGETS[name](data)
    assert targets.seeds(name)
