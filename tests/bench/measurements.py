"""Measure the service's answers, each against a baseline of the same run; print a table, and write JSON where asked.

A measure and its baseline are timed in turns, so that whatever else the machine does touches both; of both the median
counts. Their ratio says more than the milliseconds when machines or days differ.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import gc
import http.client
import itertools
import json
import math
import os
import platform
import runpy
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final, NamedTuple, TypeVar

import cold_mix
import crews
import facts
import finite_volumes
import msgspec
import numpy as np
import rates
import shapely
import shapes
from servers import ECHO, HOST, PYDANTIC_ECHO, SERVICE, SERVICE_ALONE, Process, on_first_processor

from featherline.wire import BareLayer, BareStack, FitRequest, Order, RecipeRequest
from featherline.wire.evidence import GaugeReading
from featherline.wire.recipes import Observation
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.cost.nesting.rectangles import nest
from featherline_service.questions.fit import fits
from featherline_service.questions.order import placements
from featherline_service.questions.quote import quotes
from featherline_service.questions.recipe import recipes
from featherline_service.questions.recipe.evidence import known
from featherline_service.questions.roster import rosters
from featherline_service.runtime import cache
from featherline_service.signatures import temporary_keys
from featherline_service.web.routes.seals import Seals

T = TypeVar("T")

EXAMPLES: Final = Path(__file__).parents[2] / "openapi" / "examples"
NESTS: Final = Path(__file__).parents[1] / "outside" / "cost_nesting_search.json"
SEARCHES: Final = Path(__file__).parents[1] / "outside" / "shape_search_reference.py"
IMPORTS: Final = (
    "-c",
    "import fontTools.ttLib, litestar, msgspec, numpy, pint, shapely, structlog, uharfbuzz, uvicorn",
)
_QUIET: Final = 0.5  # runnable processes over the last minute
_PACKAGES: Final = ("featherline-service", "litestar", "msgspec", "numpy", "scipy", "shapely", "uvicorn")


class Measure(NamedTuple):
    """A call to time, and the baseline to time in turns with it.

    `prepare` is called before each call of `run`, `prepare_baseline` of `baseline`, both untimed. `limit_ms`, and
    `limit_ratio` for the most that a call may take of its baseline, are what the project holds itself to.
    """

    name: str
    run: Callable[[], object]
    baseline_name: str
    baseline: Callable[[], object]
    repeats: int
    limit_ms: float | None = None
    prepare: Callable[[], object] = lambda: None
    limit_ratio: float | None = None
    prepare_baseline: Callable[[], object] = lambda: None


class Result(NamedTuple):
    """What was measured: medians [ms], the slowest call [ms], and the ratio of the medians."""

    name: str
    median_ms: float
    slowest_ms: float
    limit_ms: float | None
    baseline: str
    baseline_ms: float
    ratio: float
    limit_ratio: float | None
    repeats: int

    @property
    def is_late(self) -> bool:
        """Whether a limit was passed."""
        slow = self.limit_ms is not None and self.median_ms >= self.limit_ms
        return slow or (self.limit_ratio is not None and self.ratio > self.limit_ratio)


def take(measure: Measure, repeats: int) -> Result:
    """Time a measure and its baseline in turns, after one untimed call of each."""
    measure.prepare()
    measure.run()
    measure.prepare_baseline()
    measure.baseline()
    own, base = [], []
    for _ in range(repeats):
        measure.prepare_baseline()
        base.append(timed(measure.baseline))
        measure.prepare()
        own.append(timed(measure.run))
    median, baseline = statistics.median(own), statistics.median(base)
    return Result(
        name=measure.name,
        median_ms=median,
        slowest_ms=max(own),
        limit_ms=measure.limit_ms,
        baseline=measure.baseline_name,
        baseline_ms=baseline,
        ratio=median / baseline,
        limit_ratio=measure.limit_ratio,
        repeats=repeats,
    )


def timed(call: Callable[[], object]) -> float:
    """Return how long a call takes [ms]."""
    begun = time.perf_counter_ns()
    call()
    return (time.perf_counter_ns() - begun) / 1e6


def forget() -> None:
    """Empty every cache of the service, so that the next answer is computed from the book alone."""
    cache.clear()
    for item in gc.get_objects():
        if isinstance(item, functools._lru_cache_wrapper) and item.__module__.startswith("featherline"):
            item.cache_clear()


def start_afresh(book: Book) -> None:
    """Forget everything but what a process that computes has when it is made."""
    forget()
    list(itertools.chain(known.prepare(book), placements.prepare(book)))


def example(name: str, kind: type[T]) -> T:
    """Return an example request."""
    return msgspec.json.decode((EXAMPLES / name).read_bytes(), type=kind)


def in_process() -> Iterator[Measure]:
    """Yield the measures of the questions, called as the service's routes call them."""
    book = load()
    recipe = example("recipe-request.json", RecipeRequest)
    fit = example("fit-request.json", FitRequest)
    order = example("quote-request.json", Order)

    rng = np.random.default_rng(8037)
    square = rng.standard_normal((40, 40))

    def eigen(times: int) -> tuple[str, Callable[[], object]]:
        return f"{times} x eigh of 40 x 40", lambda: [np.linalg.eigh(square + square.T) for _ in range(times)]

    def union(times: int) -> tuple[str, Callable[[], object]]:
        points = shapely.points(rng.uniform(0.0, 20.0, (40, 2)))
        return f"{times} x union of 40 discs", lambda: [
            shapely.unary_union(shapely.buffer(points, 2.0)) for _ in range(times)
        ]

    micrometres = itertools.count(1200)

    def unseen(observed: tuple[Observation, ...] = ()) -> object:
        layer = BareLayer(material="upper-leather", thickness=f"{next(micrometres) / 1000} mm")
        onto = BareStack(surface="leather", layers=(layer,))
        return recipes.resolve(book, RecipeRequest(film="smooth", onto=onto, press="swing", observations=observed))

    def pressed(dwell_s: int, **seen: Any) -> Observation:  # noqa: ANN401 - fields of an observation
        return Observation(cover="silicone-thin", temperature="150 degC", dwell=f"{dwell_s} s", **seen)

    def read(at_s: int) -> tuple[GaugeReading, ...]:
        at, value = f"{at_s} s", f"{94 + 0.8 * at_s} degC"
        return (GaugeReading(above="bond line", at=at, value=value, kind="thermocouple-class-1"),)

    ten = (
        *(pressed(26 + 2 * at, bond="holds", upper="unchanged") for at in range(7)),
        *(pressed(40, readings=read(at_s)) for at_s in (20, 25, 30)),
    )
    afresh = partial(start_afresh, book)
    answer = cold_mix.answering(book, Seals(temporary_keys(), timedelta(days=30)))
    offer = (EXAMPLES / "quote-request.json").read_bytes()

    # Baselines as long as what they stand beside, so that a busy machine stretches both alike.
    yield Measure("recipe, asked before", lambda: recipes.resolve(book, recipe), *eigen(1), 200, 2.0)
    yield Measure("recipe, stack never seen", unseen, *eigen(100), 40, 20.0)
    yield Measure("recipe, stack never seen, ten observations", lambda: unseen(ten), *eigen(200), 20, 30.0)
    yield Measure("recipe, all caches empty", lambda: recipes.resolve(book, recipe), *eigen(100), 20, 25.0, forget)
    yield Measure("fit at a pose, asked before", lambda: fits.check(book, fit), *union(1), 100)
    yield Measure("fit at a pose, just started", lambda: fits.check(book, fit), *union(3), 20, 15.0, afresh)
    yield Measure("fit at a pose, all caches empty", lambda: fits.check(book, fit), *union(10), 20, None, forget)
    yield Measure("offer, just started", lambda: answer("offer", offer), *eigen(100), 10, 80.0, afresh)
    yield Measure("quote, asked before", lambda: quotes.compose(book, order), *eigen(10), 100)
    yield Measure("quote, all caches empty", lambda: quotes.compose(book, order), *eigen(100), 20, None, forget)
    single = ("1 x the quote of a single pair", lambda: quotes.compose(book, order))
    table = msgspec.structs.replace(order, quantities=(1, 2, 5, 10, 25, 50, 100, 200))

    eight = "quote of eight quantities"
    yield Measure(f"{eight}, asked before", lambda: quotes.compose(book, table), *single, 100, limit_ratio=2.0)
    yield Measure(
        f"{eight}, all caches empty",
        lambda: quotes.compose(book, table),
        *single,
        20,
        None,
        forget,
        2.0,
        forget,
    )
    asked = cold_mix.new_questions()
    yield Measure(
        "cold mix of 10 questions, each new",
        lambda: [answer(kind, body) for kind, body in itertools.islice(asked, 10)],
        *eigen(300),
        20,
    )

    lists = cold_mix.price_list_texts(book)
    yield Measure(
        "80 lines of a price list, a new text",  # the recipes are known after the first text
        lambda: [answer("quote", body) for body in next(lists)],
        *eigen(100),
        20,
        80 * 0.5,  # 2,000 lines a second on one core
    )


