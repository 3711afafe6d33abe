"""Blocks: every line in one, bounded in number and bytes, with a digest of what they say."""

from __future__ import annotations

import pickle

from hypothesis import given
from hypothesis import strategies as st

from featherline_service.reprice.blocks import Block, split
from featherline_service.web.http.lines import Line

LINES = st.lists(st.one_of(st.none(), st.binary(max_size=9)), max_size=30).map(
    lambda texts: [Line(number, text) for number, text in enumerate(texts, 1)]
)


@given(LINES, st.integers(1, 8), st.integers(1, 40))
def test_every_line_is_in_one_block_and_in_order(lines: list[Line], most: int, most_bytes: int) -> None:
    """Blocks joined are the lines; each is as long as it may be, and over its bytes by its last line alone."""
    blocks = list(split(lines, most, most_bytes))

    assert lines == [line for block in blocks for line in block.lines]
    for block in blocks:
        sizes = [len(line.text or b"") for line in block.lines]
        assert 1 <= len(sizes) <= most
        assert sum(sizes[:-1]) < most_bytes
        assert block is blocks[-1] or len(sizes) == most or sum(sizes) >= most_bytes


def test_a_digest_is_of_numbers_and_texts() -> None:
    """Another text, number or division of the same bytes has another digest; the same lines have the same."""
    blocks = [
        Block((Line(1, b"ab"), Line(2, b"c"))),
        Block((Line(1, b"a"), Line(2, b"bc"))),
        Block((Line(1, b"ab"), Line(3, b"c"))),
        Block((Line(1, b"ab"), Line(2, None))),
        Block((Line(1, b"ab"), Line(2, b""))),
        Block((Line(1, b"ab2 1\nc"),)),
    ]

    assert len(blocks) == len({block.digest for block in blocks})
    assert blocks[0].digest == Block((Line(1, b"ab"), Line(2, b"c"))).digest
    assert (blocks[0], blocks[0].digest) == (pickled := pickle.loads(pickle.dumps(blocks[0])), pickled.digest)  # noqa: S301
    assert 3 == Block((Line(3, b"c"),)).first
