"""What customers typed is in no log line and no metric, whatever fails."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import httpx2
import pytest

Service = Any  # of conftest.py

EXAMPLES: Final = Path(__file__).parents[2] / "openapi" / "examples"
ORDER: Final[dict[str, Any]] = json.loads((EXAMPLES / "quote-request.json").read_text(encoding="utf-8"))
NAME: Final = "ZEPHYRINE"
JSON: Final = {"content-type": "application/json"}


@pytest.fixture
def service(running: Any) -> Iterator[Service]:  # noqa: ANN401 - of conftest.py
    """Run a service with the plug-ins that fail."""
    with running("saltmarsh-leaks") as service:
        yield service


def order(text: str = NAME, **more: object) -> dict[str, Any]:
    """Return an order with a text."""
    (mark, *_) = ORDER["placements"]
    return {**ORDER, "placements": [{**mark, "artwork": {**mark["artwork"], "text": text}}], **more}


@pytest.mark.slow
def test_marked_names_are_in_no_line(service: Service) -> None:
    """Sent in texts, in names of members, as ids of records, in keys, queries and paths; told are problem and place."""
    malformed = json.dumps(order())[:-1].encode()
    roster = {"order": order("{name}"), "rows": [{"fields": {"name": NAME, NAME.lower(): NAME}, "pairs": 0}]}
    posts: list[tuple[str, bytes, str | None]] = [
        ("/v1/quotes", malformed, "malformed-body"),
        ("/v1/quotes", json.dumps(order(**{NAME: 1})).encode(), "refused"),
        ("/v1/quotes", json.dumps(order(press=NAME.lower())).encode(), "refused"),
        ("/v1/quotes", json.dumps(order(f"LEAK {NAME}")).encode(), "plugin-failed"),
        ("/v1/quotes", json.dumps({**ORDER, "policy": "raises", "reference": NAME}).encode(), "plugin-failed"),
        ("/v1/rosters", json.dumps(roster).encode(), "refused"),
        (f"/v1/quotes?{NAME}=1", json.dumps(order()).encode(), "unknown-parameter"),
        (f"/v1/{NAME}", b"{}", "no-such-path"),
        ("/v1/quotes", json.dumps(order()).encode(), None),
    ]
    lines = [{"kind": "quote", "id": NAME, "request": asked} for asked in (order(press=NAME.lower()), {NAME: 1})]
    with httpx2.Client(base_url=service.url, timeout=60) as client:
        for path, body, _ in posts:
            client.post(path, content=body, headers={**JSON, "authorization": f"Bearer {NAME}"})
        bulk = b"\n".join(json.dumps(line).encode() for line in lines) + b"\nnonsense of " + NAME.encode()
        client.post("/v1/bulk", content=bulk, headers={"content-type": "application/jsonl"})
        client.get(f"/v1/book/films/{NAME.lower()}")
        metrics = client.get("/metrics").text
    finished = _finished(service, len(posts) + 3)

    assert NAME.lower() not in json.dumps(service._lines).lower()
    assert NAME.lower() not in metrics.lower()
    assert [problem for *_, problem in posts] == [line.get("problem") for line in finished[: len(posts)]]
    assert ["/*", "/press"] == [line["pointer"] for line in finished[1:3]]
    (refused,) = (line for line in service._lines if line["event"] == "bulk.refused")
    assert {"refused": 2, "malformed-body": 1} == refused["problems"]


def _finished(service: Service, count: int) -> list[dict[str, Any]]:
    """Return the lines of finished requests, once there are so many."""
    for _ in range(500):
        finished = [line for line in list(service._lines) if line["event"] == "request.finished"]
        if len(finished) >= count:
            return finished
        time.sleep(0.02)
    raise AssertionError("the log tells of fewer requests")