def geometry() -> Iterator[Measure]:
    """Yield the measures of outlines, widths, placing and wrapping, with the letters and the panel already drawn."""
    drawn = shapes.Shapes(load())
    rng = np.random.default_rng(22)
    points = shapely.points(rng.uniform(0.0, 20.0, (40, 2)))

    def discs(times: int) -> tuple[str, Callable[[], object]]:
        return f"{times} x union of 40 discs", lambda: [
            shapely.unary_union(shapely.buffer(points, 2.0)) for _ in range(times)
        ]

    one, five, thirty = discs(1), discs(5), discs(30)
    yield Measure("outline of 11 characters, letters known", drawn.outline, *one, 100, 1.0)
    yield Measure("widths of 11 characters, letters known", drawn.text_widths, *one, 100, 0.3, drawn.lay_out)
    yield Measure("widths of a drawing of 2,000 points", drawn.drawing_widths, *five, 20, 30.0)
    yield Measure("largest copy, not turned", drawn.placed(0.0), *thirty, 20, 50.0)
    yield Measure("largest copy, within 15 degrees", drawn.placed(math.radians(15.0)), *thirty, 20, 100.0)
    yield Measure("largest copy, turned freely", drawn.placed(math.pi), *thirty, 20, 150.0)
    yield Measure("fit and room at a pose", drawn.at_pose, *one, 100, 1.0)
    yield Measure("wrap and pressure", drawn.wrapped, *one, 100, 5.0)


