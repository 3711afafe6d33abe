"""How answers are kept: computed once, bounded by bytes, and the same as without."""

from __future__ import annotations

import asyncio
import json
import threading
from typing import Any, cast

import msgspec
import pytest
from msgspec import Struct

from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.signatures import Sealable
from featherline_service.web.answering.answer_cache import Answer, AnswerCache
from featherline_service.web.answering.question import Computed, Question
from featherline_service.web.answering.worker import Worker
from featherline_service.web.http.bodies import Body
from featherline_service.web.http.codings import IDENTITY, CodingPreference

BOOK = cast("Book", "a book that nothing here reads")


class Sum(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is asked."""

    a: int
    b: int = 1


class Adding:
    """A question that counts how often it is answered; its answer is as long as the sum."""

    def __init__(self, name: str = "sum", stamping: Stamping | None = None) -> None:
        self.question = Question(name, Body(Sum), self.answer, stamping)
        self.computed = 0
        self.gate = threading.Event()
        self.gate.set()

    def answer(self, _book: Book, request: Sum) -> Computed:
        """Answer, once the gate is open."""
        self.gate.wait(10)
        self.computed += 1
        if request.a < 0:
            checks = Checks()
            checks.note("/a", "Give zero or more")
            checks.settle()
        length = request.a + request.b
        return Computed(b"x" * length, sealable=cast("Sealable", range(length)) if self.question.sealer else None)


class Stamping:
    """What puts the hour on an answer, and counts how often."""

    def __init__(self) -> None:
        self.hour = 7
        self.stamped = 0

    def period(self) -> int:
        """Tell the hour."""
        return self.hour

    def seal(self, request: Sum, sealable: Any, period: int) -> bytes:  # noqa: ANN401 - what is sealed
        """Make the hour, what was asked, and how long its answer is."""
        self.stamped += 1
        return b"%d for %d of %d" % (period, request.a, len(sealable))

    def attach(self, body: bytes, seal: bytes) -> bytes:
        """Put it on an answer."""
        return b"%b %b" % (body, seal)


def answers(most: int = 100_000) -> AnswerCache:
    """Return answers that keep so many bytes."""
    return AnswerCache(BOOK, Worker(), most)


def ask(kept: AnswerCache, adding: Adding, *texts: str) -> list[Any]:
    """Return the answers to some texts asked at once, or what was raised."""

    async def run() -> list[Any]:
        asked = [kept.ask(adding.question, text.encode()) for text in texts]
        return await asyncio.gather(*asked, return_exceptions=True)

    return [each.body if isinstance(each, Answer) else each for each in asyncio.run(run())]


def test_a_question_is_computed_once_however_it_is_written() -> None:
    """White space, order, a default said or not: it is the same question."""
    adding, kept = Adding(), answers()
    written = ['{"a":2}', '{"a":2,"b":1}', ' {"b": 1,\n"a": 2.0} ', '{"a":2}']

    assert [b"xxx"] * 4 == [ask(kept, adding, text)[0] for text in written]
    assert 1 == adding.computed
    assert (3, 1) == (kept.usage().found, kept.usage().computed)


def test_single_questions_and_bulk_share_their_answers() -> None:
    """What was computed in a worker's thread is there for the next, and the other way round."""
    adding, kept = Adding(), answers()
    kept.answer(adding.question, b'{"a":1}')
    ask(kept, adding, '{"a":1}', '{"a":2}')
    kept.answer(adding.question, b'{"a":2}')

    assert 2 == adding.computed


def test_questions_of_two_names_are_two() -> None:
    """The same text may be asked in two ways."""
    one, other, kept = Adding("one"), Adding("other"), answers()
    ask(kept, one, '{"a":1}')
    ask(kept, other, '{"a":1}')

    assert [1, 1] == [one.computed, other.computed]


def test_what_an_answer_bears_for_a_time_is_put_on_once_for_that_time() -> None:
    """However it is written and by whom it is asked; the answer itself is computed once for all time."""
    stamping = Stamping()
    adding, kept = Adding(stamping=stamping), answers()
    first = ask(kept, adding, '{"a":1}', '{"a":1}', '{"b":1,"a":1}')
    first.append(kept.answer(adding.question, b'{"a":1,"b":1}'))
    stamping.hour = 8
    second = ask(kept, adding, '{"a":1}', '{"a":1}')

    assert [b"xx 7 for 1 of 2"] * 4 == first
    assert [b"xx 8 for 1 of 2"] * 2 == second
    assert (1, 2) == (adding.computed, stamping.stamped)
    assert (5, 1) == (kept.usage().found, kept.usage().computed)


def test_who_asks_for_what_is_being_computed_waits_for_it() -> None:
    """A hundred at once are one computation, though fewer may be in line."""
    adding, kept = Adding(), answers()
    adding.gate.clear()
    threading.Timer(0.05, adding.gate.set).start()

    assert [b"xx"] * 100 == ask(kept, adding, *['{"a":1}'] * 100)
    assert 1 == adding.computed
    assert (99, 1) == (kept.usage().found, kept.usage().computed)


def test_threads_that_ask_the_same_compute_it_once() -> None:
    """So it is when more than one worker answers."""
    adding, kept = Adding(), answers()
    adding.gate.clear()
    threads = [threading.Thread(target=kept.answer, args=(adding.question, b'{"a":1,"b":1}')) for _ in range(8)]
    for thread in threads:
        thread.start()
    adding.gate.set()
    for thread in threads:
        thread.join(10)

    assert 1 == adding.computed


def test_who_gives_up_takes_the_answer_from_nobody() -> None:
    """The first to ask leaves; the second, who waits for the same computation, has its answer."""
    adding, kept = Adding(), answers()
    adding.gate.clear()

    async def run() -> bytes:
        first, second = (asyncio.create_task(kept.ask(adding.question, b'{"a":1}')) for _ in range(2))
        await asyncio.sleep(0.02)
        first.cancel()
        await asyncio.sleep(0.02)
        adding.gate.set()
        return (await second).body

    assert b"xx" == asyncio.run(run())
    assert 1 == adding.computed


def test_an_answer_is_coded_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """However the question is written and however many ask at once; what is coded counts among the bytes held."""
    coded: list[str] = []

    def encode(body: bytes, coding: str) -> bytes:
        coded.append(coding)
        return coding.encode() + body[:100]

    monkeypatch.setattr("featherline_service.web.answering.answer_cache.encode", encode)
    adding, kept = Adding(), answers()
    zstd, gzip = CodingPreference(None, "zstd"), CodingPreference("gzip", "gzip")

    async def run(*asked: tuple[str, CodingPreference]) -> list[Answer]:
        return await asyncio.gather(
            *(kept.ask(adding.question, text.encode(), preference=wish) for text, wish in asked)
        )

    both = asyncio.run(run(('{"a":2000}', zstd), ('{"a":2000}', zstd), ('{"a":2000,"b":1}', zstd)))
    before = kept.usage().held
    small = asyncio.run(run(('{"a":2}', zstd), ('{"a":2}', gzip), ('{"a":2,"b":1}', IDENTITY)))
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
    adding, kept = Adding(), answers()
    refused = ask(kept, adding, '{"a":-1}', '{"a":-1}', '{"c":1}')

    assert [RefusedError] * 3 == [type(each) for each in refused]
    assert ["/a", "/a", "/a"] == [each.faults[0].pointer for each in refused]
    ask(kept, adding, '{"a":-1}')
    assert (2, 0) == (adding.computed, kept.usage().held)


def test_no_more_is_held_than_allowed() -> None:
    """The oldest unasked goes first; what is larger than all is answered and not kept."""
    adding, kept = Adding(), answers(5_000)
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
    adding, kept = Adding(), answers(0)

    assert [b"xx", b"xx"] == [ask(kept, adding, '{"a":1}')[0] for _ in range(2)]
    assert (2, 2, 0, 0) == (adding.computed, kept.usage().computed, kept.usage().found, kept.usage().held)


def test_what_is_not_kept_is_computed_once_with_what_it_bears() -> None:
    """What an answer bears is made for the answer at hand."""
    stamping = Stamping()
    adding, kept = Adding(stamping=stamping), answers(0)

    assert [b"xx 7 for 1 of 2"] == ask(kept, adding, '{"a":1}')
    assert (1, 1) == (adding.computed, stamping.stamped)


def test_an_answer_is_kept_once_for_all_of_the_times() -> None:
    """Each hour takes what is borne in it, and not the whole answer again."""
    stamping = Stamping()
    adding, kept = Adding(stamping=stamping), answers()
    ask(kept, adding, '{"a":10000,"b":0}')
    before = kept.usage().held
    for stamping.hour in range(8, 18):
        ask(kept, adding, '{"a":10000,"b":0}')

    assert (1, 11) == (adding.computed, stamping.stamped)
    assert before < kept.usage().held < before + 10 * 1_000


def test_a_text_that_is_malformed_is_never_taken_for_one_that_is_not() -> None:
    """A name that occurs twice is refused, also where the last of it was asked before."""
    adding, kept = Adding(), answers()
    ask(kept, adding, '{"a":1}')

    (refused,) = ask(kept, adding, '{"a":2,"a":1}')
    assert "occurs twice" in str(refused)


@pytest.mark.parametrize("size", [100, 10_000])
def test_what_an_answer_is_counted_for_is_what_it_takes(size: int) -> None:
    """The bytes held are within a fifth of what Python allocates for them."""
    import tracemalloc  # noqa: PLC0415 - it slows everything while it is on

    adding, kept = Adding(), answers(100_000_000)
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    for number in range(500):
        kept.answer(adding.question, msgspec.json.encode(Sum(a=size, b=number)))
    taken = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()

    assert taken == pytest.approx(kept.usage().held, rel=0.2)
