"""Deprecated operations: since when, until when, and the page that names the successor."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from email.utils import format_datetime
from typing import Final

from msgspec import Struct

NOTICE: Final = timedelta(days=180)
"""How long a deprecated operation is still answered: our promise to callers."""


class Deprecation(Struct, frozen=True, kw_only=True):
    """Since when an operation is deprecated, the page that names its successor, and when it ends, once known.

    Raises:
        ValueError: An instant is not in UTC, or the notice is too short.
    """

    since: datetime
    told_at: str
    sunset: datetime | None = None

    def __post_init__(self) -> None:
        """Check the promised notice."""
        if any(at is not None and at.utcoffset() != timedelta() for at in (self.since, self.sunset)):
            raise ValueError("Give both instants in UTC")
        if self.sunset is not None and self.sunset - self.since < NOTICE:
            raise ValueError(f"What is deprecated is answered for {NOTICE.days} more days at the least")

    @property
    def headers(self) -> Sequence[tuple[bytes, bytes]]:
        """The header fields of every answer of the operation.

        References:
            RFC 9745 section 2: `Deprecation`, a date of RFC 9651 section 3.3.7; section 3: the link relation.
            RFC 8594 section 3: `Sunset`, a date as HTTP writes it.
        """
        fields = [
            (b"deprecation", f"@{int(self.since.timestamp())}".encode()),
            (b"link", f'<{self.told_at}>; rel="deprecation"'.encode()),
        ]
        if self.sunset is not None:
            fields.append((b"sunset", format_datetime(self.sunset, usegmt=True).encode()))
        return fields
