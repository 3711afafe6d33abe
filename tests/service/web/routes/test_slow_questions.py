"""Questions that take seconds: beside the line of the others, few at a time, and not in bulk."""

from __future__ import annotations

import asyncio
import json
import subprocess
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.questions.quote import quotes
from featherline_service.settings import Settings
from featherline_service.web.answering.worker import MOST_LONG_IN_LINE, Worker
from featherline_service.web.http.problems import ProblemError

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"

Json = dict[str, Any]


def order(**more: object) -> Json:
    """Return the example order with more to it."""
    found: Json = json.loads((EXAMPLES / "quote-request.json").read_text(encoding="utf-8"))
    return {**found, **more}


def ask(asking: Callable[[httpx2.AsyncClient], Any]) -> Any:  # noqa: ANN401 - what is asked
    """Return what comes of asking the real service."""

    async def run() -> Any:  # noqa: ANN401
        transport = httpx2.ASGITransport(create_app(Settings(), load()))
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test", timeout=60) as client:
            return await asking(client)

    with capture_logs():
        return asyncio.run(run())


def test_others_do_not_wait_for_a_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """A quote that is asked for while another searches is answered first."""
    gate = threading.Event()

    def held(*_: object, **__: object) -> None:
        gate.wait(20)
        raise subprocess.SubprocessError

    monkeypatch.setattr("featherline_service.cost.nesting.outline_nesting.subprocess.run", held)

    async def both(client: httpx2.AsyncClient) -> tuple[bool, int, int]:
        body = {"kind": "order", "order": order(outlines="1 s", pairs=40)}  # more than the offcuts take
        long = asyncio.create_task(client.post("/v1/costs", json=body))
        await asyncio.sleep(0.1)
        short = await client.post("/v1/costs", json={"kind": "order", "order": order(pairs=2)})
        waiting = not long.done()
        gate.set()
        return waiting, short.status_code, (await long).status_code

    assert (True, 200, 200) == ask(both)


def test_in_bulk_a_search_is_refused_and_spoils_no_line() -> None:
    """It says to post this alone."""
    lines = [{"kind": "quote", "request": each} for each in (order(outlines="1 s"), order())]
    body = "".join(json.dumps(line) + "\n" for line in lines).encode()
    answer = ask(lambda client: client.post("/v1/bulk", content=body, headers={"content-type": "application/jsonl"}))
    first, second = map(json.loads, answer.content.splitlines())

    assert (422, "/request") == (first["status"], first["problem"]["errors"][0]["pointer"])
    assert "post this alone" in first["problem"]["errors"][0]["detail"]
    assert 200 == second["status"]


def test_a_long_line_is_short() -> None:
    """One more than may be in line is told to come again."""
    gate = threading.Event()

    async def run() -> tuple[int, int]:
        worker = Worker()
        waiting = [asyncio.create_task(worker.run_long(lambda: gate.wait(10))) for _ in range(MOST_LONG_IN_LINE)]
        await asyncio.sleep(0.05)
        with pytest.raises(ProblemError, match="Too many long questions") as caught:
            await worker.run_long(lambda: None)
        gate.set()
        await asyncio.gather(*waiting)
        await worker.run_long(lambda: None)
        return caught.value.kind.status, len(waiting)

    assert (503, MOST_LONG_IN_LINE) == asyncio.run(run())


def test_a_mark_that_is_hidden_by_escapes_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """JSON may write a name's letters as numbers: the answer is computed beside the line all the same."""
    threads: list[str] = []
    quote_of = quotes.quote_of

    def noted(*arguments: Any) -> Any:  # noqa: ANN401 - as the job's
        threads.append(threading.current_thread().name)
        return quote_of(*arguments)

    monkeypatch.setattr("featherline_service.questions.costs.quotes.quote_of", noted)
    text = json.dumps({"kind": "order", "order": order(outlines="1 s", pairs=3)}).replace("outlines", r"\u006futlines")
    headers = {"content-type": "application/json"}
    answer = ask(lambda client: client.post("/v1/costs", content=text.encode(), headers=headers))

    assert 200 == answer.status_code
    assert threads
    assert all(name.startswith("long-job") for name in threads)
