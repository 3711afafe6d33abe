"""A run: what has no file is priced, what has one is skipped, and the index names all."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from distributed import Client
from msgspec.structs import asdict

from featherline_service.book.shop_book import Book
from featherline_service.reprice import cluster, runs, worker
from featherline_service.reprice.worker import Identity, Run
from featherline_service.runtime.engine import ENGINE


@pytest.fixture
def orders(tmp_path: Path) -> Path:
    """Return a file of seven lines, all of them faulty, which takes no time."""
    file = tmp_path / "orders.jsonl"
    file.write_bytes(b"".join(b'{"id":"%d","request":{}}\n' % number for number in range(1, 8)))
    return file


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """Return a folder for the answers."""
    folder = tmp_path / "out"
    folder.mkdir()
    return folder


@pytest.fixture
def run(book: Book) -> Run:
    """Return a run with the demo book."""
    return Run(worker.identity_of(book), 1_000, "jsonl")


def reprice(client: Client, orders: Path, out: Path, run: Run) -> tuple[dict[str, object], list[int]]:
    """Reprice in blocks of three; returns the totals, and the lines that were done each time that it told so."""
    told: list[int] = []
    totals = runs.reprice(
        client, orders, out, run, block_lines=3, tell=lambda now: told.append(now.priced + now.skipped)
    )
    return asdict(totals), told


def test_a_run_answers_every_line_and_the_next_skips_all(client: Client, orders: Path, out: Path, run: Run) -> None:
    """The index names the files in the order of the lines; the second run changes no byte."""
    assert ({"priced": 7, "problems": 7, "skipped": 0, "failed": []}, 7) == (
        (first := reprice(client, orders, out, run))[0], first[1][-1],
    )  # fmt: skip
    before = {file.name: (file.read_bytes(), file.stat().st_mtime_ns) for file in out.glob("*.jsonl")}
    index = json.loads((out / "index.json").read_bytes())

    assert (3, 7, "orders.jsonl", *run.identity[:2]) == (
        len(index["files"]), index["lines"], index["orders"], index["book"], index["engine"],
    )  # fmt: skip
    lines = [json.loads(line) for name in index["files"] for line in (out / name).read_bytes().splitlines()]
    assert [(number, str(number)) for number in range(1, 8)] == [(line["line"], line["id"]) for line in lines]
    assert ({"priced": 0, "problems": 0, "skipped": 7, "failed": []}, [3, 6, 7]) == reprice(client, orders, out, run)
    assert before == {file.name: (file.read_bytes(), file.stat().st_mtime_ns) for file in out.glob("*.jsonl")}


def test_workers_write_where_they_have_the_folder(client: Client, orders: Path, out: Path, run: Run) -> None:
    """The files and the index are those that the command writes."""
    reprice(client, orders, out, run)
    (shared := out.with_name("shared")).mkdir()

    assert {"priced": 7, "problems": 7, "skipped": 0, "failed": []} == (
        reprice(client, orders, shared, run._replace(folder=shared))[0]
    )
    assert {file.name: file.read_bytes() for file in out.iterdir()} == {
        file.name: file.read_bytes() for file in shared.iterdir()
    }


def test_a_folder_in_which_a_worker_cannot_write_ends_the_run(
    client: Client, orders: Path, out: Path, run: Run
) -> None:
    """The error is the one that the command would have."""
    with pytest.raises(FileNotFoundError, match="No such file or directory"):
        reprice(client, orders, out, run._replace(folder=out / "none"))


def test_what_is_missing_is_priced_again(client: Client, orders: Path, out: Path, run: Run) -> None:
    """A block without its file is the only one that is priced, to the same bytes; a part of a file counts as none."""
    reprice(client, orders, out, run)
    missing = sorted(out.glob("*.jsonl"))[1]
    content = missing.read_bytes()
    missing.rename(missing.with_name(f".{missing.name}.0123456789abcdef.part"))

    assert {"priced": 3, "problems": 3, "skipped": 4, "failed": []} == reprice(client, orders, out, run)[0]
    assert content == missing.read_bytes()


def test_answers_of_another_book_are_not_taken(
    client: Client, orders: Path, out: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With another revision everything is priced, beside what there is; the index names the new ones alone."""
    reprice(client, orders, out, run)
    other = run._replace(identity=Identity("sha256:0123456789abcdef", ENGINE))
    monkeypatch.setattr(worker, "identity_of", lambda _book: other.identity)

    assert 7 == reprice(client, orders, out, other)[0]["priced"]
    assert 6 == len(list(out.glob("*.jsonl")))
    files = json.loads((out / "index.json").read_bytes())["files"]
    assert {"0123456789abcdef"} == {name.partition("-")[0] for name in files}


def test_changed_lines_are_priced_again(client: Client, orders: Path, out: Path, run: Run) -> None:
    """One changed line is one changed block."""
    reprice(client, orders, out, run)
    orders.write_bytes(orders.read_bytes().replace(b'"5"', b'"five"'))

    assert {"priced": 3, "problems": 3, "skipped": 4, "failed": []} == reprice(client, orders, out, run)[0]
    assert 4 == len(list(out.glob("*.jsonl")))
    assert 3 == len(json.loads((out / "index.json").read_bytes())["files"])


def test_a_block_without_answers_is_told_and_there_is_no_index(
    client: Client, orders: Path, out: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its lines are named; the other blocks have their files."""
    original = cluster.price
    monkeypatch.setattr(
        cluster,
        "price",
        lambda *given: ((block, None if block.first == 4 else priced) for block, priced in original(*given)),
    )

    assert {"priced": 4, "problems": 4, "skipped": 0, "failed": [(4, 6)]} == reprice(client, orders, out, run)[0]
    assert 2 == len(list(out.iterdir()))
