"""The page of metrics, in the formats that Prometheus reads."""

from __future__ import annotations

import platform
from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from typing import Any, Final

from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from prometheus_client import CollectorRegistry, GCCollector, ProcessCollector, exposition
from prometheus_client.metrics_core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.openmetrics import exposition as openmetrics
from prometheus_client.registry import Collector

from featherline_service.computing.pool import LIMITS, Pool
from featherline_service.questions.recipe.evidence.solved import SOLVERS
from featherline_service.runtime import cache, logs
from featherline_service.runtime.engine import ENGINE
from featherline_service.signatures import SealKeys
from featherline_service.web.answering.answer_cache import AnswerCache
from featherline_service.web.answering.revisions import Revisions
from featherline_service.web.http.codings import coding_preference, encode
from featherline_service.web.http.context import header
from featherline_service.web.http.negotiation import preferred
from featherline_service.web.routes.operations import Operation
from featherline_service.web.server import protocol
from featherline_service.web.server.caller_keys import Keys
from featherline_service.web.telemetry.metrics import Metrics

TEXT: Final = "text/plain"
OPENMETRICS: Final = "application/openmetrics-text"
_PACKAGE: Final = "featherline_service."

READ_METRICS: Final = Operation(
    id="readMetrics",
    path="/metrics",
    tag="health",
    scope="watch",
    summary="Read what was counted and timed since the start",
    description="For Prometheus and whatever reads its text format; as OpenMetrics where Accept prefers it. Requests "
    "have OpenTelemetry's names. Nothing of what callers sent is in it. Each replica tells of itself alone.",
    produces=TEXT,
    pictures=(OPENMETRICS,),
    headers=("Cache-Control",),
)
OPERATIONS: Final = (READ_METRICS,)


class _StateCollector(Collector):
    """Metrics of what is counted elsewhere, read when the page is asked for."""

    def __init__(
        self, revisions: Revisions, answers: AnswerCache, pool: Pool | None, keys: Keys | None, seal_keys: SealKeys
    ) -> None:
        self._seal_keys = seal_keys
        self._keys = keys
        self._revisions = revisions
        self._answers = answers
        self._pool = pool

    def collect(self) -> Iterable[Metric]:
        """Yield the metrics as they are now."""
        in_force, to_come = self._revisions.in_force(), self._revisions.to_come()
        yield _gauge(
            "featherline_build_info",
            "Always 1: the book by which it answers, and the engine and Python that compute.",
            ("book", "engine", "python"),
            {(in_force.revision, ENGINE, platform.python_version()): 1},
        )
        yield _gauge(
            "featherline_book_revision_info",
            "Always 1: the revision of the book that is in force, and those that are to come.",
            ("revision", "state"),
            {(in_force.revision, "in-force"): 1, **{(book.revision, "to-come"): 1 for book in to_come}},
        )
        yield _gauge(
            "featherline_book_change_time_seconds",
            "When the next revision of the book comes into force, in seconds since 1970; none if no change is known.",
            (),
            {} if in_force.until is None else {(): in_force.until.timestamp()},
        )
        if self._pool is not None:
            yield from _pool_metrics(self._pool)
        solved = (_lookups(self._pool).get((name, 1), 0) for name in SOLVERS)
        yield _counter("featherline_heat_solves", "Stacks whose pressing was computed.", (), {(): sum(solved)})
        yield _gauge(
            "featherline_key_expires_timestamp_seconds",
            "When each key ends, in seconds since 1970; none where no keys are asked for.",
            ("key",),
            {(caller.id,): caller.expires.timestamp() for caller in (self._keys.callers() if self._keys else ())},
        )
        if self._keys is not None:
            yield _gauge(
                "featherline_key_file_usable",
                "1: the keys in use are those of their file; 0: it cannot be used, and the keys before it are in use.",
                (),
                {(): float(self._keys.is_file_usable)},
            )
        signing = self._seal_keys.keys[0].kid or ""
        yield _gauge(
            "featherline_seal_key_info",
            "Always 1: the key that seals, and whether it ends with this run.",
            ("key", "temporary"),
            {(signing, str(self._seal_keys.temporary).lower()): 1},
        )
        yield from self._caches()

    def _caches(self) -> Iterable[Metric]:
        usage = self._answers.usage()
        processes = 1 if self._pool is None else self._pool.processes()
        lookups: dict[tuple[str, ...], float] = {("answers", "hit"): usage.found, ("answers", "miss"): usage.computed}
        for (name, computed), count in _lookups(self._pool).items():
            lookups[name.removeprefix(_PACKAGE), "miss" if computed else "hit"] = count
        yield _counter(
            "featherline_cache_lookups",
            "How often what was asked for was kept (hit) or had to be computed (miss): whole answers, and the values "
            "of each function that they are computed from.",
            ("cache", "result"),
            lookups,
        )
        yield _gauge(
            "featherline_cache_bytes",
            "Bytes held: of whole answers, and of what they are computed from.",
            ("store",),
            {("answers",): usage.held, ("computations",): _cache_bytes(self._pool)},
        )
        yield _gauge(
            "featherline_cache_limit_bytes",
            "Bytes that may be held.",
            ("store",),
            {
                ("answers",): usage.most,
                ("computations",): cache.limit() * processes,
            },
        )


