"""What keys of pages and tills get over HTTP, and whose seals a checkout takes."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any

import httpx2
import pytest
from msgspec import Struct
from msgspec.structs import asdict, replace
from page_keys import ORIGIN, Shop

from featherline.wire.money import Charge
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.web.openapi.description import OPERATIONS
from featherline_service.web.routes.questions import OFFERS

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"

Json = dict[str, Any]


def example(name: str) -> Any:  # noqa: ANN401 - JSON
    """Return an example request."""
    return json.loads((EXAMPLES / f"{name}.json").read_bytes())


def order(text: str = "MARLOW", **fields: object) -> Json:
    """Return an order of a text, as a page asks it."""
    asked: Json = {name: value for name, value in example("quote-request").items() if name not in {"press", "policy"}}
    (placement,) = asked["placements"]
    asked["placements"] = [{**placement, "artwork": {**placement["artwork"], "text": text, "height": "9 mm"}}]
    return {**asked, **fields}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """A service with keys."""
    return Shop(load(), Path(tmp_path_factory.mktemp("keys")))


def content(seal: str) -> Json:
    """Return what a seal vouches for."""
    found: Json = json.loads(base64.urlsafe_b64decode(seal.split(".")[1] + "=="))
    return found


def test_a_page_is_told_where_its_answers_are(shop: Shop) -> None:
    """Each question that has an offer names its path; of what is the shop's own business nothing is for customers."""
    refused = [
        operation for operation in OPERATIONS if operation.scope and "price" not in (operation.scope, *operation.also)
    ]
    assert {"/v1/quotes", "/v1/costs", "/v1/bulk", "/metrics", "/v1/hand-prices"} < {each.path for each in refused}
    for operation in refused:
        answer = shop.ask(
            operation.method, operation.path.format(kind="films", id="smooth", address="none.svg", paper="a4"), "till"
        )
        offer = OFFERS.get(operation.id)
        said = "Nothing of it is for customers" if offer is None else f"Ask {offer.path} instead"
        assert (403, True) == (answer.status_code, said in answer.json()["detail"])


def test_an_offer_is_by_the_pins_and_sealed_for_its_key(shop: Shop) -> None:
    """The policy is the key's first; the order in the seal is as it was asked, and the seal names key and owner."""
    offer = shop.post("/v1/offers", "page", order()).json()
    sealed = content(offer["seal"]["text"])
    assert ("letters", "letters") == (offer["price"]["policy"], sealed["policy"])
    assert ("page", "customer", False) == (sealed["audience"], sealed["owner"], "policy" in sealed["order"])
    for key, body in (
        ("page", {"seal": offer["seal"]["text"], "order": order()}),
        ("ask", {"seal": offer["seal"]["text"]}),
    ):
        assert "valid" == shop.post("/v1/seals/check", key, body).json()["status"]


def test_what_contradicts_the_pins_is_refused_with_pointers(shop: Shop) -> None:
    """Policy, owner and film, each where it stands; also in a line of bulk."""
    wrong = order(policy="club", owner="shop")
    wrong["placements"][0]["film"] = "flake"
    wrong["propose"] = {"films": ["smooth", "flake"]}
    answer = shop.post("/v1/offers", "page", wrong)
    assert 422 == answer.status_code
    assert ["/placements/0/film", "/propose/films/1", "/owner", "/policy"] == [
        fault["pointer"] for fault in answer.json()["errors"]
    ]

    line = json.dumps({"kind": "fit", "request": example("fit-request")}).encode()
    (problem,) = map(json.loads, shop.post("/v1/bulk", "bulk", line).text.splitlines())
    assert (422, ["/request/film"]) == (problem["status"], [fault["pointer"] for fault in problem["problem"]["errors"]])


def test_a_key_of_pages_is_refused_elsewhere(shop: Shop) -> None:
    """A request from another origin, or from none, is told which pages the key is for."""
    good = shop.post("/v1/offers", "site", order(), origin=ORIGIN)
    other, none = (shop.post("/v1/offers", "site", order(), **shown) for shown in ({"origin": "https://x.test"}, {}))
    assert (200, 403, 403) == (good.status_code, other.status_code, none.status_code)
    assert ORIGIN in other.json()["detail"]
    assert ("is of another" in other.json()["detail"], "names no origin" in none.json()["detail"]) == (True, True)


