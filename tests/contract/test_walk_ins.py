"""A walk-in known by its tongue label, from the first question to the card, over HTTP."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from typing import Any

import httpx2
import pytest

Ask = Callable[..., httpx2.Response]
Json = dict[str, Any]


def shoe(label: str, **seen: Any) -> Json:  # noqa: ANN401 - JSON
    """Return a shoe measured at the counter."""
    shape = {"kind": "rectangle", "width": "80 mm", "height": "40 mm"}
    return {
        "kind": "measured",
        "label": label,
        "inside_length": "270 mm",
        "panels": [{"panel": "side", "shape": shape, "curvature": "flat", "colour": "#1d2b44"}],
        **seen,
    }


def order(walk_in: Json, film: str) -> Json:
    """Return an order for a bar on it."""
    bar = {"kind": "path", "d": "M0 0H40V10H0Z", "height": "10 mm"}
    return {"shoe": walk_in, "placements": [{"panel": "side", "film": film, "colour": "chalk", "artwork": bar}]}


def tried(ask: Ask, walk_in: Json, film: str) -> Json:
    """Return the trial of a film on it."""
    response = ask("POST", "/v1/trials", json={"shoe": walk_in, "panel": "side", "film": film})
    assert response.status_code == 200
    answer: Json = response.json()
    return answer.get("trial", answer)


def quoted(ask: Ask, walk_in: Json, film: str) -> Json:
    """Return the quote of the order."""
    response = ask("POST", "/v1/quotes", json=order(walk_in, film))
    assert response.status_code == 200
    answer: Json = response.json()
    return answer


def uppers(trial: Json) -> set[str]:
    """Return the uppers that the shoe may be of."""
    return {one["upper"] for one in trial["candidates"]}


def test_a_textile_trial_begins_harmless_to_polypropylene(ask: Ask) -> None:
    """Its first setting leaves woven polypropylene below its limit, at the worst case too."""
    trial = tried(ask, shoe("textile"), "stretch")
    first = trial["rungs"][0]
    weave = {one["upper"]: one for one in first["predicted"]}["polypropylene"]
    upper = ask("GET", "/v1/book/uppers/polypropylene").json()["record"]
    limits = [
        ask("GET", f"/v1/book/materials/{layer['material']}").json()["record"]["limit"]["peak_c"]
        for layer in upper["layers"]
    ]

    assert "trial" == trial["verdict"]
    assert "polypropylene" in uppers(trial)
    assert "sure" == weave["heat"]
    assert weave["limit_c"] in limits
    assert 0.0 <= weave["worst_case_margin_k"] <= weave["margin_k"] == pytest.approx(weave["limit_c"] - weave["peak_c"])


def test_a_thread_that_sinks_opens_a_hotter_film(ask: Ask) -> None:
    """For smooth film the answer names the field that rules polypropylene out; with it, a ladder and a price come."""
    before = quoted(ask, shoe("textile"), "smooth")
    (asked,) = [reason for reason in before["reasons"] if reason["code"] == "shoe.unnarrowed"]
    narrowed = shoe("textile", tests={"thread": "sinks"})
    trial, after = tried(ask, narrowed, "smooth"), quoted(ask, narrowed, "smooth")
    (told,) = [reason for reason in after["reasons"] if reason["code"] == "shoe.narrowed"]

    assert ("decline", None, None) == (before["verdict"], before["price"], before["pressings"][0]["recipe"]["setting"])
    assert "`tests.thread`: 'sinks'" in asked["sentence"]
    assert ("/shoe/tests/thread", True) == (told["subject"], "(" in told["sentence"])
    assert ("trial", "trial") == (trial["verdict"], after["verdict"])
    assert "polypropylene" not in uppers(trial)
    assert all(one["heat"] == "sure" for one in trial["rungs"][0]["predicted"])
    assert any(line["detail"].startswith("Trial pressings") for line in after["cost"]["lines"])


def test_the_card_of_a_walk_in_is_its_ladder(ask: Ask) -> None:
    """Until the trial has an outcome, the page's settings are those of its rungs and no other."""
    narrowed = shoe("textile", tests={"thread": "sinks"})
    rungs = tried(ask, narrowed, "smooth")["rungs"]
    page = ask("POST", "/v1/quotes", json=order(narrowed, "smooth"), headers={"accept": "text/html"}).text
    words = re.sub(r"<[^>]*>", " ", re.sub(r"<style.*?</style>", "", page, flags=re.DOTALL))
    settings = {f"{rung['setting']['temperature_c']:.0f} °C" for rung in rungs}

    assert settings
    assert settings <= set(re.findall(r"[0-9]+ °C", words))
    assert {f"{rung['setting']['dwell_s']:.0f}" for rung in rungs} <= set(re.findall(r"\b([0-9]+) s\b", words))


def test_other_is_narrowed_by_fields(ask: Ask) -> None:
    """What the label 'other' may be shrinks with each field that the answer asks for, until a trial is left."""
    steps: list[Json] = [
        {},
        {"tests": {"fingernail": "none"}},
        {"tests": {"fingernail": "none", "marking": "pvc-free"}},
        {"surface": "glossy", "tests": {"fingernail": "none", "marking": "pvc-free"}},
    ]
    trials = [tried(ask, shoe("other", **seen), "smooth") for seen in steps]
    (asked,) = [reason for reason in trials[0]["reasons"] if reason["code"] == "shoe.unnarrowed"]

    for field in ("`tests.fingernail`: 'none'", "`tests.marking`: 'pvc-free'", "`surface`"):
        assert field in asked["sentence"]
    left = [uppers(trial) for trial in trials]
    assert all(fewer < more for more, fewer in itertools.pairwise(left))
    assert {"eva-foam"} == left[0] - left[1]
    assert {"pvc-coated"} == left[1] - left[2]
    assert ["decline"] * 3 + ["trial"] == [trial["verdict"] for trial in trials]
    assert "no source" in asked["sentence"]
