"""Who asks: the id of a caller's key, its scopes and its limits."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Final, Literal, get_args

from msgspec import Meta, Struct

from featherline.wire.costs import Owner
from featherline.wire.money import Currency
from featherline.wire.texts import Identifier

Permission = Literal["ask", "bulk", "book", "watch", "price", "shop"]


Origin = Annotated[
    str, Meta(pattern=r"^https?://[a-z0-9.-]+(:[0-9]{1,5})?$(?!\n)", max_length=200)  # as a browser sends it (RFC 6454)
]


class Caller(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is known of a caller: its key's id, scopes, limits and time. Nothing of it is secret.

    `requests_per_minute` hold in the long run; `burst` of them may come at once. Its questions may take
    `work_s_per_minute` seconds of processor time a minute. One request of bulk has up to `bulk_lines`, and
    `bulk_streams` of them run at the same time.

    Its requests may be pinned to `policies`, an `owner`, `films` and a `currency`, and come from pages of `origins`
    alone; what is empty or null is free.
    """

    id: Identifier
    scopes: Annotated[tuple[Permission, ...], Meta(min_length=1)]
    requests_per_minute: Annotated[int, Meta(ge=1, le=1_000_000)] = 600
    burst: Annotated[int, Meta(ge=1, le=100_000)] = 60
    work_s_per_minute: Annotated[int, Meta(ge=1, le=100_000)] = 60
    # The SDK sends up to 1000 lines at a time and divides what is more, so that no key is too small for it.
    bulk_lines: Annotated[int, Meta(ge=1_000, le=1_000_000_000)] = 100_000
    bulk_streams: Annotated[int, Meta(ge=1, le=16)] = 2
    policies: Annotated[tuple[Identifier, ...], Meta(max_length=24)] = ()
    owner: Owner | None = None
    films: Annotated[tuple[Identifier, ...], Meta(max_length=64)] = ()
    currency: Currency | None = None
    origins: Annotated[tuple[Origin, ...], Meta(max_length=24)] = ()
    expires: Annotated[datetime, Meta(tz=True)]
    not_before: Annotated[datetime, Meta(tz=True)] | None = None

    def is_valid(self, at: datetime) -> bool:
        """Return whether the key's time has begun and has not ended."""
        return (self.not_before is None or self.not_before <= at) and at < self.expires


_FOREVER: Final = datetime.max.replace(tzinfo=UTC)
# Ids that no key can have.
KEYLESS: Final = Caller(
    id="(keyless)", scopes=get_args(Permission), bulk_lines=10**18, bulk_streams=16, expires=_FOREVER
)
"""Every caller of a service without keys, which listens on this machine alone."""
PUBLIC: Final = Caller(id="(public)", scopes=(), expires=_FOREVER)
"""Every caller of a public path."""
