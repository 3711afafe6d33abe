"""Writing head and body of an answer at once."""

from __future__ import annotations

import asyncio
from typing import Any, Final

_MOST_BYTES: Final = 65_536


class JoinedWrites:
    """A transport that writes together what it is given in one turn of the event loop.

    The server writes the head of an answer, then its body. Were the process killed in between, a proxy would have
    passed on the head already, and could neither ask another replica nor say what happened: the caller is left with
    half an answer. (Of 35,000 requests to three replicas that were killed again and again, one ended so.) What is
    written at once, a proxy gets whole or not at all. It is one call of the system less, too.
    """

    def __init__(self, transport: asyncio.Transport, loop: asyncio.AbstractEventLoop) -> None:
        self._transport = transport
        self._loop = loop
        self._parts: list[bytes] = []
        self._size = 0

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - whatever the transport has
        """Return what else the transport has."""
        return getattr(self._transport, name)

    def write(self, data: bytes) -> None:
        """Write soon; at once when it is much, so that the transport can say that it is too much."""
        if not self._parts:
            self._loop.call_soon(self._flush)
        self._parts.append(data)
        self._size += len(data)
        if self._size >= _MOST_BYTES:
            self._flush()

    def close(self) -> None:
        """Close when everything is written."""
        self._flush()
        self._transport.close()

    def abort(self) -> None:
        """Close at once, and write nothing more."""
        self._forget()
        self._transport.abort()

    def _flush(self) -> None:
        if self._parts:
            data = b"".join(self._parts)
            self._forget()
            self._transport.write(data)

    def _forget(self) -> None:
        self._parts.clear()
        self._size = 0
