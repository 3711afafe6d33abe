"""From the bytes of a question to its outcome, as it comes from a process that computes: an answer, or a problem."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import msgspec
from msgspec import Struct

from featherline.wire.problems import Fault
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.signatures import Sealable
from featherline_service.web.answering.question import Computed, Question
from featherline_service.web.http import problems
from featherline_service.web.http.problems import ProblemError, ProblemKind


class Asked(Struct, frozen=True, array_like=True):
    """A question: its name, its JSON text, whether it is a line of bulk, the id of the request or line, and the book.

    That is the number of the book in the order of time.
    """

    question: str
    text: bytes
    is_line: bool
    request_id: str
    book: int = 0


class Success(Struct, frozen=True, array_like=True, tag="success"):
    """An answer: its body without a seal, its verdict, code and verdict of its reasons, and what a seal vouches for."""

    body: bytes
    verdict: str | None
    reasons: tuple[tuple[str, str], ...]
    sealable: Sealable | None


class Failure(Struct, frozen=True, array_like=True, tag="failure"):
    """A problem."""

    kind: ProblemKind
    detail: str
    faults: tuple[Fault, ...]
    headers: Mapping[str, str]

    def error(self) -> ProblemError:
        """Return the problem as it is raised."""
        return ProblemError(self.kind, self.detail, faults=self.faults, headers=self.headers)


Outcome = Success | Failure

encode: Final = msgspec.msgpack.Encoder().encode
decode: Final = msgspec.msgpack.Decoder(Outcome).decode
_decode_asked: Final = msgspec.msgpack.Decoder(Asked).decode


def answerer(books: Sequence[Book], questions: Mapping[str, Question]) -> Callable[[bytes], bytes]:
    """Return the function that answers questions by some books: from an encoded `Asked` to an encoded outcome.

    It raises nothing but `MemoryError`.
    """

    def answer(encoded: bytes) -> bytes:
        asked = _decode_asked(encoded)
        try:
            return encode(_success(books[asked.book], questions[asked.question], asked))
        except MemoryError:
            raise
        except Exception as error:  # noqa: BLE001 - every question has an outcome
            problem = problems.from_exception(error) or problems.internal(error, asked.request_id)
            return encode(Failure(problem.kind, problem.detail, problem.faults, problem.headers))

    return answer


def _success(book: Book, question: Question, asked: Asked) -> Success:
    request = question.body.decode(asked.text)
    computed = compute_line(book, question, request) if asked.is_line else question.compute(book, request)
    return Success(
        computed.body,
        computed.verdict,
        tuple((reason.code, reason.verdict) for reason in computed.reasons),
        computed.sealable,
    )


def compute_line(book: Book, question: Question, request: Any) -> Computed:  # noqa: ANN401 - of the question's type
    """Return the answer to one of many requests.

    Raises:
        RefusedError: It takes seconds, or cannot be answered.
    """
    if question.is_long(request):
        detail = "Nesting outlines takes too long for a line: post this alone, or without `outlines`"
        raise RefusedError((Fault(pointer="", detail=detail),))
    return question.compute(book, request)
