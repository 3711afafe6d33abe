"""How deploy/haproxy.cfg treats requests, with stubs in place of replicas."""

from __future__ import annotations

import contextlib
import http.server
import re
import socket
import subprocess
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import httpx2
import pytest
from replicas import CONFIGURATION, HOST, Proxy, wait_until
from stubs import Answering, Stubs, answer, stubs

Standing = Callable[[Answering], AbstractContextManager[tuple[httpx2.Client, Stubs]]]


@pytest.fixture
def standing(haproxy: str, tmp_path: Path) -> Standing:
    """Return a function that runs HAProxy in front of stubs, with a client."""

    @contextmanager
    def stand(answering: Answering) -> Iterator[tuple[httpx2.Client, Stubs]]:
        with stubs(answering) as behind, contextlib.closing(Proxy(haproxy, behind.ports, tmp_path / "log")) as proxy:
            proxy.start()
            for name in ("one", "two", "three"):
                wait_until(lambda name=name: proxy.state(name) == "UP", f"stub {name} is up")  # type: ignore[misc]
            with httpx2.Client(base_url=f"http://{HOST}:{proxy.port}", timeout=30) as client:
                yield client, behind

    return stand


def break_off(times: int) -> Answering:
    """Return a handler that closes the connection so many times without an answer, and then answers."""

    def answering(handler: http.server.BaseHTTPRequestHandler, before: int) -> None:
        if before < times:
            handler.close_connection = True
            handler.connection.shutdown(socket.SHUT_RDWR)
        else:
            answer(handler, before)

    return answering


def test_a_request_says_where_it_came_from_and_only_that(standing: Standing) -> None:
    """A caller's own Forwarded fields are dropped; its address and the scheme are set."""
    claims = {"x-forwarded-for": "192.0.2.7", "x-forwarded-host": "saltmarsh.test", "forwarded": "for=192.0.2.7"}
    with standing(answer) as (client, behind):
        client.post("/v1/quotes", content=b"{}", headers={**claims, "x-request-id": "tide-7"})
        client.post("/v1/quotes", content=b"{}", headers={"x-request-id": 'tide"7'})

    named, unnamed = (request.headers for request in behind.seen)
    assert {"x-forwarded-for": HOST, "x-forwarded-proto": "http"} == {
        name: value for name, value in named.items() if "forwarded" in name
    }
    assert "tide-7" == named["x-request-id"]
    assert 36 == len(unnamed["x-request-id"])  # a UUID, RFC 9562


def test_a_key_reaches_the_replica_and_no_log(standing: Standing, tmp_path: Path) -> None:
    """A key is passed on unchanged, and appears in no log and no refusal."""
    shown = {"authorization": "Bearer fl_nobodys-key"}
    with standing(answer) as (client, behind):
        client.post("/v1/quotes", content=b"{}", headers=shown)
        client.post("/v1/bulk", content=b"{}\n", headers=shown)
        refused = client.get("/metrics", headers=shown)

    assert ["Bearer fl_nobodys-key"] * 2 == [request.headers["authorization"] for request in behind.seen]
    assert "fl_nobodys-key" not in (tmp_path / "log").read_text(encoding="utf-8") + refused.text


@pytest.mark.parametrize("size", [10, 60_000])
def test_a_question_that_a_replica_drops_is_put_to_others(standing: Standing, size: int) -> None:
    """Each of three tries has the same body; the caller sees the answer of the last."""
    body = b"[" + b" " * (size - 2) + b"]"
    with standing(break_off(2)) as (client, behind):
        got = client.post("/v1/quotes", content=body)

    assert 200 == got.status_code
    assert [body] * 3 == [request.body for request in behind.seen]


def test_a_question_larger_than_a_buffer_is_put_once(standing: Standing) -> None:
    """HAProxy cannot retry a request that it cannot buffer: the caller gets a problem that says to ask again."""
    with standing(break_off(2)) as (client, behind):
        got = client.post("/v1/quotes", content=b" " * 100_000, headers={"x-request-id": "tide-7"})

    assert (503, "application/problem+json", "1") == (
        got.status_code, got.headers["content-type"], got.headers["retry-after"],
    )  # fmt: skip
    assert ("urn:featherline:problem:busy", 503, "urn:featherline:request:tide-7") == (
        got.json()["type"], got.json()["status"], got.json()["instance"],
    )  # fmt: skip
    assert "tide-7" == got.headers["x-request-id"]
    assert 1 == len(behind.seen)


def test_a_question_that_every_replica_drops_ends(standing: Standing) -> None:
    """A request that every replica drops gets a problem after three tries."""
    with standing(break_off(100)) as (client, behind):
        got = client.post("/v1/quotes", content=b"{}")

    assert (503, 3) == (got.status_code, len(behind.seen))


def test_a_bulk_call_is_sent_once(standing: Standing) -> None:
    """A bulk call is never retried by the proxy: the caller resumes it."""
    with standing(break_off(1)) as (client, behind):
        got = client.post("/v1/bulk", content=b"{}\n")

    assert (503, 1) == (got.status_code, len(behind.seen))


def test_a_replica_sees_nothing_of_a_body_that_does_not_come(standing: Standing) -> None:
    """No replica sees a request whose body is incomplete, even after its caller has left."""
    head = b"POST /v1/quotes HTTP/1.1\r\nhost: x\r\ncontent-length: 9\r\n\r\n{"
    with standing(answer) as (client, behind):
        with socket.create_connection((HOST, client.base_url.port or 0)) as caller:
            caller.sendall(head)
            client.post("/v1/fits", content=b"{}")
        client.post("/v1/recipes", content=b"{}")

    assert ["/v1/fits", "/v1/recipes"] == [request.path for request in behind.seen]


def test_a_body_that_is_announced_too_large_is_refused_but_in_bulk(standing: Standing) -> None:
    """The limit holds for single questions; bulk has none."""
    with standing(answer) as (client, behind):
        got = client.post("/v1/quotes", content=b" " * 1_048_577)
        bulk = client.post("/v1/bulk", content=b" " * 1_048_577)

    assert (413, "urn:featherline:problem:body-too-large") == (got.status_code, got.json()["type"])
    assert (200, ["/v1/bulk"]) == (bulk.status_code, [request.path for request in behind.seen])


@pytest.mark.parametrize("path", ["/metrics", "/metrics/", "//metrics", "/%6Detrics"])
def test_metrics_are_not_for_callers(standing: Standing, path: str) -> None:
    """The proxy does not pass /metrics on, however the path is written."""
    with standing(answer) as (client, behind):
        got = client.get(client.base_url.copy_with(raw_path=path.encode()))

    assert (404, "urn:featherline:problem:no-such-path") == (got.status_code, got.json()["type"])
    assert [] == behind.seen


def test_the_configuration_is_read_without_a_warning(haproxy: str) -> None:
    """HAProxy's own check has no warning."""
    done = subprocess.run([haproxy, "-c", "-f", str(CONFIGURATION)], capture_output=True, text=True, check=False)

    assert (0, "") == (done.returncode, "".join(re.findall(r".*(?:WARNING|ALERT).*", done.stdout + done.stderr)))
