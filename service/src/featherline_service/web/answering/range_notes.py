"""What the log tells of records that answers use outside their range: facts of the book, not of a request."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import structlog

from featherline_service.questions.record_ranges import ADVICE, Outside, RangedProperty

_FARTHER: Final = 2.0
_DIGITS: Final = 3
_log: Final = structlog.stdlib.get_logger()


class RangeNotes:
    """One warning for each record and property of a revision; another where it is more than twice as far outside.

    The owner mends the record once, whoever asks and however often; the metrics count the answers.
    """

    def __init__(self, revisions: Sequence[str]) -> None:
        """Tell of books by their revisions, in the order of their numbers."""
        self._revisions = revisions
        self._farthest: dict[tuple[str, str, RangedProperty], float] = {}

    def note(self, book: int, uses: Iterable[Outside]) -> None:
        """Tell what is new of the uses of records by an answer of a book."""
        for use in uses:
            revision = self._revisions[book]
            key = revision, use.record, use.what
            if key in self._farthest and use.beyond <= _FARTHER * self._farthest[key]:
                continue
            self._farthest[key] = use.beyond
            _log.warning(
                "book.outside-range",
                record=use.record,
                property=use.what,
                value=use.value,
                lowest=use.lowest,
                highest=use.highest,
                beyond=round(use.beyond, _DIGITS),
                unit=use.unit,
                book=revision,
                advice=ADVICE[use.what],
            )
