"""Bulk in front of functions: what is sent, what is made of the answer, and what becomes of one that is not whole."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import httpx2
import msgspec
import pytest

from featherline import (
    AsyncClient,
    Client,
    ConnectionFailed,
    KeyRefused,
    NotFound,
    Reply,
    RequestRefused,
    ServiceFault,
    TimedOut,
    Unavailable,
    UnexpectedAnswer,
)
from featherline.wire import (
    ArtworkAnswer,
    ArtworkRequest,
    CostAnswer,
    CostRequest,
    FitAnswer,
    FitRequest,
    Order,
    QuoteAnswer,
    RecipeAnswer,
    RecipeRequest,
    TrialAnswer,
    TrialRequest,
)

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
LINES = {"content-type": "application/jsonl"}
PROBLEM = {"type": "t", "title": "T", "detail": "d", "instance": "i", "errors": []}

Handler = Callable[[httpx2.Request], httpx2.Response]
Everything = Callable[..., list[Reply[Any, Any]]]


def example(name: str, kind: Any) -> Any:  # noqa: ANN401 - of the kind given
    """Return an example request or answer."""
    return msgspec.json.decode((EXAMPLES / f"{name}.json").read_bytes(), type=kind)


ORDER: Order = example("quote-request", Order)
ANSWER = json.loads((EXAMPLES / "quote-answer.json").read_bytes())


@pytest.fixture(params=["Client", "AsyncClient"])
def everything(request: pytest.FixtureRequest) -> Everything:
    """Return every reply to some requests, from a handler: once with each client."""

    def plainly(handler: Handler, requests: Iterable[Any], bulk: Any = None, **manners: Any) -> list[Any]:  # noqa: ANN401
        with Client("http://saltmarsh.test", transport=httpx2.MockTransport(handler), **manners) as client:
            return list(client.bulk(requests, **(bulk or {})))

    def asynchronously(handler: Handler, requests: Iterable[Any], bulk: Any = None, **manners: Any) -> list[Any]:  # noqa: ANN401
        async def run() -> list[Any]:
            transport = httpx2.MockTransport(handler)
            async with AsyncClient("http://saltmarsh.test", transport=transport, **manners) as client:
                return [reply async for reply in client.bulk(requests, **(bulk or {}))]

        return asyncio.run(run())

    return plainly if request.param == "Client" else asynchronously


def orders(count: int) -> list[Order]:
    """Return so many orders that can be told apart."""
    return [msgspec.structs.replace(ORDER, pairs=pairs) for pairs in range(1, count + 1)]


def numbers(request: httpx2.Request) -> list[int]:
    """Return the numbers of pairs that a POST asks for, by which its orders are told apart."""
    return [json.loads(line)["request"]["pairs"] for line in request.content.splitlines()]


def lines(request: httpx2.Request) -> list[bytes]:
    """Return an answered line for each line of a POST; the price's policy tells which order it is for."""
    answered = []
    for number, line in enumerate(request.content.splitlines(), 1):
        pairs = json.loads(line)["request"]["pairs"]
        answer = {**ANSWER, "price": {**ANSWER["price"], "policy": f"pairs-{pairs}"}}
        answered.append(json.dumps({"kind": "quote", "line": number, "id": None, "status": 200, "answer": answer}))
    return [line.encode() + b"\n" for line in answered]


def response(parts: Iterable[bytes]) -> httpx2.Response:
    """Return a response of lines."""
    return httpx2.Response(200, headers=LINES, content=b"".join(parts))


def right(replies: list[Reply[Any, Any]], count: int) -> bool:
    """Return whether there is one reply for each of some orders, in order, with its own answer."""
    return [(pairs, pairs, f"pairs-{pairs}") for pairs in range(1, count + 1)] == [
        (reply.line, reply.request.pairs, reply.answer.price.policy) for reply in replies
    ]


