"""`Client` and `AsyncClient`: one method per question, the same in both."""
# ruff: noqa: ASYNC109 - a timeout spans the retries and is the same in both clients

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from types import TracebackType
from typing import TYPE_CHECKING, Any, Final, Literal, Self, TypeVar, overload
from urllib.parse import quote

from msgspec import Struct

from featherline.bulk import (
    TYPED,
    AnyAnswer,
    AnyRequest,
    AsyncRequests,
    Reply,
    Requests,
    async_post_each,
    post_each,
)
from featherline.wire import records
from featherline.wire.book import AnyRecord, BookAnswer, RecordAnswer, RecordsAnswer
from featherline.wire.costs import CostAnswer, CostRequest, Order
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.measures import ArtworkAnswer, ArtworkRequest
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer, RecipeRequest
from featherline.wire.rosters import Roster, RosterAnswer
from featherline.wire.seals import PublishedKeys, SealCheck, SealCheckRequest
from featherline.wire.trials import TrialAnswer, TrialRequest

if TYPE_CHECKING:
    import httpx2

Answer = TypeVar("Answer")

KINDS: Final[Mapping[type, records.Kind]] = {
    records.Source: "sources",
    records.Material: "materials",
    records.Contact: "contacts",
    records.Upper: "uppers",
    records.LabelledUppers: "labels",
    records.Film: "films",
    records.Cover: "covers",
    records.Pad: "pads",
    records.Platen: "platens",
    records.Press: "presses",
    records.Cutter: "cutters",
    records.Font: "fonts",
    records.ShoeModel: "shoes",
    records.Offcut: "offcuts",
    records.Rates: "rates",
    records.Policy: "policies",
    records.Bench: "benches",
}
_DRAWN: Final[Mapping[type, tuple[str, frozenset[str]]]] = {
    FitRequest: ("/v1/fits", frozenset({"image/svg+xml"})),
    RecipeRequest: ("/v1/recipes", frozenset({"image/svg+xml"})),
    Order: ("/v1/quotes", frozenset({"text/html", "application/pdf"})),
}


