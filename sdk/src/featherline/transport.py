"""The one place that knows HTTP: addresses, keys, timeouts, retries, and what an answer's bytes mean.

Importing this module imports the HTTP client, so `featherline.client` does it when the first client is made.
"""

from __future__ import annotations

import os
import re
import time
from collections.abc import AsyncGenerator, AsyncIterator, Callable, Generator, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from importlib.metadata import version
from ipaddress import ip_address
from math import inf, isfinite
from typing import Final, Generic, Protocol, TypeVar, cast

import httpx2
import msgspec

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
TraceWriter = Callable[[dict[str, str]], None]

JSON: Final = "application/json"
_HERE: Final = "http://127.0.0.1:8037"
_FIRST_WAIT_S: Final = 0.1
_LONGEST_WAIT_S: Final = 2.0
_LARGEST_ANSWER: Final = 64 * 1024 * 1024
_EXCERPT: Final = 500


class Question(Generic[Answer]):
    """What is asked of the service, and the type of its answer: with another media type than JSON's, its bytes."""

    def __init__(
        self, path: str, answer: type[Answer], asked: msgspec.Struct | None = None, media_type: str = JSON
    ) -> None:
        self.method = "GET" if asked is None else "POST"
        self.path = path
        self.body = None if asked is None else msgspec.json.encode(asked)
        self.answer = answer
        self.media_type = media_type


class Lines(msgspec.Struct, frozen=True):
    """A POST of lines: its path, the media type of both its bodies, and its own."""

    path: str
    media_type: str
    body: bytes


class Manners(msgspec.Struct, frozen=True, kw_only=True):
    """How a client asks: seconds for a call in all and for one attempt, attempts, and who writes trace headers."""

    timeout: float
    attempt_timeout: float
    attempts: int
    trace: TraceWriter | None

    def __post_init__(self) -> None:
        """Refuse times and counts that are none."""
        _seconds(self.timeout, "timeout")
        _seconds(self.attempt_timeout, "attempt_timeout")
        if self.attempts < 1:
            raise ValueError(f"attempts is {self.attempts}; give 1 (no retries) or more")


class Deadline:
    """The end of one call's time. Asked by the retries whether another attempt is worth it."""

    def __init__(self, seconds: float = inf) -> None:
        self.longest_wait_s = min(_LONGEST_WAIT_S, seconds / 4)
        self._seconds = seconds
        self._end = time.monotonic() + seconds

    @property
    def left_s(self) -> float:
        """Seconds that are left, negative when it is over."""
        return self._end - time.monotonic()

    def patience_s(self, attempt_timeout: float) -> float:
        """Return how long the next step of an attempt may wait; raise `TimedOut` when nothing is left."""
        if self.left_s <= 0:
            raise TimedOut(f"No whole answer within {self._seconds:g} s")
        return min(attempt_timeout, self.left_s)

    def worth_another(self, error: Exception) -> bool | float:
        """Return whether to try again after `error` or, where the service said when, after how many seconds."""
        if isinstance(error, Unavailable) and error.retry_after_s is not None:
            return error.retry_after_s if error.retry_after_s < self.left_s else False
        return isinstance(error, ConnectionFailed | TimedOut | Unavailable) and self.left_s > self.longest_wait_s


class Transport:
    """Asks the service and waits for its answer."""

    def __init__(
        self, url: str | None, key: str | None, manners: Manners, transport: httpx2.BaseTransport | None
    ) -> None:
        address = base_url(url)
        self._manners = manners
        self._http = httpx2.Client(
            base_url=address, headers=_headers(address, key), transport=transport, trust_env=not _is_here(address)
        )

    def ask(self, question: Question[Answer], timeout: float | None) -> Answer:
        """Return the answer of `question`; raise a `FeatherlineError` when there is none."""
        deadline = self.deadline(self._manners.timeout if timeout is None else timeout)
        for attempt in self.attempts(deadline):
            with attempt:
                return self._attempt(question, deadline)
        raise AssertionError("the last attempt returns or raises")

    def _attempt(self, question: Question[Answer], deadline: Deadline) -> Answer:
        patience = deadline.patience_s(self._manners.attempt_timeout)
        headers = _attempt_headers(self._manners, question)
        with (
            _own_errors(self._http.base_url, patience),
            self._http.stream(
                question.method, question.path, content=question.body, headers=headers, timeout=patience
            ) as response,
        ):
            content = bytearray()
            for chunk in response.iter_bytes():
                _gather(content, chunk, response.status_code)
                deadline.patience_s(patience)
        return _read(question, response.status_code, response.headers, bytes(content))

    def attempts(self, deadline: Deadline) -> _Attempts:
        """Return the attempts of one call, each a context in which to make it."""
        return _attempts(self._manners, deadline)

    @staticmethod
    def deadline(timeout: float | None) -> Deadline:
        """Return the end of a call's time; None: there is none."""
        return Deadline() if timeout is None else Deadline(_seconds(timeout, "timeout"))

    def stream(self, lines: Lines, deadline: Deadline) -> Generator[bytes, None, None]:
        """Yield the answer to a POST of lines, in the parts in which it comes; raise what `ask` raises."""
        patience = deadline.patience_s(self._manners.attempt_timeout)
        headers = _line_headers(self._manners, lines)
        with (
            _own_errors(self._http.base_url, patience),
            self._http.stream("POST", lines.path, content=lines.body, headers=headers, timeout=patience) as response,
        ):
            if not _is_of(lines, response):
                raise _failure(f"POST {lines.path}", response.status_code, response.headers, response.read())
            for chunk in response.iter_bytes():
                deadline.patience_s(patience)
                yield chunk

    def close(self) -> None:
        """Close the connections."""
        self._http.close()


