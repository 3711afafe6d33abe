from __future__ import annotations

import math
from typing import Any

import msgspec
import numpy as np
import pytest
from msgspec.structs import replace
from plain_marks import RECIPE

from featherline.wire.recipes import RecipeRequest
from featherline_service.book.shop_book import Book
from featherline_service.drawing import charts
from featherline_service.drawing.charts import Chart
from featherline_service.drawing.scene import Scene, Words
from featherline_service.questions.recipe import recipes, temperature_charts
from featherline_service.questions.recipe.windows import Span

DECK: dict[str, Any] = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[Chart]:
    """Return the charts that are drawn, as they were asked for."""
    asked: list[Chart] = []
    draw = charts.draw

    def noted(chart: Chart) -> Scene:
        asked.append(chart)
        return draw(chart)

    monkeypatch.setattr(charts, "draw", noted)
    return asked


def request(**changes: Any) -> RecipeRequest:  # noqa: ANN401 - the JSON of any part
    """Return the question of the README, some of it changed."""
    asked = {"film": "smooth", "onto": {"kind": "panel", "shoe": DECK, "panel": "outer-quarter"}, "press": "swing"}
    return msgspec.convert({**asked, **changes}, RecipeRequest)


def said(scene: Scene) -> list[str]:
    """Return all words of a scene."""
    return [item.text for item in scene.items if isinstance(item, Words)]


@pytest.mark.parametrize("film", ["smooth", "stretch", "flock", "reflective"])
def test_the_curves_are_the_recipes(book: Book, drawn: list[Chart], film: str) -> None:
    """Every layer's highest point is the peak that the recipe gives, and the bond line's is its bond's."""
    recipe = recipes.resolve(book, request(film=film))
    temperature_charts.draw(book, request(film=film))
    curves = {curve.name: curve for curve in drawn[0].curves}

    assert recipe.bond is not None
    assert recipe.bond.peak_c == pytest.approx(float(curves["bond line"].temperatures_c.max()), abs=0.3)
    for layer in recipe.layers:
        assert layer.peak_c == pytest.approx(float(curves[layer.layer].temperatures_c.max()), abs=0.5)
        assert layer.at_s == pytest.approx(curves[layer.layer].peak[0], abs=4.0)  # type: ignore[index]
        assert layer.limit_c == curves[layer.layer].limit_c


def test_the_platen_is_there_until_the_press_opens(book: Book, drawn: list[Chart]) -> None:
    """The platen's curve is its setting, and ends with the dwell."""
    recipe = recipes.resolve(book, request())
    temperature_charts.draw(book, request())
    (chart,) = drawn
    platen = chart.curves[0].temperatures_c
    there = chart.times_s[np.isfinite(platen)]

    assert recipe.setting is not None
    assert recipe.setting.dwell_s == chart.dwell_s == there[-1]
    assert {recipe.setting.temperature_c} == set(platen[np.isfinite(platen)].tolist())


def test_the_bond_line_is_where_the_peel_is(book: Book, drawn: list[Chart]) -> None:
    """At the peel's wait the bond line, its cover sheet off, has come down to the temperature that the recipe says."""
    recipe = recipes.resolve(book, request())
    temperature_charts.draw(book, request())
    ((time_s, temperature_c, words),) = drawn[0].marks

    assert recipe.peel is not None
    assert recipe.setting is not None
    assert recipe.setting.dwell_s + recipe.peel.wait_s == pytest.approx(time_s)
    assert recipe.peel.at_c == pytest.approx(temperature_c, abs=0.3)
    assert words.startswith(f"peel {recipe.peel.when}")


def test_a_peel_without_a_wait_is_at_once(book: Book, drawn: list[Chart]) -> None:
    """The carrier of smooth film comes off with the cover sheet: the chart does not say that in seconds."""
    temperature_charts.draw(book, request(film="smooth"))
    ((_, _, words),) = drawn[0].marks
    assert "peel hot, at once" == words


