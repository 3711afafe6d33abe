"""What every generated client has to read from the running service, as our own SDK reads it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import pytest

from featherline import Client, RequestRefused
from featherline.wire import BookShoe, Film, Order, Placement, Size, TextArtwork

ROOT: Final = Path(__file__).parents[3]
LINES: Final = ROOT / "openapi" / "examples" / "bulk-request.jsonl"
DECK: Final = Order(
    shoe=BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42")),
    placements=(
        Placement(
            panel="outer-quarter",
            film="smooth",
            colour="gorse",
            artwork=TextArtwork(text="MARLOW\n7", font="plain", height="22 mm"),
        ),
    ),
    reference="K-2041",
)
CLOG: Final = Order(
    shoe=BookShoe(shoe="ward-clog", size=Size(system="EU", value="40")),
    placements=(
        Placement(
            panel="outer-side",
            film="smooth",
            colour="chalk",
            artwork=TextArtwork(text="W3", font="bold", height="12 mm"),
        ),
    ),
)
MANGLED: Final = Order(shoe=DECK.shoe, placements=DECK.placements, press="mangle")


@pytest.fixture(scope="session")
def expected(running: Any) -> Mapping[str, object]:  # noqa: ANN401 - of the conftest.py above
    """What a client prints: a price for a text, a decline, a refusal, a seal, a record, and the lines of bulk."""
    with Client(running.url) as client:
        quote, clog, film = client.quote(DECK), client.quote(CLOG), client.record(Film, "smooth").record
        assert quote.price is not None
        assert quote.seal is not None
        check = client.check_seal(quote.seal.text)
        with pytest.raises(RequestRefused) as refused:
            client.quote(MANGLED)
    assert check.quote is not None
    return {
        "verdict": quote.verdict,
        "price": f"{quote.price.total.amount} {quote.price.total.currency}",
        "declined": [clog.verdict, [reason.code for reason in clog.reasons]],
        "refused": [fault.pointer for fault in refused.value.faults],
        "seal": [check.status, check.quote.reference, "MARLOW\n7"],
        "film": film.name,
        "lines": len(LINES.read_text(encoding="utf-8").splitlines()),
    }