def whole_rosters() -> Iterator[Measure]:
    """Yield the measures of rosters: nesting the pieces of thirty rows, and two hundred rows in one request."""
    book, roster = load(), crews.roster(200)
    search = json.loads(NESTS.read_bytes())
    sizes = [(width, height) for width, height in search["rosters"][0]["sizes_mm"]]

    def sums(times: int) -> tuple[str, Callable[[], object]]:
        # What nesting is made of: sums of widths as the bits of whole numbers.
        return f"{times} x 500 shifts of 2,048 bits", lambda: [
            functools.reduce(lambda reached, step: reached | reached << step, range(500), 1) & ((1 << 2048) - 1)
            for _ in range(times)
        ]

    others = map(crews.roster, itertools.repeat(200), itertools.count())
    nesting = functools.partial(nest, sizes, strip_mm=search["strip_mm"], gap_mm=search["gap_mm"], turnable=True)
    yield Measure("nest of 120 pieces, 30 rows", nesting, *sums(1), 50, 10.0)
    yield Measure("roster of 200 rows, asked before", lambda: rosters.compose(book, roster), *sums(10), 10, 150.0)
    yield Measure(
        "roster of 200 rows, names unseen", lambda: rosters.compose(book, next(others)), *sums(100), 5, 1500.0
    )
    cold = ("roster of 200 rows, just started", lambda: rosters.compose(book, roster), *sums(100), 5, 1500.0)
    yield Measure(*cold, partial(start_afresh, book))
    yield Measure("roster of 200 rows, all caches empty", *cold[1:], forget)


