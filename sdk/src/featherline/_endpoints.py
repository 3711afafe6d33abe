"""The endpoints of the service: the path of each question, the requests that ask it, and the type of its answer.

Both clients, bulk, the command and `featherline.testing` read them from here. A new question is a row of this table and
a method of `featherline._client.Questions`; DEVELOPERS.md lists its other places.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, Generic, TypeVar, get_args
from urllib.parse import quote, urlencode

from msgspec import Struct
from msgspec.structs import fields, replace

from featherline.wire import records
from featherline.wire.book import AnyRecord, BookAnswer, RecordAnswer, RecordsAnswer
from featherline.wire.calibrations import CalibrationAnswer, CalibrationRequest
from featherline.wire.catalogue import Catalogue
from featherline.wire.costs import CostAnswer, CostRequest, Order
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
from featherline.wire.seals import PublishedKeys, SealCheck, SealCheckRequest
from featherline.wire.tracings import Paper, TracingAnswer, TracingQuery
from featherline.wire.trials import TrialAnswer, TrialRequest

Answer = TypeVar("Answer")


class Endpoint(Struct, Generic[Answer], frozen=True):
    """A path and the type of its answer.

    `request` is the type of what is posted, a class or a union; None for a GET. `bulk_kind` names the question in lines
    of bulk, where it has one, and `pictures` are the media types of other forms of its answer.
    """

    path: str
    answer: type[Answer]
    request: Any = None
    bulk_kind: str | None = None
    pictures: tuple[str, ...] = ()

    @property
    def request_types(self) -> tuple[type[Struct], ...]:
        """The classes of its requests."""
        return get_args(self.request) or (self.request,)


RECIPES: Final = Endpoint("/v1/recipes", RecipeAnswer, RecipeRequest, "recipe", ("image/svg+xml",))
FITS: Final = Endpoint("/v1/fits", FitAnswer, FitRequest, "fit", ("image/svg+xml",))
ARTWORKS: Final = Endpoint("/v1/artworks", ArtworkAnswer, ArtworkRequest, "artwork")
COSTS: Final = Endpoint("/v1/costs", CostAnswer, CostRequest, "cost")
QUOTES: Final = Endpoint("/v1/quotes", QuoteAnswer, Order, "quote", ("application/pdf", "text/html", "image/svg+xml"))
ROSTERS: Final = Endpoint("/v1/rosters", RosterAnswer, Roster)
FROM_PRICES: Final = Endpoint("/v1/from-prices", FromPriceAnswer, FromPriceRequest)
CALIBRATIONS: Final = Endpoint("/v1/calibrations", CalibrationAnswer, CalibrationRequest)
MATRICES: Final = Endpoint("/v1/matrices", MatrixAnswer, MatrixRequest, pictures=("image/svg+xml",))
TRIALS: Final = Endpoint("/v1/trials", TrialAnswer, TrialRequest, "trial")
OFFERS: Final = Endpoint("/v1/offers", Offer, Order)
ROSTER_OFFERS: Final = Endpoint("/v1/offers/rosters", RosterOffer, Roster)
FROM_PRICE_OFFERS: Final = Endpoint("/v1/offers/from-prices", FromPriceOffer, FromPriceRequest)
FIT_OFFERS: Final = Endpoint("/v1/offers/fits", FitOffer, FitRequest, pictures=("image/svg+xml",))
PICTURES: Final = Endpoint("/v1/pictures", PictureAnswer, PictureRequest, pictures=("image/svg+xml", "image/png"))
HAND_PRICES: Final = Endpoint("/v1/hand-prices", HandPriceAnswer, HandPriceRequest)
SEAL_CHECKS: Final = Endpoint("/v1/seals/check", SealCheck, SealCheckRequest)
QUESTIONS: Final[tuple[Endpoint[Any], ...]] = (
    RECIPES,
    FITS,
    ARTWORKS,
    COSTS,
    QUOTES,
    ROSTERS,
    FROM_PRICES,
    MATRICES,
    TRIALS,
    CALIBRATIONS,
    OFFERS,
    ROSTER_OFFERS,
    FROM_PRICE_OFFERS,
    FIT_OFFERS,
    PICTURES,
    HAND_PRICES,
    SEAL_CHECKS,
)
BY_REQUEST: Final[Mapping[type, Endpoint[Any]]] = {
    request: next(first for first in QUESTIONS if request in first.request_types)
    for endpoint in QUESTIONS
    for request in endpoint.request_types
}
"""The question for the shop of each request: the first that takes it."""

TRACINGS: Final = Endpoint("/v1/tracings", TracingAnswer, pictures=("image/svg+xml",))
"""Takes a photo, and what is asked of it as its query."""
BULK: Final = "/v1/bulk"
REVISION: Final = "Book-Revision"
"""The header field that names the revision of the book to answer by."""
BOOK: Final = Endpoint("/v1/book", BookAnswer)
CATALOGUE: Final = Endpoint("/v1/catalogue", Catalogue)
SEAL_KEYS: Final = Endpoint("/.well-known/jwks.json", PublishedKeys)
RECORD_KINDS: Final[Mapping[type, records.Kind]] = {
    records.Source: "sources",
    records.Material: "materials",
    records.Contact: "contacts",
    records.Upper: "uppers",
    records.TongueLabel: "labels",
    records.Film: "films",
    records.Cover: "covers",
    records.Pad: "pads",
    records.Platen: "platens",
    records.Press: "presses",
    records.Cutter: "cutters",
    records.Font: "fonts",
    records.ShoeModel: "shoes",
    records.Offcut: "offcuts",
    records.Rates: "rates",
    records.Policy: "policies",
    records.Bench: "benches",
    records.RecordedPressing: "observations",
}


def tracing_of(query: TracingQuery) -> Endpoint[TracingAnswer]:
    """Return the endpoint of a photo of which this is asked."""
    asked = {field.name: value for field in fields(query) if (value := getattr(query, field.name)) != field.default}
    return replace(TRACINGS, path=f"{TRACINGS.path}?{urlencode(asked)}")


def tracing_sheet_of(paper: Paper) -> str:
    """Return the path of the sheet for a paper."""
    return f"/v1/tracing-sheets/{paper}"


def records_of(kind: type[AnyRecord], after: str | None = None) -> Endpoint[RecordsAnswer[AnyRecord]]:
    """Return the endpoint of the first records of a class, or of those after an id.

    Raises:
        ValueError: The class is not a record of the book.
    """
    path = _shelf(kind) if after is None else f"{_shelf(kind)}?after={after}"
    return Endpoint(path, RecordsAnswer[kind])  # type: ignore[valid-type] # the class is known at run time


def record_of(kind: type[AnyRecord], identifier: str) -> Endpoint[RecordAnswer[AnyRecord]]:
    """Return the endpoint of one record.

    Raises:
        ValueError: The class is not a record of the book.
    """
    path = f"{_shelf(kind)}/{quote(identifier, safe='')}"
    return Endpoint(path, RecordAnswer[kind])  # type: ignore[valid-type] # the class is known at run time


def _shelf(kind: type[Struct]) -> str:
    if kind not in RECORD_KINDS:
        raise ValueError(f"{kind!r} is not a kind of record; give a class such as featherline.wire.records.Film")
    return f"{BOOK.path}/{RECORD_KINDS[kind]}"
