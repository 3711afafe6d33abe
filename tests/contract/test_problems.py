"""Every refused request gets a problem document, with JSON Pointers where the body is at fault."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import httpx2
import pytest

from featherline.wire.costs import Order
from featherline.wire.problems import Problem
from featherline_service.settings import Settings

Ask = Callable[..., httpx2.Response]
JSON = {"content-type": "application/json"}


def problem_of(response: httpx2.Response) -> dict[str, Any]:
    """Return the problem document of a response, checked to be one."""
    found: dict[str, Any] = response.json()
    assert response.headers["content-type"] == "application/problem+json"
    assert set(Problem.__struct_fields__) == set(found)
    assert found["status"] == response.status_code
    assert found["instance"] == f"urn:featherline:request:{response.headers['x-request-id']}"
    assert found["type"].startswith("urn:featherline:problem:")
    return found


def faults_of(response: httpx2.Response) -> dict[str, str]:
    """Return the faults of a refused request: details by their pointers."""
    found = problem_of(response)
    assert (found["status"], found["type"]) == (422, "urn:featherline:problem:refused")
    return {fault["pointer"]: fault["detail"] for fault in found["errors"]}


def artwork_of(order: dict[str, Any]) -> dict[str, Any]:
    """Return the artwork of an order's first placement."""
    found: dict[str, Any] = order["placements"][0]["artwork"]
    return found


def test_an_unknown_film_is_refused_at_its_place(ask: Ask, order: dict[str, Any]) -> None:
    """An unknown record names the records that there are."""
    order["placements"][0]["film"] = "smoothest"

    faults = faults_of(ask("POST", "/v1/quotes", json=order))

    assert list(faults) == ["/placements/0/film"]
    assert "'smoothest'" in faults["/placements/0/film"]
    assert "flock" in faults["/placements/0/film"]


@pytest.mark.parametrize(
    ("height", "got"),
    [
        (22, "the bare number 22"),
        ("22", "the text '22'"),
        ("22 degC", "the text '22 degC'"),
        ("22 mm2", "the text '22 mm2'"),
        ("-22 mm", "the text '-22 mm'"),
        ("0 mm", "the text '0 mm'"),
        ("22 mm\n", r"the text '22 mm\n'"),
        ("9**9**9 m", "the text '9**9**9 m'"),
        ("2½ in", "the text '2½ in'"),
        ("1e400 mm", "the text '1e400 mm'"),
        ("NaN mm", "the text 'NaN mm'"),
        ("", "an empty text"),
        (True, "true"),
        ([], "a list of 0"),
        ({}, "an object"),
    ],
)
def test_an_unusable_height_is_refused_with_the_units_that_fit(
    ask: Ask, order: dict[str, Any], height: object, got: str
) -> None:
    """A bare number, a wrong dimension, a negative height and hostile texts are told how to write a length."""
    artwork_of(order)["height"] = height

    faults = faults_of(ask("POST", "/v1/quotes", json=order))

    if isinstance(height, str):  # as a customer may have typed it
        expected = f"'{height}' is no height: give a number above zero with its unit (mm, cm, m, in), such as 22 mm"
    else:
        what = "a length greater than zero, as text with its unit (mm, cm, m, in), such as '22 mm'"
        expected = f"Expected {what}; got {got}"
    assert {"/placements/0/artwork/height": expected} == faults


def test_an_empty_text_is_refused(ask: Ask, order: dict[str, Any]) -> None:
    """An empty text has nothing to cut."""
    artwork_of(order)["text"] = ""

    faults = faults_of(ask("POST", "/v1/quotes", json=order))

    assert {"/placements/0/artwork/text": "There is no text: write at least one letter or digit"} == faults


