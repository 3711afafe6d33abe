"""A proxy that drops, delays, truncates and repeats the lines of bulk, as networks do."""

from __future__ import annotations

import asyncio
import contextlib
import struct
from collections import Counter
from collections.abc import AsyncIterator, Iterator
from functools import partial
from socket import SO_LINGER, SOL_SOCKET
from typing import Final

from anyio.from_thread import start_blocking_portal

FAULTS: Final = (
    "none",
    "hang up before the request",
    "hang up after the request",
    "hang up after some lines",
    "reset after some lines",
    "none",
    "end the answer early",
    "cut a line in two and end the answer",
    "fall silent after some lines",
    "delay",
    "repeat the request",
    "repeat a part of the answer",
)
_DELAY_S: Final = 0.05
_SILENCE_S: Final = 30.0


class FaultyProxy:
    """Forwards POSTs of lines to a service, each with the next fault of the list.

    Attributes:
        done: The count of each fault.
    """

    def __init__(self, service: int) -> None:
        self.done: Counter[str] = Counter()
        self._service = service
        self._turn = 0
        self._tasks: set[asyncio.Task[None]] = set()

    async def carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve a connection of a client."""
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        try:
            with contextlib.suppress(ConnectionError, asyncio.IncompleteReadError):
                await self._serve(reader, writer)
            writer.close()
        except asyncio.CancelledError:
            writer.transport.abort()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()
        self._tasks.discard(task)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Answer the requests of a connection until a fault ends it."""
        while head := await reader.readuntil(b"\r\n\r\n"):
            request = head + await reader.readexactly(_length(head))
            fault = FAULTS[self._turn % len(FAULTS)]
            self._turn += 1
            self.done[fault] += 1
            if not await self._answer(fault, request, writer):
                return

    async def _answer(self, fault: str, request: bytes, writer: asyncio.StreamWriter) -> bool:
        """Answer a request with a fault; return whether the connection stays open."""
        if fault == "hang up before the request":
            return False
        if fault == "repeat the request":
            async with _ask(self._service, request) as answer:
                async for _ in answer:
                    pass
        async with _ask(self._service, request) as answer:
            if fault == "hang up after the request":
                return False
            if fault == "delay":
                await asyncio.sleep(_DELAY_S)
            writer.write(await anext(answer))
            async for chunk in answer:
                if not await self._chunk(fault, chunk, writer):
                    return fault in {"end the answer early", "cut a line in two and end the answer"}
                await writer.drain()
        return True

    async def _chunk(self, fault: str, chunk: bytes, writer: asyncio.StreamWriter) -> bool:
        """Send a chunk of an answer with a fault; return whether to go on with the next chunk."""
        # The service sends whole lines in a chunk; send half of those in the first one.
        lines = chunk.splitlines(keepends=True)
        some = b"".join(lines[: max(1, len(lines) // 2)])
        match fault:
            case "hang up after some lines":
                writer.write(_framed(some)[:-9])
            case "reset after some lines":
                writer.write(_framed(some))
                await writer.drain()
                await asyncio.sleep(_DELAY_S)  # so that they arrive before the reset
                connection = writer.get_extra_info("socket")
                connection.setsockopt(SOL_SOCKET, SO_LINGER, struct.pack("ii", 1, 0))
                writer.transport.abort()
            case "end the answer early":
                writer.write(_framed(some) + _framed(b""))
            case "cut a line in two and end the answer":
                writer.write(_framed(some[:-20]) + _framed(b""))
            case "fall silent after some lines":
                writer.write(_framed(some))
                await writer.drain()
                await asyncio.sleep(_SILENCE_S)
            case "repeat a part of the answer":
                writer.write(_framed(some) + _framed(chunk) + (_framed(chunk) if chunk else b""))
                return True
            case _:
                writer.write(_framed(chunk))
                return True
        return False

    async def stop(self) -> None:
        """Close every connection, and wait for that."""
        tasks = tuple(self._tasks)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await asyncio.sleep(0.05)  # a closed transport frees its socket in a later step of the loop


@contextlib.asynccontextmanager
async def _ask(port: int, request: bytes) -> AsyncIterator[AsyncIterator[bytes]]:
    """Ask the service on a new connection; yield the head of the response, then its chunks, the last one empty."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port, limit=1 << 20)
    writer.write(request)

    async def answer() -> AsyncIterator[bytes]:
        yield await reader.readuntil(b"\r\n\r\n")
        chunk = b"something"
        while chunk:
            size = int(await reader.readuntil(b"\r\n"), 16)
            chunk = (await reader.readexactly(size + 2))[:size]
            yield chunk

    try:
        async with contextlib.aclosing(answer()) as chunks:
            yield chunks
    finally:
        writer.close()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()


def _framed(chunk: bytes) -> bytes:
    return b"%x\r\n%b\r\n" % (len(chunk), chunk)


def _length(head: bytes) -> int:
    for line in head.lower().split(b"\r\n"):
        if line.startswith(b"content-length:"):
            return int(line.partition(b":")[2])
    return 0


@contextlib.contextmanager
def proxying(service: int) -> Iterator[tuple[FaultyProxy, int]]:
    """Run a faulty proxy in front of a port of this machine, in a thread; yield the proxy and its port."""
    proxy = FaultyProxy(service)
    with start_blocking_portal() as portal:
        server = portal.call(partial(asyncio.start_server, proxy.carry, "127.0.0.1", 0, limit=1 << 20))
        yield proxy, server.sockets[0].getsockname()[1]
        portal.call(server.close)
        portal.call(proxy.stop)
