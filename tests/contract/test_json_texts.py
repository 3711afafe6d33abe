"""Corner cases of JSON (RFC 8259), written by us: well-formed texts are validated, others are malformed, none fails."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx2
import pytest

from featherline.wire.costs import Order
from featherline_service.questions.checks import RefusedError
from featherline_service.web.http.bodies import Body
from featherline_service.web.http.problems import ProblemError

Ask = Callable[..., httpx2.Response]
ORDER: Body[Order] = Body(Order)
EXAMPLE = (Path(__file__).parents[2] / "openapi" / "examples" / "quote-request.json").read_bytes()

NUMBERS = (
    "0", "-0", "7", "-7", "10", "100", "0.5", "-0.5", "0.0", "10.25", "1e3", "1E3", "1e+3", "1e-3", "1.5e3", "1.5E-3",
    "0e0", "0E+0", "-0e-0", "0e400", "1e308", "1e-400", "4.9e-324", "123456789012345678901234567890",
    "0.1234567890123456789012345678901234567890", "1e0000000003", "9007199254740993", "18446744073709551616",
    "-9223372036854775809",
)  # fmt: skip
NO_NUMBERS = (
    "00", "01", "-01", "007", "-", "+", "+1", "--1", "-+1", ".", ".5", "-.5", "1.", "1.e3", "1..2", "1.2.3", "1e", "1E",
    "1e+", "1e-", "1e+-3", "1e1.5", "1e.5", "e3", "0x10", "0b1", "0o7", "1_000", "1 000", "1f", "1d", "1L", "1n", "- 1",
    "1 .5", "1 e3", "1e 3", "NaN", "nan", "-NaN", "Infinity", "-Infinity", "+Infinity", "inf", "1#INF", "1/2", "1%",
    "\u0661", "\uff11", "½", "1\u00a0", "\u22121",
)  # fmt: skip
STRINGS = (
    b'""', b'" "', b'"a"', rb'"\""', rb'"\\"', rb'"\/"', b'"/"', rb'"\b\f\n\r\t"', rb'"\u0041"', rb'"\u00e9"',
    rb'"\u00E9"',
    rb'"\u0000"', rb'"\uffff"', rb'"\ufdd0"', rb'"\ud83d\ude00"', rb'"\uD83D\uDE00"', rb'"\udbff\udfff"', rb'"\\u0041"',
    b'"\x7f"', b'"\xc2\x80"', b'"\xc3\xa9"', b'"\xe2\x80\xa8"', b'"\xef\xbb\xbf"', b'"\xef\xbf\xbf"',
    b'"\xf0\x9f\x98\x80"',
    b'"\xf4\x8f\xbf\xbf"', b'"\'"', b'"{}[],:"', b'"// no comment"', b'"e\xcc\x81"', b'"\xe2\x80\xae"',
)  # fmt: skip
NO_STRINGS = (
    b'"', b'"a', b"a", b"'a'", b"`a`", rb'"\a"', rb'"\x41"', rb'"\0"', rb'"\8"', rb"'\''", rb'"\'"', rb'"\e"',
    rb'"\N"', rb'"\U0041"', rb'"\u"', rb'"\u4"', rb'"\u004"', rb'"\u00g1"', rb'"\u+041"', rb'"\u 041"', rb'"\u{41}"',
    rb'"\ud800"', rb'"\ud800x"', rb'"\ud800\n"', rb'"\ud800\u0041"', rb'"\ud800\ud800"', rb'"\udbff"', b'"\\', b'"\\"',
    b'"a"b', b'"a""b"', b'"a" "b"', b'"a"+"b"', b'"\x80"', b'"\xff"', b'"\xfe"', b'"\xc3"', b'"\xc3("', b'"\xc0\x80"',
    b'"\xc1\xbf"', b'"\xe0\x80\x80"', b'"\xe2\x82"', b'"\xed\xa0\x80"', b'"\xed\xbf\xbf"', b'"\xf0\x80\x80\x80"',
    b'"\xf0\x9f\x98"', b'"\xf4\x90\x80\x80"', b'"\xf8\x88\x80\x80\x80"', '"é"'.encode("latin-1"),
    *(b'"' + bytes([control]) + b'"' for control in range(0x20)),
)  # fmt: skip
VALUES = (
    b"true", b"false", b"null", b"[]", b"[ ]", b"[1]", b"[1,2]", b"[ 1 , 2 ]", b"[[]]", b"[[[[[]]]]]", b"[{}]", b"{}",
    b"{ }", b'{"a":1}', b'{ "a" : 1 }', b'{"a":1,"b":2}', b'{"":1}', b'{"a":{"a":{}}}', b'{"\\u0061":1}',
    b'{"a":[],"b":{}}',
    b"\t1", b"\n1", b"\r1", b"\r\n1", b" 1 ", b"[\n1,\r\n2\t]",
)  # fmt: skip
NO_VALUES = (
    b"", b"True", b"TRUE", b"tru", b"truee", b"t", b"False", b"Null", b"NULL", b"nul", b"nulll", b"nil", b"None",
    b"undefined", b"void 0", b"[", b"]", b"[1", b"[1,", b"[1,]", b"[,1]", b"[,]", b"[1,,2]", b"[1 2]", b"[1;2]",
    b"[1:2]",
    b"(1)", b"[1)", b"[1}", b"{", b"}", b'{"a"', b'{"a":', b'{"a":1', b'{"a":1,', b'{"a":1,}', b"{,}", b'{"a"}',
    b'{"a":}',
    b'{"a" 1}', b'{"a"=1}', b'{"a"::1}', b'{"a":1 "b":2}', b'{"a":1,,"b":2}', b'{"a":1;"b":2}', b"{a:1}", b"{'a':1}",
    b"{1:1}",
    b"{null:1}", b"{[]:1}", b"{{}:1}", b'{"a":1]', b'{"a":1}}', b"{:1}", b"{1}", b"{[]}", b"1,2", b"// 1", b"1 // one",
    b"/* 1 */ 1", b"# 1", b"<!-- 1 -->", b"1;", b"\x0b1", b"\x0c1", b"\x001", b"1\x00", b"\x1b1", b"\xc2\xa01",
    b"\xe2\x80\x831", b"\xef\xbb\xbf1", b"\xc2\x851", b"\xe2\x80\xa81", b"@1", b"$a", b"Date(0)", b"new Date()", b"...",
    b"[...]", b"\\u0031", b'\\"a\\"', b"*", b"^", b"~", b"\x7f", b"\x80",
)  # fmt: skip

GOOD = (*(each.encode() for each in NUMBERS), *STRINGS, *VALUES)
BAD = (*(each.encode() for each in NO_NUMBERS), *NO_STRINGS, *NO_VALUES)


def status(ask: Ask, body: bytes) -> int:
    """Return the status of the answer to a body."""
    return ask("POST", "/v1/quotes", content=body, headers={"content-type": "application/json"}).status_code


@pytest.mark.parametrize("value", GOOD, ids=ascii)
def test_a_well_formed_value_is_judged(ask: Ask, value: bytes) -> None:
    """A well-formed value is read, and then refused because it is no owner."""
    assert status(ask, b'{"owner":' + value + b"}") == 422
    assert status(ask, b"[" + value + b"," + value + b"]") == 422
    assert status(ask, value) == 422


@pytest.mark.parametrize("value", BAD, ids=ascii)
def test_a_value_that_is_not_well_formed_is_malformed(ask: Ask, value: bytes) -> None:
    """A malformed value gets 400, wherever it stands."""
    assert status(ask, b'{"owner":' + value + b"}") == 400
    assert status(ask, b'{"shoe":' + value + b',"owner":"shop"}') == 400
    assert status(ask, value) == 400


@pytest.mark.parametrize("number", ["1e309", "-1e309", "1e400"])
def test_a_number_beyond_all_floats_is_malformed(ask: Ask, number: str) -> None:
    """A number that no float can hold is not rounded to infinity (RFC 8259 section 6 lets an implementation choose)."""
    assert status(ask, b'{"owner":' + number.encode() + b"}") == 400


def outcome(body: bytes) -> str:
    """Return what becomes of a body: decoded, refused or malformed; anything else is a failure."""
    try:
        ORDER.decode(body)
    except RefusedError:
        return "refused"
    except ProblemError:
        return "malformed"
    return "decoded"


def is_json(body: bytes) -> bool:
    """Whether another reader, Python's own, takes a text as JSON by RFC 8259, each name once and no lone surrogate."""

    def constant(name: str) -> None:
        raise ValueError(name)

    def once(members: list[tuple[str, Any]]) -> dict[str, Any]:
        if len(dict(members)) < len(members):
            raise ValueError("twice")
        return dict(members)

    try:
        text = body.decode("utf-8")
        json.dumps(json.loads(text, parse_constant=constant, object_pairs_hook=once), ensure_ascii=False).encode()
    except ValueError:
        return False
    return not text.startswith("\ufeff")


