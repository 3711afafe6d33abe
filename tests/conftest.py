"""The order of the tests, how many cases they draw, and a fixture for the tests of both the SDK and the service."""

from __future__ import annotations

import gc
import importlib
import sys
from collections.abc import Callable, Generator, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final

import hypothesis
import pytest
from hypothesis.internal.conjecture import providers
from hypothesis.internal.constants_ast import Constants

sys.path.append(str(Path(__file__).parent))  # the module beside this one is no package
from draws import drawn

if TYPE_CHECKING:
    from xdist.scheduler import LoadFileScheduling

Install = Callable[..., None]

TESTS: Final = Path(__file__).parent
TIMED: Final = (
    "tests/faults/",
    "tests/contract/test_kills.py",
    "tests/plugins/",
    "tests/sdk/test_bulk_faults.py",
    "tests/service/computing/",
    "tests/service/reprice/",
    "tests/service/test_main.py",
    "tests/service/web/server/test_protocol.py",
)
"""Tests with deadlines and signals: they wait for most of the time, and then need their turn."""
_UNCOUNTED: Final = {"answers", "bench", "faults", "mutation", "outside"}

# The same examples whatever else is imported. Hypothesis would also draw constants of every module of ours: a new test
# would change what all others draw.
providers._get_local_constants = Constants

# Hypothesis's own profiles, but for the number of cases where a test states none.
for profile in ("default", "ci"):
    own = hypothesis.settings.get_profile(profile)
    hypothesis.settings.register_profile(profile, own, max_examples=drawn(own.max_examples))


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """Collect without looking for garbage: next to everything that is made stays until the end, as what is frozen."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Begin with the tests of time, then files of slow tests, so that no process ends with one while others are idle.

    Where lines are counted, count none in slow tests, nor in those of `_UNCOUNTED`: they repeat what the tests that
    mirror the modules run, and counting makes them slower by half.
    """
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: (not is_timed(item.nodeid), item.path not in slow))
    if config.pluginmanager.hasplugin("_cov"):
        for item in items:
            if item.get_closest_marker("slow") or item.path.relative_to(TESTS).parts[0] in _UNCOUNTED:
                item.add_marker(pytest.mark.no_cover)


def is_timed(test: str) -> bool:
    """Tell whether a test has deadlines."""
    return test.startswith(TIMED)


@pytest.hookimpl(optionalhook=True)  # of a plug-in that tests of mutants run without
def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> LoadFileScheduling | None:
    """Give whole files to processes, and all tests of time to one."""
    if config.getvalue("dist") != "loadfile":
        return None
    from xdist.scheduler import LoadFileScheduling  # noqa: PLC0415 - not where the tests run in one process

    class Scheduling(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return "timed" if is_timed(nodeid) else super()._split_scope(nodeid)

    return Scheduling(config, log)


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Install]:
    """Install a distribution for one test: its name, its entry points by group, and the source of its one module."""
    folder = tmp_path / "installed"
    folder.mkdir()
    monkeypatch.syspath_prepend(str(folder))
    modules = []

    def make(name: str, groups: Mapping[str, Mapping[str, str]], source: str = "", version: str = "1.0") -> None:
        module = name.replace("-", "_")
        modules.append(module)
        (folder / f"{module}.py").write_text(source, "utf-8")
        about = folder / f"{module}-{version}.dist-info"
        about.mkdir()
        (about / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n", "utf-8")
        lines = [
            line
            for group, entries in groups.items()
            for line in (f"[{group}]", *(f"{entry} = {module}:{place}" for entry, place in entries.items()))
        ]
        (about / "entry_points.txt").write_text("\n".join(lines) + "\n", "utf-8")
        importlib.invalidate_caches()

    yield make
    for module in modules:
        sys.modules.pop(module, None)
