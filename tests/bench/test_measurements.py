import asyncio
import contextlib
import functools
import gc
import importlib
import itertools
import json
import time
import warnings
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from anyio.from_thread import start_blocking_portal
from draws import sample


@pytest.fixture
def measurements(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return the measuring program as a module."""
    monkeypatch.syspath_prepend(Path(__file__).parent)
    return importlib.import_module("measurements")


@pytest.fixture
def rates(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return rates.py as a module."""
    monkeypatch.syspath_prepend(Path(__file__).parent)
    return importlib.import_module("rates")


@pytest.fixture
def forgotten_sockets() -> Iterator[None]:
    """Collect the sockets of a load that broke off at once, so that no later test is warned of them."""
    yield
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()


@contextlib.contextmanager
def serving(answer: bytes) -> Iterator[int]:
    """Answer each connection once, whatever comes in however many pieces; yields the port."""
    before: set[asyncio.Task[Any]] = set()

    async def carry(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(ConnectionError):
            await reader.read(65536)
            writer.write(answer)
            while await reader.read(65536):
                pass
        writer.close()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()

    async def start() -> asyncio.Server:
        before.update(asyncio.all_tasks())
        return await asyncio.start_server(carry, "127.0.0.1", 0)

    async def stop(server: asyncio.Server) -> None:
        server.close()
        # Those that carry a connection, and those that were accepting one as the server closed.
        while others := asyncio.all_tasks() - before - {asyncio.current_task()}:
            await asyncio.wait(others)

    with start_blocking_portal() as portal:
        server = portal.call(start)
        yield server.sockets[0].getsockname()[1]
        portal.call(stop, server)


@pytest.mark.slow
def test_a_start_with_a_big_book_is_measured(measurements: ModuleType) -> None:
    """Its time, its processor time, and the memory of all its processes, which only the full size is held to."""
    start, work, memory = measurements.facts.big_book(shoes=30, films=3)

    assert ("start with 30 shoes, 3 films", "s", 3.0) == (start.name, start.unit, start.most)
    assert 0.1 < work.value < 60.0
    assert not memory.is_over


def test_the_two_heat_solvers_agree(measurements: ModuleType) -> None:
    """The heat solver and its baseline solve the same cycle by different methods."""
    case = measurements.finite_volumes.Case()
    assert case.by_volumes() == pytest.approx(case.by_elements(), abs=measurements.finite_volumes.TOLERANCE_K)


def test_the_two_heat_solvers_are_timed_at_like_error(measurements: ModuleType) -> None:
    """The service's solver has no larger error than its baseline, whose error is at most twice as large."""
    elements_k, volumes_k = measurements.finite_volumes.Case().errors()
    assert elements_k <= volumes_k <= 2.0 * elements_k


@pytest.mark.slow
def test_every_question_is_measured(measurements: ModuleType) -> None:
    """The measures of recipes, fits and quotes run, asked before and with all caches empty; by day some are tried."""
    measures = list(measurements.in_process())
    for measure in sample(measures):
        result = measurements.take(measure, 1)
        assert measure.name == result.name
        assert result.median_ms > 0.0
    asked = {measure.name.split(",")[0] for measure in measures}
    assert {
        "recipe",
        "fit at a pose",
        "offer",
        "quote",
        "quote of eight quantities",
        "cold mix of 10 questions",
        "80 lines of a price list",
    } == asked


def test_no_question_of_the_cold_mix_comes_twice(measurements: ModuleType) -> None:
    """Every question is new, every kind occurs, and the answers are the service's."""
    mix = measurements.cold_mix
    asked = list(itertools.islice(mix.new_questions(), 300))
    answer = mix.answering(measurements.load(), measurements.Seals(measurements.temporary_keys(), timedelta(days=1)))

    assert len(asked) == len(set(asked))
    assert set(mix.MIX) == {kind for kind, _ in asked}
    assert all(json.loads(answer(kind, body))["engine"] for kind, body in asked[:10])


def test_every_text_of_a_price_list_is_new(measurements: ModuleType) -> None:
    """Each text is ordered for every shoe in every film of the book, and priced where it can be done."""
    mix, book = measurements.cold_mix, measurements.load()
    first, second = itertools.islice(mix.price_list_texts(book), 2)
    answer = mix.answering(book, measurements.Seals(measurements.temporary_keys(), timedelta(days=1)))
    verdicts = {json.loads(answer("quote", body))["verdict"] for body in first}

    assert len(book.shoes) * len(book.films) == len({*first}) == len({*second} - {*first})
    assert {"ready", "decline"} <= verdicts


def test_time_is_counted_for_the_stage_that_runs(measurements: ModuleType) -> None:
    """The time of a heat computation is counted for heat."""
    case = measurements.finite_volumes.Case()
    with measurements.cold_mix.sampled() as found:
        until = time.process_time() + 0.3
        while time.process_time() < until:
            case.by_elements()
    assert found.most_common(1)[0][0] == "heat"


def test_every_part_of_the_service_is_a_stage(measurements: ModuleType) -> None:
    """Every package and module that answers is a stage; those that start services, processes or commands are not."""
    folder = Path(importlib.import_module("featherline_service").__path__[0])
    parts = {path.name for path in folder.iterdir() if path.suffix == ".py" or (path / "__init__.py").exists()}
    commands = {"__main__.py", "serving.py", "reprice", "seal_key_commands.py"}
    started = {"__init__.py", "app.py", "settings.py", "shop_books.py", "computing", *commands}

    assert parts - started == set(measurements.cold_mix.STAGES)


def test_a_figure_is_over_its_limit_when_it_is_larger(measurements: ModuleType) -> None:
    """A figure without a limit is never over it."""
    fact = measurements.facts.Fact("tide", 7.0, "m")
    assert [False, False, True] == [fact._replace(most=most).is_over for most in (None, 7.0, 6.9)]


@pytest.mark.usefixtures("forgotten_sockets")
def test_answers_and_refusals_of_a_flood_are_told_apart(measurements: ModuleType) -> None:
    """Answers and refusals are read off their connections, however many wait at once, with when to come back."""
    overload = measurements.facts.overload

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError):
            while True:
                head = await reader.readuntil(b"\r\n\r\n")
                await reader.readexactly(int(head.partition(b"content-length: ")[2].partition(b"\r\n")[0]))
                busy = b"HTTP/1.1 503 Busy\r\nretry-after: 1\r\ncontent-length: 2\r\n\r\n{}"
                writer.write(busy if work.locked() else b"HTTP/1.1 200 OK\r\ncontent-length: 0\r\n\r\n")
                if not work.locked():
                    async with work:
                        await asyncio.sleep(0.01)
        writer.close()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()

    work = asyncio.Lock()

    async def flood() -> list[Any]:
        server = await asyncio.start_server(serve, "127.0.0.1", 0)
        callers = overload._Callers(server.sockets[0].getsockname()[1], overload.new_recipes())
        answers: list[Any] = await callers.flood(500.0, 0.2)
        assert 3 == len(await callers.one_after_another(60, 3))
        await callers.close()
        server.close()
        # Those that answer a connection, and those that were accepting one as the server closed.
        while others := asyncio.all_tasks() - {asyncio.current_task()}:
            await asyncio.wait(others)
        return answers

    answers = asyncio.run(flood())
    assert 100 == len(answers)
    assert {(200, False), (503, True)} == {(each.status, each.says_when) for each in answers}


def test_a_percentile_is_one_of_the_values(measurements: ModuleType) -> None:
    """Ninety-nine of a hundred values do not exceed the 99th percentile."""
    assert (99, 50, 7) == tuple(
        measurements.facts.overload.percentile(values, share)
        for values, share in ((range(1, 101), 0.99), (range(1, 101), 0.5), ([7], 0.99))
    )


def test_rosters_are_measured_on_what_can_be_done(measurements: ModuleType) -> None:
    """The nest and the roster that is asked before run; of its two hundred rows nearly all are priced."""
    nest, asked_before, *cold = measurements.whole_rosters()
    for measure in (nest, asked_before):
        assert measurements.take(measure, 1).median_ms > 0.0
    answer = asked_before.run()
    names = {row.fields["name"] for row in measurements.crews.roster(200).rows}

    assert 200 == len(names)
    assert answer.counts.ready + answer.counts.trial > 180
    assert {1500.0} == {measure.limit_ms for measure in cold}


def test_a_ratio_is_of_medians(measurements: ModuleType) -> None:
    """A measure is prepared and called once more than it is timed, in turns with its baseline."""
    calls: list[str] = []
    measure = measurements.Measure(
        *("twice", lambda: calls.append("own"), "once", lambda: calls.append("baseline"), 2, 5.0),
        lambda: calls.append("prepare"),
    )
    result = measurements.take(measure, 2)
    assert ["prepare", "own", "baseline", *["baseline", "prepare", "own"] * 2] == calls
    assert result.median_ms / result.baseline_ms == result.ratio


def test_forgetting_empties_the_caches_of_the_service_alone(
    measurements: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A cache whose function is of our packages is emptied; another is kept."""
    doubled, tripled = (functools.lru_cache(lambda number, by=by: number * by) for by in (2, 3))
    monkeypatch.setattr(doubled, "__module__", "featherline_service.invented")
    monkeypatch.setattr(tripled, "__module__", "another_package")
    doubled(1)
    tripled(1)
    measurements.forget()
    assert [0, 1] == [doubled.cache_info().currsize, tripled.cache_info().currsize]


def test_a_limit_is_of_time_or_of_the_baseline(measurements: ModuleType) -> None:
    """A measure is late when it takes longer than its time, or than its share of the baseline."""
    result = measurements.take(measurements.Measure("one", lambda: None, "other", lambda: None, 3), 3)
    assert not result.is_late
    assert result._replace(limit_ms=0.0).is_late
    assert not result._replace(limit_ms=1000.0).is_late
    assert result._replace(ratio=0.5, limit_ratio=0.4).is_late
    assert not result._replace(ratio=0.5, limit_ratio=0.5).is_late


@pytest.mark.usefixtures("forgotten_sockets")
def test_what_asks_for_rates_checks_that_it_is_answered(rates: ModuleType) -> None:
    """An application that refuses is no baseline: asking it fails instead of measuring it."""
    busy = b"HTTP/1.1 503 Busy\r\ncontent-length: 0\r\n\r\n"
    with serving(busy) as port, pytest.raises(RuntimeError, match="503"):
        rates.quotes(port, 10)
    one_line = b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n3\r\n{}\n\r\n0\r\n\r\n"
    with serving(one_line) as port, pytest.raises(RuntimeError, match="1 of 10 lines"):
        rates.bulk(port, 10)


@pytest.mark.slow
def test_peaks_are_of_both_sides(measurements: ModuleType) -> None:
    """A few lines have a price each; the client takes less than the service, and only a stream is held to a limit."""
    if not Path("/proc/self/status").exists():
        pytest.skip("reads /proc (Linux)")
    with measurements.Process(measurements.facts.SERVICE_ALONE, "/health/ready") as service:
        service.start()
        idle, streamed, client, kept = measurements.facts.peaks.of_lines(
            f"http://{measurements.HOST}:{service.port}", service.id, 100
        )

    assert 0 < client.mb < idle.mb
    assert idle.mb < 1.5 * min(streamed.mb, kept.mb)
    assert [None, 240.0, 120.0, None] == [peak.limit_mb for peak in (idle, streamed, client, kept)]
    assert streamed._replace(mb=240.1).is_late
    assert not kept._replace(mb=1000.0).is_late
