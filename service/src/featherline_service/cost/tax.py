r"""Tax on sales: net, tax and gross of the lines of a document, rounded by line or by document.

With a rate :math:`r`, the tax on a net amount :math:`N` is :math:`r N`; the tax contained in a gross amount :math:`G`
is :math:`G r / (1 + r)`. Net and tax always add up to gross, exactly.

Union law leaves the method and the level of rounding to the states (Court of Justice, C-302/07), so both are part of
the rule. Which rule applies is a question of local law: ask a tax adviser.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from math import floor
from typing import Literal

from msgspec import Struct

from featherline_service.cost.money import MoneyError, exact_arithmetic, minor_step


class TaxRule(Struct, frozen=True, kw_only=True):
    """How tax is calculated and rounded.

    Prices are `shown` net or gross of tax. By `line`, the tax of each line is rounded and the document's tax is their
    sum; by `document`, the tax on the sum of the lines at each rate is rounded. `down` is towards zero; a half is
    rounded `half-up` away from zero. `line_step` is what the tax of a line is rounded to [currency units]: null is the
    minor unit; with a finer step the sum is rounded to the minor unit once more, by `rounding`.
    """

    shown: Literal["net", "gross"]
    level: Literal["line", "document"]
    rounding: Literal["half-up", "half-even", "down"]
    line_step: Decimal | None = None


class TaxLine(Struct, frozen=True, kw_only=True):
    """A line of a document: an amount in whole minor units, as shown, and the rate of tax on it, such as 0.21."""

    amount: Decimal
    rate: Decimal


class Taxed(Struct, frozen=True, kw_only=True):
    """Net, tax and gross of a line, a rate or a document: `net + tax == gross`."""

    net: Decimal
    tax: Decimal
    gross: Decimal


class RateTotal(Struct, frozen=True, kw_only=True):
    """Net, tax and gross of all lines at one rate."""

    rate: Decimal
    taxed: Taxed


class TaxedDocument(Struct, frozen=True, kw_only=True):
    """Tax of a document: its total, its rates in increasing order, and, by line, each line in order.

    `lines` is empty where tax is calculated by document: a line has no tax of its own then.
    """

    total: Taxed
    rates: tuple[RateTotal, ...]
    lines: tuple[Taxed, ...]


def tax_document(lines: Sequence[TaxLine], rule: TaxRule, currency: str) -> TaxedDocument:
    """Return the tax of a document.

    Args:
        lines: amounts as shown, net or gross by the rule; credits are negative.
        rule: how tax is calculated and rounded.
        currency: ISO 4217 code.

    Raises:
        MoneyError: an amount is not in whole minor units, a rate is below zero, a line step is not above zero or does
            not divide the minor unit, or the currency is unknown.

    References:
        Calculation by rate on the sum of its lines: EN 16931-1:2017, rule BR-CO-17 (from memory). By line, to a tenth
        of a penny or to the nearest penny or half-penny: UK VAT Notice 700, paragraph 17.5.
    """
    unit = minor_step(currency)
    line_step = rule.line_step or unit
    if rule.line_step is not None and (rule.line_step <= 0 or unit % rule.line_step):
        raise MoneyError(
            "policy.tax-step-unusable",
            "A line's tax is rounded to parts of {unit} {currency}: {line_step} does not divide it",
            unit=unit,
            currency=currency,
            line_step=rule.line_step,
        )
    with exact_arithmetic():
        for line in lines:
            if line.amount % unit:
                raise MoneyError(
                    "money.not-in-minor-units",
                    "{amount} is not in whole minor units of {currency}: round it first",
                    amount=line.amount,
                    currency=currency,
                )
            if line.rate < 0:
                raise MoneyError(
                    "policy.tax-below-zero",
                    "A tax rate of {rate} is below zero: give a share such as 0.21",
                    rate=line.rate,
                )
        taxed = [_taxed(line.amount, _tax(line, rule.shown), rule, line_step) for line in lines]
        rates = []
        for rate in sorted({line.rate for line in lines}):
            shown = sum((line.amount for line in lines if line.rate == rate), Decimal(0).quantize(unit))
            if rule.level == "line":
                tax = sum(Fraction(entry.tax) for line, entry in zip(lines, taxed, strict=True) if line.rate == rate)
            else:
                tax = _tax(TaxLine(amount=shown, rate=rate), rule.shown)
            rates.append(RateTotal(rate=rate, taxed=_taxed(shown, Fraction(tax), rule, unit)))
        zero = Decimal(0).quantize(unit)
        total = Taxed(
            net=sum((own.taxed.net for own in rates), zero),
            tax=sum((own.taxed.tax for own in rates), zero),
            gross=sum((own.taxed.gross for own in rates), zero),
        )
    return TaxedDocument(total=total, rates=tuple(rates), lines=tuple(taxed) if rule.level == "line" else ())


def _tax(line: TaxLine, shown: Literal["net", "gross"]) -> Fraction:
    """Return the exact tax on a net amount, or in a gross one."""
    amount, rate = Fraction(line.amount), Fraction(line.rate)
    return amount * rate if shown == "net" else amount * rate / (1 + rate)


def _taxed(shown: Decimal, tax: Fraction, rule: TaxRule, step: Decimal) -> Taxed:
    """Return net, tax and gross of a shown amount, its tax rounded to `step`."""
    amount = _rounded(tax, rule.rounding, step)
    if rule.shown == "net":
        return Taxed(net=shown, tax=amount, gross=shown + amount)
    return Taxed(net=shown - amount, tax=amount, gross=shown)


def _rounded(amount: Fraction, rounding: Literal["half-up", "half-even", "down"], step: Decimal) -> Decimal:
    """Return an amount in whole steps, exactly rounded."""
    steps = abs(amount) / Fraction(step)
    match rounding:
        case "down":
            whole = floor(steps)
        case "half-up":
            whole = floor(steps + Fraction(1, 2))
        case "half-even":
            whole = round(steps)
    return (whole if amount >= 0 else -whole) * step
