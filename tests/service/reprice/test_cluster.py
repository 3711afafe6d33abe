"""Clusters: few blocks given out at a time, others' workers refused, and nothing that listens for strangers."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import time
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import dask
import psutil
import pytest
from distributed import Client, KilledWorker, LocalCluster

from featherline_service.book.shop_book import Book
from featherline_service.reprice import cluster, worker
from featherline_service.reprice.blocks import Block
from featherline_service.reprice.cluster import ClusterError
from featherline_service.reprice.worker import Identity, Priced, Run, SetupError
from featherline_service.runtime.engine import ENGINE
from featherline_service.web.http.lines import Line


def blocks(count: int) -> Iterator[Block]:
    """Yield blocks of a line each."""
    return (Block((Line(number, b"{}"),)) for number in range(1, count + 1))


@pytest.fixture
def run(book: Book) -> Run:
    """Return a run with the demo book."""
    return Run(worker.identity_of(book), 100, "jsonl")


def test_every_block_is_answered_and_few_are_read_ahead(client: Client, run: Run) -> None:
    """No more are read than are answered, and two for the one worker."""
    read = 0

    def counted() -> Iterator[Block]:
        nonlocal read
        for block in blocks(20):
            read += 1
            yield block

    found = []
    for done, (block, priced) in enumerate(cluster.price(client, counted(), run)):
        assert read <= done + 2
        assert priced is not None
        assert worker.price(block, run) == priced
        found.append(block.first)

    assert list(range(1, 21)) == sorted(found)


def test_a_worker_with_the_same_book_and_engine_is_taken(client: Client, run: Run) -> None:
    """Nothing is said of it; another is named by its address."""
    cluster.refuse_others(client, run.identity)
    with pytest.raises(SetupError, match=r"The worker inproc://.* has the book sha256:.*; this command has sha256:0"):
        cluster.refuse_others(client, Identity("sha256:0", ENGINE))


def test_a_worker_that_comes_later_with_another_book_ends_the_run(client: Client, run: Run) -> None:
    """The block that it got is not answered."""
    with pytest.raises(SetupError, match="has the book"):
        list(cluster.price(client, blocks(3), run._replace(identity=Identity("sha256:0", ENGINE))))


def test_a_scheduler_that_goes_ends_the_run(client: Client, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """The message says that the same command goes on."""
    original = client.submit

    def submit(*args: Any, **kwargs: Any) -> Any:  # noqa: ANN401 - as Dask's
        future = original(*args, **kwargs)
        future.cancel(reason="scheduler-connection-lost")
        return future

    monkeypatch.setattr(client, "submit", submit)
    with pytest.raises(ClusterError, match="scheduler is gone"):
        list(cluster.price(client, blocks(1), run))


def test_a_cluster_that_has_lost_its_workers_ends_the_run(
    client: Client, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not at once: a worker that is slow, or comes back, is waited for."""
    monkeypatch.setattr(cluster, "LOOK_S", 0.05)
    monkeypatch.setattr(worker, "price", answers_late)
    assert 1 == len(list(cluster.price(client, blocks(1), run)))

    client.retire_workers()
    with pytest.raises(ClusterError, match="has no workers left"):
        list(cluster.price(client, blocks(1), run))


def test_a_block_that_ends_every_worker_has_no_answers(
    client: Client, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The blocks after it have theirs."""
    monkeypatch.setattr(worker, "price", fails_once_too_often)

    assert [(1, True), (2, False)] == sorted(
        (block.first, priced is None) for block, priced in cluster.price(client, blocks(2), run)
    )


def test_a_scheduler_is_connected_to(book: Book, monkeypatch: pytest.MonkeyPatch, run: Run) -> None:
    """By its address; one without workers is told of."""
    monkeypatch.setattr(worker, "_books", lambda: (book,))
    monkeypatch.setattr(cluster, "CONNECT_S", 0.5)
    quiet = {"processes": False, "protocol": "tcp://", "dashboard_address": "127.0.0.1:0"}
    with LocalCluster(n_workers=1, threads_per_worker=1, **quiet) as there:
        with cluster.remote(there.scheduler_address) as client:
            assert 1 == len(list(cluster.price(client, blocks(1), run)))
        there.scale(0)
        client = cluster.remote(there.scheduler_address)
        with pytest.raises(ClusterError, match="has no workers"), client:
            pass


def test_a_scheduler_that_does_not_answer_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """After a while; an address of an unknown kind, or TLS without or against Dask's settings, at once."""
    monkeypatch.setattr(cluster, "CONNECT_S", 0.5)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
    for address in (f"tcp://127.0.0.1:{port}", "carrier-pigeon://loft:1"):
        with pytest.raises(ClusterError, match=f"No connection to a scheduler at {address}"), cluster.remote(address):
            pass
    secure = {"distributed.comm.require-encryption": True}
    for settings, address in (({}, f"tls://127.0.0.1:{port}"), (secure, f"tcp://127.0.0.1:{port}")):
        with (
            dask.config.set(settings),
            pytest.raises(ClusterError, match=f"No connection to a scheduler at {address}"),
            cluster.remote(address),
        ):
            pass


def answers_late(_block: Block, _run: Run) -> Priced:
    """Stand in for lines that take long."""
    time.sleep(0.2)
    return Priced(0, b"")


def fails_once_too_often(block: Block, _run: Run) -> Priced:
    """Stand in for lines that have ended as many workers as Dask allows."""
    if block.first == 1:
        raise KilledWorker("reprice", SimpleNamespace(address="tcp://gone:1"), 3)
    return Priced(0, b"")


def ends_its_process(_block: Block, _run: Run) -> Priced:
    """Stand in for a line that ends its worker."""
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError


# Sent as code: workers of the installed wheels cannot import the tests.
ends_its_process.__module__ = "__main__"


@pytest.mark.slow
def test_a_local_cluster_listens_on_loopback_talks_tls_and_shows_nothing(run: Run) -> None:
    """All ports are of 127.0.0.1; without the run's own key no handshake succeeds, and no page is served.

    A block that ends every worker has no answers, and the others have theirs.
    """
    before = addresses()  # of other tests in this process
    with dask.config.set({"distributed.scheduler.allowed-failures": 0}), cluster.local(1) as client:
        cluster.refuse_others(client, run.identity)
        listening = addresses() - before
        assert {"127.0.0.1"} == {address.ip for address in listening}
        assert len(listening) >= 3
        for address in listening:
            assert asyncio.run(first_line(address.port)) in {b"", b"HTTP/1.1 404 Not Found\r\n"}
            assert b"" == asyncio.run(first_line(address.port, b'{"op": "identity"}\n'))
        assert client.scheduler.address.startswith("tls://")

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(worker, "price", ends_its_process)
            assert [None] == [priced for _, priced in cluster.price(client, blocks(1), run)]
        assert [1] == [
            block.first for block, priced in cluster.price(client, blocks(1), run._replace(longest=99)) if priced
        ]


def addresses() -> set[Any]:
    """Return where this process and those that it has made listen."""
    return {
        connection.laddr
        for process in (psutil.Process(), *psutil.Process().children(recursive=True))
        for connection in process.net_connections()
        if connection.status == psutil.CONN_LISTEN
    }


async def first_line(port: int, sent: bytes = b"GET /info/main/workers.html HTTP/1.0\r\n\r\n") -> bytes:
    """Return the first line of what a port answers."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    try:
        writer.write(sent)
        async with asyncio.timeout(2):
            return await reader.readline()
    except (TimeoutError, ConnectionError):
        return b""
    finally:
        writer.close()
