"""Messages between processes."""

from __future__ import annotations

import socket

from hypothesis import given
from hypothesis import strategies as st

from featherline.wire.book import Plugin
from featherline_service.computing import messages
from featherline_service.computing.messages import Done, Frames, OutOfMemory, PluginCalled, Statistics, Work, framed

WORK = Work(7, b"\x00?", 1.5, {"request_id": "tide"})
REPLIES = (
    Done(7, b"!", 0.5, (b"{}\n",), Statistics({"f": (1, 2)}, 3)),
    PluginCalled(Plugin(name="own", kind="check", distribution="own-rules", version="1.2")),
    OutOfMemory(),
)


@given(st.integers(1, 40))
def test_replies_are_read_however_they_are_cut(size: int) -> None:
    """In pieces of any size."""
    frames, read = Frames(), []
    sent = b"".join(map(framed, REPLIES))
    for begin in range(0, len(sent), size):
        read += map(messages.decode_reply, frames.feed(sent[begin : begin + size]))

    assert REPLIES == tuple(read)


def test_work_is_received_until_the_other_end_closes() -> None:
    """Also in the midst of a message."""
    ours, theirs = socket.socketpair()
    with theirs:
        with ours:
            ours.sendall(framed(WORK) + framed(WORK)[:-1])
        content = messages.receive(theirs)
        assert content is not None
        assert messages.decode_work(content) == WORK
        assert messages.receive(theirs) is None
        assert messages.receive(theirs) is None
