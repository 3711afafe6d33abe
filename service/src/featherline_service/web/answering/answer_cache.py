"""The cache of answers: the bytes that are sent, each computed once, for single questions and for bulk.

A cached answer is a function of the book, the engine, the request, its language and what its key is pinned to, so that
no answer tells whether it was cached. A seal is signed at most once a minute for each answer and key that asks, kept
beside the unsealed bytes, and attached each time that the answer is given (an answer has 13 kB, its seal one).
"""

from __future__ import annotations

import asyncio
import hashlib
import math
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from types import MappingProxyType
from typing import Final, NamedTuple, Protocol

from cachetools import LRUCache
from msgspec import Struct
from prometheus_client import Counter

from featherline_service.computing.pool import Caller, Computed, EndedError, OverloadedError, Task
from featherline_service.messages.catalogues import ENGLISH
from featherline_service.messages.texts import Texts, english
from featherline_service.messages.values import said
from featherline_service.quantities import plain_seconds
from featherline_service.questions.record_ranges import Outside
from featherline_service.runtime.deadline import DeadlineError
from featherline_service.signatures import Sealable
from featherline_service.web.answering.outcomes import Asked, Failure, decode
from featherline_service.web.answering.outcomes import encode as encode_message
from featherline_service.web.answering.pins import Pins
from featherline_service.web.answering.question import Question
from featherline_service.web.answering.topics import topic_of
from featherline_service.web.http.codings import IDENTITY, CodingPreference, encode
from featherline_service.web.http.problems import BUSY, ENDED, PLUGIN_FAILED, TOO_HEAVY, ProblemError, of_plugin
from featherline_service.web.telemetry.metrics import Metrics

_LONG_S: Final = 60.0  # what a long answer may take beyond the deadline, for the searches of its own budget
_PATIENCE: Final = 1.3
"""How many times the deadline's processor time a caller waits by the clock: less than the proxy of deploy/ does."""
_ENTRY_BYTES: Final = 630  # of an entry beside the body and the seal: measured with tracemalloc
_SEALABLE_BYTES: Final = 400  # the same, beside the order
_LARGE: Final = 65_536  # bytes; to code more takes milliseconds, in which the event loop would do nothing else

_Key = tuple[str, int, bytes, Pins | None, str, str | None, CodingPreference]


class Computing(Protocol):
    """Computes questions, as `featherline_service.computing.pool.Pool` does."""

    async def compute(self, task: Task) -> Computed:
        """Return the answer to a question."""
        ...


class Usage(Struct, frozen=True, kw_only=True):
    """The use of the cache: how often an answer was found, how often one was computed; bytes held and allowed."""

    found: int
    computed: int
    held: int
    most: int


class Answer(NamedTuple):
    """An answer to send: its bytes, their coding; how long it waited and took to compute [s], unless it was cached."""

    body: bytes
    coding: str | None
    waited_s: float = 0.0
    took_s: float = 0.0


class Asker(NamedTuple):
    """Whose question it is, how long its caller waits [s], and whether it is there.

    `charge` takes what it cost [s], `note_problem` the name of a problem that a line of bulk had. `book` is the number
    of the book that answers, `pins` are what its key is pinned to, `audience` is the key's id, for seals; None
    without keys. `language` is that of the answer's sentences, and `words` the messages in which problems are told.
    """

    caller: Caller
    request_id: str = ""
    wait_s: float = math.inf
    is_connected: Callable[[], bool] = lambda: True
    charge: Callable[[float], None] = lambda _seconds: None
    note_problem: Callable[[str], None] = lambda _name: None
    book: int = 0
    pins: Pins | None = None
    audience: str | None = None
    language: str = ENGLISH
    words: Texts = english()


class _Entry(NamedTuple):
    """A cached answer: without a coding, the unsealed body and a period's seals; in a coding, sealed for the period.

    `seals` are by audience; where the body is sealed, the seal is empty. `counters` count up each time that the answer
    is given.
    """

    body: bytes
    counters: Sequence[Counter]
    sealable: Sealable | None = None
    period: int | None = None
    seals: Mapping[str | None, bytes] = MappingProxyType({})
    coding: str | None = None


class _Pending(NamedTuple):
    """An answer that is being computed, and for each of its callers whether it still waits."""

    task: asyncio.Task[tuple[_Entry, Computed]]
    callers: list[Callable[[], bool]]


