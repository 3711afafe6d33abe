from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import msgspec
import plain_marks
import pytest
from msgspec.structs import replace
from single_questions import fit_request

from featherline.wire import costs
from featherline.wire.artworks import At
from featherline.wire.costs import Placement
from featherline.wire.fits import Fit
from featherline.wire.recipes import Band, Recipe, Setting, Window
from featherline.wire.records import Upper
from featherline.wire.verdicts import Verdict
from featherline_service.book.shop_book import Book
from featherline_service.quantities import say
from featherline_service.questions.checks import Checks
from featherline_service.questions.fit import fits
from featherline_service.questions.order.orders import Order, read_order
from featherline_service.questions.quote import pressings
from featherline_service.questions.quote.adjacent_panels import Hazard
from featherline_service.questions.quote.marks import Mark
from featherline_service.questions.quote.pressings import Plan, plan
from featherline_service.questions.recipe import recipes
from featherline_service.questions.recipe.recipe_tasks import RecipeTask, on_panel

BELOW = At(x="0 mm", y="-15 mm")
EXAMPLE = Path(__file__).parents[4] / "openapi" / "examples" / "quote-request.json"

Held = Callable[[str, float, str | None], Recipe]
"""From a panel, a temperature and a cover that are held, to its recipe there."""


@pytest.fixture(scope="module")
def order() -> costs.Order:
    """The commonest order."""
    return msgspec.json.decode(EXAMPLE.read_bytes(), type=costs.Order)


@pytest.fixture(scope="module")
def fit(book: Book, order: costs.Order) -> Fit:
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
    book: Book, order: costs.Order, fit: Fit, monkeypatch: pytest.MonkeyPatch
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
                    placement=replace(first, panel=there, film=film),
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
        (9.34, 0.0, ("12 s", "9.3 s", 9.34)),
        (11.97, 0.0, ("12.00 s", "11.97 s", 11.97)),
        (15.0, 11.996, ("12.000 s", "11.996 s", 11.996)),
        (15.0, 0.5, ("12 s", "0.5 s", 0.5)),
        (15.0, 0.0, ("12 s", None, 0.0)),
    ],
)
def test_a_dwell_and_its_limit_never_read_alike(longest_s: float, sure_s: float, expected: tuple[object, ...]) -> None:
    """A limit a hair below the dwell is said with the decimals that tell them apart."""
    hazard = Hazard(name="the toe", layer="film", longest_s=longest_s, sure_s=sure_s)
    dwell, stands, limit_s = pressings._stands(12.0, hazard)
    assert expected == (say(dwell), None if stands is None else say(stands), limit_s)


def steps_of(plan: Plan) -> list[list[str]]:
    """Return what is done in the steps of each pressing."""
    return [[step.do for step in one.pressing.recipe.steps] for one in plan.pressings]


def marked(book: Book, *placements: Placement, **changes: object) -> tuple[Order, tuple[Mark, ...]]:
    """Return an order of placements and its marks, each pressed by the plain recipe."""
    order = plain_marks.read(book, *placements, **changes)
    return order, plain_marks.marks_of(book, order)


def test_marks_on_marks_stay_on_the_loading(book: Book) -> None:
    """They are pressed after what they lie on, on the platen that it lies on; another face is laid anew."""
    order, marks = marked(book, plain_marks.asked(), plain_marks.asked(onto=0), plain_marks.asked(panel="tongue"))

    there = plan(book, order, marks)
    assert [(1, (0,)), (1, (1,)), (2, (2,))] == groups(there)
    assert [("heat.pressed-onto", "ready", "/placements/1/onto")] == [
        (one.code, one.verdict, one.subject) for one in there.reasons
    ]
    assert ["next-film", "next-face", "once"] == [steps[-1] for steps in steps_of(there)]
    apart = tuple(
        replace(mark, fit=replace(mark.fit, platens=(name,)))
        for mark, name in zip(marks, ("shoe-form", "small-shoe-form", "shoe-form"), strict=True)
    )
    assert [(1, (0,)), (2, (1,)), (3, (2,))] == groups(plan(book, order, apart))