def test_each_kind_of_request_has_its_own_kind_of_answer(everything: Everything) -> None:
    """A line says its kind and holds the request; the answer is of the kind that the request has alone."""
    asked = [
        example("recipe-request", RecipeRequest),
        example("fit-request", FitRequest),
        example("cost-request", CostRequest),
        example("cost-request-measures", CostRequest),
        ORDER,
        example("trial-request", TrialRequest),
        example("artwork-request", ArtworkRequest),
    ]
    names = [
        *("recipe-answer", "fit-answer", "cost-answer", "cost-answer-measures"),
        *("quote-answer", "trial-answer", "artwork-answer"),
    ]
    types = [RecipeAnswer, FitAnswer, CostAnswer, CostAnswer, QuoteAnswer, TrialAnswer, ArtworkAnswer]
    sent: list[Any] = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        assert ("POST", "/v1/bulk") == (request.method, request.url.path)
        assert "application/jsonl" == request.headers["content-type"]
        assert "application/jsonl, application/problem+json" == request.headers["accept"]
        sent.extend(map(json.loads, request.content.splitlines()))
        answers = [json.loads((EXAMPLES / f"{name}.json").read_bytes()) for name in names]
        numbered = [
            {"kind": "any", "line": number, "id": None, "status": 200, "answer": each, "later": "more"}
            for number, each in enumerate(answers, 1)
        ]
        return response(json.dumps(each).encode() + b"\n" for each in numbered)

    replies = everything(answer, asked)

    assert ["recipe", "fit", "cost", "cost", "quote", "trial", "artwork"] == [line["kind"] for line in sent]
    assert [json.loads(msgspec.json.encode(each)) for each in asked] == [line["request"] for line in sent]
    assert asked == [reply.request for reply in replies]
    assert [example(name, kind) for name, kind in zip(names, types, strict=True)] == [each.answer for each in replies]
    assert [None] * len(asked) == [reply.problem for reply in replies]


@pytest.mark.parametrize(
    ("status", "error"),
    [
        (400, RequestRefused),
        (401, KeyRefused),
        (403, KeyRefused),
        (404, NotFound),
        (413, RequestRefused),
        (422, RequestRefused),
        (429, Unavailable),
        (500, ServiceFault),
        (503, Unavailable),
    ],
)
def test_a_bad_line_has_its_problem_and_spoils_no_other(
    everything: Everything, status: int, error: type[Exception]
) -> None:
    """Its answer raises what the request alone would have; the others have theirs."""

    def answer(request: httpx2.Request) -> httpx2.Response:
        one, _, three = lines(request)
        bad = {"kind": "problem", "line": 2, "id": None, "status": status, "problem": {**PROBLEM, "status": status}}
        return response([one, json.dumps(bad).encode() + b"\n", three])

    replies = everything(answer, orders(3))

    assert ["pairs-1", "pairs-3"] == [replies[index].answer.price.policy for index in (0, 2)]
    assert replies[1].problem is not None
    assert (2, status, f"<Reply to line 2: {status}>") == (
        *(replies[1].line, replies[1].problem.status),
        repr(replies[1]),
    )
    with pytest.raises(error):
        replies[1].answer  # noqa: B018 - it raises


def test_many_requests_go_in_posts_that_connections_hold(everything: Everything) -> None:
    """However many there are, no POST is larger than what is taken whole while nobody reads."""
    sizes = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        sizes.append(len(request.content))
        return response(lines(request))

    assert right(everything(answer, orders(400)), 400)
    assert len(sizes) > 2
    assert max(sizes) <= 65_536
    assert min(sizes[:-1]) > 50_000


def test_a_request_larger_than_a_post_goes_alone(everything: Everything) -> None:
    """It is sent all the same; the service has its own limit for a line."""
    large = msgspec.structs.replace(
        ORDER, placements=(msgspec.structs.replace(ORDER.placements[0], panel="x" * 100_000),)
    )
    posts = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        posts.append(numbers(request))
        return response(lines(request))

    everything(answer, [ORDER, large, ORDER])

    assert [[1, 1], [1]] == posts


@pytest.mark.parametrize("at_once", [1, 3, 1000])
def test_no_more_is_taken_than_may_wait(everything: Everything, at_once: int) -> None:
    """The source is drawn from as its requests are answered."""
    taken = 0
    posts = []

    def source() -> Iterator[Order]:
        nonlocal taken
        for order in orders(10):
            taken += 1
            yield order

    def answer(request: httpx2.Request) -> httpx2.Response:
        posts.append(numbers(request))
        assert taken == posts[-1][-1]
        return response(lines(request))

    assert right(everything(answer, source(), {"at_once": at_once}), 10)
    assert at_once >= max(map(len, posts))


def test_nothing_is_asked_when_there_is_nothing_to_ask(everything: Everything) -> None:
    """Without requests there are no replies, and no POST."""
    assert [] == everything(lambda _: pytest.fail("nothing is to be sent"), [])


