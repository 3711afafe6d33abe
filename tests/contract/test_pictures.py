"""Answers as pictures: Accept chooses the form, and a picture can run and load nothing."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import httpx2
import pytest
from pypdf import PdfReader

Ask = Callable[..., httpx2.Response]

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
SVG, HTML, PDF, JSON = "image/svg+xml", "text/html", "application/pdf", "application/json"
PICTURES = [
    ("/v1/fits", "fit-request", SVG),
    ("/v1/recipes", "recipe-request", SVG),
    ("/v1/quotes", "quote-request", HTML),
    ("/v1/quotes", "quote-request", SVG),
    ("/v1/quotes", "walk-in", PDF),
]


def example(name: str) -> Any:  # noqa: ANN401 - JSON
    """Return an example request."""
    return json.loads((EXAMPLES / f"{name}.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize(("path", "name", "media_type"), PICTURES)
def test_accept_chooses_the_picture(ask: Ask, path: str, name: str, media_type: str) -> None:
    """It is of that media type, depends on Accept, and is not guessed to be another (RFC 9110, 12.5.5)."""
    response = ask("POST", path, json=example(name), headers={"accept": media_type})

    assert (200, media_type) == (response.status_code, response.headers["content-type"].partition(";")[0])
    assert ("Accept, Accept-Encoding, Book-Revision", "nosniff", "en") == (
        response.headers["vary"],
        response.headers["x-content-type-options"],
        response.headers["content-language"],
    )
    opening = {SVG: b"<svg ", HTML: b"<!doctype html>", PDF: b"%PDF-"}[media_type]
    assert response.content.startswith(opening)


@pytest.mark.parametrize("media_type", [SVG, HTML])
def test_a_picture_may_run_nothing_and_load_nothing(ask: Ask, media_type: str) -> None:
    """The policy forbids everything but the picture's own styles (Content Security Policy Level 3)."""
    path, name, _ = next(each for each in PICTURES if each[2] == media_type)
    policy = ask("POST", path, json=example(name), headers={"accept": media_type}).headers["content-security-policy"]

    assert {"default-src 'none'", "sandbox", "style-src 'unsafe-inline'"} <= set(policy.split("; "))


@pytest.mark.parametrize(
    ("accept", "expected"),
    [
        (f"{PDF}, {JSON};q=0.9", PDF),
        (f"{PDF};q=0.4, {HTML};q=0.5, {JSON};q=0.3", HTML),
        (f"{PDF};q=0.5, {JSON}", JSON),
        (f"{PDF}, {JSON}", JSON),
        (f"{HTML}, {PDF}", HTML),
        ("application/*", JSON),
        ("text/*", HTML),
        ("*/*", JSON),
        (f"{JSON};q=0, */*", HTML),
        (f"{JSON};q=0.1, application/pdf;q=0.2, */*;q=0", PDF),
        ("", JSON),
    ],
)
def test_weights_are_honoured_and_json_is_the_default(ask: Ask, accept: str, expected: str) -> None:
    """The highest weight wins; of equals JSON, then the order of the description (RFC 9110 section 12.5.1)."""
    response = ask("POST", "/v1/quotes", json=example("quote-request"), headers={"accept": accept})

    assert (200, expected) == (response.status_code, response.headers["content-type"].partition(";")[0])
    by_language = ", Accept-Language" if expected == JSON else ""
    assert f"Accept, Accept-Encoding, Book-Revision{by_language}" == response.headers["vary"]


@pytest.mark.parametrize(
    ("path", "name", "accept"),
    [
        ("/v1/fits", "fit-request", PDF),
        ("/v1/recipes", "recipe-request", HTML),
        ("/v1/quotes", "quote-request", "image/png"),
        ("/v1/costs", "cost-request", SVG),
        ("/v1/trials", "trial-request", HTML),
    ],
)
def test_an_unknown_picture_gets_406(ask: Ask, path: str, name: str, accept: str) -> None:
    """The problem names the media types that exist."""
    response = ask("POST", path, json=example(name), headers={"accept": accept})

    assert (406, "application/problem+json") == (response.status_code, response.headers["content-type"])
    assert JSON in response.json()["detail"]


@pytest.mark.parametrize(("path", "name", "media_type"), PICTURES)
def test_a_fault_is_a_problem_document_whatever_was_asked_for(ask: Ask, path: str, name: str, media_type: str) -> None:
    """An invalid request is refused in JSON, with its pointers, whatever Accept asks for."""
    response = ask("POST", path, json={**example(name), "press": "no-such-press"}, headers={"accept": media_type})

    assert (422, "application/problem+json") == (response.status_code, response.headers["content-type"])
    assert any(fault["pointer"].endswith("/press") for fault in response.json()["errors"])


