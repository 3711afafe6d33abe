"""One browser for the tests of pages, services that are stopped and started, and what holds on the counter's page."""

from __future__ import annotations

import contextlib
import http.client
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest

sys.path.append(str(Path(__file__).parents[1]))  # the modules beside this one are no package
from free_ports import HOST, free_port
from service_forks import Service

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

PATIENCE_MS: Final = 30_000
PATIENT: Final = {"FEATHERLINE_DEADLINE": "30"}
"""No test here is of times: a busy machine takes longer than the service gives itself."""
_WITHIN_S: Final = 30.0


class Counter:
    """A service on a port of its own, which can be stopped and started again."""

    def __init__(self) -> None:
        self.port = free_port()
        self.url = f"http://{HOST}:{self.port}"
        self._service: Service | None = None

    def start(self, settings: Mapping[str, str] | None = None) -> None:
        """Start the service, and wait until it answers."""
        inherited = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
        wanted = (
            inherited
            | {"FEATHERLINE_PORT": str(self.port), "FEATHERLINE_PROCESSES": "1", **PATIENT}
            | dict(settings or {})
        )
        with Path(os.devnull).open("w") as nowhere:
            self._service = Service(wanted, stderr=nowhere.fileno())
        deadline = time.monotonic() + _WITHIN_S
        while not self._answers():
            assert time.monotonic() < deadline, "The service does not answer"
            time.sleep(0.02)

    def _answers(self) -> bool:
        with contextlib.closing(http.client.HTTPConnection(HOST, self.port, timeout=5)) as connection:
            try:
                connection.request("GET", "/health/ready")
                return connection.getresponse().status == 200
            except OSError:
                return False

    def stop(self) -> None:
        """Stop the service at once."""
        if self._service is not None:
            self._service.kill()
            self._service.wait(_WITHIN_S)
            self._service = None


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Return the system's browser: nothing is downloaded."""
    program = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if program is None:
        pytest.skip(
            "Chromium is not installed (macOS: brew install chromium; Debian, Ubuntu: sudo apt install chromium)"
        )
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - it takes long, and is not wanted elsewhere

    with sync_playwright() as playwright:
        options = (
            ["--no-sandbox", "--disable-gpu"] if hasattr(os, "geteuid") and os.geteuid() == 0 else ["--disable-gpu"]
        )
        running = playwright.chromium.launch(executable_path=program, args=options)
        yield running
        running.close()


@pytest.fixture(scope="module")
def counter() -> Iterator[Counter]:
    """Return a service that runs."""
    running = Counter()
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="module")
def started() -> Iterator[Callable[[Mapping[str, str]], Counter]]:
    """Start a service with settings of its own."""
    with contextlib.ExitStack() as stack:

        def start(settings: Mapping[str, str]) -> Counter:
            running = Counter()
            running.start(settings)
            stack.callback(running.stop)
            return running

        yield start


@pytest.fixture
def opened(browser: Browser, counter: Counter) -> Iterator[Callable[..., Page]]:
    """Open the counter in a language; at the end, nothing was fetched from elsewhere and no script had failed."""
    contexts: list[BrowserContext] = []
    fetched: list[str] = []
    failed: list[str] = []

    def open_page(language: str = "en", width: int = 1100, height: int = 700) -> Page:
        context = browser.new_context(viewport={"width": width, "height": height}, reduced_motion="reduce")
        context.set_default_timeout(PATIENCE_MS)
        contexts.append(context)
        page = context.new_page()
        page.on("request", lambda request: fetched.append(request.url))
        page.on("pageerror", lambda error: failed.append(str(error)))
        page.goto(f"{counter.url}/counter?lang={language}")
        page.wait_for_selector("#shoe legend, dialog[open]")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert [] == [url for url in fetched if not url.startswith((counter.url, f"blob:{counter.url}"))]
    assert [] == failed
