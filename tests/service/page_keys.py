"""A service with keys of pages and of a shop, asked over ASGI."""

from __future__ import annotations

import asyncio
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import httpx2
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.shop_book import Book
from featherline_service.settings import Settings
from featherline_service.web.server.caller_keys import Keys, mint

NOON: Final = datetime(2026, 6, 1, 12, tzinfo=UTC)
ORIGIN: Final = "https://shop.saltmarsh.test"
SCOPES: Final = {
    "page": '["price"]\npolicies = ["letters", "counter"]\nowner = "customer"\nfilms = ["smooth"]\ncurrency = "EUR"',
    "till": '["price"]',
    "site": f'["price"]\norigins = ["{ORIGIN}"]',
    "ask": '["ask"]',
    "shop": '["ask", "shop"]',
    "watch": '["watch"]',
    "bulk": '["bulk"]\nfilms = ["flake"]',
}


class Shop:
    """A service, and its keys by their ids."""

    def __init__(self, book: Book, folder: Path) -> None:
        minted = {name: mint(name, NOON) for name in SCOPES}
        self.keys = {name: key for name, (key, _) in minted.items()}
        entries = [text.replace('["ask"] #', f"{SCOPES[name]} #") for name, (_, text) in minted.items()]
        path = folder / "keys.toml"
        path.write_text("".join(entries).replace("burst = 60", "burst = 100000"))
        self._app = create_app(Settings(deadline=60), book, keys=Keys(path, lambda: NOON))

    def ask(self, method: str, path: str, key: str, body: object = None, **headers: str) -> httpx2.Response:
        """Return the answer to a request of a key; a body of bytes is sent as it is."""

        async def run() -> httpx2.Response:
            transport = httpx2.ASGITransport(self._app)
            async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
                content = body if isinstance(body, bytes) else None if body is None else json.dumps(body).encode()
                kind = "application/jsonl" if path == "/v1/bulk" else "application/json"
                sent = {"authorization": f"Bearer {self.keys[key]}", "content-type": kind, **headers}
                return await client.request(method, path, content=content, headers=sent)

        with capture_logs():
            return asyncio.run(run())

    def get(self, path: str, key: str, **headers: str) -> httpx2.Response:
        """Return the answer to a GET."""
        return self.ask("GET", path, key, **headers)

    def post(self, path: str, key: str, body: object, **headers: str) -> httpx2.Response:
        """Return the answer to a POST."""
        return self.ask("POST", path, key, body, **headers)
