"""The types of the SDK. Never run, only checked by mypy strict and basedpyright."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import assert_type

import httpx2

from featherline import AsyncClient, Client, Reply, RequestRefused, Unavailable, seals
from featherline.wire import (
    ArtworkAnswer,
    ArtworkRequest,
    BareLayer,
    BareStack,
    BookAnswer,
    BookShoe,
    CalibrationAnswer,
    CalibrationPressing,
    CalibrationRequest,
    Catalogue,
    Charge,
    CostAnswer,
    Fault,
    Film,
    FitAnswer,
    FitOffer,
    FitRequest,
    FromPriceAnswer,
    FromPriceOffer,
    FromPriceRequest,
    GaugeSeries,
    HandPriceAnswer,
    HandPriceRequest,
    MatrixAnswer,
    MatrixRequest,
    Measured,
    Offer,
    OfferPrice,
    Order,
    OrderWork,
    Placement,
    Price,
    Problem,
    QuoteAnswer,
    RecipeAnswer,
    RecipeRequest,
    RecordAnswer,
    RecordsAnswer,
    Roster,
    RosterAnswer,
    RosterOffer,
    RosterRow,
    SealCheck,
    SeriesReading,
    ShoeModel,
    ShoePanel,
    Size,
    TextArtwork,
    TrialAnswer,
    TrialRequest,
)

shoe = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
artwork = TextArtwork(text="MARLOW\n7", font="plain", height="22 mm")
order = Order(
    shoe=shoe,
    placements=(Placement(panel="outer-quarter", film="smooth", colour="gorse", artwork=artwork),),
)
calibration = CalibrationRequest(
    date="2026-11-03",
    cover="silicone-thin",
    pressings=(
        CalibrationPressing(
            onto=BareStack(surface="leather", layers=(BareLayer(material="upper-leather", thickness="1.4 mm"),)),
            temperature="160 degC",
            dwell="30 s",
            series=(GaugeSeries(kind="strip", readings=(SeriesReading(at="30 s", value="132 degC"),)),),
        ),
    ),
)
wrong_system = Size(system="CN", value="42")  # type: ignore[arg-type]
wrong_list = Order(shoe=shoe, placements=[])  # type: ignore[arg-type]
wrong_number = TextArtwork(text="7", font="plain", height=22)  # type: ignore[arg-type]


async def orders() -> AsyncIterator[Order]:
    """Yield the order, for an asynchronous source of requests."""
    yield order


def blocking(client: Client, measured: Measured) -> None:
    """Every method of the blocking client has the exact type of the answer."""
    assert_type(client.recipe(RecipeRequest(film="smooth", onto=ShoePanel(shoe=shoe, panel="toe"))), RecipeAnswer)
    assert_type(client.fit(FitRequest(shoe=shoe, panel="toe", film="smooth", artwork=artwork)), FitAnswer)
    assert_type(client.artwork(ArtworkRequest(artwork=artwork, film="smooth")), ArtworkAnswer)
    assert_type(client.cost(measured), CostAnswer)
    assert_type(client.cost(OrderWork(order=order), timeout=2.5), CostAnswer)
    assert_type(client.quote(order), QuoteAnswer)
    assert_type(client.quote(order).price, Price | None)
    assert_type(client.roster(Roster(order=order, rows=(RosterRow(fields={"name": "EDDY"}),))), RosterAnswer)
    assert_type(client.from_price(FromPriceRequest(candidates=(order,))), FromPriceAnswer)
    assert_type(client.matrix(MatrixRequest(text="AMY")), MatrixAnswer)
    assert_type(client.offer(order), Offer)
    assert_type(client.offer(order).price, OfferPrice | None)
    assert_type(client.offer_roster(Roster(order=order, rows=(RosterRow(),))), RosterOffer)
    assert_type(client.offer_from_price(FromPriceRequest(candidates=(order,))), FromPriceOffer)
    assert_type(client.offer_fit(FitRequest(shoe=shoe, panel="toe", film="smooth", artwork=artwork)), FitOffer)
    assert_type(client.offer_picture(FitRequest(shoe=shoe, panel="toe", film="smooth", artwork=artwork)), bytes)
    assert_type(
        client.hand_price(HandPriceRequest(order=order, each=Charge(amount="1", currency="EUR"))), HandPriceAnswer
    )
    assert_type(client.catalogue(), Catalogue)
    assert_type(seals.check("a.b.c", client.seal_keys()), SealCheck)
    assert_type(client.check_seal("a.b.c"), SealCheck)
    assert_type(client.trial(TrialRequest(shoe=shoe, panel="toe", film="smooth")), TrialAnswer)
    assert_type(client.calibration(calibration), CalibrationAnswer)
    assert_type(client.picture(order, "application/pdf"), bytes)
    client.picture(order, "image/png")  # type: ignore[call-overload]
    assert_type(client.book(), BookAnswer)
    assert_type(client.records(Film), RecordsAnswer[Film])
    assert_type(client.record(ShoeModel, "regatta-deck"), RecordAnswer[ShoeModel])
    for reply in client.bulk([order, order]):
        assert_type(reply, Reply[Order, QuoteAnswer])
        assert_type(reply.request, Order)
        assert_type(reply.answer.price, Price | None)
        assert_type(reply.problem, Problem | None)
    for cost in client.bulk((OrderWork(order=each) for each in (order,)), at_once=1, timeout=60):
        assert_type(cost.answer, CostAnswer)
    for other in client.bulk([order, measured]):
        assert_type(other.answer, QuoteAnswer | RecipeAnswer | FitAnswer | CostAnswer | TrialAnswer | ArtworkAnswer)
    client.bulk([1])  # type: ignore[list-item]
    client.bulk(orders())  # type: ignore[call-overload]
    client.cost(order)  # type: ignore[arg-type]
    client.quote(order, 3)  # type: ignore[call-arg]
    client.records(Price)  # type: ignore[type-var]


async def asynchronous(client: AsyncClient, measured: Measured) -> None:
    """Every method of the asynchronous client has the exact type of the answer, once awaited."""
    assert_type(await client.recipe(RecipeRequest(film="smooth", onto=ShoePanel(shoe=shoe, panel="toe"))), RecipeAnswer)
    assert_type(await client.fit(FitRequest(shoe=shoe, panel="toe", film="smooth", artwork=artwork)), FitAnswer)
    assert_type(await client.artwork(ArtworkRequest(artwork=artwork)), ArtworkAnswer)
    assert_type(await client.cost(measured), CostAnswer)
    assert_type(await client.quote(order, timeout=2.5), QuoteAnswer)
    assert_type(await client.roster(Roster(order=order, rows=(RosterRow(fields={"name": "EDDY"}),))), RosterAnswer)
    assert_type(await client.from_price(FromPriceRequest(candidates=(order,))), FromPriceAnswer)
    assert_type(await client.matrix(), MatrixAnswer)
    assert_type(await client.check_seal("a.b.c"), SealCheck)
    assert_type(seals.check("a.b.c", await client.seal_keys()), SealCheck)
    assert_type(await client.trial(TrialRequest(shoe=shoe, panel="toe", film="smooth"), timeout=2.5), TrialAnswer)
    assert_type(await client.calibration(calibration), CalibrationAnswer)
    assert_type(await client.picture(order, "text/html"), bytes)
    await client.picture(order, "image/png")  # type: ignore[call-overload]
    assert_type(await client.book(), BookAnswer)
    assert_type(await client.records(Film), RecordsAnswer[Film])
    assert_type(await client.record(Film, "smooth"), RecordAnswer[Film])

    async for reply in client.bulk(orders()):
        assert_type(reply, Reply[Order, QuoteAnswer])
    async for fit in client.bulk([FitRequest(shoe=shoe, panel="toe", film="smooth", artwork=artwork)]):
        assert_type(fit.answer, FitAnswer)


async def managed() -> None:
    """Both clients are their own context managers, and take a transport of their own kind."""
    with Client(key="key", attempts=1, trace=lambda headers: headers.update(traceparent="00")) as plain:
        assert_type(plain, Client)
    async with AsyncClient("https://saltmarsh.test", transport=httpx2.AsyncHTTPTransport()) as asynchronous:
        assert_type(asynchronous, AsyncClient)
    Client(transport=httpx2.AsyncHTTPTransport())  # type: ignore[arg-type]


def caught(error: RequestRefused | Unavailable) -> None:
    """The attributes of errors are typed."""
    if isinstance(error, RequestRefused):
        assert_type(error.faults, tuple[Fault, ...])
    else:
        assert_type(error.retry_after_s, float | None)
