"""Bulk in front of functions: the lines sent, the replies, and incomplete answers."""

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
RepliesOf = Callable[..., list[Reply[Any, Any]]]


def example(name: str, kind: Any) -> Any:  # noqa: ANN401 - of the type given
    """Return an example request or answer."""
    return msgspec.json.decode((EXAMPLES / f"{name}.json").read_bytes(), type=kind)


ORDER: Order = example("quote-request", Order)
ANSWER = json.loads((EXAMPLES / "quote-answer.json").read_bytes())


@pytest.fixture(params=["Client", "AsyncClient"])
def replies_of(request: pytest.FixtureRequest) -> RepliesOf:
    """Return all replies of a handler to some requests: once for each client."""

    def blocking(handler: Handler, requests: Iterable[Any], bulk: Any = None, **options: Any) -> list[Any]:  # noqa: ANN401
        with Client("http://saltmarsh.test", transport=httpx2.MockTransport(handler), **options) as client:
            return list(client.bulk(requests, **(bulk or {})))

    def asynchronous(handler: Handler, requests: Iterable[Any], bulk: Any = None, **options: Any) -> list[Any]:  # noqa: ANN401
        async def run() -> list[Any]:
            transport = httpx2.MockTransport(handler)
            async with AsyncClient("http://saltmarsh.test", transport=transport, **options) as client:
                return [reply async for reply in client.bulk(requests, **(bulk or {}))]

        return asyncio.run(run())

    return blocking if request.param == "Client" else asynchronous


def orders(count: int) -> list[Order]:
    """Return orders that differ in their number of pairs."""
    return [msgspec.structs.replace(ORDER, pairs=pairs) for pairs in range(1, count + 1)]


def numbers(request: httpx2.Request) -> list[int]:
    """Return the numbers of pairs of the orders in a POST, which identify them."""
    return [json.loads(line)["request"].get("pairs", 1) for line in request.content.splitlines()]


def lines(request: httpx2.Request) -> list[bytes]:
    """Return the answer to each line of a POST; the policy of the price identifies the order."""
    answers = []
    for number, line in enumerate(request.content.splitlines(), 1):
        pairs = json.loads(line)["request"].get("pairs", 1)
        answer = {**ANSWER, "price": {**ANSWER["price"], "policy": f"pairs-{pairs}"}}
        answers.append(json.dumps({"kind": "quote", "line": number, "id": None, "status": 200, "answer": answer}))
    return [line.encode() + b"\n" for line in answers]


def response(parts: Iterable[bytes]) -> httpx2.Response:
    """Return a response of lines."""
    return httpx2.Response(200, headers=LINES, content=b"".join(parts))


def right(replies: list[Reply[Any, Any]], count: int) -> bool:
    """Return whether there is one reply to each order, in their order, with the right answer."""
    return [(pairs, pairs, f"pairs-{pairs}") for pairs in range(1, count + 1)] == [
        (reply.line, reply.request.pairs, reply.answer.price.policy) for reply in replies
    ]


def test_each_kind_of_request_has_its_own_kind_of_answer(replies_of: RepliesOf) -> None:
    """A line has its kind and the request; the answer has the type that it has alone."""
    requests = [
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
            {"kind": "any", "line": number, "id": None, "status": 200, "answer": content, "later": "more"}
            for number, content in enumerate(answers, 1)
        ]
        return response(json.dumps(line).encode() + b"\n" for line in numbered)

    replies = replies_of(answer, requests)

    assert ["recipe", "fit", "cost", "cost", "quote", "trial", "artwork"] == [line["kind"] for line in sent]
    assert requests == [
        msgspec.convert(line["request"], type(request)) for line, request in zip(sent, requests, strict=True)
    ]
    assert requests == [reply.request for reply in replies]
    assert [example(name, kind) for name, kind in zip(names, types, strict=True)] == [reply.answer for reply in replies]
    assert [None] * len(requests) == [reply.problem for reply in replies]
    assert replies[0].answer is replies[0].answer


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
    replies_of: RepliesOf, status: int, error: type[Exception]
) -> None:
    """Its answer raises the error of the request alone; the other lines have their answers."""

    def answer(request: httpx2.Request) -> httpx2.Response:
        one, _, three = lines(request)
        bad = {"kind": "problem", "line": 2, "id": None, "status": status, "problem": {**PROBLEM, "status": status}}
        return response([one, json.dumps(bad).encode() + b"\n", three])

    replies = replies_of(answer, orders(3))

    assert ["pairs-1", "pairs-3"] == [replies[index].answer.price.policy for index in (0, 2)]
    assert replies[1].problem is not None
    assert (2, status, f"<Reply to line 2: {status}>") == (
        *(replies[1].line, replies[1].problem.status),
        repr(replies[1]),
    )
    with pytest.raises(error):
        replies[1].answer  # noqa: B018 - it raises


