"""Stored results of trials on simulated shoes: learning is better than the simple rule."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@pytest.mark.parametrize("kind", ["as assumed", "spreads 1.5 times wider", "needed share one sigma higher"])
def test_trials_take_fewer_pressings_and_end_better(kind: str) -> None:
    """Against the film's setting plus 5 s until it holds: fewer pressings, no more shoes harmed, more final bonds."""
    found = json.loads((HERE / "evidence_trials.json").read_text(encoding="utf-8"))
    assert found["worlds"] >= 200
    answer, rule = found[kind]["by the answer"], found[kind]["by the rule"]
    assert answer["pressings"] < rule["pressings"]
    assert answer["shoes harmed"] <= rule["shoes harmed"]
    assert answer["final dwell bonds"] > rule["final dwell bonds"]


def test_the_script_runs(tmp_path: Path) -> None:
    """The script that made the results still runs."""
    for each in ("evidence_coverage.py", "evidence_trials.py"):
        (tmp_path / each).write_bytes((HERE / each).read_bytes())
    subprocess.run([sys.executable, tmp_path / "evidence_trials.py", "1"], check=True, timeout=120)
    found = json.loads((tmp_path / "evidence_trials.json").read_text(encoding="utf-8"))
    assert 1 == found["worlds"]
