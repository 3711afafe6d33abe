"""What is counted, under which names, and how few series there are whatever is sent."""

from __future__ import annotations

import pytest

from featherline_service.web.telemetry.metrics import Metrics


def value(metrics: Metrics, name: str, **labels: str) -> float | None:
    """Return the value of a series; None where there is none."""
    return metrics.registry.get_sample_value(name, labels)


def test_a_request_is_a_duration_under_the_names_of_opentelemetry() -> None:
    """`http.server.request.duration` in seconds, with the attributes that the conventions require and its buckets.

    Names and buckets: OpenTelemetry semantic conventions 1.23, HTTP metrics (from memory).
    """
    metrics = Metrics()
    metrics.request_finished(metrics.request_started("POST", "http"), "/v1/quotes", 200, 0.03)
    series = {
        "http_request_method": "POST",
        "url_scheme": "http",
        "http_route": "/v1/quotes",
        "http_response_status_code": "200",
        "error_type": "",
    }
    (family,) = [each for each in metrics.registry.collect() if each.name == "http_server_request_duration_seconds"]
    bounds = [each.labels["le"] for each in family.samples if each.name.endswith("_bucket")]

    assert [0.0, 1.0] == [
        value(metrics, "http_server_request_duration_seconds_bucket", **series, le=bound) for bound in ("0.025", "0.05")
    ]
    assert 0.03 == value(metrics, "http_server_request_duration_seconds_sum", **series)
    assert (
        ["0.005", "0.01", "0.025", "0.05", "0.075", "0.1", "0.25", "0.5", "0.75", "1.0", "2.5", "5.0", "7.5", "10.0"]
        == bounds[:-1]
    )  # fmt: skip


def test_whatever_is_sent_the_series_are_few() -> None:
    """A thousand methods and paths that there are not are two series: one for each scheme."""
    metrics = Metrics()
    for number in range(1_000):
        scheme = "https" if number % 2 else f"scheme-{number}"
        known = metrics.request_started(f"BREW-{number}", scheme)
        metrics.request_started(f"BREW-{number}", scheme)
        metrics.request_finished(known, None, 404, 0.001)
    series = {"http_request_method": "_OTHER", "http_route": "", "http_response_status_code": "404", "error_type": ""}

    assert [500.0, 500.0] == [
        value(metrics, "http_server_request_duration_seconds_count", **series, url_scheme=scheme)
        for scheme in ("http", "https")
    ]
    assert [500.0, 500.0] == [
        value(metrics, "http_server_active_requests", http_request_method="_OTHER", url_scheme=scheme)
        for scheme in ("http", "https")
    ]


@pytest.mark.parametrize(("status", "code", "error"), [(503, "503", "503"), (0, "", "_OTHER"), (422, "422", "")])
def test_what_failed_has_the_type_of_its_error(status: int, code: str, error: str) -> None:
    """A status of 500 and above, or no answer at all; what the caller did wrong is no error of the server's."""
    metrics = Metrics()
    metrics.request_finished(metrics.request_started("GET", "http"), "/docs", status, 0.001)

    assert 1.0 == value(
        metrics,
        "http_server_request_duration_seconds_count",
        http_request_method="GET",
        url_scheme="http",
        http_route="/docs",
        http_response_status_code=code,
        error_type=error,
    )


def test_an_answer_counts_by_its_verdict_and_its_reasons() -> None:
    """Each time that it is given; an answer without a verdict counts nowhere."""
    metrics = Metrics()
    counts = metrics.answer_counters("checkFit", "decline", [("fit.outside", "decline"), ("fit.curved", "trial")])
    for count in (*counts, *counts):
        count.inc()

    assert 2.0 == value(metrics, "featherline_verdicts_total", question="checkFit", verdict="decline")
    assert [2.0, 2.0] == [
        value(metrics, "featherline_reasons_total", question="checkFit", code=code, verdict=verdict)
        for code, verdict in (("fit.outside", "decline"), ("fit.curved", "trial"))
    ]
    assert () == metrics.answer_counters("estimateCost", None, [])


def test_an_answer_counts_for_each_record_outside_its_range() -> None:
    """By the record and its property, also where the answer has no verdict."""
    metrics = Metrics()
    (count,) = metrics.answer_counters("estimateCost", None, [], [("materials/canvas", "limit")])
    count.inc()

    assert 1.0 == value(metrics, "featherline_outside_range_total", record="materials/canvas", property="limit")