def test_a_page_takes_its_own_seals_alone(shop: Shop) -> None:
    """Another key's seal is refused, unless the caller names that key; one for another order is refused."""
    seals = {key: shop.post("/v1/offers", key, order()).json()["seal"]["text"] for key in ("page", "till")}
    checks = [
        ("page", {"seal": seals["till"]}),
        ("page", {"seal": seals["page"], "order": order("SCHOONER")}),
        ("ask", {"seal": seals["till"], "audience": "page"}),
        ("ask", {"seal": seals["till"], "audience": "till"}),
        ("page", {"seal": seals["till"], "audience": "till"}),
    ]
    answers = [shop.post("/v1/seals/check", key, body).json() for key, body in checks]
    assert ["tampered", "tampered", "tampered", "valid", "valid"] == [answer["status"] for answer in answers]
    assert [None, None, None] == [answer["quote"] for answer in answers[:3]]


def test_an_offer_is_in_the_readers_language(shop: Shop) -> None:
    """The head names the language, the answer varies by it, and only its sentences are others."""
    asked = order()
    asked["placements"][0]["artwork"]["height"] = "90 mm"
    english, german = (shop.post("/v1/offers", "page", asked, **{"accept-language": to}) for to in ("nl", "de-AT"))
    assert ("en", "de") == (english.headers["content-language"], german.headers["content-language"])
    assert "Accept-Language" in german.headers["vary"]
    both = [{reason["code"]: reason["sentence"] for reason in answer.json()["reasons"]} for answer in (english, german)]
    assert both[0].keys() == both[1].keys()
    assert both[0]["fit.outside"].startswith("It does not fit there")
    assert both[1]["fit.outside"].startswith("Das passt dort nicht hin")
    assert {**english.json(), "reasons": []} == {**german.json(), "reasons": []}


def test_lines_of_bulk_follow_the_request(shop: Shop) -> None:
    """Each line's reasons are in the language of the request that it came with."""
    fit = {**example("fit-request"), "film": "flake", "colour": None}
    fit["artwork"] = {"kind": "text", "text": "MARLOW", "font": "plain", "height": "90 mm"}
    line = json.dumps({"kind": "fit", "request": fit}).encode() + b"\n"
    answer = shop.post("/v1/bulk", "bulk", line, **{"accept-language": "fr-CH, fr;q=0.9"})
    assert "fr" == answer.headers["content-language"]
    reasons = json.loads(answer.content)["answer"]["fit"]["reasons"]
    assert any(reason["sentence"].startswith("Le motif dépasse") for reason in reasons)


def test_a_fault_has_a_code_and_is_in_the_readers_language(shop: Shop) -> None:
    """What customers can do wrong is said in their language; what is not translated yet says that it is English."""
    wrong = order("\u6f22")
    wrong["pairs"] = "two"
    rows = {"order": {**order("{name}")}, "rows": [{"fields": {"name": "\u6f22"}}, {"fields": {}}]}
    german = {"accept-language": "de"}
    (untyped,) = shop.post("/v1/offers", "page", wrong, **german).json()["errors"]
    (glyph,) = shop.post("/v1/offers", "page", order("\u6f22"), **german).json()["errors"]
    answer = shop.post("/v1/offers/rosters", "page", rows, **german).json()
    row, missing = (row["faults"][0] for row in answer["rows"])
    assert ("wrong-value", "en", "/pairs") == (untyped["code"], untyped["language"], untyped["pointer"])
    assert untyped["detail"].startswith("Expected a whole number")
    assert ["text.lacks-glyphs"] * 2 == [glyph["code"], row["code"]]
    assert glyph["detail"].startswith("In der Schrift Fjalla One fehlt ")
    assert glyph["detail"] == row["detail"]
    assert "language" not in glyph
    assert ("missing", "en") == (missing["code"], missing["language"])


def test_a_price_by_hand_is_sealed_for_the_shop_and_taken_where_that_is_said(shop: Shop) -> None:
    """Its seal says by-hand; a check refuses it unless it takes such prices, and no other key may have one."""
    asked = {"order": order(), "each": {"amount": "5.00", "currency": "EUR"}}
    answer = shop.post("/v1/hand-prices", "shop", asked).json()
    seal = answer["seal"]["text"]
    assert ("by-hand", "5.00", "5.00", "shop") == (
        content(seal)["kind"], content(seal)["each"]["amount"], answer["total"]["amount"], content(seal)["audience"],
    )  # fmt: skip
    taken = [
        shop.post("/v1/seals/check", "ask", {"seal": seal, "by_hand": by_hand}).json() for by_hand in (False, True)
    ]
    assert ["tampered", "valid"] == [check["status"] for check in taken]
    assert "set by hand" in taken[0]["sentence"]
    assert [403] * 4 == [
        shop.post("/v1/hand-prices", key, asked).status_code for key in ("ask", "page", "till", "bulk")
    ]
    assert None is shop.post("/v1/hand-prices", "shop", {**asked, "order": example("clog")}).json()["seal"]


