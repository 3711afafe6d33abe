"""Ask a service whatever the last release asks, with the SDK that is on the path, and write what it read as JSON.

Usage: ask.py URL WHEEL, where the wheel of the release has the requests.
"""

from __future__ import annotations

import json
import sys
import zipfile
from typing import Any

import msgspec

import featherline
from featherline import Client, RequestRefused, seals
from featherline._endpoints import BY_REQUEST, QUESTIONS, RECORD_KINDS
from featherline.wire import Order, RecipeRequest

METHODS = {
    **{f"/v1/{name}s": name for name in ("recipe", "fit", "artwork", "cost", "quote", "roster", "trial")},
    "/v1/from-prices": "from_price",
}
TYPES = {endpoint.path: endpoint.request for endpoint in QUESTIONS}


def main(url: str, wheel: str) -> None:
    """Ask, and write a JSON object."""
    with zipfile.ZipFile(wheel) as archive:
        files = {name.removeprefix("featherline/examples/"): archive.read(name) for name in archive.namelist()}
    index = json.loads(files["recorded/index.json"])
    asked = [
        (entry["path"], msgspec.json.decode(files[entry["request"]], type=TYPES[entry["path"]]))
        for entry in index["asked"]
        if entry["path"] in METHODS
    ]
    with Client(url) as client:
        answers = [(request, getattr(client, METHODS[path])(request)) for path, request in asked]
        lines = [request for _, request in asked if BY_REQUEST[type(request)].bulk_kind is not None]
        quote = next(answer for _, answer in answers if getattr(answer, "seal", None) is not None)
        seal = json.loads(files["seal-check-request.json"])["seal"]
        wrote = {
            "sdk": featherline.__file__,
            "answers": [msgspec.to_builtins(answer) for _, answer in answers],
            "bulk": [msgspec.to_builtins(reply.answer) for reply in client.bulk(lines)],
            "records": {
                name: len(client.records(kind).records)
                for kind, name in RECORD_KINDS.items()
                if f"recorded/{name}.json" in files
            },
            "seal": seals.check(quote.seal.text, client.seal_keys(), at=_issued(quote.seal)).status,
            "seal of the release": client.check_seal(seal).status,
            "refused": _refused(client, next(request for _, request in asked if isinstance(request, RecipeRequest))),
            "declined": [
                [reason.code for reason in answer.reasons]
                for request, answer in answers
                if isinstance(request, Order) and answer.price is None
            ],
        }
    json.dump(wrote, sys.stdout, default=str)


def _issued(seal: Any) -> Any:  # noqa: ANN401 - as the SDK has it
    """Return an instant at which a seal is in force, whenever it was given: the example's was given in 2026."""
    return seal.expires.__class__.fromtimestamp(seal.expires.timestamp() - 3600, seal.expires.tzinfo)


def _refused(client: Client, recipe: RecipeRequest) -> dict[str, Any]:
    """Return what the SDK tells of a request that names a film which there is not."""
    try:
        client.recipe(msgspec.structs.replace(recipe, film="smoth"))
    except RequestRefused as refused:
        return {"status": refused.problem.status, "type": refused.problem.type}
    return {}


if __name__ == "__main__":
    main(*sys.argv[1:])
