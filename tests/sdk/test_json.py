"""Versions that meet: answers of a newer service, requests to an older one, and keys of kinds that are not known.

What stands for the next release are today's answers with fields, texts of sets and kinds that nobody knows; the last is
`openapi/released.json`, the description that the gate holds today's to. `test_released.py` has whole versions meet.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx2
import jsonschema_rs
import msgspec
import pytest
from msgspec import inspect
from newer_answers import UNHEARD, grown, unheard

from featherline import Client, UnexpectedAnswer, _json, seals
from featherline import _endpoints as endpoints
from featherline._endpoints import Endpoint
from featherline.wire import (
    Bench,
    BookAnswer,
    HeatedMass,
    Order,
    PublishedKeys,
    QuoteAnswer,
    RecordAnswer,
    RecordedPressing,
    RecordsAnswer,
    SealCheck,
    ShoeModel,
    TextArtwork,
    Verdict,
)
from featherline_service.web.openapi.description import OPERATIONS
from featherline_service.web.routes.operations import Operation

OPENAPI = Path(__file__).parents[2] / "openapi"
EXAMPLES = OPENAPI / "examples"
RELEASED = json.loads((OPENAPI / "released.json").read_text(encoding="utf-8"))
POSTED = [operation for operation in OPERATIONS if operation.path in {each.path for each in endpoints.QUESTIONS}]
ALREADY = [operation for operation in POSTED if operation.path in RELEASED["paths"]]
ANSWERS = [
    (endpoint, answer)
    for endpoint, operation in zip(endpoints.QUESTIONS, POSTED, strict=True)
    for _, answer in operation.examples
]

Json = dict[str, Any]


def example(name: str) -> Any:  # noqa: ANN401 - JSON
    """Return an example."""
    return json.loads((EXAMPLES / f"{name}.json").read_bytes())


def as_json(value: object) -> Any:  # noqa: ANN401 - JSON
    """Return a value of the wire as JSON data."""
    return json.loads(msgspec.json.encode(value))


def texts(value: Any) -> Iterator[str]:  # noqa: ANN401 - a value of the wire
    """Yield every text in a value."""
    match msgspec.to_builtins(value):
        case dict() as fields:
            for inner in fields.values():
                yield from texts(inner)
        case list() | tuple() as items:
            for inner in items:
                yield from texts(inner)
        case str() as text:
            yield text


@pytest.mark.parametrize(("endpoint", "name"), ANSWERS, ids=lambda each: each if isinstance(each, str) else "")
def test_an_answer_of_a_newer_service_is_read(endpoint: Endpoint[Any], name: str) -> None:
    """Fields that are not known change nothing; a text that is none of its set is kept; all else is as it was."""
    content = example(name)
    newer = unheard(content, inspect.type_info(endpoint.answer))
    read = _json.decode(json.dumps(newer).encode(), endpoint.answer)

    plain = msgspec.json.decode(json.dumps(content), type=endpoint.answer)
    assert plain == _json.decode(json.dumps(grown(content)).encode(), endpoint.answer)
    assert isinstance(read, endpoint.answer)
    assert json.dumps(newer).count(f'"{UNHEARD}"') == list(texts(read)).count(UNHEARD) > 0
    assert len(list(texts(plain))) == len(list(texts(read)))


@pytest.mark.parametrize("kind", endpoints.RECORD_KINDS, ids=lambda kind: kind.__name__)
def test_records_of_a_newer_service_are_read(client: Client, kind: Any) -> None:  # noqa: ANN401 - a class of records
    """Every record of the book is read with fields that are not known, which records themselves refuse."""
    answer = client.records(kind)
    content = json.dumps(grown(as_json(answer))).encode()

    assert answer == _json.decode(content, RecordsAnswer[kind])
    if kind is RecordedPressing:
        assert () == answer.records, "the demo shop has recorded none"
    else:
        with pytest.raises(msgspec.ValidationError):
            msgspec.json.decode(content, type=RecordsAnswer[kind])


def test_kinds_that_are_not_known_are_data(client: Client) -> None:
    """A kind of record is kept as text, an object of an unknown kind as its JSON data, and a known one is read."""
    book = as_json(client.book())
    book["kinds"].append({"kind": UNHEARD, "ids": ["gull"]})
    read = _json.decode(json.dumps(book).encode(), BookAnswer)
    assert UNHEARD == read.kinds[-1].kind

    (bench,) = as_json(client.records(Bench))["records"]
    answer = {"record": grown(bench), "book": read.book, "engine": read.engine}
    heated = {"mass_kg": 8.0, "heat_capacity_j_kgk": 900.0, "heater_w": 1400.0, "loss_w_k": 2.5}
    for heating, expected in (
        ({"kind": "mass", **heated, "mass_kg": 8, "more": 1}, HeatedMass(**heated)),
        ({"kind": UNHEARD, "flow_kg_s": 1}, {"kind": UNHEARD, "flow_kg_s": 1}),
    ):
        answer["record"]["workplace"] = {"heating": heating}
        workplace = _json.decode(json.dumps(answer).encode(), RecordAnswer[Bench]).record.workplace
        assert workplace is not None
        assert expected == workplace.heating


def test_a_sealed_order_of_a_newer_service_is_read() -> None:
    """The check of a seal is read though its order has a field and an artwork that are not known."""
    content = example("seal-check-answer")
    content["quote"]["order"]["gift"] = True
    read = _json.decode(json.dumps(content).encode(), SealCheck)
    assert read.quote is not None
    assert isinstance(read.quote.order, Order)
    assert isinstance(read.quote.order.placements[0].artwork, TextArtwork)

    content["quote"]["order"]["placements"][0]["artwork"] = {"kind": UNHEARD}
    read = _json.decode(json.dumps(content).encode(), SealCheck)
    assert read.quote is not None
    assert read.quote.order is not None
    assert {"kind": UNHEARD} == msgspec.to_builtins(read.quote.order.placements[0].artwork)


class Sale(msgspec.Struct):
    """An answer with an instant that may be null, as none of the wire's has yet."""

    verdict: Verdict
    until: datetime | None


