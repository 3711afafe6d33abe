"""Addresses of callers, also behind proxies that are trusted to tell them."""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from functools import lru_cache

from litestar.types import HTTPScope

from featherline_service.web.http.context import header

_LONGEST = 64  # characters of an address, with room for an IPv6 zone; a longer text is none


class Addresses:
    """Tells callers' addresses. What a proxy forwards is believed of trusted ones alone: anybody can write it."""

    def __init__(self, trusted_proxies: Sequence[str]) -> None:
        networks = tuple(ipaddress.ip_network(network) for network in trusted_proxies)

        @lru_cache(maxsize=1_024)
        def is_trusted(address: str) -> bool:
            try:
                parsed = ipaddress.ip_address(address)
            except ValueError:
                return False
            return any(parsed in network for network in networks)

        self._is_trusted = is_trusted
        self._trusts_any = bool(networks)

    def of(self, scope: HTTPScope) -> str | None:
        """Return the address of a request's caller; None where the server knows none.

        Each proxy adds the address that it was asked from at the end of `X-Forwarded-For`: the last that no trusted
        proxy has is the caller's.
        """
        client = scope.get("client")
        address = None if client is None else str(client[0])
        if address is None or not self._trusts_any or not self._is_trusted(address):
            return address
        forwarded = header(scope, b"x-forwarded-for") or ""
        for part in reversed(forwarded.split(",")):
            told = part.strip()
            if not told or len(told) > _LONGEST:
                break
            address = told
            if not self._is_trusted(told):
                break
        return address
