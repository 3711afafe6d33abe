"""How answers are kept: computed once, bounded by bytes, and the same as without."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import gzip
import json
from collections import deque
from typing import Any

import pytest
from msgspec import Struct
from unread_books import UNREAD

from featherline.wire.book import Plugin
from featherline.wire.money import Money
from featherline_service.book.shop_book import Book
from featherline_service.computing import pool
from featherline_service.computing.pool import Caller, EndedError, OverloadedError, Task
from featherline_service.messages.told import told
from featherline_service.questions.checks import Checks
from featherline_service.runtime.deadline import DeadlineError
from featherline_service.signatures import Sealable
from featherline_service.web.answering.answer_cache import Answer, AnswerCache, Asker
from featherline_service.web.answering.outcomes import answerer
from featherline_service.web.answering.pins import Pins
from featherline_service.web.answering.question import Computed, Question
from featherline_service.web.http.bodies import Body
from featherline_service.web.http.codings import IDENTITY, CodingPreference
from featherline_service.web.http.problems import ProblemError

PLUGIN = Plugin(name="own", kind="check", distribution="own-rules", version="1.2")
BOOK = UNREAD


class Sum(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is asked."""

    a: int
    b: int = 1


class Adding:
    """A question that counts how often it is answered; its answer is as long as the sum."""

    def __init__(self, name: str = "sum", stamping: Stamping | None = None) -> None:
        self.question = Question(name, Body(Sum), self.answer, stamping)
        self.computed = 0

    def answer(self, _book: Book, request: Sum, _language: str) -> Computed:
        """Answer; refuse what is below zero."""
        self.computed += 1
        if request.a < 0:
            checks = Checks()
            checks.note("/a", told("refused", "Give zero or more"))
            checks.settle()
        length = request.a + request.b
        return Computed(b"x" * length, sealable=sealable(length) if self.question.sealer else None)


def sealable(length: int) -> Sealable:
    """Return what is sealed of an answer of some length."""
    return Sealable(
        asked="order", order=None, digest="0" * 64, reference=str(length), verdict="ready", policy="counter",
        total=Money(amount="1.00", currency="EUR"), book="sha256:" + "0" * 64, engine="0.1.0",
    )  # fmt: skip


class Stamping:
    """What puts the hour on an answer, and counts how often."""

    def __init__(self) -> None:
        self.hour = 7
        self.stamped = 0

    def period(self) -> int:
        """Tell the hour."""
        return self.hour

    def seal(self, sealable: Sealable, period: int, audience: str | None) -> bytes:
        """Make the hour, how long the answer is, and for whom it is."""
        self.stamped += 1
        return f"{period} for {sealable.reference}{'' if audience is None else f' to {audience}'}".encode()

    def attach(self, body: bytes, seal: bytes) -> bytes:
        """Put it on an answer."""
        return b"%b %b" % (body, seal)


class Gate:
    """Computes by some questions, once the gate is open, and tells what it was given."""

    def __init__(self, *adding: Adding) -> None:
        self._compute = answerer((BOOK,), {each.question.name: each.question for each in adding})
        self.open = asyncio.Event()
        self.open.set()
        self.tasks: deque[Task] = deque(maxlen=8)
        self.errors: list[Exception] = []

    async def compute(self, task: Task) -> pool.Computed:
        """Answer, or raise what is to be raised."""
        self.tasks.append(task)
        await self.open.wait()
        if self.errors:
            raise self.errors.pop()
        return pool.Computed(self._compute(task.question), 0.25, 0.5)


ASKER = Asker(Caller("till"))


def answers(*adding: Adding, most: int = 100_000) -> AnswerCache:
    """Return answers to some questions that keep so many bytes."""
    return AnswerCache(Gate(*adding), most)


def ask(kept: AnswerCache, adding: Adding, *texts: str) -> list[Any]:
    """Return the answers to some texts asked at once, or what was raised."""

    async def run() -> list[Any]:
        asked = [kept.ask(adding.question, text.encode(), ASKER) for text in texts]
        return await asyncio.gather(*asked, return_exceptions=True)

    return [each.body if isinstance(each, Answer) else each for each in asyncio.run(run())]


def test_a_question_is_computed_once() -> None:
    """Whoever asks the same text has the same answer; it counts as found."""
    adding = Adding()
    kept = answers(adding)

    assert [b"xxx"] * 4 == [ask(kept, adding, '{"a":2}')[0] for _ in range(4)]
    assert 1 == adding.computed
    assert (3, 1) == (kept.usage().found, kept.usage().computed)


