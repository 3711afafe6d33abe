import asyncio
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx2
import msgspec
import pytest
from msgspec.structs import replace

from featherline import AsyncClient, Client, ConnectionFailed, NotFound, RequestRefused, TimedOut, Unavailable
from featherline.testing import Asked, RecordedService, UnexpectedRequest, problem, record, recordings
from featherline.wire import (
    BookAnswer,
    CostAnswer,
    Fault,
    Film,
    FitRequest,
    Order,
    OrderWork,
    QuoteAnswer,
    RecordsAnswer,
    ShoeModel,
    Upper,
)

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"
ORDER = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
QUOTE = msgspec.json.decode((EXAMPLES / "quote-answer.json").read_bytes(), type=QuoteAnswer)
FIT = msgspec.json.decode((EXAMPLES / "fit-request.json").read_bytes(), type=FitRequest)
OTHER = replace(ORDER, pairs=77)
LINES = {"content-type": "application/jsonl"}

Ask = Callable[..., Any]


@pytest.fixture
def stand_in() -> RecordedService:
    """A service in memory."""
    return RecordedService()


@pytest.fixture(params=["Client", "AsyncClient"])
def ask(request: pytest.FixtureRequest, stand_in: RecordedService) -> Ask:
    """Ask the service in memory by a method of a client: once with each."""

    def plainly(method: str, *args: Any, **manners: Any) -> Any:  # noqa: ANN401 - as the method has it
        with Client(transport=stand_in, **manners) as client:
            return getattr(client, method)(*args)

    def asynchronously(method: str, *args: Any, **manners: Any) -> Any:  # noqa: ANN401 - as the method has it
        async def run() -> Any:  # noqa: ANN401 - as the method has it
            async with AsyncClient(transport=stand_in, **manners) as client:
                return await getattr(client, method)(*args)

        return asyncio.run(run())

    return plainly if request.param == "Client" else asynchronously


