"""What comes of a question in a process that computes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from msgspec import Struct
from structlog.testing import capture_logs
from unread_books import UNREAD

from featherline_service.book.shop_book import Book
from featherline_service.messages.told import told
from featherline_service.questions.checks import Checks
from featherline_service.questions.record_ranges import Outside
from featherline_service.web.answering.outcomes import Asked, Failure, Outcome, Success, answerer, decode, encode
from featherline_service.web.answering.question import Computed, Question
from featherline_service.web.http.bodies import Body


class Name(Struct, frozen=True, forbid_unknown_fields=True):
    """What is asked."""

    name: str


def outcome(
    compute: Callable[[Book, Name, str], Computed], text: bytes = b'{"name":"TIDE"}', *, is_line: bool = False
) -> Outcome:
    """Return what comes of a text."""
    question = Question("name", Body(Name), compute, is_long=lambda request: request.name == "LONG")
    answer = answerer((UNREAD,), {"name": question})
    return decode(answer(encode(Asked("name", text, is_line, "tide-7"))))


def echo(_book: Book, request: Name, _language: str) -> Computed:
    """Answer with the name."""
    return Computed(request.name.encode(), "ready")


def raising(error: BaseException) -> Callable[[Book, Name, str], Computed]:
    """Return what raises an error."""

    def compute(_book: Book, _request: Name, _language: str) -> Computed:
        raise error

    return compute


def refuse(_book: Book, _request: Name, _language: str) -> Computed:
    """Refuse with a fault."""
    checks = Checks()
    checks.note("/name", told("refused", "Give another"))
    checks.settle()
    return Computed(b"")


def failure(*arguments: Any, **more: Any) -> Failure:  # noqa: ANN401 - as `outcome` takes them
    """Return the problem that comes of a text."""
    with capture_logs():
        failed = outcome(*arguments, **more)
    assert isinstance(failed, Failure)
    return failed


def test_an_answer_comes_with_what_is_kept_of_it() -> None:
    """Its body and verdict."""
    assert Success(b"TIDE", "ready", (), None) == outcome(echo)


def test_an_answer_tells_of_records_outside_their_range() -> None:
    """Each with its property, the value and the range."""
    use = Outside("presses/swing", "temperature", 160.0, 80.0, 120.0, "degC")

    found = outcome(lambda book, request, language: echo(book, request, language)._replace(outside=(use,)))
    assert Success(b"TIDE", "ready", (), None, (use,)) == found


@pytest.mark.parametrize(
    ("compute", "text", "kind", "pointers"),
    [
        (echo, b"{", "malformed-body", [""]),
        (echo, b'{"name":7}', "refused", ["/name"]),
        (refuse, b'{"name":"TIDE"}', "refused", ["/name"]),
        (raising(ZeroDivisionError("a secret")), b'{"name":"TIDE"}', "internal", []),
    ],
)
def test_a_problem_is_the_one_that_is_sent(
    compute: Callable[[Book, Name, str], Computed], text: bytes, kind: str, pointers: list[str]
) -> None:
    """With its faults; a failure of the service shows nothing of itself but the request's id."""
    problem = failure(compute, text).error()

    assert (kind, pointers) == (problem.kind.name, [fault.pointer for fault in problem.faults])
    assert "secret" not in problem.detail
    assert ("tide-7" in problem.detail) == (kind == "internal")


def test_what_takes_long_is_no_line() -> None:
    """Alone it is answered."""
    assert Success(b"LONG", "ready", (), None) == outcome(echo, b'{"name":"LONG"}')
    assert "post this alone" in failure(echo, b'{"name":"LONG"}', is_line=True).faults[0].detail


def test_a_lack_of_memory_is_for_the_process_to_tell() -> None:
    """It has no answer."""
    with pytest.raises(MemoryError):
        outcome(raising(MemoryError()))