@pytest.mark.parametrize(
    ("until", "expected"), [(None, None), ("2026-06-01T12:00:00Z", datetime(2026, 6, 1, 12, tzinfo=UTC))]
)
def test_an_instant_may_be_null(until: str | None, expected: datetime | None) -> None:
    """Beside a text that is none of its set, an instant that is null and one that is not are read; no other text is."""
    content = {"verdict": UNHEARD, "until": until}

    assert expected == _json.decode(json.dumps(content).encode(), Sale).until
    with pytest.raises(msgspec.ValidationError):
        _json.decode(json.dumps(content | {"until": "soon"}).encode(), Sale)


@pytest.mark.parametrize(
    "changes",
    [
        {"verdict": 1},
        {"verdict": None},
        {"reasons": {}},
        {"placements": [1]},
        {"book": 7},
        {"cost": "none"},
        {"seal": {"text": "a", "expires": "soon", "key": UNHEARD}},
        {"price": {}},
        {"engine": ...},
    ],
    ids=str,
)
def test_what_no_version_answers_is_refused(changes: Json) -> None:
    """Another type, or a field that is missing, is no growth: the error is that of the strict reading."""
    content = {name: value for name, value in (example("quote-answer") | changes).items() if value is not ...}

    with pytest.raises(msgspec.ValidationError):
        _json.decode(json.dumps(content).encode(), QuoteAnswer)


@pytest.mark.parametrize(
    "changes",
    [{"panels": [{}]}, {"joins": [{"panel": "a", "ends_mm": [[0, 0]], "other": "b", "other_ends_mm": []}]}],
    ids=str,
)
def test_what_is_no_record_is_refused(client: Client, changes: Json) -> None:
    """The parts of a record are read as strictly."""
    record = as_json(client.records(ShoeModel).records[0]) | changes
    with pytest.raises(msgspec.ValidationError):
        _json.decode(json.dumps({"record": record, "book": "b", "engine": "e"}).encode(), RecordAnswer[ShoeModel])


def test_keys_of_unknown_kinds_are_ignored() -> None:
    """Keys of other kinds, uses and algorithms are left out; what is no key set is no answer.

    References:
        RFC 7517 section 5: implementations ignore keys of types that they do not understand.
    """
    known = example("seal-keys-answer")["keys"]
    others = [
        {"kty": "EC", "crv": "P-256", "x": "a", "y": "b", "kid": "c"},
        {"kty": "AKP", "alg": "ML-DSA-44", "pub": "p", "kid": "d", "use": "sig"},
        {"kty": "OKP", "crv": "X25519", "x": "a", "kid": "e", "use": "enc", "alg": "ECDH-ES"},
    ]
    answers = [{"keys": [others[0], *known, *others[1:]], "more": 1}, {"keys": {}}]
    transport = httpx2.MockTransport(lambda _: httpx2.Response(200, json=answers.pop(0)))
    with Client("http://saltmarsh.test", transport=transport) as client:
        keys = client.seal_keys()
        assert msgspec.convert({"keys": known}, PublishedKeys) == keys
        with pytest.raises(UnexpectedAnswer):
            client.seal_keys()
    assert "unknown-key" == seals.check(example("seal-check-request")["seal"], {"keys": others}).status


@pytest.mark.parametrize("operation", ALREADY, ids=lambda operation: operation.id)
def test_a_released_service_reads_the_requests(operation: Operation) -> None:
    """What this SDK sends for an example is as the released description has it, without fields at their defaults."""
    body = RELEASED["paths"][operation.path]["post"]["requestBody"]["content"]["application/json"]["schema"]
    described = jsonschema_rs.Draft202012Validator({**body, "components": RELEASED["components"]})

    for name, _ in operation.examples:
        request = msgspec.json.decode((EXAMPLES / f"{name}.json").read_bytes(), type=operation.asked)
        sent = json.loads(_json.encode(request))
        described.validate(sent)
        assert request == msgspec.convert(sent, operation.asked)
        assert None not in list(objects(sent))


def objects(data: Any) -> Iterator[Any]:  # noqa: ANN401 - JSON
    """Yield the values of all objects."""
    match data:
        case dict():
            for value in data.values():
                yield value
                yield from objects(value)
        case list():
            for item in data:
                yield from objects(item)


@pytest.mark.parametrize("operation", ALREADY, ids=lambda operation: operation.id)
def test_released_and_present_answers_meet(operation: Operation) -> None:
    """Today's answers are as the released description has them, and what today's types need is in released answers."""
    content = RELEASED["paths"][operation.path]["post"]["responses"]["200"]["content"]["application/json"]["schema"]
    described = jsonschema_rs.Draft202012Validator({**content, "components": RELEASED["components"]})

    for _, name in operation.examples:
        described.validate(example(name))
    _, components = msgspec.json.schema_components(operation.answered)
    for name, component in components.items():
        released = RELEASED["components"]["schemas"].get(name, component)  # a type that is new is part of a new field
        assert set(component["required"]) <= set(released["required"])
