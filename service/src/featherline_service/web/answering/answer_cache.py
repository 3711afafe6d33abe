"""Answers, each computed once: kept as the bytes that are sent, by what was asked, for single questions and for bulk.

A kept answer is a function of the book, the engine and the request, and of nothing else, so that no answer tells
whether it was kept. What it bears for some time, such as a seal with its instant, is made for that time (once, but for
two threads that come to it together), kept beside it, and put on each time that it is given: an answer has 13 kB, its
seal one.
"""

from __future__ import annotations

import asyncio
import hashlib
import math
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from functools import partial
from threading import Condition, local
from typing import Any, Final, NamedTuple, Protocol, TypeVar

import msgspec
from cachetools import LRUCache, cached
from msgspec import Struct
from prometheus_client import Counter

from featherline_service.book.shop_book import Book
from featherline_service.runtime import computation_lock
from featherline_service.runtime.computation_lock import LateError
from featherline_service.web.answering.verdicts import NOTHING, Told
from featherline_service.web.answering.work import Worker
from featherline_service.web.http.bodies import Body
from featherline_service.web.http.codings import AS_IT_IS, Wish, encode
from featherline_service.web.telemetry.metrics import Metrics

_MARKS_OF_LONG: Final = (b"outlines", b"\\u")
_LONG_S: Final = 60.0  # what a long answer may take beyond the deadline, for the searches of its own budget
_ENTRY: Final = 540  # bytes that a kept answer takes beside its own: measured with tracemalloc

_encode: Final = msgspec.json.Encoder().encode
_Key = tuple[str, bytes, Wish]
_Value = TypeVar("_Value")


class Addition(Protocol):
    """What an answer bears for some time, such as a seal with its instant."""

    def period(self) -> int:
        """Return what stays the same as long as what was added holds."""
        ...

    def make(self, request: Any, answered: bytes, period: int) -> bytes:  # noqa: ANN401 - of the type asked
        """Return what the answer to a request bears in a period."""
        ...

    def put_on(self, answered: bytes, made: bytes) -> bytes:
        """Return an answer with what was made for it."""
        ...


class Question:
    """A kind of question: its name, how its requests are read, what answers them, what an answer bears for a time.

    `slices` are what a long answer can find beforehand, a little at a time, so that others need not wait for all of it.
    `long` tells a request whose answer waits for a process of its own: it is not computed where others wait in line.
    `tells` reads what an answer says in a word, to be counted; None where it says nothing that can be.
    """

    def __init__(
        self,
        name: str,
        body: Body[Any],
        answer: Callable[[Book, Any], bytes],
        addition: Addition | None = None,
        *,
        slices: Callable[[Book, Any], Iterable[Callable[[], None]]] | None = None,
        long: Callable[[Any], bool] | None = None,
        tells: Callable[[bytes], Told] | None = None,
    ) -> None:
        self.name = name
        self.body = body
        self.answer = answer
        self.addition = addition
        self.slices = slices
        self.long = long
        self.tells = tells

    def period(self) -> int | None:
        """Return the period of what the answer bears; None when that is nothing."""
        return None if self.addition is None else self.addition.period()


class Usage(Struct, frozen=True, kw_only=True):
    """How the kept answers were of use: how often one was found, how often one was computed, and bytes held."""

    found: int
    computed: int
    held: int
    most: int


class Answer(NamedTuple):
    """An answer: the bytes to send, their coding, and what counts up each time that it is given."""

    body: bytes
    coding: str | None
    counts: Sequence[Counter]


class _Kept(NamedTuple):
    """An answer without what it bears, and what that is in a period; or with it, in a coding, in a period."""

    answer: Answer
    period: int | None = None
    made: bytes | None = None


class _Thread(local):
    """Whether the thread's last question was computed."""

    computed: bool = False


class _Coming(NamedTuple):
    """An answer that is being computed, and whether each of its callers still waits."""

    task: asyncio.Task[Answer]
    callers: list[Callable[[], bool]]