def _lookups(pool: Pool | None) -> Mapping[tuple[str, int], int]:
    """Return lookups of each cache, found (0) and computed (1): of the processes that compute, or of this one."""
    if pool is not None:
        return pool.lookups()
    uses = cache.statistics().items()
    return {(name, index): count for name, use in uses for index, count in enumerate(use)}


def _cache_bytes(pool: Pool | None) -> int:
    return cache.size() if pool is None else pool.cache_bytes()


def _pool_metrics(pool: Pool) -> Iterable[Metric]:
    yield _gauge(
        "featherline_queue_length",
        "Questions that wait or are computed, by class of caller.",
        ("class",),
        {(class_,): length for class_, length in pool.lengths().items()},
    )
    yield _gauge("featherline_computing_processes", "Processes that compute.", (), {(): pool.processes()})
    yield _counter(
        "featherline_computations_ended",
        "Processes that ended with a question: by their limit, or by themselves (crash).",
        ("limit",),
        {(limit,): pool.ended[limit] for limit in LIMITS},
    )
    yield _gauge(
        "featherline_memory_bytes",
        "Memory of each process, what several share divided among them.",
        ("process",),
        {(process,): size for process, size in pool.memory().items()},
    )


def _family(
    kind: type[CounterMetricFamily | GaugeMetricFamily],
    name: str,
    words: str,
    labels: Sequence[str],
    values: Mapping[tuple[str, ...], float],
) -> Metric:
    family = kind(name, words, labels=labels)
    for label_values, value in values.items():
        family.add_metric(label_values, value)
    return family


_gauge: Final = partial(_family, GaugeMetricFamily)
_counter: Final = partial(_family, CounterMetricFamily)


def write(registry: CollectorRegistry, media_type: str) -> tuple[bytes, str]:
    """Return what a registry holds in a media type, and that type with its version."""
    if media_type == OPENMETRICS:
        written: bytes = openmetrics.generate_latest(registry)  # type: ignore[no-untyped-call]
        return written, openmetrics.CONTENT_TYPE_LATEST
    return exposition.generate_latest(registry), exposition.CONTENT_TYPE_PLAIN_0_0_4


def handlers(
    revisions: Revisions,
    answers: AnswerCache,
    pool: Pool | None,
    metrics: Metrics,
    *,
    keys: Keys | None,
    seal_keys: SealKeys,
) -> Sequence[HTTPRouteHandler]:
    """Return the handler of the metrics."""
    registry = metrics.registry
    registry.register(_StateCollector(revisions, answers, pool, keys, seal_keys))
    registry.register(protocol.connections_refused)
    registry.register(logs.lines_dropped)
    ProcessCollector(registry=registry)
    GCCollector(registry=registry)

    async def read_metrics(request: Request[Any, Any, Any]) -> Response[bytes]:
        preference = preferred(header(request.scope, b"accept"), READ_METRICS.media_types)
        written, media_type = write(registry, preference)
        headers = {"content-type": media_type, "cache-control": "no-store", "vary": "Accept, Accept-Encoding"}
        coding = coding_preference(request.scope).coding(len(written))
        if coding is not None:
            written = encode(written, coding)
            headers["content-encoding"] = coding
        return Response(written, headers=headers, media_type=media_type)

    return [READ_METRICS.handler(read_metrics)]
