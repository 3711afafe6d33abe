"""Observations in requests: read into sightings, or refused with every fault."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from featherline.wire.recipes import RecipeRequest
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.recipe.evidence import requests
from featherline_service.questions.recipe.evidence.requests import read_sightings
from featherline_service.questions.recipe.evidence.sightings import Sighting

ONTO = {
    "kind": "panel",
    "shoe": {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}},
    "panel": "outer-quarter",
}
PRESSED = {"cover": "silicone-thin", "temperature": "320 degF", "dwell": "0.5 min"}


def asked(*observations: dict[str, Any], onto: Any = ONTO) -> RecipeRequest:  # noqa: ANN401 - as JSON
    """Return a request with observations."""
    return msgspec.convert({"film": "smooth", "onto": onto, "observations": observations}, RecipeRequest)


def reading(at: str = "10 s", value: str = "120 degC", **more: str) -> dict[str, str]:
    """Return a reading of a thermocouple."""
    return {"at": at, "value": value, "kind": "thermocouple-class-1", **more}


def read(book: Book, request: RecipeRequest) -> tuple[Sighting, ...]:
    """Return what a request observed."""
    return read_sightings(book, request.observations, request)


def faults(book: Book, request: RecipeRequest) -> dict[str, str]:
    """Return the faults of a request by their pointers."""
    with pytest.raises(RefusedError) as refused:
        read(book, request)
    return {fault.pointer: fault.detail for fault in refused.value.faults}


def test_an_observation_on_the_requests_own_stack(book: Book) -> None:
    """What is left out is as in the request; units are converted."""
    (seen,) = read(book, asked({**PRESSED, "bond": "holds", "upper": "unchanged", "beside": "shiny"}))
    assert ("/observations/0", "smooth", "leather-lined", "silicone-thin", "swing") == (
        seen.name,
        seen.job.film,
        seen.job.upper.id,
        seen.cover,
        seen.press,
    )
    assert pytest.approx((160.0, 30.0)) == (seen.platen_c, seen.dwell_s)
    assert ("holds", "unchanged", "shiny", ()) == (seen.bond, seen.upper, seen.beside, seen.readings)


def test_an_observation_elsewhere(book: Book) -> None:
    """Another film on another shoe by another press, at firm pressure and without a cover sheet, is read as it is."""
    onto = {**ONTO, "shoe": {**ONTO["shoe"], "shoe": "harbour-dance"}, "panel": "vamp"}  # type: ignore[dict-item]
    more = {"film": "stretch", "onto": onto, "press": "clam", "pressure": "firm", "cover": None}
    (seen,) = read(book, asked({**PRESSED, **more}))
    assert ("stretch", "soft-leather", "clam", 414.0, None) == (
        seen.job.film,
        seen.job.upper.id,
        seen.press,
        seen.job.kpa,
        seen.cover,
    )


@pytest.mark.parametrize(
    ("kind", "value", "tolerance_k"),
    [
        ("thermocouple-class-1", "120 degC", 1.5),
        ("thermocouple-class-2", "120 degC", 2.5),
        ("thermocouple-class-2", "350 degC", 2.625),
    ],
)
def test_tolerances_of_thermocouples(book: Book, kind: str, value: str, tolerance_k: float) -> None:
    """Types K and J by IEC 60584-1: class 1 within 1.5 K, class 2 within 2.5 K, or 0.75 % above 333 degC."""
    (seen,) = read(book, asked({**PRESSED, "readings": [reading(value=value, kind=kind)]}))
    (read_there,) = seen.readings
    assert pytest.approx(tolerance_k) == read_there.tolerance_k
    assert read_there.low_c == read_there.high_c


def test_a_strip_reads_between_two_steps(book: Book) -> None:
    """It has turned at one and not at the next."""
    strip = reading(value="143 degC", below="149 degC", kind="strip", gauge="bond-strip")
    (seen,) = read(book, asked({**PRESSED, "readings": [strip]}))
    assert (143.0, 149.0, "bond-strip") == (seen.readings[0].low_c, seen.readings[0].high_c, seen.readings[0].gauge)


@pytest.mark.parametrize(
    ("observation", "pointer", "part"),
    [
        ({"cover": "tinfoil"}, "/observations/1/cover", "no cover sheet 'tinfoil'"),
        ({"film": "smoth"}, "/observations/1/film", "no film 'smoth'"),
        ({"press": "mangle"}, "/observations/1/press", "no press 'mangle'"),
        ({"temperature": "900 degC"}, "/observations/1/temperature", "no temperature of a press"),
        ({"dwell": "2 h"}, "/observations/1/dwell", "up to 600 s"),
        ({"readings": [reading(at="31 s")]}, "/observations/1/readings/0/at", "after the press opened"),
        ({"readings": [reading(), reading(above="cork")]}, "/observations/1/readings/1/above", "no layer 'cork'"),
        ({"readings": [reading(below="130 degC")]}, "/observations/1/readings/0/below", "a thermocouple has none"),
        ({"readings": [reading(kind="strip")]}, "/observations/1/readings/0/below", "A strip has a next step"),
        (
            {"readings": [reading(kind="strip", below="110 degC")]},
            "/observations/1/readings/0/below",
            "is not above 120 degC",
        ),
        ({"readings": [reading(value="-300 degC")]}, "/observations/1/readings/0/value", "below absolute zero"),
    ],
)
def test_faults_are_pointed_at(book: Book, observation: dict[str, Any], pointer: str, part: str) -> None:
    """Each fault is told with its place in the request."""
    found = faults(book, asked(PRESSED, {**PRESSED, **observation}))
    assert part in found[pointer]


def test_a_shoe_that_may_have_several_uppers_tells_of_none(book: Book) -> None:
    """What held on a walk-in tells of its upper only once that is named."""
    shoe = {
        "kind": "measured",
        "label": "leather",
        "panels": [{"panel": "side", "shape": {"kind": "rectangle", "width": "90 mm", "height": "40 mm"}}],
        "inside_length": "270 mm",
    }
    found = faults(book, asked(PRESSED, onto={"kind": "panel", "shoe": shoe, "panel": "side"}))
    assert "name it in `upper`" in found["/observations/0/onto"]


def test_what_cannot_be_reconciled_is_refused(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Likelihoods that do not settle are a fault of the observations, with what to do, and no failure of ours."""

    def never_settles(*_: object) -> None:
        raise ArithmeticError("The observations' likelihoods do not settle")

    monkeypatch.setattr(requests, "known_for", never_settles)

    told = faults(book, asked({**PRESSED, "bond": "holds"}))

    assert ["/observations"] == list(told)
    assert "leave some out" in told["/observations"]