class Answers:
    """The answers by one book, kept while they are asked for, up to a number of bytes."""

    def __init__(
        self, book: Book, worker: Worker, most: int, deadline_s: float = math.inf, metrics: Metrics | None = None
    ) -> None:
        self._book = book
        self._worker = worker
        self._deadline_s = deadline_s
        self._metrics = metrics or Metrics()
        self._turn_waits = self._metrics.waits.labels("turn")
        self._found = 0
        self._computed = 0
        self._thread = _Thread()
        self._condition = Condition()
        self._kept: LRUCache[_Key, _Kept] = LRUCache(most, getsizeof=_size)
        self._find = cached(self._kept, key=_key, condition=self._condition)(self._compute)
        self._coming: dict[tuple[_Key, int | None], _Coming] = {}

    def usage(self) -> Usage:
        """Return what became of all questions so far."""
        with self._condition:
            held, most = int(self._kept.currsize), int(self._kept.maxsize)
            return Usage(found=self._found, computed=self._computed, held=held, most=most)

    async def ask(
        self,
        question: Question,
        sent: bytes,
        wait_s: float = math.inf,
        here: Callable[[], bool] = lambda: True,
        wish: Wish = AS_IT_IS,
    ) -> Answer:
        """Return the answer to a JSON text, as the bytes to send. One that is being computed is waited for.

        Args:
            question: What kind of question it is.
            sent: The JSON text.
            wait_s: How long the caller waits; never longer than the service's deadline.
            here: Whether the caller is still there.
            wish: How the caller wants it coded.

        Raises:
            ProblemError: The text is not well-formed, or there are too many in line already.
            RefusedError: The text is not of the question's type, or cannot be answered; with every fault.
            LateError: The answer is not ready in time.
        """
        key, period = _key(question, sent, wish), question.period()
        kept = self._look(key, period)
        if kept is not None:
            self._count_found()
            return _given(_whole(question, kept))
        wait_s = min(wait_s, self._deadline_s + (_LONG_S if _maybe_long(question, sent) else 0.0))
        until = time.monotonic() + wait_s
        coming = self._coming.get((key, period))
        if coming is None:
            callers: list[Callable[[], bool]] = []
            coming = _Coming(asyncio.create_task(self._come(question, sent, wish, callers)), callers)
            self._coming[key, period] = coming
            coming.task.add_done_callback(lambda done: self._arrived((key, period), done))
        else:
            self._count_found()
        coming.callers.append(lambda: time.monotonic() < until and here())
        # Whoever gives up takes the answer from nobody else.
        try:
            async with asyncio.timeout(wait_s if math.isfinite(wait_s) else None):
                return _given(await asyncio.shield(coming.task))
        except TimeoutError:
            raise LateError from None

    async def _come(self, question: Question, sent: bytes, wish: Wish, callers: list[Callable[[], bool]]) -> Answer:
        until = time.monotonic() + self._deadline_s

        def wanted() -> bool:
            return any(caller() for caller in callers)

        run = self._worker.run
        if question.slices is not None or _maybe_long(question, sent):
            request = await run(lambda: question.body.decode(sent), until, wanted)
            for part in () if question.slices is None else question.slices(self._book, request):
                await self._worker.run_slice(partial(self._in_turn, part), until, wanted)
            if question.long is not None and question.long(request):
                # It has a budget of its own, and the deadline's for the rest.
                return await self._worker.run_long(lambda: self._answer(question, sent, wish), wanted=wanted)
        return await run(lambda: self._answer(question, sent, wish), until, wanted)

    def answer(self, question: Question, sent: bytes) -> bytes:
        """Return the answer to a JSON text, as the bytes to send: kept, or computed here and now.

        Raises:
            ProblemError: The text is not well-formed.
            RefusedError: The text is not of the question's type, or cannot be answered; with every fault.
            LateError: It takes longer than the service's deadline.
        """
        kept = self._look(_key(question, sent), question.period())
        if kept is not None:
            self._count_found()
            return _given(_whole(question, kept)).body
        with computation_lock.until(time.monotonic() + self._deadline_s):
            return _given(self._answer(question, sent, AS_IT_IS)).body

    def _answer(self, question: Question, sent: bytes, wish: Wish) -> Answer:
        self._thread.computed = False
        kept = self._now(question, sent, question.period(), wish)
        if not self._thread.computed:
            self._count_found()
        return _whole(question, kept)

    def _count_found(self) -> None:
        with self._condition:
            self._found += 1

    def _look(self, key: _Key, period: int | None) -> _Kept | None:
        """Return an answer with what it bears in a period, if all of it is kept."""
        try:
            with self._condition:
                kept = self._kept[key]
        except KeyError:
            return None
        return kept if kept.period == period else None

    def _now(self, question: Question, sent: bytes, period: int | None, wish: Wish) -> _Kept:
        """Return an answer with what it bears in a period: what of it is kept, and the rest computed here and now."""
        key = _key(question, sent, wish)
        there = self._look(key, period)
        if there is not None:
            return there
        request, canonical = _read(question, sent)
        if canonical != sent:
            return self._keep(key, self._now(question, canonical, period, wish))
        if wish != AS_IT_IS:
            return self._keep(key, _coded(question, self._now(question, sent, period, AS_IT_IS), wish))
        kept = self._find(question, sent)
        if question.addition is None or period is None:
            return kept
        made = question.addition.make(request, kept.answer.body, period)
        return self._keep(key, _Kept(kept.answer, period, made))

    def _keep(self, key: _Key, kept: _Kept) -> _Kept:
        with self._condition, suppress(ValueError):  # it is larger than all the room
            self._kept[key] = kept
        return kept

    def _compute(self, question: Question, sent: bytes) -> _Kept:
        self._thread.computed = True
        with self._condition:
            self._computed += 1
        request = question.body.decode(sent)
        # A copy: what the encoder returns has room for up to half as much again.
        body = bytes(memoryview(self._in_turn(lambda: question.answer(self._book, request))))
        told = NOTHING if question.tells is None else question.tells(body)
        return _Kept(Answer(body, None, self._metrics.verdicts(question.name.partition(" ")[0], told)))

    def _in_turn(self, job: Callable[[], _Value]) -> _Value:
        begun = time.perf_counter()
        with computation_lock.turn():
            self._turn_waits.observe(time.perf_counter() - begun)
            return job()

    def _arrived(self, key: tuple[_Key, int | None], done: asyncio.Task[Answer]) -> None:
        del self._coming[key]
        if not done.cancelled():
            done.exception()  # whoever still waits gets it; if nobody does, it is no news


