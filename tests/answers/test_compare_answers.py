"""The comparing of answers: what it takes for the same, what it finds, and how wide its requests reach."""

from __future__ import annotations

import asyncio
import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from ask_requests import body_of
from compare_answers import ROOT, Occurrences, ask, compare, report, requests, stored
from differences import MISSING, Difference, of_answers, of_pages, of_pdfs, of_values, same_text
from draw_requests import STORED, as_lines, read_book
from draw_requests import requests as drawn
from reportlab.pdfgen.canvas import Canvas
from structlog.testing import capture_logs

ANSWER = {"fit": {"verdict": "ready", "clearance_mm": 6.337, "reasons": [{"code": "a.b", "sentence": "3 mm free."}]}}


def changed(value: Any, *way: str | int) -> Any:  # noqa: ANN401 - JSON
    """Return the answer with another value at a place, or without it if the value is missing."""
    answer = json.loads(json.dumps(ANSWER))
    inside = answer
    for name in way[:-1]:
        inside = inside[name]
    if value is MISSING:
        del inside[way[-1]]
    else:
        inside[way[-1]] = value
    return answer


@pytest.mark.parametrize(
    ("share", "expected"), [(1e-6, ["/fit/clearance_mm"]), (1e-10, []), (-1e-6, ["/fit/clearance_mm"])]
)
def test_a_number_is_the_same_within_its_tolerance(share: float, expected: Sequence[str]) -> None:
    """A millionth is another number, a ten-thousandth of a millionth is rounding."""
    other = changed(6.337 * (1.0 + share), "fit", "clearance_mm")

    assert expected == [each.pointer for each in of_values(ANSWER, other)]


@pytest.mark.parametrize(("base", "head", "same"), [
    (0.0, 1e-10, True), (0.0, 1e-8, False), (3, 3.0, True), (1, True, False), (None, 0, False), ("3", 3, False),
])  # fmt: skip
def test_numbers_around_zero_and_of_other_types(base: object, head: object, same: bool) -> None:
    """Around zero the distance counts; 3 and 3.0 are one number, but true, null and texts are none."""
    assert same == (not list(of_values(base, head)))


def test_a_changed_sentence_is_prose() -> None:
    """A sentence in other words is told apart from an answer that changed."""
    other = changed("There are 3 mm free.", "fit", "reasons", 0, "sentence")

    assert [Difference("/fit/reasons/0/sentence", "3 mm free.", "There are 3 mm free.", is_prose=True)] == list(
        of_values(ANSWER, other)
    )


@pytest.mark.parametrize(("value", "way"), [
    ("4 mm free.", ("fit", "reasons", 0, "sentence")),
    ("a.c", ("fit", "reasons", 0, "code")),
    ("trial", ("fit", "verdict")),
    (MISSING, ("fit", "reasons", 0, "sentence")),
    (MISSING, ("fit", "verdict")),
    (MISSING, ("fit", "reasons", 0)),
    (None, ("fit", "clearance_mm")),
])  # fmt: skip
def test_what_is_no_prose_is_an_answer(value: object, way: Sequence[str | int]) -> None:
    """A code, a verdict, a missing field or item, and a sentence in which only the number changed."""
    for base, head in ((ANSWER, changed(value, *way)), (changed(value, *way), ANSWER)):
        (found,) = of_values(base, head)

        assert ("/" + "/".join(map(str, way)), False) == (found.pointer, found.is_prose)


def test_what_differs_each_time_is_passed_over_but_not_its_absence() -> None:
    """A seal holds the clock and a key of the run; that there is none is a difference."""
    assert [] == list(of_values({"seal": {"text": "a"}}, {"seal": {"text": "b"}}))
    assert [Difference("/seal", "a", MISSING)] == list(of_values({"seal": "a"}, {}))
    assert [] == list(of_values({"a": 1, "b": 2}, {"b": 2, "a": 1}))


def test_sealed_or_not_is_a_difference() -> None:
    """Where one side has a seal and the other has null, the seal is not passed over."""
    assert ["/seal"] == [each.pointer for each in of_values({"seal": {"text": "a"}}, {"seal": None})]


