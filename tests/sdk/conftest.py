"""Clients in front of functions and of the real service, in this process or in one of its own."""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import httpx2
import pytest
import stamina
import stamina.instrumentation
from anyio.from_thread import BlockingPortal, start_blocking_portal
from msgspec.structs import replace
from service_forks import Service
from structlog.testing import capture_logs

from featherline import AsyncClient, Client
from featherline_service import seal_key_commands
from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.settings import Settings
from featherline_service.signatures import read_keys, temporary_keys
from featherline_service.web.routes.seals import Seals
from featherline_service.web.server.caller_keys import Keys, mint
from featherline_service.web.server.envelope import Envelope

sys.path.append(str(Path(__file__).parent))  # the modules beside this one are no package

import tampered_carts

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)

Handler = Callable[[httpx2.Request], httpx2.Response]
Ask = Callable[..., object]


class InProcess(httpx2.BaseTransport):
    """The transport of a blocking client to an ASGI application in this process."""

    def __init__(self, app: Envelope, portal: BlockingPortal) -> None:
        self._transport = httpx2.ASGITransport(app)
        self._portal = portal

    def handle_request(self, request: httpx2.Request) -> httpx2.Response:
        """Run the application in the portal's event loop, read the whole answer there, and drop its log lines."""
        with capture_logs():
            return self._portal.call(self._answer, request)

    async def _answer(self, request: httpx2.Request) -> httpx2.Response:
        response = await self._transport.handle_async_request(request)
        content = await response.aread()
        # The content is decoded by now.
        headers = [(name, value) for name, value in response.headers.multi_items() if name != "content-encoding"]
        return httpx2.Response(response.status_code, headers=headers, content=content)


class Running(NamedTuple):
    """A service in a process of its own: the process id, and the port on this machine."""

    process: int
    port: int

    @property
    def url(self) -> str:
        """Its address."""
        return f"http://127.0.0.1:{self.port}"


@pytest.fixture(scope="session")
def running() -> Iterator[Running]:
    """A running service with the demo book, shared by all tests of a process."""
    with _run() as running:
        yield running


@pytest.fixture
def just_started() -> Iterator[Running]:
    """A running service with the demo book and empty caches."""
    with _run(from_command) as running:
        yield running


class Keyed(NamedTuple):
    """A service with keys: its address, a key for questions and bulk, and a key with one request a second."""

    url: str
    key: str
    slow: str


@pytest.fixture(scope="session")
def keyed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Keyed]:
    """A running service that wants keys."""
    (key, entry), (slow, slow_entry) = (mint(name, datetime.now(UTC)) for name in ("till", "slow"))
    slow_entry = slow_entry.replace("= 600\nburst = 60", "= 60\nburst = 1").replace("streams = 2", "streams = 1")
    path = tmp_path_factory.mktemp("keys") / "keys.toml"
    path.write_text((entry + slow_entry).replace('["ask"]', '["ask", "bulk"]'))
    with _run(FEATHERLINE_KEYS=str(path)) as running:
        yield Keyed(running.url, key, slow)


class Checkout(NamedTuple):
    """A service with a page's key and a checkout's, what the shop sells by, and carts by what was done to them."""

    url: str
    key: str
    sold: dict[str, str]
    carts: dict[str, tuple[tampered_carts.Cart, ...]]


