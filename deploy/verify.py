"""Run every check on the wheels as they would be published: build, install, then style, types, imports and tests.

Every check runs even when an earlier one failed; the command fails if any did. Tests that need a program which is not
installed leave themselves out, and the summary says so; with CI=true that is a failure too.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Sequence

from environments import DISTRIBUTIONS, ROOT, Environment, digest, finish, once, prepare, run_pip, shown, sources, step

DIST = ROOT / "dist"
REPORT = ROOT / ".run" / "tests.xml"


def main() -> int:
    """Run the checks; the arguments go to pytest."""
    environment = ready()
    checks: list[tuple[str, Sequence[str]]] = [
        ("style", ("ruff", "check", ".")),
        ("layout", ("ruff", "format", "--check", ".")),
        ("imports", ("lint-imports",)),
        ("types", ("mypy",)),
        ("types of the examples", ("basedpyright", "--pythonpath", str(environment.python))),
        ("versions", (*environment.pip, "check")),
        ("tests", ("pytest", *_pytest_options(), *sys.argv[1:])),
    ]
    outcomes = [(name, *_run(name, environment, command)) for name, command in checks]
    left_out = _left_out()

    print("\nSummary")
    for name, passed, seconds in outcomes:
        print(f"  {'passed' if passed else 'FAILED'}  {name} ({seconds:.0f} s)")
    for reason, count in left_out.items():
        print(f"  left out: {count} {'test' if count == 1 else 'tests'}. {reason}")
    if left_out and os.environ.get("CI") == "true":
        print("  FAILED  in CI no test may be left out")
        return 1
    return 0 if all(passed for _, passed, _ in outcomes) else 1


def ready() -> Environment:
    """Return the environment of the checks, with both wheels built from this clone and installed."""
    environment = prepare(".venv-check", "requirements-check.txt")
    once(environment, "wheels", digest(sources()), lambda: _install_wheels(environment))
    return environment


def _install_wheels(environment: Environment) -> None:
    with step(f"Building both wheels into {shown(DIST)} and installing them"):
        for old in DIST.glob("featherline*.whl"):
            old.unlink()
        folders = (str(folder) for folder in DISTRIBUTIONS)
        run_pip(environment, "wheel", "--no-deps", "--no-build-isolation", "--wheel-dir", str(DIST), *folders)
        wheels = sorted(str(wheel) for wheel in DIST.glob("featherline*.whl"))
        run_pip(environment, "install", "--no-deps", "--no-index", "--force-reinstall", *wheels)


def _pytest_options() -> tuple[str, ...]:
    REPORT.parent.mkdir(exist_ok=True)
    REPORT.unlink(missing_ok=True)
    # Lines are counted in CI, and where `--cov` is given: it takes half as long again.
    coverage = ("--cov", "--cov-report=term:skip-covered") if os.environ.get("CI") == "true" else ()
    return (
        *coverage,
        *(f"--junit-xml={REPORT}", "--durations=5"),
        # As many processes as processors; a file's tests stay together, for what they share.
        *("--numprocesses=auto", "--dist=loadfile"),
        # Hypothesis's own profile for CI: the same examples every time, and no deadlines, which a busy machine misses.
        "--hypothesis-profile=ci",
    )


def _run(name: str, environment: Environment, command: Sequence[str]) -> tuple[bool, float]:
    print(f"\n{name}: {' '.join(command)}", flush=True)
    begun = time.monotonic()
    done = subprocess.run([environment.command(command[0]), *command[1:]], cwd=ROOT, check=False)
    return done.returncode == 0, time.monotonic() - begun


def _left_out() -> Counter[str]:
    """Return why pytest skipped tests, and how many, from its own report; an expected failure is not a skip."""
    if not REPORT.exists():
        return Counter()
    return Counter(
        str(skip.get("message"))
        for skip in ET.parse(REPORT).iter("skipped")  # noqa: S314 - pytest wrote it a moment ago
        if skip.get("type") == "pytest.skip"
    )


if __name__ == "__main__":
    finish(main)
