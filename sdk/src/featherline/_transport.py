"""HTTP: addresses, keys, timeouts, retries, and the errors that answers stand for.

Importing this module imports the HTTP client, so `featherline._client` does it when the first client is made.
"""

from __future__ import annotations

import os
import re
import time
from collections.abc import AsyncGenerator, AsyncIterable, AsyncIterator, Callable, Iterator, Mapping
from contextlib import AbstractContextManager, aclosing, asynccontextmanager, contextmanager
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from importlib.metadata import version
from ipaddress import ip_address
from math import inf, isfinite
from typing import Final, NamedTuple, Protocol, TypeVar

import httpx2
import msgspec

from featherline._blocking import AsyncItems
from featherline._endpoints import REVISION
from featherline.errors import (
    ConnectionFailed,
    FeatherlineError,
    ServiceFault,
    TimedOut,
    Unavailable,
    UnexpectedAnswer,
    from_problem,
)
from featherline.wire.problems import Problem

Answer = TypeVar("Answer")
Attempt = AbstractContextManager[None]
TraceWriter = Callable[[dict[str, str]], None]

JSON: Final = "application/json"
_DEFAULT_URL: Final = "http://127.0.0.1:8037"
_FIRST_WAIT_S: Final = 0.1
_LONGEST_WAIT_S: Final = 2.0
_LARGEST_ANSWER: Final = 64 * 1024 * 1024  # bytes
_EXCERPT: Final = 500  # bytes
_REVISION: Final = re.compile("sha256:[0-9a-f]{64}")


class Request(msgspec.Struct, frozen=True):
    """A POST of a body, or without one a GET, and the media types of the body and of the answer."""

    path: str
    body: bytes | None = None
    content_type: str = JSON
    accept: str = JSON

    @property
    def method(self) -> str:
        """The HTTP method."""
        return "GET" if self.body is None else "POST"

    def __str__(self) -> str:
        """Return the method and the path."""
        return f"{self.method} {self.path}"


class Options(msgspec.Struct, frozen=True, kw_only=True):
    """The timeouts of a client [s], its number of attempts, the function that writes its trace headers, its language.

    The language is a value of Accept-Language: a tag, or several by preference.
    """

    timeout: float
    attempt_timeout: float
    attempts: int
    trace: TraceWriter | None
    language: str | None = None

    def __post_init__(self) -> None:
        """Refuse impossible times and counts."""
        _check_seconds(self.timeout, "timeout")
        _check_seconds(self.attempt_timeout, "attempt_timeout")
        if self.attempts < 1:
            raise ValueError(f"attempts is {self.attempts}; give 1 (no retries) or more")
        if self.language is not None and not re.fullmatch(r"[A-Za-z0-9*,;=. -]+", self.language):
            raise ValueError(f"language is {self.language!r}; give tags such as 'de' or 'fr-CA, fr;q=0.9'")


class Deadline:
    """The end of the time for one call, infinitely far unless it is given in seconds."""

    def __init__(self, seconds: float | None = None) -> None:
        self._seconds = inf if seconds is None else _check_seconds(seconds, "timeout")
        self._end = time.monotonic() + self._seconds
        self.longest_wait_s = min(_LONGEST_WAIT_S, self._seconds / 4)

    @property
    def left_s(self) -> float:
        """The seconds that are left, negative after the end."""
        return self._end - time.monotonic()

    def check(self) -> None:
        """Raise `TimedOut` after the end."""
        if self.left_s <= 0:
            raise TimedOut(f"No whole answer within {self._seconds:g} s")

    def backoff(self, error: Exception) -> bool | float:
        """Return whether to try again after an error or, where the service gives a time, after how many seconds."""
        if isinstance(error, Unavailable) and error.retry_after_s is not None:
            return error.retry_after_s if error.retry_after_s < self.left_s else False
        return isinstance(error, ConnectionFailed | TimedOut | Unavailable) and self.left_s > self.longest_wait_s


class Response(NamedTuple):
    """The head of a response, and the parts of its body as they arrive."""

    status: int
    headers: Mapping[str, str]
    parts: AsyncIterable[bytes]

    @property
    def media_type(self) -> str:
        """The media type of the body, in lower case and without parameters; empty if there is none."""
        return self.headers.get("content-type", "").partition(";")[0].strip().lower()

    def answers(self, request: Request) -> bool:
        """Whether the body is what the request accepts; JSON is known by its content, whatever the header is."""
        return self.status == httpx2.codes.OK and request.accept in {JSON, self.media_type}


class Attempts(Protocol):
    """The attempts of one call: contexts that swallow an error if another attempt follows."""

    def __iter__(self) -> Iterator[Attempt]:
        """Block between attempts."""
        ...

    def __aiter__(self) -> AsyncIterator[Attempt]:
        """Suspend between attempts."""
        ...