def conduction() -> Iterator[Measure]:
    """Yield the heat solver against a stiff integrator on finite volumes, whose error is no smaller."""
    case = finite_volumes.Case()
    elements_k, volumes_k = case.errors()
    if not elements_k <= volumes_k <= finite_volumes.TOLERANCE_K:
        raise RuntimeError(
            f"The elements are {elements_k:.2g} K off and the volumes {volumes_k:.2g} K: their times cannot be compared"
        )
    baseline = f"scipy BDF, finite volumes, {volumes_k:.1e} K off"

    def cycles() -> None:  # twenty, as a recipe has: one alone would pay for the caches that the volumes have emptied
        for _ in range(20):
            case.by_elements()

    yield Measure(
        f"20 press cycles, {elements_k:.1e} K off", cycles, baseline, case.by_volumes, 10, limit_ratio=20 / 200
    )


def over_http() -> Iterator[Measure]:
    """Yield a quote asked before over HTTP, against a bare application that sends the same body back."""
    body = (EXAMPLES / "quote-request.json").read_bytes()
    headers = {"Content-Type": "application/json"}

    def asking(connection: http.client.HTTPConnection, path: str) -> Callable[[], object]:
        def ask() -> bytes:
            connection.request("POST", path, body, headers)
            answer = connection.getresponse()
            content = answer.read()
            if answer.status != http.HTTPStatus.OK:
                raise RuntimeError(f"POST {path} answered {answer.status}: {content.decode()}")
            return content

        return ask

    with Process(SERVICE, "/health/ready") as service, Process(ECHO, "/ready") as echo:
        service.start()
        echo.start()
        connections = [http.client.HTTPConnection(HOST, process.port, timeout=30) for process in (service, echo)]
        with contextlib.closing(connections[0]), contextlib.closing(connections[1]):
            ours, theirs = asking(connections[0], "/v1/quotes"), asking(connections[1], "/echo")
            yield Measure("quote over HTTP, asked before", ours, "bare Litestar echo", theirs, 300)


def starting() -> Iterator[Measure]:
    """Yield the time from the command to the first 200 of /health/ready, against importing the libraries alone."""

    def imports() -> None:
        subprocess.run([sys.executable, "-I", *IMPORTS], check=True)

    with Process(SERVICE_ALONE, "/health/ready") as service:
        yield Measure("start to ready", service.start, "importing the libraries", imports, 7, 1500.0, service.stop)


def throughput() -> Iterator[Measure]:
    """Yield rates of quotes asked before: alone and in bulk against an echo, through the SDK against posting by hand.

    The echo takes a request and sends an answer of the same sizes.
    """
    answer = msgspec.json.encode(msgspec.json.decode((EXAMPLES / "quote-answer.json").read_bytes()))
    size = str(len(answer))
    with (
        Process(SERVICE, "/health/ready") as service,
        Process(ECHO, "/ready", ANSWER_BYTES=size) as echo,
        Process(PYDANTIC_ECHO, "/ready", ANSWER_BYTES=size) as pydantic_echo,
    ):
        with on_first_processor():
            for each in (service, echo, pydantic_echo):
                each.start()
        yield Measure(
            name="1000 quotes, asked before",
            run=partial(rates.quotes, service.port, 1000),
            baseline_name="1000 x FastAPI and pydantic echo",
            baseline=partial(rates.echoes, pydantic_echo.port, 1000),
            repeats=9,
            limit_ratio=1.0,
        )
        for name, run, baseline_name, baseline, count, repeats, limit_ratio in (
            ("1000 quotes, asked before", rates.quotes, "1000 x echo", rates.echoes, 1000, 15, 1 / 0.6),
            ("1000 quotes in zstd, asked before", rates.coded_quotes, "1000 x echo", rates.echoes, 1000, 15, 1 / 0.6),
            ("3000 lines of bulk, asked before", rates.bulk, "3000 x echo", rates.echoes, 3000, 9, 1 / 3),
            ("3000 lines by the SDK", rates.by_client, "by hand", rates.by_hand, 3000, 9, 1 / 0.8),
            ("3000 lines by the SDK, read", rates.by_client_read, "by hand", rates.by_hand_read, 3000, 9, 1 / 0.8),
            ("100,000 lines by the SDK", rates.by_client, "by hand", rates.by_hand, 100_000, 3, 1 / 0.8),
        ):
            port = echo.port if baseline is rates.echoes else service.port
            yield Measure(
                name=name,
                run=partial(run, service.port, count),
                baseline_name=baseline_name,
                baseline=partial(baseline, port, count),
                repeats=repeats,
                limit_ratio=limit_ratio,
            )


