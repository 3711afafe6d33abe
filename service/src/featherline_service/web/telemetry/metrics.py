"""What is counted and timed while the service works, for whoever runs it to watch.

Of requests by OpenTelemetry's names, as Prometheus writes them; of the rest by our own. Every label has few values,
whatever callers send: routes are templates, and what has no route or no known method shares one value.

References:
    OpenTelemetry semantic conventions for HTTP metrics, 1.23 and later (stable): `http.server.request.duration`, its
    buckets, `http.server.active_requests`, and `_OTHER` for methods that are not known. OpenTelemetry's compatibility
    with Prometheus: dots become underscores, units and `_total` end the name.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from typing import Final

import prometheus_client
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from prometheus_client.metrics_core import HistogramMetricFamily, Metric
from prometheus_client.registry import Collector
from prometheus_client.utils import floatToGoString

from featherline_service.web.answering.verdicts import Told

# As the semantic conventions advise for `http.server.request.duration` [s].
_DURATIONS_S: Final = (0.005, 0.01, 0.025, 0.05, 0.075, 0.1, 0.25, 0.5, 0.75, 1.0, 2.5, 5.0, 7.5, 10.0)
_WAITS_S: Final = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
_METHODS: Final = frozenset({"CONNECT", "DELETE", "GET", "HEAD", "OPTIONS", "PATCH", "POST", "PUT", "TRACE"})
_OTHER: Final = "_OTHER"
_FAILED: Final = 500

Known = tuple[str, str]
"""A request's method and scheme, as labels have them."""

prometheus_client.disable_created_metrics()  # type: ignore[no-untyped-call]  # one more series for each that there is, and nobody draws them


class _Durations:
    """How many requests took how long, by the bounds, and all of them together.

    Every request counts here, on the event loop alone: that takes a sixth of the time of the library's histogram, which
    has a lock for each bucket.
    """

    def __init__(self) -> None:
        self.counts = [0] * (len(_DURATIONS_S) + 1)
        self.sum_s = 0.0


class Metrics(Collector):
    """The instruments of one service."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self._durations: dict[tuple[Known, str | None, int], _Durations] = {}
        self.registry.register(self)
        self._active = Gauge(
            "http_server_active_requests",
            "Requests that are being answered.",
            ("http_request_method", "url_scheme"),
            registry=self.registry,
        )
        self.waits = Histogram(
            "featherline_queue_wait_seconds",
            "How long jobs waited: in the line of questions, of slices of long work, of long searches; for their turn.",
            ("queue",),
            buckets=_WAITS_S,
            registry=self.registry,
        )
        self._verdicts = Counter(
            "featherline_verdicts",
            "Answers given, by their verdict.",
            ("question", "verdict"),
            registry=self.registry,
        )
        self._reasons = Counter(
            "featherline_reasons",
            "Reasons in the answers given, by code and by the verdict that the reason alone leads to.",
            ("question", "code", "verdict"),
            registry=self.registry,
        )
        self.bulk_lines = Counter(
            "featherline_bulk_lines",
            "Lines of bulk that were answered, by the kind and the status of the answer.",
            ("kind", "status"),
            registry=self.registry,
        )
        self.bulk_streams = Gauge("featherline_bulk_streams", "Streams of bulk that are open.", registry=self.registry)
        self._active_now: dict[Known, int] = {}

    def began(self, method: str, scheme: str) -> Known:
        """Count a request that has begun; return what of it is known when it has ended."""
        known = known_method(method), known_scheme(scheme)
        if known not in self._active_now:
            self._active_now[known] = 0
            self._active.labels(*known).set_function(lambda: self._active_now[known])
        self._active_now[known] += 1
        return known

    def finished(self, known: Known, route: str | None, status: int, seconds: float) -> None:
        """Count a request that has ended.

        Args:
            known: What `began` returned.
            route: The template of its path; None where there is nothing at the path.
            status: That of the answer, 0 where there was none.
            seconds: How long it took.
        """
        self._active_now[known] -= 1
        found = self._durations.get((known, route, status))
        if found is None:
            found = self._durations[known, route, status] = _Durations()
        found.counts[bisect_left(_DURATIONS_S, seconds)] += 1
        found.sum_s += seconds

    def collect(self) -> Iterable[Metric]:
        """Yield the durations of requests, as a registry asks for them."""
        family = HistogramMetricFamily(
            "http_server_request_duration_seconds",
            "How long requests took, from the head to the end of the answer.",
            labels=("http_request_method", "url_scheme", "http_route", "http_response_status_code", "error_type"),
        )
        for (known, route, status), durations in tuple(self._durations.items()):
            error = str(status) if status >= _FAILED else "" if status else _OTHER
            bounds = (*map(floatToGoString, _DURATIONS_S), "+Inf")
            buckets = list(zip(bounds, itertools.accumulate(durations.counts), strict=True))
            family.add_metric((*known, route or "", str(status or ""), error), buckets, durations.sum_s)
        yield family

    def verdicts(self, question: str, told: Told) -> Sequence[Counter]:
        """Return what counts up by one each time that an answer with this verdict and these reasons is given."""
        verdict = () if told.verdict is None else (self._verdicts.labels(question, told.verdict),)
        return (*verdict, *(self._reasons.labels(question, reason.code, reason.verdict) for reason in told.reasons))


def known_method(method: str) -> str:
    """Return a method as labels have it."""
    return method if method in _METHODS else _OTHER


def known_scheme(scheme: str) -> str:
    """Return a scheme as labels have it."""
    return "https" if scheme == "https" else "http"
