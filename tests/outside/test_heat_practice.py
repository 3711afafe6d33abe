"""Recipes of the demo book against what the trade does: common practice, no source, unless a test says otherwise."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from msgspec.structs import replace

from featherline.wire.recipes import BareLayer, BareStack, Recipe, RecipeRequest, ShoePanel
from featherline.wire.records import NeededShare
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.heat.bond import dose, time_of_dose
from featherline_service.heat.pressing import TIMES_S
from featherline_service.questions.recipe import windows
from featherline_service.questions.recipe.evidence.solved import reference
from featherline_service.questions.recipe.recipes import resolve


@functools.cache
def book() -> Book:
    """Return the demo book."""
    return load()


def pressed(film: str, shoe: str, panel: str, **held: str) -> Recipe:
    """Return the recipe for a panel of a shoe of the demo book in EU 42."""
    onto = ShoePanel(shoe=BookShoe(shoe=shoe, size=Size(system="EU", value="42")), panel=panel)
    return resolve(book(), RecipeRequest(film=film, onto=onto, **held))


def equivalent_dwell_s(activation_j_mol: float) -> float:
    """Return the dwell on lined leather under the thin siliconised sheet that equals 15 s on cotton without a cover."""
    own = book()
    film, bench = own.films["smooth"], own.bench
    job = windows.Job("smooth", own.uppers["leather-lined"], bench.reference_pad, bench.reference_pressures.medium_kpa)
    cloth = reference(own, "smooth").line
    _, leather = windows.followed(own, job, "silicone-thin")
    doses = [
        dose(TIMES_S, bench.room_c + (160.0 - bench.room_c) * share, 160.0, film.adhesive.onset_c, activation_j_mol)
        for share in (cloth.share, leather.bond)
    ]
    return float(time_of_dose(TIMES_S, doses[1], np.interp(15.0, TIMES_S, doses[0])))


def test_published_setting_of_the_smooth_film() -> None:
    """The film that the next tests are about is published at 160 degC (320 degF), 15 to 20 s, medium pressure."""
    setting = book().films["smooth"].setting
    assert (160.0, 160.0, 15.0, 20.0, "medium") == (
        setting.coolest_c,
        setting.hottest_c,
        setting.shortest_s,
        setting.longest_s,
        setting.pressure,
    )


@pytest.mark.parametrize("activation_kj_mol", [60.0, 80.0, 100.0, 120.0, 150.0])
def test_quarter_minute_on_cotton_is_half_a_minute_on_leather(activation_kj_mol: float) -> None:
    """15 s on cotton without a cover equal about 30 s on leather under a thin sheet, over the activation band."""
    assert 26.5 <= equivalent_dwell_s(activation_kj_mol * 1e3) <= 35.0


def test_leather_deck_shoe() -> None:
    """A leather shoe is pressed at 160 degC for about half a minute under the flexible siliconised sheet."""
    recipe = pressed("smooth", "regatta-deck", "outer-quarter")
    assert recipe.setting is not None
    assert recipe.window is not None
    assert ("ready", 160.0, 320.0, "medium", "silicone-thin") == (
        recipe.verdict,
        recipe.setting.temperature_c,
        recipe.setting.temperature_f,
        recipe.setting.pressure,
        recipe.setting.cover,
    )
    assert 20.0 <= recipe.window.shortest_s <= 30.0
    assert 25.0 <= recipe.setting.dwell_s <= 36.0


def test_reference_cloth_gives_the_published_setting_back() -> None:
    """On the reference cloth without a cover the recipe is the published setting, if the film needs all of it."""
    own = replace(book(), practices={})
    smooth = replace(own.films["smooth"], needed_share=NeededShare(low=1.0, high=1.0))
    own = replace(own, films={**own.films, "smooth": smooth})
    cloth = own.uppers[own.bench.reference_upper]
    layers = tuple(BareLayer(material=each.material, thickness=f"{each.thickness_mm} mm") for each in cloth.layers)
    job = windows.Job("smooth", cloth, own.bench.reference_pad, own.bench.reference_pressures.medium_kpa)
    span = windows.spans(own, job, None, [160.0], platen_spread_k=0.0, guard_k=0.0)[0]
    assert pytest.approx((15.0, 20.0), abs=0.02) == (span.shortest_s, span.published_s)
    assert span.longest_s > span.published_s
    answer = resolve(own, RecipeRequest(film="smooth", onto=BareStack(surface="woven", layers=layers)))
    assert answer.verdict == "ready"


@pytest.mark.parametrize(
    ("shoe", "panel"), [("turf-boot", "outer-quarter"), ("gala-glossy", "outer-quarter"), ("harbour-dance", "vamp")]
)
def test_glossy_and_coated_uppers_can_be_marked_under_a_cover(shoe: str, panel: str) -> None:
    """Glossy, plastic-like and coated uppers are marked under a cover sheet."""
    recipe = pressed("smooth", shoe, panel)
    assert recipe.setting is not None
    assert (True, True) == (recipe.verdict != "decline", recipe.setting.cover is not None)


def test_foam_clog_is_declined_for_its_foam() -> None:
    """No film bonds below the 70 degC or so at which EVA foam softens.

    The resin does at about 70 (an encyclopaedia of materials for conservators); foams shrink from 60 (from memory).
    """
    recipe = pressed("smooth", "ward-clog", "outer-side")
    first = recipe.reasons[0]
    assert ("decline", "heat.no-window", "EVA foam", 70.0, "guess") == (
        recipe.verdict,
        first.code,
        first.subject,
        first.limit,
        first.evidence,
    )


def test_steps_of_the_bench() -> None:
    """No preheating, press once, tape what does not stick, stand a clam, one pressing for a face's placements."""
    smooth, reflective = (
        {step.do for step in pressed(film, "regatta-deck", "outer-quarter", press="clam").steps}
        for film in ("smooth", "reflective")
    )
    assert {"no-preheat", "once", "stand", "second-placement", "cover"} <= smooth
    assert ({"tape"}, set()) == (reflective - smooth, {"tape"} & smooth)


