"""The progress of a run: a bar on a terminal, a line now and then elsewhere."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final, TextIO

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

from featherline_service.reprice.runs import Totals

INTERVAL_S: Final = 10.0


@contextmanager
def shown(
    stream: TextIO, total: int, clock: Callable[[], float] = time.monotonic
) -> Iterator[Callable[[Totals], None]]:
    """Yield a function that shows how far a run of `total` lines is; it is called after each block.

    Args:
        stream: The terminal, or what stands for it.
        total: The number of lines in all.
        clock: The present time [s].
    """
    begun = clock()

    def words(totals: Totals) -> str:
        rate = totals.priced / max(clock() - begun, 1e-3)
        return f"{totals.priced + totals.skipped:,} of {total:,} lines, {rate:,.0f} a second"

    if not stream.isatty():
        last = begun

        def write(totals: Totals) -> None:
            nonlocal last
            if clock() - last >= INTERVAL_S:
                last = clock()
                stream.write(f"{words(totals)}\n")
                stream.flush()

        yield write
        return
    columns = (BarColumn(), TaskProgressColumn(), TextColumn("{task.description}"), TimeRemainingColumn())
    with Progress(*columns, console=Console(file=stream)) as bar:
        task = bar.add_task(words(Totals()), total=total)
        yield lambda totals: bar.update(task, completed=totals.priced + totals.skipped, description=words(totals))
