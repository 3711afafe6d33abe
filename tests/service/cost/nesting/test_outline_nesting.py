from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

from featherline_service.cost.nesting import outline_nesting
from featherline_service.cost.nesting.outline_nesting import (
    OutlineNest,
    Shape,
    nest_outlines,
    perimeter_mm,
    verified_nest,
)
from featherline_service.cost.nesting.outline_search import Laid, Piece
from featherline_service.cost.nesting.rectangles import nest

TRIANGLE = ((0.0, 0.0), (30.0, 0.0), (15.0, 26.0))
SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))
TWO = (Piece(outline=SQUARE, count=2, angles=(0.0,)),)


def test_triangles_lie_closer_than_their_boxes() -> None:
    """Nested triangles take less than nine tenths of the film of their rectangles, and no less than their area."""
    boxes = nest([(30.0, 26.0)] * 24, strip_mm=200, gap_mm=2, turnable=True)
    nested = nest_outlines([Shape(outline=TRIANGLE, count=24)], strip_mm=200, gap_mm=2, turnable=True, budget_s=1)
    assert nested is not None

    assert 24 * 390 < nested.length_mm * nested.width_mm < 0.9 * boxes.area_mm2
    assert nested.width_mm <= 200 + 0.02


def test_the_nest_of_two_laid_pieces() -> None:
    """Two squares of 10 mm, one turned by a right angle, 2 mm apart: 22 mm of the strip, 10 mm of its width."""
    laid = [Laid(0, 0.0, 0.0, 0.0), Laid(0, 90.0, 22.0, 0.0)]
    nested = verified_nest(TWO, laid, strip_mm=50, gap_mm=2)
    assert nested is not None

    assert (22, 10) == pytest.approx((nested.length_mm, nested.width_mm))


@pytest.mark.parametrize(
    "laid",
    [
        [Laid(0, 0.0, 0.0, 0.0)],
        [Laid(0, 0.0, 0.0, 0.0), Laid(0, 0.0, 12.0, 0.0), Laid(0, 0.0, 24.0, 0.0)],
        [Laid(0, 0.0, 0.0, 0.0), Laid(0, 0.0, 11.9, 0.0)],
        [Laid(0, 0.0, 0.0, 0.0), Laid(0, 0.0, 5.0, 5.0)],
        [Laid(0, 0.0, 0.0, 0.0), Laid(0, 0.0, 12.0, 40.1)],
        [Laid(0, 0.0, 0.0, -0.1), Laid(0, 0.0, 12.0, 0.0)],
    ],
    ids=["one is missing", "one too many", "too near", "one on another", "over the far edge", "over the near edge"],
)
def test_invalid_results_are_rejected(laid: list[Laid]) -> None:
    """A result with a missing, overlapping or misplaced piece gives no nest."""
    assert verified_nest(TWO, laid, strip_mm=50, gap_mm=2) is None


def replace_search(monkeypatch: pytest.MonkeyPatch, folder: Path, program: str) -> None:
    """Run another program instead of the search."""
    file = folder / "search.py"
    file.write_text(program)
    monkeypatch.setattr(outline_nesting.outline_search, "__file__", str(file))


@pytest.mark.parametrize(
    "program", ["import time; time.sleep(60)", "raise SystemExit(1)", "print('no nest')", "print('[]')"]
)
def test_a_search_that_overruns_or_fails_gives_no_nest(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, program: str
) -> None:
    """A search that overruns, exits with an error or prints no valid result gives no nest."""
    replace_search(monkeypatch, tmp_path, program)
    monkeypatch.setattr(outline_nesting, "_GRACE_S", 0.2)

    assert nest_outlines([Shape(outline=SQUARE, count=2)], strip_mm=50, gap_mm=2, turnable=True, budget_s=0) is None


def test_a_killed_search_leaves_no_process(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The process is gone when the function returns."""
    pid = tmp_path / "pid"
    replace_search(
        monkeypatch,
        tmp_path,
        f"import os, time, pathlib; pathlib.Path({str(pid)!r}).write_text(str(os.getpid())); time.sleep(60)",
    )
    monkeypatch.setattr(outline_nesting, "_GRACE_S", 1.0)
    nest_outlines([Shape(outline=SQUARE, count=2)], strip_mm=50, gap_mm=2, turnable=True, budget_s=0)

    assert not Path(f"/proc/{pid.read_text()}").exists()


def test_too_many_pieces_are_not_searched(monkeypatch: pytest.MonkeyPatch) -> None:
    """No search runs for more than the greatest number of pieces, nor for none."""
    monkeypatch.setattr(subprocess, "run", None)
    many = outline_nesting.MOST_PIECES + 1

    assert nest_outlines([Shape(outline=SQUARE, count=many)], strip_mm=50, gap_mm=2, turnable=True, budget_s=1) is None
    assert nest_outlines([Shape(outline=SQUARE, count=0)], strip_mm=50, gap_mm=2, turnable=True, budget_s=1) is None


def test_the_search_reads_and_writes_json() -> None:
    """The program reads a search and writes a valid result."""
    asked = {
        "pieces": [{"outline": SQUARE, "count": 3, "angles": [0.0]}],
        "strip_mm": 34.0,
        "gap_mm": 2.0,
        "budget_s": 1,
    }
    done = subprocess.run(
        [sys.executable, "-I", outline_nesting.outline_search.__file__],
        input=msgspec.json.encode(asked),
        capture_output=True,
        check=True,
    )
    laid = msgspec.json.decode(done.stdout, type=list[Laid])

    assert isinstance(
        verified_nest((Piece(outline=SQUARE, count=3, angles=(0.0,)),), laid, strip_mm=34, gap_mm=1.9), OutlineNest
    )


def test_the_length_of_an_outline() -> None:
    """A square with sides of 10 mm has a perimeter of 40 mm."""
    assert 40 == perimeter_mm(SQUARE)
