"""What is written in one turn of the loop goes out at once."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import pytest

from featherline_service.web.server.transport import BufferedTransport


class Wire:
    """A transport that notes what it is told."""

    def __init__(self) -> None:
        self.told: list[bytes | str] = []

    def write(self, data: bytes) -> None:
        """Note bytes."""
        self.told.append(data)

    def close(self) -> None:
        """Note a close."""
        self.told.append("close")

    def abort(self) -> None:
        """Note an abort."""
        self.told.append("abort")

    def is_closing(self) -> bool:
        """Say whether it was closed."""
        return "close" in self.told


def told(use: Callable[[BufferedTransport], object]) -> list[bytes | str]:
    """Return what the transport is told, within the turn and at the beginning of the next."""
    wire = Wire()

    async def run() -> None:
        use(BufferedTransport(wire, asyncio.get_running_loop()))  # type: ignore[arg-type]
        wire.told.append("turn")
        await asyncio.sleep(0)

    asyncio.run(run())
    return wire.told


@pytest.mark.parametrize(
    ("use", "expected"),
    [
        (lambda joined: [joined.write(part) for part in (b"head", b"body", b"")], ["turn", b"headbody"]),
        (lambda joined: [joined.write(b"last"), joined.close()], [b"last", "close", "turn"]),
        (lambda joined: [joined.write(b"lost"), joined.abort()], ["abort", "turn"]),
        (lambda joined: [joined.write(b"a" * 65_535), joined.write(b"b"), joined.write(b"c")],
         [b"a" * 65_535 + b"b", "turn", b"c"]),
        (lambda joined: joined.close(), ["close", "turn"]),
    ],
)  # fmt: skip
def test_writes_are_joined(use: Callable[[BufferedTransport], object], expected: list[bytes | str]) -> None:
    """Parts of one turn are one write; a close waits for them, an abort drops them, and much is written at once."""
    assert expected == told(use)


def test_turns_are_apart() -> None:
    """What is written later is a write of its own."""
    wire = Wire()

    async def run() -> None:
        joined = BufferedTransport(wire, asyncio.get_running_loop())  # type: ignore[arg-type]
        for part in (b"first", b"second"):
            joined.write(part)
            await asyncio.sleep(0)

    asyncio.run(run())
    assert [b"first", b"second"] == wire.told


def test_everything_else_is_the_transports_own() -> None:
    """What is not about writing goes through."""
    seen: list[bool] = []
    told(lambda joined: [seen.append(joined.is_closing()), joined.close(), seen.append(joined.is_closing())])

    assert [False, True] == seen
