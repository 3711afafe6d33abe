"""Processes of the running service are killed: no question is lost, and none is answered wrongly.

``KILLS=100 pytest tests/contract/test_kills.py`` kills as many; unset, fewer.
"""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import random
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple

import httpx2
import psutil
import pytest
import service_forks

from featherline_service.app import compute_by
from featherline_service.book.loader import load
from featherline_service.serving import NO_TEMPLATE
from featherline_service.web.answering.outcomes import Asked, Success, decode, encode

KILLS: Final = int(os.environ.get("KILLS", "12"))
EXAMPLES: Final = Path(__file__).parents[2] / "openapi" / "examples"
FIT: Final = json.loads((EXAMPLES / "fit-request.json").read_text(encoding="utf-8"))


class Service(NamedTuple):
    """A running service."""

    process: service_forks.Service
    url: str

    def template(self) -> psutil.Process:
        """Return the process that makes others."""
        (template,) = psutil.Process(self.process.pid).children()
        return template


@contextlib.contextmanager
def running() -> Iterator[Service]:
    """Run the service on a free port; what is left of it in the end is a fault."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    own = {"FEATHERLINE_PORT": "0", "FEATHERLINE_PROCESSES": "2"}
    with service_forks.Service(environment | own) as process:
        assert process.stderr is not None
        try:
            line = process.stderr.readline()
            reader = threading.Thread(target=process.stderr.read)
            reader.start()
            family = psutil.Process(process.pid).children(recursive=True)
            yield Service(process, f"http://{json.loads(line)['host']}:{json.loads(line)['port']}")
            family += psutil.Process(process.pid).children(recursive=True) if process.poll() is None else []
        finally:
            process.terminate()
            process.wait(30)
            reader.join()
    assert not psutil.wait_procs(family, timeout=5)[1]


def fit(name: str) -> bytes:
    """Return a question that was not asked before."""
    return json.dumps({**FIT, "artwork": {**FIT["artwork"], "text": name}}).encode()


def computed(question: bytes) -> bytes:
    """Return the answer as this process computes it."""
    outcome = decode(compute(encode(Asked("checkFit application/json", question, False, "tide"))))
    assert isinstance(outcome, Success)
    return outcome.body


compute: Final = compute_by((load(),))


@pytest.mark.slow
def test_killed_processes_lose_nothing() -> None:
    """Each question that was asked meanwhile has the answer that it has alone."""
    answers: dict[bytes, httpx2.Response] = {}
    ended = threading.Event()
    names = map("".join, itertools.product("ABCDEFGHJKLM", repeat=3))

    def ask(url: str) -> None:
        with httpx2.Client(base_url=url, timeout=60) as client:
            while not ended.is_set():
                question = fit(next(names))
                answers[question] = client.post(
                    "/v1/fits", content=question, headers={"content-type": "application/json"}
                )

    with running() as service:
        callers = [threading.Thread(target=ask, args=(service.url,)) for _ in range(3)]
        for caller in callers:
            caller.start()
        killed, chance = 0, random.Random(8037)  # noqa: S311 - which one is no secret
        while killed < KILLS:
            time.sleep(0.005)
            if len(answers) < 3 * killed:
                continue
            if computing := service.template().children():
                with contextlib.suppress(psutil.NoSuchProcess):
                    chance.choice(computing).kill()
                    killed += 1
        ended.set()
        for caller in callers:
            caller.join()

    assert len(answers) >= 3 * KILLS - 3
    assert {200} == {answer.status_code for answer in answers.values()}
    asked = list(answers)
    for question in asked if len(asked) < 100 else chance.sample(asked, 100):
        assert computed(question) == answers[question].content


@pytest.mark.slow
@pytest.mark.parametrize("sent", [signal.SIGKILL, signal.SIGSEGV])
def test_without_its_template_the_service_ends(sent: signal.Signals) -> None:
    """So that its supervisor starts it again; within a second, and nothing of it is left."""
    with running() as service:
        assert 200 == httpx2.post(f"{service.url}/v1/fits", json=json.loads(fit("TIDE"))).status_code
        service.template().send_signal(sent)

        assert NO_TEMPLATE == service.process.wait(timeout=5)


@pytest.mark.slow
def test_nothing_is_left_of_a_service_that_is_killed() -> None:
    """Its processes notice that it is gone, also in the midst of a question."""
    order: Any = json.loads((EXAMPLES / "quote-request.json").read_text(encoding="utf-8"))
    with running() as service:
        asking = threading.Thread(target=_ask_in_vain, args=(f"{service.url}/v1/quotes", order))
        asking.start()
        time.sleep(0.05)
        family = psutil.Process(service.process.pid).children(recursive=True)
        service.process.kill()
        asking.join()

        assert 3 <= len(family)
        assert not psutil.wait_procs(family, timeout=10)[1]


def _ask_in_vain(url: str, order: object) -> None:
    with contextlib.suppress(httpx2.HTTPError):
        httpx2.post(url, json=order, timeout=60)