class AsyncConnection:
    """A connection that suspends while it waits."""

    def __init__(self, url: str | None, key: str | None, transport: httpx2.AsyncBaseTransport | None) -> None:
        self.url = base_url(url)
        self._http = httpx2.AsyncClient(
            base_url=self.url, headers=_headers(self.url, key), transport=transport, trust_env=not _is_local(self.url)
        )

    @asynccontextmanager
    async def send(self, request: Request, headers: Mapping[str, str], timeout: float) -> AsyncIterator[Response]:  # noqa: ASYNC109 - the HTTP client's
        """Send a request, and close its response at the end of the context."""
        async with self._http.stream(
            request.method, request.path, content=request.body, headers=headers, timeout=timeout
        ) as response:
            yield Response(response.status_code, response.headers, response.aiter_bytes())

    def loop(self, attempts: Attempts) -> AsyncIterator[Attempt]:
        """Return the attempts for an asynchronous loop."""
        return aiter(attempts)

    async def close(self) -> None:
        """Close the connections."""
        await self._http.aclose()


class BlockingConnection:
    """A connection that blocks while it waits: its coroutines never suspend."""

    def __init__(self, url: str | None, key: str | None, transport: httpx2.BaseTransport | None) -> None:
        self.url = base_url(url)
        self._http = httpx2.Client(
            base_url=self.url, headers=_headers(self.url, key), transport=transport, trust_env=not _is_local(self.url)
        )

    @asynccontextmanager
    async def send(self, request: Request, headers: Mapping[str, str], timeout: float) -> AsyncIterator[Response]:  # noqa: ASYNC109 - the HTTP client's
        """Send a request, and close its response at the end of the context."""
        with self._http.stream(
            request.method, request.path, content=request.body, headers=headers, timeout=timeout
        ) as response:
            yield Response(response.status_code, response.headers, AsyncItems(response.iter_bytes()))

    def loop(self, attempts: Attempts) -> AsyncIterator[Attempt]:
        """Return the attempts for an asynchronous loop."""
        return AsyncItems(attempts)

    async def close(self) -> None:
        """Close the connections."""
        self._http.close()


Connection = AsyncConnection | BlockingConnection


class Transport:
    """Sends requests until they are answered or given up, all of them by a revision of the book if one is given."""

    def __init__(self, connection: Connection, options: Options, revision: str | None = None) -> None:
        self._connection = connection
        self._options = options
        self._revision = revision

    def pinned(self, revision: str) -> Transport:
        """Return a transport over the same connections whose requests name a revision of the book.

        Raises:
            ValueError: The text is no revision.
        """
        if not _REVISION.fullmatch(revision):
            raise ValueError(f"{revision!r} is no revision of a book; give one as answers name it in `book`")
        return Transport(self._connection, self._options, revision)

    async def ask(self, request: Request, read: Callable[[bytes], Answer], timeout: float | None) -> Answer:  # noqa: ASYNC109 - the retries share it
        """Return the answer to a request, as `read` takes it from the body.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        deadline = Deadline(self._options.timeout if timeout is None else timeout)
        content = b""
        async for attempt in self.attempts(deadline):
            with attempt:
                async with aclosing(self.stream(request, deadline)) as parts:
                    content = await _join(parts, httpx2.codes.OK, deadline)
        try:
            return read(content)
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            raise UnexpectedAnswer(
                f"The answer to {request} is not what this SDK reads: {error}. "
                "Is it a featherline service of the same version?",
                httpx2.codes.OK,
                content[:_EXCERPT],
            ) from error

    def attempts(self, deadline: Deadline) -> AsyncIterator[Attempt]:
        """Return the attempts of one call."""
        import stamina  # noqa: PLC0415 - imported when first needed

        return self._connection.loop(
            stamina.retry_context(
                on=deadline.backoff,
                attempts=self._options.attempts,
                timeout=None,
                wait_initial=_FIRST_WAIT_S,
                wait_max=deadline.longest_wait_s,
                wait_jitter=deadline.longest_wait_s / 4,
            )
        )

    async def stream(self, request: Request, deadline: Deadline) -> AsyncGenerator[bytes, None]:
        """Send a request once, and yield the body of the answer in the parts in which it arrives.

        Raises:
            FeatherlineError: There is no answer; the class says why.
        """
        deadline.check()
        patience_s = min(self._options.attempt_timeout, deadline.left_s)
        headers = {"Accept": f"{request.accept}, application/problem+json"}
        if request.body is not None:
            headers["Content-Type"] = request.content_type
        if self._revision is not None:
            headers[REVISION] = self._revision
        if self._options.language is not None:
            headers["Accept-Language"] = self._options.language
        if self._options.trace is not None:
            self._options.trace(headers)
        with _translate_errors(self._connection.url, patience_s):
            async with self._connection.send(request, headers, patience_s) as response:
                if not response.answers(request):
                    raise _failure(request, response, await _join(response.parts, response.status, deadline))
                async for part in response.parts:
                    deadline.check()
                    yield part

    async def close(self) -> None:
        """Close the connections."""
        await self._connection.close()


def base_url(url: str | None) -> httpx2.URL:
    """Return the service's address: `url`, else ``FEATHERLINE_URL``, else the default port of this machine."""
    text = url or os.environ.get("FEATHERLINE_URL") or _DEFAULT_URL
    try:
        address = httpx2.URL(text)
    except httpx2.InvalidURL as error:
        raise ValueError(f"{text!r} is not an address ({error}); give one such as {_DEFAULT_URL!r}") from None
    if address.scheme not in {"http", "https"} or not address.host:
        raise ValueError(f"{text!r} is not an address of a service; give one such as {_DEFAULT_URL!r}")
    return address


