"""Where callers are, behind proxies."""

from __future__ import annotations

from typing import Any, cast

import pytest

from featherline_service.web.server.addresses import Addresses


def address(
    client: str | None, forwarded: str | None = None, trusted: tuple[str, ...] = ("10.0.0.0/24",)
) -> str | None:
    """Return the address of a caller whose connection comes from a client, with what that forwards."""
    headers = [] if forwarded is None else [(b"x-forwarded-for", forwarded.encode())]
    scope: Any = {"type": "http", "headers": headers, "client": None if client is None else (client, 40_000)}
    return Addresses(trusted).of(cast("Any", scope))


@pytest.mark.parametrize(
    ("client", "forwarded", "told"),
    [
        (None, None, None),
        ("192.0.2.7", None, "192.0.2.7"),
        ("192.0.2.7", "198.51.100.1", "192.0.2.7"),
        ("10.0.0.1", None, "10.0.0.1"),
        ("10.0.0.1", "198.51.100.1", "198.51.100.1"),
        ("10.0.0.1", "203.0.113.5, 198.51.100.1", "198.51.100.1"),
        ("10.0.0.1", "203.0.113.5, 198.51.100.1, 10.0.0.2", "198.51.100.1"),
        ("10.0.0.1", "10.0.0.3, 10.0.0.2", "10.0.0.3"),
        ("10.0.0.1", "198.51.100.1,, 10.0.0.2", "10.0.0.2"),
        ("10.0.0.1", "x" * 65, "10.0.0.1"),
        ("10.0.0.1", "unknown", "unknown"),
        ("/run/proxy.sock", "198.51.100.1", "/run/proxy.sock"),
    ],
)
def test_what_a_trusted_proxy_forwards_is_believed(client: str | None, forwarded: str | None, told: str | None) -> None:
    """The last address that no trusted proxy has: what stands before it, the caller may have written."""
    assert told == address(client, forwarded)


def test_without_a_trusted_proxy_nothing_is_believed() -> None:
    """Anybody can write the field."""
    assert "10.0.0.1" == address("10.0.0.1", "198.51.100.1", trusted=())
