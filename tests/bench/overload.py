"""Ten times the load that the service can carry: some are answered soon, the others are refused at once."""

from __future__ import annotations

import asyncio
import itertools
import json
import math
import statistics
import time
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple, cast

import uvloop
from servers import HOST, SERVICE, Process, on_first_processor

TIMES: Final = 10
FLOOD_S: Final = 40.0
MOST_REQUESTS: Final = 20_000
ACCEPTED_RATIO: Final = 3.0
REFUSED_MS: Final = 50.0
GROWN_MB: Final = 30.0
RECOVERED_S: Final = 5.0
_ALONE: Final = 200
_WINDOW_S: Final = 0.5
_FULL: Final = 0.9  # of the speed before
_OK, _BUSY = 200, 503


class Answered(NamedTuple):
    """An answer: when it was asked for [s], how long it took [ms], its status, and whether it has Retry-After."""

    at_s: float
    took_ms: float
    status: int
    says_when: bool


class Figures(NamedTuple):
    """What was measured: of callers alone, of the flood, and after it."""

    alone_p50_ms: float
    alone_p99_ms: float
    carried_s: float
    offered_s: float
    accepted: int
    accepted_p50_ms: float
    accepted_p99_ms: float
    refused: int
    refused_p99_ms: float
    without_when: int
    grown_mb: float
    recovered_s: float


class _Connection(asyncio.Protocol):
    """A connection that asks once at a time."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Start without a pending answer."""
        self._transport = cast("asyncio.Transport", transport)
        self._waiting: asyncio.Future[tuple[int, bool]] | None = None
        self._head = b""
        self._missing = 0

    def ask(self, request: bytes) -> asyncio.Future[tuple[int, bool]]:
        """Send a request; the status of its answer is to come, and whether it has Retry-After."""
        self._waiting = asyncio.get_running_loop().create_future()
        self._transport.write(request)
        return self._waiting

    def data_received(self, data: bytes) -> None:
        """Read an answer to its end."""
        if not self._missing:
            self._head, _, data = (self._head + data).partition(b"\r\n\r\n")
            self._missing = int(self._head.lower().partition(b"content-length:")[2].partition(b"\r\n")[0])
        self._missing -= len(data)
        if not self._missing and self._waiting is not None:
            head, self._head = self._head.lower(), b""
            self._waiting.set_result((int(head.split(b" ", 2)[1]), b"\r\nretry-after:" in head))

    def connection_lost(self, exc: Exception | None) -> None:
        """Fail the pending answer."""
        if self._waiting is not None and not self._waiting.done():
            self._waiting.set_exception(exc or ConnectionError("The service closed the connection"))

    def close(self) -> None:
        """Close."""
        self._transport.abort()


class _Callers:
    """Callers of one service, on as many connections as they need."""

    def __init__(self, port: int, requests: Iterator[bytes]) -> None:
        self._port = port
        self._requests = requests
        self._idle: list[_Connection] = []
        self.begun = time.perf_counter()

    async def ask(self) -> Answered:
        """Ask a question that was never asked."""
        asked = time.perf_counter()
        if self._idle:
            connection = self._idle.pop()
        else:
            _, connection = await asyncio.get_running_loop().create_connection(_Connection, HOST, self._port)
        status, says_when = await connection.ask(next(self._requests))
        self._idle.append(connection)
        return Answered(asked - self.begun, (time.perf_counter() - asked) * 1e3, status, says_when)

    async def one_after_another(self, seconds: float, most: int) -> list[Answered]:
        """Ask so long or so often, each question after the answer to the last."""
        until, answers = time.perf_counter() + seconds, list[Answered]()
        while time.perf_counter() < until and len(answers) < most:
            answers.append(await self.ask())
        return answers

    async def flood(self, rate_s: float, seconds: float) -> list[Answered]:
        """Ask at a fixed rate, whether answers come or not."""
        begun, asked = time.perf_counter(), list[asyncio.Task[Answered]]()
        for number in range(min(MOST_REQUESTS, int(rate_s * seconds))):
            late_s = begun + number / rate_s - time.perf_counter()
            if late_s > 0:
                await asyncio.sleep(late_s)
            asked.append(asyncio.create_task(self.ask()))
        return await asyncio.gather(*asked)

    async def close(self) -> None:
        """Close every connection."""
        for connection in self._idle:
            connection.close()
        await asyncio.sleep(0)


def new_recipes() -> Iterator[bytes]:
    """Yield requests for recipes, each for a stack that was never asked for."""
    for tenths in itertools.count(12_000):
        layers = [{"material": "upper-leather", "thickness": f"{tenths / 10_000} mm"}]
        asked = {"film": "smooth", "onto": {"kind": "stack", "surface": "leather", "layers": layers}, "press": "swing"}
        body = json.dumps(asked).encode()
        head = f"POST /v1/recipes HTTP/1.1\r\nhost: {HOST}\r\ncontent-type: application/json\r\n"
        yield f"{head}content-length: {len(body)}\r\n\r\n".encode() + body


def measure() -> Figures:
    """Measure a service of its own on one processor, asked from the other."""
    with Process(SERVICE, "/health/ready") as service:
        with on_first_processor():
            service.start()
        return uvloop.run(_measure(service))


async def _measure(service: Process) -> Figures:
    callers = _Callers(service.port, new_recipes())
    await callers.one_after_another(60, 50)  # until it is warm
    alone = [each.took_ms for each in await callers.one_after_another(60, _ALONE)]
    carried_s = 1e3 / statistics.median(alone)  # one at a time, and none in between: no more can be answered
    held_mb = service.memory_mb()
    answers = await callers.flood(TIMES * carried_s, FLOOD_S)
    ended = time.perf_counter()
    grown_mb = service.memory_mb() - held_mb
    recovered_s = math.inf
    while time.perf_counter() - ended < 2 * RECOVERED_S and math.isinf(recovered_s):
        window = await callers.one_after_another(_WINDOW_S, MOST_REQUESTS)
        if _FULL * statistics.median(each.took_ms for each in window) <= statistics.median(alone):
            recovered_s = time.perf_counter() - ended
    await callers.close()
    accepted = [each.took_ms for each in answers if each.status == _OK]
    refused = [each for each in answers if each.status == _BUSY]
    if len(accepted) + len(refused) != len(answers):
        raise RuntimeError(f"Answered: {sorted({each.status for each in answers})}")
    return Figures(
        alone_p50_ms=statistics.median(alone),
        alone_p99_ms=percentile(alone, 0.99),
        carried_s=carried_s,
        offered_s=len(answers) / FLOOD_S,
        accepted=len(accepted),
        accepted_p50_ms=statistics.median(accepted),
        accepted_p99_ms=percentile(accepted, 0.99),
        refused=len(refused),
        refused_p99_ms=percentile([each.took_ms for each in refused], 0.99),
        without_when=sum(not each.says_when for each in refused),
        grown_mb=grown_mb,
        recovered_s=recovered_s,
    )


def percentile(values: Sequence[float], share: float) -> float:
    """Return the value that a share of all values do not exceed."""
    return sorted(values)[math.ceil(share * len(values)) - 1]
