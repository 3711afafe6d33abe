"""The command ``featherline-service reprice``: prices a file of orders again, by this machine or by a cluster.

A run that was stopped, however, goes on where it ended when the same command is given again.
"""

from __future__ import annotations

import argparse
import signal
import sys
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Final

from featherline_service.reprice import order_files, worker
from featherline_service.reprice.answer_files import Format
from featherline_service.reprice.blocks import FEWEST_LINES
from featherline_service.reprice.order_files import OrderFileError
from featherline_service.reprice.worker import Run, SetupError, identity_of

if TYPE_CHECKING:
    from distributed import Client

    from featherline_service.reprice.runs import Totals

UNFINISHED: Final = 1
UNUSABLE: Final = 2
STOPPED: Final = 130
_EXTRA: Final = ("distributed", "pyarrow")


def main(arguments: Sequence[str]) -> int:
    """Reprice. Returns the exit code: 0 every line has its answer or problem, 1 unfinished, 2 unusable, 130 stopped."""
    options = _parser().parse_args(arguments)
    missing = [name for name in _EXTRA if find_spec(name) is None]
    if missing:
        return _end(UNUSABLE, f"it needs {' and '.join(missing)}. Install featherline-service[reprice].")
    # As an interrupt from the keyboard, so that workers are stopped.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    from featherline_service.reprice.cluster import ClusterError  # noqa: PLC0415 - an extra

    try:
        totals = _run(options)
    except (SetupError, OrderFileError) as error:
        return _end(UNUSABLE, str(error))
    except OSError as error:
        return _end(UNUSABLE, f"{error.filename or options.out}: {error.strerror or error}.")
    except ClusterError as error:
        return _end(UNFINISHED, str(error))
    except KeyboardInterrupt:
        sys.stderr.write("Stopped. Run the same command again: it goes on where this one ended.\n")
        return STOPPED
    lines = totals.priced + totals.skipped
    sys.stdout.write(
        f"{lines:,} lines: {totals.priced:,} priced, of which {totals.problems:,} are problems, and "
        f"{totals.skipped:,} skipped, whose answers were there.\n"
    )
    for first, last in totals.failed:
        sys.stderr.write(
            f"Lines {first:,} to {last:,} ended every worker that priced them, by a crash or by their memory.\n"
        )
    return UNFINISHED if totals.failed else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="featherline-service reprice",
        description="Price a file of orders by the book that FEATHERLINE_BOOK names, on all processors of this machine "
        "or on a Dask cluster, and write the answers block by block. What is there already is skipped.",
    )
    parser.add_argument(
        "orders",
        type=Path,
        help="lines of JSON as bulk takes them (.jsonl, .ndjson), or Parquet with a column `request` (.parquet)",
    )
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="the folder of the answers")
    parser.add_argument(
        "--format", choices=("jsonl", "parquet"), help="the format of the answers; that of the orders if not given"
    )
    parser.add_argument(
        "--at",
        type=_instant,
        metavar="INSTANT",
        help="price by the revision of the book that is in force then, such as 2027-01-01T00:00:00+01:00; now if not "
        "given",
    )
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--scheduler", metavar="ADDRESS", help="a Dask scheduler, such as tcp://scheduler:8786")
    where.add_argument(
        "--workers", type=_at_least(1), metavar="N", help="processes on this machine; as many as processors"
    )
    parser.add_argument(
        "--block-lines",
        type=_at_least(FEWEST_LINES),
        default=FEWEST_LINES,
        metavar="N",
        help=f"lines of a block, at least {FEWEST_LINES:,}, which is the default",
    )
    return parser


def _instant(text: str) -> datetime:
    """Read an instant with its offset."""
    instant = datetime.fromisoformat(text)
    if instant.tzinfo is None:
        raise argparse.ArgumentTypeError(f"{text} has no offset; give one, such as {text}+01:00")
    return instant


def _at_least(least: int) -> Callable[[str], int]:
    """Return a reader of whole numbers that are not less than a bound."""

    def whole_number(text: str) -> int:
        number = int(text)
        if number < least:
            raise argparse.ArgumentTypeError(f"give {least:,} or more")
        return number

    return whole_number


def _run(options: argparse.Namespace) -> Totals:
    from featherline_service.reprice import cluster, progress, runs  # noqa: PLC0415 - an extra

    orders: Path = options.orders
    own: Format = "parquet" if order_files.is_parquet(orders) else "jsonl"
    total = order_files.count(orders)
    timetable, settings = worker.load_shop()
    # Once for the whole run, however long it takes and whatever comes into force meanwhile.
    book = timetable.at(options.at or datetime.now(UTC))
    out: Path = options.out
    out.mkdir(parents=True, exist_ok=True)
    is_local = options.scheduler is None
    run = Run(identity_of(book), settings.max_body, options.format or own, out.absolute() if is_local else None)
    connected: AbstractContextManager[Client] = (
        cluster.local(options.workers or _processors()) if is_local else cluster.remote(options.scheduler)
    )
    with connected as client, progress.shown(sys.stderr, total) as tell:
        cluster.refuse_others(client, run.identity)
        return runs.reprice(client, orders, out, run, block_lines=options.block_lines, tell=tell)


def _processors() -> int:
    from dask.system import CPU_COUNT  # noqa: PLC0415 - an extra

    return CPU_COUNT


def _end(code: int, why: str) -> int:
    sys.stderr.write(f"featherline-service cannot reprice: {why}\n")
    return code
