"""Stored results of the simulated worlds: what is claimed of windows and of contradictions holds in them."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent


def stored(name: str) -> dict[str, Any]:
    """Return the stored results of a script."""
    found: dict[str, Any] = json.loads((HERE / f"{name}.json").read_text(encoding="utf-8"))
    return found


def test_windows_cover_what_they_claim() -> None:
    """In 1,000 worlds as assumed: 95 % for the shortest dwell's band, 97.5 % each for a ready bond and no harm."""
    found = stored("evidence_coverage")["as assumed"]
    assert found["worlds"] >= 1000
    assert found["shortest dwell within its 95 % band"] >= 0.95
    assert found["ready bonds"] >= 0.975
    assert found["ready is unharmed"] >= 0.975


def test_other_worlds_are_told() -> None:
    """What comes of worlds that are not as assumed is stored, whatever it is."""
    found = stored("evidence_coverage")
    assert {"as assumed", "spreads 1.5 times wider", "needed share one sigma higher"} == set(found)


def test_swapped_observations_are_named() -> None:
    """Of 200 swapped pairs of observations at least 95 % are named, and less than 1 % of true ones."""
    found = stored("evidence_swaps")
    assert found["worlds"] >= 200
    assert found["swaps named"] >= 0.95
    assert found["false alarms"] < 0.01


@pytest.mark.parametrize("script", ["evidence_coverage", "evidence_swaps"])
def test_scripts_run(script: str, tmp_path: Path) -> None:
    """The scripts that made the results still run."""
    for each in ("evidence_coverage.py", "evidence_swaps.py"):
        (tmp_path / each).write_bytes((HERE / each).read_bytes())
    subprocess.run([sys.executable, tmp_path / f"{script}.py", "2"], check=True, timeout=120)
    assert (tmp_path / f"{script}.json").exists()
