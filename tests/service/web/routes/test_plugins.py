"""Plug-ins over HTTP: their answers, their names, and their failures."""

from __future__ import annotations

import asyncio
import base64
import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline.plugins import ArtworkError, Drawing, Findings, Installed, Sale, SalePrice
from featherline.wire import Money, Order, Plugin, PluginKind, PriceStep, Reason, TextArtwork
from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.plugins import Plugins
from featherline_service.settings import Settings
from featherline_service.web.server.envelope import Envelope

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
SQUARE = base64.b64encode(b"square 10").decode()

Json = dict[str, Any]


class EightEach:
    """Sells a pair at 8.00, and at twice that in a rush."""

    def price(self, sale: Sale) -> SalePrice:
        """Return the same for every pair."""
        each = Money(amount="16.00" if sale.rush else "8.00", currency=sale.currency)
        pairs = sum(lot.pairs for lot in sale.lots)
        total = Money(amount=f"{pairs * int(each.amount[:-3])}.00", currency=sale.currency)
        why = (PriceStep(what="eight", sentence=f"8.00 a pair; pairs: {pairs}", amount=total),)
        return SalePrice(each=(each,) * len(sale.lots), total=total, why=why)


class Squares:
    """Reads `square SIDE`."""

    media_types: Sequence[str] = ("image/x-square",)

    def read(self, content: bytes, _media_type: str) -> Drawing:
        """Return the square; fail at a leak."""
        if content == b"leak":
            raise RuntimeError("a secret of the plug-in")
        word, _, side = content.decode().partition(" ")
        if word != "square":
            raise ArtworkError("It is no square: begin with the word")
        return Drawing(d=f"M0 0H{side}V{side}H0Z")


class NoSevens:
    """A text with a seven is declined, one with an eight is a trial; one with a nine makes it fail."""

    def check(self, order: Order, found: Findings) -> Iterable[Reason]:
        """Yield the digits that are unlucky."""
        assert found.placements
        for place, placement in enumerate(order.placements):
            text = placement.artwork.text if isinstance(placement.artwork, TextArtwork) else ""
            if "9" in text:
                raise RuntimeError("a secret of the plug-in")
            for digit, verdict in (("7", "decline"), ("8", "trial")):
                if digit in text:
                    yield Reason(
                        code="digits.unlucky",
                        verdict=verdict,  # type: ignore[arg-type]  # one of two
                        subject=f"/placements/{place}/artwork/text",
                        sentence=f"No {digit} at Saltmarsh Quay.",
                    )


EXEMPT = "The prices are those of a plug-in, eight: more pairs may cost less in total"


def installed(name: str, kind: PluginKind, made: object) -> Installed:
    """Return a plug-in in force."""
    return Installed(Plugin(name=name, kind=kind, distribution="quay-rules", version="1.0"), made)


def plugins() -> Plugins:
    """Return one of each kind that is asked."""
    policy, reader, check = (
        installed("eight", "price-policy", EightEach()),
        installed("squares", "artwork-reader", Squares()),
        installed("digits", "check", NoSevens()),
    )
    return Plugins(
        price_policies={"eight": policy},
        artwork_readers={"image/x-square": reader},
        checks=(check,),
        listed=(policy.plugin, reader.plugin, check.plugin),
    )


@pytest.fixture(scope="module")
def app() -> Envelope:
    """The service with the demo book and plug-ins."""
    return create_app(Settings(), load((), plugins()))


def send(app: Envelope, path: str, asked: object = None) -> tuple[int, Json, list[Any]]:
    """Return status, answer and log lines of a question."""

    async def ask() -> httpx2.Response:
        transport = httpx2.ASGITransport(app)
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return await (client.get(path) if asked is None else client.post(path, json=asked))

    with capture_logs() as logs:
        response = asyncio.run(ask())
    found: Json = response.json()
    return response.status_code, found, logs


def order(text: str = "MARLOW\n6", **more: object) -> Json:
    """Return the example order with another text, priced by the plug-in."""
    found: Json = json.loads((EXAMPLES / "quote-request.json").read_text(encoding="utf-8"))
    found["placements"][0]["artwork"] |= {"text": text, "height": "25 mm"}
    return found | {"policy": "eight"} | more


