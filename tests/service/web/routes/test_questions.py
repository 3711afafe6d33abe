"""What is logged of the questions."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path

import httpx2
from msgspec.structs import replace
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.questions.record_ranges import ADVICE
from featherline_service.settings import Settings

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"


def test_a_record_that_is_used_outside_its_range_is_logged_once_and_counted_for_each_answer() -> None:
    """The shoe is made up to EU 47; offers and other requests use the same record."""
    request = json.loads((EXAMPLES / "fit-request.json").read_text(encoding="utf-8"))
    request["shoe"] = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "UK", "value": "12.5"}}
    other = {**request, "clearance": "4 mm"}
    app = create_app(Settings())

    async def ask() -> list[httpx2.Response]:
        asked = (("/v1/fits", request), ("/v1/fits", request), ("/v1/fits", other), ("/v1/offers/fits", request))
        async with httpx2.AsyncClient(transport=httpx2.ASGITransport(app), base_url="http://saltmarsh.test") as client:
            return [*[await client.post(path, json=body) for path, body in asked], await client.get("/metrics")]

    with capture_logs() as lines:
        *answers, metrics = asyncio.run(ask())
    warnings = [line for line in lines if line["log_level"] == "warning"]

    assert [200, 200, 200, 200] == [answer.status_code for answer in answers]
    assert [
        {
            "event": "book.outside-range",
            "log_level": "warning",
            "record": "shoes/regatta-deck",
            "property": "sizes",
            "value": 47.08,
            "lowest": 36.0,
            "highest": 47.0,
            "beyond": 0.08,
            "unit": "EU",
            "book": answers[0].json()["book"],
            "advice": ADVICE["sizes"],
        }
    ] == warnings
    assert 'featherline_outside_range_total{property="sizes",record="shoes/regatta-deck"} 4.0' in metrics.text


def test_a_card_is_in_the_language_of_the_shop_whoever_asks() -> None:
    """Its head says so; JSON of the same order follows the reader, and a drawing is in English."""
    demo = load()
    book = replace(demo, bench=replace(demo.bench, language="de"))
    request = json.loads((EXAMPLES / "quote-request.json").read_text(encoding="utf-8"))
    app = create_app(Settings(), book)

    async def ask() -> list[httpx2.Response]:
        async with httpx2.AsyncClient(transport=httpx2.ASGITransport(app), base_url="http://saltmarsh.test") as client:
            return [
                await client.post("/v1/quotes", json=request, headers={"accept": form, "accept-language": "fr"})
                for form in ("text/html", "application/json", "image/svg+xml")
            ]

    with capture_logs():
        card, quote, sheet = asyncio.run(ask())
    assert ["de", "fr", "en"] == [answer.headers["content-language"] for answer in (card, quote, sheet)]
    assert '<html lang="de">' in card.text
    assert "Schuh nicht vorwärmen." in card.text
    steps = [step["sentence"] for step in quote.json()["pressings"][0]["recipe"]["steps"]]
    assert "Ne préchauffez pas la chaussure." in steps
