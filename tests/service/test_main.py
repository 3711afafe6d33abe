"""The service as a process: how it starts, says so, refuses to start, and stops."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import httpx2
import pytest
from service_forks import Service

from featherline_service.__main__ import main
from featherline_service.book.loader import demo_folder
from featherline_service.web.server.caller_keys import mint, read

COMMAND = [sys.executable, "-m", "featherline_service"]
HOST = "127.0.0.1"
Line = dict[str, Any]


def environment(**settings: object) -> dict[str, str]:
    """Return this process's environment with settings of the service."""
    named = {f"FEATHERLINE_{name.upper()}": str(value) for name, value in settings.items()}
    return {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")} | named


class Ended(NamedTuple):
    """How a command ended: its exit code, and what it wrote."""

    returncode: int
    stdout: str
    stderr: str


Run = Callable[..., Ended]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the command in this process, which takes no second to start: its arguments, and settings."""

    def run(*arguments: object, **settings: object) -> Ended:
        with monkeypatch.context() as patch:
            for name in [name for name in os.environ if name.startswith("FEATHERLINE_")]:
                patch.delenv(name)
            for name, value in settings.items():
                patch.setenv(f"FEATHERLINE_{name.upper()}", str(value))
            code = main([str(argument) for argument in arguments])
        return Ended(code, *capsys.readouterr())

    return run


def from_command(environment: dict[str, str]) -> subprocess.Popen[str]:
    """Start the service as its users do."""
    return subprocess.Popen(COMMAND, env=environment, stderr=subprocess.PIPE, text=True)


@contextlib.contextmanager
def running(
    start: Callable[[dict[str, str]], Service | subprocess.Popen[str]] = Service, **settings: object
) -> Iterator[tuple[Service | subprocess.Popen[str], Line]]:
    """Run the service on a port that the system chooses; yields the process and its `service.ready` line."""
    with start(environment(port=0, **settings)) as process:
        assert process.stderr is not None
        try:
            yield process, json.loads(process.stderr.readline())
        finally:
            process.kill()


def wait_for(port: int) -> None:
    """Wait until the service listens."""
    for _ in range(600):
        with contextlib.suppress(ConnectionRefusedError), socket.create_connection((HOST, port)):
            return
        time.sleep(0.05)
    raise TimeoutError("the service does not listen")


def exchange(port: int, sent: bytes) -> bytes:
    """Return all that the service answers to some bytes until it closes the connection."""
    with socket.create_connection((HOST, port), timeout=10) as connection:
        connection.sendall(sent)
        parts = []
        while part := connection.recv(65536):
            parts.append(part)
    return b"".join(parts)


@pytest.fixture
def key_file(tmp_path: Path) -> Path:
    """A file with one key."""
    path = tmp_path / "keys.toml"
    path.write_text(mint("harbour-shop", datetime.now(UTC))[1])
    return path


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    """The port of a running service."""
    with running() as (_, ready):
        yield ready["port"]


def test_it_says_when_it_is_ready_and_stops_when_told_to() -> None:
    """One line when it is ready, one a request, one when it has stopped; then the exit code is 0."""
    with running(from_command) as (process, ready):
        assert ("service.ready", None) == (ready["event"], ready["keys"])
        answer = httpx2.get(f"http://{HOST}:{ready['port']}/health/ready", headers={"x-request-id": "tide-7"})
        assert (200, ready["book"]) == (answer.status_code, answer.json()["book"])
        process.send_signal(signal.SIGTERM)
        assert process.stderr is not None
        lines = [json.loads(line) for line in process.stderr]  # not by `communicate`, which misses what is buffered
        process.wait(timeout=30)

    assert ["seals.temporary-key", "request.finished", "service.stopped"] == [line["event"] for line in lines]
    assert ("tide-7", "GET", "/health/ready", 200, "info") == tuple(
        lines[1][key] for key in ("request_id", "method", "route", "status", "level")
    )
    assert process.returncode == 0


def test_a_key_for_seals_is_made_kept_and_used(tmp_path: Path, run: Run) -> None:
    """The command makes a file that only its owner reads; the service seals with it, and publishes a later key."""
    path = tmp_path / "seal-keys.json"
    made = [run("--add-seal-key", path) for _ in range(2)]
    with running(seal_keys=path) as (process, ready):
        keys = httpx2.get(f"http://{HOST}:{ready['port']}/.well-known/jwks.json").json()["keys"]
        process.send_signal(signal.SIGTERM)
        _, err = process.communicate(timeout=30)

    assert [0, 0] == [each.returncode for each in made]
    assert 0o600 == path.stat().st_mode & 0o777
    assert [True, True] == [f"key {key['kid']} was added" in done.stdout for key, done in zip(keys, made, strict=True)]
    assert "seals.temporary-key" not in err


def test_a_key_goes_into_no_file_that_holds_anything_else(tmp_path: Path, run: Run) -> None:
    """What is there stays as it is; the message names the file, and the exit code is 2."""
    path = tmp_path / "notes.txt"
    path.write_text("not keys")
    done = run("--add-seal-key", path)

    assert (2, "not keys") == (done.returncode, path.read_text())
    assert done.stderr.startswith(f"Nothing was changed: {path}: ")


@pytest.mark.slow
def test_a_key_for_a_caller_is_made_and_let_in_from_anywhere(tmp_path: Path, run: Run) -> None:
    """Entries gather in a file by redirection; the key, shown apart, opens a service that others can reach."""
    path = tmp_path / "keys.toml"
    with path.open("w") as file:
        command = [*COMMAND, "--new-key", "harbour-shop"]
        first = subprocess.run(command, env=environment(), stdout=file, stderr=subprocess.PIPE, text=True, check=True)
        second = run("--new-key", "till")
        file.write(second.stdout)
    keys = [made.stderr.splitlines()[1] for made in (first, second)]
    with running(host="0.0.0.0", keys=path) as (process, ready):  # noqa: S104 - that is what is tried
        url = f"http://{HOST}:{ready['port']}/nothing-here"
        statuses = [
            httpx2.get(url, headers={} if key is None else {"authorization": f"Bearer {key}"}).status_code
            for key in (None, *keys, keys[1] + "x")
        ]
        process.send_signal(signal.SIGTERM)
        _, err = process.communicate(timeout=30)

    assert 2 == ready["keys"]
    assert ["harbour-shop", "till"] == [caller.id for _, caller in read(path)]
    assert [401, 404, 404, 401] == statuses
    assert ["harbour-shop", "till"] == [
        key for line in err.splitlines() if (key := json.loads(line).get("key")) in {"harbour-shop", "till"}
    ]
    assert not any(secret in err + path.read_text() for secret in keys)


def test_keys_change_without_a_restart(tmp_path: Path) -> None:
    """Within two seconds a key put in opens, and one taken out does not.

    A file that is broken, or none but a pipe into which nobody writes, changes nothing but the log.
    """
    path = tmp_path / "keys.toml"
    (old, old_entry), (new, new_entry) = (mint(name, datetime.now(UTC)) for name in ("till", "till-2"))
    path.write_text(old_entry)
    with running(keys=path) as (process, ready):
        with httpx2.Client(base_url=f"http://{HOST}:{ready['port']}") as client:

            def statuses() -> list[int]:
                shown = [{"authorization": f"Bearer {key}"} for key in (old, new)]
                return [client.get("/nothing-here", headers=headers).status_code for headers in shown]

            before = statuses()
            path.write_text(new_entry)
            until = time.monotonic() + 2
            while (after := statuses()) == before and time.monotonic() < until:
                time.sleep(0.05)
            path.write_text(f"[[keys]]\ndigest = {old}")
            time.sleep(1.1)  # the file is looked at once a second
            broken = statuses()
            path.unlink()
            os.mkfifo(path)
            time.sleep(1.1)
            piped = statuses()
        process.send_signal(signal.SIGTERM)
        _, err = process.communicate(timeout=30)

    assert [[404, 401], [401, 404], [401, 404], [401, 404]] == [before, after, broken, piped]
    events = [line["event"] for line in map(json.loads, err.splitlines()) if line["event"].startswith("keys.")]
    assert ["keys.read", "keys.unusable-file", "keys.unusable-file"] == events
    assert not any(secret in err for secret in (old, new))


def test_the_help_names_the_other_commands(
    run: Run, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever asks for help is led to the commands for the shop book and for repricing."""
    monkeypatch.setenv("COLUMNS", "5000")  # lines break at hyphens
    with pytest.raises(SystemExit):
        run("--help")
    told = capsys.readouterr().out
    assert [True, True] == [f"`featherline-service {name} --help`" in told for name in ("book", "reprice")]


def test_a_key_without_a_good_name_is_not_made(run: Run) -> None:
    """The message says what a name is, and the exit code is 2."""
    done = run("--new-key", "Harbour Shop")

    assert (2, "") == (done.returncode, done.stdout)
    assert done.stderr.startswith("No key was made: 'Harbour Shop' is no name of a key: give up to 48 lower-case ")


def test_it_answers_on_while_it_drains_and_says_that_it_is_leaving() -> None:
    """For the drain's time health says 503, questions are answered, connections close one by one; then it stops."""
    with running(drain=1) as (process, ready):
        with httpx2.Client(base_url=f"http://{HOST}:{ready['port']}") as client:
            before = client.get("/health/ready")
            process.send_signal(signal.SIGTERM)
            time.sleep(0.2)
            leaving, asked, alive = (client.get(path) for path in ("/health/ready", "/v1/book/films", "/health/live"))
        _, err = process.communicate(timeout=30)

    assert (200, None) == (before.status_code, before.headers.get("connection"))
    assert [503, 200, 200] == [answer.status_code for answer in (leaving, asked, alive)]
    assert ["close"] * 3 == [answer.headers["connection"] for answer in (leaving, asked, alive)]
    assert ("urn:featherline:problem:stopping", "5") == (leaving.json()["type"], leaving.headers["retry-after"])
    assert (0, "service.stopped") == (process.returncode, json.loads(err.splitlines()[-1])["event"])


def test_asked_twice_to_stop_it_does_so_at_once() -> None:
    """A second signal ends the drain."""
    with running(drain=600) as (process, _):
        process.send_signal(signal.SIGTERM)
        time.sleep(0.2)
        process.send_signal(signal.SIGTERM)

        assert process.wait(timeout=30) == 0


def test_a_full_disk_for_logs_costs_no_answer() -> None:
    """Where nothing can be logged, every request on one connection is answered, and the exit code is still 0."""
    with socket.create_server((HOST, 0)) as free:
        port = free.getsockname()[1]
    with (
        Path("/dev/full").open("wb") as full,
        Service(environment(port=port), stderr=full.fileno()) as run,
    ):
        try:
            wait_for(port)
            with httpx2.Client(base_url=f"http://{HOST}:{port}") as client:
                answers = [client.get("/v1/book/films") for _ in range(3)]
            run.send_signal(signal.SIGTERM)
            ended = run.wait(timeout=30)
        finally:
            run.kill()

    assert [(200, None)] * 3 == [(answer.status_code, answer.headers.get("connection")) for answer in answers]
    assert ended == 0


def test_logs_that_nobody_reads_cost_no_answer() -> None:
    """A pipe is full after 16 lines; all the same every request is answered, and the service stops when told to."""
    reading, writing = os.pipe()
    if sys.platform == "linux":
        fcntl.fcntl(writing, fcntl.F_SETPIPE_SZ, 4096)
    with socket.create_server((HOST, 0)) as free:
        port = free.getsockname()[1]
    with os.fdopen(reading, "rb") as log, Service(environment(port=port), stderr=writing) as run:
        os.close(writing)
        try:
            wait_for(port)
            with httpx2.Client(base_url=f"http://{HOST}:{port}", timeout=30) as client:
                statuses = [client.get("/health/live").status_code for _ in range(400)]
                metrics = client.get("/metrics").text
            run.send_signal(signal.SIGTERM)
            ended = run.wait(timeout=30)
        finally:
            run.kill()
        first = json.loads(log.readline())

    assert [200] * 400 == statuses
    assert "featherline_log_lines_dropped_total 0.0\n" in metrics  # they wait, until there are far more
    assert (0, "service.ready") == (ended, first["event"])


def test_a_broken_book_stops_the_start_with_one_message(tmp_path: Path, run: Run) -> None:
    """The message names the file; there is no traceback."""
    (tmp_path / "book.toml").write_text('mode = "overlay"\n')
    (tmp_path / "films").mkdir()
    (tmp_path / "films" / "tide.toml").write_text('[[record]]\nid = "tide"\n')

    done = run(book=tmp_path)

    assert (2, "") == (done.returncode, done.stdout)
    assert done.stderr.startswith("featherline-service cannot start: ")
    assert "tide.toml" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"port": "http"}, "FEATHERLINE_PORT is 'http'"),
        ({"book": "/no/such/shop"}, "FEATHERLINE_BOOK names '/no/such/shop'"),
        ({"bok": demo_folder()}, "FEATHERLINE_BOK is not a setting"),
        ({"seal_keys": "/no/such/file.json"}, "/no/such/file.json: there is no such file"),
        ({"keys": "/no/such/file.toml"}, "/no/such/file.toml: not a usable file of keys"),
        ({"host": "0.0.0.0"}, "FEATHERLINE_HOST is '0.0.0.0', which others can reach"),  # noqa: S104 - refused
        ({"host": "192.0.2.1"}, "FEATHERLINE_HOST is '192.0.2.1', which others can reach, and there are no keys"),
        ({"host": "::"}, "FEATHERLINE_HOST is '::', which others can reach, and there are no keys"),
        ({"plugins": "no-such-rules"}, "The distribution 'no-such-rules' is not installed"),
        ({"seal_days": 0}, "FEATHERLINE_SEAL_DAYS is '0'; give days, from 1 to 366"),
    ],
)
def test_settings_that_cannot_be_used_stop_the_start(settings: dict[str, object], said: str, run: Run) -> None:
    """One sentence names the variable, and the exit code is 2."""
    done = run(**settings)

    assert (2, 1) == (done.returncode, len(done.stderr.splitlines()))
    assert said in done.stderr