def _maybe_long(question: Question, sent: bytes) -> bool:
    """Return whether a request can be long: none can do without a mark, and most are spared being read twice."""
    return question.long is not None and any(mark in sent for mark in _MARKS_OF_LONG)


def _given(answer: Answer) -> Answer:
    for count in answer.counts:
        count.inc()
    return answer


def _read(question: Question, sent: bytes) -> tuple[Any, bytes]:
    """Return a request, and how it is written here: however a caller writes it, it is one question."""
    request = question.body.decode(sent)
    return request, _encode(request)


def _whole(question: Question, kept: _Kept) -> Answer:
    if question.addition is None or kept.made is None:
        return kept.answer
    return Answer(question.addition.put_on(kept.answer.body, kept.made), None, kept.answer.counts)


def _coded(question: Question, plain: _Kept, wish: Wish) -> _Kept:
    """Return an answer in the coding that is wished for."""
    whole = _whole(question, plain)
    coding = wish.coding(len(whole.body))
    return plain if coding is None else _Kept(Answer(encode(whole.body, coding), coding, whole.counts), plain.period)


def _size(kept: _Kept) -> int:
    return len(kept.answer.body) + len(kept.made or b"") + _ENTRY


def _key(question: Question, sent: bytes, wish: Wish = AS_IT_IS) -> _Key:
    return question.name, hashlib.sha256(sent).digest(), wish
