import json
from pathlib import Path

import msgspec
import pytest

from featherline.wire import CostRequest, FitRequest, Order, RecipeRequest

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
REQUESTS = {
    "quote-request.json": Order,
    "walk-in.json": Order,
    "clog.json": Order,
    "recipe-request.json": RecipeRequest,
    "fit-request.json": FitRequest,
    "cost-request.json": CostRequest,
    "cost-request-measures.json": CostRequest,
}


@pytest.mark.parametrize("name", REQUESTS)
def test_a_request_is_read_strictly_and_written_back(name: str) -> None:
    """An example request is of its type, and what the SDK sends for it says the same."""
    written = json.loads((EXAMPLES / name).read_bytes())
    sent = json.loads(msgspec.json.encode(msgspec.json.decode((EXAMPLES / name).read_bytes(), type=REQUESTS[name])))
    assert contains(sent, written)


def contains(whole: object, part: object) -> bool:
    """Return whether every field of `part` is in `whole` with the same value; `whole` may have defaults besides."""
    if isinstance(part, dict):
        return isinstance(whole, dict) and all(key in whole and contains(whole[key], part[key]) for key in part)
    if isinstance(part, list):
        return isinstance(whole, list) and len(whole) == len(part) and all(map(contains, whole, part))
    return bool(whole == part)
