import asyncio
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx2
import msgspec
import pytest
from msgspec.structs import replace

from featherline import (
    AsyncClient,
    Client,
    ConnectionFailed,
    NotFound,
    RequestRefused,
    RevisionGone,
    TimedOut,
    Unavailable,
)
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
    """Call a method of a client of the service in memory: once for each client."""

    def blocking(method: str, *args: Any, **options: Any) -> Any:  # noqa: ANN401 - as the method has it
        with Client(transport=stand_in, **options) as client:
            return getattr(client, method)(*args)

    def asynchronous(method: str, *args: Any, **options: Any) -> Any:  # noqa: ANN401 - as the method has it
        async def run() -> Any:  # noqa: ANN401 - as the method has it
            async with AsyncClient(transport=stand_in, **options) as client:
                return await getattr(client, method)(*args)

        return asyncio.run(run())

    return blocking if request.param == "Client" else asynchronous


METHODS = {
    "/v1/seals/check": "check_seal",
    "/v1/from-prices": "from_price",
    "/v1/matrices": "matrix",
    "/v1/offers/rosters": "offer_roster",
    "/v1/offers/from-prices": "offer_from_price",
    "/v1/offers/fits": "offer_fit",
    "/v1/hand-prices": "hand_price",
    "/v1/pictures": "pictures",
}
"""The methods of the clients that are not named as their paths."""


