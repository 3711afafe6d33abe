"""How a stream of bytes becomes lines."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from featherline_service.web.http.lines import Line, LineSplitter

LONGEST = 12


def divided(parts: list[bytes]) -> list[Line]:
    """Return the lines of a stream that comes in parts."""
    lines = LineSplitter(LONGEST)
    return [*(line for part in parts for line in lines.feed(part)), *lines.end()]


def expected(stream: bytes) -> list[Line]:
    """Return the lines of a stream by the plainest means."""
    numbered = enumerate(stream.split(b"\n"), 1)
    return [
        Line(number, None if len(text) > LONGEST else text.strip(b" \t\r"))
        for number, text in numbered
        if len(text) > LONGEST or text.strip(b" \t\r")
    ]


@given(st.lists(st.text(st.sampled_from('{"7} \t\r\n\n\né'), max_size=20).map(str.encode), max_size=12))
def test_lines_are_the_same_however_they_arrive(parts: list[bytes]) -> None:
    """Where a stream is cut makes no difference."""
    stream = b"".join(parts)

    assert expected(stream) == divided(parts)
    assert expected(stream) == divided([stream[index : index + 1] for index in range(len(stream))])


def test_no_more_of_a_line_is_held_than_the_longest_allowed() -> None:
    """Of a line that is too long nothing is kept while it goes on, and the next one is right."""
    lines = LineSplitter(LONGEST)
    most = 0
    for _ in range(1000):
        assert [] == list(lines.feed(b"1234567"))
        most = max(most, len(lines._present))

    assert most <= LONGEST
    assert [Line(1, None), Line(2, b"7")] == [*lines.feed(b"\n7"), *lines.end()]


def test_empty_lines_count_and_are_left_out() -> None:
    """The number of a line is that in the caller's file."""
    assert [Line(1, b"1"), Line(4, b"4"), Line(5, b"5")] == divided([b"1\r\n\n \t\r\n4\n5"])


def test_a_stream_without_lines_has_none() -> None:
    """Nothing, or nothing but white space, is no line."""
    assert [] == divided([])
    assert [] == divided([b"\n\r\n  "])