def test_single_questions_and_bulk_share_their_answers() -> None:
    """What was answered alone is known at once for a line; what was not is not."""
    adding = Adding()
    kept = answers(adding)
    ask(kept, adding, '{"a":1}')

    assert (b"xx", None) == (
        kept.cached(adding.question, b'{"a":1}', ASKER),
        kept.cached(adding.question, b'{"a":2}', ASKER),
    )


def test_questions_of_two_names_are_two() -> None:
    """The same text may be asked in two ways."""
    first, second = Adding("first"), Adding("second")
    kept = answers(first, second)
    ask(kept, first, '{"a":1}')
    ask(kept, second, '{"a":1}')

    assert [1, 1] == [first.computed, second.computed]


def test_an_answer_is_sealed_once_for_a_period() -> None:
    """By whomever it is asked; the answer itself is computed once for all time."""
    stamping = Stamping()
    adding = Adding(stamping=stamping)
    kept = answers(adding)
    first = [*ask(kept, adding, '{"a":1}', '{"a":1}'), kept.cached(adding.question, b'{"a":1}', ASKER)]
    stamping.hour = 8
    second = ask(kept, adding, '{"a":1}', '{"a":1}')

    assert [b"xx 7 for 2"] * 3 == first
    assert [b"xx 8 for 2"] * 2 == second
    assert (1, 2) == (adding.computed, stamping.stamped)


def test_who_asks_for_what_is_being_computed_waits_for_it() -> None:
    """A hundred at once are one computation; only the first is told what it took."""
    adding = Adding()
    kept = answers(adding)

    async def run() -> list[Answer]:
        return await asyncio.gather(*(kept.ask(adding.question, b'{"a":1}', ASKER) for _ in range(100)))

    given = asyncio.run(run())
    assert [b"xx"] * 100 == [answer.body for answer in given]
    assert [(0.25, 0.5), (0.0, 0.0)] == [(answer.waited_s, answer.took_s) for answer in given[:2]]
    assert 1 == adding.computed
    assert (99, 1) == (kept.usage().found, kept.usage().computed)


def test_who_gives_up_takes_the_answer_from_nobody() -> None:
    """The first to ask leaves; the second, who waits for the same computation, has its answer."""
    adding = Adding()

    async def run() -> bytes:
        gate = Gate(adding)
        gate.open.clear()
        kept = AnswerCache(gate, 1_000)
        first, second = (asyncio.create_task(kept.ask(adding.question, b'{"a":1}', ASKER)) for _ in range(2))
        await asyncio.sleep(0.02)
        first.cancel()
        await asyncio.sleep(0.02)
        assert gate.tasks[0].is_wanted()
        gate.open.set()
        return (await second).body

    assert b"xx" == asyncio.run(run())
    assert 1 == adding.computed


def test_what_was_given_up_is_asked_again_for_who_came_later() -> None:
    """All who asked have gone, and the computation is given up: who came before it had ended has its answer still."""
    adding = Adding()

    async def run() -> bytes:
        gate = Gate(adding)
        gate.open.clear()
        kept = AnswerCache(gate, 1_000)
        first = asyncio.create_task(kept.ask(adding.question, b'{"a":1}', ASKER))
        await asyncio.sleep(0.02)
        first.cancel()
        await asyncio.sleep(0.02)
        assert not gate.tasks[0].is_wanted()
        second = asyncio.create_task(kept.ask(adding.question, b'{"a":1}', ASKER))
        await asyncio.sleep(0.02)
        gate.errors.append(DeadlineError())
        gate.open.set()
        return (await second).body

    assert b"xx" == asyncio.run(run())


def test_who_asked_first_is_told_that_it_was_given_up() -> None:
    """There is nobody to ask again for: the first caller, or one that is no longer there, has the error."""
    adding = Adding()

    async def run(asker: Asker) -> None:
        gate = Gate(adding)
        gate.open.clear()
        gate.errors += [DeadlineError(), DeadlineError()]
        kept = AnswerCache(gate, 1_000)
        asked = [asyncio.create_task(kept.ask(adding.question, b'{"a":1}', each)) for each in (ASKER, asker)]
        await asyncio.sleep(0.02)
        gate.open.set()
        for task in asked:
            with pytest.raises(DeadlineError):
                await task
        assert 1 == len(gate.tasks)

    asyncio.run(run(ASKER._replace(is_connected=lambda: False)))


def test_nobody_waits_for_ever() -> None:
    """A third more than the deadline, or as long as the caller says; then nobody wants the question any longer."""
    adding = Adding()

    async def run() -> list[bool]:
        gate = Gate(adding)
        gate.open.clear()
        kept = AnswerCache(gate, 1_000, deadline_s=0.02)
        with pytest.raises(DeadlineError):
            await kept.ask(adding.question, b'{"a":1}', ASKER)
        with pytest.raises(DeadlineError):
            await kept.ask(adding.question, b'{"a":2}', ASKER._replace(wait_s=0.01))
        gone = asyncio.create_task(kept.ask(adding.question, b'{"a":3}', ASKER._replace(is_connected=lambda: False)))
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        gone.cancel()
        return [task.is_wanted() for task in gate.tasks]

    assert [False, False, False] == asyncio.run(run())