def test_a_key_of_the_shop_sees_as_much_as_before(shop: Shop) -> None:
    """The quote of a key with the scope `ask` has its cost, and offers are open to it, too."""
    assert 0 < len(shop.post("/v1/quotes", "ask", order()).json()["cost"]["lines"])
    assert 200 == shop.post("/v1/offers", "ask", order(press="swing", prepared=True)).status_code


SECRET = {"rates": None, "covers": {"price"}, "policies": {"share"}, "benches": {"clearance_mm"}, "cutters": None}
SECRET |= {
    "shoes": {"pair_value"},
    "films": {"roll", "finest", "cutting", "setting", "adhesive", "peel", "overpressing"},
}
SECRET |= {"presses": {"coolest_c", "hottest_c", "opening_mm"}, "platens": {"rim_mm"}}
"""Fields of records that are costs, rates, limits or settings, by kind; None: all that are numbers."""


class Marking:
    """Gives each secret figure of a book a value that occurs nowhere else."""

    def __init__(self) -> None:
        self.figures: list[float] = []
        self._numbers = count(30)

    def mark(self, value: Any) -> Any:  # noqa: ANN401 - a part of a record
        """Return a part of a record with its numbers marked, but for temperatures, which a press has in whole steps."""
        match value:
            case Charge(amount=amount) if float(amount):
                return replace(value, amount=f"{self._figure(float(amount)):.6f}")
            case str() if re.fullmatch(r"0\.[0-9]*[1-9]", value):
                return f"{self._figure(float(value)):.6f}"
            case float() if value:
                return self._figure(value)
            case Struct():
                return replace(
                    value,
                    **{
                        name: self.mark(part)
                        for name, part in asdict(value).items()
                        if name != "cites" and not name.endswith("_c")
                    },
                )
            case tuple():
                return tuple(map(self.mark, value))
            case _:
                return value

    def _figure(self, value: float) -> float:
        """Return a figure near a value, and keep it."""
        figure = value
        while figure == value or figure in self.figures:
            figure = round(value * (1.0 + 0.000_013 * next(self._numbers)), 6)
        self.figures.append(figure)
        return figure


def marked_book() -> tuple[Book, list[float]]:
    """Return the demo book with its secret figures marked, and these."""
    book, marking = load(), Marking()
    shelves: dict[str, Any] = {}
    for kind, fields in SECRET.items():
        shelf = {"bench": book.bench} if kind == "benches" else getattr(book, kind)
        marked = {
            name: replace(
                record,
                **{
                    field: marking.mark(part)
                    for field, part in asdict(record).items()
                    if field not in {"cites", "id", "name", "currency"} and (fields is None or field in fields)
                },
            )
            for name, record in shelf.items()
        }
        shelves |= {"bench": marked["bench"]} if kind == "benches" else {kind: marked}
    return replace(book, **shelves), marking.figures


NUMBER = re.compile(r"(?<![\w.])-?[0-9]+(?:\.[0-9]+)?(?![\w]|\.[0-9])")
PRICED = {"price", "each", "paid", "price_list", "quantities", "text", "book", "engine", "expires", "outline"}
SIZED = {
    "sizes",
    "width_mm",
    "height_mm",
    "width_px",
    "height_px",
    "letter_height_mm",
    "largest",
    "largest_letters",
    "order",
    "sealed",
    "digest",
}


def leaks(text: str, figures: list[float]) -> set[str]:
    """Return the numbers in a text of three digits or more that are one of the figures, as it is or rounded."""
    found = set()
    for token in NUMBER.findall(text):
        digits = len(token.partition(".")[2])
        if len(token.strip("-").replace(".", "").lstrip("0")) >= 3 and any(
            f"{figure:.{digits}f}" == token.lstrip("-") for figure in figures
        ):
            found.add(token)
    return found


def searched(value: Any) -> Iterator[str]:  # noqa: ANN401 - JSON
    """Yield all of an answer but what a customer pays, and the sizes of what is marked."""
    match value:
        case dict():
            for name, part in value.items():
                yield name
                if name == "svg" and str(part).startswith("<svg"):
                    yield from re.findall(r">([^<]+)<", part)
                elif name not in PRICED | SIZED:
                    yield from searched(part)
        case list():
            for part in value:
                yield from searched(part)
        case _:
            yield str(value)