def test_a_character_that_the_font_lacks_is_refused(ask: Ask, order: dict[str, Any]) -> None:
    """A character without a glyph is named."""
    artwork_of(order)["text"] = "MARLOW 潮"

    faults = faults_of(ask("POST", "/v1/quotes", json=order))

    assert list(faults) == ["/placements/0/artwork/text"]
    assert faults["/placements/0/artwork/text"].startswith("The font Fjalla One lacks '潮' (U+6F6E")


def test_unknown_fields_are_refused_wherever_they_are(ask: Ask, order: dict[str, Any]) -> None:
    """A field that is not known is a fault at its own pointer, with the fields that there are."""
    order["placments"] = []
    artwork_of(order)["colour/inside"] = "pitch"

    faults = faults_of(ask("POST", "/v1/quotes", json=order))

    assert list(faults) == ["/placements/0/artwork/colour~1inside", "/placments"]
    assert faults["/placments"] == f"Unknown field; the fields here are: {', '.join(sorted(Order.__struct_fields__))}"


def test_faults_against_the_book_come_together(ask: Ask, order: dict[str, Any]) -> None:
    """Several unknown records are named together."""
    order["policy"] = "friends"
    order["press"] = "mangle"
    order["placements"][0]["film"] = "smoothest"

    faults = faults_of(ask("POST", "/v1/quotes", json=order))

    assert {"/policy", "/press", "/placements/0/film"} <= set(faults)


def test_an_order_inside_a_cost_keeps_its_pointers(ask: Ask, order: dict[str, Any]) -> None:
    """The pointers are into the request as it was sent."""
    order["placements"][0]["film"] = "smoothest"

    faults = faults_of(ask("POST", "/v1/costs", json={"kind": "order", "order": order}))

    assert list(faults) == ["/order/placements/0/film"]


@pytest.mark.parametrize("path", ["/v1/recipes", "/v1/fits", "/v1/artworks", "/v1/costs", "/v1/quotes"])
class TestEveryQuestion:
    """What holds for the body of each question."""

    @pytest.mark.parametrize(
        "body",
        [
            b"",
            b"{",
            b'{"shoe": }',
            b"{} {}",
            b"\xef\xbb\xbf{}",
            b'{"shoe": "\xff"}',
            b'{"\xff": 1}',
            b'{"shoe": "\\ud800"}',
            b"[" * 100_000,
            b'{"shoe":' * 100_000,
            b"[" * 100 + b"]" * 100,
            b'{"pairs": NaN}',
            b'{"pairs": 1e400}',
            b'{"a": 1, "a": 2}',
            b"'{}'",
            b"\x00",
            b"{\"a\": '1'}",
            b'{"a": 1,}',
            b'{"a": 01}',
            b'{"a": "\n"}',
            "{}".encode("utf-16"),
        ],
        ids=lambda body: ascii(body[:20]),
    )
    def test_what_is_no_json_is_malformed(self, ask: Ask, path: str, body: bytes) -> None:
        """Syntax errors, invalid UTF-8, nesting without end and repeated names are 400."""
        found = problem_of(ask("POST", path, content=body, headers=JSON))

        assert (found["status"], found["type"]) == (400, "urn:featherline:problem:malformed-body")
        (fault,) = found["errors"]
        assert ("", found["detail"]) == (fault["pointer"], fault["detail"])
        assert fault["code"] in {"body.not-utf-8", "body.not-json", "body.too-deep", "body.name-twice"}

    @pytest.mark.parametrize("body", [b"null", b"1", b'"x"', b"[]", b"true", b"-0.0", b"[[[]]]"])
    def test_json_of_another_type_is_refused_whole(self, ask: Ask, path: str, body: bytes) -> None:
        """Well-formed JSON that is no object is a fault of the whole body."""
        assert list(faults_of(ask("POST", path, content=body, headers=JSON))) == [""]

    @pytest.mark.parametrize(
        "headers",
        [
            {},
            {"content-type": "text/plain"},
            {"content-type": "application/x-www-form-urlencoded"},
            {"content-type": "application/json; charset=latin-1"},
            {"content-type": "application/jsonp"},
            {"content-type": "application/problem+json"},
            {"content-type": "application/json", "content-encoding": "br"},
        ],
    )
    def test_other_media_types_are_not_taken(self, ask: Ask, path: str, headers: dict[str, str]) -> None:
        """Only application/json in UTF-8 is taken, as it is or in a coding that the service has."""
        found = problem_of(ask("POST", path, content=b"{}", headers=headers))
        assert (415, [""]) == (found["status"], [fault["pointer"] for fault in found["errors"]])

    @pytest.mark.parametrize("media_type", ["application/json; charset=utf-8", 'Application/JSON;charset="UTF-8"'])
    def test_json_in_utf_8_is_taken_however_it_is_named(self, ask: Ask, path: str, media_type: str) -> None:
        """Media types are compared as RFC 9110 section 8.3.1 says; an empty object is then a refused body."""
        assert faults_of(ask("POST", path, content=b"{}", headers={"content-type": media_type}))

    def test_a_large_body_is_refused_by_its_length(self, ask: Ask, path: str) -> None:
        """A Content-Length of 2 MB is refused before the body is read."""
        found = problem_of(ask("POST", path, content=b" " * 2_000_000, headers=JSON))
        assert (413, [""]) == (found["status"], [fault["pointer"] for fault in found["errors"]])

    def test_a_large_body_is_refused_while_it_streams(self, ask: Ask, path: str) -> None:
        """A chunked body is refused when it passes the limit."""

        async def chunks() -> Any:  # noqa: ANN401 - an asynchronous generator
            for _ in range(200):
                yield b" " * 10_000

        response = ask("POST", path, content=chunks(), headers=JSON)

        assert "content-length" not in response.request.headers
        assert problem_of(response)["status"] == 413

    def test_a_body_of_the_largest_size_is_read(self, ask: Ask, path: str) -> None:
        """The limit itself is allowed."""
        body = b"{}".ljust(Settings().max_body)

        assert faults_of(ask("POST", path, content=body, headers=JSON))