def test_a_question_may_use_the_deadline_and_a_search_more() -> None:
    """Its processor time, its topic and how alike questions are known, are told to whatever computes."""
    adding = Adding()

    async def run() -> list[Task]:
        gate = Gate(adding)
        kept = AnswerCache(gate, 1_000, deadline_s=5.0)
        for text in (b'{"a":1,"shoe":1,"film":2}', b'{"outlines":"1 s","shoe":1,"placements":[{"film":2}]}'):
            with contextlib.suppress(ProblemError):
                await kept.ask(adding.question, text, ASKER)
        return list(gate.tasks)

    short, long = asyncio.run(run())
    assert (5.0, 65.0) == (short.limit_s, long.limit_s)
    assert (b"1", b"2") == short.topic == long.topic
    assert (("sum", 5, False), ("sum", 6, True)) == (short.kind, long.kind)


@pytest.mark.parametrize(
    ("error", "kind", "words", "charged"),
    [
        (OverloadedError(), "busy", "Ask again in a second", None),
        (EndedError("processor time"), "too-heavy", "more than the 5 s of processor time", 5.0),
        (EndedError("memory"), "too-heavy", "more memory than the service has", 5.0),
        (EndedError("plug-in", PLUGIN), "plugin-failed", "The check 'own' of own-rules 1.2 did not end in time", 5.0),
        (EndedError("crash"), "computation-ended", "tell the shop", 5.0),
    ],
)
def test_a_computation_without_an_answer_is_a_problem(
    error: Exception, kind: str, words: str, charged: float | None
) -> None:
    """It says which limit and what to do; the caller is charged for what was ended."""
    adding, charges = Adding(), list[float]()

    async def run() -> ProblemError:
        gate = Gate(adding)
        gate.errors.append(error)
        kept = AnswerCache(gate, 1_000, deadline_s=5.0)
        with pytest.raises(ProblemError) as told:
            await kept.ask(adding.question, b'{"a":1}', ASKER._replace(charge=charges.append))
        return told.value

    problem = asyncio.run(run())
    assert kind == problem.kind.name
    assert words in problem.detail
    assert ([] if charged is None else [charged]) == charges


