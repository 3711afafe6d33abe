"""The command: what it takes, where it prices, what it says and how it ends."""

from __future__ import annotations

import contextlib
import importlib.util
import json
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from distributed import Client, LocalCluster

from featherline_service.__main__ import main
from featherline_service.book.shop_book import Book
from featherline_service.reprice import cluster, command, runs, worker
from featherline_service.reprice.cluster import ClusterError
from featherline_service.reprice.runs import Totals


class Ended(NamedTuple):
    """How the command ended: its exit code, and what it wrote."""

    returncode: int
    stdout: str
    stderr: str


Run = Callable[..., Ended]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Iterator[Run]:
    """Run the command in this process, on a file of two faulty lines unless others are given."""
    before = signal.getsignal(signal.SIGTERM)
    (tmp_path / "orders.jsonl").write_bytes(b'{"id":"a"}\n{"id":"b"}\n')

    def run(*arguments: object, orders: str = "orders.jsonl") -> Ended:
        out = str(tmp_path / "made" / "out")
        code = main(["reprice", str(tmp_path / orders), "--out", out, *map(str, arguments)])
        return Ended(code, *capsys.readouterr())

    yield run
    signal.signal(signal.SIGTERM, before)


@pytest.fixture
def asked(client: Client, monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Put the cluster of this process in the place of those that the command asks for; returns what it asked for."""
    wanted: list[object] = []

    def of(what: object) -> Any:  # noqa: ANN401 - a context manager
        wanted.append(what)
        return contextlib.nullcontext(client)

    monkeypatch.setattr(cluster, "local", of)
    monkeypatch.setattr(cluster, "remote", of)
    return wanted


def test_it_prices_and_says_how_much(run: Run, asked: list[object], tmp_path: Path) -> None:
    """The second time everything is skipped; without a number there are as many workers as processors."""
    assert Ended(
        0, "2 lines: 2 priced, of which 2 are problems, and 0 skipped, whose answers were there.\n", ""
    ) == run("--workers", 3)
    assert (
        Ended(0, "2 lines: 0 priced, of which 0 are problems, and 2 skipped, whose answers were there.\n", "") == run()
    )
    assert [3, command._processors()] == asked
    assert 2 == len(list((tmp_path / "made" / "out").iterdir()))


@pytest.mark.usefixtures("asked")
def test_a_run_has_the_revision_of_an_instant(run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """`--at` chooses the revision, once for the run; without it the one in force now; the index names it."""
    folder = tmp_path / "book"
    (folder / "offcuts").mkdir(parents=True)
    (folder / "book.toml").write_text('mode = "overlay"\nvalid_from = 1987-01-01T00:00:00Z\n')
    offcut = 'id = "new"\nfilm = "smooth"\ncolour = "gorse"\nwidth_mm = 30\nheight_mm = 40\n'
    (folder / "offcuts" / "new.toml").write_text(offcut)
    monkeypatch.setenv("FEATHERLINE_BOOK", str(folder))
    timetable, _ = worker.load_shop()
    monkeypatch.setattr(worker, "_books", lambda: timetable.books)
    before, after = (book.revision for book in timetable.books)
    index = tmp_path / "made" / "out" / "index.json"
    repriced = []
    for options in ((), ("--at", "1987-01-01T00:00:00+01:00"), ("--at", "1987-01-01T01:00:00+01:00")):
        assert 0 == run(*options).returncode
        repriced.append(json.loads(index.read_bytes())["book"])

    assert [after, before, after] == repriced


def test_an_instant_has_an_offset(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """Which instant a time without an offset is nobody knows."""
    with pytest.raises(SystemExit, match="2"):
        run("--at", "2027-01-01T00:00:00")
    assert "2027-01-01T00:00:00 has no offset; give one, such as 2027-01-01T00:00:00+01:00" in capsys.readouterr().err


def test_a_scheduler_is_taken_and_the_format_may_differ(run: Run, asked: list[object], tmp_path: Path) -> None:
    """The answers have the format that is asked for."""
    assert 0 == run("--scheduler", "tcp://scheduler:8786", "--format", "parquet").returncode
    assert ["tcp://scheduler:8786"] == asked
    assert 1 == len(list((tmp_path / "made" / "out").glob("*.parquet")))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--workers", 0), "--workers: give 1 or more"),
        (("--block-lines", 999), "--block-lines: give 1,000 or more"),
        (("--workers", "two"), "--workers: invalid whole_number value"),
        (("--workers", 1, "--scheduler", "tcp://s:1"), "not allowed with"),
        (("--format", "csv"), "--format: invalid choice"),
    ],
)
def test_other_arguments_are_refused(
    run: Run, capsys: pytest.CaptureFixture[str], arguments: tuple[object, ...], words: str
) -> None:
    """With the exit code of unusable arguments, and a sentence."""
    with pytest.raises(SystemExit) as ended:
        run(*arguments)

    assert 2 == ended.value.code
    assert words in capsys.readouterr().err


def test_without_the_extra_it_says_what_to_install(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """The packages that are missing are named, and the extra that brings them."""
    original = importlib.util.find_spec
    monkeypatch.setattr(command, "find_spec", lambda name: None if name == "pyarrow" else original(name))

    assert (
        Ended(2, "", "featherline-service cannot reprice: it needs pyarrow. Install featherline-service[reprice].\n")
        == run()
    )


@pytest.mark.parametrize(
    ("orders", "words"),
    [("orders.csv", "neither JSON lines nor Parquet"), ("missing.jsonl", r"missing.jsonl: No such file or directory")],
)
def test_orders_that_cannot_be_read_are_told(run: Run, orders: str, words: str) -> None:
    """Before a cluster is started."""
    ended = run(orders=orders)

    assert 2 == ended.returncode
    assert words in ended.stderr


def test_settings_that_cannot_be_used_are_told(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before a cluster is started, too."""
    monkeypatch.setenv("FEATHERLINE_CACHE", "much")
    ended = run()

    assert 2 == ended.returncode
    assert ended.stderr.startswith("featherline-service cannot reprice: FEATHERLINE_CACHE is 'much'")


def test_workers_with_another_book_are_refused(run: Run, book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """A worker of a cluster that has another book prices nothing."""
    other = worker.Identity("sha256:0", "0.0.1")
    monkeypatch.setattr(worker, "_books", lambda: (book,))
    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, protocol="tcp://", dashboard_address="127.0.0.1:0"
    ) as there:
        monkeypatch.setattr(worker, "identity_of", lambda _book: other)
        monkeypatch.setattr(command, "identity_of", lambda _book: worker.Identity(book.revision, "0.0.2"))
        ended = run("--scheduler", there.scheduler_address)

    assert (2, "") == (ended.returncode, ended.stdout)
    assert "has the book sha256:0 and the engine 0.0.1; this command has " in ended.stderr


@pytest.mark.usefixtures("asked")
@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (ClusterError("The scheduler is gone."), 1, "featherline-service cannot reprice: The scheduler is gone.\n"),
        (KeyboardInterrupt(), 130, "Stopped. Run the same command again: it goes on where this one ended.\n"),
        (OSError(28, "No space left on device", "answers"), 2, "answers: No space left on device.\n"),
        (OSError("odd"), 2, "odd.\n"),
    ],
)
def test_an_end_before_the_end_has_its_code(
    run: Run, monkeypatch: pytest.MonkeyPatch, error: BaseException, code: int, words: str
) -> None:
    """A lost cluster, a signal, a full disk: each with a sentence that says what to do or what is wrong."""

    def fail(*_: object, **__: object) -> Totals:
        raise error

    monkeypatch.setattr(runs, "reprice", fail)
    ended = run()

    assert (code, "") == (ended.returncode, ended.stdout)
    assert ended.stderr.endswith(words)


@pytest.mark.usefixtures("asked")
def test_lines_without_an_answer_are_named(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """The run is unfinished."""
    monkeypatch.setattr(runs, "reprice", lambda *_, **__: Totals(priced=1_000, failed=[(1_001, 2_000)]))
    ended = run()

    assert 1 == ended.returncode
    assert "Lines 1,001 to 2,000 ended every worker that priced them, by a crash or by their memory.\n" == ended.stderr