class Client:
    """Asks a featherline service.

    A client keeps its connections open: use one for many calls, and as a context manager to close them.
    Every question is safe to repeat, so after a broken connection, a 429 or a 503 it is asked again, after a wait that
    grows or that the service names.

    Args:
        url: The service's address; else that in ``FEATHERLINE_URL``, else ``http://127.0.0.1:8037``.
        key: The API key; else that in ``FEATHERLINE_API_KEY``, else none is sent.
        timeout: Seconds for a call in all: every attempt, and the waits between them.
        attempt_timeout: Seconds that one attempt waits for the service to connect, to take or to send something.
        attempts: How many times a question is asked at most; 1 for no retries.
        trace: Writes trace headers into those of every attempt, as ``opentelemetry.propagate.inject`` does (W3C Trace
            Context).
        transport: Carries the requests instead of the network, in tests.

    Raises:
        ValueError: The address, the key or a time cannot be.
    """

    def __init__(
        self,
        url: str | None = None,
        *,
        key: str | None = None,
        timeout: float = 30.0,
        attempt_timeout: float = 10.0,
        attempts: int = 4,
        trace: Callable[[dict[str, str]], None] | None = None,
        transport: httpx2.BaseTransport | None = None,
    ) -> None:
        from featherline.transport import Manners, Transport  # noqa: PLC0415 - brings the HTTP client

        manners = Manners(timeout=timeout, attempt_timeout=attempt_timeout, attempts=attempts, trace=trace)
        self._transport = Transport(url, key, manners, transport)

    def __enter__(self) -> Self:
        """Return the client itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the connections."""
        self.close()

    def recipe(self, request: RecipeRequest, *, timeout: float | None = None) -> RecipeAnswer:
        """Return how to press a film on a panel: setting, window, steps and cautions.

        Args:
            request: The film, and what it goes onto.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return self._ask("/v1/recipes", RecipeAnswer, request, timeout)

    def fit(self, request: FitRequest, *, timeout: float | None = None) -> FitAnswer:
        """Return whether an artwork fits a panel, can be cut that fine, and will be seen.

        Args:
            request: The shoe, its panel, the film and the artwork.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return self._ask("/v1/fits", FitAnswer, request, timeout)

    def artwork(self, request: ArtworkRequest, *, timeout: float | None = None) -> ArtworkAnswer:
        """Return what an artwork is like at its height, which films take it, and from which height.

        Args:
            request: The artwork, and the film if it is one alone.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return self._ask("/v1/artworks", ArtworkAnswer, request, timeout)

    def cost(self, request: CostRequest, *, timeout: float | None = None) -> CostAnswer:
        """Return what an order, or work known by its measures, costs and what to charge.

        Args:
            request: The order as `OrderWork`, or `Measured` work.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return self._ask("/v1/costs", CostAnswer, request, timeout)

    def quote(self, order: Order, *, timeout: float | None = None) -> QuoteAnswer:
        """Return whether an order can be done, how, and for how much.

        Args:
            order: The shoe, what goes on it, and how many pairs.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return self._ask("/v1/quotes", QuoteAnswer, order, timeout)

    def roster(self, roster: Roster, *, timeout: float | None = None) -> RosterAnswer:
        """Return what of a list of names, numbers and sizes can be done, and for how much.

        Args:
            roster: An order whose texts have fields, and the rows that fill them.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why. A row that cannot be done is in the answer.
        """
        return self._ask("/v1/rosters", RosterAnswer, roster, timeout)

    def trial(self, request: TrialRequest, *, timeout: float | None = None) -> TrialAnswer:
        """Return how a shoe that was never pressed before is tried safely first.

        Args:
            request: The shoe, its panel and the film.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return self._ask("/v1/trials", TrialAnswer, request, timeout)

    @overload
    def picture(
        self,
        request: FitRequest | RecipeRequest,
        media_type: Literal["image/svg+xml"],
        *,
        timeout: float | None = ...,
    ) -> bytes: ...

    @overload
    def picture(
        self,
        request: Order,
        media_type: Literal["text/html", "application/pdf"],
        *,
        timeout: float | None = ...,
    ) -> bytes: ...

    def picture(
        self, request: FitRequest | RecipeRequest | Order, media_type: str, *, timeout: float | None = None
    ) -> bytes:
        """Return the answer to a request as a picture: a file of the media type, byte for byte.

        Of a fit it is the placement drawing at true scale, of a recipe the temperature chart, of an order the bench
        card.

        Args:
            request: What `fit`, `recipe` or `quote` takes.
            media_type: For a fit or a recipe ``image/svg+xml``, for an order ``text/html`` or ``application/pdf``.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
            ValueError: There is no such picture of the request.
        """
        return self._draw(_path_of_picture(request, media_type), request, media_type, timeout)

    def check_seal(self, seal: str, *, timeout: float | None = None) -> SealCheck:
        """Return whether a seal is the service's own, whole and in force; a no is an answer.

        Without asking, `featherline.seals.check` tells the same by the service's public keys, as `seal_keys` returns
        them.

        Args:
            seal: The text of the seal.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return self._ask("/v1/seals/check", SealCheck, SealCheckRequest(seal=seal), timeout)

    def seal_keys(self, *, timeout: float | None = None) -> PublishedKeys:
        """Return the public keys that seals are checked with, for `featherline.seals.check`.

        Args:
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return self._ask("/.well-known/jwks.json", PublishedKeys, None, timeout)

    @overload
    def bulk(
        self, requests: Requests[RecipeRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> Iterator[Reply[RecipeRequest, RecipeAnswer]]: ...

    @overload
    def bulk(
        self, requests: Requests[FitRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> Iterator[Reply[FitRequest, FitAnswer]]: ...

    @overload
    def bulk(
        self, requests: Requests[CostRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> Iterator[Reply[CostRequest, CostAnswer]]: ...

    @overload
    def bulk(
        self, requests: Requests[Order], *, at_once: int = ..., timeout: float | None = ...
    ) -> Iterator[Reply[Order, QuoteAnswer]]: ...

    @overload
    def bulk(
        self, requests: Requests[TrialRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> Iterator[Reply[TrialRequest, TrialAnswer]]: ...

    @overload
    def bulk(
        self, requests: Requests[ArtworkRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> Iterator[Reply[ArtworkRequest, ArtworkAnswer]]: ...

    @overload
    def bulk(
        self, requests: Requests[AnyRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> Iterator[Reply[AnyRequest, AnyAnswer]]: ...

    def bulk(
        self, requests: Requests[Any], *, at_once: int = 1000, timeout: float | None = None
    ) -> Iterator[Reply[Any, Any]]:
        """Return the reply to each of any number of requests, in their order, as they come.

        A reply has the `request` that it is to, and its `answer`, or a `problem` where there is none: one bad request
        spoils no other. Requests are taken as they are needed, and only so many are held. After a broken connection
        the rest is asked, and nothing again that has its reply; attempts are counted from the last reply.

        Args:
            requests: What `recipe`, `fit`, `artwork`, `cost`, `quote` and `trial` take, in any mixture.
            at_once: How many requests are taken, at most, before the first of them is answered; fewer for a source
                that is slow to give them.
            timeout: Seconds for all together. Without it there is only the client's `attempt_timeout`, the longest
                silence of the service.

        Raises:
            FeatherlineError: There are no more replies; the class says why.
            TypeError: A request is none.
            ValueError: A time or a number cannot be.
        """
        return post_each(self._transport, requests, TYPED, at_once, self._transport.deadline(timeout))

    def book(self, *, timeout: float | None = None) -> BookAnswer:
        """Return what the shop book holds: the ids of every kind of record.

        Args:
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return self._ask("/v1/book", BookAnswer, None, timeout)

    def records(self, kind: type[AnyRecord], *, timeout: float | None = None) -> RecordsAnswer[AnyRecord]:
        """Return all records of one kind.

        Args:
            kind: A class of `featherline.wire.records`, such as `Film`.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return self._ask(_shelf(kind), RecordsAnswer[kind], None, timeout)  # type: ignore[valid-type]

    def record(
        self, kind: type[AnyRecord], identifier: str, *, timeout: float | None = None
    ) -> RecordAnswer[AnyRecord]:
        """Return one record.

        Args:
            kind: A class of `featherline.wire.records`, such as `Film`.
            identifier: Its id, such as ``"smooth"``.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            NotFound: The book has no such record.
            FeatherlineError: There is no answer; the class says why.
        """
        path = f"{_shelf(kind)}/{quote(identifier, safe='')}"
        return self._ask(path, RecordAnswer[kind], None, timeout)  # type: ignore[valid-type]

    def close(self) -> None:
        """Close the connections; the client is of no use afterwards."""
        self._transport.close()

    def _ask(self, path: str, answer: type[Answer], asked: Struct | None, timeout: float | None) -> Answer:
        from featherline.transport import Question  # noqa: PLC0415 - brings the HTTP client

        return self._transport.ask(Question(path, answer, asked), timeout)

    def _draw(self, path: str, asked: Struct, media_type: str, timeout: float | None) -> bytes:
        from featherline.transport import Question  # noqa: PLC0415 - brings the HTTP client

        return self._transport.ask(Question(path, bytes, asked, media_type), timeout)


class AsyncClient:
    """Asks a featherline service without blocking the event loop.

    A client keeps its connections open: use one for many calls, and as an asynchronous context manager to close them.
    Every question is safe to repeat, so after a broken connection, a 429 or a 503 it is asked again, after a wait that
    grows or that the service names.

    Args:
        url: The service's address; else that in ``FEATHERLINE_URL``, else ``http://127.0.0.1:8037``.
        key: The API key; else that in ``FEATHERLINE_API_KEY``, else none is sent.
        timeout: Seconds for a call in all: every attempt, and the waits between them.
        attempt_timeout: Seconds that one attempt waits for the service to connect, to take or to send something.
        attempts: How many times a question is asked at most; 1 for no retries.
        trace: Writes trace headers into those of every attempt, as ``opentelemetry.propagate.inject`` does (W3C Trace
            Context).
        transport: Carries the requests instead of the network, in tests.

    Raises:
        ValueError: The address, the key or a time cannot be.
    """

    def __init__(
        self,
        url: str | None = None,
        *,
        key: str | None = None,
        timeout: float = 30.0,
        attempt_timeout: float = 10.0,
        attempts: int = 4,
        trace: Callable[[dict[str, str]], None] | None = None,
        transport: httpx2.AsyncBaseTransport | None = None,
    ) -> None:
        from featherline.transport import AsyncTransport, Manners  # noqa: PLC0415 - brings the HTTP client

        manners = Manners(timeout=timeout, attempt_timeout=attempt_timeout, attempts=attempts, trace=trace)
        self._transport = AsyncTransport(url, key, manners, transport)

    async def __aenter__(self) -> Self:
        """Return the client itself."""
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the connections."""
        await self.close()

    async def recipe(self, request: RecipeRequest, *, timeout: float | None = None) -> RecipeAnswer:
        """Return how to press a film on a panel: setting, window, steps and cautions.

        Args:
            request: The film, and what it goes onto.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return await self._ask("/v1/recipes", RecipeAnswer, request, timeout)

    async def fit(self, request: FitRequest, *, timeout: float | None = None) -> FitAnswer:
        """Return whether an artwork fits a panel, can be cut that fine, and will be seen.

        Args:
            request: The shoe, its panel, the film and the artwork.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return await self._ask("/v1/fits", FitAnswer, request, timeout)

    async def artwork(self, request: ArtworkRequest, *, timeout: float | None = None) -> ArtworkAnswer:
        """Return what an artwork is like at its height, which films take it, and from which height.

        Args:
            request: The artwork, and the film if it is one alone.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return await self._ask("/v1/artworks", ArtworkAnswer, request, timeout)

    async def cost(self, request: CostRequest, *, timeout: float | None = None) -> CostAnswer:
        """Return what an order, or work known by its measures, costs and what to charge.

        Args:
            request: The order as `OrderWork`, or `Measured` work.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return await self._ask("/v1/costs", CostAnswer, request, timeout)

    async def quote(self, order: Order, *, timeout: float | None = None) -> QuoteAnswer:
        """Return whether an order can be done, how, and for how much.

        Args:
            order: The shoe, what goes on it, and how many pairs.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return await self._ask("/v1/quotes", QuoteAnswer, order, timeout)

    async def roster(self, roster: Roster, *, timeout: float | None = None) -> RosterAnswer:
        """Return what of a list of names, numbers and sizes can be done, and for how much.

        Args:
            roster: An order whose texts have fields, and the rows that fill them.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why. A row that cannot be done is in the answer.
        """
        return await self._ask("/v1/rosters", RosterAnswer, roster, timeout)

    async def trial(self, request: TrialRequest, *, timeout: float | None = None) -> TrialAnswer:
        """Return how a shoe that was never pressed before is tried safely first.

        Args:
            request: The shoe, its panel and the film.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return await self._ask("/v1/trials", TrialAnswer, request, timeout)

    @overload
    async def picture(
        self,
        request: FitRequest | RecipeRequest,
        media_type: Literal["image/svg+xml"],
        *,
        timeout: float | None = ...,
    ) -> bytes: ...

    @overload
    async def picture(
        self,
        request: Order,
        media_type: Literal["text/html", "application/pdf"],
        *,
        timeout: float | None = ...,
    ) -> bytes: ...

    async def picture(
        self, request: FitRequest | RecipeRequest | Order, media_type: str, *, timeout: float | None = None
    ) -> bytes:
        """Return the answer to a request as a picture: a file of the media type, byte for byte.

        Of a fit it is the placement drawing at true scale, of a recipe the temperature chart, of an order the bench
        card.

        Args:
            request: What `fit`, `recipe` or `quote` takes.
            media_type: For a fit or a recipe ``image/svg+xml``, for an order ``text/html`` or ``application/pdf``.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
            ValueError: There is no such picture of the request.
        """
        return await self._draw(_path_of_picture(request, media_type), request, media_type, timeout)

    async def check_seal(self, seal: str, *, timeout: float | None = None) -> SealCheck:
        """Return whether a seal is the service's own, whole and in force; a no is an answer.

        Without asking, `featherline.seals.check` tells the same by the service's public keys, as `seal_keys` returns
        them.

        Args:
            seal: The text of the seal.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return await self._ask("/v1/seals/check", SealCheck, SealCheckRequest(seal=seal), timeout)

    async def seal_keys(self, *, timeout: float | None = None) -> PublishedKeys:
        """Return the public keys that seals are checked with, for `featherline.seals.check`.

        Args:
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return await self._ask("/.well-known/jwks.json", PublishedKeys, None, timeout)

    @overload
    def bulk(
        self, requests: AsyncRequests[RecipeRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncIterator[Reply[RecipeRequest, RecipeAnswer]]: ...

    @overload
    def bulk(
        self, requests: AsyncRequests[FitRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncIterator[Reply[FitRequest, FitAnswer]]: ...

    @overload
    def bulk(
        self, requests: AsyncRequests[CostRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncIterator[Reply[CostRequest, CostAnswer]]: ...

    @overload
    def bulk(
        self, requests: AsyncRequests[Order], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncIterator[Reply[Order, QuoteAnswer]]: ...

    @overload
    def bulk(
        self, requests: AsyncRequests[TrialRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncIterator[Reply[TrialRequest, TrialAnswer]]: ...

    @overload
    def bulk(
        self, requests: AsyncRequests[ArtworkRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncIterator[Reply[ArtworkRequest, ArtworkAnswer]]: ...

    @overload
    def bulk(
        self, requests: AsyncRequests[AnyRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncIterator[Reply[AnyRequest, AnyAnswer]]: ...

    def bulk(
        self, requests: AsyncRequests[Any], *, at_once: int = 1000, timeout: float | None = None
    ) -> AsyncIterator[Reply[Any, Any]]:
        """Return the reply to each of any number of requests, in their order, as they come.

        A reply has the `request` that it is to, and its `answer`, or a `problem` where there is none: one bad request
        spoils no other. Requests are taken as they are needed, and only so many are held. After a broken connection
        the rest is asked, and nothing again that has its reply; attempts are counted from the last reply.

        Args:
            requests: What `recipe`, `fit`, `artwork`, `cost`, `quote` and `trial` take, in any mixture.
            at_once: How many requests are taken, at most, before the first of them is answered; fewer for a source
                that is slow to give them.
            timeout: Seconds for all together. Without it there is only the client's `attempt_timeout`, the longest
                silence of the service.

        Raises:
            FeatherlineError: There are no more replies; the class says why.
            TypeError: A request is none.
            ValueError: A time or a number cannot be.
        """
        return async_post_each(self._transport, requests, TYPED, at_once, self._transport.deadline(timeout))

    async def book(self, *, timeout: float | None = None) -> BookAnswer:
        """Return what the shop book holds: the ids of every kind of record.

        Args:
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return await self._ask("/v1/book", BookAnswer, None, timeout)

    async def records(self, kind: type[AnyRecord], *, timeout: float | None = None) -> RecordsAnswer[AnyRecord]:
        """Return all records of one kind.

        Args:
            kind: A class of `featherline.wire.records`, such as `Film`.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        return await self._ask(_shelf(kind), RecordsAnswer[kind], None, timeout)  # type: ignore[valid-type]

    async def record(
        self, kind: type[AnyRecord], identifier: str, *, timeout: float | None = None
    ) -> RecordAnswer[AnyRecord]:
        """Return one record.

        Args:
            kind: A class of `featherline.wire.records`, such as `Film`.
            identifier: Its id, such as ``"smooth"``.
            timeout: Seconds for this call in all, instead of the client's.

        Raises:
            NotFound: The book has no such record.
            FeatherlineError: There is no answer; the class says why.
        """
        path = f"{_shelf(kind)}/{quote(identifier, safe='')}"
        return await self._ask(path, RecordAnswer[kind], None, timeout)  # type: ignore[valid-type]

    async def close(self) -> None:
        """Close the connections; the client is of no use afterwards."""
        await self._transport.close()

    async def _ask(self, path: str, answer: type[Answer], asked: Struct | None, timeout: float | None) -> Answer:
        from featherline.transport import Question  # noqa: PLC0415 - brings the HTTP client

        return await self._transport.ask(Question(path, answer, asked), timeout)

    async def _draw(self, path: str, asked: Struct, media_type: str, timeout: float | None) -> bytes:
        from featherline.transport import Question  # noqa: PLC0415 - brings the HTTP client

        return await self._transport.ask(Question(path, bytes, asked, media_type), timeout)


def _shelf(kind: type) -> str:
    """Return the path of the records of a kind."""
    if kind not in KINDS:
        raise ValueError(f"{kind!r} is no kind of record; give a class such as featherline.wire.records.Film")
    return f"/v1/book/{KINDS[kind]}"


def _path_of_picture(request: Struct, media_type: str) -> str:
    """Return where a picture of a request is to be had."""
    if type(request) not in _DRAWN:
        names = ", ".join(each.__name__ for each in _DRAWN)
        raise ValueError(f"There is no picture of {type(request).__name__}; give one of {names}")
    path, media_types = _DRAWN[type(request)]
    if media_type not in media_types:
        raise ValueError(
            f"There is no picture of {type(request).__name__} as {media_type!r}; "
            f"ask for {' or '.join(sorted(media_types))}"
        )
    return path
