"""The routes of pictures: shown to a key, with addresses to give away, and read at these without one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Final

import msgspec
from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from litestar.types import ASGIApp
from msgspec import Meta
from msgspec.structs import replace

from featherline.seals import canonical
from featherline.wire.pictures import LONGEST_ADDRESS, PictureAnswer, PictureRequest
from featherline_service.messages.values import said
from featherline_service.questions.pictures import shoe_views
from featherline_service.web.answering import pictures
from featherline_service.web.answering.answer_cache import Answer, AnswerCache
from featherline_service.web.answering.askers import asker_of
from featherline_service.web.answering.languages import LANGUAGE_VARY, content_language
from featherline_service.web.answering.revisions import VARY, Revisions
from featherline_service.web.http import json_text
from featherline_service.web.http.bodies import Body, read
from featherline_service.web.http.codings import IDENTITY, coding_preference, encode
from featherline_service.web.http.context import ComputedFor, context_of, header
from featherline_service.web.http.negotiation import JSON, entity_tag, has, preferred
from featherline_service.web.http.problems import NO_SUCH_PATH, PICTURE_EXPIRED, REFUSED, ProblemError
from featherline_service.web.http.responses import success
from featherline_service.web.routes import questions
from featherline_service.web.routes.operations import Operation
from featherline_service.web.routes.pictures.addresses import (
    MEDIA_TYPES,
    AddressError,
    Addresses,
    ExpiredError,
    Opened,
)

READ_PICTURE: Final = Operation(
    id="readPicture",
    path="/v1/pictures/{address}",
    tag="offers",
    scope=None,
    summary="Read a picture at its address, without a key",
    description="Addresses come from `/v1/pictures`: for a page or a mail, whose readers have no key. One that is not "
    "whole is unknown (404), one that has expired is gone (410). Until then it may be kept, and need not be asked for "
    "again: it is drawn by the book in force when it is read first.",
    parameters={"address": Annotated[str, Meta(max_length=LONGEST_ADDRESS, pattern=r"^[A-Za-z0-9_-]+\.(svg|png)$")]},
    produces=pictures.SVG,
    pictures=(pictures.PNG,),
    own_problems=(NO_SUCH_PATH, PICTURE_EXPIRED),
    immutable=True,
)
OPERATIONS: Final = (READ_PICTURE,)
_VARYING: Final = (b"vary", f"Accept, {VARY}, {LANGUAGE_VARY}".encode())
_UNKNOWN: Final = said("problem.no-such-path.picture")
_decode: Final = msgspec.json.Decoder(PictureAnswer).decode


def handlers(
    answers: AnswerCache, addresses: Addresses, largest_body: int, revisions: Revisions
) -> Sequence[HTTPRouteHandler]:
    """Return the handlers of pictures."""
    by_media_type = questions.questions(questions.SHOW_PICTURES)
    body: Body[PictureRequest] = Body(PictureRequest)

    async def show(request: Request[Any, Any, Any]) -> Response[bytes] | ASGIApp:
        text = await read(request, largest_body)
        media_type = preferred(header(request.scope, b"accept"), questions.SHOW_PICTURES.media_types)
        preference = coding_preference(request.scope)
        asker, is_json = asker_of(request.scope, "questions"), media_type == JSON
        answer = await answers.ask(by_media_type[media_type], text, asker, IDENTITY if is_json else preference)
        _note(request, answer)
        if not is_json:
            response = pictures.respond(answer.body, media_type, answer.coding)
            response.headers |= {"vary": _VARYING[1].decode(), "content-language": asker.language}
            return response
        written = _addressed(addresses, body.decode(text), asker.language, answer.body)
        coding = preference.coding(len(written))
        headers = (_VARYING, content_language(asker.language))
        return success(written if coding is None else encode(written, coding), JSON, headers, coding)

    async def read_picture(request: Request[Any, Any, Any]) -> Response[bytes]:
        code, ending = _divided(request.path_params["address"])
        try:
            opened = addresses.open(code)
        except ExpiredError:
            raise ProblemError(PICTURE_EXPIRED, said("problem.picture-expired.expired")) from None
        except AddressError:
            raise ProblemError(NO_SUCH_PATH, _UNKNOWN) from None
        try:
            question = by_media_type[MEDIA_TYPES[ending]]
            asker = asker_of(request.scope, "questions")._replace(language=opened.language, book=revisions.number())
            answer = await answers.ask(question, opened.text, asker)
        except ProblemError as problem:
            # The book no longer has what the order names.
            raise (ProblemError(NO_SUCH_PATH, _UNKNOWN) if problem.kind == REFUSED else problem) from None
        _note(request, answer)
        return _kept(request, answer.body, MEDIA_TYPES[ending], opened)

    return [questions.SHOW_PICTURES.handler(show, revisions), READ_PICTURE.handler(read_picture)]


def _note(request: Request[Any, Any, Any], answer: Answer) -> None:
    if answer.took_s:
        context_of(request.scope).computed = ComputedFor("questions", answer.waited_s, answer.took_s)


def _addressed(addresses: Addresses, request: PictureRequest, language: str, body: bytes) -> bytes:
    """Return an answer with the addresses of its pictures, which are named in its language."""
    answer = _decode(body)
    asked = shoe_views.pictured(request)
    return json_text.encode(
        replace(
            answer,
            pictures=tuple(
                replace(
                    picture,
                    address=addresses.mint(
                        canonical(replace(asked, placement=picture.placements[0], foot=picture.foot)), language
                    ),
                )
                for picture in answer.pictures
            ),
        )
    )


def _divided(address: str) -> tuple[str, str]:
    for ending in MEDIA_TYPES:
        if address.endswith(ending):
            return address.removesuffix(ending), ending
    raise ProblemError(NO_SUCH_PATH, _UNKNOWN)


def _kept(request: Request[Any, Any, Any], drawn: bytes, media_type: str, opened: Opened) -> Response[bytes]:
    """Return a picture that every cache may keep until its address expires.

    References:
        RFC 8246, the cache directive `immutable`; RFC 9111 section 5.2.2; Fetch, W3C, on cross-origin resource policy.
    """
    tag = entity_tag(drawn)
    response = pictures.respond(drawn, media_type, None)
    response.headers |= {
        "etag": tag,
        "cache-control": f"public, max-age={opened.left_s}, immutable",
        "cross-origin-resource-policy": "cross-origin",
        "content-language": opened.language,
        "vary": "Accept-Encoding",
    }
    if has(header(request.scope, b"if-none-match") or "", tag):
        return Response(b"", status_code=304, headers=response.headers, media_type=media_type)
    return response