class AsyncTransport:
    """Asks the service without blocking the event loop."""

    def __init__(
        self, url: str | None, key: str | None, manners: Manners, transport: httpx2.AsyncBaseTransport | None
    ) -> None:
        address = base_url(url)
        self._manners = manners
        self._http = httpx2.AsyncClient(
            base_url=address, headers=_headers(address, key), transport=transport, trust_env=not _is_here(address)
        )

    async def ask(self, question: Question[Answer], timeout: float | None) -> Answer:  # noqa: ASYNC109 - the retries share it
        """Return the answer of `question`; raise a `FeatherlineError` when there is none."""
        deadline = self.deadline(self._manners.timeout if timeout is None else timeout)
        async for attempt in self.attempts(deadline):
            with attempt:
                return await self._attempt(question, deadline)
        raise AssertionError("the last attempt returns or raises")

    async def _attempt(self, question: Question[Answer], deadline: Deadline) -> Answer:
        patience = deadline.patience_s(self._manners.attempt_timeout)
        headers = _attempt_headers(self._manners, question)
        with _own_errors(self._http.base_url, patience):
            async with self._http.stream(
                question.method, question.path, content=question.body, headers=headers, timeout=patience
            ) as response:
                content = bytearray()
                async for chunk in response.aiter_bytes():
                    _gather(content, chunk, response.status_code)
                    deadline.patience_s(patience)
        return _read(question, response.status_code, response.headers, bytes(content))

    def attempts(self, deadline: Deadline) -> _Attempts:
        """Return the attempts of one call, each a context in which to make it."""
        return _attempts(self._manners, deadline)

    @staticmethod
    def deadline(timeout: float | None) -> Deadline:
        """Return the end of a call's time; None: there is none."""
        return Deadline() if timeout is None else Deadline(_seconds(timeout, "timeout"))

    async def stream(self, lines: Lines, deadline: Deadline) -> AsyncGenerator[bytes, None]:
        """Yield the answer to a POST of lines, in the parts in which it comes; raise what `ask` raises."""
        patience = deadline.patience_s(self._manners.attempt_timeout)
        headers = _line_headers(self._manners, lines)
        with _own_errors(self._http.base_url, patience):
            async with self._http.stream(
                "POST", lines.path, content=lines.body, headers=headers, timeout=patience
            ) as response:
                if not _is_of(lines, response):
                    raise _failure(f"POST {lines.path}", response.status_code, response.headers, await response.aread())
                async for chunk in response.aiter_bytes():
                    deadline.patience_s(patience)
                    yield chunk

    async def close(self) -> None:
        """Close the connections."""
        await self._http.aclose()


def base_url(url: str | None) -> httpx2.URL:
    """Return the service's address: `url`, else ``FEATHERLINE_URL``, else this machine."""
    text = url or os.environ.get("FEATHERLINE_URL") or _HERE
    try:
        address = httpx2.URL(text)
    except httpx2.InvalidURL as error:
        raise ValueError(f"{text!r} is no address ({error}); give one such as {_HERE!r}") from None
    if address.scheme not in {"http", "https"} or not address.host:
        raise ValueError(f"{text!r} is no address of a service; give one such as {_HERE!r}")
    return address


def _is_here(address: httpx2.URL) -> bool:
    """Return whether the address is this machine, which no proxy of the environment can reach for us."""
    if address.host == "localhost":
        return True
    try:
        return ip_address(address.host).is_loopback
    except ValueError:
        return False


def _headers(address: httpx2.URL, key: str | None) -> dict[str, str]:
    headers = {"User-Agent": f"featherline/{version('featherline')}"}
    if _is_here(address):
        headers["Accept-Encoding"] = "identity"  # there is no network to spare, and coding takes time
    key = key if key is not None else os.environ.get("FEATHERLINE_API_KEY")
    if key:
        if not re.fullmatch(r"[!-~]+", key):
            raise ValueError("The API key has blanks, line ends or letters beyond ASCII; give it as it was issued")
        headers["Authorization"] = f"Bearer {key}"
    return headers


