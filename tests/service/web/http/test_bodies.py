"""How bodies are decoded."""

from __future__ import annotations

import asyncio
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from litestar import Request

from featherline.wire.costs import Order
from featherline_service.questions.checks import RefusedError
from featherline_service.web.http.bodies import DEEPEST, MOST_ARRIVING, MOST_FAULTS, Body, read
from featherline_service.web.http.problems import MALFORMED_BODY, ProblemError

ORDER: Body[Order] = Body(Order)
MINIMAL = {
    "shoe": {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}},
    "placements": [
        {
            "panel": "outer-quarter",
            "film": "smooth",
            "colour": "gorse",
            "artwork": {"kind": "text", "text": "7", "font": "plain", "height": "22 mm"},
        }
    ],
}


def test_the_decoded_value_has_its_type() -> None:
    """A right body becomes the request, with what is not said filled in."""
    order = ORDER.decode(json.dumps(MINIMAL).encode())

    assert (1, "customer", None) == (order.pairs, order.owner, order.placements[0].pose.rotation)


def test_a_float_without_a_fraction_is_a_whole_number() -> None:
    """3.0 becomes the integer 3."""
    order = ORDER.decode(json.dumps({**MINIMAL, "pairs": 3.0}).encode())

    assert (3, int) == (order.pairs, type(order.pairs))


def test_syntax_comes_before_faults() -> None:
    """A body that is wrong in both ways is malformed: nobody can say what the rest of it would have meant."""
    with pytest.raises(ProblemError) as refused:
        ORDER.decode(b'{"pairs": "3", "owner": }')

    assert MALFORMED_BODY is refused.value.kind


def test_nesting_is_followed_so_deep_and_no_deeper() -> None:
    """At the limit the fault is in the type; beyond it the text is malformed."""
    with pytest.raises(RefusedError):
        ORDER.decode(b"[" * (DEEPEST + 1) + b"]" * (DEEPEST + 1))
    with pytest.raises(ProblemError, match=f"deeper than {DEEPEST} levels"):
        ORDER.decode(b"[" * (DEEPEST + 2) + b"]" * (DEEPEST + 2))


def test_faults_are_told_up_to_a_number() -> None:
    """A body with very many faults is told of the first of them."""
    with pytest.raises(RefusedError) as refused:
        ORDER.decode(json.dumps({**MINIMAL, **{f"x{index}": 1 for index in range(10_000)}}).encode())

    assert MOST_FAULTS == len(refused.value.faults)


@pytest.mark.parametrize(
    "body",
    [
        b'{"pairs": 1, "pairs": 2}',
        b'{"shoe": {"kind": "book", "k\\u0069nd": "measured"}}',
        json.dumps(MINIMAL).encode()[:-1] + b', "pairs": 1, "owner": "shop", "pairs": 2}',
    ],
)
def test_a_name_that_occurs_twice_is_refused(body: bytes) -> None:
    """Of two values of one name readers take either (RFC 8259 section 4); none is taken here."""
    with pytest.raises(ProblemError, match="occurs twice in one object"):
        ORDER.decode(body)


def test_a_body_that_does_not_come_is_not_waited_for() -> None:
    """A caller that sends no further is answered, and its connection closed."""

    async def receive() -> Any:  # noqa: ANN401 - ASGI
        await asyncio.sleep(60)

    async def ask() -> bytes:
        scope: Any = {"type": "http", "headers": [(b"content-type", b"application/json")], "state": {}}
        return await read(Request(scope, receive), largest=1000, slowest_s=0.01)

    with pytest.raises(ProblemError, match=r"longer than 0\.01 s") as refused:
        asyncio.run(ask())

    assert (408, {"connection": "close"}) == (refused.value.kind.status, refused.value.headers)


def test_many_large_bodies_that_arrive_at_once_are_refused_and_small_ones_are_not() -> None:
    """Those that are being sent share a bound; when they have ended there is room again."""
    pieces = MOST_ARRIVING // 1_048_576

    async def ask(body: bytes, rest: asyncio.Future[bytes]) -> int:
        coming = iter([body])

        async def receive() -> Any:  # noqa: ANN401 - ASGI
            part = next(coming, None)
            return {"type": "http.request", "body": await rest if part is None else part, "more_body": part is not None}

        scope: Any = {"type": "http", "headers": [(b"content-type", b"application/json")], "state": {}}
        try:
            return len(await read(Request(scope, receive), largest=2_097_152, slowest_s=20))
        except ProblemError as problem:
            return problem.kind.status

    async def ask_all() -> tuple[list[int], list[int], int]:
        rest = asyncio.get_running_loop().create_future()
        begun = [asyncio.ensure_future(ask(b" " * 1_114_112, rest)) for _ in range(pieces)]  # 1 MiB and what is free
        await asyncio.sleep(0)
        done = asyncio.get_running_loop().create_future()
        done.set_result(b" ")
        beside = [await ask(b" " * size, done) for size in (65_535, 65_536)]
        rest.set_result(b"")
        return beside, await asyncio.gather(*begun), await ask(b" " * 1_114_112, done)

    beside, begun, after = asyncio.run(ask_all())

    assert [65_536, 503] == beside
    assert [1_114_112] * pieces == begun
    assert 1_114_113 == after


@given(st.binary(max_size=200))
def test_any_bytes_are_refused_in_one_of_two_ways(body: bytes) -> None:
    """Bytes are malformed or refused, and nothing else goes wrong."""
    with pytest.raises((ProblemError, RefusedError)):
        ORDER.decode(body)


@given(st.binary(min_size=1, max_size=4), st.data())
def test_a_right_body_with_wrong_bytes_in_it_never_fails_otherwise(wrong: bytes, data: st.DataObject) -> None:
    """Wherever bytes are put into a right body, it is decoded, malformed or refused."""
    right = json.dumps(MINIMAL).encode()
    at = data.draw(st.integers(0, len(right)))
    over = data.draw(st.integers(0, 4))
    body = right[:at] + wrong + right[at + over :]

    decoded: Any = None
    try:
        decoded = ORDER.decode(body)
    except (ProblemError, RefusedError):
        return
    assert isinstance(decoded, Order)
