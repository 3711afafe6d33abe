import importlib.util
import json
import os
import re
import socket
import subprocess
import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Final

import pytest
import uv
from free_ports import free_port

ROOT: Final = Path(__file__).parents[2]
DEPLOY: Final = ROOT / "deploy"
COMMANDS: Final = ("up", "check", "bench", "mutate", "lock", "release", "sbom", "switch")


@pytest.fixture
def start(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return deploy/start.py as a module."""
    monkeypatch.syspath_prepend(DEPLOY)
    return importlib.import_module("start")


@pytest.fixture
def environments(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return deploy/environments.py as a module."""
    monkeypatch.syspath_prepend(DEPLOY)
    return importlib.import_module("environments")


@pytest.fixture
def release(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return deploy/release.py as a module."""
    monkeypatch.syspath_prepend(DEPLOY)
    return importlib.import_module("release")


def test_a_release_takes_the_place_of_the_last(
    release: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The wheel that was built and the description are kept, and no other wheel; without a wheel nothing changes."""
    built, released, openapi = (tmp_path / name for name in ("dist", "released", "openapi"))
    for folder in (built, released, openapi):
        folder.mkdir()
    (released / "featherline-0.1.0-py3-none-any.whl").write_text("last")
    (openapi / "openapi.json").write_bytes((ROOT / "openapi" / "openapi.json").read_bytes())
    for name, value in {"DIST": built, "RELEASED": released, "OPENAPI": openapi}.items():
        monkeypatch.setattr(release, name, value)
    monkeypatch.setattr(release, "ready", lambda: SimpleNamespace(python=sys.executable))
    monkeypatch.setattr(release, "shown", str)
    monkeypatch.setattr(sys, "argv", ["release"])
    with pytest.raises(release.DeployError, match="0 wheels"):
        release.main()
    assert ["featherline-0.1.0-py3-none-any.whl"] == [file.name for file in released.iterdir()]

    for name in ("featherline-0.2.0-py3-none-any.whl", "featherline_service-0.2.0-py3-none-any.whl"):
        (built / name).write_text("this")
    assert 0 == release.main()
    assert ["featherline-0.2.0-py3-none-any.whl"] == [file.name for file in released.iterdir()]
    described = json.loads((openapi / "released.json").read_bytes())
    assert described["paths"].keys() == json.loads((openapi / "openapi.json").read_bytes())["paths"].keys()

    monkeypatch.setattr(sys, "argv", ["release", "0.2.0"])
    with pytest.raises(release.DeployError, match="Usage"):
        release.main()


def test_the_commands_of_the_readme_exist_and_can_be_run() -> None:
    """Every deploy/ command that README.md and DEVELOPERS.md name is an executable file; README names the first two."""
    named = {
        page: set(re.findall(r"deploy/([a-z]+)\b(?!\.)", (ROOT / page).read_text()))
        for page in ("README.md", "DEVELOPERS.md")
    }
    assert {"up", "check"} <= named["README.md"]
    for name in named["README.md"] | named["DEVELOPERS.md"] | set(COMMANDS):
        assert os.access(DEPLOY / name, os.X_OK), name


def test_ci_runs_the_commands_of_the_readme() -> None:
    """CI starts the service and runs the checks by the README's commands."""
    lines = (ROOT / ".ci" / "run").read_text().splitlines()
    assert ["deploy/up", "deploy/up stop", "deploy/check"] == [line for line in lines if line.startswith("deploy/")]


@pytest.mark.parametrize("script", [*COMMANDS, "with-python"])
def test_a_command_is_plain_shell(script: str) -> None:
    """The heads of the commands are read by a POSIX shell without complaint."""
    done = subprocess.run(["sh", "-n", str(DEPLOY / script)], capture_output=True, text=True, check=False)
    assert (0, "") == (done.returncode, done.stderr)


def test_an_old_python_gets_a_sentence(tmp_path: Path) -> None:
    """Where only an older Python is found, the command names it, says what is needed and how to go on."""
    old = tmp_path / "python3"
    old.write_text('#!/bin/sh\n[ "$1" = --version ] && echo Python 3.9.2 && exit 0\nexit 1\n')
    old.chmod(0o755)
    done = run("up", PYTHON=str(old))
    assert 1 == done.returncode
    assert "needs Python 3.11 or newer" in done.stderr
    assert f"{old} is Python 3.9.2" in done.stderr


@pytest.mark.parametrize("port", ["0", "65536", "80a", "-1", ""])
def test_an_impossible_port_gets_a_sentence(port: str) -> None:
    """An impossible port is refused before anything is installed."""
    done = run("up", PYTHON=sys.executable, FEATHERLINE_PORT=port)
    assert (1, "") == (done.returncode, done.stdout)
    assert f"FEATHERLINE_PORT is {port!r}. Give a port from 1 to 65535" in done.stderr


def test_a_busy_port_gets_a_sentence(start: ModuleType) -> None:
    """A port that another program listens on is named, with a free one to take instead."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(
            start.DeployError, match=rf"Port {port} on 127\.0\.0\.1 is taken by another program"
        ) as told:
            start._refuse_busy(port)
    hint = re.search(r"FEATHERLINE_PORT=(\d+) \S*deploy/up$", str(told.value))
    assert hint is not None
    with socket.create_server(("127.0.0.1", int(hint[1]))):
        pass


@pytest.mark.filterwarnings("ignore:subprocess .* is still running:ResourceWarning")  # it is meant to stay
def test_a_running_service_is_known_by_its_lock_and_ended(
    start: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A started service holds the lock of its note until it is ended."""
    monkeypatch.setattr(start, "LOG", tmp_path / "service.log")
    port = free_port()
    environment = start.Environment(tmp_path, Path(sys.executable))
    settings = {"FEATHERLINE_HOST": "127.0.0.1", "FEATHERLINE_PORT": str(port)}
    with (tmp_path / "lock").open("a+") as lock:
        assert start._take(lock)
        start._start(environment, lock, {"port": port, "settings": settings})
    with (tmp_path / "lock").open("a+") as lock:
        assert not start._take(lock)
        assert start._is_busy(port)
        noted = start._noted(lock)
        assert (port, settings) == (noted["port"], noted["settings"])
        start._end(lock)
        with (tmp_path / "lock").open("a+") as other:
            assert not start._take(other)
    assert not start._is_busy(port)
    assert "service.ready" in (tmp_path / "service.log").read_text()


def test_a_python_that_makes_no_environments_gets_a_sentence(
    environments: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without ensurepip and pip, as on a bare Debian, the package to install is named."""
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    with pytest.raises(environments.DeployError, match="sudo apt install python3-venv"):
        environments.prepare(".venv-never", "requirements.txt")
    assert not (ROOT / ".venv-never").exists()


def test_a_folder_of_someone_else_is_left_alone(
    environments: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A virtual environment that the commands did not make is not overwritten."""
    monkeypatch.setattr(environments, "ROOT", tmp_path)
    monkeypatch.setattr(environments, "digest", lambda _: "the same")
    (tmp_path / ".venv").mkdir()
    with pytest.raises(environments.DeployError, match="was not made by these commands"):
        environments.prepare(".venv", "requirements.txt")
    assert [] == list((tmp_path / ".venv").iterdir())


def test_uv_looks_where_pip_is_told_to(
    environments: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Indexes, folders, certificates and proxies of pip's file and variables are uv's options and variables."""
    (tmp_path / "pip.conf").write_text(
        "[global]\nindex-url = https://index.example/simple\nproxy = http://proxy.example:3128\ncert = /etc/ours.pem\n"
        "extra-index-url =\n    https://one.example/simple\n    https://two.example/simple\n"
        "[install]\nno-index = yes\ntrusted-host = two.example\n"
    )
    for name in [name for name in os.environ if name.startswith("PIP_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("PIP_CONFIG_FILE", str(tmp_path / "pip.conf"))
    monkeypatch.setenv("PIP_FIND_LINKS", "/srv/wheels")
    monkeypatch.setattr(environments, "uv", lambda: "uv")
    monkeypatch.setattr(environments, "_pip", lambda: (sys.executable, "-I", "-m", "pip"))
    options, variables = environments.index()

    told = {
        "--index-strategy=unsafe-best-match",
        "--default-index=https://index.example/simple",
        *("--index=https://one.example/simple", "--index=https://two.example/simple"),
        "--find-links=/srv/wheels",
        "--no-index",
        "--allow-insecure-host=two.example",
    }
    assert told <= set(options)
    assert {"ALL_PROXY": "http://proxy.example:3128", "SSL_CERT_FILE": "/etc/ours.pem"} == variables

    (tmp_path / "pip.conf").write_text("index-url = https://index.example/simple\n")  # in no section
    with pytest.raises(environments.DeployError, match="pip cannot read its configuration"):
        environments.index()


def test_a_missing_network_gets_a_sentence(environments: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the index cannot be reached, the error is shown, and the likely reason is named."""
    with socket.socket() as closed:
        closed.bind(("127.0.0.1", 0))
        index = f"http://127.0.0.1:{closed.getsockname()[1]}/"
        pip = (sys.executable, "-I", "-m", "pip", "download", "--retries=0", "--no-cache-dir", f"--index-url={index}")
        monkeypatch.setenv("UV_HTTP_RETRIES", "0")
        for command in (pip, (uv.find_uv_bin(), "pip", "install", "--no-cache", f"--default-index={index}")):
            with pytest.raises(environments.DeployError, match="no-such-package") as told:
                environments._run([*command, "no-such-package"])
            assert "the package index could not be reached" in str(told.value)


def run(command: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """Run a deploy/ command from another directory."""
    inherited = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    return subprocess.run(
        [str(DEPLOY / command)], cwd="/", env={**inherited, **variables}, capture_output=True, text=True, check=False
    )
