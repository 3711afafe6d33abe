"""Both clients in front of the real service with the demo book."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx2
import msgspec
import pytest

from featherline import AsyncClient, Client, NotFound, RequestRefused, RevisionGone, seals
from featherline._endpoints import RECORD_KINDS
from featherline.wire import (
    ArtworkRequest,
    Charge,
    CostRequest,
    Film,
    FitRequest,
    FromPriceRequest,
    HandPriceRequest,
    MatrixRequest,
    Order,
    OrderWork,
    PictureRequest,
    RecipeRequest,
    Roster,
    ShoeModel,
    TracingQuery,
    TrialRequest,
)
from featherline.wire.shoes import MeasuredPanel, Traced
from featherline.wire.tracings import PanelDrawing, TracingAnswer, TracingQuality
from featherline_service.questions import tracings
from featherline_service.questions.tracings import TracingAsked

Ask = Callable[[Callable[[AsyncClient], Awaitable[Any]]], Any]

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)  # the time of the service of these tests
EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
REQUESTS = [
    ("quote", "quote-request", Order),
    ("quote", "walk-in", Order),
    ("quote", "clog", Order),
    ("recipe", "recipe-request", RecipeRequest),
    ("fit", "fit-request", FitRequest),
    ("artwork", "artwork-request", ArtworkRequest),
    ("artwork", "artwork-request-drawing", ArtworkRequest),
    ("cost", "cost-request", CostRequest),
    ("cost", "cost-request-measures", CostRequest),
    ("roster", "roster-request", Roster),
    ("from_price", "from-price-request", FromPriceRequest),
    ("matrix", "matrix-request", MatrixRequest),
    ("trial", "trial-request", TrialRequest),
]
PICTURES = [
    ("fit-request", FitRequest, "image/svg+xml", b"<svg "),
    ("recipe-request", RecipeRequest, "image/svg+xml", b"<svg "),
    ("matrix-request", MatrixRequest, "image/svg+xml", b"<svg "),
    ("quote-request", Order, "text/html", b"<!doctype html>"),
    ("walk-in", Order, "application/pdf", b"%PDF-"),
]


def example(name: str, kind: Any) -> Any:  # noqa: ANN401 - the kind's own type
    """Return an example request."""
    return msgspec.json.decode((EXAMPLES / f"{name}.json").read_bytes(), type=kind)


@pytest.fixture
def ask_asynchronously(app: Any) -> Ask:  # noqa: ANN401
    """Run a function of an asynchronous client of the real service."""

    def ask(question: Callable[[AsyncClient], Awaitable[Any]]) -> Any:  # noqa: ANN401
        async def run() -> Any:  # noqa: ANN401
            async with AsyncClient("http://saltmarsh.test", transport=httpx2.ASGITransport(app)) as client:
                return await question(client)

        return asyncio.run(run())

    return ask


@pytest.mark.parametrize(("method", "name", "kind"), REQUESTS)
def test_both_clients_get_the_same_answer(
    client: Client,
    ask_asynchronously: Ask,
    method: str,
    name: str,
    kind: Any,  # noqa: ANN401 - a class or a union
) -> None:
    """Each example has the same answer for both clients."""
    request = example(name, kind)
    assert ask_asynchronously(lambda asynchronous: getattr(asynchronous, method)(request)) == getattr(client, method)(
        request
    )


@pytest.mark.parametrize("picture", PICTURES)
def test_both_clients_get_the_same_picture(
    client: Client, ask_asynchronously: Ask, picture: tuple[str, Any, Any, bytes]
) -> None:
    """Each picture has its media type, and the same bytes for both clients."""
    name, kind, media_type, begin = picture
    request = example(name, kind)
    content = client.picture(request, media_type)
    assert content.startswith(begin)
    assert ask_asynchronously(lambda asynchronous: asynchronous.picture(request, media_type)) == content


def test_both_clients_get_the_same_sheet_and_the_same_refusal_of_a_photo(
    client: Client, ask_asynchronously: Ask
) -> None:
    """The sheet comes as PDF or SVG; what is no picture is refused with what to do, whichever form is asked for."""
    asked = TracingQuery(along="247 mm", across="156 mm", face="tongue")

    assert client.tracing_sheet("letter").startswith(b"%PDF-")
    assert ask_asynchronously(lambda asynchronous: asynchronous.tracing_sheet("a4", "image/svg+xml")).startswith(
        b"<svg "
    )
    for method, photo, kind in (("tracing", b"\xff\xd8", "jpeg"), ("tracing_picture", b"\x89PNG", "png")):
        with pytest.raises(RequestRefused, match=f"no picture of the type image/{kind}"):
            getattr(client, method)(photo, asked)
        with pytest.raises(RequestRefused, match=f"no picture of the type image/{kind}"):
            ask_asynchronously(lambda asynchronous, ask=method, sent=photo: getattr(asynchronous, ask)(sent, asked))


def test_a_drawing_is_read_as_a_panel_for_both_clients(client: Client, ask_asynchronously: Ask) -> None:
    """SVG and DXF are told from how they begin; what is asked of a drawing is its unit."""
    svg = b'\xef\xbb\xbf <svg xmlns="http://www.w3.org/2000/svg"><path d="M1 1H10V5H1Z"/></svg>'
    asked = TracingQuery(unit="cm", panel="vamp")
    answer = client.tracing(svg, asked)

    assert ("vamp", 90.0, 40.0, None) == (answer.drawing.id, answer.width_mm, answer.height_mm, answer.quality)
    assert answer == ask_asynchronously(lambda asynchronous: asynchronous.tracing(svg, asked))
    with pytest.raises(RequestRefused, match="no DXF file"):
        client.tracing(b"0\nSECTION\n", asked)


def test_a_photo_is_traced_for_both_clients(
    client: Client, ask_asynchronously: Ask, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The photo arrives as it is sent, with what is asked of it; the panel comes back typed."""
    heard = []

    def trace(asked: TracingAsked) -> TracingAnswer:
        heard.append(asked)
        shape = Traced(d="M0 0H60V30H0Z")
        panel = MeasuredPanel(panel=asked.query.panel, face=asked.query.face, shape=shape)
        drawing = PanelDrawing(id=asked.query.panel, face="toe", outline=shape.d, keep_outs=(), up_deg=180.0)
        quality = TracingQuality(
            paper="a4", marks=20, crosses=9, flat_within_mm=0.1, pixels_per_mm=4.0, edge_mm=0.5, contrast=150.0,
            tilt_deg=3.0, line_mm=0.8,
        )  # fmt: skip
        return TracingAnswer(
            panel=panel, drawing=drawing, width_mm=60.0, height_mm=30.0, area_mm2=1_800.0, off_mm=0.3,
            off_by_raised=0.1, eyelets=(), quality=quality, cautions=("Look at it.",), engine="0.1.0",
        )  # fmt: skip

    monkeypatch.setattr(tracings, "trace", trace)
    query = TracingQuery(along="247 mm", across="156 mm", panel="toe-cap", face="toe")

    answer = client.tracing(b"\x89PNG and more", query)

    assert MeasuredPanel(panel="toe-cap", face="toe", shape=Traced(d="M0 0H60V30H0Z")) == answer.panel
    assert 20 == answer.quality.marks
    assert answer == ask_asynchronously(lambda asynchronous: asynchronous.tracing(b"\x89PNG and more", query))
    assert [TracingAsked(content=b"\x89PNG and more", media_type="image/png", query=query)] * 2 == heard