def test_posts_are_of_limited_size(replies_of: RepliesOf) -> None:
    """No POST is larger than what a connection takes while nobody reads the answer."""
    sizes = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        sizes.append(len(request.content))
        return response(lines(request))

    assert right(replies_of(answer, orders(400)), 400)
    assert len(sizes) > 2
    assert max(sizes) <= 65_536
    assert min(sizes[:-1]) > 50_000


def test_a_request_larger_than_a_post_goes_alone(replies_of: RepliesOf) -> None:
    """It is sent; the service has its own limit for a line."""
    large = msgspec.structs.replace(
        ORDER, placements=(msgspec.structs.replace(ORDER.placements[0], panel="x" * 100_000),)
    )
    posts = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        posts.append(numbers(request))
        return response(lines(request))

    replies_of(answer, [ORDER, large, ORDER])

    assert [[1, 1], [1]] == posts


@pytest.mark.usefixtures("no_waits")
def test_a_large_rest_is_sent_again_alone(replies_of: RepliesOf) -> None:
    """After an incomplete answer no requests are taken while the rest fills a POST."""
    large = msgspec.structs.replace(
        ORDER, placements=(msgspec.structs.replace(ORDER.placements[0], panel="x" * 100_000),)
    )
    posts = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        posts.append(numbers(request))
        return response(lines(request)[:1])

    replies_of(answer, [ORDER, large, ORDER])

    assert [[1, 1], [1], [1]] == posts


@pytest.mark.parametrize("at_once", [1, 3, 1000])
def test_requests_are_taken_as_they_are_needed(replies_of: RepliesOf, at_once: int) -> None:
    """No more than `at_once` requests are taken before the first of them is answered."""
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

    assert right(replies_of(answer, source(), {"at_once": at_once}), 10)
    assert at_once >= max(map(len, posts))


def test_no_requests_no_post(replies_of: RepliesOf) -> None:
    """Without requests there are no replies, and nothing is sent."""
    assert [] == replies_of(lambda _: pytest.fail("nothing is to be sent"), [])


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


def truncated(request: httpx2.Request, keep: int) -> httpx2.Response:
    """Return an answer that ends after some lines and half of the next, without an error."""
    answers = lines(request)
    return response([*answers[:keep], answers[keep][:20]])


def broken(request: httpx2.Request, keep: int) -> httpx2.Response:
    """Return an answer that breaks off after some lines and half of the next."""
    answers = lines(request)
    return httpx2.Response(200, headers=LINES, stream=Broken([*answers[:keep], answers[keep][:20]]))


def silent(request: httpx2.Request, keep: int) -> httpx2.Response:
    """Return an answer that falls silent after some lines."""
    return httpx2.Response(200, headers=LINES, stream=Broken(lines(request)[:keep], httpx2.ReadTimeout("silent")))


def garbled(request: httpx2.Request, keep: int) -> httpx2.Response:
    """Return an answer in which a line is not JSON."""
    answers = lines(request)
    return response([*answers[:keep], answers[keep][:50] + answers[keep], *answers[keep + 1 :]])


def missing(request: httpx2.Request, keep: int) -> httpx2.Response:
    """Return an answer without one of its lines."""
    answers = lines(request)
    return response([*answers[:keep], *answers[keep + 1 :]])


@pytest.mark.usefixtures("no_waits")
@pytest.mark.parametrize("fault", [truncated, broken, silent, garbled, missing])
@pytest.mark.parametrize("keep", [0, 1, 4])
def test_the_rest_is_sent_again_after_an_incomplete_answer(
    replies_of: RepliesOf, fault: Callable[[httpx2.Request, int], httpx2.Response], keep: int
) -> None:
    """Every other POST fails after some lines; each request has one reply, and is not sent again once it has it."""
    posts: list[list[int]] = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        posts.append(numbers(request))
        return fault(request, keep) if len(posts) % 2 and len(posts[-1]) > keep else response(lines(request))

    assert right(replies_of(answer, orders(20), {"at_once": 5}), 20)
    begun = 1
    for number, sent in enumerate(posts, 1):
        assert begun == sent[0]
        begun += keep if number % 2 and len(sent) > keep else len(sent)


@pytest.mark.usefixtures("no_waits")
def test_repeated_lines_are_ignored(replies_of: RepliesOf) -> None:
    """A proxy may repeat a part of the answer."""

    def answer(request: httpx2.Request) -> httpx2.Response:
        answers = lines(request)
        return response([*answers[:3], *answers[:3], *answers[2:], answers[-1]])

    assert right(replies_of(answer, orders(20), {"at_once": 7}), 20)