@pytest.mark.parametrize("pairs", [b"3.0", b"30e-1", b"0.3e1", b"3"])
def test_a_whole_number_may_be_written_as_a_float(ask: Ask, order: dict[str, Any], pairs: bytes) -> None:
    """3.0 is 3: JSON has one kind of number (RFC 8259 section 6)."""
    order["pairs"] = 3
    expected = ask("POST", "/v1/quotes", json=order)
    body = json.dumps(order).encode().replace(b'"pairs": 3', b'"pairs": ' + pairs)

    response = ask("POST", "/v1/quotes", content=body, headers=JSON)

    assert (200, expected.content) == (response.status_code, response.content)


@pytest.mark.parametrize("pairs", ["3", 3.5, 0, -1, 10_001, 1e300, True, None, [3]])
def test_what_is_no_number_of_pairs_is_refused(ask: Ask, order: dict[str, Any], pairs: object) -> None:
    """A number in quotes is a text, and a fraction is no number of pairs."""
    order["pairs"] = pairs

    faults = faults_of(ask("POST", "/v1/quotes", json=order))

    assert list(faults) == ["/pairs"]
    is_number = isinstance(pairs, int | float) and not isinstance(pairs, bool)
    expected = (
        "Give a whole number of " if is_number else "Expected a whole number of at least 1 and at most 10000; got "
    )
    assert faults["/pairs"].startswith(expected)


@pytest.mark.parametrize("text", ["regatta-deck\n", "regatta-deck ", "Regatta-deck", "regatta--deck", "", "../deck"])
def test_an_id_is_matched_to_its_true_end(ask: Ask, order: dict[str, Any], text: str) -> None:
    """A pattern does not pass over a final newline."""
    order["shoe"]["shoe"] = text

    assert list(faults_of(ask("POST", "/v1/quotes", json=order))) == ["/shoe/shoe"]
