"""Rosters over HTTP: refused, sealed, and no hindrance to others."""

from __future__ import annotations

import asyncio
import itertools
import json
import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2
import msgspec
import pytest
from structlog.testing import capture_logs

from featherline import seals
from featherline.wire import Roster
from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.settings import Settings
from featherline_service.signatures import temporary_keys
from featherline_service.web.routes.seals import Seals

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
KEYS = temporary_keys()

Json = dict[str, Any]


@pytest.fixture(scope="module")
def book() -> Book:
    """The demo book."""
    return load()


@pytest.fixture
def roster() -> Json:
    """The example request."""
    found: Json = json.loads((EXAMPLES / "roster-request.json").read_text(encoding="utf-8"))
    return found


def ask(book: Book, *asked: tuple[str, Json]) -> list[tuple[float, httpx2.Response]]:
    """Return when each of some requests sent at once was answered, and with what."""

    async def run() -> list[tuple[float, httpx2.Response]]:
        app = create_app(Settings(deadline=60), book, Seals(KEYS, timedelta(days=30), lambda: NOON))
        transport = httpx2.ASGITransport(app)
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test", timeout=60) as client:

            async def one(path: str, body: Json) -> tuple[float, httpx2.Response]:
                answer = await client.post(path, json=body)
                return asyncio.get_running_loop().time(), answer

            return await asyncio.gather(*(one(path, body) for path, body in asked))

    with capture_logs():
        return asyncio.run(run())


def test_a_roster_is_answered_row_by_row(book: Book, roster: Json) -> None:
    """One request, one answer, every row in it; what cannot be done is no error."""
    ((_, answer),) = ask(book, ("/v1/rosters", roster))

    assert 200 == answer.status_code
    assert ["ready", "ready", "decline", None, "ready"] == [row["verdict"] for row in answer.json()["rows"]]


def test_the_total_is_sealed_where_that_is_asked(book: Book, roster: Json) -> None:
    """The seal vouches for the total, and for this roster by its digest; a roster with a faulty row has none."""
    ((_, faulty),) = ask(book, ("/v1/rosters", roster))
    assert faulty.json()["price"]["leaves_out"] == [2, 3]
    assert faulty.json()["seal"] is None
    roster = {**roster, "rows": [row for row in roster["rows"] if "number" in row["fields"]]}
    (_, sealed), (_, plain) = ask(book, ("/v1/rosters", roster), ("/v1/rosters", {**roster, "seal": False}))
    checked = seals.check(sealed.json()["seal"]["text"], KEYS.published(), at=NOON)
    assert checked.quote is not None

    assert plain.json()["seal"] is None
    assert ("valid", "roster", None) == (checked.status, checked.quote.asked, checked.quote.order)
    assert sealed.json()["price"]["total"]["amount"] == checked.quote.total.amount
    assert seals.digest(msgspec.convert(roster, Roster)) == checked.quote.digest


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        (lambda roster: roster | {"rows": roster["rows"][:1] * 501}, "/rows"),
        (lambda roster: roster | {"rows": []}, "/rows"),
        (lambda roster: roster | {"rows": [{"fields": {"Name": "EDDY"}}]}, "/rows/0/fields/Name"),
        (lambda roster: roster | {"rows": [{"fields": {"name": 7}}]}, "/rows/0/fields/name"),
        (lambda roster: roster | {"rows": [{"fields": 7}]}, "/rows/0/fields"),
        (lambda roster: roster | {"rows": [{"fields": {f"f{at}": "" for at in range(13)}}]}, "/rows/0/fields"),
        (lambda roster: roster | {"rows": [{"fields": {"name": "EDDY"}, "pairs": 0}]}, "/rows/0/pairs"),
        (lambda roster: roster | {"rows": [{"fields": {}}]}, "/order/placements/0/artwork/text"),
        (lambda roster: roster | {"order": {**roster["order"], "policy": "no-such"}}, "/order/policy"),
    ],
)
def test_what_is_no_roster_is_refused_at_its_pointer(book: Book, roster: Json, change: Any, pointer: str) -> None:  # noqa: ANN401
    """Too many rows, none, fields that are none, and an order that cannot be."""
    ((_, answer),) = ask(book, ("/v1/rosters", change(roster)))

    assert 422 == answer.status_code
    assert pointer in [fault["pointer"] for fault in answer.json()["errors"]]


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="reads /proc")
def test_a_roster_of_two_hundred_rows_takes_little_memory() -> None:
    """In one request, of a service that has just started: the peak is less than 150 MB above what it has idle."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    command = [sys.executable, "-m", "featherline_service"]
    example: Json = json.loads((EXAMPLES / "roster-request.json").read_text(encoding="utf-8"))
    rows = [
        {
            "fields": {"name": f"{name}{chr(65 + at % 26)}", "number": str(at)},
            "size": {"system": "EU", "value": str(40 + at % 7)},
        }
        for at, name in enumerate(itertools.islice(itertools.cycle(("MARLO", "TIDEW", "SHOAL", "CREW")), 200))
    ]
    with subprocess.Popen(
        command,
        env={**environment, "FEATHERLINE_PORT": "0", "FEATHERLINE_DEADLINE": "60"},
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stderr is not None
        try:
            port = json.loads(process.stderr.readline())["port"]
            idle = memory_mb(process.pid, "VmRSS")
            answer = httpx2.post(f"http://127.0.0.1:{port}/v1/rosters", json={**example, "rows": rows}, timeout=60)
            peak = memory_mb(process.pid, "VmHWM")
        finally:
            process.kill()

    assert (200, 200) == (answer.status_code, len(answer.json()["rows"]))
    assert peak - idle < 150


def memory_mb(process: int, field: str) -> float:
    """Return a field of what the system says of a process's memory."""
    status = Path(f"/proc/{process}/status").read_text(encoding="utf-8")
    (line,) = (line for line in status.splitlines() if line.startswith(f"{field}:"))
    return int(line.split()[1]) * 1024 / 1e6