@pytest.fixture(scope="session")
def checkout(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Checkout]:
    """A running service, and genuine and tampered carts of its page."""
    folder = tmp_path_factory.mktemp("checkout")
    minted = {name: mint(name, datetime.now(UTC)) for name in ("page", "till", "checkout")}
    scopes = {"page": '["price"]\npolicies = ["counter"]', "till": '["price"]', "checkout": '["ask"]'}
    entries = [entry.replace('["ask"] #', f"{scopes[name]} #") for name, (_, entry) in minted.items()]
    keys, seal_keys = folder / "keys.toml", folder / "seal-keys.json"
    keys.write_text("".join(entries).replace("burst = 60", "burst = 100000"))
    seal_key_commands.add(seal_keys, datetime.now(UTC))
    with _run(FEATHERLINE_KEYS=str(keys), FEATHERLINE_SEAL_KEYS=str(seal_keys)) as running:
        with Client(running.url, key=minted["page"][0]) as page, Client(running.url, key=minted["till"][0]) as till:
            ours, theirs = tampered_carts.genuine(page), tampered_carts.genuine(till)
            book = page.catalogue().book
        revised = replace(load(), revision="sha256:" + "7" * 64)
        sealing = Seals(read_keys(seal_keys), timedelta(days=30))
        app = create_app(Settings(), revised, sealing, keys=Keys(keys))
        with (
            start_blocking_portal() as portal,
            Client("http://saltmarsh.test", key=minted["page"][0], transport=InProcess(app, portal)) as page,
        ):
            others = tampered_carts.genuine(page)
        sold = {"audience": "page", "policy": "counter", "book": book}
        carts = {"genuine": ours, **tampered_carts.tampered(ours, theirs, others)}
        yield Checkout(running.url, minted["checkout"][0], sold, carts)


def from_command(environment: dict[str, str]) -> subprocess.Popen[str]:
    """Start the service as its users do; what is forked has the memory of what it is forked from."""
    return subprocess.Popen(
        [sys.executable, "-m", "featherline_service"], env=environment, stderr=subprocess.PIPE, text=True
    )


@contextmanager
def _run(
    start: Callable[[dict[str, str]], Service | subprocess.Popen[str]] = Service, **settings: str
) -> Iterator[Running]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    with start({**environment, **settings, "FEATHERLINE_PORT": "0"}) as process:
        assert process.stderr is not None
        port = json.loads(process.stderr.readline())["port"]
        reader = threading.Thread(target=process.stderr.read)  # of the log, or a full pipe would block the service
        reader.start()
        try:
            yield Running(process.pid, port)
        finally:
            process.kill()
            reader.join(10)


@pytest.fixture
def anyio_backend() -> str:
    """The event loop of asynchronous tests."""
    return "asyncio"


@pytest.fixture(scope="session")
def app() -> Envelope:
    """The real service with the demo book; its clock stands at noon."""
    return create_app(Settings(), sealing=Seals(temporary_keys(), timedelta(days=30), lambda: NOON))


@pytest.fixture(scope="session")
def service(app: Envelope) -> Iterator[InProcess]:
    """A transport of a blocking client to the real service."""
    with start_blocking_portal() as portal:
        yield InProcess(app, portal)


@pytest.fixture
def client(service: InProcess) -> Iterator[Client]:
    """A blocking client of the real service."""
    with Client("http://saltmarsh.test", transport=service) as client:
        yield client


@pytest.fixture(params=["Client", "AsyncClient"])
def ask(request: pytest.FixtureRequest) -> Ask:
    """Call a method of a client in front of a handler, `book` by default: once for each client."""

    def blocking(handler: Handler, method: str = "book", *args: object, **options: object) -> object:
        with Client("http://saltmarsh.test", transport=httpx2.MockTransport(handler), **options) as client:
            return getattr(client, method)(*args)

    def asynchronous(handler: Handler, method: str = "book", *args: object, **options: object) -> object:
        async def run() -> object:
            transport = httpx2.MockTransport(handler)
            async with AsyncClient("http://saltmarsh.test", transport=transport, **options) as client:
                return await getattr(client, method)(*args)

        return asyncio.run(run())

    return blocking if request.param == "Client" else asynchronous


@pytest.fixture
def waits() -> Iterator[list[float]]:
    """The waits before retries [s], in their order."""
    waits: list[float] = []
    stamina.instrumentation.set_on_retry_hooks([lambda details: waits.append(details.wait_for)])
    yield waits
    stamina.instrumentation.set_on_retry_hooks(None)


@pytest.fixture
def no_waits() -> Iterator[None]:
    """Retries without waits."""
    with stamina.set_testing(True, attempts=10, cap=True):
        yield
