"""The cache of answers: the bytes that are sent, each computed once, for single questions and for bulk.

A cached answer is a function of the book, the engine and the request, and of nothing else, so that no answer tells
whether it was cached. A seal is signed at most once a minute for each answer, kept beside the unsealed bytes, and
attached each time that the answer is given (an answer has 13 kB, its seal one).
"""

from __future__ import annotations

import asyncio
import hashlib
import math
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import partial
from threading import Condition, local
from typing import Any, Final, NamedTuple, TypeVar

import msgspec
from cachetools import LRUCache, cached
from msgspec import Struct
from prometheus_client import Counter

from featherline_service.book.shop_book import Book
from featherline_service.runtime import computation_lock
from featherline_service.runtime.computation_lock import DeadlineError
from featherline_service.signatures import Sealable
from featherline_service.web.answering.question import Question
from featherline_service.web.answering.worker import Worker
from featherline_service.web.http.codings import IDENTITY, CodingPreference, encode
from featherline_service.web.telemetry.metrics import Metrics

_SIGNS_OF_LONG: Final = (b"outlines", b"\\u")
_LONG_S: Final = 60.0  # what a long answer may take beyond the deadline, for the searches of its own budget
_ENTRY_BYTES: Final = 460  # of an entry beside the body and the seal: measured with tracemalloc
_SEALABLE_BYTES: Final = 400  # the same

_encode: Final = msgspec.json.Encoder().encode
_Key = tuple[str, bytes, CodingPreference]
_Value = TypeVar("_Value")


class Usage(Struct, frozen=True, kw_only=True):
    """The use of the cache: how often an answer was found, how often one was computed; bytes held and allowed."""

    found: int
    computed: int
    held: int
    most: int


class Answer(NamedTuple):
    """An answer to send: its bytes and their coding."""

    body: bytes
    coding: str | None


class _Entry(NamedTuple):
    """A cached answer: without a coding, the unsealed body and a period's seal; in a coding, sealed for the period.

    `counters` count up each time that the answer is given.
    """

    body: bytes
    counters: Sequence[Counter]
    sealable: Sealable | None = None
    period: int | None = None
    seal: bytes = b""
    coding: str | None = None

    def holds_in(self, period: int | None) -> bool:
        """Return whether the answer can be given in a period as it is."""
        return self.sealable is None or self.period == period


class _Thread(local):
    computed: bool = False
    """Whether the thread's last question was computed."""


class _Pending(NamedTuple):
    """An answer that is being computed, and for each of its callers whether it still waits."""

    task: asyncio.Task[_Entry]
    callers: list[Callable[[], bool]]


