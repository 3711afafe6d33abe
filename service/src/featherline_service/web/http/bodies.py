"""Request bodies: read within their limits, checked for their media type, decoded strictly."""

from __future__ import annotations

import asyncio
import json
from collections import Counter
from collections.abc import Sequence
from functools import cached_property
from itertools import islice
from typing import Any, Final, Generic, TypeVar

import msgspec
from litestar import Request
from msgspec import inspect

from featherline_service.messages.told import told
from featherline_service.messages.values import said
from featherline_service.quantities import plain_seconds
from featherline_service.questions.checks import RefusedError, told_fault
from featherline_service.web.http.codings import Decoder, decoder_of
from featherline_service.web.http.context import context_of, header
from featherline_service.web.http.faults import find_faults
from featherline_service.web.http.negotiation import JSON
from featherline_service.web.http.problems import (
    BAD_REQUEST,
    BODY_TOO_LARGE,
    BODY_TOO_SLOW,
    BUSY,
    MALFORMED_BODY,
    UNSUPPORTED_MEDIA_TYPE,
    ProblemError,
)
from featherline_service.web.http.wording import LONGEST_ECHO

DEEPEST: Final = 64  # levels of nesting; the types themselves have fewer than ten
MOST_FAULTS: Final = 50
SLOWEST_S: Final = 30.0
MOST_ARRIVING: Final = 33_554_432
"""Bytes of all bodies that are arriving, or of the largest if that is more; each has its first 64 KiB besides."""

_UNCOUNTED: Final = 65_536
"""First bytes of a body that are not counted: orders have no more as a rule, so slow large bodies refuse none."""

_LARGEST_WHOLE: Final = 2.0**53  # beyond it a float no longer tells one whole number from the next

_Request = TypeVar("_Request")


class Body(Generic[_Request]):
    """Reads and decodes bodies of one type."""

    def __init__(self, request_type: Any) -> None:  # noqa: ANN401 - a type or a union of types
        self._type = request_type
        self._decoder: msgspec.json.Decoder[_Request] = msgspec.json.Decoder(request_type)

    @cached_property
    def _fields(self) -> inspect.Type:
        return inspect.type_info(self._type)

    def decode(self, body: bytes) -> _Request:
        """Return the value of a JSON text.

        Raises:
            ProblemError: The text is not well-formed (400).
            RefusedError: The text is well-formed, but not of this type; it holds every fault.
        """
        try:
            value = self._decoder.decode(body)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            return self._decode_again(body)
        refuse_repeated_names(body)
        return value

    def _decode_again(self, body: bytes) -> _Request:
        """Return the value of a JSON text that was refused, or raise every fault in it.

        The strict decoder stops at the first fault, before it knows whether the rest is JSON at all. So decode again
        without a type: the text must be well-formed; then it has faults, or was refused for 3.0 as a whole number only.
        """
        data = _well_formed(body)
        faults = tuple(islice(find_faults(self._fields, data), MOST_FAULTS))
        if faults:
            raise RefusedError(faults)
        try:
            value: _Request = msgspec.convert(data, self._type)
        except msgspec.ValidationError as error:
            raise RefusedError((told_fault("", told("wrong-value", "{error}", error=str(error))),)) from error
        return value


async def read(
    request: Request[Any, Any, Any], largest: int, slowest_s: float = SLOWEST_S, accepted: Sequence[str] = (JSON,)
) -> bytes:
    """Return the bytes of a request's body, JSON unless other media types are accepted.

    Raises:
        ProblemError: The body is of another media type or coding (415), too large (413), too slow (408), or cut short
            or not in its coding (400).
    """
    decoder = decoder_of(request.scope)
    refuse_media_type(request, accepted)
    _refuse_length(request, largest)
    if context_of(request.scope).complete:
        return await _receive_all(request, decoder, largest)
    try:
        async with asyncio.timeout(slowest_s):
            return await _receive_all(request, decoder, largest)
    except TimeoutError:
        raise ProblemError(
            BODY_TOO_SLOW,
            said("problem.body-too-slow.longest", longest=plain_seconds(slowest_s)),
            headers={"connection": "close"},
        ) from None


class _Arriving:
    """What is arriving on all connections."""

    counted_bytes = 0


