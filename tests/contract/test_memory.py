"""The heaviest requests that the limits allow, asked of a process that has the memory it is shipped with.

Requests that take seconds to compute are in `test_heaviest.py`; here they are quick.
"""

from __future__ import annotations

import contextlib
import gzip
import json
import os
import re
import resource
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import httpx2
import pytest
from family_memory import family_mb

REPOSITORY: Final = Path(__file__).parents[2]
EXAMPLES: Final = REPOSITORY / "openapi" / "examples"
LARGEST: Final = 1_048_576  # bytes; the default of FEATHERLINE_MAX_BODY
JSON: Final = "application/json"
MOST_MB: Final = 450.0
"""Of all processes of the service together, two of which compute."""

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="RLIMIT_DATA counts all private memory on Linux alone")


def example(name: str) -> Any:  # noqa: ANN401 - JSON data
    """Return an example request."""
    return json.loads((EXAMPLES / f"{name}-request.json").read_text())


def filled(begin: str, item: str, end: str) -> bytes:
    """Return a body of the largest size with as many items as there is room for."""
    items = (LARGEST - len(begin) - len(end)) // (len(item) + 1)
    return (begin + ",".join([item] * items) + end).encode()


def long_text(height: str) -> dict[str, Any]:
    """Return a text of 200 characters and twelve lines, as long as they may be."""
    return {
        "kind": "text",
        "text": "\n".join("WHARFINGER TIDES"[:15] for _ in range(12)),
        "font": "plain",
        "height": height,
    }


@pytest.fixture(scope="module")
def address() -> Iterator[tuple[str, int]]:
    """The address of a service whose memory is limited as in deploy/compose.yaml.

    RLIMIT_DATA counts what is private and writable, heap and thread stacks with it (getrlimit(2), since Linux 4.7). It
    is a stricter limit than a container's, which counts only what was touched.
    """
    limits = {
        int(size) for size in re.findall(r"mem_limit: (\d+)m", (REPOSITORY / "deploy" / "compose.yaml").read_text())
    }
    limit = min(limits) << 20
    environment = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    command = [sys.executable, "-m", "featherline_service"]
    own = {"FEATHERLINE_PORT": "0", "FEATHERLINE_PROCESSES": "2"}
    with subprocess.Popen(command, env={**environment, **own}, stderr=subprocess.PIPE) as process:
        resource.prlimit(process.pid, resource.RLIMIT_DATA, (limit, limit))
        assert process.stderr is not None
        try:
            ready = json.loads(process.stderr.readline())
            with watched(process.pid) as sizes:
                yield ready["host"], ready["port"]
            assert process.poll() is None
            assert max(sizes) < MOST_MB
        finally:
            process.kill()


@contextlib.contextmanager
def watched(pid: int) -> Iterator[list[float]]:
    """Look now and then at the memory of a process and of those that it has made [MB], what they share counted once."""
    sizes, ended = list[float](), threading.Event()

    def look() -> None:
        while not ended.wait(0.1):
            sizes.append(family_mb(pid))

    looking = threading.Thread(target=look)
    looking.start()
    try:
        yield sizes
    finally:
        ended.set()
        looking.join()


QUOTE = example("quote")
FIT = {"shoe": QUOTE["shoe"], "panel": "outer-quarter", "film": "smooth"}
ROSTER = example("roster")
STACK = {"kind": "stack", "surface": "leather", "layers": [{"material": "upper-leather", "thickness": "1.4 mm"}] * 8}
ROWS = [{"id": str(k), "fields": {"name": "MARLOW", "number": "7"}} for k in range(100)]


@pytest.mark.parametrize(
    ("path", "accept", "asked"),
    [
        ("/v1/recipes", JSON, {"film": "smooth", "press": "swing", "onto": STACK}),
        ("/v1/recipes", "image/svg+xml", example("recipe")),
        ("/v1/fits", "image/svg+xml", {**FIT, "artwork": long_text("60 mm")}),
        ("/v1/artworks", JSON, {"artwork": long_text("400 mm")}),
        ("/v1/costs", JSON, {"kind": "order", "order": {**QUOTE, "pairs": 10_000, "quantities": [*range(100, 124)]}}),
        ("/v1/quotes", "application/pdf", QUOTE),
        ("/v1/rosters", JSON, {**ROSTER, "rows": ROWS}),
        ("/v1/from-prices", JSON, {"candidates": [{**QUOTE, "reference": str(k)} for k in range(24)]}),
        ("/v1/trials", JSON, example("trial")),
    ],
    ids=lambda each: each if isinstance(each, str) else "",
)
def test_the_largest_questions_are_answered(address: tuple[str, int], path: str, accept: str, asked: Any) -> None:  # noqa: ANN401
    """Each in its heaviest form: there is memory enough, so that none fails."""
    host, port = address
    with httpx2.Client(base_url=f"http://{host}:{port}", timeout=60) as client:
        answer = client.post(path, json=asked, headers={"accept": accept, "prefer": "wait=30"})

    assert 200 == answer.status_code, answer.text[:1_000]


@pytest.mark.parametrize("path", ["/v1/quotes", "/v1/rosters", "/v1/bulk"])
@pytest.mark.parametrize(
    "body",
    [
        filled("[", "[]", "]"),
        filled('{"placements": [', "{}", '], "rows": []}'),
        b"{" + b",".join(b'"%06d":0' % k for k in range(LARGEST // 11)) + b"}",
        b"[" * LARGEST,
    ],
    ids=["lists", "objects", "names", "depth"],
)
def test_the_largest_bodies_that_are_wrong_are_refused(address: tuple[str, int], path: str, body: bytes) -> None:
    """However their memory grows when they are decoded, and compressed as well as they are."""
    host, port = address
    kind = "application/jsonl" if path == "/v1/bulk" else JSON
    with httpx2.Client(base_url=f"http://{host}:{port}", timeout=60) as client:
        headers = {"content-type": kind, "content-encoding": "gzip"}
        answer = client.post(path, content=gzip.compress(body, 1), headers=headers)

    wanted = {200} if path == "/v1/bulk" else {400, 422}
    assert answer.status_code in wanted, answer.text[:1_000]


def test_large_bodies_on_many_connections_leave_the_memory_to_others(address: tuple[str, int]) -> None:
    """Of those that lack their last byte most are refused, and a question that comes meanwhile is answered."""
    head = (
        b"POST /v1/quotes HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\ncontent-length: %d\r\n\r\n" % LARGEST
    )
    host, port = address
    with contextlib.ExitStack() as stack:
        connections = [stack.enter_context(socket.create_connection(address, timeout=60)) for _ in range(400)]
        for each in connections:
            each.sendall(head + b" " * (LARGEST - 1))
        with httpx2.Client(base_url=f"http://{host}:{port}", timeout=60) as client:
            answer = client.post("/v1/quotes", json=QUOTE)
        refused = 0
        for each in connections:
            each.setblocking(False)
            with contextlib.suppress(BlockingIOError):
                refused += each.recv(65536).startswith(b"HTTP/1.1 503 ")

    assert 200 == answer.status_code, answer.text
    assert 300 < refused < 400