def test_printed_transfer_is_neither_cut_nor_weeded() -> None:
    """A printed full-colour transfer is pressed like a film, and needs no cutting and no weeding."""
    recipe = pressed("printed", "regatta-deck", "outer-quarter")
    assert ("ready", set()) == (recipe.verdict, {"cut", "weed"} & {step.do for step in recipe.steps})


def test_upper_stands_what_practice_gives_it() -> None:
    """Leather stands a bond line of 140 to 150 degC for about half a minute under a cover sheet without marking."""
    recipe = pressed("smooth", "regatta-deck", "outer-quarter")
    assert recipe.bond is not None
    grain = next(layer for layer in recipe.layers if layer.layer == "grain leather")
    assert (True, True) == (138.0 <= recipe.bond.peak_c <= 150.0, grain.worst_case_c < grain.limit_c)


PRACTISED = [
    ("regatta-deck", "outer-quarter", "smooth"),
    ("turf-boot", "outer-quarter", "smooth"),
    ("gala-glossy", "outer-quarter", "smooth"),
    ("court-trainer", "outer-quarter", "smooth"),
    ("minnow-trainer", "outer-quarter", "smooth"),
    ("quay-sandal", "heel-strap", "reflective"),
    ("quay-sandal", "instep-strap", "smooth"),
    ("gala-glitter", "outer-quarter", "flake"),
]
"""Stacks that are pressed at 160 degC and medium pressure for 30 s under the thin sheet, which holds and harms none
(common practice, no source)."""


@pytest.mark.parametrize(("shoe", "panel", "film"), PRACTISED)
def test_practised_setting_lies_in_the_window(shoe: str, panel: str, film: str) -> None:
    """The one setting of the trade lies in the nominal window of each stack on which it is practised."""
    model = book().shoes[shoe]
    size = Size(system=model.sizes.system, value=f"{model.sizes.smallest:g}")
    request = RecipeRequest(
        film=film,
        onto=ShoePanel(shoe=BookShoe(shoe=shoe, size=size), panel=panel),
        cover="silicone-thin",
        temperature="160 degC",
        pressure="medium",
    )
    recipe = resolve(book(), request)
    assert "decline" != recipe.verdict
    assert recipe.window is not None
    assert recipe.window.shortest_s is not None
    assert recipe.window.longest_s is not None
    assert recipe.window.shortest_s <= 30.0 <= recipe.window.longest_s


@pytest.mark.parametrize(("shoe", "panel", "film"), PRACTISED)
def test_statements_of_the_book_are_the_practised_ones(shoe: str, panel: str, film: str) -> None:
    """The book has a statement of the trade for each of these stacks."""
    (there,) = (each for each in book().shoes[shoe].panels if each.id == panel)
    stated = [
        (each.cover, each.temperature_c, each.pressure, each.dwell_s, each.bond, each.upper_looks)
        for each in book().films[film].practices
        if each.upper == there.upper
    ]
    assert {("silicone-thin", 160.0, "medium", 30.0, "holds", "unchanged")} == set(stated)
