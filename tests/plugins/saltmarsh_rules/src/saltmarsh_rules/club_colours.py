"""The colours of the regatta club: on its deck shoes, gorse and chalk."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from featherline.plugins import Findings
from featherline.wire import BookShoe, Order, Reason

CLUB_SHOE: Final = "regatta-deck"
COLOURS: Final = ("gorse", "chalk")


class ClubColours:
    """Declines other colours on the club's shoes, and has one more than two placements looked at first."""

    def check(self, order: Order, found: Findings) -> Iterator[Reason]:
        """Yield what the club's rules say of an order."""
        if not (isinstance(order.shoe, BookShoe) and order.shoe.shoe == CLUB_SHOE):
            return
        for place, placement in enumerate(order.placements):
            if placement.colour not in COLOURS:
                yield Reason(
                    code="club-colours.other",
                    verdict="decline",
                    subject=f"/placements/{place}/colour",
                    sentence=f"The club's shoes are marked in {' or '.join(COLOURS)}, not in {placement.colour}.",
                )
        marks = sum(2 if one.sides == "both" else 1 for one in found.placements)
        if marks > 2 * 2:
            yield Reason(
                code="club-colours.many",
                verdict="trial",
                subject="/placements",
                sentence="More than two marks on each of the club's shoes: show the club a pair first.",
                measure=float(marks),
                limit=4.0,
                unit="mark",
            )
