"""The worked examples of sdk/examples, in front of a running service."""

from __future__ import annotations

import asyncio
import csv
import importlib
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import msgspec
import pytest

from featherline import AsyncClient, Client
from featherline.wire import Film, Order, QuoteAnswer, ShoeModel

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "sdk" / "examples"

Load = Callable[[str], ModuleType]
Told = Callable[..., tuple[int, list[str], str]]


@pytest.fixture
def load(monkeypatch: pytest.MonkeyPatch) -> Load:
    """Return what imports an example as a module."""
    monkeypatch.syspath_prepend(EXAMPLES)
    return importlib.import_module


@pytest.fixture
def told(running: Any, tmp_path: Path) -> Told:  # noqa: ANN401 - of conftest.py
    """Return what runs an example as a program, and gives its exit code, its lines, and what it complained of."""

    def run(name: str, *argv: str, url: str | None = None) -> tuple[int, list[str], str]:
        done = subprocess.run(
            [sys.executable, EXAMPLES / name, *argv],
            env={"FEATHERLINE_URL": url or running.url, "PYTHONPATH": ":".join(sys.path)},
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
        )
        return done.returncode, done.stdout.splitlines(), done.stderr

    return run


def test_every_example_is_run() -> None:
    """There are three, and each is named below."""
    assert {"web_shop.py", "counter.py", "price_list.py"} == {file.name for file in EXAMPLES.glob("*.py")}


def test_the_web_shop_sells_what_was_promised(told: Told, running: Any, load: Load) -> None:  # noqa: ANN401
    """One price for six keystrokes, the same at the checkout, and none for another text under the same seal."""
    with Client(running.url) as client:
        price = client.quote(load("web_shop").order_of("MARLOW")).price
    assert price is not None
    code, lines, complaint = told("web_shop.py")
    assert (0, "") == (code, complaint)
    assert [
        f"ready: + {price.total.amount} EUR",
        f"at the checkout: {price.total!r}",
        "another text, the same seal: None",
    ] == lines


class Counted:
    """A client that counts what it is asked."""

    def __init__(self, client: AsyncClient) -> None:
        self.asked: list[Order] = []
        self._client = client

    async def quote(self, order: Order, *, timeout: float) -> QuoteAnswer:  # noqa: ASYNC109 - as the client's
        """Ask, and note it."""
        self.asked.append(order)
        return await self._client.quote(order, timeout=timeout)


