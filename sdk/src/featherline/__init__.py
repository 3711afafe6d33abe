"""Prices and prepares heat-applied marking of finished shoes, by asking a featherline service.

`Client` and `AsyncClient` ask; the types of questions and answers are in `featherline.wire`.
"""

from featherline._bulk import Reply
from featherline._client import AsyncClient, Client
from featherline.errors import (
    ConnectionFailed,
    FeatherlineError,
    KeyRefused,
    NotFound,
    RequestRefused,
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
    "ServiceFault",
    "TimedOut",
    "Unavailable",
    "UnexpectedAnswer",
]
