"""The instruments that count and time the service's work, for its operators.

Those of requests have OpenTelemetry's names, as Prometheus writes them; the others have our own. Every label has few
values, whatever callers send: routes are templates, and requests without a route or a known method share one value.

References:
    OpenTelemetry semantic conventions for HTTP metrics, 1.23 and later (stable): `http.server.request.duration`, its
    buckets, `http.server.active_requests`, and `_OTHER` for methods that are not known. OpenTelemetry's compatibility
    with Prometheus: dots become underscores, units and `_total` end the name.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from typing import Final, get_args

import prometheus_client
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram

from featherline.wire.seals import SealStatus

# As the semantic conventions advise for `http.server.request.duration` [s].
_DURATIONS_S: Final = (0.005, 0.01, 0.025, 0.05, 0.075, 0.1, 0.25, 0.5, 0.75, 1.0, 2.5, 5.0, 7.5, 10.0)
_WAITS_S: Final = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
METHODS: Final = frozenset({"CONNECT", "DELETE", "GET", "HEAD", "OPTIONS", "PATCH", "POST", "PUT", "TRACE"})
_OTHER: Final = "_OTHER"
SEAL_STATUSES: Final = get_args(get_args(SealStatus)[0])
_FAILED: Final = 500

RequestLabels = tuple[str, str]
"""A request's method and scheme, as label values."""

prometheus_client.disable_created_metrics()  # type: ignore[no-untyped-call]  # it doubles the series, and nobody graphs them


class Metrics:
    """The instruments of one service."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        active = Gauge(
            "http_server_active_requests",
            "Requests that are being answered.",
            ("http_request_method", "url_scheme"),
            registry=self.registry,
        )
        durations = Histogram(
            "http_server_request_duration_seconds",
            "How long requests took, from the head to the end of the answer.",
            ("http_request_method", "url_scheme", "http_route", "http_response_status_code", "error_type"),
            buckets=_DURATIONS_S,
            registry=self.registry,
        )
        # Cached, because each request looks them up and the library's own lookup is slower.
        self._active = cache(active.labels)
        self._duration = cache(
            lambda labels, route, status: durations.labels(*labels, route or "", str(status or ""), _error(status))
        )
        self._waits = Histogram(
            "featherline_queue_wait_seconds",
            "How long questions waited for a process, by class of caller: questions, bulk, rosters.",
            ("class",),
            buckets=_WAITS_S,
            registry=self.registry,
        )
        self._computing = Histogram(
            "featherline_computing_seconds",
            "Processor time of questions that were computed, by class of caller.",
            ("class",),
            buckets=_DURATIONS_S,
            registry=self.registry,
        )
        self._refusals = Counter(
            "featherline_refusals",
            "Requests that were refused, by the id of their key (empty without a known one) and by the problem.",
            ("key", "problem"),
            registry=self.registry,
        )
        self.seal_checks = Counter(
            "featherline_seal_checks",
            "Seals that were checked, by what was found.",
            ("status",),
            registry=self.registry,
        )
        for status in SEAL_STATUSES:  # from the start, so that the first one of a kind is an increase
            self.seal_checks.labels(status)
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
        self._outside = Counter(
            "featherline_outside_range",
            "Answers given that use a record of the book outside its range, by the record and its property.",
            ("record", "property"),
            registry=self.registry,
        )
        self.bulk_lines = Counter(
            "featherline_bulk_lines",
            "Lines of bulk that were answered, by the kind and the status of the answer.",
            ("kind", "status"),
            registry=self.registry,
        )
        self.bulk_streams = Gauge("featherline_bulk_streams", "Streams of bulk that are open.", registry=self.registry)

    def request_started(self, method: str, scheme: str) -> RequestLabels:
        """Count a request that has begun; return its labels for `request_finished`."""
        labels = method_label(method), scheme_label(scheme)
        self._active(*labels).inc()
        return labels

    def request_finished(self, labels: RequestLabels, route: str | None, status: int, seconds: float) -> None:
        """Count a request that has ended.

        Args:
            labels: What `request_started` returned.
            route: The template of its path; None where there is nothing at the path.
            status: The status of the answer, 0 where there was none.
            seconds: How long it took.
        """
        self._active(*labels).dec()
        self._duration(labels, route, status).observe(seconds)

    def request_refused(self, key: str, problem: str) -> None:
        """Count a request that was refused: the id of its key, empty without a known one, and the problem's name."""
        self._refusals.labels(key, problem).inc()

    def observe_computed(self, class_: str, waited_s: float, took_s: float) -> None:
        """Count a question that was computed: how long it waited, and its processor time."""
        self._waits.labels(class_).observe(waited_s)
        self._computing.labels(class_).observe(took_s)

    def answer_counters(
        self,
        question: str,
        verdict: str | None,
        reasons: Iterable[tuple[str, str]],
        outside: Iterable[tuple[str, str]] = (),
    ) -> Sequence[Counter]:
        """Return the counters to increment each time that an answer is given.

        Args:
            question: The name of the question's operation.
            verdict: The verdict of the answer, None where it has none.
            reasons: The code of each reason, and the verdict that it alone leads to.
            outside: The records that it uses outside their range, each with the property.
        """
        counters = () if verdict is None else (self._verdicts.labels(question, verdict),)
        return (
            *counters,
            *(self._reasons.labels(question, code, of_reason) for code, of_reason in reasons),
            *(self._outside.labels(record, property_) for record, property_ in outside),
        )


def method_label(method: str) -> str:
    """Return a method as a label value."""
    return method if method in METHODS else _OTHER


def scheme_label(scheme: str) -> str:
    """Return a scheme as a label value."""
    return "https" if scheme == "https" else "http"


def _error(status: int) -> str:
    """Return the type of a request's error as a label value, empty where the server did not fail."""
    if not status:
        return _OTHER
    return str(status) if status >= _FAILED else ""
