"""The example plug-ins, installed as packages and run by a service."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import service_forks

HERE = Path(__file__).parent
# The packages bring tests of their own, which run where they are installed.
collect_ignore = ["saltmarsh_rules", "saltmarsh_leaks"]

Running = Callable[..., contextlib.AbstractContextManager["Service"]]


class Service:
    """A running service: its address, and the lines of its log."""

    def __init__(self, url: str, lines: list[dict[str, Any]]) -> None:
        self.url = url
        self._lines = lines

    def failed(self, plugin: str) -> dict[str, Any]:
        """Return the log line of a plug-in's failure; wait for it, because it is written beside the answer."""
        for _ in range(500):
            for line in list(self._lines):
                if line["event"] == "plugin.failed" and line["plugin"] == plugin:
                    return line
            time.sleep(0.02)
        raise AssertionError(f"the log tells of no failure of {plugin}")


@pytest.fixture(scope="session")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install the packages, as pip does, into a folder of their own."""
    folder = tmp_path_factory.mktemp("installed")
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-index", "--no-deps", "--no-build-isolation"]
    packages = [str(HERE / name) for name in ("saltmarsh_rules", "saltmarsh_leaks")]
    subprocess.run([*pip, "--disable-pip-version-check", "--target", str(folder), *packages], check=True)
    return folder


@pytest.fixture(scope="session")
def environment(installed: Path) -> dict[str, str]:
    """Return this process's environment, with the packages to be found in it."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    paths = [str(installed), *kept.get("PYTHONPATH", "").split(os.pathsep)]
    return kept | {"PYTHONPATH": os.pathsep.join(path for path in paths if path)}


@pytest.fixture(scope="session")
def running(environment: dict[str, str]) -> Running:
    """Run the service with the plug-ins of these distributions, on a free port."""

    @contextlib.contextmanager
    def run(names: str) -> Iterator[Service]:
        own = {"FEATHERLINE_PORT": "0", "FEATHERLINE_PLUGINS": names}
        with service_forks.Service(environment | own) as process:
            assert process.stderr is not None
            lines: list[dict[str, Any]] = []
            try:
                ready = json.loads(process.stderr.readline())
                reader = threading.Thread(target=lambda: lines.extend(map(json.loads, process.stderr or ())))
                reader.start()
                yield Service(f"http://127.0.0.1:{ready['port']}", lines)
            finally:
                process.terminate()
                process.wait(30)
                reader.join()

    return run


@pytest.fixture(scope="module")
def service(running: Running) -> Iterator[Service]:
    """Run a service with the plug-ins of both packages."""
    with running("saltmarsh-rules, saltmarsh-leaks") as service:
        yield service
