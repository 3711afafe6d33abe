"""Tax against published examples of invoices and of rounding."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import pytest

from featherline_service.cost.tax import TaxedDocument, TaxLine, TaxRule, tax_document

BY_DOCUMENT = TaxRule(shown="net", level="document", rounding="half-up")


def net(amounts: list[str], rate: str, rule: TaxRule, currency: str) -> TaxedDocument:
    """Return the tax of net lines at one rate."""
    return tax_document([TaxLine(amount=Decimal(amount), rate=Decimal(rate)) for amount in amounts], rule, currency)


@pytest.mark.parametrize(
    ("amount", "rate", "tax"),
    [
        ("1460.50", "0.25", "365.13"),
        ("625743.54", "0.25", "156435.89"),
        ("183.23", "0.06", "10.99"),
        ("908.91", "0.21", "190.87"),
    ],
)
def test_the_tax_of_a_rate_in_en_16931_examples(amount: str, rate: str, tax: str) -> None:
    """Source: examples among the public validation artefacts of EN 16931, taxable amount and tax amount of a rate.

    The first is a half: 365.125.
    """
    assert Decimal(tax) == net([amount], rate, BY_DOCUMENT, "EUR").total.tax


def test_a_document_with_two_rates_of_en_16931() -> None:
    """Source: the same examples, 183.23 at 6 % and 908.91 at 21 %: 201.86 of tax (the sum is ours)."""
    lines = [
        TaxLine(amount=Decimal("908.91"), rate=Decimal("0.21")),
        TaxLine(amount=Decimal("183.23"), rate=Decimal("0.06")),
    ]
    found = tax_document(lines, BY_DOCUMENT, "EUR")

    assert [("0.06", "10.99"), ("0.21", "190.87")] == [(str(own.rate), str(own.taxed.tax)) for own in found.rates]
    assert (Decimal("1092.14"), Decimal("201.86"), Decimal("1294.00")) == (
        found.total.net,
        found.total.tax,
        found.total.gross,
    )


@pytest.mark.parametrize(
    ("rounding", "step", "tax"),
    [("down", "0.001", "0.867"), ("half-up", "0.01", "0.87"), ("half-up", "0.005", "0.870")],
)
def test_a_line_by_uk_vat_notice_700(rounding: Literal["down", "half-up"], step: str, tax: str) -> None:
    """Source: UK VAT Notice 700, paragraph 17.5 (HMRC, VATREC12010): a line down to 0.1p, or to the nearest 1p or 0.5p.

    Its example of 86.76p, to 86.7p or 87p, is from memory; here it is the tax on 4.82 at 18 %.
    """
    rule = TaxRule(shown="net", level="line", rounding=rounding, line_step=Decimal(step))

    assert Decimal(tax) == net(["4.82"], "0.18", rule, "GBP").lines[0].tax


@pytest.mark.parametrize(("level", "tax", "gross"), [("line", "0.33", "5.64"), ("document", "0.32", "5.63")])
def test_three_pens_by_line_and_by_document(level: Literal["line", "document"], tax: str, gross: str) -> None:
    """Source: mrp.com.my, "Calculating GST on Tax Invoices" (2016-08-05): three pens at 1.77 and 6 %, both ways."""
    found = net(["1.77"] * 3, "0.06", TaxRule(shown="net", level=level, rounding="half-up"), "MYR").total

    assert (Decimal("5.31"), Decimal(tax), Decimal(gross)) == (found.net, found.tax, found.gross)


def test_a_document_by_the_australian_act() -> None:
    """Source: A New Tax System (Goods and Services Tax) Act 1999 (Cth), section 9-90, figures ours.

    Paragraph (2)(a): unrounded taxes are added and rounded, 0.5 cents upwards: 0.05 at 10 % is 0.005, thrice 0.015.
    Paragraph (2)(b): each is rounded to the places of the accounting system first, here to a tenth of a cent.
    """
    total = TaxRule(shown="net", level="document", rounding="half-up")
    supplies = TaxRule(shown="net", level="line", rounding="half-up", line_step=Decimal("0.001"))

    assert Decimal("0.02") == net(["0.05"] * 3, "0.10", total, "AUD").total.tax
    assert Decimal("0.01") == net(["0.05"], "0.10", total, "AUD").total.tax
    assert Decimal("0.02") == net(["0.05"] * 3, "0.10", supplies, "AUD").total.tax


def test_a_document_by_uk_vat_notice_700_is_rounded_down() -> None:
    """Source: UK VAT Notice 700, paragraph 17.5: the total of an invoice down to a whole penny.

    9.99 at 20 % is 1.998; three such lines are 5.994.
    """
    down = TaxRule(shown="net", level="document", rounding="down")
    lines = TaxRule(shown="net", level="line", rounding="down", line_step=Decimal("0.001"))

    assert Decimal("1.99") == net(["9.99"], "0.20", down, "GBP").total.tax
    assert Decimal("5.99") == net(["9.99"] * 3, "0.20", down, "GBP").total.tax
    assert [Decimal("1.998")] * 3 == [line.tax for line in net(["9.99"] * 3, "0.20", lines, "GBP").lines]
    assert Decimal("5.99") == net(["9.99"] * 3, "0.20", lines, "GBP").total.tax


@pytest.mark.parametrize(
    ("level", "rounding", "tax"),
    [
        ("line", "down", "0.32"),
        ("line", "half-up", "0.32"),
        ("document", "down", "0.32"),
        ("document", "half-up", "0.33"),
    ],
)
def test_method_and_level_are_the_rules(
    level: Literal["line", "document"], rounding: Literal["down", "half-up"], tax: str
) -> None:
    """Source: Court of Justice C-302/07: states choose method and level; the choices differ on the same sale.

    Each of two items at 0.96 gross contains 16.33p at 20.5 %, together 32.66p (figures ours).
    """
    rule = TaxRule(shown="gross", level=level, rounding=rounding)
    lines = [TaxLine(amount=Decimal("0.96"), rate=Decimal("0.205"))] * 2

    assert Decimal(tax) == tax_document(lines, rule, "GBP").total.tax
