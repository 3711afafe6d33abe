"""Change the service's modules one small step at a time, and see whether the tests notice: ``run.py heat cost/money``.

Each mutant of a module is tried by the module's own tests: the file that mirrors it, or where there is none, the folder
that mirrors its package. Unless ``--own`` is given, mutants that those pass are tried by the wider tests: those against
published sources of the same subject, or of a question all tests of questions, which take minutes. A mutant that every
test passes has survived: a test is missing, or the change makes no difference. `accepted.toml` holds the survivors that
make none, each with the reason; the others are printed, and the command returns 1. Results are written to .run/mutation
as they come, and a run that was broken off goes on from there.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.util
import json
import os
import random
import sys
import threading
import time
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, Final

sys.path.insert(0, str(Path(__file__).parent))

from mutants import mutants
from runs import ROOT, run_tests

PACKAGE: Final = "featherline_service"
TESTS: Final = ROOT / "tests" / "service"
RESULTS: Final = ROOT / ".run" / "mutation"
ACCEPTED: Final = Path(__file__).with_name("accepted.toml")
PACKAGES: Final = ("heat", "shape", "cost", "contrast", "quantities", "questions")
MIRRORED: Final = ("cost", "quantities", "questions", "shape")
"""Packages of which every module has a file of tests that mirrors it."""
_SLOWER: Final = 4.0  # times as long as its tests take without a change: then a mutant does not end
_LEAST_S: Final = 20.0
_LONGEST_S: Final = 900.0

_TOLD: Final = ("operator", "line", "before", "after")

Result = dict[str, Any]


def modules(names: Iterable[str]) -> Iterator[str]:
    """Yield the modules of packages and modules, such as ``heat`` or ``heat/bond``, by their path in the service.

    Raises:
        ValueError: There is no such package or module.
    """
    folder = service()
    for name in names:
        path = folder / name
        files = [path.with_suffix(".py")] if path.with_suffix(".py").is_file() else sorted(path.rglob("*.py"))
        if not files:
            raise ValueError(f"The service has no package or module {name}; give one such as heat or heat/bond")
        yield from (str(file.relative_to(folder).with_suffix("")) for file in files if file.name != "__init__.py")


def service() -> Path:
    """Return the folder of the service that the tests here import."""
    spec = importlib.util.find_spec(PACKAGE)
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError(f"{PACKAGE} is not installed; run deploy/mutate, or install ./sdk and ./service")
    return Path(spec.origin).parent


def tests_of(module: str) -> list[Path]:
    """Return the tests of a module: the file that mirrors it, else all of the folder that mirrors its package."""
    path = TESTS / module
    mirror = path.with_name(f"test_{path.name}.py")
    return [mirror] if mirror.exists() else sorted(path.parent.glob("test_*.py"))


def wider_tests_of(module: str) -> list[Path]:
    """Return the tests against published sources that are about a module's package; else those of all its package."""
    package = module.partition("/")[0]
    found = sorted((ROOT / "tests" / "outside").glob(f"test_{package}_*.py"))
    return found or sorted((TESTS / package).rglob("test_*.py")) or tests_of(module)


def mutate(module: str, stages: Sequence[Sequence[Path]], most: int | None) -> list[Result]:
    """Try the mutants of a module, or as many as `most` chosen at random; return the results, also those of before.

    Each is tried by the tests of each stage, until some fail.

    Raises:
        RuntimeError: The tests fail on the module as it is.
    """
    source = (service() / f"{module}.py").read_text(encoding="utf-8")
    name = f"{PACKAGE}.{module.replace('/', '.')}"
    measured: dict[int, float] = {}
    measuring = threading.Lock()

    def most_s(stage: int) -> float:
        """Return how long a stage may take, measured when it is first needed: wider tests seldom are."""
        with measuring:
            if stage not in measured:
                measured[stage] = _most_s(module, name, source, stages[stage])
            return measured[stage]

    most_s(0)
    found = {_digest([each.operator, each.source]): each for each in mutants(source)}
    if most is not None and most < len(found):
        found = dict(random.Random(8037).sample([*found.items()], most))  # noqa: S311 - the same choice each time
    file = RESULTS / f"{module}.jsonl"
    tests = [test.read_text(encoding="utf-8") for stage in stages for test in stage]
    done = _read(file, _digest([source, *tests]))

    def tried(key: str) -> Result:
        mutant = found[key]
        outcomes = (run_tests(name, mutant.source, tests, most_s(stage))[0] for stage, tests in enumerate(stages))
        outcome = next((each for each in outcomes if each != "survived"), "survived")
        return {"key": key, "outcome": outcome} | {part: getattr(mutant, part) for part in _TOLD}

    with file.open("a", encoding="utf-8") as written, ThreadPoolExecutor(os.cpu_count()) as pool:
        for result in pool.map(tried, found.keys() - done.keys()):
            done[result["key"]] = result
            written.write(json.dumps(result) + "\n")
            written.flush()
    return [done[key] for key in found]


