import asyncio
import contextlib
import functools
import importlib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
from anyio.from_thread import start_blocking_portal


@pytest.fixture
def measurements(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return the measuring program as a module."""
    monkeypatch.syspath_prepend(Path(__file__).parent)
    return importlib.import_module("measurements")


@pytest.fixture
def rates(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return what asks for rates as a module."""
    monkeypatch.syspath_prepend(Path(__file__).parent)
    return importlib.import_module("rates")


@contextlib.contextmanager
def serving(answer: bytes) -> Iterator[int]:
    """Answer each connection once, whatever comes in however many pieces; yields the port."""
    open_ones: set[asyncio.Task[None]] = set()

    async def carry(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        open_ones.add(asyncio.current_task())  # type: ignore[arg-type]  # there is one: it is what runs this
        with contextlib.suppress(ConnectionError):
            await reader.read(65536)
            writer.write(answer)
            while await reader.read(65536):
                pass
        writer.close()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()

    async def stop(server: asyncio.Server) -> None:
        server.close()
        await asyncio.gather(*open_ones)
        await asyncio.sleep(0.05)  # for connections accepted as it closed

    with start_blocking_portal() as portal:
        server = portal.call(asyncio.start_server, carry, "127.0.0.1", 0)
        yield server.sockets[0].getsockname()[1]
        portal.call(stop, server)


def test_the_two_heat_solvers_agree(measurements: ModuleType) -> None:
    """What the heat solver is timed against is another solution of the same cycle, by another method."""
    case = measurements.finite_volumes.Case()
    assert case.by_volumes() == pytest.approx(case.by_elements(), abs=measurements.finite_volumes.TOLERANCE_K)


def test_the_two_heat_solvers_are_timed_at_like_error(measurements: ModuleType) -> None:
    """The service's solver is no further off than what it is timed against, which is not made needlessly exact."""
    elements_k, volumes_k = measurements.finite_volumes.Case().errors()
    assert elements_k <= volumes_k <= 2.0 * elements_k


def test_every_question_is_measured(measurements: ModuleType) -> None:
    """The measures of recipes, fits and quotes run, asked before and with all caches empty."""
    measures = list(measurements.in_process())
    for measure in measures:
        result = measurements.take(measure, 1)
        assert measure.name == result.name
        assert result.median_ms > 0.0
    assert {"recipe", "fit at a pose", "quote"} == {measure.name.split(",")[0] for measure in measures}


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


def test_what_asks_for_rates_checks_that_it_is_answered(rates: ModuleType) -> None:
    """An application that refuses is no baseline: asking it fails instead of measuring it."""
    busy = b"HTTP/1.1 503 Busy\r\ncontent-length: 0\r\n\r\n"
    with serving(busy) as port, pytest.raises(RuntimeError, match="503"):
        rates.quotes(port, 10)
    one_line = b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n3\r\n{}\n\r\n0\r\n\r\n"
    with serving(one_line) as port, pytest.raises(RuntimeError, match="1 of 10 lines"):
        rates.bulk(port, 10)


def test_peaks_are_of_both_sides(measurements: ModuleType) -> None:
    """A few lines have a price each; the client takes less than the service, and only a stream is held to a limit."""
    if not Path("/proc/self/status").exists():
        pytest.skip("reads /proc (Linux)")
    with measurements.Process(measurements.SERVICE_ALONE, "/health/ready") as service:
        service.start()
        idle, streamed, client, kept = measurements.peaks.of_lines(
            f"http://{measurements.HOST}:{service.port}", service.id, 300
        )

    assert 0 < client.mb < idle.mb <= streamed.mb <= kept.mb
    assert [None, 120.0, 120.0, None] == [peak.limit_mb for peak in (idle, streamed, client, kept)]
    assert streamed._replace(mb=120.1).is_late
    assert not kept._replace(mb=1000.0).is_late
