"""Bulk, driven as the server drives it: lines in, lines out, in order, in bounded memory."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, cast

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import Struct
from structlog.testing import capture_logs
from unread_books import UNREAD

from featherline.wire.bulk import LineId
from featherline_service.book.shop_book import Book
from featherline_service.computing import pool
from featherline_service.computing.this_process import ThisProcess
from featherline_service.messages.told import told
from featherline_service.questions.checks import Checks
from featherline_service.web.answering.answer_cache import AnswerCache, Asker
from featherline_service.web.answering.outcomes import answerer
from featherline_service.web.answering.question import Computed, Question
from featherline_service.web.http.bodies import Body
from featherline_service.web.http.callers import KEYLESS, Caller
from featherline_service.web.http.context import context_of
from featherline_service.web.http.lines import Line
from featherline_service.web.http.problems import BUSY, ProblemError
from featherline_service.web.http.token_buckets import TokenBucket
from featherline_service.web.routes import bulk
from featherline_service.web.routes.bulk import MOST_BEGUN, MOST_BYTES, Bulk, LineAnswers, line_reader
from featherline_service.web.server.caller_keys import Keys, mint

BOOK = UNREAD
LONGEST = 1_000
ORDINARY = b'{"kind":"sum","request":{"a":1,"length":1000}}\n'

Json = dict[str, Any]
Event = dict[str, Any]

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
KEY, ENTRY = mint("till", NOON)
HEADERS = [(b"authorization", f"Bearer {KEY}".encode())]
TILL = Caller(id="till", scopes=("bulk",), bulk_lines=1_000, bulk_streams=1, expires=NOON)


class Sum(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is asked: a sum, the time it takes, and the length of its answer."""

    a: int
    sleep_ms: int = 0
    length: int = 0


