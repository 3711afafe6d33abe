"""A run: the blocks of a file of orders that have no file of answers yet are priced, and their files written."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
from distributed import Client
from msgspec import Struct

from featherline_service.reprice import answer_files, cluster, order_files
from featherline_service.reprice.answer_files import Index
from featherline_service.reprice.blocks import Block, split
from featherline_service.reprice.worker import Run


class Totals(Struct):
    """How many lines were priced, how many of these are problems, and how many were skipped: their file was there.

    `failed` are the first and last lines of blocks that ended every worker they were given to.
    """

    priced: int = 0
    problems: int = 0
    skipped: int = 0
    failed: list[tuple[int, int]] = msgspec.field(default_factory=list)


def reprice(
    client: Client, orders: Path, out: Path, run: Run, *, block_lines: int, tell: Callable[[Totals], None]
) -> Totals:
    """Price a file of orders into a folder, and write the index where every block has its file.

    Args:
        client: The cluster.
        orders: The file of orders.
        out: The folder of the files of answers.
        run: What all blocks have in common; its folder is `out` where workers write.
        block_lines: The lines of a block.
        tell: Called after each block.

    Raises:
        OrderFileError: The file of orders cannot be used.
        OSError: It cannot be read, or an answer cannot be written.
        SetupError: A worker would answer otherwise.
        ClusterError: The cluster was lost.
    """
    totals = Totals()
    names: list[str] = []

    def missing() -> Iterator[Block]:
        for block in split(order_files.read(orders, run.longest), block_lines):
            names.append(run.file_of(block))
            if (out / names[-1]).exists():
                totals.skipped += len(block.lines)
                tell(totals)
            else:
                yield block

    for block, priced in cluster.price(client, missing(), run):
        if priced is None:
            totals.failed.append((block.first, block.lines[-1].number))
            continue
        if priced.compressed is not None:
            answer_files.write(out / run.file_of(block), answer_files.decompress(priced.compressed))
        totals.priced += len(block.lines)
        totals.problems += priced.problems
        tell(totals)
    if not totals.failed:
        index = Index(
            orders=orders.name,
            book=run.identity.book,
            engine=run.identity.engine,
            lines=totals.priced + totals.skipped,
            files=names,
        )
        answer_files.write(out / answer_files.INDEX, msgspec.json.format(msgspec.json.encode(index), indent=1) + b"\n")
    return totals