def test_the_book_names_the_plugins(app: Envelope) -> None:
    """Who reads the book's resource sees what the shop has added, and the revision covers it."""
    status, found, _ = send(app, "/v1/book")
    assert 200 == status
    assert [
        {"name": name, "kind": kind, "distribution": "quay-rules", "version": "1.0"}
        for name, kind in (("eight", "price-policy"), ("squares", "artwork-reader"), ("digits", "check"))
    ] == found["plugins"]
    assert load().revision != found["book"]


def test_an_order_is_priced_by_a_plugin(app: Envelope) -> None:
    """The policy is named like one of the book; margin and warnings are told as for those."""
    status, found, _ = send(app, "/v1/quotes", order(pairs=3))
    assert 200 == status
    price = found["price"]
    assert ("eight", "8.00", "24.00") == (price["policy"], price["each"]["amount"], price["total"]["amount"])
    assert ["eight"] == [step["what"] for step in price["why"]]
    cost = float(found["cost"]["total"]["amount"])
    assert (24.0 - cost) / 24.0 == pytest.approx(price["margin"])
    assert [EXEMPT] == price["warnings"]


def test_a_rush_order_is_for_the_plugin_to_price(app: Envelope) -> None:
    """The plug-in is told of the rush."""
    _, found, _ = send(app, "/v1/quotes", order(rush=True))
    assert "16.00" == found["price"]["total"]["amount"]


def test_a_price_below_the_cost_is_told(app: Envelope) -> None:
    """As for a policy of the book."""
    measures = json.loads((EXAMPLES / "cost-request-measures.json").read_text(encoding="utf-8"))
    asked = measures | {"policy": "eight", "pairs": 1, "pressings": [{"dwell": "600 s", "per_pair": 24}]}
    _, found, _ = send(app, "/v1/costs", asked)
    assert float(found["cost"]["total"]["amount"]) > float(found["price"]["total"]["amount"])
    assert [EXEMPT, "The price is below what the work costs the shop"] == found["price"]["warnings"]
    assert found["price"]["margin"] < 0


def test_measures_and_rosters_are_priced_by_a_plugin(app: Envelope) -> None:
    """Wherever a policy may be named, the plug-in may be."""
    measures = json.loads((EXAMPLES / "cost-request-measures.json").read_text(encoding="utf-8"))
    status, found, _ = send(app, "/v1/costs", measures | {"policy": "eight", "pairs": 2, "rush": False})
    assert (200, "16.00") == (status, found["price"]["total"]["amount"])
    roster = json.loads((EXAMPLES / "roster-request.json").read_text(encoding="utf-8"))
    roster["order"]["policy"] = "eight"
    status, found, _ = send(app, "/v1/rosters", roster)
    pairs = sum(row["pairs"] for row in found["rows"] if row["price"])
    assert (200, f"{8 * pairs}.00") == (status, found["price"]["total"]["amount"])
    assert {"decline", "ready"} == {row["verdict"] for row in found["rows"] if row["verdict"]}
    (reason,) = (each for row in found["rows"] for each in row["reasons"] if each["code"] == "digits.unlucky")
    assert "/rows/0/fields/number" == reason["subject"]


def test_an_unknown_policy_is_told_both_kinds(app: Envelope) -> None:
    """The policies of the book and of plug-ins are named together."""
    status, found, _ = send(app, "/v1/quotes", order(policy="nine"))
    assert 422 == status
    assert "it has: club, counter, eight" in found["errors"][0]["detail"]


@pytest.mark.parametrize(
    ("text", "verdict"), [("MARLOW\n6", "ready"), ("MARLOW\n8", "trial"), ("MARLOW\n7", "decline")]
)
def test_a_check_makes_a_verdict_worse(text: str, verdict: str, app: Envelope) -> None:
    """Its reasons are added, and what it declines has no price."""
    _, found, _ = send(app, "/v1/quotes", order(text))
    codes = [reason["code"] for reason in found["reasons"]]
    assert (verdict, verdict != "ready") == (found["verdict"], "digits.unlucky" in codes)
    assert (verdict == "decline") == (found["price"] is None)