def _attempt_headers(manners: Manners, question: Question[Answer]) -> dict[str, str]:
    headers = {"Accept": f"{question.media_type}, application/problem+json"}
    if question.body is not None:
        headers["Content-Type"] = JSON
    if manners.trace is not None:
        manners.trace(headers)
    return headers


def _line_headers(manners: Manners, lines: Lines) -> dict[str, str]:
    headers = {"Content-Type": lines.media_type, "Accept": f"{lines.media_type}, application/problem+json"}
    if manners.trace is not None:
        manners.trace(headers)
    return headers


def _is_of(lines: Lines, response: httpx2.Response) -> bool:
    """Return whether a response is lines."""
    return response.status_code == httpx2.codes.OK and _media_type(response.headers) == lines.media_type


def _media_type(headers: Mapping[str, str]) -> str:
    return headers.get("content-type", "").partition(";")[0].strip().lower()


class _Attempts(Protocol):
    """The attempts of one call, each a context that decides what becomes of the error raised in it."""

    def __iter__(self) -> Iterator[AbstractContextManager[bool | None]]:
        """For a plain loop."""
        ...

    def __aiter__(self) -> AsyncIterator[AbstractContextManager[bool | None]]:
        """For an asynchronous loop."""
        ...


def _attempts(manners: Manners, deadline: Deadline) -> _Attempts:
    import stamina  # noqa: PLC0415 - imported when first needed

    return stamina.retry_context(
        on=deadline.worth_another,
        attempts=manners.attempts,
        timeout=None,
        wait_initial=_FIRST_WAIT_S,
        wait_max=deadline.longest_wait_s,
        wait_jitter=deadline.longest_wait_s / 4,
    )


@contextmanager
def _own_errors(address: httpx2.URL, patience_s: float) -> Iterator[None]:
    """Raise what the HTTP client raises as errors of this SDK."""
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


def _gather(content: bytearray, chunk: bytes, status: int) -> None:
    content += chunk
    if len(content) > _LARGEST_ANSWER:
        raise UnexpectedAnswer("The answer is larger than any of featherline's", status, bytes(content[:_EXCERPT]))


def _read(question: Question[Answer], status: int, headers: Mapping[str, str], content: bytes) -> Answer:
    """Return the answer in `content`, or raise the error that the status and the problem document call for."""
    if status == httpx2.codes.OK and question.media_type != JSON:
        if _media_type(headers) == question.media_type:
            return cast("Answer", content)
        raise UnexpectedAnswer(
            f"{question.method} {question.path} was asked for {question.media_type} and answered with something else; "
            "is it a featherline service of the same version?",
            status,
            content[:_EXCERPT],
        )
    if status == httpx2.codes.OK:
        try:
            return msgspec.json.decode(content, type=question.answer)
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            raise UnexpectedAnswer(
                f"The answer to {question.method} {question.path} is not what this SDK reads: {error}. "
                "Is it a featherline service of the same version?",
                status,
                content[:_EXCERPT],
            ) from error
    raise _failure(f"{question.method} {question.path}", status, headers, content)


def _failure(asked: str, status: int, headers: Mapping[str, str], content: bytes) -> FeatherlineError:
    problem = _problem(content)
    retry_after_s = _retry_after_s(headers.get("retry-after"))
    if problem is not None and httpx2.codes.is_error(status):
        return from_problem(status, problem, retry_after_s)
    if status in {httpx2.codes.TOO_MANY_REQUESTS, httpx2.codes.SERVICE_UNAVAILABLE}:
        return Unavailable(status, None, retry_after_s)
    if httpx2.codes.is_server_error(status):
        return ServiceFault(status, None)
    return UnexpectedAnswer(
        f"{asked} was answered {status}, not in featherline's way; is the address right?", status, content[:_EXCERPT]
    )


def _problem(content: bytes) -> Problem | None:
    """Return the problem document, or None when this is none."""
    try:
        return msgspec.json.decode(content, type=Problem)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None


def _retry_after_s(text: str | None) -> float | None:
    """Return the seconds of a Retry-After header (RFC 9110 section 10.2.3), or None when it does not say."""
    if text is None:
        return None
    if re.fullmatch(r"[0-9]{1,9}", text.strip()):
        return float(text)
    try:
        return max(0.0, (parsedate_to_datetime(text) - datetime.now(UTC)).total_seconds())
    except (ValueError, TypeError):
        return None


def _seconds(seconds: float, name: str) -> float:
    if not (isfinite(seconds) and seconds > 0):
        raise ValueError(f"{name} is {seconds!r}; give seconds greater than zero")
    return seconds