def test_the_windows_are_the_recipes(book: Book, drawn: list[Chart]) -> None:
    """The bars are the nominal window and the one at the worst case."""
    window = recipes.resolve(book, request()).window
    temperature_charts.draw(book, request())
    nominal, worst = drawn[0].spans

    assert window is not None
    assert (window.shortest_s, window.longest_s) == (nominal.begin_s, nominal.end_s)
    assert (window.worst_case.shortest_s, window.worst_case.longest_s) == (worst.begin_s, worst.end_s)


HELD: dict[str, Any] = {"cover": "silicone-thin", "temperature": "160 degC", "dwell": "30 s", "bond": "holds"}


def test_windows_with_and_without_observations_are_side_by_side(book: Book, drawn: list[Chart]) -> None:
    """With a pressing that held, the bars are the recipe's window and the one that its evidence has without it."""
    asked = request(observations=[HELD])
    recipe = recipes.resolve(book, asked)
    temperature_charts.draw(book, asked)
    seen, alone = drawn[0].spans

    assert recipe.window is not None
    assert recipe.evidence is not None
    worst, without = recipe.window.worst_case, recipe.evidence.without
    assert (recipe.window.shortest_s, recipe.window.longest_s) == (seen.begin_s, seen.end_s)
    assert (worst.shortest_s, worst.longest_s) == seen.sure
    assert (without.shortest_s, (without.sure_from_s, without.sure_to_s)) == (alone.begin_s, alone.sure)
    assert alone.begin_s > seen.begin_s
    assert seen.name.startswith("with the trade's statements and 1 observed pressing: ")
    assert f"by the book alone: {alone.begin_s:.1f} to {alone.end_s:.1f} s; sure from" in alone.name


def test_a_window_without_a_dwell_is_said_in_words() -> None:
    """Neither a window that ends before it begins nor one that has no sure dwell gets figures."""
    span = Span(40.0, 30.0, math.inf, 20.0, "layer", "suede", "suede", 3.0, 50.0)

    assert "seen: no dwell bonds and harms nothing; none is sure" == temperature_charts._both_ends("seen", span).name


@pytest.mark.parametrize("film", ["smooth", "flock"])
def test_the_bands_are_the_worst_cases(book: Book, drawn: list[Chart], film: str) -> None:
    """At its peak the critical layer's band ends at the recipe's worst case; all through, bands hold their curves."""
    recipe = recipes.resolve(book, request(film=film))
    temperature_charts.draw(book, request(film=film))
    banded = {curve.name: curve for curve in drawn[0].curves if curve.band is not None}
    critical = min(
        (layer for layer in recipe.layers if layer.layer in {"grain leather", "textile lining"}),
        key=lambda layer: layer.margin_k,
    )

    assert {"bond line", critical.layer} == set(banded)
    for curve in banded.values():
        low_c, high_c = curve.band
        assert (low_c <= curve.temperatures_c).all()
        assert (curve.temperatures_c <= high_c).all()
    assert banded[critical.layer].band is not None
    highest = float(banded[critical.layer].band.high_c.max())
    assert critical.worst_case_c == pytest.approx(highest, abs=1.0)


def test_readings_at_the_bond_line_make_its_band_narrower(book: Book, drawn: list[Chart]) -> None:
    """A thermocouple that reads what was expected takes doubt away, where outcomes do not move temperatures."""
    temperature_charts.draw(book, request())
    bond_c = drawn[0].curves[1].temperatures_c
    value = float(np.interp(20.0, drawn[0].times_s, bond_c))
    reading = {"kind": "thermocouple-class-1", "gauge": "t1", "above": "bond line", "at": "20 s"}
    read = {**HELD, "readings": [{**reading, "value": f"{value:.1f} degC"}]}
    for observed in (HELD, {name: read[name] for name in read if name != "bond"}):
        temperature_charts.draw(book, request(observations=[observed]))
    spreads = []
    for chart in drawn:
        band = chart.curves[1].band
        assert band is not None
        spreads.append(float(np.interp(20.0, chart.times_s, band.high_c - band.low_c)))

    assert spreads[0] == pytest.approx(spreads[1], abs=0.2)
    assert spreads[2] < 0.6 * spreads[0]


