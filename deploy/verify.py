"""Run every check on the wheels as they would be published: build, install, then style, types, imports and tests.

Every check runs even when an earlier one failed; the command fails if any did. With CI=true a skipped or left-out test
is a failure too.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from collections.abc import Sequence

from environments import DISTRIBUTIONS, ROOT, Environment, digest, finish, once, prepare, run_pip, shown, sources, step

DIST = ROOT / "dist"
REPORT = ROOT / ".run" / "tests.xml"
# Folders of tests that need a program which Python packages do not bring.
PROGRAMS = {"tests/browser": "chromium", "tests/faults": "haproxy"}


def main() -> int:
    """Run the checks; the arguments go to pytest."""
    environment = ready()
    left_out = [
        (folder, program)
        for folder, program in PROGRAMS.items()
        if any((ROOT / folder).rglob("test_*.py")) and shutil.which(program) is None
    ]
    checks: list[tuple[str, Sequence[str]]] = [
        ("style", ("ruff", "check", ".")),
        ("layout", ("ruff", "format", "--check", ".")),
        ("imports", ("lint-imports",)),
        ("types", ("mypy",)),
        ("tests", ("pytest", *_pytest_options(left_out), *sys.argv[1:])),
    ]
    outcomes = [(name, *_run(name, environment, command)) for name, command in checks]
    skipped = _skipped()

    print("\nSummary")
    for name, passed, seconds in outcomes:
        print(f"  {'passed' if passed else 'FAILED'}  {name} ({seconds:.0f} s)")
    for folder, program in left_out:
        print(f"  left out  {folder}: {program} is not installed (Debian: apt install {program})")
    for name in skipped:
        print(f"  skipped   {name}")
    complete = not (left_out or skipped)
    if not complete and os.environ.get("CI") == "true":
        print("  FAILED  in CI no test may be skipped or left out")
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


def _pytest_options(left_out: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    REPORT.parent.mkdir(exist_ok=True)
    REPORT.unlink(missing_ok=True)
    ignored = (f"--ignore={folder}" for folder, _ in left_out)
    # Hypothesis's own profile for CI: the same examples every time, and no deadlines, which a busy machine would miss.
    profile = "--hypothesis-profile=ci"
    return ("--cov", "--cov-report=term:skip-covered", f"--junit-xml={REPORT}", "--durations=5", profile, *ignored)


def _run(name: str, environment: Environment, command: Sequence[str]) -> tuple[bool, float]:
    print(f"\n{name}: {' '.join(command)}", flush=True)
    begun = time.monotonic()
    done = subprocess.run([environment.command(command[0]), *command[1:]], cwd=ROOT, check=False)
    return done.returncode == 0, time.monotonic() - begun


def _skipped() -> list[str]:
    """Return what pytest skipped, from its own report; an expected failure is not a skip."""
    if not REPORT.exists():
        return []
    return [
        f"{case.get('classname')}.{case.get('name')}: {skip.get('message')}"
        for case in ET.parse(REPORT).iter("testcase")  # noqa: S314 - pytest wrote it a moment ago
        for skip in case.iter("skipped")
        if skip.get("type") == "pytest.skip"
    ]


if __name__ == "__main__":
    finish(main)