@pytest.mark.anyio
async def test_the_service_is_asked_when_the_customer_pauses(
    running: Any,  # noqa: ANN401
    load: Load,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What was overtaken is not asked; what any customer asked before is not asked again, while it is kept."""
    shop = load("web_shop")
    monkeypatch.setattr(shop, "PAUSE_S", 0.02)
    monkeypatch.setattr(shop, "MOST_KEPT", 2)
    kept: dict[Order, QuoteAnswer] = {}
    async with AsyncClient(running.url) as client:
        counted: Any = Counted(client)
        one, other = shop.Field(counted, kept), shop.Field(counted, kept)
        first = await asyncio.gather(*(one.typed(shop.order_of(text)) for text in ("L", "LE", "LEE")))
        again = await other.typed(shop.order_of("LEE"))
        await other.typed(shop.order_of("LEO"))
        await other.typed(shop.order_of("LIV"))

    assert [None, None] == first[:2]
    assert first[2] is again
    assert [shop.order_of(text) for text in ("LEE", "LEO", "LIV")] == counted.asked
    assert [shop.order_of(text) for text in ("LEO", "LIV")] == list(kept)


@pytest.mark.anyio
async def test_only_what_is_sure_goes_into_the_cart(running: Any, load: Load) -> None:  # noqa: ANN401
    """A shoe that is declined has no line; a seal that is none has no price."""
    shop = load("web_shop")
    clog = msgspec.json.decode((ROOT / "openapi" / "examples" / "clog.json").read_bytes(), type=Order)
    async with AsyncClient(running.url) as client:
        assert shop.into_cart(clog, await client.quote(clog)) is None
        assert await shop.at_checkout(client, shop.CartLine(clog, "no.seal.at-all")) is None


@pytest.mark.parametrize(
    ("argv", "code", "begin"),
    [
        (["textile", "90x40", "MARLOW"], 1, "TRY IT FIRST"),
        (["leather", "19x40", "MARLOW"], 1, "NO"),
        (["leather", "wide", "MARLOW"], 1, "ASK AGAIN"),
        (["hemp", "90x40", "MARLOW"], 2, ""),
        ([], 2, ""),
    ],
)
def test_the_counter_answers_in_capitals(told: Told, argv: list[str], code: int, begin: str) -> None:
    """The first line says what to do; the code is 0 for yes alone."""
    done, lines, complaint = told("counter.py", *argv)
    assert (code, begin) == (done, lines[0] if lines else "")
    assert complaint.startswith("usage:") == (code == 2)


def test_the_counter_plans_the_trial(told: Told) -> None:
    """A shoe that nobody knows has a price, a ladder of settings, and when to stop."""
    lines = told("counter.py", "textile", "90x40", "MARLOW")[1]
    assert any(line.endswith(" EUR") for line in lines)
    assert any(line.startswith("  1. ") and "degC" in line for line in lines)
    assert any(line.startswith("  Stop: ") for line in lines)


def test_the_counter_says_how_large(told: Told) -> None:
    """A text that is too large is told what would fit."""
    assert any(line.startswith("  It fits up to ") for line in told("counter.py", "leather", "19x40", "MARLOW")[1])


def test_the_counter_takes_no_answer_for_no(told: Told) -> None:
    """Without a service there is no yes."""
    code, lines, _ = told("counter.py", "textile", "90x40", "MARLOW", url="http://127.0.0.1:9")
    assert (1, "NO ANSWER: do not press") == (code, lines[0])


def test_the_counter_says_yes(load: Load, running: Any) -> None:  # noqa: ANN401
    """A shoe of the book that is sure is a yes, with nothing to try."""
    with Client(running.url) as client:
        lines = list(load("counter").screen(client, load("web_shop").order_of("MARLOW")))
    assert "YES" == lines[0]
    assert not [line for line in lines if "Before" in line]


@pytest.mark.slow
def test_ten_thousand_prices_are_made_anew(told: Told, running: Any, load: Load, tmp_path: Path) -> None:  # noqa: ANN401
    """Every combination has its row, with the price that it has alone; what differs from the old list is told."""
    prices = load("price_list")
    with Client(running.url) as client:
        shoes, films = client.records(ShoeModel).records, client.records(Film).records
        orders = list(prices.combinations(shoes, films))
        picked = {place: client.quote(orders[place]) for place in range(0, len(orders), 397)}
    (tmp_path / "old.csv").write_text(
        f"{shoes[0].id},{films[0].id},1,ready,1.00,EUR\n{shoes[0].id},{films[0].id},@,,,\n"
    )

    code, lines, complaint = told("price_list.py", "new.csv", "old.csv")
    with (tmp_path / "new.csv").open(newline="") as file:
        header, *rows = csv.reader(file)

    assert (0, "") == (code, complaint)
    assert (10_000, 10_000, prices.COLUMNS) == (len(orders), len(rows), tuple(header))
    assert 10_000 == len({tuple(row[:3]) for row in rows})
    assert {"ready", "trial", "decline"} == {row[3] for row in rows}
    for place, quote in picked.items():
        expected = ["", ""] if quote.price is None else [quote.price.total.amount, quote.price.total.currency]
        assert [quote.verdict, *expected] == rows[place][3:]
    assert "10000 combinations, 1 changed" == lines[-1]
    assert f"{shoes[0].id} {films[0].id} 1 was ready 1.00 EUR is" in lines[0]