@pytest.mark.parametrize("media_type", [SVG, HTML, PDF])
def test_hostile_words_reach_a_picture_as_words(ask: Ask, media_type: str) -> None:
    """Characters that are markup elsewhere stay text in the drawing, the page and the PDF."""
    path, name, _ = next(each for each in PICTURES if each[2] == media_type)
    asked = example(name)
    artwork = asked["artwork"] if "artwork" in asked else asked["placements"][0]["artwork"]
    artwork["text"] = "<b>&\"'"
    response = ask("POST", path, json=asked, headers={"accept": media_type})

    assert response.status_code == 200
    if media_type == PDF:
        assert "<b>&\"'" in PdfReader(io.BytesIO(response.content)).pages[0].extract_text()
    else:
        assert "<b>&" not in response.text
        assert "&lt;b&gt;&amp;" in response.text
    if media_type == SVG:
        ET.fromstring(response.content)  # noqa: S314 - our own output


@pytest.mark.parametrize(("path", "name", "media_type"), PICTURES)
def test_a_picture_is_the_same_again(ask: Ask, path: str, name: str, media_type: str) -> None:
    """The same request gets the same bytes: they depend on the request and the book alone."""
    first, second = (ask("POST", path, json=example(name), headers={"accept": media_type}).content for _ in range(2))

    assert first == second


MINUS_ZERO = re.compile(r"(?<![\w.,])[-\u2212]0(?:\.0+)?(?![\d.]*[1-9])")


def words_of(response: httpx2.Response) -> str:
    """Return the words that are read in a picture; of SVG and HTML without their attributes and styles."""
    if response.content.startswith(b"%PDF-"):
        return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(response.content)).pages)
    return re.sub(r"<[^>]*>", " ", re.sub(r"<style.*?</style>", " ", response.text, flags=re.DOTALL))


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize(
    "pose",
    [
        {"kind": "at", "x": "-0.004 mm", "y": "0.004 mm", "rotation": "-0.004 deg"},
        {"kind": "at", "x": "-0.0 mm", "y": "-0.04 mm", "rotation": "-0.0 deg"},
        {"kind": "anchored", "side": "above", "edge": "featherline", "distance": "8 mm", "along": "-0.004 mm"},
    ],
)
def test_no_picture_shows_minus_zero(ask: Ask, pose: dict[str, str], units: str) -> None:
    """A place a hair off the middle, or a hair off upright, is said without a sign: in SVG, page and PDF alike."""
    fit, order = example("fit-request"), example("quote-request")
    asked = [("/v1/fits", {**fit, "pose": pose, "units": units}, SVG)]
    placed = {**order["placements"][0], "pose": pose}
    asked += [("/v1/quotes", {**order, "placements": [placed], "units": units}, each) for each in (HTML, PDF)]
    for path, request, media_type in asked:
        response = ask("POST", path, json=request, headers={"accept": media_type})
        assert response.status_code == 200
        assert [] == MINUS_ZERO.findall(words_of(response))


@pytest.mark.parametrize("units", ["metric", "us"])
def test_no_chart_shows_minus_zero(ask: Ask, units: str) -> None:
    """Nor does the chart, whose axes begin at zero."""
    request = {**example("recipe-request"), "units": units}
    response = ask("POST", "/v1/recipes", json=request, headers={"accept": SVG})
    assert [] == MINUS_ZERO.findall(words_of(response))


def test_minus_zero_is_seen() -> None:
    """The search finds it, in any number of decimals, and lets ranges and numbers below zero be."""
    assert ["-0.0", "-0", "-0.00"] == MINUS_ZERO.findall("at -0.0 mm or -0 and -0.00, not -0.4, 10-05, a-0, -0.05")


def test_the_description_has_the_pictures(ask: Ask) -> None:
    """Every media type that an operation answers with is in its description, JSON first."""
    paths = ask("GET", "/openapi.json").json()["paths"]
    content = {path: [*paths[path]["post"]["responses"]["200"]["content"]] for path in paths if "post" in paths[path]}

    assert [JSON, SVG] == content["/v1/fits"]
    assert [JSON, SVG] == content["/v1/recipes"]
    assert [JSON, HTML, PDF, SVG] == content["/v1/quotes"]
    assert [JSON] == content["/v1/trials"]


def test_a_trial_is_planned_over_http(ask: Ask) -> None:
    """The example walk-in gets a ladder, with the book and the engine that it was planned by."""
    answer = ask("POST", "/v1/trials", json=example("trial-request")).json()

    assert {"trial", "book", "book_until", "engine"} == set(answer)
    assert "trial" == answer["trial"]["verdict"]
    assert answer["trial"]["rungs"]
