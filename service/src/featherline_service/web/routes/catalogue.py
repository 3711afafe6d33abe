"""The catalogue: what of the shop book the key that asks may sell, without costs."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Final

from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from msgspec.structs import replace

from featherline.wire.catalogue import Catalogue
from featherline_service.questions.customers import catalogues
from featherline_service.questions.translation import described
from featherline_service.web.answering.languages import LANGUAGE_VARY
from featherline_service.web.answering.revisions import VARY, Revisions
from featherline_service.web.http.callers import PUBLIC
from featherline_service.web.http.context import context_of
from featherline_service.web.http.json_text import encode
from featherline_service.web.http.negotiation import conditional, entity_tag
from featherline_service.web.routes.operations import Operation

READ_CATALOGUE: Final = Operation(
    id="readCatalogue",
    path="/v1/catalogue",
    tag="offers",
    scope="price",
    also=("ask", "book"),
    summary="Read what a form for an order is built of",
    description="Shoes with their sizes and panels, films and colours that the key may sell, fonts with their scripts, "
    "and the limits of a request; without costs and settings. Names are in the language that `Accept-Language` "
    "prefers, where they have one in it; `languages` are those in which sentences can be had. It changes with the "
    "revision of the book.",
    answered=(Catalogue,),
    revalidated=True,
    by_book=True,
    by_language=True,
    examples=((None, "catalogue-answer"),),
)
OPERATIONS: Final = (READ_CATALOGUE,)
_MOST_KEPT: Final = 64  # the demo book's has 17 kB


def handlers(revisions: Revisions) -> Sequence[HTTPRouteHandler]:
    """Return the handler of the catalogue."""

    @lru_cache(maxsize=_MOST_KEPT)
    def written(number: int, films: tuple[str, ...], language: str) -> tuple[bytes, str]:
        book = revisions.books[number]
        catalogue = catalogues.compose(book, films, language)
        body = encode(replace(catalogue, languages=described(book)))
        return body, entity_tag(language.encode() + body)

    async def read_catalogue(request: Request[Any, Any, Any]) -> Response[bytes]:
        context = context_of(request.scope)
        body, tag = written(context.book, (context.caller or PUBLIC).films, context.language)
        response = conditional(request, body, tag, vary=f"{VARY}, Authorization, {LANGUAGE_VARY}")
        response.headers["content-language"] = context.language
        return response

    return [READ_CATALOGUE.handler(read_catalogue, revisions)]