def test_the_example_cut_short_anywhere_is_malformed() -> None:
    """Every proper prefix of a valid body is malformed."""
    body = EXAMPLE.rstrip()

    assert {"malformed"} == {outcome(body[:end]) for end in range(len(body))}
    assert outcome(body) == "decoded"


@pytest.mark.parametrize(
    "wrong",
    [
        b"",
        b"\x00",
        b" ",
        b'"',
        b"\\",
        b",",
        b":",
        b"{",
        b"}",
        b"[",
        b"]",
        b"0",
        b"-",
        b".",
        b"e",
        b"u",
        b"\n",
        b"\x7f",
        b"\xff",
        b"\xc3",
    ],
    ids=ascii,
)
@pytest.mark.parametrize("over", [0, 1])
def test_a_byte_put_or_lost_anywhere_is_judged_as_another_reader_judges(wrong: bytes, over: int) -> None:
    """A byte inserted or replaced anywhere in a valid body makes it malformed just when Python's reader says so."""
    for at in range(len(EXAMPLE)):
        body = EXAMPLE[:at] + wrong + EXAMPLE[at + over :]
        assert is_json(body) == (outcome(body) != "malformed"), body


def test_there_are_enough_cases() -> None:
    """The corner cases are at least 150, and each is there once."""
    assert len(GOOD) + len(BAD) == len({*GOOD, *BAD})
    assert len(GOOD) + len(BAD) >= 150