class SumQuestion(Struct, tag_field="kind", tag="sum", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line that asks for a sum."""

    id: LineId | None = None
    request: Sum


SERVICE_LINE = b'{"kind":"sum","id":"x","request":{"a":1,"length":2}}'


class Service:
    """Bulk in front of sums, with the events that its server saw."""

    def __init__(self, slowest_s: float = 5.0, caller: Caller = KEYLESS, keys: Keys | None = None) -> None:
        self.caller = caller
        self.work: TokenBucket | None = None
        self.answered: list[int] = []
        question, reader = Question("sum", Body(Sum), self.sum), line_reader(SumQuestion)
        this_process = ThisProcess(answerer((BOOK,), {"sum": question, reader.name: reader}))
        self.lines = LineAnswers({"sum": question}, AnswerCache(this_process, 0), LONGEST, reader)
        self.bulk = Bulk(self.lines, LONGEST, keys=keys, slowest_s=slowest_s)

    def sum(self, _book: Book, request: Sum, _language: str) -> Computed:
        """Answer, fail at 13, and refuse what is negative."""
        time.sleep(request.sleep_ms / 1e3)
        self.answered.append(request.a)
        if request.a == 13:
            raise LookupError("a secret of the inside")
        if request.a < 0:
            checks = Checks()
            checks.note("/a", told("refused", "Give zero or more"))
            checks.settle()
        return Computed(msgspec.json.encode(request.a + 1) + b" " * request.length)

    async def serve(self, parts: Sequence[bytes | float | None], connection: object = None) -> list[Event]:
        """Answer a body that comes in parts (a number: a pause; None: the caller leaves); return every event."""
        events: list[Event] = []
        coming = iter(parts)

        async def receive() -> Event:
            for part in coming:
                if isinstance(part, float):
                    await asyncio.sleep(part)
                    continue
                message = (
                    {"type": "http.disconnect"}
                    if part is None
                    else {"type": "http.request", "body": part, "more_body": True}
                )
                events.append(message)
                return message
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: Event) -> None:
            events.append(message)

        scope: Any = {"type": "http", "headers": HEADERS}
        context = context_of(scope)
        context.work = self.work
        context.request_id, context.caller, context.connection = "tide-7", self.caller, cast("Any", connection)
        with capture_logs():
            await self.bulk.serve(scope, cast("Any", receive), cast("Any", send))
        return events


FUZZED = Service()


def sent(events: Sequence[Event]) -> bytes:
    """Return the body that was sent."""
    return b"".join(event["body"] for event in events if event["type"] == "http.response.body")


def ask(*parts: bytes | float | None, service: Service | None = None) -> list[Json]:
    """Return the answered lines to a body that comes in parts."""
    events = asyncio.run((service or Service()).serve(parts))
    assert events[-1] == {"type": "http.response.body", "body": events[-1]["body"], "more_body": False}
    return [json.loads(line) for line in sent(events).splitlines()]


def line(a: int, **more: object) -> bytes:
    """Return a line that asks for a sum."""
    return json.dumps({"kind": "sum", "request": {"a": a}, **more}).encode() + b"\n"


def test_answers_come_in_order_with_their_line_and_id() -> None:
    """Whatever a line asks, its answer stands in its place."""
    answered = ask(b"".join(line(number, id=f"n{number}") for number in range(50)))

    assert [
        {"kind": "sum", "line": number + 1, "id": f"n{number}", "status": 200, "answer": number + 1}
        for number in range(50)
        if number != 13
    ] == [each for each in answered if each["line"] != 14]


def test_a_body_may_be_cut_anywhere() -> None:
    """Byte by byte it is answered as in one part."""
    body = line(1, id="é\n") + b"\r\n" + line(-1) + b"nonsense\n" + line(3).strip()

    assert ask(body) == ask(*(body[index : index + 1] for index in range(len(body))))


def test_one_bad_line_spoils_no_other() -> None:
    """Malformed, refused, failing and far too long lines each have their own problem; the rest is answered."""
    bad = [b"nonsense\n", line(-1), line(13), b"x" * 5_000 + b"\n", line(2, more=1), b'{"kind":"sum"}\n', b"\xff\n"]
    answered = ask(b"".join(each for one in bad for each in (one, line(7))))

    assert [400, 200, 422, 200, 500, 200, 413, 200, 422, 200, 422, 200, 400, 200] == [
        each["status"] for each in answered
    ]
    assert list(range(1, 15)) == [each["line"] for each in answered]
    assert {8} == {each["answer"] for each in answered[1::2]}


@pytest.mark.parametrize(
    ("text", "status", "pointers", "name"),
    [
        (b"nonsense", 400, [""], None),
        (b'{"kind":"sum","id":"x","request":{"a":1}', 400, [""], None),
        (b"\xff", 400, [""], None),
        (b'{"kind":"sum","id":"\xff","request":{"a":1}}', 400, [""], None),
        (b'{"kind":"sum","id":"x","request":{"a":"\xff"}}', 400, [""], None),
        (b'{"kind":"sum","id":"x","id":"y","request":{"a":1}}', 400, [""], None),
        (b'{"kind":"sum","id":"x","request":{"a":1,"a":2}}', 400, [""], None),
        (b'{"kind":"sum","\\u0069d":"x","id":"y","request":{"a":1}}', 400, [""], None),
        (b'{"kind":"sum","request":' + b"[" * 900 + b"]" * 60 + b"}", 400, [""], None),
        (b"[]", 422, [""], None),
        (b"null", 422, [""], None),
        (b"{}", 422, ["/request"], None),
        (b'{"id":"x","request":{"a":1}, "kind": "product"}', 422, ["/kind"], "x"),
        (b'{"kind":7,"id":"x","request":{"a":1}}', 422, ["/kind"], "x"),
        (b'{"kind":"sum","id":"x"}', 422, ["/request"], "x"),
        (b'{"kind":"sum","id":7,"request":{"a":1}}', 422, ["/id"], None),
        (b'{"kind":"sum","id":"x","request":{"a":"1"}}', 422, ["/request/a"], "x"),
        (b'{"kind":"sum","id":"x","request":{"a":1.5,"b":2}}', 422, ["/request/a", "/request/b"], "x"),
        (b'{"kind":"sum","id":"x","request":{"a":-1}}', 422, ["/request/a"], "x"),
        (b'{"kind":"sum","id":"x","request":"sum"}', 422, ["/request"], "x"),
        (b'{"kind":"sum","id":"x","request":{"a":"1"},"more":1}', 422, ["/request/a", "/more"], "x"),
        (b'{"kind":"sum","id":"x","request":{"a":13}}', 500, [], "x"),
        (b"x" * 1_001, 413, [""], None),
    ],
)
def test_a_bad_line_is_told_what_is_wrong_with_it(
    text: bytes, status: int, pointers: list[str], name: str | None
) -> None:
    """Its problem is a problem document, with pointers into the line, and its id where it can be told."""
    (answered,) = ask(text)
    problem = answered["problem"]

    assert ("problem", 1, name, status) == tuple(answered[field] for field in ("kind", "line", "id", "status"))
    assert (status, "urn:featherline:request:tide-7#1") == (problem["status"], problem["instance"])
    assert pointers == [fault["pointer"] for fault in problem["errors"]]
    assert "secret" not in json.dumps(answered)


@given(st.binary(max_size=4), st.integers(0, len(SERVICE_LINE)), st.integers(0, 4))
def test_a_line_with_wrong_bytes_in_it_never_fails_otherwise(wrong: bytes, at: int, over: int) -> None:
    """Wherever bytes are put into a right line, it is answered, malformed or refused, in one line of JSON."""
    text = SERVICE_LINE[:at] + wrong.replace(b"\n", b"\r") + SERVICE_LINE[at + over :]

    async def answer() -> bytes:
        begun = FUZZED.lines.begin(Line(1, text), Asker(pool.Caller("till", "bulk"), "tide-7"))
        return begun if isinstance(begun, bytes) else await begun

    with capture_logs():
        answered = asyncio.run(answer())

    assert answered.endswith(b"\n")
    assert 1 == answered.count(b"\n")
    assert json.loads(answered)["status"] in {200, 400, 422}


def test_a_line_that_is_right_after_all_is_answered() -> None:
    """3.0 is a whole number here as alone; members come in any order; an id may be what the request looks like."""
    lines = [
        b'{"kind":"sum","request":{"a":3.0}}',
        b'{"request":{"a":3},"id":"{\\"a\\":3}","kind":"sum"}',
        b' { "request" : {"a":3} , "kind":"sum", "id":null }\t',
    ]

    assert [4, 4, 4] == [each["answer"] for each in ask(b"\n".join(lines))]


def test_empty_lines_and_a_missing_last_line_feed_do_no_harm() -> None:
    """Lines are numbered as in the caller's file."""
    answered = ask(b"\n\r\n" + line(1) + b"   \n" + line(2).strip())

    assert [(3, 2), (5, 3)] == [(each["line"], each["answer"]) for each in answered]


def test_a_body_without_lines_is_answered_without_lines() -> None:
    """No question, no answer; that is no fault."""
    assert [] == ask()
    assert [] == ask(b"\n")


def test_no_more_is_read_ahead_than_is_begun() -> None:
    """What comes is read as fast as answers are sent, but for the lines whose answers are begun, and a part."""
    parts = [line(1) * 10] * 50
    events = asyncio.run(Service().serve(parts))

    read = answered = ahead = 0
    for event in events:
        if event["type"] == "http.request":
            ahead = max(ahead, read - answered)
            read += event["body"].count(b"\n")
        elif event["type"] == "http.response.body":
            answered += event["body"].count(b"\n")
    assert (500, 500) == (read, answered)
    assert 10 <= ahead <= MOST_BEGUN + 10


def test_answers_are_sent_in_pieces_that_can_be_held() -> None:
    """However much one part of a body asks for, little more is written at once than is allowed."""
    body = b"".join(line(number, request={"a": 1, "length": 100_000}) for number in range(12))
    events = asyncio.run(Service().serve([body]))
    pieces = [len(event["body"]) for event in events if event["type"] == "http.response.body" and event["body"]]

    assert sum(pieces) > 12 * 100_000
    assert max(pieces) < MOST_BYTES + 100_200


class Leaving:
    """A connection that its caller leaves after some looks at it."""

    def __init__(self, looks: int) -> None:
        self.looks = looks

    def is_closing(self) -> bool:
        """Say whether it is closed by now."""
        self.looks -= 1
        return self.looks < 0


def test_a_caller_that_leaves_is_not_worked_for() -> None:
    """Work stops with the line that it is at, not at the end of what was read."""
    service = Service()
    slow = line(1, request={"a": 1, "sleep_ms": 3}) * 100
    events = asyncio.run(service.serve([slow, None], Leaving(3)))

    assert 1 <= len(service.answered) < 20
    assert all(event["more_body"] for event in events if event["type"] == "http.response.body")


def test_a_body_that_breaks_off_is_answered_so_far() -> None:
    """When the caller is gone there is nobody to finish the answer for."""
    events = asyncio.run(Service().serve([line(1), None]))

    assert 2 == json.loads(sent(events))["answer"]
    assert all(event["more_body"] for event in events if event["type"] == "http.response.body")


def test_a_caller_that_says_nothing_is_told_and_left() -> None:
    """Before anything came it is 408; later the line that is waited for has that status, and is the last."""
    with pytest.raises(ProblemError, match=r"Nothing came for 0\.05 seconds") as refused:
        asyncio.run(Service(slowest_s=0.05).serve([1.0]))
    answered = ask(line(1) + line(2)[:9], 1.0, service=Service(slowest_s=0.05))

    assert 408 == refused.value.kind.status
    assert [(1, 200), (2, 408)] == [(each["line"], each["status"]) for each in answered]


def test_a_slow_caller_is_waited_for() -> None:
    """The limit is for a silence, not for the whole."""
    assert [2] * 5 == [each["answer"] for each in ask(*[line(1), 0.03] * 5, service=Service(slowest_s=0.1))]


def test_so_many_streams_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """One more is told to come again; when one has ended, the next is taken."""
    monkeypatch.setattr(bulk, "MOST_STREAMS", 2)
    service = Service()
    scope: Any = {"headers": [(b"content-type", b"application/jsonl")]}
    context_of(scope).caller = KEYLESS
    request: Any = type("Request", (), {"scope": scope})

    async def run() -> ProblemError:
        streams = [asyncio.create_task(service.serve([0.1, line(1)])) for _ in range(2)]
        await asyncio.sleep(0.02)
        with pytest.raises(ProblemError) as refused:
            await service.bulk.respond(request)
        await asyncio.gather(*streams)
        await service.bulk.respond(request)
        return refused.value

    error = asyncio.run(run())

    assert (BUSY, {"retry-after": "1"}) == (error.kind, error.headers)


def test_memory_does_not_grow_with_the_lines() -> None:
    """What one stream holds is the same after four thousand lines, whose answers are 4 MB, as after four hundred."""
    import tracemalloc  # noqa: PLC0415 - it slows everything while it is on

    service = Service()
    held: list[int] = []

    def body(lines: int) -> Iterator[bytes]:
        for _ in range(lines // 100):
            held.append(tracemalloc.get_traced_memory()[0])
            yield ORDINARY * 100

    async def run(lines: int) -> int:
        coming = body(lines)
        count = 0

        async def receive() -> Event:
            part = next(coming, None)
            return {"type": "http.request", "body": part or b"", "more_body": part is not None}

        async def send(message: Event) -> None:
            nonlocal count
            count += message.get("body", b"").count(b"\n")

        scope: Any = {"type": "http", "headers": []}
        context_of(scope).caller = KEYLESS
        await service.bulk.serve(scope, cast("Any", receive), cast("Any", send))
        service.answered.clear()
        return count

    asyncio.run(run(400))
    held.clear()
    tracemalloc.start()
    assert 4_000 == asyncio.run(run(4_000))
    tracemalloc.stop()

    assert max(held) - held[4] < 600_000


def test_a_key_has_its_own_number_of_streams() -> None:
    """One more of the same key is told to come again; another key is taken meanwhile, and the same one after."""
    service = Service(caller=TILL)

    def request(caller: Caller) -> Any:  # noqa: ANN401 - what is looked at of a request
        scope: Any = {"headers": [(b"content-type", b"application/jsonl")]}
        context_of(scope).caller = caller
        return type("Request", (), {"scope": scope})

    async def run() -> ProblemError:
        stream = asyncio.create_task(service.serve([0.1, line(1)]))
        await asyncio.sleep(0.02)
        with pytest.raises(ProblemError) as refused:
            await service.bulk.respond(request(TILL))
        await service.bulk.respond(request(msgspec.structs.replace(TILL, id="harbour-shop")))
        await stream
        await service.bulk.respond(request(TILL))
        return refused.value

    error = asyncio.run(run())
    assert ("too-many-streams", 429, "1") == (error.kind.name, error.kind.status, error.headers["retry-after"])
    assert "The key till may have 1 at the same time" in error.detail


@pytest.mark.parametrize("together", [True, False], ids=["in one part", "line by line"])
def test_a_key_has_its_own_number_of_lines(together: bool) -> None:
    """Up to the limit all are answered; at the next one the stream ends with a problem, and nothing more is read."""
    service = Service(caller=TILL)
    lines = [line(number) for number in range(100, 1_101)] + [line(7)]
    answered = ask(*([b"".join(lines)] if together else lines), service=service)

    assert [number + 1 for number in range(100, 1_100)] == [each["answer"] for each in answered[:-1]]
    last = answered[-1]
    assert ("problem", 1_001, 413, "urn:featherline:problem:too-many-lines") == (
        last["kind"], last["line"], last["status"], last["problem"]["type"],
    )  # fmt: skip
    assert "The key till may send 1,000 lines in one request" in last["problem"]["detail"]
    assert 1_000 == len(service.answered)


@pytest.mark.parametrize("ending", [b"", b"\n", b"\n\n  \n"])
def test_the_last_line_that_a_key_may_send_is_the_last(ending: bytes) -> None:
    """Exactly as many as are allowed are no fault, however the body ends."""
    body = b"".join(line(number) for number in range(100, 1_100)).removesuffix(b"\n") + ending

    assert {200} == {each["status"] for each in ask(body, service=Service(caller=TILL))}


@pytest.mark.parametrize("ended", ["by the clock", "in the file"])
def test_a_key_that_ends_ends_its_streams(tmp_path: Path, ended: str) -> None:
    """What came before is answered; the line that is waited for has the status 401, and is the last."""
    path = tmp_path / "keys.toml"
    path.write_text(ENTRY)
    passed_s = 0.0
    keys = Keys(path, lambda: NOON + timedelta(seconds=passed_s))
    service = Service(caller=TILL, keys=keys)
    parts = iter([line(1), line(2), line(3)])

    def coming() -> Iterator[bytes]:
        nonlocal passed_s
        yield next(parts)
        yield next(parts)
        if ended == "by the clock":
            passed_s = 366 * 86_400.0
        else:
            path.write_text(mint("harbour-shop", NOON)[1])
            keys.look()
        yield next(parts)

    events = asyncio.run(service.serve(cast("Any", coming())))
    answered = [json.loads(each) for each in sent(events).splitlines()]

    assert [(1, 200), (2, 200), (3, 401)] == [(each["line"], each["status"]) for each in answered]
    assert "urn:featherline:problem:key-refused" == answered[-1]["problem"]["type"]
    assert KEY not in sent(events).decode()


def test_a_stream_that_has_used_its_processor_time_goes_on_when_there_is_more() -> None:
    """It is not ended, as a single question would be refused, but slowed down."""
    service = Service()
    spent = TokenBucket(100.0, 1.0)
    spent.spend(21.0)
    service.work = spent
    begun = time.monotonic()

    assert [2, 3] == [answer["answer"] for answer in ask(line(1) + line(2), service=service)]
    assert time.monotonic() - begun > 0.15
