"""A load of questions with known answers, on many connections: every answer is compared, every lost one counted."""

from __future__ import annotations

import asyncio
import json
import os
import random
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

import httpx2
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.settings import Settings

HOST: Final = "127.0.0.1"
BY_NIGHT: Final = "FAULT_REQUESTS" in os.environ
EXAMPLES: Final = Path(__file__).parents[2] / "openapi" / "examples"
_ANSWER_WITHIN_S: Final = 30.0
_LONGEST_S: Final = 1200.0
_LARGEST_HEAD: Final = 1 << 16
_SERVERS_FAULT: Final = 500


class Question(NamedTuple):
    """A request's bytes, and the status and body of its right answer."""

    name: str
    request: bytes
    status: int
    body: bytes


class Tally(NamedTuple):
    """Outcomes of requests: seconds that each answer took, and descriptions of those lost or wrong.

    Lost is a request without an answer, and one with an error that it does not call for. A wrong answer is an answer.
    """

    answered_s: list[float]
    lost: list[str]
    wrong: list[str]

    @property
    def asked(self) -> int:
        """How many requests were made."""
        return len(self.answered_s) + len(self.lost)

    def slowest_s(self) -> float:
        """Return how long the slowest answer took."""
        return max(self.answered_s, default=0.0)


def questions() -> tuple[Question, ...]:
    """Return questions of every kind, answered by a service in this process."""
    return tuple(asyncio.run(_answered(list(_requests()))))


def under_load(
    port: int,
    asked: Sequence[Question],
    fault: Callable[[], None],
    *,
    count: int,
    connections: int = 8,
    pause_s: float = 0.0,
    compared: Callable[[bytes], bytes] | None = None,
) -> Tally:
    """Ask on several connections while `fault` runs, again and again, until at least `count` were asked.

    Of an answer `compared` is what must be as in the reference: without it, all but the seal.
    """
    tally = Tally([], [], [])
    done = asyncio.Event()
    deadline = time.monotonic() + _LONGEST_S

    async def break_things() -> None:
        try:
            while not tally.answered_s and time.monotonic() < deadline:  # noqa: ASYNC110 - a tally wakes nobody
                await asyncio.sleep(0.02)
            await asyncio.sleep(0.2)  # every connection has been used
            await asyncio.to_thread(fault)
            while tally.asked < count and time.monotonic() < deadline:
                await asyncio.to_thread(fault)
        finally:
            done.set()

    async def call(seed: int) -> None:
        chance = random.Random(seed)  # noqa: S311 - the same questions each time
        connection = Connection(port)
        while not done.is_set():
            await _count(connection, chance.choice(asked), tally, compared or unsealed)
            await asyncio.sleep(pause_s * chance.uniform(0.5, 1.5))
        connection.close()

    async def run() -> None:
        await asyncio.gather(break_things(), *map(call, range(connections)))

    asyncio.run(run())
    return tally


async def _count(connection: Connection, question: Question, tally: Tally, compared: Callable[[bytes], bytes]) -> None:
    """Ask a question, and add its outcome to the tally."""
    begun = time.perf_counter()
    try:
        async with asyncio.timeout(_ANSWER_WITHIN_S):
            status, body = await connection.ask(question.request)
    except (OSError, EOFError, TimeoutError) as error:
        connection.close()
        tally.lost.append(f"{question.name}: {error!r}")
        await asyncio.sleep(0.05)
        return
    if status != question.status and status >= _SERVERS_FAULT:
        tally.lost.append(f"{question.name}: {status} {body[:300]!r}")
        return
    tally.answered_s.append(time.perf_counter() - begun)
    if (status, compared(body)) != (question.status, question.body):
        tally.wrong.append(f"{question.name}: {status} {body[:300]!r}")


def unsealed(answer: bytes) -> bytes:
    """Return an answer without its seal, which comes last and differs by time and replica."""
    return answer.partition(b',"seal":{')[0]


class Connection:
    """A connection for one request after another, opened when needed."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._open: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def ask(self, request: bytes) -> tuple[int, bytes]:
        """Return status and body of the answer."""
        if self._open is None:
            self._open = await asyncio.open_connection(HOST, self._port, limit=_LARGEST_HEAD)
        reader, writer = self._open
        writer.write(request)
        head = (await reader.readuntil(b"\r\n\r\n")).lower()
        headers = dict(line.split(b": ", 1) for line in head.split(b"\r\n")[1:-2])
        body = await reader.readexactly(int(headers[b"content-length"]))
        if headers.get(b"connection") == b"close":
            self.close()
        return int(head.split(b" ", 2)[1]), body

    def close(self) -> None:
        """Close what is open."""
        if self._open is not None:
            self._open[1].close()
            self._open = None


def _requests() -> Iterator[tuple[str, str, str, bytes]]:
    """Yield names, methods, paths and bodies; by day fewer, as each replica that starts works all of them out."""
    step = 1 if BY_NIGHT else 2
    order = _example("quote-request.json")
    for height in range(12, 24, 3 * step):
        yield f"quote of {height} mm", "POST", "/v1/quotes", _dumped(_lettered(order, f"{height} mm"))
    for name in ("walk-in.json", "clog.json"):
        yield name, "POST", "/v1/quotes", (EXAMPLES / name).read_bytes()
    for number in range(1, 9, 3 * step):
        fit = _example("fit-request.json")
        fit["artwork"]["text"] = f"MARLOW\n{number}"
        yield f"fit of number {number}", "POST", "/v1/fits", _dumped(fit)
    for film in ("smooth", "stretch", "flock", "metallic")[::step]:
        yield f"recipe of {film}", "POST", "/v1/recipes", _dumped({**_example("recipe-request.json"), "film": film})
    for name in ("cost-request-measures.json", "cost-request.json")[::step]:
        yield name, "POST", "/v1/costs", (EXAMPLES / name).read_bytes()
    for path in ("/v1/book/films", "/v1/book/films/smooth", "/v1/book/uppers", "/health/live"):
        yield path, "GET", path, b""
    yield "no JSON", "POST", "/v1/quotes", b'{"shoe":'
    yield "unknown film", "POST", "/v1/recipes", _dumped({**_example("recipe-request.json"), "film": "seaweed"})
    yield "no such path", "GET", "/v1/tides", b""


def _example(name: str) -> Any:  # noqa: ANN401 - JSON
    return json.loads((EXAMPLES / name).read_bytes())


def _lettered(order: dict[str, Any], height: str) -> dict[str, Any]:
    (placement,) = order["placements"]
    return {**order, "placements": [{**placement, "artwork": {**placement["artwork"], "height": height}}]}


def _dumped(content: object) -> bytes:
    return json.dumps(content).encode()


async def _answered(requests: Sequence[tuple[str, str, str, bytes]]) -> list[Question]:
    found = []
    with capture_logs():
        transport = httpx2.ASGITransport(create_app(Settings()))  # type: ignore[arg-type]  # an ASGI application
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            for number, (name, method, path, body) in enumerate(requests):
                headers = {"x-request-id": f"question-{number}"}  # a problem names its request
                if method == "POST":
                    headers["content-type"] = "application/json"
                answer = await client.request(method, path, content=body, headers=headers)
                fields = {"host": "saltmarsh.test", **headers, "content-length": str(len(body))}
                head = f"{method} {path} HTTP/1.1\r\n" + "".join(f"{key}: {value}\r\n" for key, value in fields.items())
                right = unsealed(answer.content)
                found.append(Question(name, head.encode() + b"\r\n" + body, answer.status_code, right))
    return found