def test_the_example_order_is_priced(client: Client) -> None:
    """MARLOW over 7 on a leather deck shoe is ready, and its price and cost add up to the cent."""
    answer = client.quote(example("quote-request", Order))
    assert answer.verdict == "ready"
    assert answer.cost is not None
    assert answer.price is not None
    assert sum(Decimal(line.amount.amount) for line in answer.cost.lines) == Decimal(answer.cost.total.amount)
    assert Decimal(answer.price.total.amount) == Decimal(answer.price.each.amount)
    assert Decimal(answer.cost.total.amount) < Decimal(answer.price.total.amount)


def test_the_example_recipe_is_common_practice(client: Client) -> None:
    """The setting is about half a minute at 160 degC under a thin siliconised cover (common practice, no source)."""
    setting = client.recipe(example("recipe-request", RecipeRequest)).recipe.setting
    assert setting is not None
    assert (setting.temperature_c, setting.temperature_f, setting.cover) == (160, 320, "silicone-thin")
    assert 25 <= setting.dwell_s <= 36


def test_a_fit_is_the_fit_of_the_quote(client: Client) -> None:
    """A fit has the same answer alone and in a quote."""
    [placement] = client.quote(example("quote-request", Order)).placements
    assert client.fit(example("fit-request", FitRequest)).fit == placement.fit


