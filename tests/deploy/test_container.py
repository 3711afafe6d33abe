"""The container file: an independent linter's rules, and its fit to the service."""

from __future__ import annotations

import http.server
import json
import re
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import pytest

from featherline_service.settings import Settings

ROOT: Final = Path(__file__).parents[2]
FILE: Final = ROOT / "deploy" / "Dockerfile"
WITH_BOOK: Final = ROOT / "deploy" / "Dockerfile.book"


def instructions() -> list[tuple[str, str]]:
    """Return the instructions of the container file: each one's name, and the rest on one line."""
    text = re.sub(r"^#.*\n", "", FILE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    lines = re.sub(r"\s*\\\n\s*", " ", text).splitlines()
    return [(name, rest) for name, _, rest in (line.partition(" ") for line in lines) if name]


def last_stage() -> dict[str, str]:
    """Return the instructions of the stage that becomes the image; none of those asked for here is there twice."""
    read = instructions()
    start = max(index for index, (name, _) in enumerate(read) if name == "FROM")
    return dict(read[start:])


@contextmanager
def answering(status: int) -> Iterator[int]:
    """Answer every GET with a status, on a port of this machine."""

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(status if self.path == "/health/live" else 404)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    with http.server.HTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
        thread.start()
        yield server.server_address[1]
        server.shutdown()
        thread.join()


@pytest.mark.parametrize("file", [FILE, WITH_BOOK], ids=lambda file: file.name)
def test_the_linter_finds_nothing(file: Path) -> None:
    """All rules of hadolint are on, and none is broken."""
    linter = Path(sys.executable).parent / "hadolint"
    done = subprocess.run(
        [linter, "--no-color", "--failure-threshold=style", file], capture_output=True, text=True, check=False
    )

    assert (0, "") == (done.returncode, done.stdout)
    assert "hadolint ignore" not in file.read_text(encoding="utf-8")


def test_the_image_with_a_book_is_the_services_own_and_one_layer() -> None:
    """It stands on the image that compose builds, and the book is where clusters look for it, readable by all."""
    compose = (ROOT / "deploy" / "compose.yaml").read_text(encoding="utf-8")
    cluster = (ROOT / "deploy" / "kubernetes" / "deployment.yaml").read_text(encoding="utf-8")
    read = re.findall(r"^([A-Z]+) (.*)$", WITH_BOOK.read_text(encoding="utf-8"), re.MULTILINE)
    (image,) = re.findall(r"^  image: (\S+)$", compose, re.MULTILINE)
    (folder,) = re.findall(r"FEATHERLINE_BOOK, value: (\S+)\}", cluster)

    assert [("ARG", f"SERVICE={image}"), ("FROM", "${SERVICE}"), ("COPY", f"--chmod=0555 . {folder}")] == read


@pytest.mark.parametrize("lock", ["requirements.txt", "requirements-otlp.txt", "requirements-reprice.txt"])
def test_every_list_that_the_image_is_built_from_is_sent(lock: str) -> None:
    """What LOCK may name is copied into the build, and an extra's list has all of the plain one."""
    names = [
        set(re.findall(r"^([a-z0-9.-]+==\S+)", (ROOT / "deploy" / name).read_text(), re.MULTILINE))
        for name in (lock, "requirements.txt")
    ]
    copied = {path for name, rest in instructions() if name == "COPY" for path in rest.split()}

    assert f"deploy/{lock}" in copied
    assert names[0] >= names[1]


def test_both_stages_stand_on_one_base_of_one_version() -> None:
    """The base is an argument with a default that names Python's minor version and Debian's release, and is slim."""
    read = instructions()

    assert ["PYTHON=python:3.13-slim-trixie", "LOCK=requirements.txt"] == [rest for name, rest in read if name == "ARG"]
    assert ["${PYTHON} AS build", "${PYTHON}"] == [rest for name, rest in read if name == "FROM"]


def test_nothing_is_installed_that_is_not_locked() -> None:
    """Every package from an index needs its hash, and the image installs only wheels built here.

    The lists are whole: nothing is resolved again, which fails when a newer release than the locked one is there.
    """
    steps = [step.strip() for name, rest in instructions() if name == "RUN" for step in rest.split("&&")]
    installing = [step for step in steps if re.search(r"\bpip\b.* (install|wheel) ", step)]

    assert all("--no-deps" in step for step in installing)
    assert all(("--require-hashes" in step) == ("--requirement" in step) for step in installing)
    assert "pip --python /opt/featherline/bin/python check" == steps[-1]


def test_what_is_copied_is_there_and_nothing_else_is_sent() -> None:
    """The files that the build takes are in the clone, and the list of what is sent to the engine names just these."""
    copied = [
        path for name, rest in instructions() if name == "COPY" and "--from" not in rest for path in rest.split()[:-1]
    ]
    sent = (ROOT / "deploy" / "Dockerfile.dockerignore").read_text(encoding="utf-8").splitlines()

    assert all((ROOT / path).exists() for path in copied)
    assert sorted(copied) == sorted(line.removeprefix("!") for line in sent if line.startswith("!"))
    assert "*" == next(line for line in sent if not line.startswith("#"))


def test_it_runs_as_nobody_without_a_shell() -> None:
    """The user is a number, as clusters require, and the service itself gets the signals."""
    stage = last_stage()

    assert re.fullmatch(r"[1-9]\d{3,}:[1-9]\d{3,}", stage["USER"])
    assert ["/opt/featherline/bin/python", "-I", "-m", "featherline_service"] == json.loads(stage["ENTRYPOINT"])
    assert Settings().port == int(stage["EXPOSE"])
    assert "FEATHERLINE_HOST=0.0.0.0" in stage["ENV"].split()


@pytest.mark.parametrize(("status", "code"), [(200, 0), (503, 1), (404, 1)])
def test_the_health_check_tells_health_by_its_exit_code(status: int, code: int) -> None:
    """The command of the image, run here against a port that answers so."""
    with answering(status) as port:
        assert code == health(port).returncode


def test_the_health_check_fails_where_nothing_listens() -> None:
    """The health check fails when nothing listens."""
    with answering(200) as port:
        pass
    assert health(port).returncode == 1


def health(port: int) -> subprocess.CompletedProcess[str]:
    """Run the health check's command with this Python, at another port."""
    python, *options = json.loads(last_stage()["HEALTHCHECK"].partition("CMD ")[2])
    assert "/opt/featherline/bin/python" == python
    command = [sys.executable, *(option.replace(str(Settings().port), str(port)) for option in options)]
    assert str(port) in command[-1]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=30)