@pytest.mark.parametrize(
    ("each", "method"),
    [
        (each, {"/v1/seals/check": "check_seal"}.get(each.path, each.path.removeprefix("/v1/").removesuffix("s")))
        for each in recordings.examples()
        if each.request is not None
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_every_recorded_question_has_its_answer(each: Any, method: str, ask: Ask) -> None:  # noqa: ANN401 - a recording
    """What the documentation asks is answered as the real service answered it."""
    asked = each.request.seal if method == "check_seal" else each.request
    assert each.answer == ask(method, asked)


def test_the_book_is_answered(ask: Ask) -> None:
    """The book, its shelves that are recorded, one record of them, and the keys of seals."""
    assert "films" in {shelf.kind for shelf in ask("book").kinds}
    films = ask("records", Film).records
    assert films[0] == ask("record", Film, films[0].id).record
    assert ask("seal_keys").keys
    with pytest.raises(NotFound, match=r"Of shoes the book has: .*regatta-deck"):
        ask("record", ShoeModel, "no-such-shoe")


def test_what_was_asked_is_kept(stand_in: RecordedService, ask: Ask) -> None:
    """A test can look at every request, as it arrived."""
    ask("quote", ORDER)
    ask("book")
    assert [("/v1/quotes", ORDER), ("/v1/book", None)] == [(each.path, each.request) for each in stand_in.asked]


def test_an_unknown_request_says_what_to_do(ask: Ask) -> None:
    """It fails a test as an assertion does, and says how to give or to record an answer."""
    with pytest.raises(AssertionError, match=r"give\(Order, answer\).*record\(client, request, folder\).*\"pairs\":77"):
        ask("quote", OTHER)


@pytest.mark.parametrize("to", [OTHER, Order])
def test_an_answer_is_given_to_a_request_or_to_any(to: Any, stand_in: RecordedService, ask: Ask) -> None:  # noqa: ANN401 - either
    """The latest given comes first."""
    stand_in.give(Order, replace(QUOTE, verdict="decline"))
    stand_in.give(to, replace(QUOTE, verdict="trial"))
    assert "trial" == ask("quote", OTHER).verdict


def test_an_answer_can_be_computed(stand_in: RecordedService, ask: Ask) -> None:
    """A function is asked with the request."""
    stand_in.give(Order, lambda order: replace(QUOTE, verdict="trial" if order.pairs > 70 else "ready"))
    assert ("trial", "ready") == (ask("quote", OTHER).verdict, ask("quote", ORDER).verdict)


def test_an_answer_can_be_given_for_some_times(stand_in: RecordedService, ask: Ask, no_waits: None) -> None:  # noqa: ARG001 - no waits between retries
    """Then what answered before answers again: so a retry is tried."""
    stand_in.give(Order, problem(503), times=2, headers={"Retry-After": "0"})
    assert QUOTE == ask("quote", ORDER)
    assert 3 == len(stand_in.asked)


def test_problems_are_errors_of_the_client(stand_in: RecordedService, ask: Ask) -> None:
    """A problem is raised as the real service's would be, with its faults and headers."""
    stand_in.give(ORDER, problem(422, errors=[Fault(pointer="/shoe", detail="No such shoe")]))
    with pytest.raises(RequestRefused) as refused:
        ask("quote", ORDER)
    assert ["/shoe"] == [fault.pointer for fault in refused.value.faults]
    stand_in.give(ORDER, problem(429), headers={"Retry-After": "7"})
    with pytest.raises(Unavailable) as busy:
        ask("quote", ORDER, attempts=1)
    assert 7.0 == busy.value.retry_after_s


def test_errors_of_the_network_can_be_given(stand_in: RecordedService, ask: Ask) -> None:
    """An error of the HTTP client is raised from the transport."""
    stand_in.give(ORDER, httpx2.ConnectError("refused"))
    with pytest.raises(ConnectionFailed, match="refused"):
        ask("quote", ORDER, attempts=1)


def test_a_delay_is_waited_for(stand_in: RecordedService, ask: Ask) -> None:
    """An answer takes as long as the test says."""
    stand_in.give(ORDER, QUOTE, delay_s=0.05)
    begun = time.monotonic()
    assert QUOTE == ask("quote", ORDER)
    assert time.monotonic() - begun >= 0.05


def test_a_delay_beyond_the_clients_patience_is_a_timeout(stand_in: RecordedService, ask: Ask) -> None:
    """The client waits no longer than it would for a real service."""
    stand_in.give(ORDER, QUOTE, delay_s=600.0)
    with pytest.raises(TimedOut):
        ask("quote", ORDER, attempts=1, attempt_timeout=0.05)


def test_a_shelf_that_is_not_recorded_can_be_given(stand_in: RecordedService, ask: Ask) -> None:
    """What is read is given by its path; a problem with a shelf is one with its records."""
    with pytest.raises(UnexpectedRequest, match=r"give\('/v1/book/uppers', answer\). Recorded are: /v1/book, "):
        ask("records", Upper)
    shoes = recordings.shelves()["shoes"]
    few = RecordsAnswer(records=(shoes["ward-clog"],), book=QUOTE.book, engine=QUOTE.engine)
    stand_in.give("/v1/book/shoes", few)
    assert "ward-clog" == ask("record", ShoeModel, "ward-clog").record.id
    stand_in.give("/v1/book/shoes", problem(503))
    with pytest.raises(Unavailable):
        ask("record", ShoeModel, "ward-clog", attempts=1)


def test_pictures_are_given_as_bytes(stand_in: RecordedService, ask: Ask) -> None:
    """A picture answers who asks for one, and an answer who asks for that."""
    with pytest.raises(UnexpectedRequest, match="gave a picture"):
        ask("picture", FIT, "image/svg+xml")
    stand_in.give(FitRequest, b"<svg/>")
    assert b"<svg/>" == ask("picture", FIT, "image/svg+xml")
    assert ask("fit", FIT).fit.verdict
    assert isinstance(stand_in.asked[-1], Asked)


def test_bulk_is_answered_line_by_line(stand_in: RecordedService, ask: Ask) -> None:
    """Recorded, given and computed answers, and problems, each in its place."""
    stand_in.give(OTHER, problem(422))
    with Client(transport=stand_in) as client:
        replies = list(client.bulk([ORDER, OTHER, FIT]))
    assert QUOTE == replies[0].answer
    assert replies[1].problem is not None
    assert 422 == replies[1].problem.status
    assert replies[2].answer is not None
    assert ["/v1/quotes", "/v1/quotes", "/v1/fits"] == [each.path for each in stand_in.asked]
    assert ask("quote", ORDER)


@pytest.mark.parametrize(
    ("to", "reply", "said"),
    [
        (QUOTE, QUOTE, "A QuoteAnswer is no request"),
        (Order, CostAnswer(cost=None, price=None, what_if=None, declined=(), book="", engine=""), "not answered with"),
        (ORDER, replace(QUOTE, verdict="maybe"), "Invalid enum value 'maybe'"),
        ("/v1/book", QUOTE, "/v1/book is not answered with this QuoteAnswer"),
    ],
)
def test_what_is_given_is_held_to_the_contract(to: Any, reply: Any, said: str, stand_in: RecordedService) -> None:  # noqa: ANN401 - anything
    """An answer that the service could not give is refused when it is given."""
    with pytest.raises(TypeError, match=said):
        stand_in.give(to, reply)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"method": "POST", "url": "/v1/quotes", "json": {"shoe": 7}}, "/v1/quotes: the service refuses this: "),
        ({"method": "POST", "url": "/v1/quotes", "content": b"{}"}, "takes POST with Content-Type application/json"),
        ({"method": "GET", "url": "/v1/quotes"}, "takes POST with .* this is GET"),
        ({"method": "PUT", "url": "/v1/orders"}, "PUT /v1/orders: the service has /v1/recipes, "),
        ({"method": "GET", "url": "/v1/orders"}, r"give\('/v1/orders', answer\)"),
        ({"method": "GET", "url": "/v1/book?all=1"}, "No path takes query parameters; /v1/book was given 'all=1'"),
        ({"method": "POST", "url": "/v1/bulk", "json": {}}, "takes POST with Content-Type application/jsonl"),
        (
            {"method": "POST", "url": "/v1/bulk", "content": b'\n{"kind":"x"}', "headers": LINES},
            "Line 2 of /v1/bulk: the service refuses this: ",
        ),
    ],
)
def test_a_request_against_the_contract_is_refused(sent: dict[str, Any], said: str, stand_in: RecordedService) -> None:
    """Whoever asks it without the SDK is held to the contract, too."""
    with (
        httpx2.Client(base_url="http://saltmarsh.test", transport=stand_in) as client,
        pytest.raises(UnexpectedRequest, match=said),
    ):
        client.request(**sent)