@pytest.mark.parametrize(
    ("platens", "most_shoes"),
    [
        ([("shoe-form", "small-shoe-form"), ("small-shoe-form",)], [1]),
        ([("shoe-form", "small-shoe-form"), ("shoe-form", "small-shoe-form")], [2]),
        ([("shoe-form",), ("small-shoe-form",)], [2, 1]),
    ],
)
def test_a_platen_that_holds_most_marks_comes_first(
    book: Book, platens: list[tuple[str, ...]], most_shoes: list[int]
) -> None:
    """Of equals the press's first; the large form takes two shoes and the small one of this book one."""
    small = replace(book.platens["small-shoe-form"], shoes_at_once=1)
    own = replace(book, platens={**book.platens, small.id: small})
    poses = At(x="0 mm", y="0 mm"), At(x="0 mm", y="-15 mm")
    order, marks = marked(own, *(plain_marks.asked(pose=pose) for pose in poses))
    held = [replace(mark, fit=replace(mark.fit, platens=names)) for mark, names in zip(marks, platens, strict=True)]

    assert most_shoes == [one.most_shoes for one in plan(own, order, held).pressings]


def test_marks_that_no_platen_holds_go_on_the_first_that_takes_the_shoe(book: Book) -> None:
    """They are declined for it elsewhere."""
    small = replace(book.platens["small-shoe-form"], shoes_at_once=1)
    own = replace(book, platens={**book.platens, small.id: small})
    order, (mark,) = marked(own, plain_marks.asked())
    short = replace(order, shoe=replace(order.shoe, inside_length=180.0))
    unheld = replace(mark, fit=replace(mark.fit, platens=()))

    assert [1] == [one.most_shoes for one in plan(own, short, [unheld]).pressings]
    assert [2] == [one.most_shoes for one in plan(own, order, [unheld]).pressings]


@pytest.mark.parametrize(
    ("pairs", "sides", "at_once", "at_once_of", "shoes"),
    [
        (1, "both", 2, 2, ("left", "right")),
        (1, "left", 1, 2, ("left",)),
        (2, "right", 2, 2, ("right",)),
        (1, "both", 2, 4, ("left", "right")),
        (3, "both", 4, 4, ("left", "right")),
        (5, "both", 1, 1, ("left", "right")),
    ],
)
def test_no_more_shoes_go_on_than_there_are(  # noqa: PLR0917 - a case has all of them
    book: Book, pairs: int, sides: str, at_once: int, at_once_of: int, shoes: tuple[str, ...]
) -> None:
    """Nor more than the platen takes."""
    form = replace(book.platens["shoe-form"], shoes_at_once=at_once_of)
    own = replace(book, platens={**book.platens, form.id: form})
    order, marks = marked(own, plain_marks.asked(sides=sides), pairs=pairs)
    (only,) = plan(own, order, marks).pressings

    assert (at_once, shoes, at_once_of) == (only.pressing.shoes_at_once, only.pressing.shoes, only.most_shoes)


@pytest.mark.parametrize(
    ("sides", "second"), [(("both", "left"), True), (("left", "right"), False), (("both", "both"), True)]
)
def test_a_second_artwork_is_one_on_the_same_shoe(book: Book, sides: tuple[str, str], second: bool) -> None:
    """The shoe with the most counts."""
    poses = At(x="0 mm", y="0 mm"), At(x="0 mm", y="-15 mm")
    order, marks = marked(
        book, *(plain_marks.asked(sides=side, pose=pose) for side, pose in zip(sides, poses, strict=True))
    )
    (steps,) = steps_of(plan(book, order, marks))

    assert second == ("second-placement" in steps)


@pytest.mark.parametrize(
    ("first", "then", "laid"),
    [("both", "both", True), ("both", "left", True), ("left", "both", False), ("left", "right", False)],
)
def test_shoes_stay_on_for_the_next_film_where_they_all_lie_there(
    book: Book, first: str, then: str, laid: bool
) -> None:
    """A shoe that the film before did not mark has still to be laid on."""
    order, marks = marked(
        book, plain_marks.asked(sides=first), plain_marks.asked(sides=then, film="stretch", colour="chalk", pose=BELOW)
    )
    _, steps = steps_of(plan(book, order, marks))

    assert laid == ("load" not in steps)