def test_an_artwork_has_the_measures_that_its_fit_has(client: Client) -> None:
    """An artwork has the same measures alone and on a panel, and the film of the fit can be cut to it."""
    fit = client.fit(example("fit-request", FitRequest))
    alone = client.artwork(ArtworkRequest(artwork=example("fit-request", FitRequest).artwork))
    assert (alone.artwork, fit.fit.verdict) == (fit.fit.artwork, "ready")
    assert "smooth" in alone.taken_by


def test_a_cost_is_the_cost_of_the_quote(client: Client) -> None:
    """A cost has the same answer alone and in a quote; it can be asked by measures, too."""
    order = example("quote-request", Order)
    answer, quote = client.cost(OrderWork(order=order)), client.quote(order)
    assert (answer.cost, answer.price, answer.declined) == (quote.cost, quote.price, ())
    assert client.cost(example("cost-request-measures", CostRequest)).price is not None


def test_a_walk_in_is_never_better_than_a_trial(client: Client) -> None:
    """A shoe known by its tongue label and a ruler is not ready, for the reason that it was measured."""
    answer = client.quote(example("walk-in", Order))
    assert answer.verdict != "ready"
    assert "shoe.measured" in {reason.code for reason in answer.reasons}


def test_a_clog_of_foam_is_declined(client: Client) -> None:
    """The answer has no cost and no price, and names the layer that heat would harm and the changes that help."""
    answer = client.quote(example("clog", Order))
    assert (answer.verdict, answer.cost, answer.price) == ("decline", None, None)
    assert any("EVA foam" in reason.sentence for reason in answer.reasons)
    assert answer.pressings[0].recipe.help


def test_the_book_is_read_whole(client: Client) -> None:
    """Every record of every kind is decoded into its type, and the book lists its id; a kind without any is empty."""
    listed = {shelf.kind: shelf.ids for shelf in client.book().kinds}
    read = {
        name: tuple(sorted(record.id for record in client.records(kind).records)) for kind, name in RECORD_KINDS.items()
    }
    assert {name: ids for name, ids in read.items() if ids} == {
        name: tuple(sorted(ids)) for name, ids in listed.items()
    }


def test_a_record_is_read_by_its_id(client: Client, ask_asynchronously: Ask) -> None:
    """A record is the same alone and in the list of its kind, for both clients."""
    [film] = [film for film in client.records(Film).records if film.id == "smooth"]
    assert client.record(Film, "smooth").record == film
    assert ask_asynchronously(lambda asynchronous: asynchronous.record(Film, "smooth")).record == film


def test_a_cart_is_answered_by_the_revision_that_it_pins(client: Client, ask_asynchronously: Ask) -> None:
    """Both clients' pinned ones ask for a revision, alone and in bulk; one that there is not is an error of its own."""
    order = example("quote-request", Order)
    revision = client.book().revisions[-1].revision
    cart = client.pinned(revision)
    [reply] = cart.bulk([order])
    assert {revision} == {cart.quote(order).book, reply.answer.book, client.quote(order).book}
    asked = ask_asynchronously(lambda asynchronous: asynchronous.pinned(revision).quote(order))
    assert (revision, None) == (asked.book, asked.book_until)
    other = f"sha256:{7:064x}"
    with pytest.raises(RevisionGone, match=f"This service has no revision {other}"):
        client.pinned(other).quote(order)
    with pytest.raises(RevisionGone):
        list(client.pinned(other).bulk([order]))
    with pytest.raises(ValueError, match="'counter' is no revision of a book; give one as answers name it in `book`"):
        client.pinned("counter")