def test_a_busy_port_stops_the_start_with_one_sentence(port: int, run: Run) -> None:
    """The sentence names the port and what to set; the exit code is 3."""
    done = run(port=port)

    assert done.returncode == 3
    assert done.stderr == (
        f"featherline-service cannot listen on {HOST} port {port}: Address already in use. "
        "Stop what uses it, or set FEATHERLINE_PORT to another port.\n"
    )


def test_an_address_of_another_machine_stops_the_start(key_file: Path, run: Run) -> None:
    """An address that cannot be listened on, or does not exist, is told as such."""
    for host in ("192.0.2.1", "no-such-host.invalid"):  # RFC 5737 and RFC 6761: nobody's address, nobody's name
        done = run(host=host, keys=key_file)

        assert done.returncode == 3
        assert done.stderr.startswith(f"featherline-service cannot listen on {host} port 8037: ")


@pytest.mark.parametrize(
    "sent",
    [
        b"NONSENSE\r\n\r\n",
        b"GET / HTTP/1.1\r\nhost: x\r\nno colon\r\n\r\n",
        b"POST /v1/quotes HTTP/1.1\r\nhost: x\r\ncontent-length: 2\r\ncontent-length: 3\r\n\r\n{}",
        b"POST /v1/quotes HTTP/1.1\r\nhost: x\r\ncontent-length: 2\r\ntransfer-encoding: chunked\r\n\r\n{}",
        b"POST /v1/quotes HTTP/1.1\r\nhost: x\r\ncontent-length: -2\r\n\r\n{}",
        b"POST /v1/quotes HTTP/1.1\r\nhost: x\r\ntransfer-encoding: chunked\r\n\r\nzz\r\n",
        b"POST /v1/quotes HTTP/1.1\r\nhost: x\r\ncontent-length: 2\r\ncontent-length: 2\r\n\r\n{}",
        b"POST /v1/quotes HTTP/1.1\r\nhost: x\r\ntransfer-encoding: gzip, chunked\r\n\r\n2\r\n{}\r\n0\r\n\r\n",
        b"POST /v1/quotes HTTP/1.1\r\nhost: x\r\ntransfer-encoding: chunked\r\ntransfer-encoding: chunked\r\n\r\n",
        b"GET /health/live HTTP/1.1\r\n\r\n",
        b"GET /health/live HTTP/1.1\r\nhost: x\r\nhost: y\r\n\r\n",
        b"GET /health/live HTTP/1.1\r\nhost: x\r\nx: a\x00b\r\n\r\n",
        b"GET /health/live HTTP/1.1\nhost: x\n\n",
        b"get /health/live HTTP/1.1\r\nhost: x\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
    ],
)
def test_what_is_no_http_is_answered_with_a_problem(port: int, sent: bytes) -> None:
    """Bytes that no application ever sees get a problem document too, and the connection closes."""
    head, _, body = exchange(port, sent).partition(b"\r\n\r\n")

    assert head.startswith(b"HTTP/1.1 400 Bad Request\r\n")
    assert b"content-type: application/problem+json" in head
    assert (400, "urn:featherline:problem:bad-request") == (json.loads(body)["status"], json.loads(body)["type"])


