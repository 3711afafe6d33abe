from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

from featherline_service.cost.nesting import outline_nesting
from featherline_service.cost.nesting.outline_nesting import OutlineNest, Shape, around_mm, measured, nest_outlines
from featherline_service.cost.nesting.outline_search import Laid, Piece
from featherline_service.cost.nesting.rectangles import nest

TRIANGLE = ((0.0, 0.0), (30.0, 0.0), (15.0, 26.0))
SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))
TWO = (Piece(outline=SQUARE, count=2, angles=(0.0,)),)


def test_triangles_lie_closer_than_their_boxes() -> None:
    """Every other one stands on its head: less of the strip than their rectangles by a tenth at least, and no more."""
    boxes = nest([(30.0, 26.0)] * 24, strip_mm=200, gap_mm=2, turnable=True)
    found = nest_outlines([Shape(outline=TRIANGLE, count=24)], strip_mm=200, gap_mm=2, turnable=True, budget_s=1)
    assert found is not None

    assert 24 * 390 < found.length_mm * found.width_mm < 0.9 * boxes.area_mm2
    assert found.width_mm <= 200 + 0.02


def test_two_pieces_a_gap_apart_are_measured_as_they_lie() -> None:
    """Two squares of 10 mm, one turned by a right angle, 2 mm apart: 22 mm of the strip, 10 mm of its width."""
    laid = [Laid(0, 0.0, 0.0, 0.0), Laid(0, 90.0, 22.0, 0.0)]
    found = measured(TWO, laid, strip_mm=50, gap_mm=2)
    assert found is not None

    assert (22, 10) == pytest.approx((found.length_mm, found.width_mm))


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
def test_what_does_not_lie_as_it_should_is_not_believed(laid: list[Laid]) -> None:
    """Whatever the search says."""
    assert measured(TWO, laid, strip_mm=50, gap_mm=2) is None


def in_its_place(monkeypatch: pytest.MonkeyPatch, folder: Path, program: str) -> None:
    """Put another program in the place of the search."""
    file = folder / "search.py"
    file.write_text(program)
    monkeypatch.setattr(outline_nesting.outline_search, "__file__", str(file))


@pytest.mark.parametrize(
    "program", ["import time; time.sleep(60)", "raise SystemExit(1)", "print('no nest')", "print('[]')"]
)
def test_a_search_that_overruns_fails_or_lies_is_none(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, program: str
) -> None:
    """It is killed when its time is up, and nothing comes of it."""
    in_its_place(monkeypatch, tmp_path, program)
    monkeypatch.setattr(outline_nesting, "_GRACE_S", 0.2)

    assert nest_outlines([Shape(outline=SQUARE, count=2)], strip_mm=50, gap_mm=2, turnable=True, budget_s=0) is None


def test_a_killed_search_leaves_no_process(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Its process is gone when the answer is there."""
    pid = tmp_path / "pid"
    in_its_place(
        monkeypatch,
        tmp_path,
        f"import os, time, pathlib; pathlib.Path({str(pid)!r}).write_text(str(os.getpid())); time.sleep(60)",
    )
    monkeypatch.setattr(outline_nesting, "_GRACE_S", 1.0)
    nest_outlines([Shape(outline=SQUARE, count=2)], strip_mm=50, gap_mm=2, turnable=True, budget_s=0)

    assert not Path(f"/proc/{pid.read_text()}").exists()


def test_more_pieces_than_a_search_can_do_are_not_searched(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor none at all."""
    monkeypatch.setattr(subprocess, "run", None)
    many = outline_nesting.MOST_PIECES + 1

    assert nest_outlines([Shape(outline=SQUARE, count=many)], strip_mm=50, gap_mm=2, turnable=True, budget_s=1) is None
    assert nest_outlines([Shape(outline=SQUARE, count=0)], strip_mm=50, gap_mm=2, turnable=True, budget_s=1) is None


def test_the_search_reads_and_writes_json() -> None:
    """As a file of its own: where every copy lies."""
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
        measured((Piece(outline=SQUARE, count=3, angles=(0.0,)),), laid, strip_mm=34, gap_mm=1.9), OutlineNest
    )


def test_the_length_of_an_outline() -> None:
    """Four sides of ten."""
    assert 40 == around_mm(SQUARE)
