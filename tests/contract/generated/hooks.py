"""Hooks of the request generator: bodies of lines, ids of existing records, two more checks."""

from __future__ import annotations

import json
import os
import re
import zlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import jsonschema_rs
import schemathesis

from featherline_service.book.loader import load
from featherline_service.questions.checks import RefusedError
from featherline_service.web.http.bodies import Body
from featherline_service.web.openapi.description import OPERATIONS

EXAMPLES: Final = Path(__file__).parents[3] / "openapi" / "examples"
BODIES: Final = {each.id: Body[Any](each.asked) for each in OPERATIONS if each.asked is not None}
LINES: Final = (EXAMPLES / "bulk-request.jsonl").read_bytes().splitlines()
BOOK: Final = load()
PANELS: Final = sorted({panel.id for shoe in BOOK.shoes.values() for panel in shoe.panels})
COLOURS: Final = sorted({colour.id for film in BOOK.films.values() for colour in film.colours})
KNOWN: Final[Mapping[str, Sequence[str]]] = {
    "film": sorted(BOOK.films),
    "press": sorted(BOOK.presses),
    "policy": sorted(BOOK.policies),
    "cover": sorted(BOOK.covers),
    "font": sorted(BOOK.fonts),
    "shoe": sorted(BOOK.shoes),
    "upper": sorted(BOOK.uppers),
    "material": sorted(BOOK.materials),
    "panel": PANELS,
    "colour": COLOURS,
}
DESCRIPTION: Final = json.loads((EXAMPLES.parent / "openapi.json").read_text(encoding="utf-8"))
BULK: Final = DESCRIPTION["paths"]["/v1/bulk"]["post"]["responses"]["200"]["content"]["application/jsonl"]
ANSWERED_LINE: Final = jsonschema_rs.Draft202012Validator(
    {**BULK["schema"]["contentSchema"], "components": DESCRIPTION["components"]}
)
ORDERS: Final = [json.loads((EXAMPLES / f"{name}.json").read_bytes()) for name in ("quote-request", "walk-in", "clog")]
ASKED: Final = {
    name: json.loads((EXAMPLES / f"{name}-request.json").read_bytes()) for name in ("calibration", "recipe", "trial")
}
DRAWN_IN_ORDERS: Final = {
    "Order": ORDERS,
    "Shoe": [*(order["shoe"] for order in ORDERS), ASKED["trial"]["shoe"]],
    "ShoePanel": [ASKED["recipe"]["onto"]],
    "BareStack": [ASKED["calibration"]["pressings"][0]["onto"]],
    "Artwork": [placement["artwork"] for order in ORDERS for placement in order["placements"]],
    "Observation": [{"cover": None, "temperature": "150 degC", "dwell": "30 s", "bond": "holds", "upper": "unchanged"}],
}
"""Parts of requests that are drawn for an order, and examples of them."""
OTHERS: Final = (
    "OrderWork", "Roster", "FromPriceRequest", "SealCheckRequest", "PictureRequest",
    "FitRequest", "RecipeRequest", "TrialRequest", "CalibrationPressing",
)  # fmt: skip
"""Requests, and parts of them, that share parts with an order."""
ALL_PERCENT: Final = 100
PERCENT: Final = int(os.environ["DRAWN_PERCENT"])
OK, REFUSED = 200, 422
NOT_ZEROS: Final = "^[0.]+ ?[A-Za-z]"
REVISION: Final = re.compile("sha256:[0-9a-f]{64}")
ID: Final = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


@schemathesis.hook
def before_load_schema(_context: schemathesis.HookContext, raw_schema: dict[str, Any]) -> None:
    """Say in other words what is hard to draw from: the same texts, and any data for lines.

    Where not all cases are drawn, orders are drawn for `/v1/quotes`; what other requests share with one gets examples.
    """
    _drawable(raw_schema)
    if PERCENT < ALL_PERCENT:
        schemas = raw_schema["components"]["schemas"]
        offer = raw_schema["paths"]["/v1/offers"]["post"]["requestBody"]["content"]["application/json"]
        for holder in (*(schemas[name]["properties"] for name in OTHERS), offer):
            _with_examples(holder)


def _with_examples(part: Any) -> None:  # noqa: ANN401 - JSON data
    """Replace, in place, references to schemas of an order and its parts by examples."""
    match part:
        case {"$ref": str(schema)} if (name := schema.removeprefix("#/components/schemas/")) in DRAWN_IN_ORDERS:
            del part["$ref"]
            part["enum"] = DRAWN_IN_ORDERS[name]
    for inner in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
        _with_examples(inner)


