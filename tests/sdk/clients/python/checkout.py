"""Asks a running service through the generated client and prints what it read: ``checkout.py URL LINES``."""

from __future__ import annotations

import json
import sys
from io import BytesIO
from pathlib import Path

from featherline_client import AuthenticatedClient
from featherline_client.api.book import read_film
from featherline_client.api.questions import answer_bulk, compose_quote
from featherline_client.api.seals import check_seal
from featherline_client.models import (
    BookShoe,
    BookShoeKind,
    Order,
    Placement,
    Problem,
    QuoteAnswer,
    RecordAnswerFilm,
    SealCheck,
    SealCheckRequest,
    SealedQuote,
    Size,
    SizeSystem,
    TextArtwork,
    TextArtworkKind,
)
from featherline_client.types import UNSET, File, Unset

DECK = BookShoe(kind=BookShoeKind.BOOK, shoe="regatta-deck", size=Size(system=SizeSystem.EU, value="42"))
CLOG = BookShoe(kind=BookShoeKind.BOOK, shoe="ward-clog", size=Size(system=SizeSystem.EU, value="40"))
MARLOW = TextArtwork(kind=TextArtworkKind.TEXT, text="MARLOW\n7", font="plain", height="22 mm")
WARD = TextArtwork(kind=TextArtworkKind.TEXT, text="W3", font="bold", height="12 mm")


def order(shoe: BookShoe, placement: Placement, press: str | Unset = UNSET) -> Order:
    """Return an order for one marking on a shoe of the book."""
    return Order(shoe=shoe, placements=[placement], press=press, reference="K-2041")


def main(url: str, lines: Path) -> None:
    """Ask and print."""
    marked = Placement(panel="outer-quarter", film="smooth", colour="gorse", artwork=MARLOW)
    spoilt = Placement(panel="outer-side", film="smooth", colour="chalk", artwork=WARD)
    with AuthenticatedClient(base_url=url, token="unasked") as client:  # noqa: S106 - no key
        quote = compose_quote.sync(client=client, body=order(DECK, marked))
        clog = compose_quote.sync(client=client, body=order(CLOG, spoilt))
        refused = compose_quote.sync(client=client, body=order(DECK, marked, "mangle"))
        assert isinstance(quote, QuoteAnswer)
        assert isinstance(clog, QuoteAnswer)
        assert isinstance(refused, Problem)
        assert quote.price is not None
        assert quote.seal is not None
        check = check_seal.sync(client=client, body=SealCheckRequest(seal=quote.seal.text))
        film = read_film.sync("smooth", client=client)
        answered = answer_bulk.sync(client=client, body=File(payload=BytesIO(lines.read_bytes())))
    assert isinstance(check, SealCheck)
    assert isinstance(check.quote, SealedQuote)
    assert isinstance(check.quote.order, Order)
    artwork = check.quote.order.placements[0].artwork
    assert isinstance(artwork, TextArtwork)
    assert isinstance(film, RecordAnswerFilm)
    assert isinstance(answered, File)
    read = {
        "verdict": quote.verdict.value,
        "price": f"{quote.price.total.amount} {quote.price.total.currency}",
        "declined": [clog.verdict.value, [reason.code for reason in clog.reasons]],
        "refused": [fault.pointer for fault in refused.errors],
        "seal": [check.status.value, check.quote.reference, artwork.text],
        "film": film.record.name,
        "lines": len(answered.payload.read().splitlines()),
    }
    sys.stdout.write(json.dumps(read))


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
