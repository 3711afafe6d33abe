"""What can go wrong, one class each.

FeatherlineError
├── ConnectionFailed     no whole answer: not reached, or hung up
├── TimedOut             no whole answer in time
├── UnexpectedAnswer     an answer that is none of featherline's
├── RequestRefused       4xx, with a problem document
│   ├── KeyRefused       401 and 403
│   └── NotFound         404
├── Unavailable          429 and 503
└── ServiceFault         any other 5xx

Every class pickles, so that errors cross process boundaries.
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
    "ServiceFault",
    "TimedOut",
    "Unavailable",
    "UnexpectedAnswer",
]


class FeatherlineError(Exception):
    """Anything that went wrong between asking featherline and reading its answer."""


class ConnectionFailed(FeatherlineError):
    """The service was not reached, or hung up before a whole answer."""


class TimedOut(FeatherlineError):
    """There was no whole answer in time."""


class UnexpectedAnswer(FeatherlineError):
    """Something answered that is not featherline, or a featherline that this SDK is too old or too new to read.

    Attributes:
        status: The HTTP status of the answer.
        body: The beginning of its body.
    """

    def __init__(self, message: str, status: int, body: bytes) -> None:
        super().__init__(message, status, body)
        self.status = status
        self.body = body

    def __str__(self) -> str:
        """Return the message alone."""
        return str(self.args[0])


class RequestRefused(FeatherlineError):
    """The service cannot understand the request, or knows no such record.

    Attributes:
        problem: The problem document (RFC 9457).
        status: The HTTP status.
        faults: Every fault that the service found, each with a JSON Pointer into the request.
    """

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem)
        self.problem = problem
        self.status = problem.status
        self.faults: tuple[Fault, ...] = problem.errors

    def __str__(self) -> str:
        """Return what is wrong, then each fault on a line of its own."""
        lines = [f"{self.problem.title} ({self.status}): {self.problem.detail}"]
        faults = (fault for fault in self.faults if fault.detail != self.problem.detail)
        return "\n".join([*lines, *(f"  {fault.pointer or '(body)'}: {fault.detail}" for fault in faults)])


class KeyRefused(RequestRefused):
    """The service wants an API key, or another one."""


class NotFound(RequestRefused):
    """The service has nothing at this address."""


class Unavailable(FeatherlineError):
    """The service is busy or not ready, and was so at every attempt.

    Attributes:
        status: The HTTP status, 429 or 503.
        problem: The problem document, or None when something in front of the service answered.
        retry_after_s: Seconds after which it asks to be tried again, or None when it does not say.
    """

    def __init__(self, status: int, problem: Problem | None, retry_after_s: float | None) -> None:
        super().__init__(status, problem, retry_after_s)
        self.status = status
        self.problem = problem
        self.retry_after_s = retry_after_s

    def __str__(self) -> str:
        """Return what the service says, and when to try again."""
        said = self.problem.detail if self.problem else "The service is busy or not ready"
        when = "later" if self.retry_after_s is None else f"in {self.retry_after_s:.0f} s"
        return f"{said} ({self.status}); try again {when}"


class ServiceFault(FeatherlineError):
    """The service failed; the request may be right.

    Attributes:
        status: The HTTP status.
        problem: The problem document, whose `instance` is the request's id, or None when something in front of the
            service answered.
    """

    def __init__(self, status: int, problem: Problem | None) -> None:
        super().__init__(status, problem)
        self.status = status
        self.problem = problem

    def __str__(self) -> str:
        """Return what the service says, and the id to report."""
        if self.problem is None:
            return f"Something in front of the service answered {self.status}; try again, or tell who runs it"
        return f"{self.problem.detail} ({self.status}, {self.problem.instance})"


def from_problem(status: int, problem: Problem, retry_after_s: float | None) -> FeatherlineError:
    """Return the error that a status and a problem document stand for."""
    if status in {HTTPStatus.TOO_MANY_REQUESTS, HTTPStatus.SERVICE_UNAVAILABLE}:
        return Unavailable(status, problem, retry_after_s)
    if status >= HTTPStatus.INTERNAL_SERVER_ERROR:
        return ServiceFault(status, problem)
    if status in {HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN}:
        return KeyRefused(problem)
    return NotFound(problem) if status == HTTPStatus.NOT_FOUND else RequestRefused(problem)