def test_every_fault_of_an_order_is_named(client: Client) -> None:
    """An order with several faults is refused with a pointer to each."""
    order = example("quote-request", Order)
    wrong = msgspec.structs.replace(order.placements[0], film="velvet", panel="lid")
    with pytest.raises(RequestRefused) as caught:
        client.quote(msgspec.structs.replace(order, placements=(wrong,), press="mangle"))
    assert {fault.pointer for fault in caught.value.faults} == {
        "/placements/0/film",
        "/placements/0/panel",
        "/press",
    }


def test_an_unknown_record_is_not_found(client: Client) -> None:
    """The error lists the nearest ids."""
    with pytest.raises(NotFound, match="regatta-deck, "):
        client.record(ShoeModel, "regatta-dock")


def test_a_seal_is_checked_online_and_offline(client: Client, ask_asynchronously: Ask) -> None:
    """Both clients and the offline check return the same, and the digest is that of the order."""
    order = example("quote-request", Order)
    quote = client.quote(order)
    assert quote.seal is not None
    text = quote.seal.text
    checked = client.check_seal(text)
    assert checked.quote is not None
    assert quote.price is not None

    assert checked == ask_asynchronously(lambda asynchronous: asynchronous.check_seal(text))
    assert checked == seals.check(text, client.seal_keys(), at=NOON)
    assert ("valid", quote.price.total, seals.digest(order)) == (
        checked.status,
        checked.quote.total,
        checked.quote.digest,
    )


def test_a_forged_seal_is_an_answer(client: Client) -> None:
    """Its status is `tampered`; nothing is raised."""
    quote = client.quote(example("quote-request", Order))
    assert quote.seal is not None

    assert ("tampered", None) == (
        (checked := client.check_seal(quote.seal.text[:-20] + "A" * 20)).status,
        checked.quote,
    )


def test_a_checkout_says_which_order_and_whose_key(client: Client) -> None:
    """Online and offline, the seal of another order, of another key or of a price by hand is tampered."""
    order = example("quote-request", Order)
    by_hand = client.hand_price(HandPriceRequest(order=order, each=Charge(amount="8.50", currency="EUR")))
    offer, keys = client.offer(order), client.seal_keys()
    assert offer.seal is not None
    assert by_hand.seal is not None
    other = msgspec.structs.replace(order, pairs=2)
    cases: list[tuple[str, dict[str, Any], str]] = [
        (offer.seal.text, {"order": order}, "valid"),
        (offer.seal.text, {"order": other}, "tampered"),
        (offer.seal.text, {"audience": "page"}, "tampered"),
        (by_hand.seal.text, {"order": order}, "tampered"),
        (by_hand.seal.text, {"order": order, "by_hand": True}, "valid"),
    ]
    for seal, asked, status in cases:
        online = client.check_seal(seal, **asked)
        offline = {("request" if name == "order" else name): value for name, value in asked.items()}
        assert (status, status == "valid") == (online.status, online.quote is not None)
        assert online == seals.check(seal, keys, at=NOON, **offline)


def test_a_page_builds_its_form_and_shows_its_picture(client: Client) -> None:
    """The catalogue has the films of the book, and the offers and the picture of a fit are those of its paths."""
    films = [film.id for film in client.records(Film).records]
    fit, roster = example("fit-request", FitRequest), example("roster-request", Roster)
    assert films == [film.id for film in client.catalogue().films]
    assert client.fit(fit).fit.verdict == client.offer_fit(fit).verdict
    assert client.offer_picture(fit).startswith(b"<svg")
    asked = example("picture-request", PictureRequest)
    (picture,) = client.pictures(asked).pictures
    assert picture.address is not None
    assert (picture.svg or "").encode() == client.picture(asked, "image/svg+xml")
    assert client.picture(asked, "image/png").startswith(b"\x89PNG")
    assert client.roster(roster).verdict == client.offer_roster(roster).verdict
    from_price = example("from-price-request", FromPriceRequest)
    assert client.from_price(from_price).cheapest == client.offer_from_price(from_price).cheapest
