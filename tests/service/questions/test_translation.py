"""Answers in the reader's language."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import msgspec
import pytest
from msgspec import UNSET, Struct, inspect
from msgspec.structs import replace

from featherline import _endpoints
from featherline.wire import records
from featherline.wire.costs import Order
from featherline.wire.fits import FitAnswer
from featherline.wire.offers import Offer
from featherline.wire.problems import Fault
from featherline.wire.records import LocalName, ShopMessage
from featherline.wire.trials import TrialRequest
from featherline.wire.verdicts import Parameter, Reason, ReasonCode
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.messages.catalogues import CUSTOMER, CUSTOMERS, signatures
from featherline_service.questions import translation
from featherline_service.questions.customers import offers
from featherline_service.questions.quote import quotes
from featherline_service.questions.translation import described, languages, texts, translated
from featherline_service.questions.trial import trials

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"


@pytest.fixture(scope="module")
def demo() -> Book:
    """The demo book, without names in other languages."""
    return load()


@pytest.fixture(scope="module")
def offer(demo: Book) -> Offer:
    """An offer with reasons: the example order, far too large for its panel."""
    order = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
    placement = order.placements[0]
    large = replace(placement, artwork=replace(placement.artwork, height="90 mm"))
    return offers.of_quote(quotes.compose(demo, replace(order, placements=(large, *order.placements[1:]))))


def own(book: Book, *messages: ShopMessage, films: Any = None) -> Book:  # noqa: ANN401 - the records
    """Return a book with messages and films of its own."""
    return replace(book, bench=replace(book.bench, messages=messages), films=films or book.films)


class Answer(Struct, frozen=True):
    """An answer with reasons at several depths."""

    reasons: tuple[Reason, ...]
    offer: Offer | None = None
    name: str = "as it is"


def test_in_english_an_answer_is_as_it_was_computed(offer: Offer, demo: Book) -> None:
    """Nothing is made anew, where the book says nothing else."""
    assert translated(offer, demo, "en") is offer


@pytest.mark.parametrize(
    ("language", "start"),
    [("de", "Das passt dort nicht hin"), ("fr", "Cela ne tient pas"), ("es", "No cabe en ese lugar"), ("en-XA", "[Îţ")],
)
def test_every_sentence_for_a_customer_is_in_the_language(offer: Offer, demo: Book, language: str, start: str) -> None:
    """All else of the answer stays: codes, subjects, parameters, prices; in the pseudo-locale no sentence is plain."""
    answer = translated(offer, demo, language)
    (largest,) = {
        (value.unit, value.decimals, isinstance(value.value, float))
        for reason in answer.reasons
        if reason.code == "fit.outside"
        for value in reason.parameters
        if value.name == "largest"
    }
    assert ("mm", 1, True) == largest
    assert any(reason.sentence.startswith(start) for reason in answer.reasons)
    assert [reason.sentence for reason in answer.reasons] != [reason.sentence for reason in offer.reasons]
    assert offer == replace(
        answer,
        reasons=tuple(
            replace(reason, sentence=same.sentence) for reason, same in zip(answer.reasons, offer.reasons, strict=True)
        ),
    )
    if language == "en-XA":
        plain = [reason.sentence for reason in answer.reasons if re.search(r"\b(the|it|or|make)\b", reason.sentence)]
        assert [] == plain


def test_a_shop_has_its_own_words_also_in_english(offer: Offer, demo: Book) -> None:
    """A message of the book takes the place of the service's; for a new language the others are English, and say so."""
    english = own(demo, ShopMessage(language="en", message="customer.fit.outside", pattern="Too big, love."))
    told = {reason.code: reason for reason in translated(offer, english, "en").reasons}
    assert "Too big, love." == told["fit.outside"].sentence
    dutch = own(demo, ShopMessage(language="nl", message="customer.fit.outside", pattern="Dat past daar niet."))
    told = {reason.code: reason for reason in translated(offer, dutch, "nl").reasons}
    assert ("Dat past daar niet.", UNSET) == (told["fit.outside"].sentence, told["fit.outside"].language)
    others = [reason for code, reason in told.items() if code != "fit.outside"]
    assert {"en"} == {reason.language for reason in others}
    assert {reason.sentence for reason in offer.reasons} >= {reason.sentence for reason in others}


