"""Problem documents: the body of every answer that is not a success (RFC 9457)."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct


class Fault(Struct, frozen=True, kw_only=True):
    """One fault of a request: where it is (a JSON Pointer, RFC 6901) and what to do about it."""

    pointer: Annotated[str, Meta(description="JSON Pointer into the request; empty for the whole body.")]
    detail: str


class Problem(Struct, frozen=True, kw_only=True):
    """A problem document (RFC 9457), media type ``application/problem+json``."""

    type: Annotated[str, Meta(description="A URI reference that names the kind of problem.")]
    title: str
    status: Annotated[int, Meta(ge=400, le=599)]
    detail: str
    instance: Annotated[str, Meta(description="`urn:featherline:request:` and the id of the request.")]
    errors: tuple[Fault, ...] = ()
