"""Run every check on the wheels as they would be published: build, install, then style, types, imports and tests.

Every check runs even when another one failed; the command fails if any did. The checks of the text run beside the
tests, at a lower priority: in the time that tests wait. Tests that need a program which is not installed are left out,
and the summary says so; with CI=true that is a failure too.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

from environments import (
    DISTRIBUTIONS,
    ROOT,
    Environment,
    digest,
    finish,
    install,
    once,
    prepare,
    run_uv,
    shown,
    sources,
    step,
    uv,
)

DIST = ROOT / "dist"
REPORT = ROOT / ".run" / "tests.xml"


class Outcome(NamedTuple):
    """A check, whether it passed, and how long it took [s]."""

    name: str
    passed: bool
    seconds: float


def main() -> int:
    """Run the checks; the arguments go to pytest."""
    environment = ready()
    checks: dict[str, Sequence[str]] = {
        "types": ("mypy",),  # first: it takes longest
        "types of the examples": ("basedpyright", "--pythonpath", str(environment.python)),
        "style": ("ruff", "check", "."),
        "layout": ("ruff", "format", "--check", "."),
        "imports": ("lint-imports",),
        "versions": (uv(), "pip", "check", "--python", str(environment.python)),
    }
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        done = [pool.submit(_checked, name, environment, command) for name, command in checks.items()]
        tested = _tested(environment, ("pytest", *_pytest_options(), *sys.argv[1:]))
        outcomes = [*(each.result() for each in done), tested]
    left_out = _left_out()

    print("\nSummary")
    for outcome in outcomes:
        print(f"  {'passed' if outcome.passed else 'FAILED'}  {outcome.name} ({outcome.seconds:.0f} s)")
    for reason, count in left_out.items():
        print(f"  left out: {count} {'test' if count == 1 else 'tests'}. {reason}")
    if left_out and os.environ.get("CI") == "true":
        print("  FAILED  in CI no test may be left out")
        return 1
    return 0 if all(outcome.passed for outcome in outcomes) else 1


def ready() -> Environment:
    """Return the environment of the checks, with both wheels built from this clone and installed."""
    environment = prepare(".venv-check", "requirements-check.txt")
    once(environment, "wheels", digest(sources()), lambda: _install_wheels(environment))
    return environment


def _install_wheels(environment: Environment) -> None:
    with step(f"Building both wheels into {shown(DIST)} and installing them"):
        for old in DIST.glob("featherline*.whl"):
            old.unlink()
        python = ("--no-build-isolation", "--python", str(environment.python))
        for folder in DISTRIBUTIONS:
            run_uv("build", "--wheel", "--no-create-gitignore", *python, "--out-dir", str(DIST), str(folder))
        wheels = sorted(str(wheel) for wheel in DIST.glob("featherline*.whl"))
        install(environment, "--no-index", "--reinstall", *wheels)


def _pytest_options() -> tuple[str, ...]:
    REPORT.parent.mkdir(exist_ok=True)
    REPORT.unlink(missing_ok=True)
    return (
        *(f"--junit-xml={REPORT}", "--durations=5"),
        # No more processes than processors: tests of deadlines and of faults under load need their turn. All of these
        # are given to one process, so that no two of them meet.
        *(f"--numprocesses={os.cpu_count() or 1}", "--dist=loadfile", "--no-loadscope-reorder"),
        # Hypothesis's own profile for CI: the same examples every time, and no deadlines, which a busy machine misses.
        "--hypothesis-profile=ci",
    )


def _checked(name: str, environment: Environment, command: Sequence[str]) -> Outcome:
    """Run a check, and print what it says once it has ended."""
    begun = time.monotonic()
    done = subprocess.run(
        ["nice", "-n", "10", environment.command(command[0]), *command[1:]],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    print(f"\n{name}: {' '.join(command)}\n{done.stdout.rstrip()}", flush=True)
    return Outcome(name, done.returncode == 0, time.monotonic() - begun)


def _tested(environment: Environment, command: Sequence[str]) -> Outcome:
    """Run the tests, which say as they go how far they are."""
    print(f"\ntests: {' '.join(command)}", flush=True)
    begun = time.monotonic()
    # Test modules stay compiled, whatever the shell says: it takes each process of the tests ten seconds.
    variables = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    done = subprocess.run([environment.command(command[0]), *command[1:]], cwd=ROOT, env=variables, check=False)
    return Outcome("tests", done.returncode == 0, time.monotonic() - begun)


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