def _most_s(module: str, name: str, source: str, tests: Sequence[Path]) -> float:
    """Return how long tests may take of a mutant, by how long they take of the module as it is."""
    begun = time.monotonic()
    outcome, said = run_tests(name, source, tests, _LONGEST_S)
    if outcome != "survived":
        raise RuntimeError(f"The tests of {module} fail without any change:\n{said[-2000:]}")
    return max(_LEAST_S, _SLOWER * (time.monotonic() - begun))


def accepted(module: str) -> set[tuple[str, str]]:
    """Return the changes of a module that make no difference: line before and after."""
    entries = tomllib.loads(ACCEPTED.read_text(encoding="utf-8")).get("survivor", [])
    return {(entry["before"], entry["after"]) for entry in entries if entry["module"] == module}


def _digest(texts: Iterable[str]) -> str:
    return hashlib.sha256("\0".join(texts).encode()).hexdigest()


def _read(file: Path, version: str) -> dict[str, Result]:
    """Return the results of before, if module and tests are what they were; else begin the file anew."""
    file.parent.mkdir(parents=True, exist_ok=True)
    lines = file.read_text(encoding="utf-8").splitlines() if file.exists() else []
    if not lines or json.loads(lines[0]) != {"version": version}:
        file.write_text(json.dumps({"version": version}) + "\n", encoding="utf-8")
        return {}
    return {entry["key"]: entry for entry in map(json.loads, lines[1:])}


def main(arguments: Sequence[str] | None = None) -> int:
    """Mutate, print, and return 1 if an unaccepted mutant survived."""
    parser = argparse.ArgumentParser(
        prog="deploy/mutate", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("names", nargs="*", metavar="PACKAGE", help=f"packages or modules ({' '.join(PACKAGES)})")
    parser.add_argument("--most", type=int, metavar="COUNT", help="try so many of each module, chosen at random")
    parser.add_argument("--own", action="store_true", help="try them by each module's own tests alone")
    parser.add_argument("--tests", type=Path, nargs="+", metavar="FILE", help="tests to try them by, for all modules")
    chosen = parser.parse_args(arguments)
    new = 0
    for module in modules(chosen.names or PACKAGES):
        stages = [tests_of(module)] if chosen.own else [tests_of(module), wider_tests_of(module)]
        if chosen.tests:
            stages = [[path.resolve() for path in chosen.tests]]
        results = mutate(module, stages, chosen.most)
        counts = Counter(result["outcome"] for result in results)
        known = accepted(module)
        survived = [result for result in results if result["outcome"] == "survived"]
        unexplained = [each for each in survived if (each["before"], each["after"]) not in known]
        new += len(unexplained)
        print(
            f"{module}: {len(results)} mutants, {counts['killed']} killed, {counts['timeout']} did not end, "
            f"{len(survived)} survived, {len(unexplained)} of them unexplained",
            flush=True,
        )
        for each in sorted(unexplained, key=lambda result: int(result["line"])):
            print(f"  {each['line']}: {each['before']}\n  {'':{len(str(each['line']))}}  {each['after']}", flush=True)
    return 1 if new else 0


if __name__ == "__main__":
    sys.exit(main())