class Broken(httpx2.SyncByteStream, httpx2.AsyncByteStream):
    """A body that breaks off after some parts."""

    def __init__(self, parts: list[bytes], error: Exception | None = None) -> None:
        self.parts = parts
        self.error = error or httpx2.ReadError("broken off")

    def __iter__(self) -> Iterator[bytes]:
        """Give the parts, then break."""
        yield from self.parts
        raise self.error

    async def __aiter__(self) -> AsyncIterator[bytes]:
        """Give the parts, then break."""
        for part in self.parts:
            yield part
        raise self.error


def cut(request: httpx2.Request, keep: int) -> httpx2.Response:
    """Return an answer that ends properly, after some lines and half of the next."""
    answered = lines(request)
    return response([*answered[:keep], answered[keep][:20]])


def broken(request: httpx2.Request, keep: int) -> httpx2.Response:
    """Return an answer that breaks off after some lines and half of the next."""
    answered = lines(request)
    return httpx2.Response(200, headers=LINES, stream=Broken([*answered[:keep], answered[keep][:20]]))


def silent(request: httpx2.Request, keep: int) -> httpx2.Response:
    """Return an answer that falls silent after some lines."""
    return httpx2.Response(200, headers=LINES, stream=Broken(lines(request)[:keep], httpx2.ReadTimeout("silent")))


def garbled(request: httpx2.Request, keep: int) -> httpx2.Response:
    """Return an answer in which a line is not JSON."""
    answered = lines(request)
    return response([*answered[:keep], answered[keep][:50] + answered[keep], *answered[keep + 1 :]])


def missing(request: httpx2.Request, keep: int) -> httpx2.Response:
    """Return an answer that lacks a line."""
    answered = lines(request)
    return response([*answered[:keep], *answered[keep + 1 :]])


@pytest.mark.usefixtures("no_waits")
@pytest.mark.parametrize("fault", [cut, broken, silent, garbled, missing])
@pytest.mark.parametrize("keep", [0, 1, 4])
def test_the_rest_is_asked_when_an_answer_is_not_whole(
    everything: Everything, fault: Callable[[httpx2.Request, int], httpx2.Response], keep: int
) -> None:
    """Every other POST goes wrong after some lines; each request has one reply, and none is asked again that has it."""
    posts: list[list[int]] = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        posts.append(numbers(request))
        return fault(request, keep) if len(posts) % 2 and len(posts[-1]) > keep else response(lines(request))

    assert right(everything(answer, orders(20), {"at_once": 5}), 20)
    begun = 1
    for number, asked in enumerate(posts, 1):
        assert begun == asked[0]
        begun += keep if number % 2 and len(asked) > keep else len(asked)


@pytest.mark.usefixtures("no_waits")
def test_lines_that_come_twice_are_replied_to_once(everything: Everything) -> None:
    """Somebody on the way may say something twice."""

    def answer(request: httpx2.Request) -> httpx2.Response:
        answered = lines(request)
        return response([*answered[:3], *answered[:3], *answered[2:], answered[-1]])

    assert right(everything(answer, orders(20), {"at_once": 7}), 20)


@pytest.mark.usefixtures("no_waits")
def test_a_service_that_is_busy_is_asked_again(everything: Everything) -> None:
    """503 is for the POST as a whole; nothing of it was answered."""
    statuses = iter([503, 429, 200])
    posts = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        posts.append(numbers(request))
        status = next(statuses)
        return response(lines(request)) if status == 200 else httpx2.Response(status, headers={"retry-after": "0"})

    assert right(everything(answer, orders(3)), 3)
    assert [[1, 2, 3]] * 3 == posts


@pytest.mark.usefixtures("no_waits")
def test_attempts_are_counted_from_the_last_reply(everything: Everything) -> None:
    """A service that answers one line at a time and hangs up is good enough; one that answers none is given up."""
    posts = 0

    def answer(request: httpx2.Request) -> httpx2.Response:
        nonlocal posts
        posts += 1
        return broken(request, 1) if posts < 30 else broken(request, 0)

    with pytest.raises(ConnectionFailed, match="broke off"):
        everything(answer, orders(100), attempts=4)
    assert posts == 29 + 4