def test_an_answer_is_coded_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also when it is large; what is coded counts among the bytes held."""
    coded: list[str] = []

    def encode(body: bytes, coding: str) -> bytes:
        coded.append(coding)
        return coding.encode() + body[:100]

    monkeypatch.setattr("featherline_service.web.answering.answer_cache.encode", encode)
    adding = Adding()
    kept = answers(adding)
    zstd, gzipped = CodingPreference(None, "zstd"), CodingPreference("gzip", "gzip")

    async def run(*asked: tuple[str, CodingPreference]) -> list[Answer]:
        return await asyncio.gather(*(kept.ask(adding.question, text.encode(), ASKER, wish) for text, wish in asked))

    both = asyncio.run(run(('{"a":2000}', zstd), ('{"a":2000}', zstd), ('{"a":2000}', zstd)))
    before = kept.usage().held
    small = asyncio.run(run(('{"a":2}', zstd), ('{"a":2}', gzipped), ('{"a":2}', IDENTITY)))
    again = asyncio.run(run(('{"a":2000}', zstd), ('{"a":2000}', IDENTITY)))

    assert ["zstd"] * 3 == [each.coding for each in both]
    assert [None, "gzip", None] == [each.coding for each in small]
    assert ["zstd", None] == [each.coding for each in again]
    assert [b"zstd" + b"x" * 100] * 4 == [each.body for each in (*both, again[0])]
    assert (["zstd", "gzip"], 2) == (coded, adding.computed)
    assert (6, 2) == (kept.usage().found, kept.usage().computed)
    assert kept.usage().held > before > 2_100


def test_a_refusal_is_told_to_all_and_not_kept() -> None:
    """Everybody who waits learns of it; the next computes it again."""
    adding = Adding()
    kept = answers(adding)
    refused = ask(kept, adding, '{"a":-1}', '{"a":-1}', '{"c":1}')

    assert [ProblemError] * 3 == [type(each) for each in refused]
    assert ["/a", "/a", "/a"] == [each.faults[0].pointer for each in refused]
    ask(kept, adding, '{"a":-1}')
    assert (2, 0) == (adding.computed, kept.usage().held)


def test_no_more_is_held_than_allowed() -> None:
    """The oldest unasked goes first; what is larger than all is answered and not kept."""
    adding = Adding()
    kept = answers(adding, most=5_000)
    for size in range(1_000, 1_100):
        ask(kept, adding, json.dumps({"a": size, "b": 0}, separators=(",", ":")))
        assert kept.usage().held <= kept.usage().most == 5_000
    computed = adding.computed
    ask(kept, adding, '{"a":1099,"b":0}')
    assert computed == adding.computed
    ask(kept, adding, '{"a":1000,"b":0}')
    assert computed + 1 == adding.computed

    assert [b"x" * 9_000] == ask(kept, adding, '{"a":9000,"b":0}')
    assert [b"x" * 9_000] == ask(kept, adding, '{"a":9000,"b":0}')


def test_nothing_is_kept_where_nothing_may_be() -> None:
    """Without room every question is computed, and the answers are the same."""
    adding = Adding()
    kept = answers(adding, most=0)

    assert [b"xx", b"xx"] == [ask(kept, adding, '{"a":1}')[0] for _ in range(2)]
    assert (2, 2, 0, 0) == (adding.computed, kept.usage().computed, kept.usage().found, kept.usage().held)


def test_what_is_not_kept_is_computed_once_with_what_it_bears() -> None:
    """What an answer bears is made for the answer at hand."""
    stamping = Stamping()
    adding = Adding(stamping=stamping)
    kept = answers(adding, most=0)

    assert [b"xx 7 for 2"] == ask(kept, adding, '{"a":1}')
    assert (1, 1) == (adding.computed, stamping.stamped)


def test_an_answer_is_kept_once_for_all_of_the_times() -> None:
    """Each hour takes what is borne in it, and not the whole answer again."""
    stamping = Stamping()
    adding = Adding(stamping=stamping)
    kept = answers(adding)
    ask(kept, adding, '{"a":10000,"b":0}')
    before = kept.usage().held
    for stamping.hour in range(8, 18):
        ask(kept, adding, '{"a":10000,"b":0}')

    assert (1, 11) == (adding.computed, stamping.stamped)
    assert before < kept.usage().held < before + 10 * 1_000


def test_a_text_that_is_malformed_is_never_taken_for_one_that_is_not() -> None:
    """A name that occurs twice is refused, also where the last of it was asked before."""
    adding = Adding()
    kept = answers(adding)
    ask(kept, adding, '{"a":1}')

    (refused,) = ask(kept, adding, '{"a":2,"a":1}')
    assert "occurs twice" in str(refused)


@pytest.mark.parametrize("size", [100, 10_000])
def test_what_an_answer_is_counted_for_is_what_it_takes(size: int) -> None:
    """The bytes held are within a fifth of what Python allocates for them."""
    import tracemalloc  # noqa: PLC0415 - it slows everything while it is on

    adding = Adding()
    kept = answers(adding, most=100_000_000)
    gc.collect()  # also empties the lists of freed objects, which are used again without being counted
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]

    async def run() -> None:
        for number in range(500):
            await kept.ask(adding.question, b'{"a":%d,"b":%d}' % (size, number), ASKER)

    asyncio.run(run())
    taken = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()

    assert taken == pytest.approx(kept.usage().held, rel=0.2)


def test_each_audience_has_its_seal_of_one_answer() -> None:
    """An answer is computed once for all keys, and sealed once an hour for each, also in a coding."""
    stamping = Stamping()
    adding = Adding(stamping=stamping)
    kept = answers(adding)
    coded = CodingPreference("gzip", "gzip")
    page, till = (ASKER._replace(audience=audience) for audience in ("page", "till"))

    async def run() -> list[bytes]:
        asked = [(page, IDENTITY), (till, IDENTITY), (page, IDENTITY), (page, coded), (till, coded), (page, coded)]
        given = [await kept.ask(adding.question, b'{"a":900,"b":0}', asker, wish) for asker, wish in asked]
        return [answer.body if answer.coding is None else gzip.decompress(answer.body) for answer in given]

    given = asyncio.run(run())
    assert [b"to page", b"to till", b"to page", b"to page", b"to till", b"to page"] == [body[-7:] for body in given]
    assert (1, 2) == (adding.computed, stamping.stamped)
    assert given[0] == kept.cached(adding.question, b'{"a":900,"b":0}', page)


def test_keys_that_are_pinned_alike_share_answers() -> None:
    """What a key is pinned to is part of what is asked."""
    adding = Adding()
    kept = answers(adding)
    pinned = [ASKER._replace(pins=Pins(films=films)) for films in (("smooth",), ("smooth",), ("flake",))]

    async def run() -> None:
        for asker in (ASKER, *pinned):
            await kept.ask(adding.question, b'{"a":1}', asker)

    asyncio.run(run())
    assert 3 == adding.computed
