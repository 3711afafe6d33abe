"""Runs of tests on a mutant, each in a process of its own where the mutant takes the module's place."""

from __future__ import annotations

import importlib.abc
import importlib.machinery
import importlib.util
import multiprocessing
import os
import signal
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType
from typing import Final, Literal

Outcome = Literal["killed", "survived", "timeout"]

ROOT: Final = Path(__file__).parents[2]
_OPTIONS: Final = (
    *("--exitfirst", "--quiet", "--no-header", "-m", "not slow", "-pno:cacheprovider", "-pno:xdist", "-pno:cov"),
    *("--assert=plain", "--hypothesis-profile=ci"),  # no test's failure is read, so none needs its operands
)
# Imported once, by the process from which those of the tests are forked; nothing of the service, which is mutated.
_PRELOADED: Final = [
    "__main__",
    "pytest",
    "hypothesis",
    "hypothesis.strategies",
    "msgspec",
    "structlog",
    "pint",
    "shapely",
]
_PROCESSES: Final = multiprocessing.get_context("forkserver")
_PROCESSES.set_forkserver_preload(_PRELOADED)


class Substitute(importlib.abc.MetaPathFinder):
    """Finds one module in a file of another place."""

    def __init__(self, module: str, file: Path) -> None:
        self._module = module
        self._file = file

    def find_spec(
        self, fullname: str, _path: Sequence[str] | None = None, _target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        """Return where the module's substitute is; of other modules nothing."""
        return importlib.util.spec_from_file_location(fullname, self._file) if fullname == self._module else None


def run_tests(module: str, source: str, tests: Sequence[Path], most_s: float) -> tuple[Outcome, str]:
    """Run tests with a source in a module's place; return what became of it, and what the tests printed."""
    with tempfile.TemporaryDirectory() as folder:
        file, output = Path(folder) / f"{module.rpartition('.')[2]}.py", Path(folder) / "output"
        file.write_text(source, encoding="utf-8")
        process = _PROCESSES.Process(target=_test, args=(module, file, [str(path) for path in tests], output))
        process.start()
        process.join(most_s)
        late = process.exitcode is None
        if late:
            os.killpg(process.pid or 0, signal.SIGKILL)
            process.join()
        said = output.read_text(encoding="utf-8", errors="replace") if output.exists() else ""
        if late:
            return "timeout", said
        return ("survived" if process.exitcode == 0 else "killed"), said


def _test(module: str, file: Path, tests: Sequence[str], output: Path) -> None:
    """Run pytest in this process, which ends with its exit code."""
    import pytest  # noqa: PLC0415 - imported already where this is forked from, and not needed elsewhere

    os.setsid()
    with output.open("wb") as said:
        os.dup2(said.fileno(), 1)
        os.dup2(said.fileno(), 2)
    os.chdir(ROOT)
    sys.dont_write_bytecode = True
    sys.meta_path.insert(0, Substitute(module, file))
    code = pytest.main([*_OPTIONS, *tests])
    sys.stdout.flush()
    os._exit(int(code))
