"""A bulk stream survives deaths and restarts: the SDK resumes it, and no answer is missing or wrong."""

from __future__ import annotations

import functools
import itertools
import signal
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import msgspec
import pytest
from msgspec.structs import replace
from replicas import HOST, Fleet, Replica, wait_until

from featherline import Client
from featherline.wire import Order, QuoteAnswer
from featherline_service.book.loader import load
from featherline_service.questions.quote import quotes

pytestmark = pytest.mark.slow

EXAMPLE: Final = Path(__file__).parents[2] / "openapi" / "examples" / "quote-request.json"
LEAST: Final = 300
DIFFERENT: Final = 900
PAUSE_S: Final = 0.003  # between orders, of which each is also composed here, for as long as a replica takes to start


@pytest.fixture(scope="module")
def compose() -> Callable[[Order], QuoteAnswer]:
    """Return a function that answers an order in this process."""
    return functools.cache(functools.partial(quotes.compose, load()))


def at_work(fleet: Fleet) -> Replica:
    """Return the replica that answers the stream, once there is one."""
    found: list[Replica] = []

    def find() -> bool:
        found.extend(replica for replica in fleet.replicas if fleet.proxy.streams(replica.name))
        return bool(found)

    wait_until(find, "a replica has the stream")
    return found[0]


def end(fleet: Fleet, sent: signal.Signals) -> None:
    """End the replica that answers the stream, and start it again."""
    replica = at_work(fleet)
    assert {signal.SIGKILL: -signal.SIGKILL, signal.SIGTERM: 0}[sent] == replica.end(sent)
    replica.start()
    fleet.await_state(replica, "UP")


@pytest.mark.parametrize(("fault", "breaks"), [(signal.SIGKILL, True), (signal.SIGTERM, False)])
def test_a_stream_goes_on(
    fleet: Fleet, compose: Callable[[Order], QuoteAnswer], fault: signal.Signals, breaks: bool
) -> None:
    """Every order gets its answer once and in order, though the replica at work is killed or told to stop."""
    before = len(fleet.proxy.requests())
    done = threading.Event()
    failed: list[BaseException] = []
    sent: list[Order] = []

    def break_things() -> None:
        try:
            end(fleet, fault)
        except BaseException as error:  # noqa: BLE001 - told below, in the thread of the test
            failed.append(error)
        finally:
            done.set()

    def orders() -> Iterator[Order]:
        order = msgspec.json.decode(EXAMPLE.read_bytes(), type=Order)
        # Each is new to the replicas for a while, so that they are at work on a part of the stream when they end.
        for pairs in itertools.cycle(range(1, DIFFERENT + 1)):
            if done.is_set() and len(sent) >= LEAST:
                return
            sent.append(replace(order, pairs=pairs))
            yield sent[-1]
            time.sleep(PAUSE_S)

    breaking = threading.Thread(target=break_things)
    wrong, answered = 0, 0
    with Client(f"http://{HOST}:{fleet.proxy.port}") as client:
        breaking.start()
        for reply in client.bulk(orders()):
            unsealed = replace(reply.answer, seal=None) if isinstance(reply.answer, QuoteAnswer) else None
            wrong += (reply.request, unsealed) != (sent[answered], compose(sent[answered]))
            answered += 1
    breaking.join()

    assert [] == failed
    assert (len(sent), 0) == (answered, wrong)
    assert breaks == any(request["ended"].startswith("S") for request in fleet.proxy.requests()[before:])