def test_answers_of_a_real_service_are_kept_and_given_again(tmp_path: Path, client: Client) -> None:
    """A project records what it asks, once, and tests without a service from then on."""
    order = replace(ORDER, pairs=5)
    first = record(client, order, tmp_path / "recorded")
    assert "quotes-" == first.name[:7]
    assert first == record(client, order, tmp_path / "recorded")
    with Client(transport=RecordedService(tmp_path / "recorded")) as later:
        kept = later.quote(order)
    assert replace(client.quote(order), seal=None) == replace(kept, seal=None)
    with pytest.raises(TypeError, match="A BookAnswer is no request"):
        record(client, client.book(), tmp_path)


@pytest.mark.parametrize("content", ["{}", '{"path": "/v1/orders", "request": {}, "answer": {}}', "no JSON"])
def test_a_file_that_is_no_recording_gets_a_sentence(content: str, tmp_path: Path) -> None:
    """The message names the file."""
    (tmp_path / "quotes-1.json").write_text(content, "utf-8")
    with pytest.raises(ValueError, match=r"quotes-1\.json is no recording that this version reads"):
        RecordedService(tmp_path)


def test_only_requests_have_a_kind() -> None:
    """Each member of a union of requests is of its kind."""
    assert "/v1/costs" == recordings.endpoint_of(OrderWork).path
    with pytest.raises(TypeError):
        recordings.endpoint_of(BookAnswer)