class AnswerCache:
    """The answers of one service, up to a number of bytes; the one asked for the longest time ago goes first."""

    def __init__(
        self,
        computing: Computing,
        most: int,
        deadline_s: float = math.inf,
        metrics: Metrics | None = None,
        note_ranges: Callable[[int, Sequence[Outside]], None] = lambda _book, _uses: None,
    ) -> None:
        """Cache so many bytes of answers.

        `note_ranges` takes the number of a book, and its records that a computed answer uses outside their range.
        """
        self._computing = computing
        self._deadline_s = deadline_s
        self._metrics = metrics or Metrics()
        self._note_ranges = note_ranges
        self._found = 0
        self._computed = 0
        self._entries: LRUCache[_Key, _Entry] = LRUCache(most, getsizeof=_size)
        self._pending: dict[_Key, _Pending] = {}

    def usage(self) -> Usage:
        """Return the use of the cache so far."""
        size, most = int(self._entries.currsize), int(self._entries.maxsize)
        return Usage(found=self._found, computed=self._computed, held=size, most=most)

    def cached(self, question: Question, text: bytes, asker: Asker) -> bytes | None:
        """Return the answer to a JSON text, as the bytes to send without a coding, if it is cached."""
        entry = self._look_up(question, _key(question, text, asker), asker.audience)
        if entry is None:
            return None
        self._found += 1
        return _give(question, entry, asker.audience).body

    async def ask(
        self, question: Question, text: bytes, asker: Asker, preference: CodingPreference = IDENTITY
    ) -> Answer:
        """Return the answer to a JSON text. One that is being computed for another caller is waited for.

        Args:
            question: The kind of question.
            text: The JSON text of the request.
            asker: Whose question it is.
            preference: The codings that the caller prefers.

        Raises:
            ProblemError: The text cannot be answered, with every fault; or not now, or not within the limits.
            DeadlineError: The answer is not ready in time.
        """
        key = _key(question, text, asker)
        entry, computed = self._look_up(question, key, asker.audience), None
        if entry is None:
            entry, computed = await self._wait_for(question, key, text, asker)
            entry = self._look_up(question, key, asker.audience) or self._sealed(question, key, entry, asker.audience)
        else:
            self._found += 1
        if preference != IDENTITY:
            entry = await self._coded(question, key, entry, preference, asker.audience)
        answer = _give(question, entry, asker.audience)
        return answer if computed is None else answer._replace(waited_s=computed.waited_s, took_s=computed.took_s)

    async def _wait_for(
        self, question: Question, key: _Key, text: bytes, asker: Asker
    ) -> tuple[_Entry, Computed | None]:
        """Return the answer that is computed, for this caller or another, when it is ready."""
        topic = topic_of(text)
        limit_s = self._deadline_s + (_LONG_S if topic.is_long else 0.0)
        # Lines of bulk wait for one another as long as their caller does.
        is_line = asker.caller.class_ == "bulk"
        patience_s = math.inf if is_line else _PATIENCE * self._deadline_s + (_LONG_S if topic.is_long else 0.0)
        wait_s = min(asker.wait_s, patience_s)
        until = time.monotonic() + wait_s
        callers: list[Callable[[], bool]] = []
        pending = self._pending.get(key)
        is_first = pending is None
        if pending is None:
            asked = Asked(question.name, text, is_line, asker.request_id, asker.book, asker.pins, asker.language)
            task = Task(
                encode_message(asked),
                asker.caller,
                (question.name, len(text).bit_length(), topic.is_long),
                topic.shared,
                limit_s,
                lambda: any(is_waiting() for is_waiting in callers),
            )
            computing = asyncio.create_task(self._compute(question, key, task, asker))
            pending = self._pending[key] = _Pending(computing, callers)
            computing.add_done_callback(lambda done: self._finish(key, done))
        else:
            self._found += 1
        is_there = True
        pending.callers.append(lambda: is_there and time.monotonic() < until and asker.is_connected())
        # A caller that gives up takes the answer from nobody else.
        try:
            async with asyncio.timeout(wait_s if math.isfinite(wait_s) else None):
                entry, computed = await asyncio.shield(pending.task)
        except TimeoutError:
            raise DeadlineError from None
        except DeadlineError:
            # It was given up when all before had gone, and this caller came before it had ended.
            left_s = until - time.monotonic()
            if is_first or left_s <= 0.0 or not asker.is_connected():
                raise
            return await self._wait_for(question, key, text, asker._replace(wait_s=left_s))
        finally:
            is_there = False
        return entry, computed if is_first else None

    async def _compute(self, question: Question, key: _Key, task: Task, asker: Asker) -> tuple[_Entry, Computed]:
        """Have an answer computed, and cache it."""
        try:
            computed = await self._computing.compute(task)
        except OverloadedError:
            raise ProblemError(BUSY, said("problem.busy.questions"), headers={"retry-after": "1"}) from None
        except EndedError as error:
            asker.charge(task.limit_s)
            raise _problem_of(error, task.limit_s) from None
        asker.charge(computed.took_s)
        self._metrics.observe_computed(task.caller.class_, computed.waited_s, computed.took_s)
        outcome = decode(computed.answer)
        if isinstance(outcome, Failure):
            raise outcome.error()
        self._computed += 1
        counters = self._metrics.answer_counters(
            question.name.partition(" ")[0],
            outcome.verdict,
            outcome.reasons,
            [(use.record, use.what) for use in outcome.outside],
        )
        self._note_ranges(asker.book, outcome.outside)
        entry = _Entry(outcome.body, counters, outcome.sealable)
        return self._keep(key, entry) if question.kept else entry, computed

    def _look_up(self, question: Question, key: _Key, audience: str | None) -> _Entry | None:
        """Return a cached answer, sealed for this period and audience."""
        entry = self._entries.get(key)
        return None if entry is None else self._sealed(question, key, entry, audience)

    def _sealed(self, question: Question, key: _Key, entry: _Entry, audience: str | None) -> _Entry:
        if question.sealer is None or entry.sealable is None or _holds(question, entry, audience):
            return entry
        period = question.sealer.period()
        others = entry.seals if entry.period == period else {}
        seal = question.sealer.seal(entry.sealable, period, audience)
        return self._keep(key, entry._replace(period=period, seals={**others, audience: seal}))

    async def _coded(
        self, question: Question, key: _Key, entry: _Entry, preference: CodingPreference, audience: str | None
    ) -> _Entry:
        """Return an answer, with its seal, in the coding that is preferred."""
        coded_key = (*key[:-2], None if entry.sealable is None else audience, preference)
        ready = self._entries.get(coded_key)
        if ready is not None and _holds(question, ready, audience):
            return ready
        body = _with_seal(question, entry, audience)
        coding = preference.coding(len(body))
        if coding is None:
            return entry
        coded = encode(body, coding) if len(body) < _LARGE else await asyncio.to_thread(encode, body, coding)
        coded_entry = entry._replace(body=coded, seals={audience: b""}, coding=coding)
        return self._keep(coded_key, coded_entry) if question.kept else coded_entry

    def _keep(self, key: _Key, entry: _Entry) -> _Entry:
        with suppress(ValueError):  # it is larger than all the room
            self._entries[key] = entry
        return entry

    def _finish(self, key: _Key, done: asyncio.Task[tuple[_Entry, Computed]]) -> None:
        del self._pending[key]
        if not done.cancelled():
            done.exception()  # whoever still waits gets it; without this, asyncio would log it when nobody does


