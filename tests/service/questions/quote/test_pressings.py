from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace
from single_questions import fit_request

from featherline.wire.costs import Order
from featherline.wire.fits import Fit
from featherline.wire.recipes import Band, Recipe, Setting, Window
from featherline.wire.verdicts import Verdict
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.fit import fits
from featherline_service.questions.order.orders import read_order
from featherline_service.questions.quote.adjacent_panels import Hazard
from featherline_service.questions.quote.marks import Mark
from featherline_service.questions.quote.pressings import Plan, plan, say_stands
from featherline_service.questions.recipe import recipes
from featherline_service.questions.recipe.recipe_tasks import RecipeTask, on_panel

EXAMPLE = Path(__file__).parents[4] / "openapi" / "examples" / "quote-request.json"

Held = Callable[[str, float, str | None], Recipe]
"""From a panel, a temperature and a cover that are held, to its recipe there."""


@pytest.fixture(scope="module")
def order() -> Order:
    """The commonest order."""
    return msgspec.json.decode(EXAMPLE.read_bytes(), type=Order)


@pytest.fixture(scope="module")
def fit(book: Book, order: Order) -> Fit:
    """Its fit, which stands for any other panel's."""
    return fits.check(book, fit_request(order, order.placements[0]))


def a_recipe(
    temperature: float,
    dwell: float,
    window: tuple[float, float],
    *,
    worst_case: tuple[float, float] | None = None,
    cover: str | None = "silicone-thin",
    verdict: Verdict = "ready",
    film: str = "smooth",
) -> Recipe:
    """Return a recipe of which only the setting and the window matter."""
    band = worst_case or window
    return Recipe(
        verdict=verdict,
        reasons=(),
        film=film,
        press="swing",
        setting=Setting(
            temperature_c=temperature,
            temperature_f=temperature * 1.8 + 32,
            dwell_s=dwell,
            pressure="medium",
            pressure_kpa=276,
            cover=cover,
        ),
        window=Window(
            shortest_s=window[0],
            longest_s=window[1],
            worst_case=Band(shortest_s=band[0], longest_s=band[1]),
            bound_by=(),
        ),
        bond=None,
        layers=(),
        peel=None,
        alternatives=(),
        help=(),
        steps=(),
        cautions=(),
    )


@pytest.fixture
def planned(
    book: Book, order: Order, fit: Fit, monkeypatch: pytest.MonkeyPatch
) -> Callable[[dict[str, Recipe], Held], Plan]:
    """Return a function that plans panels of one face with their own recipes, and their recipes where held."""

    def planned(own: dict[str, Recipe], held: Held) -> Plan:
        def recipe_of(_: Book, task: RecipeTask) -> Recipe:
            assert task.panel is not None
            assert task.temperature_c is not None
            (cover,) = task.covers
            return held(task.panel, task.temperature_c, cover)

        monkeypatch.setattr(recipes, "recipe_of", recipe_of)
        monkeypatch.setattr(recipes, "layers_at", lambda *_: ())
        checks = Checks()
        whole = read_order(book, order, checks)
        checks.settle()
        assert whole is not None
        (first,) = whole.placements
        marks = []
        for index, (panel, recipe) in enumerate(own.items()):
            film = book.films[recipe.film]
            there = replace(first.panel, id=panel)
            marks.append(
                Mark(
                    index=index,
                    placement=dataclasses.replace(first, panel=there, film=film),
                    task=on_panel(book, film, whole.shoe, there, whole.press, units="metric"),
                    fit=fit,
                    recipe=recipe,
                )
            )
        return plan(book, whole, marks)

    return planned


def never(_panel: str, temperature: float, cover: str | None) -> Recipe:
    """Return a recipe without a setting, as of a panel that has no window there."""
    declined = a_recipe(temperature, 0, (0, 0), cover=cover, verdict="decline")
    return replace(declined, setting=None, window=None)


def groups(found: Plan) -> list[tuple[int, tuple[int, ...]]]:
    """Return the loading and the placements of each pressing."""
    return [(one.pressing.loading, one.pressing.placements) for one in found.pressings]


Planned = Callable[[dict[str, Recipe], Held], Plan]


def test_one_setting_for_all_is_one_pressing(planned: Planned) -> None:
    """Panels whose recipes agree are pressed together, and nobody is asked again."""
    same = a_recipe(160, 30, (25, 40))

    assert [(1, (0, 1))] == groups(planned({"quarter": same, "counter": same}, never))