def test_nothing_is_cut_while_shoes_lie_on_the_platen(book: Book) -> None:
    """The first pressing of a loading has the cuts of both films, the second none; another face has its own."""
    order, marks = marked(
        book,
        plain_marks.asked(),
        plain_marks.asked(film="stretch", colour="chalk", pose=BELOW),
        plain_marks.asked(panel="inner-quarter"),
    )
    cuts = [
        [step.sentence for step in one.pressing.recipe.steps if step.do == "cut"]
        for one in plan(book, order, marks).pressings
    ]

    assert [2, 0, 1] == [len(sentences) for sentences in cuts]
    assert all(any(book.films[film].name in said for said in cuts[0]) for film in ("smooth", "stretch"))


def test_what_follows_a_pressing_is_told(book: Book) -> None:
    """Another film on the same loading, the same face again, another face, or nothing."""
    follows = pressings._then
    order, marks = marked(book, plain_marks.asked())
    group = pressings._Group(marks=marks, recipes=(plain_marks.RECIPE,))
    here = pressings._Closing(face="outer", loading=1, group=group, platen=book.platens["shoe-form"])

    assert ["film", "loading", "face", "nothing"] == [
        follows(here, following)
        for following in ([here], [replace(here, loading=2)], [replace(here, loading=2, face="toe")], [])
    ]
    assert order.press.id == "swing"


def closing(book: Book, *placements: Placement, loading: int = 1) -> pressings._Closing:
    """Return a closing on some placements."""
    _, marks = marked(book, *placements)
    group = pressings._Group(marks=marks, recipes=(plain_marks.RECIPE,))
    return pressings._Closing(face="outer", loading=loading, group=group, platen=book.platens["shoe-form"])


@pytest.mark.parametrize(
    ("longest_s", "sure_s", "verdict", "limit"),
    [(13.9, 5.0, "decline", 13.9), (14.0, 5.0, "trial", 5.0), (20.0, 13.0, "trial", 13.0)],
)
def test_a_film_that_is_pressed_again_must_stand_it(
    book: Book, longest_s: float, sure_s: float, verdict: str, limit: float
) -> None:
    """By the book's values, or it is declined; not sure to, it is tried. A panel beside it is only remarked on."""
    hazard = Hazard(name="the film", layer="film face", longest_s=longest_s, sure_s=sure_s)
    here = closing(book, plain_marks.asked())
    again, beside = pressings._presses_again(here, hazard), pressings._endangers(here, hazard)

    assert ("heat.pressed-again", verdict, "/placements/0", 14.0, limit, "s") == (
        again.code,
        again.verdict,
        again.subject,
        again.measure,
        again.limit,
        again.unit,
    )
    assert ("heat.beside", "ready", "/placements/0", 14.0, limit, "s") == (
        beside.code,
        beside.verdict,
        beside.subject,
        beside.measure,
        beside.limit,
        beside.unit,
    )


@pytest.mark.parametrize(
    ("first", "then", "loading", "names"),
    [
        ({}, {}, 1, 1),
        ({}, {}, 2, 1),  # on the panel that is marked now
        ({"panel": "inner-quarter"}, {}, 1, 1),  # on the same loading
        ({"panel": "inner-quarter"}, {}, 2, 0),
        ({"sides": "left"}, {"sides": "right"}, 1, 0),  # not on the same shoe
        ({"sides": "both"}, {"sides": "right"}, 1, 1),
    ],
)
def test_films_before_are_pressed_again_on_the_same_shoe(  # noqa: PLR0917 - a case has all of them
    book: Book,
    monkeypatch: pytest.MonkeyPatch,
    first: dict[str, str],
    then: dict[str, str],
    loading: int,
    names: int,
) -> None:
    """On the same loading, or on a panel that is marked now."""
    beside: list[str] = []

    def hazards(_: Book, uppers: Iterable[tuple[str, Upper]], *__: object, **___: object) -> tuple[Hazard, ...]:
        beside.extend(name for name, _ in uppers)
        return ()

    monkeypatch.setattr(pressings, "hazards", hazards)
    closings = [closing(book, plain_marks.asked(**first)), closing(book, plain_marks.asked(**then), loading=loading)]
    order = plain_marks.read(book, plain_marks.asked())
    pressings._pressed_before(book, order, closings, 1)

    assert [f"{book.films['smooth'].name} on the {first.get('panel', 'outer-quarter')}"] * names == beside


