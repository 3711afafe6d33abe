"""Two runs of the measurements are compared by their ratios."""

import importlib
import json
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest


@pytest.fixture
def compare_runs(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return the comparing program as a module."""
    monkeypatch.syspath_prepend(Path(__file__).parent)
    return importlib.import_module("compare_runs")


def run_of(tides: float, quotes: float, flood: str, p99_ms: float, heat: float = 50.0) -> dict[str, Any]:
    """Return a run with two measures of one name and two figures without a baseline."""
    results = [
        {"name": "quotes", "baseline": "1000 x echo", "ratio": tides},
        {"name": "quotes", "baseline": "1000 x other echo", "ratio": quotes},
    ]
    facts = [{"name": flood, "unit": "ms", "value": p99_ms}, {"name": "mix: heat", "unit": "%", "value": heat}]
    return {"results": results, "facts": facts}


def test_a_change_is_the_quotient_of_ratios(compare_runs: ModuleType) -> None:
    """Measures of one name are told apart by their baseline, figures in a name do not matter, medians are compared."""
    before = [run_of(1.0, 2.0, "flood of 315/s", 8.0), run_of(9.0, 2.0, "flood of 320/s", 8.0)]
    after = [run_of(6.0, 1.0, "flood of 480/s", 8.0)]

    found = compare_runs.changes([*before, run_of(5.0, 2.0, "flood of 330/s", 8.0)], after)

    assert [("quotes", 5.0, 6.0), ("quotes", 2.0, 1.0), ("flood of 480/s", 8.0, 8.0), ("mix: heat", 50.0, 50.0)] == [
        (each.name, each.before, each.after) for each in found
    ]
    assert [1.2, 0.5, 1.0, 1.0] == [each.quotient for each in found]


@pytest.mark.parametrize(("most", "code"), [("19.9", 1), ("20.1", 0)])
def test_what_got_worse_is_named(
    compare_runs: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str], most: str, code: int
) -> None:
    """The command returns 1 where a ratio grew by more than it may; another share of the time is not worse."""
    files = [tmp_path / name for name in ("before.json", "after.json")]
    for file, run in zip(files, (run_of(1.0, 2.0, "p99", 8.0), run_of(1.2, 2.0, "p99", 8.0, 90.0)), strict=True):
        file.write_text(json.dumps(run))

    done = compare_runs.main(["--before", str(files[0]), "--after", str(files[1]), "--most", most])

    last = capsys.readouterr().out.splitlines()[-1]
    assert code == done
    assert ("Worse by more than 19.9 %: quotes" if code else "Nothing is worse by more than 20.1 %.") == last


def test_figures_of_one_side_alone_are_left_out(compare_runs: ModuleType) -> None:
    """A measure that is new has nothing to be compared with."""
    new = {"name": "new", "baseline": "nothing", "ratio": 1.0}
    before, after = (run_of(1.0, 1.0, "p99", 1.0) for _ in range(2))
    after["results"].append(new)

    assert "new" not in [each.name for each in compare_runs.changes([before], [after])]
