"""The guide's lists of metrics, labels and label values are those of the code."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Final, get_args

import pytest
from prometheus_client import CollectorRegistry
from prometheus_client.metrics import MetricWrapperBase

from featherline.wire.verdicts import ReasonCode, Verdict
from featherline_service.app import create_app
from featherline_service.computing.pool import LIMITS, WEIGHTS
from featherline_service.questions import record_ranges
from featherline_service.runtime import cache
from featherline_service.settings import Settings
from featherline_service.web.http import problems
from featherline_service.web.http.callers import KEYLESS, PUBLIC
from featherline_service.web.routes import bulk, questions
from featherline_service.web.server.protocol import connections_refused
from featherline_service.web.telemetry.metrics import METHODS, SEAL_STATUSES, Metrics

SERVICE: Final = Path(__file__).parents[4] / "service"
README: Final = (SERVICE / "README.md").read_text(encoding="utf-8")
PAGE: Final = (SERVICE / "metrics.md").read_text(encoding="utf-8")
KINDS: Final = [kind for kind in vars(problems).values() if isinstance(kind, problems.ProblemKind)]
STATUSES: Final = {str(kind.status) for kind in KINDS}
_CODE: Final = re.compile(r"`([^`]+)`")
_PACKAGE: Final = "featherline_service."
OF_CALLERS: Final[frozenset[str]] = frozenset()
"""Values that are ids, revisions or versions: the guide has words for them, and no list."""


def rows(text: str, columns: int) -> list[list[str]]:
    """Return the cells of the tables of so many columns, without their heads."""
    lines = re.findall(r"^\|(.*)\|$", text, re.MULTILINE)
    split = [[cell.strip() for cell in line.split(" | ")] for line in lines]
    return [cells for cells in split if len(cells) == columns and not cells[0].startswith("-")]


def metrics_of_readme() -> dict[str, frozenset[str]]:
    """Return each metric that the README lists, with its labels."""
    section = README.partition("## Watching")[2].partition("\n## ")[0]
    found = {}
    for names, labels, _ in rows(section.replace("| | ", "|  | "), 3):
        found.update({name: frozenset(_CODE.findall(labels)) for name in _CODE.findall(names)})
    return {name: labels for name, labels in found.items() if "*" not in name}


def values_of_page() -> dict[tuple[str, str], frozenset[str]]:
    """Return the values that the guide lists for each metric and label."""
    return {
        (metric, label): frozenset(_CODE.findall(values))
        for labels, metrics, values in rows(PAGE, 3)
        for label in _CODE.findall(labels)
        for metric in _CODE.findall(metrics)
    }


def metrics_of_code(registry: CollectorRegistry) -> dict[str, frozenset[str]]:
    """Return each instrument under its name in the text format, with its labels, also where nothing was counted yet."""
    found = {}
    for collector in registry._collector_to_names:
        assert isinstance(collector, MetricWrapperBase)
        (family,) = collector.describe()
        name = f"{family.name}_total" if family.type == "counter" else family.name
        found[name] = frozenset(collector._labelnames)
    return found


@pytest.fixture(scope="module")
def templates() -> frozenset[str]:
    """The paths of the application's routes."""
    return frozenset(create_app(Settings())._templates)