GROUPS: Final = (in_process, geometry, whole_rosters, conduction, over_http, throughput, starting)


def _facts(bulk_lines: int) -> Iterator[facts.Fact]:
    return itertools.chain(
        facts.stages(),
        facts.big_book(),
        facts.memory(bulk_lines),
        facts.peaks_of_both(),
        facts.turns(),
        facts.flood(),
    )


def main() -> int:
    """Measure, print, and return 1 if a limit was passed."""
    arguments = argparse.ArgumentParser(prog="deploy/bench", description=__doc__)
    arguments.add_argument("--json", type=Path, metavar="FILE", help="also write the figures to FILE")
    arguments.add_argument(
        "--bulk-lines", type=int, default=100_000, metavar="COUNT", help="lines of bulk over which memory is to be flat"
    )
    arguments.add_argument(
        "--references", action="store_true", help="first make what is missing of the search's references"
    )
    arguments.add_argument(
        "--group",
        choices=[group.__name__ for group in GROUPS],
        action="append",
        help="measure this group alone, and neither memory nor flood; may be given again",
    )
    chosen = arguments.parse_args()
    if chosen.references:
        runpy.run_path(str(SEARCHES), run_name="__main__")
    load = os.getloadavg()[0]
    if load > _QUIET:
        print(f"This machine is busy (load {load:.1f}): the times are longer than on a quiet one, the ratios less so.")
    print(f"{'':34} {'median':>9} {'slowest':>9} {'limit':>8}   {'ratio':>8}  baseline")
    results, found = list[Result](), list[facts.Fact]()
    groups = [group for group in GROUPS if chosen.group is None or group.__name__ in chosen.group]
    for measure in itertools.chain.from_iterable(group() for group in groups):
        result = take(measure, measure.repeats)
        limit = "" if result.limit_ms is None else f"{result.limit_ms:g} ms"
        print(
            f"{result.name:34} {result.median_ms:6.2f} ms {result.slowest_ms:6.1f} ms {limit:>8}   {result.ratio:8.3g}"
            f"  {result.baseline} ({result.baseline_ms:.2f} ms)",
            flush=True,
        )
        results.append(result)
    print()
    for fact in _facts(chosen.bulk_lines) if chosen.group is None else ():
        most = "" if fact.most is None else f"at most {fact.most:g} {fact.unit}"
        print(f"{fact.name:50} {fact.value:9.2f} {fact.unit:3} {most}", flush=True)
        found.append(fact)
    if chosen.json is not None:
        about = {
            "machine": f"{os.cpu_count()} cores, {platform.machine()}, {platform.system()}",
            "load": load,
            "python": platform.python_version(),
            "packages": {name: version(name) for name in _PACKAGES},
        }
        figures = {"results": [each._asdict() for each in results], "facts": [each._asdict() for each in found]}
        chosen.json.write_text(json.dumps(about | figures, indent=2))
    late = [*(each.name for each in results if each.is_late), *(each.name for each in found if each.is_over)]
    print(f"Over its limit: {', '.join(late)}" if late else "Every limit is kept.")
    return 1 if late else 0


if __name__ == "__main__":
    sys.exit(main())
