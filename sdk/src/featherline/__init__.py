"""Prices and prepares heat-applied marking of finished shoes, by asking a featherline service.

In come requests of `featherline.wire`, such as an `Order`.
Out go answers of `featherline.wire`, such as a `QuoteAnswer`; a `FeatherlineError` is raised when there is none.
Read `_client` first: `Client` and `AsyncClient` have a method for each question.
"""

from featherline._bulk import Reply
from featherline._client import AsyncClient, Client
from featherline.errors import (
    ConnectionFailed,
    FeatherlineError,
    KeyRefused,
    NotFound,
    RequestRefused,
    RevisionGone,
    ServiceFault,
    TimedOut,
    Unavailable,
    UnexpectedAnswer,
)

__all__ = [
    "AsyncClient",
    "Client",
    "ConnectionFailed",
    "FeatherlineError",
    "KeyRefused",
    "NotFound",
    "Reply",
    "RequestRefused",
    "RevisionGone",
    "ServiceFault",
    "TimedOut",
    "Unavailable",
    "UnexpectedAnswer",
]
