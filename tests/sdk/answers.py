"""Write the example answers beside the example requests: ``python tests/sdk/answers.py``.

They are the answers of the real service with the demo book, in this process; a test compares them with fresh ones.
They are in the SDK's package, because `featherline.testing` answers with them; `recorded` has files for that alone, one
of which is the index from requests to answers.
"""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

import httpx2
import msgspec
from joserfc.jwk import OKPKey
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.settings import Settings
from featherline_service.signatures import SealKeys
from featherline_service.web.routes.seals import Seals

EXAMPLES: Final = Path(__file__).parents[2] / "openapi" / "examples"
ANSWERS: Final = (
    ("quote-request", "/v1/quotes", "quote-answer"),
    ("walk-in", "/v1/quotes", "walk-in-answer"),
    ("clog", "/v1/quotes", "clog-answer"),
    ("recipe-request", "/v1/recipes", "recipe-answer"),
    ("fit-request", "/v1/fits", "fit-answer"),
    ("fit-request-anchored", "/v1/fits", "fit-answer-anchored"),
    ("artwork-request", "/v1/artworks", "artwork-answer"),
    ("artwork-request-drawing", "/v1/artworks", "artwork-answer-drawing"),
    ("cost-request", "/v1/costs", "cost-answer"),
    ("cost-request-measures", "/v1/costs", "cost-answer-measures"),
    ("trial-request", "/v1/trials", "trial-answer"),
    ("calibration-request", "/v1/calibrations", "calibration-answer"),
    ("roster-request", "/v1/rosters", "roster-answer"),
    ("from-price-request", "/v1/from-prices", "from-price-answer"),
    ("matrix-request", "/v1/matrices", "matrix-answer"),
    ("quote-request", "/v1/offers", "offer-answer"),
    ("too-long", "/v1/offers", "too-long-answer"),
    ("roster-request", "/v1/offers/rosters", "roster-offer-answer"),
    ("from-price-request", "/v1/offers/from-prices", "from-price-offer-answer"),
    ("fit-request", "/v1/offers/fits", "fit-offer-answer"),
    ("picture-request", "/v1/pictures", "picture-answer"),
    ("hand-price-request", "/v1/hand-prices", "hand-price-answer"),
    ("bulk-request", "/v1/bulk", "bulk-answer"),
    ("seal-check-request", "/v1/seals/check", "seal-check-answer"),
)
READ: Final = {
    "/v1/book": "book-answer",
    "/v1/catalogue": "catalogue-answer",
    "/v1/book/policies": "records-answer",
    "/v1/book/films": "recorded/films",
    "/v1/book/shoes": "recorded/shoes",
    "/v1/book/rates": "recorded/rates",
    "/v1/book/sources": "recorded/sources",
    "/v1/book/films/smooth": "record-answer",
    "/.well-known/jwks.json": "seal-keys-answer",
    "/.well-known/api-catalog": "api-catalog-answer",
    "/health/live": "live-answer",
    "/health/ready": "ready-answer",
}


# The key of RFC 8037 appendix A.1, which is public: no service seals with it.
KNOWN_KEY: Final = OKPKey.import_key(
    {
        "kty": "OKP",
        "crv": "Ed25519",
        "d": "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A",
        "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
        "kid": "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k",
    }
)
NOON: Final = datetime(2026, 6, 1, 12, tzinfo=UTC)
SEALS: Final = Seals(SealKeys(keys=(KNOWN_KEY,), temporary=False), timedelta(days=30), lambda: NOON)


async def answers() -> dict[str, bytes]:
    """Return the answers to the example requests and GETs, by file: as indented JSON, or as lines."""
    fresh = {}
    transport = httpx2.ASGITransport(create_app(Settings(deadline=60), sealing=SEALS))
    async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
        for asked, path, name in ANSWERS:
            kind = "jsonl" if path == "/v1/bulk" else "json"
            request = (EXAMPLES / f"{asked}.{kind}").read_bytes()
            # The problems of lines have the request's id, which must be the same each time.
            headers = {"Content-Type": f"application/{kind}", "X-Request-Id": "an-example"}
            response = await client.post(path, content=request, headers=headers)
            response.raise_for_status()
            content = response.content
            fresh[f"{name}.{kind}"] = content if kind == "jsonl" else msgspec.json.format(content, indent=2) + b"\n"
        for path, name in READ.items():
            response = await client.get(path)
            response.raise_for_status()
            fresh[f"{name}.json"] = msgspec.json.format(response.content, indent=2) + b"\n"
    fresh["recorded/index.json"] = msgspec.json.format(msgspec.json.encode(_index()), indent=2) + b"\n"
    return fresh


def _index() -> dict[str, list[dict[str, str]]]:
    """Return the files of requests and answers, by path."""

    def named(name: str, path: str) -> str:
        return f"{name}.{'jsonl' if path == '/v1/bulk' else 'json'}"

    return {
        "asked": [
            {"path": path, "request": named(asked, path), "answer": named(name, path)} for asked, path, name in ANSWERS
        ],
        "read": [{"path": path, "answer": named(name, path)} for path, name in READ.items()],
    }


if __name__ == "__main__":
    with capture_logs():
        fresh = asyncio.run(answers())
    for name, content in fresh.items():
        (EXAMPLES / name).write_bytes(content)
