"""Problem documents: the body of every answer that is not a success (RFC 9457)."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from msgspec import UNSET, Meta, Struct

from featherline.wire.verdicts import Parameter, SentenceLanguage

CallerFaultCode = Literal["refused", "missing", "wrong-value", "wrong-name", "unknown-field"]
"""The codes of faults that only whoever writes a request causes; their details are in English."""
CustomerFaultCode = Literal[
    "text.empty",
    "text.no-ink",
    "text.too-long",
    "text.too-many-lines",
    "text.character",
    "text.lacks-glyphs",
    "text.longer-than-circle",
    "text.too-detailed",
    "height.unusable",
    "letters.bounds-swapped",
    "artwork.too-large",
    "artwork.too-detailed",
    "film.too-narrow",
    "colour.not-in-film",
    "colour.not-made",
    "colour.no-name",
    "size.unknown",
    "size.not-made",
    "panel.not-there",
    "pairs.out-of-bounds",
    "no-such-record",
]
"""The codes of faults that a customer can cause on a shop's page; their details are in the reader's language."""


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
            description="The kind of fault: "
            f"{', '.join((*get_args(CallerFaultCode), *get_args(CustomerFaultCode)))}. "
            "`refused` is of those that have no kind of their own yet. More may come.",
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
