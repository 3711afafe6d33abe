"""Price policies at random, for tests of laws that hold for every policy."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import strategies as st

from featherline.wire.money import Charge
from featherline.wire.records import Ending, Policy, QuantityBreak, Tax
from featherline_service.cost.money import minor_step

_SHARES = st.decimals(min_value=0, max_value=Decimal("0.99"), places=4)

_TAXES = st.builds(
    Tax,
    rate=_SHARES.map("{:f}".format),
    shown=st.sampled_from(["net", "gross"]),
    level=st.sampled_from(["line", "document"]),
    rounding=st.sampled_from(["half-up", "half-even", "down"]),
)

_EVERY_COUNT = st.integers(1, 120)


@st.composite
def policies(draw: st.DrawFn, break_counts: st.SearchStrategy[int] = _EVERY_COUNT) -> Policy:
    """Draw a policy in a currency with 0, 2 or 3 decimals, its ending in whole minor units."""
    currency = draw(st.sampled_from(["JPY", "EUR", "USD", "KWD"]))
    unit = minor_step(currency)

    def amounts(least: int = 0) -> st.SearchStrategy[Charge]:
        whole = st.integers(least, 5000).map(lambda units: Charge(amount=f"{units * unit:f}", currency=currency))
        return (
            whole
            if least
            else whole
            | st.decimals(0, 50, places=4).map(lambda amount: Charge(amount=f"{amount:f}", currency=currency))
        )

    steps = st.integers(1, 2000).map(lambda units: Charge(amount=f"{units * unit:f}", currency=currency))
    breaks = draw(st.dictionaries(break_counts, _SHARES | st.just(Decimal(1)), max_size=4))
    return Policy(
        id="drawn",
        name="Drawn",
        currency=currency,
        method=draw(st.sampled_from(["markup", "margin", "list"])),
        share=f"{draw(_SHARES):f}",
        per_placement=draw(st.none() | amounts()),
        per_character=draw(st.none() | amounts()),
        setup=draw(amounts()),
        rush=draw(st.none() | _SHARES.map("{:f}".format)),
        rows=draw(st.sampled_from(["alike", "by-cost"])),
        floor_per_pair=draw(amounts()),
        breaks=tuple(QuantityBreak(pairs=pairs, off=f"{off:f}") for pairs, off in sorted(breaks.items())),
        minimum_order=draw(st.none() | amounts()),
        tax=draw(st.none() | _TAXES),
        ending=draw(st.none() | st.builds(Ending, step=steps, less=steps)),
        cites=(),
    )
