"""Photos of tape tracings, and drawings of panels: computed beside all other questions, answered once, never kept."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, cast, get_args, get_type_hints

import msgspec
from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from litestar.types import ASGIApp

from featherline.wire.tracings import TracingAnswer, TracingQuery
from featherline_service.book.shop_book import Book
from featherline_service.drawing import card_pages
from featherline_service.drawing.media import svg
from featherline_service.questions import tracings
from featherline_service.questions.tracings import TracingAsked
from featherline_service.shape.panel_drawings import dxf_lines
from featherline_service.tracing.photo import MediaType
from featherline_service.web.answering.answer_cache import AnswerCache
from featherline_service.web.answering.askers import asker_of
from featherline_service.web.answering.question import Computed, Question, computed
from featherline_service.web.http.bodies import read, refuse_media_type
from featherline_service.web.http.codings import coding_preference
from featherline_service.web.http.context import ComputedFor, context_of, header
from featherline_service.web.http.negotiation import JSON, parameter, preferred, wait_s
from featherline_service.web.http.problems import UNUSABLE_PARAMETER
from featherline_service.web.http.responses import success
from featherline_service.web.routes.operations import Operation

LARGEST_PHOTO: Final = 12_582_912
"""[bytes] A phone's photo of 12 megapixels has 3 to 6 MB."""
LARGEST_DRAWING: Final = dxf_lines.LARGEST_FILE
PHOTO_TYPES: Final[tuple[MediaType, ...]] = get_args(MediaType)
MEDIA_TYPES: Final = (*PHOTO_TYPES, *tracings.DRAWING_TYPES)
_QUERY: Final[Mapping[str, Any]] = get_type_hints(TracingQuery, include_extras=True)
_POLICY: Final = card_pages.POLICY.replace("style-src", "img-src data:; style-src")

TRACE_PANEL: Final = Operation(
    id="tracePanel",
    method="POST",
    path="/v1/tracings",
    tag="questions",
    scope="ask",
    waits=True,
    summary="Trace a panel from a photo of its tape tracing, or from a drawing",
    description="Cover the panel with tape, draw its edge, peel the tape off, stick it on a tracing sheet "
    "(`/v1/tracing-sheets/{paper}`) and take a photo from above. The body is the photo as the camera saved it, "
    "`image/jpeg` or `image/png`, up to 12 MiB, and `along` and `across` are needed. Or it is a drawing in true "
    "size, `image/svg+xml` or `image/vnd.dxf`, up to 500 kB: its largest closed line is the outline; within it, "
    "round ones are eyelets, red ones are kept free, and so are those whose layer or group is named as a keep-out. "
    "The answer is the panel in millimetres, as a measured shoe and as the book take it, and how far it may be off;"
    " as `image/svg+xml` it is drawn, over a small copy of the photo. What is not good enough is refused (422) with"
    " what to do. Nothing of a file is kept, and what the camera wrote beside the picture is never read.",
    files=MEDIA_TYPES,
    answered=(TracingAnswer,),
    pictures=(svg.MEDIA_TYPE,),
    query=_QUERY,
    own_problems=(UNUSABLE_PARAMETER,),
)
OPERATIONS: Final = (TRACE_PANEL,)


class _Reader:
    """Reads what the process that serves HTTP hands over: a photo with what is asked of it."""

    _decode: Final = msgspec.msgpack.Decoder(TracingAsked).decode

    def decode(self, body: bytes) -> TracingAsked:
        """Return the photo."""
        return self._decode(body)


_encode: Final = msgspec.msgpack.Encoder().encode


def _answer(_book: Book, asked: TracingAsked, _language: str) -> Computed:
    return computed(asked, tracings.trace(asked))


def _picture(_book: Book, asked: TracingAsked, _language: str) -> Computed:
    return Computed(tracings.draw(asked))


def _question(media_type: str, compute: Callable[[Book, Any, str], Computed]) -> Question:
    return Question(f"{TRACE_PANEL.id} {media_type}", _Reader(), compute, kept=False)


QUESTIONS: Final[Mapping[str, Question]] = {
    JSON: _question(JSON, _answer),
    svg.MEDIA_TYPE: _question(svg.MEDIA_TYPE, _picture),
}


def by_name() -> Mapping[str, Question]:
    """Return the questions by their names, as processes that compute answer them."""
    return {question.name: question for question in QUESTIONS.values()}


def _query(request: Request[Any, Any, Any]) -> TracingQuery:
    """Return what is asked of a photo or a drawing."""
    given = {name: type_ for name, type_ in _QUERY.items() if name in request.query_params}
    return TracingQuery(**{name: parameter(request, name, type_) for name, type_ in given.items()})


def handlers(answers: AnswerCache) -> Sequence[HTTPRouteHandler]:
    """Return the handler of photos."""

    async def respond(request: Request[Any, Any, Any]) -> Response[bytes] | ASGIApp:
        refuse_media_type(request, MEDIA_TYPES)
        sent = (header(request.scope, b"content-type") or "").partition(";")[0].strip().lower()
        query = _query(request)
        largest = LARGEST_PHOTO if sent in PHOTO_TYPES else LARGEST_DRAWING
        content = await read(request, largest, accepted=MEDIA_TYPES)
        text = _encode(TracingAsked(content=content, media_type=cast("MediaType", sent), query=query))
        media_type = preferred(header(request.scope, b"accept"), TRACE_PANEL.media_types)
        waits_s = wait_s(header(request.scope, b"prefer"))
        asker = asker_of(request.scope, "questions", wait_s=math.inf if waits_s is None else waits_s)
        # What a key may be pinned to is no part of a photo.
        answer = await answers.ask(
            QUESTIONS[media_type], text, asker._replace(pins=None), coding_preference(request.scope)
        )
        context_of(request.scope).computed = ComputedFor("questions", answer.waited_s, answer.took_s)
        applied = () if waits_s is None else ((b"preference-applied", f"wait={waits_s}".encode()),)
        safe = ((b"content-security-policy", _POLICY.encode()), (b"x-content-type-options", b"nosniff"))
        fields = (
            (b"vary", b"Accept, Accept-Encoding"),
            (b"cache-control", b"no-store"),
            *applied,
            *(safe if media_type == svg.MEDIA_TYPE else ()),
        )
        return success(answer.body, media_type, fields, answer.coding)

    return [TRACE_PANEL.handler(respond)]
