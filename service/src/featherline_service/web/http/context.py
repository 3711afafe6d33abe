"""The context of a request: what the layers of the service tell one another of it, and the fields of its head."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

from litestar.types import Scope
from msgspec import Struct

from featherline_service.messages.catalogues import ENGLISH
from featherline_service.messages.texts import Texts, english
from featherline_service.web.http.callers import Caller
from featherline_service.web.http.token_buckets import TokenBucket

_KEY: Final = "featherline"  # in the scope's state


class ComputedFor(NamedTuple):
    """What was computed for a request: its class of caller, how long it waited [s], and its processor time [s]."""

    class_: str
    waited_s: float
    took_s: float


class Refusal(NamedTuple):
    """Why a request was not answered: the problem's name, and the pointer of its first fault without what was typed."""

    problem: str
    pointer: str | None


class RequestContext(Struct, eq=False, kw_only=True):
    """What is known of a request beside its scope.

    `address` is the caller's, which a trusted proxy forwards. `computed` is None where nothing was. `work` is the
    processor time [s] that its questions may take; None without a limit.

    `fields` are those of its head. `connection` and `complete` (the whole body has been received) come from our
    protocol; under another server they stay as they are. The envelope sets `request_id` and `stopping` (the service is
    about to stop), authentication the `caller`, or as `refused_key` the id of a key that has expired or is not yet
    valid. `book` is the number of the book that answers, `language`
    that of its sentences; `words` returns the messages in which a problem is told. Every answer to the request gets
    `response_headers`.
    """

    connection: asyncio.BaseTransport | None = None
    complete: bool = False
    request_id: str = ""
    stopping: bool = False
    address: str | None = None
    caller: Caller | None = None
    book: int = 0
    language: str = ENGLISH
    words: Callable[[Scope], Texts] = lambda _scope: english()
    refused_key: str | None = None
    work: TokenBucket | None = None
    computed: ComputedFor | None = None
    problem: Refusal | None = None
    response_headers: Sequence[tuple[bytes, bytes]] = ()
    fields: Mapping[bytes, bytes]

    @property
    def disconnected(self) -> bool:
        """Whether the caller is known to have closed its connection, or to have been cut off."""
        return self.connection is not None and self.connection.is_closing()


def context_of(scope: Scope) -> RequestContext:
    """Return the context of a request; the first to ask for it gets a new one."""
    state = scope.setdefault("state", {})
    context: RequestContext | None = state.get(_KEY)
    if context is None:
        context = state[_KEY] = RequestContext(fields=_by_name(list(scope["headers"])))
    return context


def header(scope: Scope, name: bytes) -> str | None:
    """Return the value of a header field, None where there is none; of a field sent more than once, all values.

    The framework's own mapping of headers takes longer to make than the few fields that matter here take to find.

    Args:
        scope: The request's scope.
        name: The field's name, in lower case.

    References:
        RFC 9110 section 5.3, on fields that come more than once.
    """
    value = context_of(scope).fields.get(name)
    return None if value is None else value.decode("latin-1")


def _by_name(fields: list[tuple[bytes, bytes]]) -> Mapping[bytes, bytes]:
    values = dict(fields)
    if len(values) == len(fields):
        return values
    lists: dict[bytes, list[bytes]] = {}
    for name, value in fields:
        lists.setdefault(name, []).append(value)
    return {name: b", ".join(of_name) for name, of_name in lists.items()}
