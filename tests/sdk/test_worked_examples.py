"""The programs of sdk/examples in front of a running service."""

from __future__ import annotations

import csv
import importlib
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import msgspec
import pytest
from tampered_carts import CARTS

from featherline import Client
from featherline.wire import Film, Order, ShoeModel

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "sdk" / "examples"

PRICE_LIST_STEP = int(os.environ.get("PRICE_LIST_STEP", "50"))
"""One text in so many is in the price list; all 125 are in the full run: 10,000 combinations."""

Load = Callable[[str], ModuleType]
Run = Callable[..., tuple[int, list[str], str]]


@pytest.fixture
def load(monkeypatch: pytest.MonkeyPatch) -> Load:
    """Import an example as a module."""
    monkeypatch.syspath_prepend(EXAMPLES / "web_shop")
    monkeypatch.syspath_prepend(EXAMPLES)
    return importlib.import_module


@pytest.fixture
def run(running: Any, tmp_path: Path) -> Run:  # noqa: ANN401 - of conftest.py
    """Run an example as a program; return its exit code, the lines of its output, and its standard error."""

    def run_program(name: str, *argv: str, url: str | None = None) -> tuple[int, list[str], str]:
        done = subprocess.run(
            [sys.executable, EXAMPLES / name, *argv],
            env={"FEATHERLINE_URL": url or running.url, "PYTHONPATH": ":".join(sys.path)},
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
        )
        return done.returncode, done.stdout.splitlines(), done.stderr

    return run_program


def test_every_example_is_run() -> None:
    """The tests below name both programs, and the checkout; tests/browser runs the whole web shop."""
    assert {"counter.py", "price_list.py", "web_shop"} == {
        file.name for file in EXAMPLES.glob("*") if "__" not in file.name
    }


def test_a_false_seal_has_no_price(running: Any, load: Load) -> None:  # noqa: ANN401
    """What is no seal at all is not paid."""
    shop = load("checkout")
    clog = msgspec.json.decode((ROOT / "openapi" / "examples" / "clog.json").read_bytes(), type=Order)
    with Client(running.url) as client:
        assert shop.at_checkout(client, shop.CartLine(clog, "no.seal.at-all"), shop.Sold(book="b")) is None


def test_the_checkout_takes_no_tampered_cart(checkout: Any, load: Load) -> None:  # noqa: ANN401 - of conftest.py
    """Every genuine cart is paid, and of as many tampered with in each of six ways none is."""
    shop = load("checkout")
    sold = shop.Sold(**checkout.sold)
    with Client(checkout.url, key=checkout.key) as client:
        paid = {
            how: [shop.at_checkout(client, shop.CartLine(*cart), sold) for cart in carts]
            for how, carts in checkout.carts.items()
        }
        laxer = shop.Sold(book=sold.book)
        others = [shop.at_checkout(client, shop.CartLine(*cart), laxer) for cart in checkout.carts["key"][:1]]
    assert all(others), "A checkout that names no key takes the seals of all"
    genuine = paid.pop("genuine")
    assert CARTS == len(list(filter(None, genuine)))
    assert (6 * CARTS, []) == (sum(map(len, paid.values())), [how for how, sums in paid.items() if any(sums)])


@pytest.mark.parametrize(
    ("argv", "code", "begin"),
    [
        (["leather", "90x40", "MARLOW"], 1, "TRY IT FIRST"),
        (["leather", "19x40", "MARLOW"], 1, "NO"),
        (["leather", "wide", "MARLOW"], 1, "ASK AGAIN"),
        (["hemp", "90x40", "MARLOW"], 2, ""),
        ([], 2, ""),
    ],
)
def test_the_counter_answers_in_capitals(run: Run, argv: list[str], code: int, begin: str) -> None:
    """The first line is the verdict, and only a yes has code 0."""
    done, lines, complaint = run("counter.py", *argv)
    assert (code, begin) == (done, lines[0] if lines else "")
    assert complaint.startswith("usage:") == (code == 2)


def test_the_counter_plans_the_trial(run: Run) -> None:
    """An unknown shoe has a price, a ladder of settings, and the signs to stop at."""
    lines = run("counter.py", "leather", "90x40", "MARLOW")[1]
    assert any(line.endswith(" EUR") for line in lines)
    assert any(line.startswith("  1. ") and "degC" in line for line in lines)
    assert any(line.startswith("  Stop: ") for line in lines)


def test_the_counter_says_how_large(run: Run) -> None:
    """For a text that is too large, the size that would fit is shown."""
    assert any(line.startswith("  It fits up to ") for line in run("counter.py", "leather", "19x40", "MARLOW")[1])


def test_the_counter_takes_no_answer_for_no(run: Run) -> None:
    """Without a service the answer is not yes."""
    code, lines, _ = run("counter.py", "textile", "90x40", "MARLOW", url="http://127.0.0.1:9")
    assert (1, "NO ANSWER: do not press") == (code, lines[0])


def test_the_counter_says_yes(load: Load, running: Any) -> None:  # noqa: ANN401
    """A ready order is a yes, without a trial."""
    order = msgspec.json.decode((ROOT / "openapi" / "examples" / "quote-request.json").read_bytes(), type=Order)
    with Client(running.url) as client:
        lines = list(load("counter").screen(client, order))
    assert "YES" == lines[0]
    assert not [line for line in lines if "Before" in line]


@pytest.mark.slow
def test_a_price_list_is_made_anew(
    running: Any,  # noqa: ANN401
    load: Load,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Every combination has a row with the price that it has alone, and changes since the old list are printed."""
    prices = load("price_list")
    assert 125 == len(prices.TEXTS)
    monkeypatch.setattr(prices, "TEXTS", prices.TEXTS[::PRICE_LIST_STEP])
    with Client(running.url) as client:
        shoes, films = client.records(ShoeModel).records, client.records(Film).records
        orders = list(prices.combinations(shoes, films))
        picked = {place: client.quote(orders[place]) for place in range(0, len(orders), 97)}
    (tmp_path / "old.csv").write_text(
        f"{shoes[0].id},{films[0].id},1,ready,1.00,EUR\n{shoes[0].id},{films[0].id},@,,,\n"
    )

    monkeypatch.setenv("FEATHERLINE_URL", running.url)
    prices.main([str(tmp_path / "new.csv"), str(tmp_path / "old.csv")])
    lines = capsys.readouterr().out.splitlines()
    with (tmp_path / "new.csv").open(newline="") as file:
        header, *rows = csv.reader(file)

    assert len(orders) == len(shoes) * len(films) * len(prices.TEXTS)
    assert (len(orders), prices.COLUMNS) == (len(rows), tuple(header))
    assert len(orders) == len({tuple(row[:3]) for row in rows})
    assert {"ready", "decline"} == {row[3] for row in rows}
    for place, quote in picked.items():
        expected = ["", ""] if quote.price is None else [quote.price.total.amount, quote.price.total.currency]
        assert [quote.verdict, *expected] == rows[place][3:]
    assert f"{len(orders)} combinations, 1 changed" == lines[-1]
    assert f"{shoes[0].id} {films[0].id} 1 was ready 1.00 EUR is" in lines[0]
