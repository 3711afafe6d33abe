"""What is counted and timed while the service works, for whoever runs it to watch.

Of requests by OpenTelemetry's names, as Prometheus writes them; of the rest by our own. Every label has few values,
whatever callers send: routes are templates, and what has no route or no known method shares one value.

References:
    OpenTelemetry semantic conventions for HTTP metrics, 1.23 and later (stable): `http.server.request.duration`, its
    buckets, `http.server.active_requests`, and `_OTHER` for methods that are not known. OpenTelemetry's compatibility
    with Prometheus: dots become underscores, units and `_total` end the name.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import prometheus_client
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram

from featherline_service.web.verdicts import Told

# As the semantic conventions advise for `http.server.request.duration` [s].
_DURATIONS_S: Final = (0.005, 0.01, 0.025, 0.05, 0.075, 0.1, 0.25, 0.5, 0.75, 1.0, 2.5, 5.0, 7.5, 10.0)
_WAITS_S: Final = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
_METHODS: Final = frozenset({"CONNECT", "DELETE", "GET", "HEAD", "OPTIONS", "PATCH", "POST", "PUT", "TRACE"})
_OTHER: Final = "_OTHER"
_FAILED: Final = 500

prometheus_client.disable_created_metrics()  # type: ignore[no-untyped-call]  # one more series for each that there is, and nobody draws them


class Metrics:
    """The instruments of one service."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self._durations = Histogram(
            "http_server_request_duration_seconds",
            "How long requests took, from the head to the end of the answer.",
            ("http_request_method", "url_scheme", "http_route", "http_response_status_code", "error_type"),
            buckets=_DURATIONS_S,
            registry=self.registry,
        )
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
        # Looking a series up by its labels takes longer than counting in it.
        self._durations_of: dict[tuple[str, str, str, int], Histogram] = {}
        self._active_of: dict[tuple[str, str], Gauge] = {}

    def active(self, method: str, scheme: str) -> Gauge:
        """Return the number of requests with a method and a scheme that are being answered, to go up and down."""
        method, scheme = known_method(method), known_scheme(scheme)
        found = self._active_of.get((method, scheme))
        if found is None:
            found = self._active_of[method, scheme] = self._active.labels(method, scheme)
        return found

    def finished(self, method: str, scheme: str, route: str | None, status: int, seconds: float) -> None:
        """Count a request that has ended.

        Args:
            method: As it was sent.
            scheme: As it was sent.
            route: The template of its path; None where there is nothing at the path.
            status: That of the answer, 0 where there was none.
            seconds: How long it took.
        """
        key = known_method(method), known_scheme(scheme), route or "", status
        found = self._durations_of.get(key)
        if found is None:
            error = str(status) if status >= _FAILED else "" if status else _OTHER
            found = self._durations_of[key] = self._durations.labels(*key[:3], str(status or ""), error)
        found.observe(seconds)

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
