"""What a question is about, without decoding it."""

from __future__ import annotations

import json

import pytest

from featherline_service.web.answering.topics import topic_of

ORDER = {"shoe": {"kind": "book", "shoe": "regatta-deck"}, "placements": [{"film": "smooth"}, {"film": "flock"}]}


def test_questions_on_the_same_shoe_and_film_share_a_topic() -> None:
    """An order, a fit and a roster of that shoe and film, whatever else they ask."""
    fit = {"shoe": ORDER["shoe"], "film": "smooth", "panel": "tongue"}
    roster = {"order": ORDER, "rows": [{}]}
    topics = [topic_of(json.dumps(asked, separators=(",", ":")).encode()) for asked in (ORDER, fit, roster)]

    assert [topics[0]] * 3 == topics
    assert not topics[0].is_long
    assert topics[0] != topic_of(json.dumps({**ORDER, "placements": []}, separators=(",", ":")).encode())


@pytest.mark.parametrize("text", [b"", b"[]", b"\xff", b'{"placements":7}', b"[" * 100_000, b'{"a":' * 100_000])
def test_what_is_no_question_has_no_topic(text: bytes) -> None:
    """It will be refused by whoever reads it."""
    assert (None, False) == topic_of(text)


@pytest.mark.parametrize("text", [b'{"outlines":"1 s"}', b'{"order":{"outlines":"1 s"}}', b'{"\\u006futlines":"1 s"}'])
def test_a_search_is_told_however_it_is_written(text: bytes) -> None:
    """JSON may write a name's letters as numbers; a text that has the word is none."""
    assert topic_of(text).is_long
    assert not topic_of(b'{"reference":"outlines"}').is_long
    assert not topic_of(b'{"outlines":null}').is_long
