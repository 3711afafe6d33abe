"""Callers behind the proxy while prices change: each sees one change and none back, and its cart keeps its prices."""

from __future__ import annotations

import asyncio
import json
import os
import time
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Final, NamedTuple

import httpx2
from load import BY_NIGHT, EXAMPLES, Connection, unsealed
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import demo_folder, load_timetable
from featherline_service.book.shop_book import Book
from featherline_service.settings import Settings

CALLERS: Final = 8
PAUSE_S: Final = 0.02 if BY_NIGHT else 0.05
LEAST_ANSWERS: Final = int(os.environ.get("FAULT_REQUESTS", "200"))
_LONGEST_S: Final = 1200.0
_ORDER: Final = json.loads((EXAMPLES / "quote-request.json").read_bytes())
_NAMES: Final = ("MARLOW\n7", "TIDE\n3", "EBB\n11", "GULL\n4")


class Seen(NamedTuple):
    """An answer that a caller got: when it asked and when it was answered, by the clock, and of which revision."""

    asked: float
    answered: float
    revision: str


class Caller(NamedTuple):
    """What a caller saw without naming a revision, and how often its cart was priced by the revision that it names."""

    seen: list[Seen]
    pinned: list[Seen]
    wrong: list[str]
    lost: list[str]


class Prices(NamedTuple):
    """The revisions of a book in the order of time, and the right answer to each order by each of them."""

    revisions: tuple[str, ...]
    right: Mapping[tuple[str, bytes], bytes]


def write_prices(folder: Path, amount: str, change: datetime) -> Path:
    """Write a folder by which the price at the counter is an amount from an instant on."""
    (folder / "policies").mkdir(parents=True, exist_ok=True)
    prices = (demo_folder() / "policies" / "policies.toml").read_text("utf-8")
    (folder / "policies" / "policies.toml").write_text(prices.replace('"9.90"', f'"{amount}"'), "utf-8")
    (folder / "book.toml").write_text(f'mode = "overlay"\nvalid_from = {change:%Y-%m-%dT%H:%M:%SZ}\n')
    return folder


def right_answers(*folders: Path) -> Prices:
    """Return the right answers by every revision of a book."""
    books = load_timetable(folders).books
    right = {(book.revision, body): answer for book in books for body, answer in asyncio.run(_answers(book)).items()}
    return Prices(tuple(book.revision for book in books), right)


async def _answers(book: Book) -> dict[bytes, bytes]:
    """Return the right answers to the orders, without seal and without until when they hold."""
    answers = {}
    with capture_logs():
        transport = httpx2.ASGITransport(create_app(Settings(), book))  # type: ignore[arg-type]  # an ASGI application
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            for body in _orders():
                answer = await client.post("/v1/quotes", content=body, headers={"content-type": "application/json"})
                answers[body] = _lasting(answer.content)
    return answers


def _orders() -> list[bytes]:
    (placement,) = _ORDER["placements"]
    return [
        json.dumps(
            {**_ORDER, "placements": [{**placement, "artwork": {**placement["artwork"], "text": name}}]}
        ).encode()
        for name in _NAMES
    ]


def _lasting(answer: bytes) -> bytes:
    """Return an answer without its seal and without until when its book is in force, which replicas learn of later."""
    body, _, _ = unsealed(answer).partition(b',"book_until":')
    return body


def ask_while(port: int, prices: Prices, happening: Callable[[], None]) -> list[Caller]:
    """Have callers ask on connections of their own meanwhile, and go on until they have enough answers after it."""
    callers = [Caller([], [], [], []) for _ in range(CALLERS)]
    done = asyncio.Event()

    async def happen() -> None:
        try:
            await asyncio.to_thread(happening)
            ended, until = time.time(), time.monotonic() + _LONGEST_S
            while not _have_enough(callers, ended) and time.monotonic() < until:  # noqa: ASYNC110 - lists wake nobody
                await asyncio.sleep(PAUSE_S)
        finally:
            done.set()

    async def run() -> None:
        await asyncio.gather(
            happen(), *(_call(port, prices, number, caller, done) for number, caller in enumerate(callers))
        )

    asyncio.run(run())
    return callers


async def _call(port: int, prices: Prices, number: int, caller: Caller, done: asyncio.Event) -> None:
    connection, orders, turn = Connection(port), _orders(), number
    pin: str | None = None
    while not done.is_set():
        body = orders[turn % len(orders)]
        for revision in (None, pin) if pin else (None,):
            asked = time.time()
            try:
                async with asyncio.timeout(30):
                    status, answer = await connection.ask(_request(body, revision))
            except (OSError, EOFError, TimeoutError) as error:
                connection.close()
                caller.lost.append(repr(error))
                continue
            if status != httpx2.codes.OK:
                caller.lost.append(f"{status} {answer[:300]!r}")
                continue
            answered_by = json.loads(answer)["book"]
            seen = Seen(asked, time.time(), answered_by)
            (caller.seen if revision is None else caller.pinned).append(seen)
            if prices.right.get((answered_by, body)) != _lasting(answer) or revision not in (None, answered_by):
                caller.wrong.append(f"{revision} {answer[:300]!r}")
            pin = pin or answered_by
        turn += 1
        await asyncio.sleep(PAUSE_S)
    connection.close()


def _request(body: bytes, revision: str | None) -> bytes:
    pin = "" if revision is None else f"book-revision: {revision}\r\n"
    head = f"POST /v1/quotes HTTP/1.1\r\nhost: saltmarsh.test\r\ncontent-type: application/json\r\n{pin}"
    return f"{head}content-length: {len(body)}\r\n\r\n".encode() + body


def answered(caller: Caller) -> int:
    """Return how many answers a caller got."""
    return len(caller.seen) + len(caller.pinned)


def _have_enough(callers: list[Caller], ended: float) -> bool:
    """Return whether every caller has an answer to what it asked after an instant, and all have enough together."""
    lasts = [seen[-1:] for caller in callers for seen in (caller.seen, caller.pinned)]
    return all(last and last[0].asked >= ended for last in lasts) and sum(map(answered, callers)) >= LEAST_ANSWERS


def changes(caller: Caller) -> list[str]:
    """Return the revisions that a caller saw, each once for as long as it did not change."""
    revisions = [seen.revision for seen in caller.seen]
    return [revision for before, revision in zip([None, *revisions], revisions, strict=False) if revision != before]