def _problem_of(error: EndedError, limit_s: float) -> ProblemError:
    """Return the problem of a question whose computation was ended."""
    match error.limit:
        case "processor time":
            return ProblemError(TOO_HEAVY, said("problem.too-heavy.time", limit=plain_seconds(limit_s)))
        case "memory":
            return ProblemError(TOO_HEAVY, said("problem.too-heavy.memory"))
        case "plug-in" if error.plugin is not None:
            return ProblemError(PLUGIN_FAILED, of_plugin(error.plugin, "late"))
        case _:
            return ProblemError(ENDED, said("problem.computation-ended.all"))


def _holds(question: Question, entry: _Entry, audience: str | None) -> bool:
    """Return whether an answer can be given to an audience in this period as it is."""
    if question.sealer is None or entry.sealable is None:
        return True
    return entry.period == question.sealer.period() and audience in entry.seals


def _give(question: Question, entry: _Entry, audience: str | None) -> Answer:
    """Return an answer as it is sent, and count that it is given."""
    for counter in entry.counters:
        counter.inc()
    return Answer(_with_seal(question, entry, audience), entry.coding)


def _with_seal(question: Question, entry: _Entry, audience: str | None) -> bytes:
    seal = entry.seals.get(audience)
    return question.sealer.attach(entry.body, seal) if seal and question.sealer else entry.body


def _size(entry: _Entry) -> int:
    sealable = entry.sealable
    sealable_bytes = 0 if sealable is None else _SEALABLE_BYTES + len(sealable.order or b"")
    return len(entry.body) + sum(map(len, entry.seals.values())) + _ENTRY_BYTES + sealable_bytes


def _key(question: Question, text: bytes, asker: Asker) -> _Key:
    return question.name, asker.book, hashlib.sha256(text).digest(), asker.pins, asker.language, None, IDENTITY