@pytest.mark.parametrize(("published_s", "longer"), [(14.0, False), (13.9, True), (None, False)])
def test_a_shared_dwell_longer_than_published_is_remarked_on(
    book: Book, published_s: float | None, longer: bool
) -> None:
    """At the placement whose panel it is longer for."""
    mark = closing(book, plain_marks.asked()).group.marks[0]
    own = replace(plain_marks.RECIPE, window=replace(plain_marks.WINDOW, published_s=published_s))
    reasons = list(pressings._longer(mark, own, plain_marks.SETTING))

    assert ([("heat.film-longer", "/placements/0", 13.9)] if longer else []) == [
        (one.code, one.subject, one.limit) for one in reasons
    ]
    assert [] == list(pressings._longer(mark, replace(own, window=None), plain_marks.SETTING))


def test_a_panel_that_shares_a_setting_has_its_layers_at_that_dwell(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not at its own; one with the same dwell keeps its recipe."""
    asked: list[tuple[RecipeTask, float]] = []
    monkeypatch.setattr(recipes, "layers_at", lambda _, task, dwell_s: asked.append((task, dwell_s)) or ())
    monkeypatch.setattr(recipes, "recipe_of", lambda *_: a_recipe(160, 14, (10, 30)))
    mark = closing(book, plain_marks.asked()).group.marks[0]
    own = replace(mark, recipe=a_recipe(150, 20, (10, 30)))
    shared = a_recipe(160, 18, (10, 30)).setting
    assert shared is not None
    found = pressings._at_setting(book, own, shared)
    assert found is not None

    assert (shared, ()) == (found.setting, found.layers)
    ((task, dwell_s),) = asked
    assert (18.0, 160.0, "medium", ("silicone-thin",)) == (dwell_s, task.temperature_c, task.pressure, task.covers)
    same = replace(mark, recipe=a_recipe(160, 18, (10, 30)))
    assert same.recipe is pressings._at_setting(book, same, shared)
    assert 1 == len(asked)


@pytest.mark.parametrize(
    ("dwell_s", "verdict", "held"),
    [
        (12.0, "ready", True),
        (11.9, "ready", False),
        (25.0, "ready", True),
        (25.1, "ready", False),
        (11.9, "trial", True),
        (10.0, "trial", True),
        (9.9, "trial", False),
        (30.0, "trial", True),
        (30.1, "trial", False),
    ],
)
def test_a_dwell_is_held_by_the_window_that_counts(dwell_s: float, verdict: Verdict, held: bool) -> None:
    """Of a ready recipe that at worst, of one to be tried the nominal one; their ends belong to them."""
    own = a_recipe(160, 15, (10, 30), worst_case=(12, 25), verdict=verdict)
    assert own.setting is not None

    assert held == pressings._holds(own, replace(own.setting, dwell_s=dwell_s))
    assert not pressings._holds(own, replace(own.setting, dwell_s=15.0, pressure="firm"))
    assert own.window is not None
    for band in (Band(shortest_s=None, longest_s=25.0), Band(shortest_s=12.0, longest_s=None)):
        unsure = replace(own, verdict="ready", window=replace(own.window, worst_case=band))
        assert not pressings._holds(unsure, replace(own.setting, dwell_s=15.0))


def test_a_backing_is_pressed_before_its_artwork(book: Book) -> None:
    """Each is told as what it is."""
    backing = costs.Backing(film="stretch", colour="chalk", border="2 mm")
    order, marks = marked(book, plain_marks.asked(panel="tongue"), plain_marks.asked(backing=backing))
    told = [(one.pressing.placements, one.pressing.backings) for one in plan(book, order, marks).pressings]

    assert [((0,), ()), ((), (1,)), ((1,), ())] == told