def test_pages_are_compared_by_words_and_by_numbers() -> None:
    """Coordinates are numbers; other words are prose; another class or figure is an answer."""
    page = '<svg width="10.5"><path class="a" d="M1.25 2L-3 4"/><text x="1">It fits: 3.0 mm.</text></svg>'

    def found(old: str, new: str) -> list[tuple[str, bool]]:
        return [(each.pointer.split("/")[1], each.is_prose) for each in of_pages(page, page.replace(old, new))]

    assert [] == found("1.25", "1.25000000001")
    assert [("tags", False)] == found("1.25", "1.26")
    assert [("tags", False)] == found('class="a"', 'class="b"')
    assert [("texts", False)] == found("3.0 mm", "3.1 mm")
    assert [("words", True)] == found("It fits", "It does fit")
    assert same_text("#1e999", "#1e999")


def test_documents_are_compared_by_words_and_by_what_is_drawn() -> None:
    """A line moved is an answer, another word is prose, and the time at which a document was made is nothing."""

    def document(word: str, at: float, invariant: int = 1) -> bytes:
        into = io.BytesIO()
        canvas = Canvas(into, invariant=invariant)
        canvas.drawString(100, 100, word)
        canvas.line(10, 10, at, 10)
        canvas.save()
        return into.getvalue()

    base = document("fits", 50.0)

    assert [] == list(of_pdfs(base, document("fits", 50.0, invariant=0)))
    assert [False] == [each.is_prose for each in of_pdfs(base, document("fits", 51.0))]
    assert [True] == [each.is_prose for each in of_pdfs(base, document("goes", 50.0))]


def test_status_and_header_fields_are_compared() -> None:
    """Another status, another field of the head."""
    base = {"status": 200, "headers": {"content-type": "application/json", "vary": "Accept"}, "text": "{}"}
    head = {"status": 422, "headers": {"content-type": "application/json"}, "text": "{}"}

    assert ["/status", "/headers/vary"] == [each.pointer for each in of_answers(base, head)]


def test_words_are_listed_once_and_answers_each() -> None:
    """With `words`, prose is a list of pairs with how often each occurs."""
    prose = Difference("/a/sentence", "old", "new", is_prose=True)
    differing = [(0, prose), (1, prose), (1, Difference("/a/code", "x", "y"))]
    asked = [{"path": "/v1/fits"}, {"path": "/v1/recipes"}]
    lines = list(report(asked, differing, words=True, most=9))

    assert ["#1 POST /v1/recipes /a/code (answer): 'x' -> 'y'", "   2 x 'old'\n    -> 'new'"] == lines[:2]
    assert "1 differences of answers, in 1 of 2; 2 of words, in 2" == lines[2]
    assert 4 == len(list(report(asked, differing, words=False, most=9)))


def test_the_requests_are_drawn_again_alike() -> None:
    """The same seed and the demo book give the stored file, byte for byte, and it is compact."""
    with capture_logs():
        book = asyncio.run(read_book())

    assert STORED.read_bytes() == as_lines(drawn(book)).encode()
    assert 500 == len(stored())
    assert STORED.stat().st_size < 400_000


def test_bodies_are_sent_as_they_are_stored() -> None:
    """A body is JSON; what is no JSON, or no UTF-8, is sent as its bytes."""
    assert b'{"a": "\xc3\x85"}' == body_of({"body": {"a": "\u00c5"}})
    assert b'{"a": \xff' == body_of({"raw": '{"a": \udcff'})
    assert body_of({"method": "GET"}) is None


@pytest.mark.slow
def test_the_working_tree_answers_alike(tmp_path: Path) -> None:
    """Twenty requests, of every question and kind of answer, to two services of this very code, side by side."""
    every = sorted(requests(), key=lambda request: len(json.dumps(request)), reverse=True)
    kinds = {(one["path"], one.get("accept"), one.get("method")): one for one in every if "body" in one}
    asked = [*kinds.values(), *(one for one in every if "raw" in one)]
    asked = [*asked[:18], *every[-2:]]
    answers = ask({"base": ROOT, "head": ROOT}, asked, tmp_path)

    assert 20 == len(asked)
    assert [] == compare(answers["base"], answers["head"])
    assert all(count for count in Occurrences(asked, answers["base"]).answered.values())
    assert {200} < {answer["status"] for answer in answers["base"]}
    with pytest.raises(RuntimeError, match="other"):
        ask({"other": tmp_path}, asked, tmp_path)