class AnswerCache:
    """The answers by one book, up to a number of bytes; the one asked for the longest time ago goes first."""

    def __init__(
        self, book: Book, worker: Worker, most: int, deadline_s: float = math.inf, metrics: Metrics | None = None
    ) -> None:
        self._book = book
        self._worker = worker
        self._deadline_s = deadline_s
        self._metrics = metrics or Metrics()
        self._lock_waits = self._metrics.waits.labels("lock")
        self._found = 0
        self._computed = 0
        self._thread = _Thread()
        self._condition = Condition()
        self._entries: LRUCache[_Key, _Entry] = LRUCache(most, getsizeof=_size)
        self._unsealed = cached(
            self._entries, key=lambda question, text, _request: _key(question, text), condition=self._condition
        )(self._compute)
        self._pending: dict[tuple[_Key, int | None], _Pending] = {}

    def usage(self) -> Usage:
        """Return the use of the cache so far."""
        with self._condition:
            size, most = int(self._entries.currsize), int(self._entries.maxsize)
            return Usage(found=self._found, computed=self._computed, held=size, most=most)

    async def ask(
        self,
        question: Question,
        text: bytes,
        wait_s: float = math.inf,
        connected: Callable[[], bool] = lambda: True,
        preference: CodingPreference = IDENTITY,
    ) -> Answer:
        """Return the answer to a JSON text. One that is being computed for another caller is waited for.

        Args:
            question: The kind of question.
            text: The JSON text of the request.
            wait_s: How long the caller waits; never longer than the service's deadline.
            connected: Whether the caller is still there.
            preference: The codings that the caller prefers.

        Raises:
            ProblemError: The text is not well-formed, or there are too many in line already.
            RefusedError: The text is not of the question's type, or cannot be answered; with every fault.
            LateError: The answer is not ready in time.
        """
        key, period = _key(question, text, preference), question.period()
        entry = self._look_up(key, period)
        if entry is not None:
            self._count_found()
            return _give(question, entry)
        wait_s = min(wait_s, self._deadline_s + (_LONG_S if _may_be_long(question, text) else 0.0))
        until = time.monotonic() + wait_s
        pending = self._pending.get((key, period))
        if pending is None:
            callers: list[Callable[[], bool]] = []
            task = asyncio.create_task(self._schedule(question, text, preference, callers))
            pending = self._pending[key, period] = _Pending(task, callers)
            task.add_done_callback(lambda done: self._finish((key, period), done))
        else:
            self._count_found()
        pending.callers.append(lambda: time.monotonic() < until and connected())
        # A caller that gives up takes the answer from nobody else.
        try:
            async with asyncio.timeout(wait_s if math.isfinite(wait_s) else None):
                return _give(question, await asyncio.shield(pending.task))
        except TimeoutError:
            raise DeadlineError from None

    async def _schedule(
        self, question: Question, text: bytes, preference: CodingPreference, callers: list[Callable[[], bool]]
    ) -> _Entry:
        """Have the worker answer a question in the line that is right for it."""
        until = time.monotonic() + self._deadline_s

        def wanted() -> bool:
            return any(caller() for caller in callers)

        run = self._worker.run
        if question.slices is None and not _may_be_long(question, text):
            return await run(lambda: self._answer(question, text, preference), until, wanted)
        request = await run(lambda: question.body.decode(text), until, wanted)
        for part in () if question.slices is None else question.slices(self._book, request):
            await self._worker.run_slice(partial(self._with_lock, part), until, wanted)
        if question.is_long is not None and question.is_long(request):
            # It has a budget of its own, and the deadline's for the rest.
            return await self._worker.run_long(lambda: self._answer(question, text, preference, request), wanted=wanted)
        return await run(lambda: self._answer(question, text, preference, request), until, wanted)

    def answer(self, question: Question, text: bytes, request: Any = None) -> bytes:  # noqa: ANN401 - of the type asked
        """Return the answer to a JSON text, as the bytes to send: cached, or computed here and now.

        Args:
            question: The kind of question.
            text: The JSON text of the request.
            request: The request, where it has been decoded already.

        Raises:
            ProblemError: The text is not well-formed.
            RefusedError: The text is not of the question's type, or cannot be answered; with every fault.
            LateError: It takes longer than the service's deadline.
        """
        entry = self._look_up(_key(question, text), question.period())
        if entry is not None:
            self._count_found()
        else:
            with computation_lock.deadline(time.monotonic() + self._deadline_s):
                entry = self._answer(question, text, IDENTITY, request)
        return _give(question, entry).body

    def _answer(self, question: Question, text: bytes, preference: CodingPreference, request: Any = None) -> _Entry:  # noqa: ANN401
        """Return the answer to a JSON text in this period; however a caller writes a request, it is one question."""
        self._thread.computed = False
        key, period = _key(question, text, preference), question.period()
        entry = self._look_up(key, period)
        if entry is None:
            request = question.body.decode(text) if request is None else request
            entry = self._keep(key, self._canonical(question, request, _encode(request), period, preference))
        if not self._thread.computed:
            self._count_found()
        return entry

    def _canonical(
        self,
        question: Question,
        request: Any,  # noqa: ANN401 - of the type asked
        text: bytes,
        period: int | None,
        preference: CodingPreference = IDENTITY,
    ) -> _Entry:
        """Return the answer to a request and its canonical text: what of it is cached, and the rest made now."""
        key = _key(question, text, preference)
        entry = self._look_up(key, period)
        if entry is not None:
            return entry
        if preference != IDENTITY:
            return self._keep(key, _in_coding(question, self._canonical(question, request, text, period), preference))
        entry = self._unsealed(question, text, request)
        if question.sealer is None or entry.sealable is None or period is None:
            return entry
        seal = question.sealer.seal(request, entry.sealable, period)
        return self._keep(key, entry._replace(period=period, seal=seal))

    def _compute(self, question: Question, _text: bytes, request: Any) -> _Entry:  # noqa: ANN401 - of the type asked
        self._thread.computed = True
        with self._condition:
            self._computed += 1
        answer = self._with_lock(lambda: question.compute(self._book, request))
        counters = self._metrics.answer_counters(
            question.name.partition(" ")[0],
            answer.verdict,
            [(reason.code, reason.verdict) for reason in answer.reasons],
        )
        # A copy: what the encoder returns has room for up to half as much again.
        return _Entry(bytes(memoryview(answer.body)), counters, answer.sealable)

    def _with_lock(self, job: Callable[[], _Value]) -> _Value:
        begun = time.perf_counter()
        with computation_lock.hold():
            self._lock_waits.observe(time.perf_counter() - begun)
            return job()

    def _count_found(self) -> None:
        with self._condition:
            self._found += 1

    def _look_up(self, key: _Key, period: int | None) -> _Entry | None:
        """Return an entry that can be given in a period as it is."""
        try:
            with self._condition:
                entry = self._entries[key]
        except KeyError:
            return None
        return entry if entry.holds_in(period) else None

    def _keep(self, key: _Key, entry: _Entry) -> _Entry:
        with self._condition, suppress(ValueError):  # it is larger than all the room
            self._entries[key] = entry
        return entry

    def _finish(self, key: tuple[_Key, int | None], done: asyncio.Task[_Entry]) -> None:
        del self._pending[key]
        if not done.cancelled():
            done.exception()  # whoever still waits gets it; without this, asyncio would log it when nobody does


def _may_be_long(question: Question, text: bytes) -> bool:
    """Return whether a request can be long: none is without one of the signs, so most need no decoding to tell."""
    return question.is_long is not None and any(sign in text for sign in _SIGNS_OF_LONG)


def _give(question: Question, entry: _Entry) -> Answer:
    """Return an answer as it is sent, and count that it is given."""
    for counter in entry.counters:
        counter.inc()
    return Answer(_with_seal(question, entry), entry.coding)


def _with_seal(question: Question, entry: _Entry) -> bytes:
    return question.sealer.attach(entry.body, entry.seal) if entry.seal and question.sealer else entry.body


def _in_coding(question: Question, entry: _Entry, preference: CodingPreference) -> _Entry:
    """Return an answer, with its seal, in the coding that is preferred."""
    body = _with_seal(question, entry)
    coding = preference.coding(len(body))
    return entry if coding is None else entry._replace(body=encode(body, coding), seal=b"", coding=coding)


def _size(entry: _Entry) -> int:
    sealable = _SEALABLE_BYTES if entry.sealable is not None else 0
    return len(entry.body) + len(entry.seal) + _ENTRY_BYTES + sealable


def _key(question: Question, text: bytes, preference: CodingPreference = IDENTITY) -> _Key:
    return question.name, hashlib.sha256(text).digest(), preference