def words(answer: httpx2.Response) -> str:
    """Return what is searched of an answer: its headers, and its body or what the words of a picture say."""
    headers = " ".join(f"{name}: {value}" for name, value in answer.headers.items() if "length" not in name)
    if answer.headers.get("content-type", "").startswith("image/"):
        # Figures that stand alone are the dimensions of the drawing.
        texts = [text for text in re.findall(r">([^<]+)<", answer.text) if not re.fullmatch(r"[0-9.]+", text)]
        return headers + re.sub(r"The artwork is [0-9.]+ mm wide and [0-9.]+ mm high\.", "", " ".join(texts))
    if "json" in answer.headers.get("content-type", ""):
        found = answer.json()
        seal = (found.get("seal") or {}).get("text") if isinstance(found, dict) else None
        return " ".join([headers, *searched(found), *(searched(content(seal)) if isinstance(seal, str) else ())])
    return headers + answer.text


def asked_by_page() -> Iterator[tuple[str, str, object, dict[str, str]]]:
    """Yield requests to all operations that a page may try: examples, mistakes, and orders that are declined."""
    for operation in OPERATIONS:
        if operation.path == "/v1/tracing-sheets/{paper}":
            continue  # public, and the same for every book
        path = operation.path.format(kind="films", id="smooth", address="none.svg")
        names = [name for name, _ in operation.examples if name is not None]
        for accept in operation.media_types:
            for name in names or [None]:
                if name is None or name == "bulk-request":
                    yield operation.method, path, None if name is None else b"{}", {"accept": accept}
                    continue
                yield operation.method, path, example(name), {"accept": accept}
                yield operation.method, path, {}, {"accept": accept}
                yield operation.method, path, b"{", {"accept": accept}
    small, large = order("marlow of the quay"), order("MARLOW OF THE QUAY")
    small["placements"][0]["artwork"] = {**small["placements"][0]["artwork"], "height": "3 mm"}
    small["placements"][0]["film"], small["placements"][0]["colour"] = "flake", "gold"
    large["placements"][0]["artwork"] = {**large["placements"][0]["artwork"], "height": "63 mm"}
    for body in (
        *(order(), small, large, order("\u2603"), order(policy="none"), order(rush=True), order(pairs=0)),
        *(order(quantities=[10, 50], pairs=5), order(press="swing", offcuts=[], prepared=True), order(hours_a_day=6)),
        *({**order(), "shoe": example("clog")["shoe"]}, {**example("clog"), "press": None}),
        {name: part for name, part in example("walk-in").items() if name not in {"press", "policy"}},
    ):
        yield "POST", "/v1/offers", body, {}
        yield "POST", "/v1/offers/from-prices", {"candidates": [body]}, {}
        yield "POST", "/v1/offers/rosters", {"order": body, "rows": [{}, {"pairs": 3}], "seal": True}, {}
        (placement, *_) = body["placements"]
        fit = {"shoe": body["shoe"], **{name: placement[name] for name in ("panel", "film", "colour", "artwork")}}
        for accept in ("application/json", "image/svg+xml"):
            yield "POST", "/v1/offers/fits", fit, {"accept": accept}


@pytest.mark.slow
def test_nothing_of_the_shops_own_reaches_a_page(tmp_path: Path) -> None:
    """No answer, picture, seal, header or problem has a cost, rate, limit or setting of a book with odd figures.

    The shop's own answers have many: the search would see them.
    """
    book, figures = marked_book()
    shop = Shop(book, tmp_path)
    assert len(figures) == len(set(figures)) > 150
    statuses, verdicts = set(), set()
    for method, path, body, headers in asked_by_page():
        for key in ("till", "page"):
            answer = shop.ask(method, path, key, body, **headers)
            statuses.add(answer.status_code)
            verdicts |= {answer.json()["verdict"]} if path == "/v1/offers" and answer.is_success else set()
            said = words(answer)
            if path != "/openapi.json" and not path.startswith("/docs"):
                assert set() == leaks(said, figures), (path, said)
                assert not re.search(r"\d ?(degC|degF|kPa|°C)|EUR/h|margin|markup", said), (path, said)
    assert ({200, 400, 403, 404, 422}, {"ready", "trial", "decline"}) == (statuses, verdicts)

    ours = words(shop.post("/v1/quotes", "ask", example("quote-request")))
    assert 8 < len(leaks(ours, figures))
    declined = order("marlow of the quay")
    declined["placements"][0]["artwork"] = {**declined["placements"][0]["artwork"], "height": "3 mm"}
    assert leaks(words(shop.post("/v1/quotes", "ask", declined)), figures)