@pytest.mark.usefixtures("no_waits")
@pytest.mark.parametrize(
    ("answered", "error", "words"),
    [
        (httpx2.Response(401, json={**PROBLEM, "status": 401}), KeyRefused, "401"),
        (httpx2.Response(415, json={**PROBLEM, "status": 415}), RequestRefused, "415"),
        (httpx2.Response(404, text="nothing here"), UnexpectedAnswer, "is the address right"),
        (httpx2.Response(200, text="<html>", headers={"content-type": "text/html"}), UnexpectedAnswer, "address"),
        (httpx2.Response(200, content=b'{"line":"one"}\n', headers=LINES), UnexpectedAnswer, "same version"),
        (httpx2.Response(500, json={**PROBLEM, "status": 500}), ServiceFault, "500"),
        (httpx2.Response(200, content=b"nonsense\n", headers=LINES), ConnectionFailed, "garbled"),
        (httpx2.Response(200, content=b"", headers=LINES), ConnectionFailed, "ended after 0 of 1 lines"),
    ],
)
def test_what_no_repeating_mends_is_raised(
    everything: Everything, answered: httpx2.Response, error: type[Exception], words: str
) -> None:
    """The stream ends with the error that says why."""
    content = answered.content

    def answer(_: httpx2.Request) -> httpx2.Response:
        return httpx2.Response(answered.status_code, headers=answered.headers, content=content)

    with pytest.raises(error, match=words):
        everything(answer, orders(1))


def test_an_answer_of_another_version_is_told_when_it_is_looked_at(everything: Everything) -> None:
    """A line can be passed over without its answer; whoever asks for it learns that it cannot be read."""

    def answer(_: httpx2.Request) -> httpx2.Response:
        return response([b'{"kind":"quote","line":1,"status":200,"answer":{"verdict":"maybe"}}\n'])

    (reply,) = everything(answer, orders(1))

    assert reply.problem is None
    with pytest.raises(UnexpectedAnswer, match="line 1 is not what this SDK reads"):
        reply.answer  # noqa: B018 - it raises


def test_what_is_no_request_is_refused(everything: Everything) -> None:
    """Before anything of it is sent."""
    with pytest.raises(TypeError, match=r"int is no request; give objects of RecipeRequest, .*TrialRequest"):
        everything(lambda _: pytest.fail("nothing is to be sent"), [7])


@pytest.mark.parametrize("wrong", [{"timeout": 0}, {"timeout": -1.0}, {"at_once": 0}])
def test_a_time_or_a_number_that_cannot_be_is_refused(everything: Everything, wrong: dict[str, Any]) -> None:
    """Time and lines have to be some."""
    with pytest.raises(ValueError, match=next(iter(wrong))):
        everything(lambda _: pytest.fail("nothing is to be sent"), orders(1), wrong)


def test_the_whole_ends_when_its_time_is_over(everything: Everything) -> None:
    """The deadline is for all requests together; without one, only silence ends it."""
    import time  # noqa: PLC0415

    def answer(request: httpx2.Request) -> httpx2.Response:
        time.sleep(0.03)
        return response(lines(request))

    with pytest.raises(TimedOut, match=r"within 0\.1 s"):
        everything(answer, orders(100), {"at_once": 1, "timeout": 0.1})
    assert right(everything(answer, orders(8), {"at_once": 1}, timeout=0.1), 8)


def test_an_asynchronous_source_is_drawn_from_too() -> None:
    """Requests may come as they please."""

    async def source() -> AsyncIterator[Order]:
        for order in orders(5):
            await asyncio.sleep(0)
            yield order

    async def run() -> list[Any]:
        transport = httpx2.MockTransport(lambda request: response(lines(request)))
        async with AsyncClient("http://saltmarsh.test", transport=transport) as client:
            return [reply async for reply in client.bulk(source(), at_once=2)]

    assert right(asyncio.run(run()), 5)


def test_whoever_has_enough_closes_the_connection() -> None:
    """An iterator that is closed lets its answer go."""
    closed = []

    class Endless(httpx2.SyncByteStream):
        """Lines, and a note when nobody wants more."""

        def __init__(self, parts: list[bytes]) -> None:
            self.parts = parts

        def __iter__(self) -> Iterator[bytes]:
            yield from self.parts

        def close(self) -> None:
            closed.append(True)

    def answer(request: httpx2.Request) -> httpx2.Response:
        return httpx2.Response(200, headers=LINES, stream=Endless(lines(request)))

    with Client("http://saltmarsh.test", transport=httpx2.MockTransport(answer)) as client:
        replies = client.bulk(orders(5))
        assert 1 == next(replies).line
        assert not closed
        del replies
        assert [True] == closed


def test_the_trace_goes_with_every_post(everything: Everything) -> None:
    """As with every question."""
    seen = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        seen.append(request.headers["traceparent"])
        return response(lines(request))

    everything(answer, orders(2), {"at_once": 1}, trace=lambda headers: headers.update(traceparent="00-7"))

    assert ["00-7", "00-7"] == seen