def values_of_code(templates: frozenset[str]) -> Mapping[tuple[str, str], frozenset[str]]:
    """Return the values that the code has for each metric and label."""
    durations, active = "http_server_request_duration_seconds", "http_server_active_requests"
    verdicts, reasons = "featherline_verdicts_total", "featherline_reasons_total"
    caches = {name.removeprefix(_PACKAGE).partition(".")[0] for name in cache.statistics() if name.startswith(_PACKAGE)}
    asked = frozenset(name.partition(" ")[0] for name in questions.by_name())
    refused = {sample.labels["reason"] for family in connections_refused.collect() for sample in family.samples}
    stores = frozenset({"answers", "computations"})
    return {
        **{(metric, "http_request_method"): METHODS | {"_OTHER"} for metric in (durations, active)},
        **{(metric, "url_scheme"): frozenset({"http", "https"}) for metric in (durations, active)},
        (durations, "http_route"): templates,
        (durations, "http_response_status_code"): STATUSES | {"200", "204", "304"},
        (durations, "error_type"): frozenset({status for status in STATUSES if status >= "500"} | {"_OTHER"}),
        **{(metric, "question"): asked for metric in (verdicts, reasons)},
        **{(metric, "verdict"): frozenset(get_args(get_args(Verdict)[0])) for metric in (verdicts, reasons)},
        (reasons, "code"): frozenset(get_args(ReasonCode)),
        ("featherline_outside_range_total", "record"): OF_CALLERS,
        ("featherline_outside_range_total", "property"): frozenset(record_ranges.PROPERTIES),
        ("featherline_cache_lookups_total", "cache"): frozenset(caches | {"answers"}),
        ("featherline_cache_lookups_total", "result"): frozenset({"hit", "miss"}),
        **{(f"featherline_cache_{name}", "store"): stores for name in ("bytes", "limit_bytes")},
        **{
            (f"featherline_{name}", "class"): frozenset(WEIGHTS)
            for name in ("queue_length", "queue_wait_seconds", "computing_seconds")
        },
        ("featherline_computations_ended_total", "limit"): frozenset(LIMITS),
        ("featherline_memory_bytes", "process"): frozenset({"http", "template", "computing-"}),
        ("featherline_bulk_lines_total", "kind"): frozenset({*bulk.KINDS, "problem"}),
        ("featherline_bulk_lines_total", "status"): frozenset({"200"}),
        ("featherline_seal_checks_total", "status"): frozenset(SEAL_STATUSES),
        ("featherline_connections_refused_total", "reason"): frozenset(refused),
        ("featherline_key_expires_timestamp_seconds", "key"): OF_CALLERS,
        ("featherline_refusals_total", "key"): frozenset({KEYLESS.id, PUBLIC.id}),
        ("featherline_seal_key_info", "key"): frozenset({"kid"}),
        ("featherline_refusals_total", "problem"): frozenset(kind.name for kind in KINDS),
        ("featherline_seal_key_info", "temporary"): frozenset({"true", "false"}),
        ("featherline_book_revision_info", "revision"): OF_CALLERS,
        ("featherline_book_revision_info", "state"): frozenset({"in-force", "to-come"}),
        **{("featherline_build_info", label): OF_CALLERS for label in ("book", "engine", "python")},
    }


def test_the_guide_lists_every_label_value(templates: frozenset[str]) -> None:
    """For each metric and label: what the guide lists and the code does not have, and the other way round."""
    code, page = values_of_code(templates), values_of_page()

    assert code.keys() == page.keys()
    assert {} == {at: sorted(code[at] ^ page[at]) for at in code if code[at] != page[at]}


def test_the_guide_lists_every_label_of_every_metric() -> None:
    """The tables of both pages name the same labels of the same metrics."""
    labels: dict[str, set[str]] = {}
    for metric, label in values_of_page():
        labels.setdefault(metric, set()).add(label)

    assert {name: set(found) for name, found in metrics_of_readme().items() if found} == labels


def test_the_instruments_are_those_of_the_guide() -> None:
    """Each instrument that counts and times is in the README, with its labels."""
    counted = metrics_of_code(Metrics().registry)

    assert len(counted) >= 10
    assert counted == {name: labels for name, labels in metrics_of_readme().items() if name in counted}


def test_every_status_of_a_seal_is_counted_from_the_start() -> None:
    """A counter that begins with its first event shows Prometheus no increase."""
    checks = [sample for family in Metrics().seal_checks.collect() for sample in family.samples]

    assert dict.fromkeys(SEAL_STATUSES, 0.0) == {each.labels["status"]: each.value for each in checks}
