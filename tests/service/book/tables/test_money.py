from typing import Any

import pytest

from featherline.wire.records import Cover, Film, Offcut, Policy
from featherline_service.book.record_values import fields_named
from featherline_service.book.tables.money import priced, sums
from featherline_service.book.toml_records import TYPES


@pytest.mark.parametrize("type_", TYPES.values(), ids=list(TYPES))
def test_every_sum_of_a_type_is_known(type_: Any) -> None:  # noqa: ANN401 - a type of record
    """The ways to sums lead to every field with a currency."""
    expected = {name.removesuffix(".currency") for name in fields_named(type_, "currency") if "." in name}
    assert expected == {".".join(way) for way in sums(type_)}


@pytest.mark.parametrize(
    ("price", "in_another", "expected"),
    [
        ("1.50", False, {"amount": "1.50", "currency": "GBP"}),
        ({"amount": "1.50"}, False, {"amount": "1.50", "currency": "GBP"}),
        ({"amount": "1.50", "currency": "EUR"}, False, {"amount": "1.50", "currency": "EUR"}),
        ({"amount": "1.50", "currency": "EUR"}, True, {"amount": "1.50", "currency": "GBP"}),
        (1.5, False, 1.5),
    ],
)
def test_a_sum_is_in_the_currency_of_the_book(price: object, in_another: bool, expected: object) -> None:
    """An amount alone has the book's currency; one of a layer before it keeps its amount."""
    roll = {"width_mm": 500.0, "price": price}
    table: dict[str, object] = {"roll": roll}
    priced(table, Film, "GBP", in_another=in_another)
    assert {"roll": {"width_mm": 500.0, "price": expected}} == table
    assert price == roll["price"]


def test_a_policy_has_the_currency_of_the_book() -> None:
    """A policy without a currency has it; without a currency of the book nothing changes."""
    table: dict[str, object] = {"setup": "0"}
    priced(table, Policy, None, in_another=False)
    assert {"setup": "0"} == table
    priced(table, Policy, "GBP", in_another=False)
    assert {"setup": {"amount": "0", "currency": "GBP"}, "currency": "GBP"} == table


def test_what_has_no_money_is_left_as_it_is() -> None:
    """An offcut has no sums; a sum that is not there is not added."""
    for type_ in (Offcut, Cover):
        table: dict[str, object] = {"id": "one"}
        priced(table, type_, "GBP", in_another=True)
        assert {"id": "one"} == table
