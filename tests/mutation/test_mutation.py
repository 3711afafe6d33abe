"""The mutation tests themselves: which mutants are made, and what becomes of them."""

import importlib
from pathlib import Path
from types import ModuleType
from typing import Final

import pytest

SOURCE: Final = '''\
def tide(hours: int | None) -> float:
    """Return a height."""
    return 2.0 * (hours or 0) + 1.5
'''


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return the program as a module."""
    monkeypatch.syspath_prepend(Path(__file__).parent)
    return importlib.import_module("run")


def test_a_mutant_differs_in_one_place(run: ModuleType) -> None:
    """Operators and numbers are changed, each alone; annotations are not."""
    found = list(run.mutants(SOURCE))
    after = {mutant.after for mutant in found}

    assert len({mutant.source for mutant in found}) == len(found)
    assert {3} == {mutant.line for mutant in found}
    assert {"return 2.0 * (hours or 0) - 1.5", "return 2.0 * (hours and 0) + 1.5"} <= after
    assert all("int | None" in mutant.source for mutant in found)


def test_modules_have_tests(run: ModuleType) -> None:
    """Every module that is mutated is tried by tests: the file that mirrors it, or the folder of its package."""
    tests = {module: run.tests_of(module) for module in run.modules(run.PACKAGES)}

    assert [run.TESTS / "heat" / "test_bond.py"] == tests["heat/bond"]
    assert [] == [module for module, files in tests.items() if not files]
    assert [] == [module for module in tests if not run.wider_tests_of(module)]


def test_modules_of_questions_cost_and_shape_are_mirrored(run: ModuleType) -> None:
    """Each has a file of tests of its own, so that whoever changes it need not run those of others."""
    mirrors = {module: run.TESTS / f"{module}.py" for module in run.modules(run.MIRRORED)}

    assert [] == [
        module for module, path in mirrors.items() if run.tests_of(module) != [path.with_name(f"test_{path.name}")]
    ]
    assert len(mirrors) > len(run.MIRRORED)


def test_a_module_that_is_not_there_is_told(run: ModuleType) -> None:
    """The message names it, and how modules are named."""
    with pytest.raises(ValueError, match="no package or module heat/ice; give one such as heat or heat/bond"):
        list(run.modules(["heat/ice"]))


@pytest.mark.parametrize(
    ("change", "outcome"),
    [
        (("", ""), "survived"),
        (("0.2126 *", "0.2126 +"), "killed"),
        (("return", "while True: pass\n    return"), "timeout"),
    ],
)
def test_a_run_tells_what_became_of_a_mutant(run: ModuleType, change: tuple[str, str], outcome: str) -> None:
    """The tests import the mutant in the module's place; what is on the disk stays as it is."""
    source = (run.service() / "contrast.py").read_text(encoding="utf-8")
    test = run.ROOT / "tests" / "outside" / "test_sight_published.py"
    most_s = 6.0 if outcome == "timeout" else 60.0

    done, said = run.run_tests("featherline_service.contrast", source.replace(*change), [test], most_s)

    assert (outcome, source) == (done, (run.service() / "contrast.py").read_text(encoding="utf-8")), said


def test_what_is_accepted_says_why(run: ModuleType) -> None:
    """Every accepted survivor names a module that there is, a line that stands in it, and a reason."""
    entries = run.tomllib.loads(run.ACCEPTED.read_text(encoding="utf-8")).get("survivor", [])

    for entry in entries:
        assert {"module", "before", "after", "why"} == entry.keys()
        lines = (run.service() / f"{entry['module']}.py").read_text(encoding="utf-8").splitlines()
        assert all(part.strip() in " ".join(map(str.strip, lines)) for part in [entry["before"]])
        assert entry["why"].endswith(".")
