"""Answers to lines: a quote for each order, as the service gives it, or the problem that it has.

An answer has no seal (`"seal":null`): repricing needs no private key, and whoever sells by such a price asks the
service for a sealed one. All before the seal are the bytes of the answer to POST /v1/quotes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.bulk import LineId, QuoteQuestion
from featherline.wire.costs import Order
from featherline_service.book.shop_book import Book
from featherline_service.messages.texts import english
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.quote import quotes
from featherline_service.web.answering.outcomes import compute_line
from featherline_service.web.answering.question import Computed, Question
from featherline_service.web.http import problems
from featherline_service.web.http.bodies import Body
from featherline_service.web.http.json_text import encode
from featherline_service.web.http.lines import Line, too_large_line
from featherline_service.web.http.problems import MALFORMED_BODY
from featherline_service.web.routes.questions import takes_long


class LineAnswer(Struct, frozen=True):
    """The answer to a line: its number and id, the status that it would have alone, and the JSON text of its body."""

    number: int
    id: str | None
    status: int
    body: bytes

    @property
    def is_problem(self) -> bool:
        """Whether the body is a problem document."""
        return self.status != _OK


class _Asked(NamedTuple):
    line: Line
    id: str | None
    order: Order


class _Id(Struct, frozen=True):
    id: LineId | None = None


_OK: Final = 200
_UNREADABLE: Final = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)
_body: Final = Body[QuoteQuestion](QuoteQuestion)
_decode_id: Final = msgspec.json.Decoder(_Id).decode
_encode: Final = msgspec.json.Encoder().encode


def _compose(book: Book, order: Order, _language: str) -> Computed:
    return Computed(encode(quotes.compose(book, order)))


_quote: Final = Question("reprice", Body(Order), _compose, is_long=takes_long)


def answer(book: Book, lines: Sequence[Line], run: str, longest: int) -> list[LineAnswer]:
    """Return the answers to lines, in their order.

    Lines are priced shoe by shoe and film by film, so that what was computed for one is still there for the next.

    Args:
        book: The book.
        lines: The lines, as bulk takes them; their `kind` may be left out.
        run: The name of what they are part of, for the `instance` of problems.
        longest: Bytes that a line may have, for the words about one that has more.
    """
    answers: dict[int, LineAnswer] = {}
    asked: list[_Asked] = []
    for line in lines:
        try:
            question = _read(line, longest)
        except Exception as error:  # noqa: BLE001 - no line spoils another
            answers[line.number] = _problem(line, error, run)
        else:
            asked.append(_Asked(line, question.id, question.request))
    for line, id_, order in sorted(asked, key=_shoe_and_films):
        try:
            answers[line.number] = LineAnswer(line.number, id_, _OK, _answer(book, order))
        except Exception as error:  # noqa: BLE001 - no line spoils another
            answers[line.number] = _problem(line, error, run)
    return [answers[line.number] for line in lines]


def _read(line: Line, longest: int) -> QuoteQuestion:
    if line.text is None:
        raise too_large_line(longest)
    return _body.decode(line.text)


def _shoe_and_films(asked: _Asked) -> tuple[bytes, list[str]]:
    return _encode(asked.order.shoe), [placement.film for placement in asked.order.placements]


def _answer(book: Book, order: Order) -> bytes:
    try:
        return compute_line(book, _quote, order).body
    except RefusedError as error:
        faults = (replace(fault, pointer=f"/request{fault.pointer}") for fault in error.faults)
        raise RefusedError(tuple(faults)) from error


def _problem(line: Line, error: Exception, run: str) -> LineAnswer:
    instance = f"{run}#{line.number}"
    problem = problems.from_exception(error) or problems.internal(error, instance)
    id_ = None if line.text is None or problem.kind is MALFORMED_BODY else _id(line.text)
    return LineAnswer(line.number, id_, problem.kind.status, problems.document(problem, instance, english()))


def _id(text: bytes) -> str | None:
    """Return the id of a line that cannot be answered, where it can be read."""
    try:
        return _decode_id(text).id
    except _UNREADABLE:
        return None
