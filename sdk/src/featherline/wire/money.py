"""Money: a decimal number as text and an ISO 4217 code, never a float."""

from __future__ import annotations

from typing import Annotated, Final

from msgspec import Meta, Struct

_END: Final = r"$(?!\n)"

Decimals = Annotated[
    str,
    Meta(
        pattern=f"^-?[0-9]{{1,15}}(\\.[0-9]{{1,12}})?{_END}",
        max_length=30,
        description="An exact decimal number as text.",
        examples=["12.50"],
    ),
]
UnsignedDecimals = Annotated[
    str,
    Meta(
        pattern=f"^[0-9]{{1,15}}(\\.[0-9]{{1,12}})?{_END}",
        max_length=30,
        description="An exact decimal number, zero or more, as text.",
        examples=["12.50"],
    ),
]
Currency = Annotated[
    str,
    Meta(pattern=f"^[A-Z]{{3}}{_END}", max_length=3, description="An ISO 4217 currency code.", examples=["EUR"]),
]


class Money(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An amount of money. In an answer it has the decimals of its currency's minor unit (ISO 4217)."""

    amount: Decimals
    currency: Currency


class Charge(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An amount of money of zero or more: a rate, a price or a charge."""

    amount: UnsignedDecimals
    currency: Currency