@pytest.mark.parametrize(
    ("recording", "method"),
    [
        (item, METHODS.get(item.path, item.path.removeprefix("/v1/").removesuffix("s")))
        for item in recordings.examples()
        if item.request is not None
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_every_recorded_request_has_its_answer(recording: Any, method: str, ask: Ask) -> None:  # noqa: ANN401
    """The requests of the documentation have the answers of the real service."""
    request = recording.request.seal if method == "check_seal" else recording.request
    assert recording.answer == ask(method, request)


def test_the_book_is_answered(ask: Ask) -> None:
    """The book, the recorded kinds of records, single records, and the keys of seals are answered."""
    assert "films" in {shelf.kind for shelf in ask("book").kinds}
    films = ask("records", Film).records
    assert films[0] == ask("record", Film, films[0].id).record
    assert ask("seal_keys").keys
    with pytest.raises(NotFound, match=r"Of shoes the book has: regatta-deck, "):
        ask("record", ShoeModel, "regatta-dock")


def test_requests_are_recorded(stand_in: RecordedService, ask: Ask) -> None:
    """`asked` has every request in its order."""
    ask("quote", ORDER)
    ask("book")
    assert [("/v1/quotes", ORDER), ("/v1/book", None)] == [(asked.path, asked.request) for asked in stand_in.asked]


def test_an_unknown_request_is_an_assertion_error(ask: Ask) -> None:
    """The message says how to give or to record an answer."""
    with pytest.raises(AssertionError, match=r"give\(Order, answer\).*record\(client, request, folder\).*\"pairs\":77"):
        ask("quote", OTHER)


@pytest.mark.parametrize("to", [OTHER, Order])
def test_an_answer_is_given_to_a_request_or_to_any(to: Any, stand_in: RecordedService, ask: Ask) -> None:  # noqa: ANN401 - either
    """The latest answer given applies first."""
    stand_in.give(Order, replace(QUOTE, verdict="decline"))
    stand_in.give(to, replace(QUOTE, verdict="trial"))
    assert "trial" == ask("quote", OTHER).verdict


def test_an_answer_can_be_computed(stand_in: RecordedService, ask: Ask) -> None:
    """A function is called with the request."""
    stand_in.give(Order, lambda order: replace(QUOTE, verdict="trial" if order.pairs > 70 else "ready"))
    assert ("trial", "ready") == (ask("quote", OTHER).verdict, ask("quote", ORDER).verdict)


def test_an_answer_can_be_given_a_number_of_times(stand_in: RecordedService, ask: Ask, no_waits: None) -> None:  # noqa: ARG001 - no waits between retries
    """After them the earlier answers apply again, as for a test of retries."""
    stand_in.give(Order, problem(503), times=2, headers={"Retry-After": "0"})
    assert QUOTE == ask("quote", ORDER)
    assert 3 == len(stand_in.asked)


def test_problems_are_errors_of_the_client(stand_in: RecordedService, ask: Ask) -> None:
    """A problem becomes the same error as that of a real service, with its faults and headers."""
    stand_in.give(ORDER, problem(422, errors=[Fault(pointer="/shoe", detail="No such shoe")]))
    with pytest.raises(RequestRefused) as refused:
        ask("quote", ORDER)
    assert ["/shoe"] == [fault.pointer for fault in refused.value.faults]
    stand_in.give(ORDER, problem(429), headers={"Retry-After": "7"})
    with pytest.raises(Unavailable) as busy:
        ask("quote", ORDER, attempts=1)
    assert 7.0 == busy.value.retry_after_s


def test_errors_of_the_network_can_be_given(stand_in: RecordedService, ask: Ask) -> None:
    """An error of the HTTP client is raised by the transport."""
    stand_in.give(ORDER, httpx2.ConnectError("refused"))
    with pytest.raises(ConnectionFailed, match="refused"):
        ask("quote", ORDER, attempts=1)


def test_an_answer_can_be_delayed(stand_in: RecordedService, ask: Ask) -> None:
    """The client waits for it."""
    stand_in.give(ORDER, QUOTE, delay_s=0.05)
    begun = time.monotonic()
    assert QUOTE == ask("quote", ORDER)
    assert time.monotonic() - begun >= 0.05


def test_a_delay_beyond_the_timeout_is_a_timeout(stand_in: RecordedService, ask: Ask) -> None:
    """The client waits as long as for a real service."""
    stand_in.give(ORDER, QUOTE, delay_s=600.0)
    with pytest.raises(TimedOut):
        ask("quote", ORDER, attempts=1, attempt_timeout=0.05)


def test_other_records_can_be_given(stand_in: RecordedService, ask: Ask) -> None:
    """They are given by their path; a problem with all records of a kind is one with each of them."""
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
    """A given picture answers requests for pictures alone."""
    with pytest.raises(UnexpectedRequest, match="no recorded or given picture"):
        ask("picture", FIT, "image/svg+xml")
    stand_in.give(FitRequest, b"<svg/>")
    assert b"<svg/>" == ask("picture", FIT, "image/svg+xml")
    assert ask("fit", FIT).fit.verdict
    assert isinstance(stand_in.asked[-1], Asked)


def test_bulk_is_answered_line_by_line(stand_in: RecordedService, ask: Ask) -> None:
    """Recorded answers and given problems are in the order of the requests."""
    stand_in.give(OTHER, problem(422))
    with Client(transport=stand_in) as client:
        replies = list(client.bulk([ORDER, OTHER, FIT]))
    assert QUOTE == replies[0].answer
    assert replies[1].problem is not None
    assert 422 == replies[1].problem.status
    assert replies[2].answer is not None
    assert ["/v1/quotes", "/v1/quotes", "/v1/fits"] == [asked.path for asked in stand_in.asked]
    assert ask("quote", ORDER)


@pytest.mark.parametrize(
    ("to", "reply", "message"),
    [
        (QUOTE, QUOTE, "A QuoteAnswer is not a request"),
        (Order, CostAnswer(cost=None, price=None, what_if=None, declined=(), book="", engine=""), "not answered with"),
        (ORDER, replace(QUOTE, verdict="maybe"), "Invalid enum value 'maybe'"),
        ("/v1/book", QUOTE, "/v1/book is not answered with this QuoteAnswer"),
    ],
)
def test_given_answers_are_checked(to: Any, reply: Any, message: str, stand_in: RecordedService) -> None:  # noqa: ANN401 - anything
    """An answer that the service could not return is refused."""
    with pytest.raises(TypeError, match=message):
        stand_in.give(to, reply)


@pytest.mark.parametrize(
    ("sent", "message"),
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
def test_invalid_requests_are_refused(sent: dict[str, Any], message: str, stand_in: RecordedService) -> None:
    """The service in memory checks requests that the SDK has not made, too."""
    with (
        httpx2.Client(base_url="http://saltmarsh.test", transport=stand_in) as client,
        pytest.raises(UnexpectedRequest, match=message),
    ):
        client.request(**sent)


def test_a_pinned_revision_is_that_of_the_recordings(stand_in: RecordedService) -> None:
    """A cart that pins the recorded revision has its answers; another revision is gone, as after a change."""
    with Client(transport=stand_in) as client:
        revision = client.quote(ORDER).book
        cart, late = client.pinned(revision), client.pinned(f"sha256:{7:064x}")
        [reply] = cart.bulk([ORDER])
        assert [revision] * 3 == [cart.quote(ORDER).book, reply.answer.book, cart.record(Film, "smooth").book]
        assert revision == stand_in.asked[-1].revision
        with pytest.raises(RevisionGone, match=f"no revision sha256:{7:064x}. Ask again without Book-Revision."):
            late.quote(ORDER)
        with pytest.raises(RevisionGone):
            list(late.bulk([ORDER]))


def test_answers_of_a_real_service_are_recorded(tmp_path: Path, client: Client) -> None:
    """A project records its requests once, and then tests without a service."""
    order = replace(ORDER, pairs=5)
    first = record(client, order, tmp_path / "recorded")
    assert "quotes-" == first.name[:7]
    assert first == record(client, order, tmp_path / "recorded")
    with Client(transport=RecordedService(tmp_path / "recorded")) as later:
        recorded = later.quote(order)
    assert replace(client.quote(order), seal=None) == replace(recorded, seal=None)
    with pytest.raises(TypeError, match="A BookAnswer is not a request"):
        record(client, client.book(), tmp_path)


@pytest.mark.parametrize("content", ["{}", '{"path": "/v1/orders", "request": {}, "answer": {}}', "no JSON"])
def test_a_file_without_a_recording_is_an_error(content: str, tmp_path: Path) -> None:
    """The message names the file."""
    (tmp_path / "quotes-1.json").write_text(content, "utf-8")
    with pytest.raises(ValueError, match=r"quotes-1\.json is not a recording that this version reads"):
        RecordedService(tmp_path)


def test_only_requests_have_an_endpoint() -> None:
    """Each member of a union of requests has the endpoint of the union."""
    assert "/v1/costs" == recordings.endpoint_of(OrderWork).path
    with pytest.raises(TypeError):
        recordings.endpoint_of(BookAnswer)
