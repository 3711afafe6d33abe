"""The four questions: one body in, one answer out, each a pure function of the request and the book."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Final

import msgspec
from litestar import Request, Response
from litestar import post as litestar_post
from litestar.handlers import HTTPRouteHandler
from msgspec import Struct

from featherline.wire.costs import CostAnswer, CostRequest, Order
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer, RecipeRequest
from featherline_service.book.shelves import Book
from featherline_service.web.bodies import Body
from featherline_service.web.representations import JSON

_encode: Final = msgspec.json.Encoder().encode


class Question(Struct, frozen=True, kw_only=True):
    """A question that the service answers: where it is asked, its types, and the job that answers it."""

    path: str
    operation_id: str
    summary: str
    asked: Any
    answered: type[Struct]
    job: Callable[[Book, Any], Struct]


def _resolve(book: Book, request: RecipeRequest) -> RecipeAnswer:
    from featherline_service.jobs import recipes  # noqa: PLC0415 - until it lands

    return recipes.resolve(book, request)


def _check(book: Book, request: FitRequest) -> FitAnswer:
    from featherline_service.jobs import fits  # noqa: PLC0415 - until it lands

    return fits.check(book, request)


def _estimate(book: Book, request: CostRequest) -> CostAnswer:
    from featherline_service.jobs import costs  # noqa: PLC0415 - until it lands

    return costs.estimate(book, request)


def _compose(book: Book, order: Order) -> QuoteAnswer:
    from featherline_service.jobs import quotes  # noqa: PLC0415 - until it lands

    return quotes.compose(book, order)


QUESTIONS: Final = (
    Question(
        path="/v1/recipes",
        operation_id="resolveRecipe",
        summary="Resolve the press settings and steps for a film on a panel or a bare stack",
        asked=RecipeRequest,
        answered=RecipeAnswer,
        job=_resolve,
    ),
    Question(
        path="/v1/fits",
        operation_id="checkFit",
        summary="Check whether an artwork fits a panel, can be cut in a film, and will be seen",
        asked=FitRequest,
        answered=FitAnswer,
        job=_check,
    ),
    Question(
        path="/v1/costs",
        operation_id="estimateCost",
        summary="Estimate what an order, or work known by its measures, costs and what to charge",
        asked=CostRequest,
        answered=CostAnswer,
        job=_estimate,
    ),
    Question(
        path="/v1/quotes",
        operation_id="composeQuote",
        summary="Compose a quote for an order: fit, recipes, cost and price",
        asked=Order,
        answered=QuoteAnswer,
        job=_compose,
    ),
)


def handlers(book: Book, largest_body: int) -> Sequence[HTTPRouteHandler]:
    """Return a handler for each question."""
    return [_handler(question, book, largest_body) for question in QUESTIONS]


def _handler(question: Question, book: Book, largest_body: int) -> HTTPRouteHandler:
    body: Body[Any] = Body(question.asked)

    async def answer(request: Request[Any, Any, Any]) -> Response[bytes]:
        asked = await body.read(request, largest_body)
        return Response(_encode(question.job(book, asked)), status_code=200, media_type=JSON)

    return litestar_post(question.path, name=question.operation_id)(answer)
