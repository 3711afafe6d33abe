"""The heaviest requests that the limits allow: answered, refused or given up in bounded time and memory."""

from __future__ import annotations

import asyncio
import json
import math
import time
from collections.abc import Callable
from typing import Any

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.runtime import cache
from featherline_service.settings import Settings

Ask = Callable[..., httpx2.Response]
Json = dict[str, Any]
FIT: Json = {
    "shoe": {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}},
    "panel": "outer-quarter",
    "film": "smooth",
}


def polygon(points: list[tuple[float, float]]) -> str:
    """Return path data."""
    return "M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in points) + "Z"


def saw(teeth: int, depth: float) -> str:
    """Return a disc with teeth all around."""
    turns = [(10.0 - depth * (step % 2), math.pi * step / teeth) for step in range(2 * teeth)]
    return polygon([(radius * math.cos(turn), radius * math.sin(turn)) for radius, turn in turns])


def circles(count: int) -> str:
    """Return circles in rows."""
    side = math.ceil(math.sqrt(count))
    return "".join(f"M{k % side} {k // side}a.4 .4 0 1 0 .8 0a.4 .4 0 1 0-.8 0z" for k in range(count))


def path(data: str, height: str = "20 mm") -> Json:
    """Return a drawing as artwork."""
    return {"kind": "path", "d": data, "height": height}


def faults_of(response: httpx2.Response) -> dict[str, str]:
    """Return the faults of a refused request."""
    assert response.status_code == 422, response.text
    return {fault["pointer"]: fault["detail"] for fault in response.json()["errors"]}


def test_many_sharp_teeth_are_measured(ask: Ask) -> None:
    """Each tooth is a tip, and each pair of teeth could face one another."""
    assert "decline" == ask("POST", "/v1/fits", json={**FIT, "artwork": path(saw(600, 1.0))}).json()["fit"]["verdict"]


def test_a_milled_edge_is_refused_with_what_to_do(ask: Ask) -> None:
    """Two million pairs of shallow ridges may face one another, and would fill the memory."""
    faults = faults_of(ask("POST", "/v1/fits", json={**FIT, "artwork": path(saw(1500, 0.02))}))

    assert {"/artwork/d": "The drawing's outline has too many corners near one another: simplify it"} == faults


def test_curves_that_their_size_asks_to_be_drawn_too_finely_are_refused(ask: Ask) -> None:
    """What can be drawn at one height may be too much at another."""
    artwork = path(circles(400), "900 mm")

    faults = faults_of(ask("POST", "/v1/fits", json={**FIT, "artwork": artwork}))

    assert ["/artwork/height"] == list(faults)
    assert faults["/artwork/height"].startswith("At 900 mm it has more detail than can be computed")


def test_a_search_among_too_many_points_is_refused(ask: Ask) -> None:
    """The panel's and the artwork's points count together."""
    panel = {"panel": "tongue", "shape": {"kind": "traced", "d": polygon(_wavy(2000, 80.0))}}
    shoe = {"kind": "measured", "label": "leather", "panels": [panel]}
    asked = {**FIT, "shoe": shoe, "panel": "tongue", "artwork": path(circles(300), "60 mm")}

    faults = faults_of(ask("POST", "/v1/fits", json={**asked, "pose": {"kind": "searched", "turn": "180 deg"}}))

    assert ["/pose"] == list(faults)
    assert "takes too long to search" in faults["/pose"]


def _wavy(count: int, radius: float) -> list[tuple[float, float]]:
    turns = [2.0 * math.pi * step / count for step in range(count)]
    waves = [radius * (1.0 + 0.05 * math.cos(turn * count / 4.0)) for turn in turns]
    return [(wave * math.cos(turn), wave * math.sin(turn)) for wave, turn in zip(waves, turns, strict=True)]


@pytest.fixture
def asked_of() -> Callable[..., httpx2.Response]:
    """Ask a fresh service with these settings."""

    def ask(settings: Settings, asked: Json, *, path: str = "/v1/quotes", **headers: str) -> httpx2.Response:
        async def send() -> httpx2.Response:
            transport = httpx2.ASGITransport(create_app(settings, load()))
            async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
                return await client.post(path, json=asked, headers=headers)

        with capture_logs():
            return asyncio.run(send())

    return ask


def heavy(order: Json) -> Json:
    """Return an order of twelve drawings that take a second each."""
    (mark,) = order["placements"]
    marks = [{**mark, "artwork": path(circles(300 + each), "60 mm")} for each in range(12)]
    return {**order, "placements": marks}


def test_an_order_that_takes_too_long_is_given_up(order: Json, asked_of: Callable[..., httpx2.Response]) -> None:
    """The refusal comes within one drawing's time of the deadline; asking again continues from what was computed."""
    cache.clear()
    begun = time.monotonic()
    late = asked_of(Settings(deadline=0.5), heavy(order))
    took = time.monotonic() - begun

    assert (503, "urn:featherline:problem:too-late", "1") == (
        late.status_code, late.json()["type"], late.headers["retry-after"],
    )  # fmt: skip
    assert took < 10  # all twelve take longer


def test_a_caller_says_how_long_it_waits(order: Json, asked_of: Callable[..., httpx2.Response]) -> None:
    """A quote that is not cached misses a short wait and meets one of half a minute, which the answer confirms."""
    order["placements"][0]["artwork"]["text"] = "TIDE 7"

    at_once = asked_of(Settings(), order, prefer="wait=0")
    patient = asked_of(Settings(), order, prefer='respond-async, wait="30"; foo=bar')

    assert (503, "urn:featherline:problem:too-late") == (at_once.status_code, at_once.json()["type"])
    assert (200, "wait=30") == (patient.status_code, patient.headers["preference-applied"])


def test_a_heavy_line_of_bulk_spoils_no_other(order: Json) -> None:
    """It gets a problem for taking too long, and the lines after it are answered."""
    cache.clear()
    transport_lines = [{"kind": "quote", "request": each} for each in (heavy(order), order)]
    body = "".join(json.dumps(line) + "\n" for line in transport_lines)

    async def send() -> httpx2.Response:
        transport = httpx2.ASGITransport(create_app(Settings(deadline=0.5), load()))
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            headers = {"content-type": "application/jsonl"}
            return await client.post("/v1/bulk", content=body.encode(), headers=headers)

    with capture_logs():
        lines = [json.loads(line) for line in asyncio.run(send()).content.splitlines()]

    assert [503, 200] == [line["status"] for line in lines]
    assert lines[0]["problem"]["type"] == "urn:featherline:problem:too-late"
