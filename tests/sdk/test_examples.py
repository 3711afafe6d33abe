import asyncio
import json
import math
import runpy
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from structlog.testing import capture_logs

from featherline.seals import canonical
from featherline.wire import (
    ArtworkAnswer,
    ArtworkRequest,
    CalibrationAnswer,
    CalibrationRequest,
    CostAnswer,
    CostRequest,
    FitAnswer,
    FitOffer,
    FitRequest,
    FromPriceOffer,
    FromPriceRequest,
    HandPriceAnswer,
    HandPriceRequest,
    MatrixRequest,
    Offer,
    Order,
    QuoteAnswer,
    RecipeAnswer,
    RecipeRequest,
    Roster,
    RosterAnswer,
    RosterOffer,
    SealCheck,
    SealCheckRequest,
    TrialAnswer,
    TrialRequest,
)

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
REQUESTS = {
    "quote-request.json": Order,
    "walk-in.json": Order,
    "clog.json": Order,
    "recipe-request.json": RecipeRequest,
    "fit-request.json": FitRequest,
    "fit-request-anchored.json": FitRequest,
    "artwork-request.json": ArtworkRequest,
    "artwork-request-drawing.json": ArtworkRequest,
    "cost-request.json": CostRequest,
    "cost-request-measures.json": CostRequest,
    "from-price-request.json": FromPriceRequest,
    "matrix-request.json": MatrixRequest,
    "trial-request.json": TrialRequest,
    "calibration-request.json": CalibrationRequest,
    "hand-price-request.json": HandPriceRequest,
    "seal-check-request.json": SealCheckRequest,
    "roster-request.json": Roster,
}


@pytest.mark.parametrize("name", REQUESTS)
def test_a_request_is_read_strictly_and_written_back(name: str) -> None:
    """An example request is valid for its type, and the SDK sends every field of it."""
    written = json.loads((EXAMPLES / name).read_bytes())
    sent = json.loads(msgspec.json.encode(msgspec.json.decode((EXAMPLES / name).read_bytes(), type=REQUESTS[name])))
    assert contains(sent, written)


def contains(whole: object, part: object) -> bool:
    """Return whether every field of `part` is in `whole` with the same value; `whole` may have other fields."""
    if isinstance(part, dict):
        return isinstance(whole, dict) and all(key in whole and contains(whole[key], part[key]) for key in part)
    if isinstance(part, list):
        return isinstance(whole, list) and len(whole) == len(part) and all(map(contains, whole, part))
    return bool(whole == part)


def test_the_answers_are_what_the_service_answers() -> None:
    """Every field of a stored answer equals that of a fresh one.

    Numbers may differ from the ninth digit on, since machines order sums differently. `book` and `engine`, and the text
    of a seal with them, may differ, since a release, or a record that the example does not use, changes them.
    """
    script = runpy.run_path(str(Path(__file__).with_name("answers.py")))
    with capture_logs():
        fresh = asyncio.run(script["answers"]())
    for name, content in fresh.items():
        stored = (EXAMPLES / name).read_bytes()
        lines = (
            zip(stored.splitlines(), content.splitlines(), strict=True) if name.endswith("l") else [(stored, content)]
        )
        differences = [text for pair in lines for text in differing(*map(json.loads, pair), "")]
        assert differences == [], f"{name} is out of date; run: python tests/sdk/answers.py"


def differing(stored: Any, fresh: Any, pointer: str) -> Iterator[str]:  # noqa: ANN401 - JSON of any shape
    """Yield the pointer of every difference between two JSON values."""
    if isinstance(stored, dict) and isinstance(fresh, dict):
        for key in sorted(stored.keys() | fresh.keys()):
            if key not in stored or key not in fresh:
                yield f"{pointer}/{key}: only in one"
            elif (pointer or key not in {"book", "engine"}) and not (pointer.endswith("/seal") and key == "text"):
                yield from differing(stored[key], fresh[key], f"{pointer}/{key}")
    elif isinstance(stored, list) and isinstance(fresh, list) and len(stored) == len(fresh):
        for index, pair in enumerate(zip(stored, fresh, strict=True)):
            yield from differing(*pair, f"{pointer}/{index}")
    elif isinstance(stored, float) and isinstance(fresh, float):
        if not math.isclose(stored, fresh, rel_tol=1e-9, abs_tol=1e-9):
            yield f"{pointer}: {stored!r} is now {fresh!r}"
    elif stored != fresh:
        yield f"{pointer}: {stored!r} is now {fresh!r}"


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("quote-answer", QuoteAnswer),
        ("walk-in-answer", QuoteAnswer),
        ("clog-answer", QuoteAnswer),
        ("recipe-answer", RecipeAnswer),
        ("fit-answer", FitAnswer),
        ("fit-answer-anchored", FitAnswer),
        ("artwork-answer", ArtworkAnswer),
        ("artwork-answer-drawing", ArtworkAnswer),
        ("cost-answer", CostAnswer),
        ("cost-answer-measures", CostAnswer),
        ("trial-answer", TrialAnswer),
        ("calibration-answer", CalibrationAnswer),
        ("offer-answer", Offer),
        ("hand-price-answer", HandPriceAnswer),
        ("fit-offer-answer", FitOffer),
        ("roster-offer-answer", RosterOffer),
        ("from-price-offer-answer", FromPriceOffer),
        ("seal-check-answer", SealCheck),
        ("roster-answer", RosterAnswer),
    ],
)
def test_an_answer_is_read_completely(name: str, kind: type[msgspec.Struct]) -> None:
    """A stored answer is decoded into its type without losing a field; an order sealed in it has no default values."""
    stored = json.loads((EXAMPLES / f"{name}.json").read_bytes())
    answer = msgspec.convert(stored, kind)
    read = msgspec.to_builtins(answer)
    if isinstance(answer, SealCheck):
        assert answer.quote is not None
        read["quote"]["order"] = json.loads(canonical(answer.quote.order))
    assert list(differing(stored, json.loads(msgspec.json.encode(read)), "")) == []
