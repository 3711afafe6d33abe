"""Messages between the process that serves HTTP and those that compute: MessagePack, each with its length before it."""

from __future__ import annotations

import socket
from collections.abc import Iterator, Mapping
from typing import Final

import msgspec
from msgspec import Struct

from featherline.wire.book import Plugin

_LENGTH_BYTES: Final = 4


class Work(Struct, frozen=True, array_like=True):
    """A question to compute: its bytes, the processor time that it may use [s], and the ids that log lines get."""

    number: int
    question: bytes
    limit_s: float
    ids: Mapping[str, str]


class Statistics(Struct, frozen=True, array_like=True):
    """What a process has counted since its start: lookups of each cache (found, computed), and bytes held now."""

    lookups: Mapping[str, tuple[int, int]]
    cache_bytes: int


class Done(Struct, frozen=True, array_like=True, tag="done"):
    """An answer: its bytes, the processor time of the process so far [s], and log lines; statistics now and then."""

    number: int
    answer: bytes
    used_s: float
    lines: tuple[bytes, ...]
    statistics: Statistics | None = None


class PluginCalled(Struct, frozen=True, array_like=True, tag="called"):
    """A plug-in is running. Without one, it has returned."""

    plugin: Plugin | None


class OutOfMemory(Struct, frozen=True, array_like=True, tag="memory"):
    """No memory was left for the question; the process ends."""


Reply = Done | PluginCalled | OutOfMemory

encode: Final = msgspec.msgpack.Encoder().encode
decode_work: Final = msgspec.msgpack.Decoder(Work).decode
decode_reply: Final = msgspec.msgpack.Decoder(Reply).decode


def framed(message: Struct) -> bytes:
    """Return a message with its length before it."""
    content = encode(message)
    return len(content).to_bytes(_LENGTH_BYTES) + content


class Frames:
    """Divides what arrives into the contents of messages."""

    def __init__(self) -> None:
        self._arrived = bytearray()

    def feed(self, data: bytes) -> Iterator[bytes]:
        """Yield the contents that are complete with this data."""
        self._arrived += data
        while len(self._arrived) >= _LENGTH_BYTES:
            end = _LENGTH_BYTES + int.from_bytes(self._arrived[:_LENGTH_BYTES])
            if len(self._arrived) < end:
                return
            yield bytes(self._arrived[_LENGTH_BYTES:end])
            del self._arrived[:end]


def receive(connection: socket.socket) -> bytes | None:
    """Return the content of the next message; None when the other end has closed."""
    length = _receive_all(connection, _LENGTH_BYTES)
    return None if length is None else _receive_all(connection, int.from_bytes(length))


def _receive_all(connection: socket.socket, size: int) -> bytes | None:
    received = bytearray(size)
    view = memoryview(received)
    while view:
        count = connection.recv_into(view)
        if not count:
            return None
        view = view[count:]
    return bytes(received)