@pytest.mark.usefixtures("no_waits")
def test_a_busy_service_is_asked_again(replies_of: RepliesOf) -> None:
    """After 503 or 429 the whole POST is sent again."""
    statuses = iter([503, 429, 200])
    posts = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        posts.append(numbers(request))
        status = next(statuses)
        return response(lines(request)) if status == 200 else httpx2.Response(status, headers={"retry-after": "0"})

    assert right(replies_of(answer, orders(3)), 3)
    assert [[1, 2, 3]] * 3 == posts


@pytest.mark.usefixtures("no_waits")
def test_attempts_are_counted_from_the_last_reply(replies_of: RepliesOf) -> None:
    """A service that answers one line and hangs up is asked on; after several POSTs without a line the stream ends."""
    posts = 0

    def answer(request: httpx2.Request) -> httpx2.Response:
        nonlocal posts
        posts += 1
        return broken(request, 1) if posts < 30 else broken(request, 0)

    with pytest.raises(ConnectionFailed, match="broke off"):
        replies_of(answer, orders(100), attempts=4)
    assert posts == 29 + 4


@pytest.mark.usefixtures("no_waits")
@pytest.mark.parametrize(
    ("failure", "error", "words"),
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
def test_a_permanent_failure_is_raised(
    replies_of: RepliesOf, failure: httpx2.Response, error: type[Exception], words: str
) -> None:
    """The stream ends with an error that says why."""
    content = failure.content

    def answer(_: httpx2.Request) -> httpx2.Response:
        return httpx2.Response(failure.status_code, headers=failure.headers, content=content)

    with pytest.raises(error, match=words):
        replies_of(answer, orders(1))


def test_an_answer_of_another_version_is_an_error_at_its_access(replies_of: RepliesOf) -> None:
    """The answer is decoded, and the error raised, when `answer` is read."""

    def answer(_: httpx2.Request) -> httpx2.Response:
        return response([b'{"kind":"quote","line":1,"status":200,"answer":{"verdict":"maybe"}}\n'])

    (reply,) = replies_of(answer, orders(1))

    assert reply.problem is None
    with pytest.raises(UnexpectedAnswer, match="line 1 is not what this SDK reads"):
        reply.answer  # noqa: B018 - it raises


def test_an_object_that_is_no_request_is_refused(replies_of: RepliesOf) -> None:
    """Nothing is sent."""
    with pytest.raises(TypeError, match=r"int is not a request; give objects of RecipeRequest, .*TrialRequest"):
        replies_of(lambda _: pytest.fail("nothing is to be sent"), [7])


@pytest.mark.parametrize("wrong", [{"timeout": 0}, {"timeout": -1.0}, {"at_once": 0}])
def test_impossible_arguments_are_refused(replies_of: RepliesOf, wrong: dict[str, Any]) -> None:
    """`timeout` and `at_once` must be above zero."""
    with pytest.raises(ValueError, match=next(iter(wrong))):
        replies_of(lambda _: pytest.fail("nothing is to be sent"), orders(1), wrong)


def test_the_deadline_is_for_all_requests_together(replies_of: RepliesOf) -> None:
    """Without a `timeout` of its own, a stream may last longer than the client's."""
    import time  # noqa: PLC0415

    def answer(request: httpx2.Request) -> httpx2.Response:
        time.sleep(0.03)
        return response(lines(request))

    with pytest.raises(TimedOut, match=r"within 0\.1 s"):
        replies_of(answer, orders(100), {"at_once": 1, "timeout": 0.1})
    assert right(replies_of(answer, orders(8), {"at_once": 1}, timeout=0.1), 8)


def test_requests_may_come_from_an_asynchronous_source() -> None:
    """The asynchronous client takes them as they arrive."""

    async def source() -> AsyncIterator[Order]:
        for order in orders(5):
            await asyncio.sleep(0)
            yield order

    async def run() -> list[Any]:
        transport = httpx2.MockTransport(lambda request: response(lines(request)))
        async with AsyncClient("http://saltmarsh.test", transport=transport) as client:
            return [reply async for reply in client.bulk(source(), at_once=2)]

    assert right(asyncio.run(run()), 5)


def test_a_closed_iterator_closes_its_response() -> None:
    """The caller may stop before the last reply."""
    closed = []

    class Endless(httpx2.SyncByteStream):
        """A body that records when it is closed."""

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


def test_every_post_has_trace_headers(replies_of: RepliesOf) -> None:
    """They are written as for any other request."""
    seen = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        seen.append(request.headers["traceparent"])
        return response(lines(request))

    replies_of(answer, orders(2), {"at_once": 1}, trace=lambda headers: headers.update(traceparent="00-7"))

    assert ["00-7", "00-7"] == seen
