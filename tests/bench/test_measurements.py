import functools
import importlib
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture
def measurements(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return the measuring program as a module."""
    monkeypatch.syspath_prepend(Path(__file__).parent)
    return importlib.import_module("measurements")


def test_the_two_heat_solvers_agree(measurements: ModuleType) -> None:
    """What the heat solver is timed against is another solution of the same cycle, by another method."""
    case = measurements.finite_volumes.Case()
    assert case.by_volumes() == pytest.approx(case.by_elements(), abs=measurements.finite_volumes.TOLERANCE_K)


def test_every_question_is_measured(measurements: ModuleType) -> None:
    """The measures of recipes, fits and quotes run, asked before and with all caches empty."""
    measures = list(measurements.in_process())
    for measure in measures:
        result = measurements.take(measure, 1)
        assert measure.name == result.name
        assert result.median_ms > 0.0
    assert {"recipe", "fit at a pose", "quote"} == {measure.name.split(",")[0] for measure in measures}


def test_a_ratio_is_of_medians(measurements: ModuleType) -> None:
    """A measure is prepared and called once more than it is timed, in turns with its baseline."""
    calls: list[str] = []
    measure = measurements.Measure(
        *("twice", lambda: calls.append("own"), "once", lambda: calls.append("baseline"), 2, 5.0),
        lambda: calls.append("prepare"),
    )
    result = measurements.take(measure, 2)
    assert ["prepare", "own", "baseline", *["baseline", "prepare", "own"] * 2] == calls
    assert result.median_ms / result.baseline_ms == result.ratio


def test_forgetting_empties_the_caches_of_the_service_alone(
    measurements: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A cache whose function is of our packages is emptied; another is kept."""
    doubled, tripled = (functools.lru_cache(lambda number, by=by: number * by) for by in (2, 3))
    monkeypatch.setattr(doubled, "__module__", "featherline_service.invented")
    monkeypatch.setattr(tripled, "__module__", "another_package")
    doubled(1)
    tripled(1)
    measurements.forget()
    assert [0, 1] == [doubled.cache_info().currsize, tripled.cache_info().currsize]
