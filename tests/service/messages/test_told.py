"""Sentences for whoever writes a request, with their codes and values."""

from __future__ import annotations

from decimal import Decimal

import pytest

from featherline.wire.verdicts import Parameter
from featherline_service.messages.told import ToldError, ToldValue, measured, told
from featherline_service.messages.values import Quantity


@pytest.mark.parametrize(
    ("value", "shown", "parameter"),
    [
        ("stroke", "stroke", Parameter(name="it", value="stroke")),
        (1200, "1200", Parameter(name="it", value=1200.0, decimals=0)),
        (0.25, "0.25", Parameter(name="it", value=0.25, decimals=2)),
        (Decimal("0.10"), "0.10", Parameter(name="it", value="0.10")),
        (Quantity(12.5, "mm", 1), "12.5 mm", Parameter(name="it", value=12.5, unit="mm", decimals=1)),
        (Quantity(2.0, None, 1), "2.0", Parameter(name="it", value=2.0, decimals=1)),
        (("svg", "path"), "svg, path", Parameter(name="it", value=("svg", "path"))),
        (None, "None", Parameter(name="it", value=None)),
    ],
)
def test_a_value_is_in_the_sentence_and_a_parameter(value: ToldValue, shown: str, parameter: Parameter) -> None:
    """A text, a count, a number, an exact one, a quantity with its unit and without, several texts, and none."""
    said = told("wrong-value", "It is {it}: mend it", it=value)

    assert ("wrong-value", f"It is {shown}: mend it", (parameter,)) == (said.code, said.sentence, said.parameters)


def test_a_count_and_a_text_may_be_written_otherwise() -> None:
    """With commas between thousands, and in quotes."""
    assert "1,200 of 'A{B}'" == told("wrong-value", "{count:,} of {what!r}", count=1200, what="A{B}").sentence


def test_an_error_has_what_is_told() -> None:
    """Its message is the sentence."""
    error = ToldError("svg.stroke", "{element} has a stroke", element="rect")

    assert ("rect has a stroke", "svg.stroke") == (str(error), error.told.code)


@pytest.mark.parametrize(("value", "decimals"), [(600.0, 0), (1.5, 1), (1e-9, 9)])
def test_a_measure_has_the_digits_that_it_has(value: float, decimals: int) -> None:
    """Small ones nine decimals."""
    assert Quantity(value, "mm", decimals) == measured(value, "mm")
