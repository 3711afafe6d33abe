"""Answers, each computed once: kept as the bytes that are sent, by what was asked, for single questions and for bulk.

A kept answer is a function of the book, the engine and the request, and of nothing else, so that no answer tells
whether it was kept. What differs from one asking to the next, such as a seal with its instant, is added after this.
"""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import Callable
from threading import Condition
from typing import Any, Final

import msgspec
from cachetools import LRUCache, cached
from msgspec import Struct

from featherline_service.book.shelves import Book
from featherline_service.web.bodies import Body
from featherline_service.web.work import Worker

_ENTRY: Final = 400  # bytes that a kept answer takes beside its own: measured with tracemalloc

_encode: Final = msgspec.json.Encoder().encode
_Key = tuple[str, bytes]


class Question:
    """A kind of question: its name, how its requests are read, and what answers one with the bytes to send.

    `finish` makes of a request and its answer, kept or not, the bytes that are sent this time.
    """

    def __init__(
        self,
        name: str,
        body: Body[Any],
        answer: Callable[[Book, Any], bytes],
        finish: Callable[[Any, bytes], bytes] | None = None,
    ) -> None:
        self.name = name
        self.body = body
        self.answer = answer
        self._finish = finish

    def finished(self, sent: bytes, answered: bytes) -> bytes:
        """Return what is sent of an answer to a JSON text."""
        return answered if self._finish is None else self._finish(self.body.decode(sent), answered)


class Usage(Struct, frozen=True, kw_only=True):
    """How the kept answers were of use: questions asked, those of them that were kept, and bytes held."""

    asked: int
    kept: int
    held: int
    most: int


class Answers:
    """The answers by one book, kept while they are asked for, up to a number of bytes."""

    def __init__(self, book: Book, worker: Worker, most: int) -> None:
        self._book = book
        self._worker = worker
        self._asked = 0
        self._computed = 0
        self._condition = Condition()
        self._kept: LRUCache[_Key, bytes] = LRUCache(most, getsizeof=lambda answer: len(answer) + _ENTRY)
        self._find = cached(self._kept, key=_key, condition=self._condition)(self._compute)
        self._coming: dict[_Key, asyncio.Task[bytes]] = {}

    def usage(self) -> Usage:
        """Return what became of all questions so far."""
        with self._condition:
            held, most = int(self._kept.currsize), int(self._kept.maxsize)
        return Usage(asked=self._asked, kept=self._asked - self._computed, held=held, most=most)

    async def ask(self, question: Question, sent: bytes) -> bytes:
        """Return the answer to a JSON text, as the bytes to send. One that is being computed is waited for.

        Raises:
            ProblemError: The text is not well-formed, or there are too many in line already.
            RefusedError: The text is not of the question's type, or cannot be answered; with every fault.
        """
        key = _key(question, sent)
        with self._condition:
            answer = self._kept.get(key)
        if answer is not None:
            self._asked += 1
            return question.finished(sent, answer)
        coming = self._coming.get(key)
        if coming is None:
            coming = asyncio.create_task(self._worker.run(lambda: self._answer(question, sent)))
            self._coming[key] = coming
            coming.add_done_callback(lambda done: self._arrived(key, done))
        else:
            self._asked += 1
        # Whoever gives up takes the answer from nobody else.
        return question.finished(sent, await asyncio.shield(coming))

    def answer(self, question: Question, sent: bytes) -> bytes:
        """Return the answer to a JSON text, as the bytes to send: kept, or computed here and now.

        Raises:
            ProblemError: The text is not well-formed.
            RefusedError: The text is not of the question's type, or cannot be answered; with every fault.
        """
        return question.finished(sent, self._answer(question, sent))

    def _answer(self, question: Question, sent: bytes) -> bytes:
        self._asked += 1
        return self._find(question, sent)

    def _compute(self, question: Question, sent: bytes) -> bytes:
        request = question.body.decode(sent)
        # However it was written, it is one question.
        canonical = _encode(request)
        if canonical != sent:
            return self._find(question, canonical)
        self._computed += 1
        return question.answer(self._book, request)

    def _arrived(self, key: _Key, done: asyncio.Task[bytes]) -> None:
        del self._coming[key]
        if not done.cancelled():
            done.exception()  # whoever still waits gets it; if nobody does, it is no news


def _key(question: Question, sent: bytes) -> _Key:
    return question.name, hashlib.sha256(sent).digest()
