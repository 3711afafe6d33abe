"""Problem documents: the body of every answer that is not a success (RFC 9457)."""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Meta, Struct

from featherline.wire.verdicts import Parameter, SentenceLanguage


class Fault(Struct, frozen=True, kw_only=True):
    """One fault of a request: where it is (a JSON Pointer, RFC 6901) and what to do about it.

    `parameters` are the values in the `detail`, as in a reason.
    """

    pointer: Annotated[str, Meta(description="JSON Pointer into the request; empty for the whole body.")]
    detail: str
    code: Annotated[
        str,
        Meta(
            max_length=64,
            description="The kind of fault: missing, wrong-value, unknown-field, no-such-record, text.lacks-glyphs and "
            "so on; refused for those of no kind of their own yet. More may come.",
            examples=["text.lacks-glyphs"],
        ),
    ] = "refused"
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class Problem(Struct, frozen=True, kw_only=True):
    """A problem document (RFC 9457), media type ``application/problem+json``."""

    type: Annotated[str, Meta(description="A URI reference that names the kind of problem.")]
    title: str
    status: Annotated[int, Meta(ge=400, le=599)]
    detail: str
    instance: Annotated[str, Meta(description="`urn:featherline:request:` and the id of the request.")]
    errors: tuple[Fault, ...] = ()