def test_a_declined_recipe_has_no_temperatures_to_follow(book: Book, drawn: list[Chart]) -> None:
    """A foam clog's chart gives the reason in words, and no temperature or dwell that somebody might set."""
    clog = {"kind": "book", "shoe": "ward-clog", "size": {"system": "EU", "value": "40"}}
    scene = temperature_charts.draw(book, request(onto={"kind": "panel", "shoe": clog, "panel": "outer-side"}))

    assert [] == drawn
    assert any("The EVA foam forbids it" in text for text in said(scene))


def test_protective_footwear_is_not_drawn_before_its_maker_consents(book: Book, drawn: list[Chart]) -> None:
    """The same recipe has a chart once the request says that the maker consents."""
    shoe = {"kind": "book", "shoe": "yard-boot", "size": {"system": "EU", "value": "43"}}
    onto = {"kind": "panel", "shoe": shoe, "panel": "outer-quarter"}
    temperature_charts.draw(book, request(onto=onto))
    assert [] == drawn
    temperature_charts.draw(book, request(onto={**onto, "shoe": {**shoe, "makers_consent": True}}))

    assert 1 == len(drawn)


def test_what_cannot_be_pressed_at_all_is_said_in_words(book: Book, drawn: list[Chart]) -> None:
    """Film on a surface that it does not bond to has no temperatures to draw."""
    stack = {"kind": "stack", "surface": "rubber", "layers": [{"material": "natural-rubber", "thickness": "2 mm"}]}
    scene = temperature_charts.draw(book, request(onto=stack))

    assert [] == drawn
    assert any("does not bond to rubber" in text for text in said(scene))


def test_fahrenheit_is_a_scale_and_no_other_chart(book: Book, drawn: list[Chart]) -> None:
    """In `us` the axis is in degrees Fahrenheit, and the curves are what they are."""
    scene = temperature_charts.draw(book, request(units="us"))
    (chart,) = drawn

    assert "°F" in said(scene)
    assert 212.0 == chart.scale(100.0)
    assert float(chart.curves[1].temperatures_c.max()) < 160.0


def test_of_several_uppers_the_nearest_to_its_limit_is_drawn(book: Book, drawn: list[Chart]) -> None:
    """For a walk-in that may be of three uppers the chart names the one that has least margin."""
    panel = {"panel": "side", "shape": {"kind": "rectangle", "width": "90 mm", "height": "40 mm"}}
    shoe = {"kind": "measured", "label": "leather", "panels": [panel]}
    scene = temperature_charts.draw(book, request(onto={"kind": "panel", "shoe": shoe, "panel": "side"}))

    assert 1 == len(drawn)
    assert any("Upper: Suede with a textile lining." in text for text in (" ".join(said(scene)),))


@pytest.mark.parametrize(
    ("wait_s", "mark"),
    [
        (6.0, (20.0, 60.0, "peel hot, 6 s after opening")),
        (5.0, (19.0, 65.0, "peel hot, 5 s after opening")),
        (6.1, (20.0, 60.0, "peel hot, 6 s after opening, off the chart")),
        (60.0, (20.0, 60.0, "peel hot, 60 s after opening, off the chart")),
    ],
)
def test_the_peel_is_marked_on_the_bond_lines_curve(wait_s: float, mark: tuple[float, float, str]) -> None:
    """At its time after opening, or at the chart's end, which itself is on it."""
    recipe = replace(RECIPE, peel=replace(RECIPE.peel, wait_s=wait_s))
    times_s, bond_c = np.array([0.0, 10.0, 20.0]), np.array([20.0, 110.0, 60.0])

    assert [pytest.approx(mark[:2])] == [one[:2] for one in temperature_charts._marks(recipe, times_s, bond_c, 14.0)]
    assert [mark[2]] == [one[2] for one in temperature_charts._marks(recipe, times_s, bond_c, 14.0)]
    assert [] == list(temperature_charts._marks(replace(recipe, peel=None), times_s, bond_c, 14.0))