def test_a_plug_ins_reason_keeps_its_words_unless_the_shop_has_others(demo: Book) -> None:
    """Its message is its code where it names none, and its parameters are what a pattern of the book may say."""
    width = Parameter(name="width", value=12.5, unit="mm", decimals=1)
    reason = Reason(code="club.wide", verdict="trial", subject="", sentence="Wide.", parameters=(width,))
    answer = Answer((reason,))
    assert answer == translated(answer, demo, "de")
    german = own(demo, ShopMessage(language="de", message="club.wide", pattern="{width} breit."))
    assert "12,5\u00a0mm breit." == translated(answer, german, "de").reasons[0].sentence


def test_records_are_said_by_their_name_in_the_language(demo: Book) -> None:
    """The name that the shop writes in a language, else the one that it writes first; also in English."""
    film = replace(
        demo.films["smooth"],
        names=(LocalName(language="de", name="Glatte Folie"), LocalName(language="en", name="Smooth")),
    )
    pattern = ShopMessage(language="de", message="club.film", pattern="{film}, {other}")
    english = ShopMessage(language="en", message="club.film", pattern="{film}")
    reason = Reason(
        code="club.film",
        verdict="ready",
        subject="",
        sentence="-",
        parameters=(
            Parameter(name="film", value="smooth", record="films"),
            Parameter(name="other", value="flock", record="films"),
        ),
    )
    flock = replace(demo.films["flock"], names=())
    book = own(demo, pattern, english, films={**demo.films, "smooth": film, "flock": flock})
    assert f"Glatte Folie, {demo.films['flock'].name}" == translated(Answer((reason,)), book, "de").reasons[0].sentence
    assert "Smooth" == translated(Answer((reason,)), book, "en").reasons[0].sentence
    only_named = own(demo, films={**demo.films, "smooth": film})
    assert Answer((reason,)) == translated(Answer((reason,)), only_named, "en")


def test_only_fields_with_sentences_are_looked_at() -> None:
    """Of a fit's answer the fit, of the fit its reasons; of an answer without any, nothing."""
    assert ("reasons", "offer") == translation._fields(Answer)
    assert ("fit",) == translation._fields(FitAnswer)
    assert () == translation._fields(Parameter)


def test_languages_are_the_services_the_books_and_the_pseudo_locales(demo: Book) -> None:
    """A reader is told of all but the pseudo-locales: which are checked, and what is missing for customers."""
    dutch = own(demo, ShopMessage(language="nl", message="customer.fit.outside", pattern="Dat past daar niet."))
    assert ("en", "de", "es", "fr", "nl", "en-XA", "ar-XB") == languages(dutch)
    customers = sum(message.startswith(CUSTOMERS) for message in signatures())
    assert [
        ("en", "English", True, 0),
        ("de", "Deutsch", False, 0),
        ("es", "español", False, 0),
        ("fr", "français", False, 0),
        ("nl", "nl", False, customers - 1),
    ] == [(it.language, it.name, it.checked, it.lacks) for it in described(dutch)]
    assert "\u202e" in texts(demo, "ar-XB").say("customer.fit.heel", (), lambda kind, id_: kind + id_).text


CODES_OF_OTHERS = {"heat.film-longest": "heat.worst-case.bond"}


def test_every_reason_of_the_service_has_a_message() -> None:
    """Each code is the start of the id of a message, or shares that of another code."""
    of_shop = [message for message in signatures() if not message.startswith(CUSTOMER)]
    told = {code: CODES_OF_OTHERS.get(code, code) for code in get_args(ReasonCode)}
    assert [] == [
        code
        for code, start in told.items()
        if not any(message == start or message.startswith(f"{start}.") for message in of_shop)
    ]


