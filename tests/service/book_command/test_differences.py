from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from featherline.wire.matrices import MatrixCell
from featherline.wire.money import Money
from featherline.wire.recipes import Setting
from featherline_service.book.loader import load
from featherline_service.book_command.differences import Move, moves
from featherline_service.questions.matrix.matrices import Sample, order_of
from featherline_service.questions.quote import quotes

Command = Callable[..., tuple[int, str, str]]


def test_a_changed_price_of_a_film_moves_its_orders_alone(written: Path, own: Path, command: Command) -> None:
    """The orders that move are those, and only those, whose quote has another price in the other book."""
    text = (own / "films" / "films.toml").read_text("utf-8")
    (own / "films" / "films.toml").write_text(text.replace('"150.00"', '"300.00"'), "utf-8")

    code, out, err = command("diff", written, own, "--shoe", "cob")

    assert (0, "") == (code, err)
    before, after = load([written]), load([own])
    expected = set()
    for shoe in (before.shoes["cob"],):
        for film in before.films.values():
            prices = [
                quotes.compose(book, order_of(book, Sample(), shoe, shoe.panels[0], film, 12.0)).price
                for book in (before, after)
            ]
            if prices[0] != prices[1]:
                expected.add(f"{shoe.id} outer {film.id}")
    assert {"cob outer gull"} == expected
    head, *told, count = out.splitlines()
    assert "films: gull" == head
    move, cause, *others = told
    assert expected == {move.partition(":")[0]}
    assert re.search(r"price \d\.\d\d -> \d\.\d\d GBP \(\+\d\.\d %\)$", move)
    assert re.fullmatch(r"    film costs 0\.\d\d -> 0\.\d\d \(films/gull: [\d.]+ -> [\d.]+ for each cm2\)", cause)
    assert all(other.startswith("    ") for other in others)
    assert f"{len(expected)} of the example orders move" == count


def test_a_film_that_goes_or_comes_is_told(written: Path, own: Path, command: Command) -> None:
    """Orders that one of the two books has alone are told as new or gone."""
    text = (own / "films" / "films.toml").read_text("utf-8")
    (own / "films" / "films.toml").write_text(text[text.index("[[record]]", 5) :], "utf-8")
    _, out, _ = command("diff", written, own, "--shoe", "cob", "--film", "gull")
    assert "cob outer gull: gone" in out.splitlines()
    _, out, _ = command("diff", own, written, "--shoe", "cob", "--film", "gull")
    assert "cob outer gull: new: ready" in out.splitlines()


def test_a_change_of_a_setting_is_told(written: Path, own: Path) -> None:
    """A film pressed hotter has another setting, and one whose sheet asks too much is declined with the reason."""
    text = (own / "films" / "films.toml").read_text("utf-8")
    (own / "films" / "films.toml").write_text(text.replace("155.0", "150.0"), "utf-8")
    (move,) = moves(load([written]), load([own]), Sample(), ["cob"], ["gull"])
    assert "155 degC 41 s medium under silicone-thin -> 150 degC" in str(move)


def test_prices_that_come_and_go_are_told() -> None:
    """An order that is declined has no price; amounts of two currencies are not compared."""

    def cell(**fields: object) -> MatrixCell:
        plain: dict[str, object] = {"shoe": "a", "panel": "b", "film": "c", "verdict": "ready", "letters_mm": 12.0}
        return MatrixCell(**{**plain, **fields})  # type: ignore[arg-type]

    pounds, euros = Money(amount="5.00", currency="GBP"), Money(amount="5.00", currency="EUR")
    declined = cell(verdict="decline", fault="Too hot.")
    assert "a b c: ready -> decline (Too hot.), price 5.00 -> none" == str(Move(cell(price=pounds), declined))
    assert "a b c: price 5.00 GBP -> 5.00 EUR" == str(Move(cell(price=pounds), cell(price=euros)))
    setting = Setting(
        temperature_c=155.0, temperature_f=311.0, settable_in=("degC",), dwell_s=40.0, pressure="firm",
        pressure_kpa=414.0, cover=None,
    )  # fmt: skip
    assert "a b c: no setting -> 155 degC 40 s firm under nothing" == str(Move(cell(), cell(setting=setting)))
    assert "a b c: letters 12 -> 9 mm" == str(Move(cell(), cell(letters_mm=9.0)))
