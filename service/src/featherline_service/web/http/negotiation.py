"""Content negotiation: media types, conditional requests, and how long a caller waits."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Sequence
from typing import Any, Final

import msgspec
from litestar import Request, Response

from featherline_service.web.http.codings import coding_preference, encode_once, quality
from featherline_service.web.http.context import header
from featherline_service.web.http.problems import (
    NOT_ACCEPTABLE,
    UNKNOWN_PARAMETER,
    UNUSABLE_PARAMETER,
    ProblemError,
)

JSON: Final = "application/json"

_QUOTE: Final = '"'
# A preference ends at a comma; parameters after a semicolon are ignored.
_WAIT: Final = re.compile(r'(?:^|,)\s*wait\s*=\s*(?:([0-9]{1,9})|"([0-9]{1,9})")\s*(?=$|[,;])', re.IGNORECASE)
_TAG: Final = re.compile(r'(?:W/)?("[!#-~\x80-\xff]*")')


def refuse_parameters(request: Request[Any, Any, Any], known: Iterable[str] = ()) -> None:
    """Raise the problem of a query with parameters that a resource does not take."""
    if request.scope.get("query_string"):
        given = set(request.query_params)
        if not given or given.difference(known):
            names = ", ".join(sorted(map(repr, given.difference(known)))) or "some"
            takes = f"the query parameters {' and '.join(known)}" if known else "no query parameters"
            raise ProblemError(UNKNOWN_PARAMETER, f"This path takes {takes}; it was given {names}.")


def parameter(request: Request[Any, Any, Any], name: str, type_: Any, default: Any = None) -> Any:  # noqa: ANN401 - as its type has it
    """Return the value of a query parameter, or the default where it is not given; without a default it must be.

    Raises:
        ProblemError: The parameter cannot be used, comes more than once, or is missing.
    """
    values = request.query_params.getall(name, [])
    if not values and default is not None:
        return default
    try:
        (value,) = values
        return msgspec.convert(value, type_, strict=False)
    except ValueError as error:
        told = str(error) if len(values) == 1 else "it comes more than once" if values else "it is missing"
        raise ProblemError(UNUSABLE_PARAMETER, f"The parameter {name!r} cannot be used: {told}.") from None


def refuse_accept(request: Request[Any, Any, Any], media_types: Sequence[str]) -> None:
    """Raise the problem of an Accept header that rules out every media type of a resource."""
    accept = header(request.scope, b"accept")
    if accept and accept != "*/*" and not any(weight(accept, media_type) for media_type in media_types):
        raise ProblemError(NOT_ACCEPTABLE, f"This path answers with {' or '.join(media_types)}; Accept was {accept!r}.")


def preferred(accept: str | None, media_types: Sequence[str]) -> str:
    """Return the media type that an Accept header prefers; of equals, and without the header, the first."""
    return max(media_types, key=lambda media_type: weight(accept, media_type)) if accept else media_types[0]


def weight(accept: str, media_type: str) -> float:
    """Return the weight that an Accept header gives a media type: that of the most specific range that covers it.

    Parameters of ranges other than `q` are not looked at: our types have none.

    References:
        RFC 9110 section 12.5.1.
    """
    covering = {media_type: 3, media_type.partition("/")[0] + "/*": 2, "*/*": 1}
    best, weighed = 0, 0.0
    for part in accept.split(","):
        range_, *parameters = (field.strip() for field in part.split(";"))
        specificity = covering.get(range_.lower(), 0)
        if specificity > best:
            best, weighed = specificity, quality(parameters)
    return weighed


def conditional(
    request: Request[Any, Any, Any], body: bytes, tag: str, media_type: str = JSON, vary: str = "Accept-Encoding"
) -> Response[bytes]:
    """Return a response that a cache may keep and must revalidate; 304 without a body when the caller has it.

    It is in the coding that the caller prefers; the tag identifies the coded bytes (RFC 9110 section 8.8.3.3).
    """
    coding = coding_preference(request.scope).coding(len(body))
    headers = {"etag": tag, "cache-control": "no-cache", "vary": vary}
    if coding is not None:
        tag = headers["etag"] = f'{tag.removesuffix(_QUOTE)}-{coding}"'
    if has(header(request.scope, b"if-none-match") or "", tag):
        return Response(b"", status_code=304, headers=headers, media_type=media_type)
    if coding is not None:
        body = encode_once(body, coding)
        headers["content-encoding"] = coding
    return Response(body, headers=headers, media_type=media_type)


def entity_tag(content: bytes) -> str:
    """Return a strong ETag of some content."""
    return f'"{hashlib.sha256(content).hexdigest()[:32]}"'


def has(if_none_match: str, tag: str) -> bool:
    """Whether an If-None-Match names a tag.

    Compared weakly, as the header asks.

    References:
        RFC 9110 sections 8.8.3.2 and 13.1.2.
    """
    return if_none_match.strip() == "*" or tag in _TAG.findall(if_none_match)


def wait_s(prefer: str | None) -> int | None:
    """Return for how many seconds a Prefer header waits; None where it does not say, or not in whole seconds.

    References:
        RFC 7240 section 4.3; of a preference that comes more than once, the first counts (section 2).
    """
    match = None if prefer is None else _WAIT.search(prefer)
    return None if match is None else int(match[1] or match[2])