def _drawable(part: Any) -> None:  # noqa: ANN401 - JSON data
    """Replace, in place, a pattern and its exception by a look-ahead, and a body of lines by any data."""
    match part:
        case {"pattern": str(pattern), "not": {"pattern": exception}} if exception == NOT_ZEROS and pattern[1] == "[":
            del part["not"]
            part["pattern"] = f"^(?=[0-9.]*[1-9]){pattern.removeprefix('^')}"
        case {"contentSchema": _, "type": _, "format": _}:
            del part["type"], part["format"]
    for inner in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
        _drawable(inner)


@schemathesis.serializer("application/jsonl")
def write_lines(_context: schemathesis.SerializationContext, value: Any) -> bytes:  # noqa: ANN401 - whatever was drawn
    """Return a body of lines: a text unchanged; of anything else each part, followed by a line that can be answered."""
    if isinstance(value, str):
        return value.encode("utf-8", "surrogatepass")
    parts = value if isinstance(value, list) else [value]
    drawn = [json.dumps(part, ensure_ascii=False).encode("utf-8", "surrogatepass") for part in parts]
    return b"\n".join(line for each in drawn for line in (each, LINES[zlib.crc32(each) % len(LINES)]))


@schemathesis.deserializer("application/jsonl")
def read_lines(_context: schemathesis.DeserializationContext, response: schemathesis.Response) -> str:
    """Return an answer of lines as the text that it is; `lines_are_as_described` reads them."""
    return response.content.decode()


@schemathesis.hook
def map_body(_context: schemathesis.HookContext, body: Any) -> Any:  # noqa: ANN401 - JSON data
    """Replace drawn ids by ids of existing records, so that requests get further than the first lookup."""
    return _known(body)


@schemathesis.hook
def map_headers(_context: schemathesis.HookContext, headers: Any) -> Any:  # noqa: ANN401 - a mapping of header fields
    """Replace drawn revisions of the book by the present one: any other is refused, which tries nothing else."""
    if headers and REVISION.fullmatch(headers.get("Book-Revision", "")):
        headers["Book-Revision"] = BOOK.revision
    return headers


@schemathesis.hook
def filter_case(_context: schemathesis.HookContext, case: schemathesis.Case) -> bool:
    """Leave out a part of the requests that break a limit of the description: each limit is broken in many ways."""
    if case.meta is None or case.meta.phase.name != "coverage" or case.meta.generation.mode.is_positive:
        return True
    drawn = repr((case.method, case.path_parameters, dict(case.headers), case.query, case.body))
    return zlib.crc32(drawn.encode()) % 100 < PERCENT


def _known(data: Any, field: str = "") -> Any:  # noqa: ANN401 - JSON data
    match data:
        case dict():
            return {name: _known(value, name) for name, value in data.items()}
        case list():
            return [_known(value, field) for value in data]
        # One id in sixteen stays as it was drawn.
        case str() if field in KNOWN and ID.fullmatch(data) and (drawn := zlib.crc32(data.encode())) % 16:
            return KNOWN[field][drawn % len(KNOWN[field])]
        case _:
            return data


@schemathesis.check
def lines_are_as_described(
    _context: schemathesis.CheckContext, response: schemathesis.Response, case: schemathesis.Case
) -> None:
    """Check each line of a bulk answer against the schema of a line."""
    if case.operation.definition.raw.get("operationId") != "answerBulk" or response.status_code != OK:
        return
    for line in response.content.splitlines():
        ANSWERED_LINE.validate(json.loads(line))


@schemathesis.check
def refused_for_what_it_means(
    _context: schemathesis.CheckContext, response: schemathesis.Response, case: schemathesis.Case
) -> None:
    """Check that a body which the description allows is never refused for its form: its type reads it."""
    drawn_well = case.meta is not None and case.meta.generation.mode.is_positive
    operation_id = case.operation.definition.raw.get("operationId")
    if response.status_code != REFUSED or not drawn_well or operation_id not in BODIES:
        return
    sent = response.request.body
    try:
        BODIES[operation_id].decode(sent.encode() if isinstance(sent, str) else bytes(sent or b""))
    except RefusedError as error:
        raise AssertionError(f"The description allows what its type does not read: {error.faults}") from error