@pytest.mark.parametrize("end", [b"\r\n\r\n", b""], ids=["ended", "without end"])
def test_a_head_over_the_limit_is_refused(port: int, end: bytes) -> None:
    """A head that is too large is 431, and one that goes on and on is not read to its end (RFC 6585 section 5)."""
    with socket.create_connection((HOST, port), timeout=10) as connection:
        connection.sendall(b"GET /health/live HTTP/1.1\r\nhost: x\r\nx: " + b"a" * 100_000 + end)
        answer = connection.recv(65536)

    assert answer.startswith(b"HTTP/1.1 431 Request Header Fields Too Large\r\n")
    assert b"urn:featherline:problem:head-too-large" in answer


def test_a_request_of_http_1_0_needs_no_host(port: int) -> None:
    """It is answered, and the connection closes."""
    assert exchange(port, b"GET /health/live HTTP/1.0\r\n\r\n").startswith(b"HTTP/1.1 200 OK\r\n")


def test_a_chunked_body_over_the_limit_is_cut_off(port: int) -> None:
    """A body that nobody announced is refused when it has grown too large, and not read to its end."""
    chunk = b"10000\r\n" + b" " * 0x10000 + b"\r\n"
    request = (
        b"POST /v1/quotes HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\ntransfer-encoding: chunked\r\n\r\n"
    )
    with socket.create_connection((HOST, port), timeout=10) as connection:
        connection.sendall(request + chunk * 17)

        assert connection.recv(65536).startswith(b"HTTP/1.1 413 ")


def test_a_caller_that_hangs_up_costs_nothing_but_itself(port: int) -> None:
    """A body that never comes is dropped with its connection, and the next caller is answered."""
    request = b"POST /v1/quotes HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\ncontent-length: 100\r\n\r\n{"
    with socket.create_connection((HOST, port), timeout=10) as connection:
        connection.sendall(request)
        time.sleep(0.05)

    assert httpx2.get(f"http://{HOST}:{port}/health/live").status_code == 200
