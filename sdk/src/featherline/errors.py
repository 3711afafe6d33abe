"""The errors of the clients.

FeatherlineError
├── ConnectionFailed     the service was not reached, or hung up before a whole answer
├── TimedOut             there was no whole answer in time
├── UnexpectedAnswer     the answer is not from featherline, or not from this version
├── RequestRefused       4xx, with a problem document
│   ├── KeyRefused       401 and 403
│   ├── NotFound         404
│   └── RevisionGone     409
├── Unavailable          429 and 503
└── ServiceFault         any other 5xx

Every error can be pickled, so it crosses process boundaries.
"""
# ruff: noqa: N818 - the names say what happened; `FeatherlineError` says that they are errors

from __future__ import annotations

from http import HTTPStatus

from featherline.wire.problems import Fault, Problem

__all__ = [
    "ConnectionFailed",
    "FeatherlineError",
    "KeyRefused",
    "NotFound",
    "RequestRefused",
    "RevisionGone",
    "ServiceFault",
    "TimedOut",
    "Unavailable",
    "UnexpectedAnswer",
]


class FeatherlineError(Exception):
    """There is no answer; the subclass says why."""


class ConnectionFailed(FeatherlineError):
    """The service was not reached, or hung up before a whole answer."""


class TimedOut(FeatherlineError):
    """There was no whole answer in time."""


class UnexpectedAnswer(FeatherlineError):
    """The answer is not from featherline, or from a version that this SDK is too old or too new to read.

    Attributes:
        status: The HTTP status of the answer.
        body: The first 500 bytes of its body.
    """

    def __init__(self, message: str, status: int, body: bytes) -> None:
        super().__init__(message, status, body)
        self.status = status
        self.body = body

    def __str__(self) -> str:
        """Return the message alone."""
        return str(self.args[0])


class RequestRefused(FeatherlineError):
    """The service cannot work on the request: it is malformed, names unknown records, or is not allowed.

    Attributes:
        problem: The problem document (RFC 9457).
        status: The HTTP status.
        faults: The faults of the request, each with a JSON Pointer into it.
    """

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem)
        self.problem = problem
        self.status = problem.status
        self.faults: tuple[Fault, ...] = problem.errors

    def __str__(self) -> str:
        """Return the problem, then each fault on its own line."""
        lines = [f"{self.problem.title} ({self.status}): {self.problem.detail}"]
        faults = (fault for fault in self.faults if fault.detail != self.problem.detail)
        return "\n".join([*lines, *(f"  {fault.pointer or '(body)'}: {fault.detail}" for fault in faults)])


class KeyRefused(RequestRefused):
    """The API key is missing or not accepted (401), or lacks the scope for the question (403)."""


class NotFound(RequestRefused):
    """The service has no such record, or no such path."""


class RevisionGone(RequestRefused):
    """The service no longer has the revision of the book that was pinned, or does not have it yet (409).

    Ask again with the client itself, which answers by the revision in force, and tell the customer if a price changed.
    """


class Unavailable(FeatherlineError):
    """The service is busy or not ready, or the key has asked too much.

    Attributes:
        status: The HTTP status, 429 or 503.
        problem: The problem document, or None if a proxy in front of the service answered.
        retry_after_s: Seconds after which to ask again, or None if the service does not say.
    """

    def __init__(self, status: int, problem: Problem | None, retry_after_s: float | None) -> None:
        super().__init__(status, problem, retry_after_s)
        self.status = status
        self.problem = problem
        self.retry_after_s = retry_after_s

    def __str__(self) -> str:
        """Return the problem, and when to try again."""
        detail = self.problem.detail if self.problem else "The service is busy or not ready"
        when = "later" if self.retry_after_s is None else f"in {self.retry_after_s:.0f} s"
        return f"{detail} ({self.status}); try again {when}"


class ServiceFault(FeatherlineError):
    """The service failed; the request may be right.

    Attributes:
        status: The HTTP status.
        problem: The problem document, whose `instance` is the id of the request, or None if a proxy in front of the
            service answered.
    """

    def __init__(self, status: int, problem: Problem | None) -> None:
        super().__init__(status, problem)
        self.status = status
        self.problem = problem

    def __str__(self) -> str:
        """Return the problem, and the id to report."""
        if self.problem is None:
            return f"A proxy in front of the service answered {self.status}; try again, or tell the operator"
        return f"{self.problem.detail} ({self.status}, {self.problem.instance})"


def from_problem(status: int, problem: Problem, retry_after_s: float | None) -> FeatherlineError:
    """Return the error for a status and a problem document."""
    if status in {HTTPStatus.TOO_MANY_REQUESTS, HTTPStatus.SERVICE_UNAVAILABLE}:
        return Unavailable(status, problem, retry_after_s)
    if status >= HTTPStatus.INTERNAL_SERVER_ERROR:
        return ServiceFault(status, problem)
    if status in {HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN}:
        return KeyRefused(problem)
    if status == HTTPStatus.CONFLICT:
        return RevisionGone(problem)
    return NotFound(problem) if status == HTTPStatus.NOT_FOUND else RequestRefused(problem)
