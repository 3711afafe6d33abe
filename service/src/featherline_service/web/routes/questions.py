"""The questions: each answer is a pure function of the request's body and the book."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, Final

from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from litestar.types import ASGIApp
from msgspec import Struct

from featherline.wire.calibrations import CalibrationAnswer, CalibrationRequest
from featherline.wire.costs import CostAnswer, CostRequest, Order, OrderWork
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.from_prices import FromPriceAnswer, FromPriceRequest
from featherline.wire.hand_prices import HandPriceAnswer, HandPriceRequest
from featherline.wire.matrices import MatrixAnswer, MatrixRequest
from featherline.wire.measures import ArtworkAnswer, ArtworkRequest
from featherline.wire.offers import FitOffer, FromPriceOffer, Offer, RosterOffer
from featherline.wire.pictures import PictureAnswer, PictureRequest
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer, RecipeRequest
from featherline.wire.rosters import Roster, RosterAnswer
from featherline.wire.trials import TrialAnswer, TrialRequest
from featherline_service.book.shop_book import Book
from featherline_service.computing.pool import CallerClass
from featherline_service.messages.catalogues import ENGLISH
from featherline_service.questions import artworks, costs, from_prices, hand_prices, record_ranges
from featherline_service.questions.calibration import calibrations
from featherline_service.questions.customers import offers
from featherline_service.questions.fit import fits
from featherline_service.questions.matrix import matrices
from featherline_service.questions.pictures import shoe_views
from featherline_service.questions.quote import proposals
from featherline_service.questions.recipe import recipes
from featherline_service.questions.roster import rosters
from featherline_service.questions.translation import texts, translated
from featherline_service.questions.trial import trials
from featherline_service.runtime.engine import ENGINE
from featherline_service.web.answering import pictures
from featherline_service.web.answering.answer_cache import AnswerCache
from featherline_service.web.answering.askers import asker_of
from featherline_service.web.answering.languages import LANGUAGE_VARY, content_language
from featherline_service.web.answering.question import Computed, Question, computed
from featherline_service.web.answering.revisions import VARY, Revisions
from featherline_service.web.http.bodies import Body, read
from featherline_service.web.http.codings import coding_preference
from featherline_service.web.http.context import ComputedFor, context_of, header
from featherline_service.web.http.negotiation import JSON, preferred, wait_s
from featherline_service.web.http.problems import PLUGIN_FAILED
from featherline_service.web.http.responses import success
from featherline_service.web.routes.operations import Operation
from featherline_service.web.routes.seals import Seals

_question: Final = partial(Operation, method="POST", tag="questions", scope="ask", by_book=True, by_language=True)
_offer: Final = partial(
    Operation,
    method="POST",
    tag="offers",
    scope="price",
    also=("ask",),
    by_book=True,
    by_language=True,
    waits=True,
    own_problems=(PLUGIN_FAILED,),
)

RESOLVE_RECIPE: Final = _question(
    id="resolveRecipe",
    path="/v1/recipes",
    waits=True,
    summary="Resolve the press settings and steps for a film on an upper",
    description="With which settings is this film pressed onto this panel or bare stack of materials, in which steps, "
    "and by what margin? A stack that cannot be pressed is answered with the verdict `decline`, and what would help. "
    "As `image/svg+xml` the answer is the temperature chart.",
    asked=RecipeRequest,
    answered=(RecipeAnswer,),
    pictures=tuple(pictures.OF_RECIPES),
    examples=(("recipe-request", "recipe-answer"),),
)
CHECK_FIT: Final = _question(
    id="checkFit",
    for_customers="/v1/offers/fits",
    path="/v1/fits",
    waits=True,
    summary="Check whether an artwork fits a panel, can be cut, and will be seen",
    description="Does this artwork fit this panel in this film, is its finest detail coarse enough to cut and weed, "
    "does the shoe go on the press, and how large could it be there? As `image/svg+xml` the answer is the placement "
    "drawing, at true scale.",
    asked=FitRequest,
    answered=(FitAnswer,),
    pictures=tuple(pictures.OF_FITS),
    own_problems=(PLUGIN_FAILED,),
    examples=(("fit-request", "fit-answer"), ("fit-request-anchored", "fit-answer-anchored")),
)
MEASURE_ARTWORK: Final = _question(
    id="measureArtwork",
    path="/v1/artworks",
    summary="Measure an artwork alone, and say which films take it",
    description="How large is this text or drawing at its height, what has the knife to cut and the hand to weed, and "
    "how fine is it? For the film named, or for every film of the book: can it be cut and weeded so fine, and from "
    "which height? No shoe is asked about. Characters that the font lacks are named, and never drawn as boxes.",
    asked=ArtworkRequest,
    answered=(ArtworkAnswer,),
    own_problems=(PLUGIN_FAILED,),
    examples=(("artwork-request", "artwork-answer"), ("artwork-request-drawing", "artwork-answer-drawing")),
)
ESTIMATE_COST: Final = _question(
    id="estimateCost",
    path="/v1/costs",
    waits=True,
    summary="Estimate what work costs the shop, and what to charge",
    description="Film, consumables, time, machines, expected spoilage and overhead, line by line, and the price by the "
    "shop's policy: for an order, or for work known by its measures alone.",
    asked=CostRequest,
    answered=(CostAnswer,),
    own_problems=(PLUGIN_FAILED,),
    examples=(("cost-request", "cost-answer"), ("cost-request-measures", "cost-answer-measures")),
)
COMPOSE_QUOTE: Final = _question(
    id="composeQuote",
    for_customers="/v1/offers",
    path="/v1/quotes",
    waits=True,
    summary="Compose a quote for an order: fit, recipes, cost and price",
    description="Can this order be done, how, and for how much? The verdict is the worst of its parts; an order that "
    "is declined has no cost and no price. The price is sealed: who is shown it later can check that it is ours. As "
    "`text/html` or `application/pdf` the answer is the bench card, a page for each loading of the press: A4, or "
    "Letter with the units `us`. As `image/svg+xml` it is the cut sheet: for one pair, the outlines of what is cut "
    "from each film and colour, in a group each, at true size, mirrored where the film is cut so, and nothing else.",
    asked=Order,
    answered=(QuoteAnswer,),
    pictures=tuple(pictures.OF_QUOTES),
    own_problems=(PLUGIN_FAILED,),
    examples=(("quote-request", "quote-answer"), ("walk-in", "walk-in-answer"), ("clog", "clog-answer")),
)
PRICE_ROSTER: Final = _question(
    id="priceRoster",
    for_customers="/v1/offers/rosters",
    path="/v1/rosters",
    waits=True,
    summary="Check and price a list of names, numbers and sizes as a whole",
    description="An order whose texts have fields, such as `{name}`, and up to 500 rows that fill them. Every row is "
    "checked for itself, and one that cannot be done spoils no other. Film is nested and quantity breaks count for all "
    "rows together; set-up is spread over them. The answer says what to buy, how long it takes, and how high letters "
    "may be for every row to fit. The total is sealed where that is asked.",
    asked=Roster,
    answered=(RosterAnswer,),
    own_problems=(PLUGIN_FAILED,),
    examples=(("roster-request", "roster-answer"),),
)
FIND_FROM_PRICE: Final = _question(
    id="findFromPrice",
    for_customers="/v1/offers/from-prices",
    path="/v1/from-prices",
    waits=True,
    summary="Find the cheapest of some orders that can be done, for a price 'from'",
    description="From which price does this product start? Up to 24 orders, such as the markings that a shop window "
    "offers on a shoe: the answer names the cheapest that is `ready`, its price, and why others are left out. One with "
    "faults spoils no other. The price is not sealed; that of a quote of the order is.",
    asked=FromPriceRequest,
    answered=(FromPriceAnswer,),
    own_problems=(PLUGIN_FAILED,),
    examples=(("from-price-request", "from-price-answer"),),
)
MATCH_FILMS: Final = _question(
    id="matchFilms",
    path="/v1/matrices",
    waits=True,
    summary="Tell which shoes take which films, panel by panel",
    description="Which of these shoes of the book take which of its films? A sample text is tried on every panel in "
    "every film: the verdict, the largest letters that fit, the setting and the price. Letters that are too large or "
    "too fine as wanted are tried as large as they fit. As `image/svg+xml` the answer is a page to print.",
    asked=MatrixRequest,
    answered=(MatrixAnswer,),
    pictures=tuple(pictures.OF_MATRICES),
    own_problems=(PLUGIN_FAILED,),
    examples=(("matrix-request", "matrix-answer"),),
)
PLAN_TRIAL: Final = _question(
    id="planTrial",
    path="/v1/trials",
    waits=True,
    summary="Plan how a shoe never pressed before is tried safely first",
    description="Where to try, at which settings in which order, what to look at after each, when to stop, and what "
    "each outcome says of the upper? The first setting harms nothing that the shoe may be made of, even at the worst "
    "case; what the trial finds goes into the next request as the shoe's `upper`.",
    asked=TrialRequest,
    answered=(TrialAnswer,),
    examples=(("trial-request", "trial-answer"),),
)
CALIBRATE: Final = _question(
    id="calibrate",
    path="/v1/calibrations",
    waits=True,
    summary="Learn contacts and platen of a press from readings of gauges",
    description="What do thermocouples or temperature strips in some pressings tell of this press and cover sheet? The "
    "answer has contacts and platen with 95 % intervals, as files that go into the shop's book; how well the readings "
    "agree, and which do not; the windows of the book's shoes before and after; and what to read next.",
    asked=CalibrationRequest,
    answered=(CalibrationAnswer,),
    examples=(("calibration-request", "calibration-answer"),),
)
OFFER_ORDER: Final = _offer(
    id="offerOrder",
    path="/v1/offers",
    summary="Offer an order to a customer: whether it can be done, and its price",
    description="The answer of `/v1/quotes` as a customer may see it: verdict, reasons in words for the customer, the "
    "size of each placement, price and seal. It has no cost, rate, margin or setting, so a page may ask with a key of "
    "the scope `price`.",
    asked=Order,
    answered=(Offer,),
    examples=(("quote-request", "offer-answer"), ("too-long", "too-long-answer")),
)
OFFER_ROSTER: Final = _offer(
    id="offerRoster",
    path="/v1/offers/rosters",
    summary="Offer a list of names, numbers and sizes to a customer",
    description="The answer of `/v1/rosters` as a customer may see it. The total is sealed where that is asked.",
    asked=Roster,
    answered=(RosterOffer,),
    examples=(("roster-request", "roster-offer-answer"),),
)
OFFER_FROM_PRICE: Final = _offer(
    id="offerFromPrice",
    path="/v1/offers/from-prices",
    summary="Offer a price 'from': the cheapest of some orders that can be done",
    description="The answer of `/v1/from-prices` as a customer may see it.",
    asked=FromPriceRequest,
    answered=(FromPriceOffer,),
    examples=(("from-price-request", "from-price-offer-answer"),),
)
OFFER_FIT: Final = _offer(
    id="offerFit",
    path="/v1/offers/fits",
    summary="Show a customer whether and how an artwork fits a panel",
    description="The answer of `/v1/fits` as a customer may see it. As `image/svg+xml` it is the placement drawing, "
    "without the clearance that the shop keeps.",
    asked=FitRequest,
    answered=(FitOffer,),
    pictures=tuple(pictures.OF_FIT_OFFERS),
    examples=(("fit-request", "fit-offer-answer"),),
)
SHOW_PICTURES: Final = _offer(
    id="showPictures",
    path="/v1/pictures",
    waits=False,
    summary="Show a customer what an order will look like",
    description="The marked panels in place on the shoe, in its colour and the films', without dimensions: a picture "
    "for all placements of a face. As JSON the answer has their alternative texts, and addresses at which they are "
    "read without a key until these expire; as `image/svg+xml` or `image/png` it is one picture. A key of the scope "
    "`price` will do.",
    asked=PictureRequest,
    answered=(PictureAnswer,),
    pictures=tuple(pictures.OF_SHOES),
    examples=(("picture-request", "picture-answer"),),
)
SEAL_BY_HAND: Final = _question(
    id="sealByHand",
    path="/v1/hand-prices",
    tag="offers",
    scope="shop",
    waits=True,
    summary="Seal a price that the shop sets by hand, and say what it leaves",
    description="The shop gives a pair away, or agrees on a price at the counter: what is left of it, and the tax in "
    "it? The price is sealed as `by-hand`. Only keys of the scope `shop` may ask; a checkout refuses the seal unless "
    "it takes such prices.",
    asked=HandPriceRequest,
    answered=(HandPriceAnswer,),
    own_problems=(PLUGIN_FAILED,),
    examples=(("hand-price-request", "hand-price-answer"),),
)
OFFERS: Final[Mapping[str, Operation]] = {
    COMPOSE_QUOTE.id: OFFER_ORDER,
    PRICE_ROSTER.id: OFFER_ROSTER,
    FIND_FROM_PRICE.id: OFFER_FROM_PRICE,
    CHECK_FIT.id: OFFER_FIT,
}
"""By each question that has an answer for customers, the operation that gives it."""

OPERATIONS: Final = (
    RESOLVE_RECIPE,
    CHECK_FIT,
    MEASURE_ARTWORK,
    ESTIMATE_COST,
    COMPOSE_QUOTE,
    PRICE_ROSTER,
    FIND_FROM_PRICE,
    MATCH_FILMS,
    PLAN_TRIAL,
    CALIBRATE,
    *OFFERS.values(),
    SHOW_PICTURES,
    SEAL_BY_HAND,
)

Compute = Callable[[Book, Any, str], Computed]


def _json(job: Callable[[Book, Any], Struct], shown: Callable[[Any], Struct]) -> Compute:
    """Return the function from a request to what is shown of its answer."""

    def compute(book: Book, request: Any, language: str) -> Computed:  # noqa: ANN401 - of the type asked
        answer = job(book, request)
        outside = record_ranges.outside(book, request, answer)
        return computed(request, translated(shown(answer), book, language))._replace(outside=outside)

    return compute


def _all_of(answer: Struct) -> Struct:
    return answer


def _offer_of(answer: Struct) -> Struct:
    return offers.PROJECTIONS[type(answer)](answer)


def _picture(draw: Callable[[Book, Any], bytes]) -> Compute:
    return lambda book, request, _language: Computed(draw(book, request))


def _shown(book: Book, request: PictureRequest, language: str) -> Computed:
    return computed(request, shoe_views.compose(book, request, texts(book, language)))


def _drawn(draw: Callable[[Book, Any, str], bytes]) -> Compute:
    return lambda book, request, language: Computed(draw(book, request, language))


def _resolve(book: Book, request: RecipeRequest) -> RecipeAnswer:
    return RecipeAnswer(recipe=recipes.resolve(book, request), book=book.revision, book_until=book.until, engine=ENGINE)


def _check(book: Book, request: FitRequest) -> FitAnswer:
    return FitAnswer(fit=fits.check(book, request), book=book.revision, book_until=book.until, engine=ENGINE)


def _plan(book: Book, request: TrialRequest) -> TrialAnswer:
    return TrialAnswer(trial=trials.plan(book, request), book=book.revision, book_until=book.until, engine=ENGINE)


_FOR_THE_SHOP: Final[Mapping[str, Callable[[Book, Any], Struct]]] = {
    RESOLVE_RECIPE.id: _resolve,
    CHECK_FIT.id: _check,
    MEASURE_ARTWORK.id: artworks.measure,
    ESTIMATE_COST.id: costs.estimate,
    COMPOSE_QUOTE.id: proposals.compose,
    PRICE_ROSTER.id: rosters.compose,
    FIND_FROM_PRICE.id: from_prices.compose,
    MATCH_FILMS.id: matrices.compose,
    PLAN_TRIAL.id: _plan,
    CALIBRATE.id: calibrations.compose,
    SEAL_BY_HAND.id: hand_prices.compose,
}
_COMPUTED_BY: Final[Mapping[str, Compute]] = {
    **{id_: _json(job, _all_of) for id_, job in _FOR_THE_SHOP.items()},
    **{offer.id: _json(_FOR_THE_SHOP[id_], _offer_of) for id_, offer in OFFERS.items()},
}
_DRAWN_BY: Final[Mapping[str, Mapping[str, Callable[[Book, Any], bytes]]]] = {
    RESOLVE_RECIPE.id: pictures.OF_RECIPES,
    CHECK_FIT.id: pictures.OF_FITS,
    COMPOSE_QUOTE.id: pictures.OF_QUOTES,
    MATCH_FILMS.id: pictures.OF_MATRICES,
    OFFER_FIT.id: pictures.OF_FIT_OFFERS,
}
_SHOWN_BY: Final[Mapping[str, Compute]] = {
    JSON: _shown,
    **{media_type: _drawn(draw) for media_type, draw in pictures.OF_SHOES.items()},
}
_SEALED: Final = (COMPOSE_QUOTE, PRICE_ROSTER, OFFER_ORDER, OFFER_ROSTER, SEAL_BY_HAND)


def takes_long(request: Any) -> bool:  # noqa: ANN401 - of any question
    """Return whether a request asks for a search that takes seconds."""
    match request:
        case Order():
            return request.outlines is not None
        case OrderWork() | Roster() | HandPriceRequest() | PictureRequest():
            return request.order.outlines is not None
        case _:
            return False


def questions(operation: Operation, seals: Seals | None = None) -> Mapping[str, Question]:
    """Return the questions that an operation answers, by the media type of the answer; prices are sealed."""
    body: Body[Any] = Body(operation.asked)

    if operation is SHOW_PICTURES:
        return {
            media_type: Question(f"{operation.id} {media_type}", body, compute, None, takes_long)
            for media_type, compute in _SHOWN_BY.items()
        }

    def question(media_type: str, compute: Compute, sealer: Seals | None = None) -> Question:
        return Question(f"{operation.id} {media_type}", body, compute, sealer, takes_long)

    sealer = seals if operation in _SEALED else None
    return {
        JSON: question(JSON, _COMPUTED_BY[operation.id], sealer),
        **{
            media_type: question(media_type, _picture(draw))
            for media_type, draw in _DRAWN_BY.get(operation.id, {}).items()
        },
    }


def by_name() -> Mapping[str, Question]:
    """Return every question by its name, as processes that compute answer them: without seals."""
    return {question.name: question for operation in OPERATIONS for question in questions(operation).values()}


def handlers(answers: AnswerCache, seals: Seals, largest_body: int, revisions: Revisions) -> Sequence[HTTPRouteHandler]:
    """Return a handler for each question but that for pictures, whose addresses `routes.pictures` adds."""
    return [
        _handler(operation, answers, seals, largest_body, revisions)
        for operation in OPERATIONS
        if operation is not SHOW_PICTURES
    ]


def _handler(
    operation: Operation, answers: AnswerCache, seals: Seals, largest_body: int, revisions: Revisions
) -> HTTPRouteHandler:
    by_media_type = questions(operation, seals)
    class_: CallerClass = "rosters" if operation in (PRICE_ROSTER, OFFER_ROSTER) else "questions"
    varies = f"{VARY}, {LANGUAGE_VARY}"
    varying = (b"vary", (f"Accept, {varies}" if operation.pictures else varies).encode())

    async def respond(request: Request[Any, Any, Any]) -> Response[bytes] | ASGIApp:
        text = await read(request, largest_body)
        media_type = preferred(header(request.scope, b"accept"), operation.media_types)
        waits_s = wait_s(header(request.scope, b"prefer"))
        asker = asker_of(request.scope, class_, wait_s=math.inf if waits_s is None else waits_s)
        if media_type in operation.pictures:
            asker = asker._replace(language=ENGLISH)  # they follow no reader
        answer = await answers.ask(by_media_type[media_type], text, asker, coding_preference(request.scope))
        if answer.took_s:
            context_of(request.scope).computed = ComputedFor(class_, answer.waited_s, answer.took_s)
        if media_type in operation.pictures:
            response = pictures.respond(answer.body, media_type, answer.coding)
            shop = revisions.books[asker.book].bench
            response.headers["content-language"] = shop.language if media_type in pictures.CARDS else ENGLISH
            return response
        applied = () if waits_s is None else ((b"preference-applied", f"wait={waits_s}".encode()),)
        return success(answer.body, JSON, (varying, content_language(asker.language), *applied), answer.coding)

    return operation.handler(respond, revisions)
