"""Whose trace a request is part of."""

from __future__ import annotations

import re
from typing import Any

import pytest

from featherline_service.web.telemetry.trace_context import Parent, parse, read_parent, start_span

# The example of Trace Context, section 3.2.
TRACE = "4bf92f3577b34da6a3ce929d0e0e4736"
SPAN = "00f067aa0ba902b7"
EXAMPLE = f"00-{TRACE}-{SPAN}-01"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (EXAMPLE, Parent(TRACE, SPAN, 1)),
        (f"00-{TRACE}-{SPAN}-00", Parent(TRACE, SPAN, 0)),
        (f"00-{TRACE}-{SPAN}-ff", Parent(TRACE, SPAN, 255)),
        (f"cc-{TRACE}-{SPAN}-01", Parent(TRACE, SPAN, 1)),
        (f"cc-{TRACE}-{SPAN}-01-what-the-future-will-be-like", Parent(TRACE, SPAN, 1)),
        (f"cc-{TRACE}-{SPAN}-01.what-the-future-will-not-be-like", None),
        (f"ff-{TRACE}-{SPAN}-01", None),
        (f"00-{TRACE}-{SPAN}-01-tail", None),
        (f"00-{TRACE}-{SPAN}-01-", None),
        (f"00-{'0' * 32}-{SPAN}-01", None),
        (f"00-{TRACE}-{'0' * 16}-01", None),
        (EXAMPLE.upper(), None),
        (f"00-{TRACE[:-1]}-{SPAN}-01", None),
        (f"00-{TRACE}0-{SPAN}-01", None),
        (f"00-{TRACE}-{SPAN}-1", None),
        (f"00-{TRACE[:-1]}.-{SPAN}-01", None),
        (f"0x-{TRACE}-{SPAN}-01", None),
        (f"00_{TRACE}_{SPAN}_01", None),
        (f"{EXAMPLE}\n", None),
        (f"{EXAMPLE},{EXAMPLE}", None),
        ("", None),
    ],
)
def test_a_parent_is_read_strictly(text: str, expected: Parent | None) -> None:
    """By the grammar of W3C Trace Context section 3.2.2; of later versions, the part that is known (section 4.3)."""
    assert expected == parse(text)


def scope(*headers: tuple[bytes, bytes]) -> Any:  # noqa: ANN401 - a scope's headers are all that is read
    """Return a request's scope."""
    return {"headers": [(b"host", b"saltmarsh.test"), *headers]}


def test_a_request_says_it_once() -> None:
    """White space around the value is none of it; said twice, it says nothing, whatever the state."""
    parent = (b"traceparent", f" {EXAMPLE}\t".encode())
    states = (b"tracestate", b"rojo=00f067aa0ba902b7"), (b"tracestate", b"congo=t61rcWkgMzE")

    assert Parent(TRACE, SPAN, 1, ("rojo=00f067aa0ba902b7", "congo=t61rcWkgMzE")) == read_parent(scope(parent, *states))
    assert [None, None, None] == [
        read_parent(scope(*each)) for each in ((parent, parent), states, ((b"traceparent", b"\xff"),))
    ]


def test_every_request_is_a_part_of_its_own() -> None:
    """Of the caller's trace, or of one that never was before; a name and no more."""
    spans = [start_span(parent) for parent in (None, None, Parent(TRACE, SPAN, 1))]
    for span in spans:
        span.end("GET", "http", "/docs", 200)

    assert all(re.fullmatch("[0-9a-f]{32}", each.trace_id) for each in spans)
    assert all(re.fullmatch("[0-9a-f]{16}", each.span_id) for each in spans)
    assert 3 == len({each.trace_id for each in spans}) == len({each.span_id for each in spans} - {SPAN})
    assert TRACE == spans[2].trace_id