@pytest.mark.parametrize("path", ["/v1/quotes", "/v1/costs"])
def test_a_failing_plugin_is_a_clear_problem(path: str, app: Envelope) -> None:
    """The caller is told which plug-in it is and nothing of its inside; the log has the rest."""
    asked = order("MARLOW\n9")
    status, found, logs = send(app, path, asked if path == "/v1/quotes" else {"kind": "order", "order": asked})
    assert (500, "urn:featherline:problem:plugin-failed") == (status, found["type"])
    assert found["detail"].startswith("The check 'digits' of quay-rules 1.0 failed.")
    assert "secret" not in json.dumps(found)
    (line,) = (each for each in logs if each["event"] == "plugin.failed")
    assert "a secret of the plug-in" == str(line["exc_info"])
    assert 200 == send(app, "/v1/quotes", order("MARLOW\n6"))[0]


def test_a_failing_plugin_spoils_no_other_line(app: Envelope) -> None:
    """In bulk, the line that it fails on is a problem, and the next is answered."""
    lines = [{"kind": "quote", "request": order(text)} for text in ("MARLOW\n9", "MARLOW\n6")]

    async def ask() -> httpx2.Response:
        transport = httpx2.ASGITransport(app)
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            content = "\n".join(map(json.dumps, lines)).encode()
            return await client.post("/v1/bulk", content=content, headers={"content-type": "application/jsonl"})

    with capture_logs():
        answers = [json.loads(line) for line in asyncio.run(ask()).text.splitlines()]
    assert [500, 200] == [each["status"] for each in answers]
    assert "The check 'digits'" in answers[0]["problem"]["detail"]


def artwork(content: str = SQUARE, media_type: str = "image/x-square") -> Json:
    """Return a question for the fit of a file."""
    found: Json = json.loads((EXAMPLES / "fit-request.json").read_text(encoding="utf-8"))
    return found | {"artwork": {"kind": "file", "media_type": media_type, "base64": content, "height": "10 mm"}}


def test_a_file_is_read_by_a_plugin(app: Envelope) -> None:
    """Its outlines are measured as a drawing's are."""
    status, found, _ = send(app, "/v1/fits", artwork())
    assert 200 == status, found
    measures = found["fit"]["artwork"]
    assert (10.0, 10.0, 100.0, 40.0) == tuple(
        pytest.approx(measures[name]) for name in ("width_mm", "height_mm", "area_mm2", "cut_length_mm")
    )
    status, found, _ = send(app, "/v1/fits", artwork() | {"sides": "left"})
    assert 200 == status


@pytest.mark.parametrize(
    ("asked", "at", "said"),
    [
        (
            artwork(media_type="image/x-circle"),
            "media_type",
            "No plug-in here reads 'image/x-circle'; they read: image/x-sq",
        ),
        (artwork("QUJDR"), "base64", "It is not Base64"),
        (artwork(base64.b64encode(b"circle 5").decode()), "base64", "Read as image/x-square: It is no square"),
        (artwork(base64.b64encode(b"square 0").decode()), "base64", "Read as image/x-square: The drawing encloses no"),
        (artwork("A B"), "base64", "Expected the bytes of the file in Base64"),
    ],
)
def test_a_file_that_cannot_be_read_is_pointed_at(asked: Json, at: str, said: str, app: Envelope) -> None:
    """Unknown types, other texts, what the reader cannot read, and what cannot be marked."""
    status, found, _ = send(app, "/v1/fits", asked)
    assert (422, f"/artwork/{at}") == (status, found["errors"][0]["pointer"])
    assert said in found["errors"][0]["detail"]


def test_a_failing_reader_is_a_clear_problem(app: Envelope) -> None:
    """It is the plug-in's failure, not the caller's."""
    status, found, _ = send(app, "/v1/fits", artwork(base64.b64encode(b"leak").decode()))
    assert 500 == status
    assert found["detail"].startswith("The artwork reader 'squares' of quay-rules 1.0 failed.")


def test_without_plugins_no_file_is_read() -> None:
    """The message says so, and what to send instead."""
    status, found, _ = send(create_app(Settings()), "/v1/fits", artwork())
    assert 422 == status
    assert "they read: none. Or send a `path` or an `svg`" in found["errors"][0]["detail"]


def test_answers_by_different_plugins_are_kept_apart(app: Envelope) -> None:
    """Two services of one process with the same records and other plug-ins share no answer."""
    plain = create_app(Settings(), load())
    asked = order("MARLOW\n7", policy="counter")
    for _ in range(2):
        assert ("ready", "decline") == tuple(send(each, "/v1/quotes", asked)[1]["verdict"] for each in (plain, app))
