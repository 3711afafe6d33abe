"""`Client` and `AsyncClient`: one method per question, the same in both."""
# ruff: noqa: ASYNC109 - a timeout spans the retries and is the same in both clients

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self, TypeVar
from urllib.parse import quote

from msgspec import Struct

from featherline.wire import records
from featherline.wire.book import AnyRecord, BookAnswer, RecordAnswer, RecordsAnswer
from featherline.wire.costs import CostAnswer, CostRequest, Order
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer, RecipeRequest

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


def _shelf(kind: type) -> str:
    """Return the path of the records of a kind."""
    if kind not in KINDS:
        raise ValueError(f"{kind!r} is no kind of record; give a class such as featherline.wire.records.Film")
    return f"/v1/book/{KINDS[kind]}"
