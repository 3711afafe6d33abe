"""What a light caller notices of heavy ones: new small fits, alone and beside callers who ask for as much as they may.

Heavy callers send new orders of twelve placements of 200 characters each, whose poses are searched, one after another:
each takes more than a question may, and is given up after the deadline's processor time.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import json
import math
import statistics
import tempfile
import time
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, NamedTuple

import httpx2
from servers import HOST, SERVICE, Process, on_first_processor

from featherline_service.web.server.caller_keys import mint

MEDIAN_TIMES: Final = 2.0
P99_TIMES: Final = 8.0
LIVE_P99_MS: Final = 30.0
ONE_OF_TWO: Final = 1 / 1.8
_LINES: Final = 400
_STREAM_LINES: Final = 200
_EXAMPLES: Final = Path(__file__).parents[2] / "openapi" / "examples"
_NAMES: Final = ("light", "heavy-1", "heavy-2", "heavy-3", "stream", "flood", "watch")
_SECONDS: Final = 12.0
_MOST: Final = 2_000
_NOT_REFUSED: Final = {"2 searching callers", "a stream of bulk"}
_FLOOD_PER_S: Final = 150


class Beside(NamedTuple):
    """What a light caller and a watch noticed beside others; what was refused to the light one and to the others."""

    name: str
    median_ms: float
    p99_ms: float
    asked: int
    refused: int
    others_answered: int
    others_refused: int
    most_refused: float | None
    live_p99_ms: float
    memory_mb: float


def _letters(count: int) -> Iterator[str]:
    return map("".join, itertools.islice(itertools.product("ABCDEFGHJKLMNPRSTUVWXYZ", repeat=5), count))


class _Requests:
    """Requests that were never made."""

    def __init__(self) -> None:
        self._names = _letters(1_000_000)
        self._fit = json.loads((_EXAMPLES / "fit-request.json").read_text(encoding="utf-8"))
        self._order = json.loads((_EXAMPLES / "quote-request.json").read_text(encoding="utf-8"))

    def fit(self) -> dict[str, Any]:
        """Return a fit of a new name."""
        artwork = {**self._fit["artwork"], "text": next(self._names)}
        return {**self._fit, "artwork": artwork}

    def order(self, placements: int = 12, characters: int = 200) -> dict[str, Any]:
        """Return an order of new texts; where there are many, their poses are searched."""
        (mark, *_) = self._order["placements"]

        def artwork() -> dict[str, Any]:
            # Four of 5 letters in a line, and its end.
            words = list(itertools.islice(self._names, max(1, 4 * characters // 21)))
            lines = ["".join(words[first : first + 4]) for first in range(0, len(words), 4)]
            return {"kind": "text", "text": "\n".join(lines), "font": "plain", "height": f"{5 * len(lines)} mm"}

        pose = {"pose": {"kind": "searched"}} if placements > 1 else {}
        marks = [{**mark, "artwork": artwork(), **pose} for _ in range(placements)]
        return {**self._order, "placements": marks}


def measure() -> list[Beside]:
    """Measure a service with keys, on all processors."""
    with tempfile.TemporaryDirectory() as folder:
        path, keys = Path(folder) / "keys.toml", dict[str, str]()
        entries = []
        for name in _NAMES:
            keys[name], entry = mint(name, datetime.now(UTC))
            scopes = '["ask", "bulk", "watch"]'
            entry = entry.replace('["ask"]', scopes).replace(
                "requests_per_minute = 600", "requests_per_minute = 1000000"
            )
            entry = entry.replace("burst = 60", "burst = 100000")
            entries.append(entry.replace("work_s_per_minute = 60", "work_s_per_minute = 100000"))
        path.write_text("".join(entries), encoding="utf-8")
        with Process(SERVICE, "/health/ready", FEATHERLINE_KEYS=str(path)) as service:
            service.start()
            return asyncio.run(_measure(service.port, keys))


async def _measure(port: int, keys: dict[str, str]) -> list[Beside]:
    requests = _Requests()
    async with contextlib.AsyncExitStack() as stack:

        async def client(name: str) -> httpx2.AsyncClient:
            headers = {"authorization": f"Bearer {keys[name]}"}
            limits = httpx2.Limits(max_connections=500)
            return await stack.enter_async_context(
                httpx2.AsyncClient(
                    base_url=f"http://{HOST}:{port}", headers=headers, timeout=120, limits=limits, trust_env=False
                )
            )

        clients = {name: await client(name) for name in _NAMES}
        for _ in range(100):  # until it is warm
            await clients["light"].post("/v1/fits", json=requests.fit())
        await clients["heavy-1"].post("/v1/quotes", json=requests.order())
        results = [await _beside("alone", clients, requests, [])]
        heavy = [lambda name=name: _orders(clients[name], requests) for name in ("heavy-1", "heavy-2", "heavy-3")]
        results.append(await _beside("1 heavy caller", clients, requests, heavy[:1]))
        results.append(await _beside("3 heavy callers", clients, requests, heavy))
        results.append(
            await _beside("a stream of bulk", clients, requests, [lambda: _stream(clients["stream"], requests)])
        )
        searching = [lambda name=name: _searches(clients[name], requests) for name in ("heavy-1", "heavy-2")]
        results.append(await _beside("2 searching callers", clients, requests, searching))
        results.append(await _beside("a flood", clients, requests, [lambda: _flood(clients["flood"], requests)]))
        return results


class _Counts:
    """How many requests of a caller were answered, and how many were refused."""

    def __init__(self) -> None:
        self.answered = 0
        self.refused = 0


Others = Callable[[], AsyncIterator[bool]]


async def _beside(
    name: str, clients: dict[str, httpx2.AsyncClient], requests: _Requests, others: Sequence[Any]
) -> Beside:
    counts = _Counts()

    async def keep_asking(other: Any) -> None:  # noqa: ANN401 - an asynchronous generator's function
        async for answered in other():
            if answered:
                counts.answered += 1
            else:
                counts.refused += 1

    lives: list[float] = []

    async def watch() -> None:
        while True:
            begun = time.perf_counter()
            await clients["watch"].get("/health/live")
            lives.append((time.perf_counter() - begun) * 1e3)
            await asyncio.sleep(0.02)

    busy = [asyncio.create_task(keep_asking(other)) for other in others]
    watching = asyncio.create_task(watch())
    await asyncio.sleep(1.0)
    took, refused = list[float](), 0
    until = time.perf_counter() + _SECONDS
    while time.perf_counter() < until and len(took) < _MOST:
        begun = time.perf_counter()
        answer = await clients["light"].post("/v1/fits", json=requests.fit())
        took.append((time.perf_counter() - begun) * 1e3)
        refused += answer.status_code != httpx2.codes.OK
        await asyncio.sleep(0.01)
    metrics = (await clients["watch"].get("/metrics")).text
    memory = sum(
        float(line.split()[-1]) for line in metrics.splitlines() if line.startswith("featherline_memory_bytes")
    )
    for task in (*busy, watching):
        task.cancel()
    await asyncio.gather(*busy, watching, return_exceptions=True)
    await _settled(clients["watch"])
    return Beside(
        name, statistics.median(took), _percentile(took, 0.99), len(took), refused,
        counts.answered, counts.refused, 0.0 if name in _NOT_REFUSED else None, _percentile(lives, 0.99), memory / 1e6,
    )  # fmt: skip


async def _settled(client: httpx2.AsyncClient) -> None:
    """Wait until nothing is computed any longer, for at most a minute."""
    for _ in range(120):
        await asyncio.sleep(0.5)
        lines = (await client.get("/metrics")).text.splitlines()
        if not any(float(line.split()[-1]) for line in lines if line.startswith("featherline_queue_length{")):
            return
    raise RuntimeError("Questions are still computed for callers who have left")


async def _orders(client: httpx2.AsyncClient, requests: _Requests) -> AsyncIterator[bool]:
    while True:
        answer = await client.post("/v1/quotes", json=requests.order())
        yield answer.status_code == httpx2.codes.OK


async def _stream(client: httpx2.AsyncClient, requests: _Requests) -> AsyncIterator[bool]:
    while True:
        lines = (json.dumps({"kind": "quote", "request": requests.order(1, 5)}) + "\n" for _ in range(_STREAM_LINES))
        answer = await client.post(
            "/v1/bulk", content="".join(lines).encode(), headers={"content-type": "application/jsonl"}
        )
        for line in answer.text.splitlines():
            yield '"status":200' in line


async def _searches(client: httpx2.AsyncClient, requests: _Requests) -> AsyncIterator[bool]:
    while True:
        order = {**requests.order(1, 5), "outlines": "2 s", "pairs": 40}
        answer = await client.post("/v1/quotes", json=order)
        yield answer.status_code == httpx2.codes.OK


async def _flood(client: httpx2.AsyncClient, requests: _Requests) -> AsyncIterator[bool]:
    pending: set[asyncio.Task[httpx2.Response]] = set()
    try:
        while True:
            pending.add(asyncio.create_task(client.post("/v1/fits", json=requests.fit())))
            await asyncio.sleep(1 / _FLOOD_PER_S)
            for done in [task for task in pending if task.done()]:
                pending.discard(done)
                yield done.result().status_code == httpx2.codes.OK
    finally:
        for task in pending:
            task.cancel()


def _percentile(values: Sequence[float], share: float) -> float:
    return sorted(values)[math.ceil(share * len(values)) - 1]


def one_of_two() -> float:
    """Return the lines a second of new quotes that one processor answers, of those that two answer."""
    requests, rates = _Requests(), list[float]()
    for held, processes in ((on_first_processor, 1), (contextlib.nullcontext, 2)):
        with Process(SERVICE, "/health/ready", FEATHERLINE_PROCESSES=str(processes)) as service:
            with held():
                service.start()
            for _ in range(2):  # the first time until it is warm
                lines = [json.dumps({"kind": "quote", "request": requests.order(1, 5)}).encode() for _ in range(_LINES)]
                begun = time.perf_counter()
                answer = httpx2.post(
                    f"http://{HOST}:{service.port}/v1/bulk",
                    content=b"\n".join(lines),
                    headers={"content-type": "application/jsonl"},
                    timeout=300,
                    trust_env=False,
                )
                took_s = time.perf_counter() - begun
            if answer.content.count(b'"status":200') != _LINES:
                raise RuntimeError(f"Not every line was answered: {answer.text[:1_000]}")
            rates.append(_LINES / took_s)
    return rates[0] / rates[1]
