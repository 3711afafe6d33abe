"""Clusters: processes of this machine, or a Dask cluster that runs already; blocks are given out a few at a time."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import Final

import dask
from distributed import CancelledError, Client, Future, KilledWorker, LocalCluster, Security, wait
from distributed.utils import silence_logging_cmgr

from featherline_service.reprice import worker
from featherline_service.reprice.blocks import Block
from featherline_service.reprice.worker import Identity, Priced, Run

CONNECT_S: Final = 30
LOOK_S: Final = 10.0  # whether there are still workers, where no block is finished
MOST_LOOKS: Final = 6  # without any; a process takes some seconds to start anew
_BLOCKS_A_WORKER: Final = 2  # one that is priced, and the next, so that no worker waits
_LOOPBACK: Final = "127.0.0.1"
# Else Dask's looks at itself take 6 % of a processor in the command, which hosts scheduler and nannies, and 4 % in each
# worker, or more while it computes and its stack is sampled.
_LESS_WATCHED: Final[Mapping[str, object]] = {
    "distributed.worker.profile.enabled": False,
    "distributed.worker.memory.monitor-interval": "1s",
    "distributed.admin.tick.interval": "1s",
    "distributed.admin.system-monitor.interval": "5s",
    "distributed.admin.system-monitor.disk": False,
    "distributed.admin.system-monitor.gil.enabled": False,
}
_OF_LOCAL: Final[Mapping[str, object]] = {
    **_LESS_WATCHED,
    "distributed.scheduler.http.routes": [],
    "distributed.worker.http.routes": [],
    # The scheduler keeps this many of the last messages to each worker, whole blocks: 1,000 if unset, about 1 GB.
    "distributed.admin.low-level-log-length": 1,
}


class ClusterError(Exception):
    """The cluster cannot be reached, or was lost; the message says what to do."""


@contextmanager
def local(workers: int) -> Iterator[Client]:
    """Start worker processes on this machine, and stop them in the end.

    Whoever reaches a scheduler of Dask can run code in its workers. So everything listens on loopback alone, talks TLS
    by a key pair that only this run knows, and serves no pages.
    """
    with (
        dask.config.set(_OF_LOCAL),
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            host=_LOOPBACK,
            protocol="tls://",
            security=Security.temporary(),
            dashboard_address=f"{_LOOPBACK}:0",
            scheduler_kwargs={"dashboard": False},
            silence_logs=logging.CRITICAL,
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client


@contextmanager
def remote(address: str) -> Iterator[Client]:
    """Connect to a scheduler, with the certificates that Dask's configuration names.

    Raises:
        ClusterError: It cannot be reached, or has no workers.
    """
    try:
        client = Client(address, timeout=CONNECT_S)
    except (OSError, ValueError, TypeError, RuntimeError) as error:  # the last two: of its TLS settings
        raise ClusterError(
            f"No connection to a scheduler at {address} ({error}). Give the address that `dask scheduler` prints, such "
            "as tcp://scheduler:8786; tls:// needs the certificates that Dask's settings name."
        ) from error
    with silence_logging_cmgr(logging.CRITICAL), client:  # what goes wrong is told by our errors
        try:
            client.wait_for_workers(1, timeout=CONNECT_S)
        except TimeoutError as error:
            raise ClusterError(
                f"The scheduler at {address} has no workers. Start some: dask worker {address} --nthreads 1"
            ) from error
        yield client


def refuse_others(client: Client, wanted: Identity) -> None:
    """Refuse a cluster with a worker that would answer otherwise.

    Raises:
        SetupError: A worker cannot load its book, or book or engine are others than this command's.
    """
    for address, found in client.run(worker.identities).items():
        worker.refuse(found, wanted, f"The worker {address}")


def price(client: Client, blocks: Iterable[Block], run: Run) -> Iterator[tuple[Block, Priced | None]]:
    """Yield blocks with their answers, as they come; no more blocks are read than the workers have to do.

    What a worker had to do that is gone is done by another. A block that has ended four workers, by a crash or by its
    memory, has no answers.

    Raises:
        SetupError: A worker that came later would answer otherwise.
        ClusterError: The scheduler is gone, or has had no workers for a minute.
    """
    waiting = iter(blocks)
    pending: dict[Future[Priced], Block] = {}
    while True:
        workers = _workers(client)
        for block in islice(waiting, max(_BLOCKS_A_WORKER * max(workers, 1) - len(pending), 0)):
            name = run.file_of(block)
            pending[client.submit(worker.price, block, run, key=f"reprice-{name}")] = block
        if not pending:
            return
        for future in _finished(client, list(pending)):
            block = pending.pop(future)
            try:
                priced = future.result()
            except KilledWorker:
                priced = None
            except CancelledError as error:
                raise _lost("is gone") from error
            future.release()
            yield block, priced


def _finished(client: Client, pending: Sequence[Future[Priced]]) -> Sequence[Future[Priced]]:
    """Wait until some futures are finished, and return these; for as long as there are workers."""
    looks = 0
    while looks < MOST_LOOKS:
        try:
            return [*wait(pending, timeout=LOOK_S, return_when="FIRST_COMPLETED").done]
        except TimeoutError:
            looks = 0 if _workers(client) else looks + 1
        except CancelledError as error:
            raise _lost("is gone") from error
    raise _lost("has no workers left")


def _workers(client: Client) -> int:
    try:
        return len(client.scheduler_info()["workers"])
    except OSError as error:
        raise _lost("is gone") from error


def _lost(what: str) -> ClusterError:
    return ClusterError(f"The scheduler {what}. Run the same command again: it goes on where this one ended.")
