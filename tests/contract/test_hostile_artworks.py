"""Drawings and texts that are meant to harm: each gets a 4xx with a reason, quickly and in little memory."""

from __future__ import annotations

import json
import math
import time
import tracemalloc
from collections.abc import Callable
from typing import Any

import httpx2
import pytest

from featherline_service.runtime import cache

Ask = Callable[..., httpx2.Response]
Json = dict[str, Any]

MOST_S = 0.3
MOST_BYTES = 64 * 1024 * 1024
ON_A_SHOE: Json = {
    "shoe": {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}},
    "panel": "outer-quarter",
    "film": "smooth",
}
QUESTIONS: dict[str, Json] = {"/v1/artworks": {}, "/v1/fits": ON_A_SHOE}


def path(data: str, height: str = "20 mm", rule: str = "nonzero") -> Json:
    """Return path data as artwork."""
    return {"kind": "path", "d": data, "height": height, "fill_rule": rule}


def svg(drawing: str) -> Json:
    """Return an SVG document as artwork."""
    return {"kind": "svg", "svg": drawing, "height": "20 mm"}


def text(words: str) -> Json:
    """Return a text as artwork."""
    return {"kind": "text", "text": words, "font": "bold", "height": "20 mm"}


def star(points: int, step: int) -> str:
    """Return a star that crosses itself, drawn in one go."""
    turns = [2.0 * math.pi * step * k / points for k in range(points)]
    return "M" + " ".join(f"{math.cos(turn):.5f} {math.sin(turn):.5f}" for turn in turns) + "Z"


LAUGHS = "<!DOCTYPE svg [<!ENTITY a 'ha'>" + "".join(
    f"<!ENTITY {name} '{f'&{before};' * 10}'>" for before, name in zip("abcdefgh", "bcdefghi", strict=True)
)  # fmt: skip
HOSTILE = {
    "a star of 301 points that crosses itself 45,000 times": path(star(301, 150)),
    "the same by the other rule": path(star(301, 150), rule="evenodd"),
    "scribbles": path("M0 0" + "".join(f"L{7919 * k % 1009} {104_729 * k % 997}" for k in range(3_000)) + "Z"),
    "100,000 points": path("M0 0" + "".join(f"L{k % 317} {k // 317}" for k in range(100_000))),
    "50,000 segments": path("M0 0" + "h1v1" * 25_000),
    "49,000 points of a polygon": svg("<svg><polygon points='" + "0 1 " * 49_000 + "'/></svg>"),
    "not a number": path("M0 0H10V NaN Z"),
    "1e300": path("M0 0H1e300V1e300Z"),
    "minus 1e300": path("M-1e300 0H10V10Z"),
    "zero area": path("M0 0H10H0Z"),
    "no extent": path("M5 5Z"),
    "next to no area": path("M0 0H10V1e-13H0Z"),
    "groups 10,000 deep": svg("<svg>" + "<g>" * 10_000 + "</g>" * 10_000 + "</svg>"),
    "unknown elements 10,000 deep": svg("<svg xmlns:x='y'>" + "<x:g>" * 10_000),
    "transforms that grow": svg("<svg>" + "<g transform='scale(1000)'>" * 30 + "<rect width='1' height='1'/>"),
    "an entity bomb": svg(LAUGHS + "]><svg><path d='&i;'/></svg>"),
    "an entity from a file": svg("<!DOCTYPE svg [<!ENTITY a SYSTEM 'file:///etc/passwd'>]><svg>&a;</svg>"),
    "2,000 characters": text("A" * 2_000),
    "200 lines": text("\n".join("A" * 100)),
    "half of a surrogate pair": text("A\ud83d"),
    "half of a surrogate pair in a drawing": svg("<svg><title>\ud83d</title><rect width='2' height='1'/></svg>"),
    "a zero-width joiner": text("A\u200dB"),
    "a zero-width non-joiner": text("A\u200cB"),
    "a zero-width space": text("A\u200bB"),
    "an override of direction": text("A\u202eB"),
    "a null": text("A\x00B"),
    "nothing but spaces": text("   "),
    "a height of nothing": path("M0 0H9V9H0Z", "0 mm"),
    "a height of kilometres": path("M0 0H9V9H0Z", "999999 m"),
}
HARMLESS = {
    "a star that crosses itself five times": path(star(5, 2)),
    "a star that crosses itself 30 times, by the other rule": path(star(15, 4), rule="evenodd"),
    "a disc of 2,000 points": path(star(2_000, 1)),
    "groups 30 deep": svg("<svg>" + "<g>" * 30 + "<rect width='2' height='1'/>" + "</g>" * 30 + "</svg>"),
    "small numbers": path("M0 0H1e-3V1e-3H0Z"),
    "200 characters": text("\n".join(["ABCDEFGHIJKLMNOPQ"] * 11)),
    "marks on one letter": text("A\u0301\u0300"),
}  # fmt: skip


def asked(ask: Ask, question: str, artwork: Json) -> httpx2.Response:
    """Return the answer to a question about an artwork, with all caches empty."""
    cache.clear()
    # Escaped, so that what is no text of its own can be sent.
    body = json.dumps({**QUESTIONS[question], "artwork": artwork})
    return ask("POST", question, content=body, headers={"content-type": "application/json"})


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_artwork_is_refused_soon(ask: Ask, question: str, name: str) -> None:
    """It gets a 4xx that says what to do, in 0.3 seconds of processor time, the best of three."""
    took = []
    for _ in range(3):
        begun = time.process_time()
        answer = asked(ask, question, HOSTILE[name])
        took.append(time.process_time() - begun)
        if took[-1] < MOST_S:
            break

    assert answer.status_code in {400, 422}, answer.text[:300]
    assert "application/problem+json" == answer.headers["content-type"]
    assert answer.json()["errors"]
    assert all(len(fault["detail"]) < 500 for fault in answer.json()["errors"])
    assert min(took) < MOST_S


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_artwork_takes_little_memory(ask: Ask, name: str) -> None:
    """At no time more than 64 MB beside what is held."""
    asked(ask, "/v1/artworks", text("A"))
    tracemalloc.start()
    try:
        asked(ask, "/v1/artworks", HOSTILE[name])
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()

    assert peak < MOST_BYTES


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("name", HARMLESS)
def test_what_only_looks_hostile_is_answered(ask: Ask, question: str, name: str) -> None:
    """A valid drawing is never refused, however odd it is."""
    assert 200 == asked(ask, question, HARMLESS[name]).status_code
