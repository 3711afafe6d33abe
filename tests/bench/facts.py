"""Figures without a baseline: memory, the stages' shares of the time, and a flood of questions."""

from __future__ import annotations

import itertools
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Final, NamedTuple

import cold_mix
import fairness
import overload
import peaks
import rates
from servers import HOST, SERVICE_ALONE, Process

from featherline_service.book.loader import load
from featherline_service.questions.order import placements
from featherline_service.questions.recipe.evidence import known
from featherline_service.signatures import temporary_keys
from featherline_service.web.routes.seals import Seals

sys.path.append(str(Path(__file__).parents[1]))  # the modules above this folder are no package
import big_books

IDLE_MB: Final = 200.0
LOADED_MB: Final = 450.0
GROWN_MB: Final = 30.0
BIG_START_S: Final = 3.0
_SETTLED_S: Final = 3.0
_FIRST_LINES: Final = 1_000
_PEAK_LINES: Final = 100_000
_SAMPLED: Final = 200  # questions


class Fact(NamedTuple):
    """A figure, its unit, and its limit, if it has one."""

    name: str
    value: float
    unit: str
    most: float | None = None

    @property
    def is_over(self) -> bool:
        """Whether it is over its limit."""
        return self.most is not None and self.value > self.most


def memory(lines: int) -> Iterator[Fact]:
    """Yield the memory of a service that has started, of all its processes, and its growth over many lines of bulk."""
    with Process(SERVICE_ALONE, "/health/ready") as service:
        service.start()
        time.sleep(_SETTLED_S)  # until processes have what the template has prepared
        yield Fact("memory at rest, all processes", service.memory_mb(), "MB", IDLE_MB)
        rates.bulk(service.port, _FIRST_LINES)
        held_mb = service.memory_mb()
        rates.bulk(service.port, lines)
        yield Fact(f"memory grown by {lines} lines of bulk", service.memory_mb() - held_mb, "MB", GROWN_MB)


def big_book(shoes: int = big_books.SHOES, films: int = big_books.FILMS) -> Iterator[Fact]:
    """Yield the start, and the memory at rest, of a service with a big book, two of whose processes compute."""
    name = f"{shoes:,} shoes, {films} films"
    with tempfile.TemporaryDirectory() as folder:
        book = big_books.write(Path(folder) / "book", shoes, films)
        settings = {"FEATHERLINE_BOOK": str(book), "FEATHERLINE_PROCESSES": "2"}
        with Process(SERVICE_ALONE, "/health/ready", **settings) as service:
            begun = time.perf_counter()
            service.start()
            yield Fact(f"start with {name}", time.perf_counter() - begun, "s", BIG_START_S)
            yield Fact(f"start with {name}: processor time", service.processor_s(), "s")
            time.sleep(_SETTLED_S)
            yield Fact(f"memory at rest with {name}", service.memory_mb(), "MB", IDLE_MB)


def peaks_of_both() -> Iterator[Fact]:
    """Yield the peak memory of the service and of one client over many lines of bulk."""
    with Process(SERVICE_ALONE, "/health/ready") as service:
        service.start()
        for peak in peaks.of_lines(f"http://{HOST}:{service.port}", service.id, _PEAK_LINES):
            yield Fact(f"peak: {peak.name}", peak.mb, "MB", peak.limit_mb)


def stages() -> Iterator[Fact]:
    """Yield each stage's share of the time of a mix of new questions."""
    book = load()
    list(itertools.chain(known.prepare(book), placements.prepare(book)))
    answer = cold_mix.answering(book, Seals(temporary_keys(), timedelta(days=30)))
    asked = cold_mix.new_questions()
    for kind, body in itertools.islice(asked, 20):  # until it is warm
        answer(kind, body)
    with cold_mix.sampled() as found:
        for kind, body in itertools.islice(asked, _SAMPLED):
            answer(kind, body)
    for stage, count in found.most_common():
        yield Fact(f"cold mix: {stage}", 100.0 * count / found.total(), "%")


def flood() -> Iterator[Fact]:
    """Yield the figures of ten times the load that the service can carry."""
    found = overload.measure()
    times = found.offered_s / (found.accepted / overload.FLOOD_S)
    yield Fact("new recipes, one caller: p50", found.alone_p50_ms, "ms")
    yield Fact("new recipes, one caller: p99", found.alone_p99_ms, "ms")
    yield Fact(f"flood of {found.offered_s:.0f}/s: times what was answered", times, "")
    yield Fact("flood: p50 of answers", found.accepted_p50_ms, "ms")
    ratio = found.accepted_p99_ms / found.alone_p99_ms
    yield Fact("flood: p99 of answers, of one caller's", ratio, "", overload.ACCEPTED_RATIO)
    yield Fact(f"flood: p99 of {found.refused} refusals", found.refused_p99_ms, "ms", overload.REFUSED_MS)
    yield Fact("flood: refusals without Retry-After", float(found.without_when), "", 0.0)
    yield Fact("flood: memory grown", found.grown_mb, "MB", overload.GROWN_MB)
    yield Fact("flood: full speed again after", found.recovered_s, "s", overload.RECOVERED_S)


def turns() -> Iterator[Fact]:
    """Yield what a light caller notices of others, and what a second processor brings."""
    alone, *others = fairness.measure()
    yield Fact("light caller alone: p50", alone.median_ms, "ms")
    yield Fact("light caller alone: p99", alone.p99_ms, "ms")
    for beside in others:
        yield Fact(
            f"beside {beside.name}: p50, of alone", beside.median_ms / alone.median_ms, "", fairness.MEDIAN_TIMES
        )
        yield Fact(f"beside {beside.name}: p99, of alone", beside.p99_ms / alone.p99_ms, "", fairness.P99_TIMES)
        yield Fact(f"beside {beside.name}: light caller refused", float(beside.refused), "", 0.0)
        yield Fact(f"beside {beside.name}: others answered", float(beside.others_answered), "")
        yield Fact(f"beside {beside.name}: others refused", float(beside.others_refused), "", beside.most_refused)
        yield Fact(f"beside {beside.name}: /health/live p99", beside.live_p99_ms, "ms", fairness.LIVE_P99_MS)
        yield Fact(f"beside {beside.name}: memory", beside.memory_mb, "MB", LOADED_MB)
    yield Fact("new lines on one processor, of two", fairness.one_of_two(), "", fairness.ONE_OF_TWO)