@pytest.mark.parametrize(
    ("name", "type_"), [("walk-in", Order), ("clog", Order), ("quote-request", Order), ("trial-request", TrialRequest)]
)
def test_no_reason_is_plain_in_the_pseudo_locale(demo: Book, name: str, type_: type[Order | TrialRequest]) -> None:
    """Whatever a shoe that is tried or declined is told, every sentence comes of a message, and has its audience."""
    request = msgspec.json.decode((EXAMPLES / f"{name}.json").read_bytes(), type=type_)
    answer = quotes.compose(demo, request) if isinstance(request, Order) else trials.plan(demo, request)
    accented = translated(answer, demo, "en-XA")
    assert accented.reasons or name == "quote-request"
    assert [] == [reason for reason in accented.reasons if not reason.sentence.startswith("[")]
    assert [] == [reason for reason in accented.reasons if reason.audience is UNSET or reason.message == ""]
    assert [] == [told for told in said_in(accented) if not told.startswith("[")]


def said_in(value: object) -> Iterator[str]:
    """Yield the sentences of an answer that have, or should have, a message."""
    if isinstance(value, tuple):
        for item in value:
            yield from said_in(item)
    elif isinstance(value, Struct):
        if translation.is_said(type(value)):
            yield value.sentence  # type: ignore[attr-defined] # of a type that is said
        for name in value.__struct_fields__:
            if f"{name}_messages" in value.__struct_fields__:
                yield from getattr(value, name)
            yield from said_in(getattr(value, name))


NOT_SENTENCES = {
    "alternative", "code", "colour", "convention", "d", "distribution", "do", "engine", "family", "harm", "height",
    "id", "kid", "kind", "layer", "message", "name", "observation", "of", "origin", "outline", "parameter", "path",
    "png", "pointer", "reading", "record", "reference", "scripts", "source", "subject", "svg", "text", "unit", "value",
    "version", "what", "x", "above", "bound_by",
}  # fmt: skip
"""Fields with names, ids, words of a closed set, drawings, and texts of the caller or of the shop."""
ENGLISH_AS_YET = {
    ("Agreement", "sentence"),
    ("CalibratedQuantity", "sentence"),
    ("CostLine", "detail"),
    ("NextReading", "sentence"),
    ("ReadingAgreement", "sentence"),
    ("SealCheck", "sentence"),
    ("SealToday", "sentence"),
    ("TracingAnswer", "cautions"),
}
"""Sentences of answers that have no message yet."""


def test_every_sentence_of_an_answer_has_its_message() -> None:
    """In its own type, or in a field beside it; all others are known and written down here."""
    lacking = {
        (type_.__name__, field.name)
        for type_, fields_ in answer_types().items()
        for field in fields_
        if is_text(field.type)
        and field.name not in NOT_SENTENCES
        and not (translation.is_said(type_) and field.name in {"sentence", "detail"})
        and not {f"{field.name}_messages", f"{field.name}_message"} & {other.name for other in fields_}
        and type_ is not Fault
    }
    assert ENGLISH_AS_YET == lacking


def answer_types() -> dict[type[Struct], tuple[inspect.Field, ...]]:
    """Return the types that answers are made of, but for records of the book, with their fields."""
    found: dict[type[Struct], tuple[inspect.Field, ...]] = {}

    def add(type_: inspect.Type) -> None:
        match type_:
            case inspect.Metadata():
                add(type_.type)
            case inspect.UnionType():
                for member in type_.types:
                    add(member)
            case inspect.VarTupleType():
                add(type_.item_type)
            case inspect.StructType(cls=cls) if cls not in found and cls.__module__ != records.__name__:
                found[cls] = type_.fields
                for field in type_.fields:
                    add(field.type)
            case _:
                pass

    for endpoint in vars(_endpoints).values():
        if isinstance(endpoint, _endpoints.Endpoint) and "Record" not in endpoint.answer.__name__:
            add(inspect.type_info(endpoint.answer))
    return found


def is_text(type_: inspect.Type) -> bool:
    """Return whether a field may have any text."""
    match type_:
        case inspect.Metadata():
            return is_text(type_.type)
        case inspect.UnionType():
            return any(is_text(member) for member in type_.types)
        case inspect.VarTupleType():
            return is_text(type_.item_type)
        case _:
            return isinstance(type_, inspect.StrType) and type_.pattern is None