async def _receive_all(request: Request[Any, Any, Any], decoder: Decoder, largest: int) -> bytes:
    parts: list[bytes] = []
    length = counted = 0
    try:
        while True:
            message = await request.receive()
            if message["type"] != "http.request":
                raise ProblemError(BAD_REQUEST, "The connection closed before the body was complete.")
            for part in decoder.feed(message.get("body", b"")):
                length += len(part)
                if length > largest:
                    raise _too_large(largest)
                more = max(length - _UNCOUNTED, 0) - counted
                counted += more
                _Arriving.counted_bytes += more
                if _Arriving.counted_bytes > max(MOST_ARRIVING, largest):
                    raise ProblemError(
                        BUSY,
                        said("problem.busy.bodies"),
                        headers={"retry-after": "1"},
                    )
                parts.append(part)
            if not message.get("more_body", False):
                decoder.end()
                return b"".join(parts)
    finally:
        _Arriving.counted_bytes -= counted


def refuse_media_type(request: Request[Any, Any, Any], accepted: Sequence[str] = (JSON,)) -> None:
    """Raise the problem of a body that has none of the accepted media types."""
    content_type = header(request.scope, b"content-type") or ""
    media_type, _, parameters = content_type.partition(";")
    charset = parameters.strip().lower().removeprefix("charset=").strip('"')
    if media_type.strip().lower() not in accepted or charset not in {"", "utf-8"}:
        got = f"Content-Type {content_type!r}" if content_type else "no Content-Type"
        detail = told(
            "body.media-type", "The body has {got}; send {accepted}.", got=got, accepted=" or ".join(accepted)
        )
        raise ProblemError(UNSUPPORTED_MEDIA_TYPE, detail, headers={"accept": ", ".join(accepted)})


def _refuse_length(request: Request[Any, Any, Any], largest: int) -> None:
    announced = header(request.scope, b"content-length") or "0"
    if not (announced.isascii() and announced.isdigit()):
        raise ProblemError(BAD_REQUEST, f"Content-Length {announced!r} is not a number of bytes.")
    if len(announced) > len(str(largest)) or int(announced) > largest:
        raise _too_large(largest)


def _too_large(largest: int) -> ProblemError:
    return ProblemError(
        BODY_TOO_LARGE,
        told("body.too-large", "The body may have {largest:,} bytes; send less at a time.", largest=largest),
    )


def _well_formed(body: bytes) -> Any:  # noqa: ANN401 - JSON data
    """Return the data of a JSON text, whole numbers as integers however they are written."""
    try:
        data = _with_integers(msgspec.json.decode(body), DEEPEST)
        refuse_repeated_names(body)
    except UnicodeDecodeError as error:
        raise ProblemError(
            MALFORMED_BODY,
            told(
                "body.not-utf-8",
                "The body is not UTF-8: {reason} at a text's byte {byte}.",
                reason=error.reason,
                byte=error.start,
            ),
        ) from error
    except msgspec.DecodeError as error:
        raise ProblemError(
            MALFORMED_BODY, told("body.not-json", "{error}. Send one whole JSON text (RFC 8259).", error=str(error))
        ) from error
    except RecursionError as error:
        raise ProblemError(
            MALFORMED_BODY, told("body.too-deep", "The body is nested deeper than {deepest} levels.", deepest=DEEPEST)
        ) from error
    return data


def refuse_repeated_names(body: bytes) -> None:
    """Raise the problem of a name that occurs twice in one object, where readers differ in which they take.

    msgspec keeps the last and says nothing; RFC 8259 section 4 warns of it. The text is known to be well-formed.
    """
    _pairs.decode(body.decode("utf-8", "surrogatepass"))


def _refuse_repeated(members: list[tuple[str, Any]]) -> None:
    if len({name for name, _ in members}) < len(members):
        ((name, _),) = Counter(name for name, _ in members).most_common(1)
        raise ProblemError(
            MALFORMED_BODY,
            told("body.name-twice", "The name {name!r} occurs twice in one object.", name=name[:LONGEST_ECHO]),
        )


_pairs: Final = json.JSONDecoder(object_pairs_hook=_refuse_repeated, parse_int=str, parse_float=str)


def _with_integers(data: Any, depth: int) -> Any:  # noqa: ANN401 - JSON data
    """Return JSON data with integers for whole numbers; RecursionError: it is nested deeper than `depth`."""
    if depth < 0:
        raise RecursionError
    match data:
        case float() if data.is_integer() and abs(data) <= _LARGEST_WHOLE:
            return int(data)
        case list():
            return [_with_integers(item, depth - 1) for item in data]
        case dict():
            return {name: _with_integers(item, depth - 1) for name, item in data.items()}
        case _:
            return data
