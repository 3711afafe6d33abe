"""`Client` and `AsyncClient`: a method for each question of the service.

The methods are coroutines of `Questions`, written once. `AsyncClient` has them as they are; those of `Client` run them
to their end over an HTTP client that blocks.
"""
# ruff: noqa: ASYNC109, SLF001 - a timeout spans the retries; the classes of this module share what is private

from __future__ import annotations

from collections.abc import AsyncGenerator, AsyncIterable, Callable, Coroutine, Iterable, Iterator
from functools import wraps
from types import TracebackType
from typing import TYPE_CHECKING, Any, Concatenate, Literal, ParamSpec, Self, TypeVar, overload

from msgspec import Struct
from msgspec.structs import replace

from featherline import _endpoints as endpoints
from featherline._blocking import iterate, run
from featherline._bulk import TYPED, AnyAnswer, AnyRequest, Format, Reply, Requests, exchange
from featherline._endpoints import Endpoint
from featherline._json import decode, decode_keys, encode
from featherline.wire.book import AnyRecord, BookAnswer, RecordAnswer, RecordsAnswer
from featherline.wire.calibrations import CalibrationAnswer, CalibrationRequest
from featherline.wire.catalogue import Catalogue
from featherline.wire.costs import CostAnswer, CostRequest, Order
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.from_prices import FromPriceAnswer, FromPriceRequest
from featherline.wire.hand_prices import HandPriceAnswer, HandPriceRequest
from featherline.wire.matrices import MatrixAnswer, MatrixRequest
from featherline.wire.measures import ArtworkAnswer, ArtworkRequest
from featherline.wire.offers import FitOffer, FromPriceOffer, Offer, RosterOffer
from featherline.wire.pictures import PictureAnswer, PictureRequest
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer, RecipeRequest
from featherline.wire.rosters import Roster, RosterAnswer
from featherline.wire.seals import PublishedKeys, SealCheck, SealCheckRequest
from featherline.wire.tracings import Paper, TracingAnswer, TracingQuery
from featherline.wire.trials import TrialAnswer, TrialRequest

if TYPE_CHECKING:
    import httpx2

    from featherline._transport import Request, Transport

Answer = TypeVar("Answer")
Item = TypeVar("Item")
Result = TypeVar("Result")
Parameters = ParamSpec("Parameters")