def test_a_dwell_that_both_windows_hold_is_shared(planned: Planned) -> None:
    """At 160 degC the counter stands 25 to 45 s, so the quarter's 30 s do for both, and both recipes are kept."""
    found = planned(
        {"quarter": a_recipe(160, 30, (26, 40)), "counter": a_recipe(150, 44, (40, 60))},
        lambda panel, temperature, _cover: a_recipe(
            temperature, {"quarter": 50, "counter": 35}[panel], {"quarter": (46, 55), "counter": (25, 45)}[panel]
        ),
    )

    assert [(1, (0, 1))] == groups(found)
    assert found.pressings[0].pressing.recipe.setting is not None
    assert found.pressings[0].pressing.recipe.setting.dwell_s == 30
    assert 2 == len(found.pressings[0].recipes)
    assert () == found.reasons


def test_any_of_the_settings_may_be_the_shared_one(planned: Planned) -> None:
    """Where the first panel's setting burns the second, but the second's does for the first, that one is taken."""
    found = planned(
        {"quarter": a_recipe(160, 30, (26, 40)), "counter": a_recipe(150, 44, (40, 60))},
        lambda panel, temperature, cover: a_recipe(
            temperature, 45, {"quarter": (35, 55), "counter": (10, 20)}[panel], cover=cover
        ),
    )

    assert [(1, (0, 1))] == groups(found)
    assert found.pressings[0].pressing.recipe.setting is not None
    assert found.pressings[0].pressing.recipe.setting.temperature_c == 150


def test_windows_that_do_not_meet_are_pressed_apart(planned: Planned) -> None:
    """Each panel in a loading of its own, with a reason that names both, and that is no reason to decline."""
    found = planned(
        {"quarter": a_recipe(160, 30, (26, 40)), "counter": a_recipe(130, 20, (15, 25))},
        lambda _panel, temperature, _cover: a_recipe(temperature, 12, (10, 14)),
    )

    assert [(1, (0,)), (2, (1,))] == groups(found)
    assert [("heat.pressed-apart", "ready", "/placements/1")] == [
        (reason.code, reason.verdict, reason.subject) for reason in found.reasons
    ]
    assert "counter" in found.reasons[0].sentence
    assert "quarter" in found.reasons[0].sentence


@pytest.mark.parametrize(
    "held",
    [
        never,
        lambda _panel, temperature, _cover: a_recipe(temperature, 30, (20, 50), cover="ptfe-cloth"),
        lambda _panel, temperature, _cover: a_recipe(temperature + 5, 30, (20, 50)),
        lambda _panel, temperature, _cover: a_recipe(temperature, 30, (20, 50), worst_case=(40, 41)),
    ],
    ids=["declined", "another cover", "another temperature", "not at the worst case"],
)
def test_what_is_not_the_same_setting_is_not_shared(planned: Planned, held: Held) -> None:
    """A recipe under another cover or temperature, or that holds only nominally, shares no pressing."""
    own = {"quarter": a_recipe(160, 30, (26, 40)), "counter": a_recipe(150, 44, (40, 60))}

    assert [(1, (0,)), (2, (1,))] == groups(planned(own, held))


def test_the_hottest_film_is_pressed_first(planned: Planned) -> None:
    """Films follow one another on one loading, the cooler one last."""
    own = {"outer-quarter": a_recipe(130, 20, (15, 25), film="stretch"), "heel": a_recipe(160, 30, (26, 40))}

    assert [(1, (1,)), (1, (0,))] == groups(planned(own, never))


@pytest.mark.parametrize(
    ("longest_s", "sure_s", "expected"),
    [
        (9.34, 0.0, ("12", "stands 9.3 s")),
        (11.97, 0.0, ("12.00", "stands 11.97 s")),
        (15.0, 11.996, ("12.000", "is sure to stand 11.996 s only")),
        (15.0, 0.0, ("12", "is not sure to stand any")),
    ],
)
def test_a_dwell_and_its_limit_never_read_alike(longest_s: float, sure_s: float, expected: tuple[str, str]) -> None:
    """A limit a hair below the dwell is said with the decimals that tell them apart."""
    dwell, stands, _ = say_stands(12.0, Hazard(name="the toe", layer="film", longest_s=longest_s, sure_s=sure_s))
    assert expected == (dwell, stands)
