import re
import tomllib
from pathlib import Path
from typing import Final

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT: Final = Path(__file__).parents[2]
LOCKS: Final = sorted((ROOT / "deploy").glob("requirements*.txt"))
PIN: Final = re.compile(r"^(?P<name>[a-z0-9.-]+)==(?P<version>\S+)(?: ; (?P<marker>.+?))? \\$")


def pins(lock: Path) -> dict[str, set[str]]:
    """Return the locked versions of each name; a name has two only where Pythons differ."""
    found: dict[str, set[str]] = {}
    for line in lock.read_text().splitlines():
        if pin := PIN.match(line):
            found.setdefault(pin["name"], set()).add(pin["version"])
    return found


def declared() -> dict[str, tuple[str, ...]]:
    """Return what each pyproject.toml asks for, by the lock that has to hold it."""
    extras = tomllib.loads((ROOT / "service" / "pyproject.toml").read_text())["project"]["optional-dependencies"]
    root = tomllib.loads((ROOT / "pyproject.toml").read_text())["dependency-groups"]
    distributions = [
        dependency
        for name in ("sdk", "service")
        for dependency in tomllib.loads((ROOT / name / "pyproject.toml").read_text())["project"]["dependencies"]
        if not dependency.startswith("featherline")
    ]
    return {
        "requirements.txt": (*distributions,),
        "requirements-otlp.txt": (*distributions, *extras["otlp"]),
        "requirements-reprice.txt": (*distributions, *extras["reprice"]),
        "requirements-check.txt": (
            *distributions,
            *(text for extra in extras.values() for text in extra),
            *(text for group in ("test", "bench", "mutation", "lint", "build", "uv") for text in root[group]),
        ),
        "requirements-build.txt": (*root["build"],),
        "requirements-uv.txt": (*root["uv"],),
        "requirements-clients.txt": (*root["clients"],),
    }


@pytest.mark.parametrize("lock", LOCKS, ids=lambda lock: lock.name)
def test_a_lock_has_only_exact_hashed_versions(lock: Path) -> None:
    """Every entry is one exact version with its hashes, and no line names where packages come from."""
    entries = lock.read_text().split("\n", 2)[2].replace("\\\n", "").splitlines()
    assert [] == [
        entry for entry in entries if not re.fullmatch(r"\S+==\S+( ; [^;]+?)? +(--hash=sha256:[0-9a-f]{64} *)+", entry)
    ]
    assert [] == re.findall(r"https?://|--(?:extra-)?index-url|--find-links", lock.read_text())


@pytest.mark.parametrize("lock", LOCKS, ids=lambda lock: lock.name)
def test_a_lock_holds_what_is_declared(lock: Path) -> None:
    """Each declared dependency is locked at a version that its range allows; if this fails, run deploy/lock."""
    locked = pins(lock)
    wanted = [Requirement(text) for text in declared()[lock.name]]
    missing = [
        str(requirement)
        for requirement in wanted
        if not any(map(requirement.specifier.contains, locked.get(canonicalize_name(requirement.name), ())))
    ]
    assert [] == missing


@pytest.mark.parametrize("lock", ["requirements.txt", "requirements-reprice.txt", "requirements-build.txt"])
def test_what_runs_is_what_was_checked(lock: str) -> None:
    """The service is installed and built with the versions that the checks run with."""
    checked = pins(ROOT / "deploy" / "requirements-check.txt")
    locked = pins(ROOT / "deploy" / lock)
    assert {name: checked.get(name) for name in locked} == locked
