"""From the bytes of a question to its outcome, as it comes from a process that computes: an answer, or a problem."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.hand_prices import HandPriceRequest
from featherline.wire.problems import Fault
from featherline_service.book.shop_book import Book
from featherline_service.messages.catalogues import ENGLISH
from featherline_service.messages.told import told
from featherline_service.messages.values import Said
from featherline_service.questions.checks import RefusedError, told_fault
from featherline_service.questions.record_ranges import Outside
from featherline_service.questions.translation import translated_faults
from featherline_service.signatures import Sealable, sealed_request
from featherline_service.web.answering.pins import Pins, pinned
from featherline_service.web.answering.question import Computed, Question
from featherline_service.web.http import problems
from featherline_service.web.http.problems import ProblemError, ProblemKind


class Asked(Struct, frozen=True, array_like=True):
    """A question: its name, its JSON text, whether it is a line of bulk, the id of the request or line, and the book.

    That is the number of the book in the order of time. `pins` are what the caller's key is pinned to; `language` is
    that of the answer's sentences.
    """

    question: str
    text: bytes
    is_line: bool
    request_id: str
    book: int = 0
    pins: Pins | None = None
    language: str = ENGLISH


class Success(Struct, frozen=True, array_like=True, tag="success"):
    """An answer: its body without a seal, its verdict, code and verdict of its reasons, and what a seal vouches for.

    `outside` are the records of the book that it uses outside their range.
    """

    body: bytes
    verdict: str | None
    reasons: tuple[tuple[str, str], ...]
    sealable: Sealable | None
    outside: tuple[Outside, ...] = ()


class Failure(Struct, frozen=True, array_like=True, tag="failure"):
    """A problem."""

    kind: ProblemKind
    detail: str | Said
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
            faults = translated_faults(problem.faults, books[asked.book], asked.language) if problem.faults else ()
            return encode(Failure(problem.kind, problem.said or problem.detail, faults, problem.headers))

    return answer


def _success(book: Book, question: Question, asked: Asked) -> Success:
    asked_for = question.body.decode(asked.text)
    request = asked_for if asked.pins is None else pinned(asked.pins, asked_for, asked.text, book)
    compute = compute_line if asked.is_line else _compute
    computed = compute(book, question, request, asked.language)
    return Success(
        computed.body,
        computed.verdict,
        tuple((reason.code, reason.verdict) for reason in computed.reasons),
        sealable_as_asked(computed.sealable, asked_for, asked.pins),
        tuple(computed.outside),
    )


def sealable_as_asked(sealable: Sealable | None, request: Any, pins: Pins | None) -> Sealable | None:  # noqa: ANN401 - of the question's type
    """Return what a seal vouches for, its order as the caller has it, which is what a checkout holds against the seal.

    The policy that a key is pinned to is in the seal in any case; the owner is, too, where the key has one.
    """
    if sealable is None or pins is None:
        return sealable
    return replace(
        sealable,
        owner=pins.owner,
        **sealed_request(request.order if isinstance(request, HandPriceRequest) else request),
    )


def _compute(book: Book, question: Question, request: Any, language: str) -> Computed:  # noqa: ANN401 - of the question's type
    return question.compute(book, request, language)


def compute_line(book: Book, question: Question, request: Any, language: str = ENGLISH) -> Computed:  # noqa: ANN401 - of the question's type
    """Return the answer to one of many requests.

    Raises:
        RefusedError: It takes seconds, or cannot be answered.
    """
    if question.is_long(request):
        detail = told(
            "line.too-long", "Nesting outlines takes too long for a line: post this alone, or without `outlines`"
        )
        raise RefusedError((told_fault("", detail),))
    return question.compute(book, request, language)