class Questions:
    """The questions, asked over a transport."""

    def __init__(self, transport: Transport) -> None:
        self._transport = transport

    async def recipe(self, request: RecipeRequest, *, timeout: float | None = None) -> RecipeAnswer:
        """Return how to press a film on a panel: setting, window, steps and cautions."""
        return await self._ask(endpoints.RECIPES, request, timeout)

    async def fit(self, request: FitRequest, *, timeout: float | None = None) -> FitAnswer:
        """Return whether an artwork fits a panel, can be cut that fine, and will be seen."""
        return await self._ask(endpoints.FITS, request, timeout)

    async def artwork(self, request: ArtworkRequest, *, timeout: float | None = None) -> ArtworkAnswer:
        """Return the measures of an artwork at its height, which films can be cut to it, and from which height."""
        return await self._ask(endpoints.ARTWORKS, request, timeout)

    async def cost(self, request: CostRequest, *, timeout: float | None = None) -> CostAnswer:
        """Return the cost of an order (`OrderWork`) or of work known by its measures (`Measured`), and the price."""
        return await self._ask(endpoints.COSTS, request, timeout)

    async def quote(self, order: Order, *, timeout: float | None = None) -> QuoteAnswer:
        """Return whether an order can be done, how, and for how much."""
        return await self._ask(endpoints.QUOTES, order, timeout)

    async def roster(self, roster: Roster, *, timeout: float | None = None) -> RosterAnswer:
        """Return which rows of a list of names, numbers and sizes can be done, and for how much.

        A row that cannot be done is part of the answer, not an error.
        """
        return await self._ask(endpoints.ROSTERS, roster, timeout)

    async def from_price(self, request: FromPriceRequest, *, timeout: float | None = None) -> FromPriceAnswer:
        """Return the cheapest of some orders that is ready, and why others are not.

        An order that cannot be done is part of the answer, not an error.
        """
        return await self._ask(endpoints.FROM_PRICES, request, timeout)

    async def matrix(self, request: MatrixRequest | None = None, *, timeout: float | None = None) -> MatrixAnswer:
        """Return which of these shoes take which of these films, panel by panel, with a sample text."""
        return await self._ask(endpoints.MATRICES, request or MatrixRequest(), timeout)

    async def trial(self, request: TrialRequest, *, timeout: float | None = None) -> TrialAnswer:
        """Return how to try a film safely on a shoe that was never pressed before."""
        return await self._ask(endpoints.TRIALS, request, timeout)

    async def calibration(self, request: CalibrationRequest, *, timeout: float | None = None) -> CalibrationAnswer:
        """Return what readings of gauges tell of a press and cover sheet, as records that go into the shop's book."""
        return await self._ask(endpoints.CALIBRATIONS, request, timeout)

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
        media_type: Literal["text/html", "application/pdf", "image/svg+xml"],
        *,
        timeout: float | None = ...,
    ) -> bytes: ...

    @overload
    async def picture(
        self, request: MatrixRequest, media_type: Literal["image/svg+xml"], *, timeout: float | None = ...
    ) -> bytes: ...

    @overload
    async def picture(
        self,
        request: PictureRequest,
        media_type: Literal["image/svg+xml", "image/png"],
        *,
        timeout: float | None = ...,
    ) -> bytes: ...

    async def picture(
        self,
        request: FitRequest | RecipeRequest | Order | MatrixRequest | PictureRequest,
        media_type: str,
        *,
        timeout: float | None = None,
    ) -> bytes:
        """Return the answer to a request as a picture: the bytes of a file of the media type.

        For a fit it is the placement drawing at true scale, for a recipe the temperature chart, for an order the bench
        card or the cut sheet, for a `MatrixRequest` the page of shoes and films, and for a `PictureRequest` the marked
        shoe for its customer.

        Args:
            request: What `fit`, `recipe`, `quote`, `matrix` or `pictures` takes.
            media_type: For a fit, a recipe or a matrix ``image/svg+xml``, for an order ``text/html`` or
                ``application/pdf`` (the bench card) or ``image/svg+xml`` (the cut sheet), for a `PictureRequest`
                ``image/svg+xml`` or ``image/png``.
            timeout: Seconds for this call, instead of the client's.

        Raises:
            FeatherlineError: There is no answer; the class says why.
            ValueError: The request has no picture of this media type.
        """
        name = type(request).__name__
        endpoint = endpoints.BY_REQUEST.get(type(request))
        if endpoint is None or not endpoint.pictures:
            names = ", ".join(known.__name__ for known, drawn in endpoints.BY_REQUEST.items() if drawn.pictures)
            raise ValueError(f"There is no picture of {name}; give one of {names}")
        if media_type not in endpoint.pictures:
            raise ValueError(
                f"There is no picture of {name} as {media_type!r}; ask for {' or '.join(endpoint.pictures)}"
            )
        return await self._draw(endpoint, request, media_type, timeout)

    async def tracing(self, photo: bytes, query: TracingQuery, *, timeout: float | None = None) -> TracingAnswer:
        """Return the panel that a photo of a tape tracing or a drawing shows, in millimetres, and how far it is off.

        Args:
            photo: The bytes of a JPEG or PNG, as the camera saved it; or of an SVG or DXF drawing in true size.
            query: The bars of the sheet as measured on the print, and how to name the panel; of a drawing its unit.
            timeout: Seconds for this call, instead of the client's.

        Raises:
            RequestRefused: It cannot be read as a panel; its faults say what to do.
            FeatherlineError: There is no answer; the class says why.
        """
        sent = _photo(photo, query, "application/json")
        return await self._transport.ask(sent, lambda content: decode(content, TracingAnswer), timeout)

    async def tracing_picture(self, photo: bytes, query: TracingQuery, *, timeout: float | None = None) -> bytes:
        """Return what is traced from a photo, drawn over a small copy of it: the bytes of an SVG file."""
        return await self._transport.ask(_photo(photo, query, "image/svg+xml"), bytes, timeout)

    async def tracing_sheet(
        self,
        paper: Paper,
        media_type: Literal["application/pdf", "image/svg+xml"] = "application/pdf",
        *,
        timeout: float | None = None,
    ) -> bytes:
        """Return the sheet that tape tracings are stuck on, to be printed at 100 %."""
        from featherline._transport import Request  # noqa: PLC0415 - brings the HTTP client

        sent = Request(endpoints.tracing_sheet_of(paper), accept=media_type)
        return await self._transport.ask(sent, bytes, timeout)

    async def offer(self, order: Order, *, timeout: float | None = None) -> Offer:
        """Return an order's quote as a customer may see it: without cost and settings."""
        return await self._ask(endpoints.OFFERS, order, timeout)

    async def offer_roster(self, roster: Roster, *, timeout: float | None = None) -> RosterOffer:
        """Return the answer to a list as a customer may see it."""
        return await self._ask(endpoints.ROSTER_OFFERS, roster, timeout)

    async def offer_from_price(self, request: FromPriceRequest, *, timeout: float | None = None) -> FromPriceOffer:
        """Return which of some orders is the cheapest that is ready, as a customer may see it."""
        return await self._ask(endpoints.FROM_PRICE_OFFERS, request, timeout)

    async def offer_fit(self, request: FitRequest, *, timeout: float | None = None) -> FitOffer:
        """Return whether an artwork fits a panel, as a customer may see it."""
        return await self._ask(endpoints.FIT_OFFERS, request, timeout)

    async def offer_picture(self, request: FitRequest, *, timeout: float | None = None) -> bytes:
        """Return the placement drawing of a fit as a customer may see it, the bytes of an SVG file."""
        return await self._draw(endpoints.FIT_OFFERS, request, "image/svg+xml", timeout)

    async def pictures(self, request: PictureRequest, *, timeout: float | None = None) -> PictureAnswer:
        """Return the pictures of an order for its customer: alternative texts, and addresses that need no key.

        An address is a path on the service: put the service's URL, as browsers reach it, before it.
        """
        return await self._ask(endpoints.PICTURES, request, timeout)

    async def hand_price(self, request: HandPriceRequest, *, timeout: float | None = None) -> HandPriceAnswer:
        """Return what a price set by hand leaves, and its seal, for keys of the scope `shop`."""
        return await self._ask(endpoints.HAND_PRICES, request, timeout)

    async def check_seal(
        self,
        seal: str,
        *,
        order: Order | None = None,
        audience: str | None = None,
        by_hand: bool = False,
        today: bool = False,
        timeout: float | None = None,
    ) -> SealCheck:
        """Return whether a seal is the service's own, whole and in force; a no is an answer, not an error.

        `featherline.seals.check` gives the same answer without asking, from the public keys that `seal_keys` returns.

        Args:
            seal: The seal.
            order: The order at hand; the seal of another one is `tampered`.
            audience: The id of the key whose prices are taken; the seal of another one is `tampered`.
            by_hand: Whether prices are taken that the shop set by hand.
            today: Whether to say what the order would be answered today, by the book in force.
            timeout: Seconds for this call, instead of the client's.
        """
        request = SealCheckRequest(seal=seal, order=order, audience=audience, by_hand=by_hand, today=today)
        return await self._ask(endpoints.SEAL_CHECKS, request, timeout)

    async def seal_keys(self, *, timeout: float | None = None) -> PublishedKeys:
        """Return the public keys that check seals, for `featherline.seals.check`; keys of other kinds are left out."""
        from featherline._transport import Request  # noqa: PLC0415 - brings the HTTP client

        return await self._transport.ask(Request(endpoints.SEAL_KEYS.path), decode_keys, timeout)

    async def catalogue(self, *, timeout: float | None = None) -> Catalogue:
        """Return what the key may sell, without costs: shoes, films, fonts and limits, to build a form of."""
        return await self._ask(endpoints.CATALOGUE, None, timeout)

    async def book(self, *, timeout: float | None = None) -> BookAnswer:
        """Return the contents of the shop book: the ids of every kind of record, and the plug-ins in force."""
        return await self._ask(endpoints.BOOK, None, timeout)

    async def records(self, kind: type[AnyRecord], *, timeout: float | None = None) -> RecordsAnswer[AnyRecord]:
        """Return all records of a class of `featherline.wire.records`, such as `Film`, in the order of their ids.

        A long list comes in pages, which are asked for one after another, from the first again where the book changes
        meanwhile; `timeout` is for each.
        """
        first = await self._ask(endpoints.records_of(kind), None, timeout)
        read, last = list(first.records), first
        while last.next is not None:
            last = await self._ask(endpoints.records_of(kind, last.next), None, timeout)
            if last.book != first.book:
                return await self.records(kind, timeout=timeout)
            read += last.records
        return replace(first, records=tuple(read), next=None)

    async def record(
        self, kind: type[AnyRecord], identifier: str, *, timeout: float | None = None
    ) -> RecordAnswer[AnyRecord]:
        """Return the record of a class and an id, such as `Film` and ``"smooth"``; raise `NotFound` without one."""
        return await self._ask(endpoints.record_of(kind, identifier), None, timeout)

    @overload
    def bulk(
        self, requests: Requests[RecipeRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncGenerator[Reply[RecipeRequest, RecipeAnswer], None]: ...

    @overload
    def bulk(
        self, requests: Requests[FitRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncGenerator[Reply[FitRequest, FitAnswer], None]: ...

    @overload
    def bulk(
        self, requests: Requests[CostRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncGenerator[Reply[CostRequest, CostAnswer], None]: ...

    @overload
    def bulk(
        self, requests: Requests[Order], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncGenerator[Reply[Order, QuoteAnswer], None]: ...

    @overload
    def bulk(
        self, requests: Requests[TrialRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncGenerator[Reply[TrialRequest, TrialAnswer], None]: ...

    @overload
    def bulk(
        self, requests: Requests[ArtworkRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncGenerator[Reply[ArtworkRequest, ArtworkAnswer], None]: ...

    @overload
    def bulk(
        self, requests: Requests[AnyRequest], *, at_once: int = ..., timeout: float | None = ...
    ) -> AsyncGenerator[Reply[AnyRequest, AnyAnswer], None]: ...

    def bulk(self, requests: Requests[Any], *, at_once: int = 1000, timeout: float | None = None) -> Any:
        """Return the replies to any number of requests, in their order, as they arrive.

        A reply has its `request`, and an `answer` or a `problem`: one bad request spoils no other. Requests are taken
        from the source as they are needed. After a broken connection the requests without a reply are sent again, and
        no others; attempts are counted from the last reply.

        Args:
            requests: Requests of `recipe`, `fit`, `artwork`, `cost`, `quote` and `trial`, in any mixture; for
                `AsyncClient` from an asynchronous source, too.
            at_once: The most requests that are taken before the first of them is answered; 1 for a source that is slow.
            timeout: Seconds for all requests together. Without it only the client's `attempt_timeout` ends the stream,
                when the service is silent for that long.

        Raises:
            FeatherlineError: There are no more replies; the class says why.
            TypeError: An object is not a request.
            ValueError: `at_once` or `timeout` is not above zero.
        """
        return self._exchange(requests, TYPED, at_once, timeout)

    async def close(self) -> None:
        """Close the connections; the client cannot be used afterwards."""
        await self._transport.close()

    async def _ask(self, endpoint: Endpoint[Answer], request: Struct | None, timeout: float | None) -> Answer:
        from featherline._transport import Request  # noqa: PLC0415 - brings the HTTP client

        sent = Request(endpoint.path, None if request is None else encode(request))
        return await self._transport.ask(sent, lambda content: decode(content, endpoint.answer), timeout)

    async def _draw(self, endpoint: Endpoint[Any], request: Struct, media_type: str, timeout: float | None) -> bytes:
        from featherline._transport import Request  # noqa: PLC0415 - brings the HTTP client

        sent = Request(endpoint.path, encode(request), accept=media_type)
        return await self._transport.ask(sent, bytes, timeout)

    def _exchange(
        self, requests: Requests[Item], format_: Format[Result], at_once: int, timeout: float | None
    ) -> AsyncGenerator[Result, None]:
        from featherline._transport import Deadline  # noqa: PLC0415 - brings the HTTP client

        return exchange(self._transport, requests, format_, at_once, Deadline(timeout))


def _photo(photo: bytes, query: TracingQuery, accept: str) -> Request:
    from featherline._transport import Request  # noqa: PLC0415 - brings the HTTP client

    return Request(endpoints.tracing_of(query).path, photo, content_type=_file_type(photo), accept=accept)


def _file_type(content: bytes) -> str:
    """Return the media type of a photo or a drawing, by how it begins."""
    if content.startswith(b"\x89PNG"):
        return "image/png"
    if content.startswith(b"\xff\xd8"):
        return "image/jpeg"
    is_svg = content.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<")
    return "image/svg+xml" if is_svg else "image/vnd.dxf"


class AsyncClient(Questions):
    """Asks a featherline service without blocking the event loop: the methods of `Client`, to be awaited.

    `bulk` is not awaited; it returns an asynchronous iterator. The arguments are those of `Client`, and the transport
    is an asynchronous one.
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
        language: str | None = None,
        transport: httpx2.AsyncBaseTransport | None = None,
    ) -> None:
        from featherline._transport import AsyncConnection, Options, Transport  # noqa: PLC0415 - brings the HTTP client

        options = Options(
            timeout=timeout, attempt_timeout=attempt_timeout, attempts=attempts, trace=trace, language=language
        )
        super().__init__(Transport(AsyncConnection(url, key, transport), options))

    def pinned(self, revision: str) -> AsyncClient:
        """Return a client over the same connections whose answers are all by one revision of the book.

        For a cart, which must not see two prices: pin the revision that its first answer names in `book`. When the
        service no longer has it, `RevisionGone` is raised. Closing either client closes both.

        Raises:
            ValueError: The text is no revision.
        """
        client = AsyncClient.__new__(AsyncClient)
        Questions.__init__(client, self._transport.pinned(revision))
        return client

    async def __aenter__(self) -> Self:
        """Return the client itself."""
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the connections."""
        await self.close()


def _blocking(
    method: Callable[Concatenate[Questions, Parameters], Coroutine[Any, Any, Answer]],
) -> Callable[Concatenate[Client, Parameters], Answer]:
    """Return a method of `Questions` as one that blocks until there is an answer."""

    @wraps(method)
    def ask(self: Client, /, *args: Parameters.args, **kwargs: Parameters.kwargs) -> Answer:
        return run(method(self._questions, *args, **kwargs))

    return ask


def _iterated(
    method: Callable[
        Concatenate[Questions, Iterable[Item] | AsyncIterable[Item], Parameters], AsyncGenerator[Result, None]
    ],
) -> Callable[Concatenate[Client, Iterable[Item], Parameters], Iterator[Result]]:
    """Return a method of `Questions` that yields results as one that blocks until there is a next result."""

    @wraps(method)
    def ask(
        self: Client, requests: Iterable[Item], /, *args: Parameters.args, **kwargs: Parameters.kwargs
    ) -> Iterator[Result]:
        return iterate(method(self._questions, requests, *args, **kwargs))

    return ask


class Client:
    """Asks a featherline service.

    A client keeps its connections open: use one for many calls, and as a context manager to close them. Threads may
    share it. Every question is safe to repeat, so after a broken connection, a 429 or a 503 it is asked again, after a
    wait that grows or that the service names.

    Every method takes a `timeout` of its own, the seconds for that call, and raises a `FeatherlineError` when there is
    no answer; its class says why.

    Args:
        url: The service's address; else that in ``FEATHERLINE_URL``, else ``http://127.0.0.1:8037``.
        key: The API key; else that in ``FEATHERLINE_API_KEY``, else none is sent.
        timeout: Seconds for a call: every attempt, and the waits between them.
        attempt_timeout: Seconds that one attempt waits for the service to connect, to take or to send something.
        attempts: How many times a question is asked at most; 1 for no retries.
        trace: Writes trace headers into those of every attempt, as ``opentelemetry.propagate.inject`` does (W3C Trace
            Context).
        language: The language of the answers' sentences, such as ``de``; or several by preference, as in
            ``Accept-Language``. Else English.
        transport: Carries the requests instead of the network, in tests.

    Raises:
        ValueError: The address, the key, a time, the number of attempts or the language is unusable.
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
        language: str | None = None,
        transport: httpx2.BaseTransport | None = None,
    ) -> None:
        from featherline._transport import (  # noqa: PLC0415 - brings the HTTP client
            BlockingConnection,
            Options,
            Transport,
        )

        options = Options(
            timeout=timeout, attempt_timeout=attempt_timeout, attempts=attempts, trace=trace, language=language
        )
        self._questions = Questions(Transport(BlockingConnection(url, key, transport), options))

    def pinned(self, revision: str) -> Client:
        """Return a client over the same connections whose answers are all by one revision of the book.

        For a cart, which must not see two prices: pin the revision that its first answer names in `book`. When the
        service no longer has it, `RevisionGone` is raised. Closing either client closes both.

        Raises:
            ValueError: The text is no revision.
        """
        client = Client.__new__(Client)
        client._questions = Questions(self._questions._transport.pinned(revision))
        return client

    def __enter__(self) -> Self:
        """Return the client itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the connections."""
        self.close()

    recipe = _blocking(Questions.recipe)
    fit = _blocking(Questions.fit)
    artwork = _blocking(Questions.artwork)
    cost = _blocking(Questions.cost)
    quote = _blocking(Questions.quote)
    roster = _blocking(Questions.roster)
    from_price = _blocking(Questions.from_price)
    matrix = _blocking(Questions.matrix)
    trial = _blocking(Questions.trial)
    calibration = _blocking(Questions.calibration)
    picture = _blocking(Questions.picture)
    tracing = _blocking(Questions.tracing)
    tracing_picture = _blocking(Questions.tracing_picture)
    tracing_sheet = _blocking(Questions.tracing_sheet)
    offer = _blocking(Questions.offer)
    offer_roster = _blocking(Questions.offer_roster)
    offer_from_price = _blocking(Questions.offer_from_price)
    offer_fit = _blocking(Questions.offer_fit)
    offer_picture = _blocking(Questions.offer_picture)
    pictures = _blocking(Questions.pictures)
    hand_price = _blocking(Questions.hand_price)
    check_seal = _blocking(Questions.check_seal)
    seal_keys = _blocking(Questions.seal_keys)
    catalogue = _blocking(Questions.catalogue)
    book = _blocking(Questions.book)
    records = _blocking(Questions.records)
    record = _blocking(Questions.record)
    bulk = _iterated(Questions.bulk)
    close = _blocking(Questions.close)
    _ask = _blocking(Questions._ask)
    _draw = _blocking(Questions._draw)
    _exchange = _iterated(Questions._exchange)