def _is_local(address: httpx2.URL) -> bool:
    """Return whether an address is this machine's own, where a proxy from the environment could not reach it."""
    if address.host == "localhost":
        return True
    try:
        return ip_address(address.host).is_loopback
    except ValueError:
        return False


def _headers(address: httpx2.URL, key: str | None) -> dict[str, str]:
    headers = {"User-Agent": f"featherline/{version('featherline')}"}
    if _is_local(address):
        headers["Accept-Encoding"] = "identity"  # compressing takes time and saves no network
    key = key if key is not None else os.environ.get("FEATHERLINE_API_KEY")
    if key:
        if not re.fullmatch(r"[!-~]+", key):
            raise ValueError("The API key has blanks, line ends or letters beyond ASCII; give it as it was issued")
        headers["Authorization"] = f"Bearer {key}"
    return headers


@contextmanager
def _translate_errors(address: httpx2.URL, patience_s: float) -> Iterator[None]:
    """Raise the errors of the HTTP client as errors of this SDK."""
    try:
        yield
    except httpx2.TimeoutException as error:
        raise TimedOut(f"{address} did not answer within {patience_s:.3g} s ({type(error).__name__})") from error
    except httpx2.ConnectError as error:
        raise ConnectionFailed(
            f"Cannot reach the service at {address} ({error}). Is it running? "
            "Its address is `url`, --url of the command, or FEATHERLINE_URL"
        ) from error
    except (httpx2.TransportError, httpx2.DecodingError) as error:
        raise ConnectionFailed(f"The connection to {address} broke off ({type(error).__name__}: {error})") from error


async def _join(parts: AsyncIterable[bytes], status: int, deadline: Deadline) -> bytes:
    """Return a body in one piece; raise `UnexpectedAnswer` if it is too large to be one of featherline's."""
    content = bytearray()
    async for part in parts:
        content += part
        if len(content) > _LARGEST_ANSWER:
            raise UnexpectedAnswer("The answer is larger than any of featherline's", status, bytes(content[:_EXCERPT]))
        deadline.check()
    return bytes(content)


def _failure(request: Request, response: Response, content: bytes) -> FeatherlineError:
    """Return the error that a response other than the answer stands for."""
    status, retry_after_s = response.status, _retry_after_s(response.headers.get("retry-after"))
    problem = _problem(content)
    if problem is not None and httpx2.codes.is_error(status):
        return from_problem(status, problem, retry_after_s)
    if status in {httpx2.codes.TOO_MANY_REQUESTS, httpx2.codes.SERVICE_UNAVAILABLE}:
        return Unavailable(status, None, retry_after_s)
    if httpx2.codes.is_server_error(status):
        return ServiceFault(status, None)
    return UnexpectedAnswer(
        f"{request} asked for {request.accept} and got status {status} with {response.media_type or 'no media type'}: "
        "is the address right, and is it a featherline service of the same version?",
        status,
        content[:_EXCERPT],
    )


def _problem(content: bytes) -> Problem | None:
    """Return the problem document in a body, or None."""
    try:
        return msgspec.json.decode(content, type=Problem)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None


def _retry_after_s(text: str | None) -> float | None:
    """Return the seconds of a Retry-After header (RFC 9110 section 10.2.3), or None without a usable one."""
    if text is None:
        return None
    if re.fullmatch(r"[0-9]{1,9}", text.strip()):
        return float(text)
    try:
        return max(0.0, (parsedate_to_datetime(text) - datetime.now(UTC)).total_seconds())
    except (ValueError, TypeError):
        return None


def _check_seconds(seconds: float, name: str) -> float:
    if not (isfinite(seconds) and seconds > 0):
        raise ValueError(f"{name} is {seconds!r}; give seconds greater than zero")
    return seconds