def drawn(**fields: object) -> Json:
    """Return an order whose artwork has other fields."""
    asked = order()
    (placement,) = asked["placements"]
    return {**asked, "placements": [{**placement, "artwork": {**placement["artwork"], **fields}}]}


def placed(**fields: object) -> Json:
    """Return an order whose placement has other fields."""
    asked = order()
    return {**asked, "placements": [{**asked["placements"][0], **fields}]}


def shod(**fields: object) -> Json:
    """Return an order for another shoe."""
    asked = order()
    return {**asked, "shoe": {**asked["shoe"], **fields}}


TYPED = [
    ("text.empty", drawn(text=""), "Schreiben Sie mindestens"),
    ("text.no-ink", drawn(text="  "), "nur Leerzeichen"),
    ("text.too-long", drawn(text="W" * 201), "höchstens 200"),
    ("text.too-many-lines", drawn(text="A\n" * 13), "mehr als 12 Zeilen"),
    ("text.character", drawn(text="MAR\u200bLOW"), "Lassen Sie es weg"),
    ("text.lacks-glyphs", drawn(text="MARLOW \u4e16"), "Wählen Sie eine andere Schrift"),
    ("text.longer-than-circle", drawn(text="MARLOW AND SONS OF THE QUAY", arc=1.5), "größeren Radius"),
    ("height.unusable", drawn(height="0 mm"), "ist keine Höhe"),
    ("letters.bounds-swapped", drawn(height=None, letter_height="largest", letters_from="9 mm", letters_to="8 mm"),
     "Vertauschen Sie"),
    ("artwork.too-large", drawn(height="900 mm"), "höchstens"),
    ("colour.not-in-film", placed(colour="tartan"), "in der Farbe „tartan“"),
    ("colour.not-made", shod(colour="tartan"), "gibt es nicht in „tartan“"),
    ("size.unknown", shod(size={"system": "EU", "value": "42.3"}), "ganze, halbe und Drittelgrößen"),
    ("size.not-made", shod(size={"system": "EU", "value": "20"}), "nicht in EU 20"),
    ("panel.not-there", placed(panel="sole"), "kein Schaftteil „sole“"),
    ("pairs.out-of-bounds", order(pairs=0), "von 1 bis 10.000 Paaren"),
    ("no-such-record", shod(shoe="court-train"), "keinen Schuh „court-train“"),
]  # fmt: skip
"""What a customer types or chooses, the code of the fault, and German words of its detail."""


@pytest.mark.parametrize(("code", "asked", "said"), TYPED, ids=[code for code, _, _ in TYPED])
def test_what_a_customer_types_wrongly_is_told_in_the_customers_language(
    shop: Shop, code: str, asked: Json, said: str
) -> None:
    """Title, detail and fault are German, and the answer says so; in the pseudo-locale all is made of messages."""
    german, accented = (
        shop.post("/v1/offers", "till", asked, **{"accept-language": language}) for language in ("de", "en-XA")
    )
    assert (422, "de") == (german.status_code, german.headers["content-language"])
    problem = german.json()
    assert "Die Anfrage ist verständlich, lässt sich aber so nicht bearbeiten" == problem["title"]
    assert problem["detail"].startswith("1 Fehler in der Anfrage")
    assert [code] == [fault["code"] for fault in problem["errors"]]
    assert said in problem["errors"][0]["detail"]
    assert all("language" not in fault for fault in problem["errors"])
    told = accented.json()
    assert ["[", "[", "["] == [text[0] for text in (told["title"], told["detail"], told["errors"][0]["detail"])]


def test_what_only_a_program_writes_is_told_in_english(shop: Shop) -> None:
    """Such a fault says that it is English; beside a customer's the rest is in the reader's language."""
    asked = {**order(pairs=0), "tide": 3}
    answer = shop.post("/v1/offers", "till", asked, **{"accept-language": "es"})
    faults = {fault["code"]: fault for fault in answer.json()["errors"]}
    assert ("es", None) == (answer.headers["content-language"], faults["pairs.out-of-bounds"].get("language"))
    assert "en" == faults["unknown-field"]["language"]
