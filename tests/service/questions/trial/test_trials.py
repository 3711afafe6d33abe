"""Laws of a trial, checked against the heat model itself and not against the ladder's own arithmetic."""

from __future__ import annotations

import functools
import itertools
from itertools import pairwise
from typing import Any

import msgspec
import numpy as np
import pressed_stacks
import pytest
from msgspec.structs import replace
from plain_marks import RECIPE

from featherline.wire.recipes import RecipeRequest, ShoePanel
from featherline.wire.records import HeatLimit, Overpressing
from featherline.wire.shoes import BookShoe, Label, MeasuredShoe
from featherline.wire.trials import Outcome, Rung, Trial, TrialRequest
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.heat.damage import step_peaks
from featherline_service.heat.pressing import AFTER_S
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.recipe import recipes
from featherline_service.questions.recipe.recipe_tasks import on_panel, read_task
from featherline_service.questions.recipe.windows import (
    Candidate,
    Job,
    Span,
    places,
)
from featherline_service.questions.shoes.observations import sold_under
from featherline_service.questions.shoes.shoes import Shoe, find_shoe
from featherline_service.questions.trial import trials
from featherline_service.questions.trial.setting_sequence import Forecast, Goal, Ladder, Step, TrialSetting

PANELS = [
    {"panel": "quarter", "shape": {"kind": "rectangle", "width": "90 mm", "height": "40 mm"}, "curvature": "gentle"},
    {"panel": "tongue", "face": "tongue", "shape": {"kind": "rectangle", "width": "50 mm", "height": "40 mm"}},
    {"panel": "back", "face": "heel", "shape": {"kind": "rectangle", "width": "50 mm", "height": "40 mm"}},
]
WALK_INS = [
    ("leather", "smooth", "swing"),
    ("leather", "reflective", "swing"),
    ("leather", "flock", "clam"),
    ("coated-leather", "smooth", "clam"),
    ("coated-leather", "flock", "swing"),
    ("textile knit", "smooth", "swing"),
    ("textile", "stretch", "clam"),
    ("textile knit", "reflective", "swing"),
]


@pytest.fixture(scope="module")
def mixed(book: Book) -> Book:
    """Return the demo book with a label that allows canvas and, far more heat-shy, woven polypropylene and foam."""
    textile = ("canvas", "polypropylene", "eva-foam")
    return replace(
        book,
        uppers={
            name: replace(upper, labels=("textile" if name in textile else "other",))
            for name, upper in book.uppers.items()
        },
    )


def asked(label: str = "leather", film: str = "smooth", press: str = "swing", **more: Any) -> TrialRequest:  # noqa: ANN401
    """Return the question of a trial on a walk-in shoe, by its label and, after a blank, its surface."""
    own = {key: more.pop(key) for key in ("surface", "tests", "upper", "heel_collapses") if key in more}
    label, _, surface = label.partition(" ")
    own |= {"surface": surface} if surface else {}
    shoe = {"kind": "measured", "label": label, "panels": PANELS, "inside_length": "270 mm", **own}
    return msgspec.convert({"shoe": shoe, "panel": "quarter", "film": film, "press": press, **more}, TrialRequest)


def in_book(shoe: str, panel: str, film: str, **more: str) -> TrialRequest:
    """Return the question of a trial on a shoe of the book."""
    model = {"kind": "book", "shoe": shoe, "size": {"system": "EU", "value": "42"}}
    return msgspec.convert({"shoe": model, "panel": panel, "film": film, **more}, TrialRequest)


@functools.cache
def job_of(book: Book, request: TrialRequest, upper: str) -> Job:
    """Return the stack of an upper that a shoe may be of."""
    question = RecipeRequest(
        film=request.film,
        onto=ShoePanel(shoe=request.shoe, panel=request.panel),
        press=request.press,
        pressure=book.films[request.film].setting.pressure,
    )
    task, _ = read_task(book, question)
    return next(job for job in recipes.options_of(book, task).jobs if job.upper.id == upper)


def hottest(book: Book, request: TrialRequest, upper: str, rung: Rung) -> list[tuple[str, bool, float, HeatLimit]]:
    """Return each layer's name, whether it is the shoe's, its peak and its limit, from the heat model itself."""
    job, cover = job_of(book, request, upper), rung.setting.cover
    assert cover is not None
    found = []
    for stack, pressing in places(book, job, cover):
        rise = step_peaks(pressing.pressed, pressing.opened, np.array([rung.setting.dwell_s]), AFTER_S).rise[:, 0]
        peak_c = book.bench.room_c + (rung.setting.temperature_c - book.bench.room_c) * rise
        rows = zip(stack.names, stack.roles, peak_c.tolist(), stack.materials, strict=True)
        found += [(name, role == "upper", peak, book.materials[material].limit) for name, role, peak, material in rows]
    return found


def bond_share(book: Book, request: TrialRequest, upper: str, rung: Rung) -> float:
    """Return the bond line's dose over what the film needs, from the heat model at this setting."""
    job, setting = job_of(book, request, upper), rung.setting
    return pressed_stacks.bond_share(book, job, setting.cover, setting.temperature_c, setting.dwell_s).share


def outcome(rung: Rung, seen: str) -> Outcome | None:
    """Return what an outcome of a rung says, if it can be seen."""
    return next((each for each in rung.outcomes if each.seen == seen), None)


@pytest.mark.parametrize(("label", "film", "press"), WALK_INS)
def test_rungs_only_rise(book: Book, label: str, film: str, press: str) -> None:
    """Neither temperature nor dwell ever falls, and one of both rises; pressure and cover sheet stay as they are."""
    rungs = trials.plan(book, asked(label, film, press)).rungs
    settings = [(rung.setting.temperature_c, rung.setting.dwell_s) for rung in rungs]

    assert rungs
    assert 1 == len({(rung.setting.cover, rung.setting.pressure, rung.setting.pressure_kpa) for rung in rungs})
    assert all(one[0] <= other[0] and one[1] <= other[1] and one != other for one, other in pairwise(settings))


@pytest.mark.parametrize(("label", "film", "press"), WALK_INS)
def test_the_first_rung_harms_nothing_that_the_shoe_may_be(book: Book, label: str, film: str, press: str) -> None:
    """At the first rung no layer of any upper comes to its limit, though the limit is low by all of its spread."""
    request = asked(label, film, press)
    plan = trials.plan(book, request)
    first = plan.rungs[0]

    assert {"sure"} == {each.heat for each in first.predicted}
    wanted, _, surface = label.partition(" ")
    assert [
        upper.id
        for upper in sold_under(book, wanted)  # type: ignore[arg-type]
        if surface in {"", upper.surface} and not upper.lasting_margin
    ] == [each.upper for each in first.predicted]
    for each in first.predicted:
        shoe = [layer for layer in hottest(book, request, each.upper, first) if layer[1]]
        assert all(peak_c < limit.peak_c - limit.spread_k for _, _, peak_c, limit in shoe)


@pytest.mark.parametrize(("label", "film", "press"), WALK_INS)
def test_no_rung_passes_a_limit_of_the_film(book: Book, label: str, film: str, press: str) -> None:
    """Never past the film's range, what a layer of film, carrier or cover sheet stands, or a dose that harms it."""
    request = asked(label, film, press)
    own = book.films[film].setting
    harm = Overpressing(harm="it yellows", longest_s=own.longest_s, evidence="guess")
    book = replace(book, films={**book.films, film: replace(book.films[film], overpressing=harm)})
    for rung in trials.plan(book, request).rungs:
        assert rung.setting.temperature_c <= own.hottest_c
        for each in rung.predicted:
            share = bond_share(book, request, each.upper, rung)
            job, at = job_of(book, request, each.upper), rung.setting
            harmed = pressed_stacks.bond_share(book, job, at.cover, at.temperature_c, at.dwell_s).harmed
            assert each.bond_share is None or share <= harmed * (1.0 + 1e-6)
            layers = hottest(book, request, each.upper, rung)
            assert all(peak_c <= limit.peak_c for _, shoe, peak_c, limit in layers if not shoe)


@pytest.mark.parametrize(("label", "film", "press"), WALK_INS[::2])
def test_what_is_predicted_is_what_the_heat_model_says(book: Book, label: str, film: str, press: str) -> None:
    """Bond share, nearest layer, peak and margin of every upper at every rung, within half a kelvin and 2 %."""
    request = asked(label, film, press)
    for rung in trials.plan(book, request).rungs:
        for each in rung.predicted:
            name, _, peak_c, limit = min(
                (layer for layer in hottest(book, request, each.upper, rung) if layer[1]),
                key=lambda layer: layer[3].peak_c - layer[2],
            )
            assert (name, limit.peak_c) == (each.layer, each.limit_c)
            assert peak_c == pytest.approx(each.peak_c, abs=0.5)
            assert limit.peak_c - peak_c == pytest.approx(each.margin_k, abs=0.5)
            assert each.worst_case_margin_k < each.margin_k - limit.spread_k
            if each.bond_share is not None:
                assert bond_share(book, request, each.upper, rung) == pytest.approx(each.bond_share, rel=0.02)


@pytest.mark.parametrize(("label", "film", "press"), WALK_INS)
def test_outcomes_follow_from_what_is_predicted(book: Book, label: str, film: str, press: str) -> None:
    """Harm leaves the uppers that are not sure to stand it; the next rung holds those that are not ruled out."""
    rungs = trials.plan(book, asked(label, film, press)).rungs
    for number, rung in enumerate(rungs):
        harm, nothing, bond = (outcome(rung, seen) for seen in ("harm", "nothing", "bond"))
        assert harm is not None
        assert nothing is not None
        assert [each.upper for each in rung.predicted if each.heat != "sure"] == list(harm.leaves)
        assert "stop" == harm.then
        assert rung.film == (bond is not None)
        if number < len(rungs) - 1:
            assert "next-rung" == nothing.then
            assert [each.upper for each in rungs[number + 1].predicted] == list(nothing.leaves)
        else:
            assert "stop" == nothing.then
            assert bond is not None
            assert "use" == bond.then


def test_the_ladder_ends_where_the_film_bonds(book: Book) -> None:
    """By the last rung every upper that is left has gathered what the film needs."""
    for label, film, press in WALK_INS:
        last = trials.plan(book, asked(label, film, press)).rungs[-1]
        assert all(each.bond_share is None or each.bond_share >= 1.0 for each in last.predicted)


@pytest.mark.parametrize(("label", "film", "press"), WALK_INS)
def test_no_rung_passes_what_an_upper_still_possible_stands(book: Book, label: str, film: str, press: str) -> None:
    """By the heat model no layer of any upper that may still be there comes past its limit, at any rung."""
    request = asked(label, film, press)
    for rung in trials.plan(book, request).rungs:
        for each in rung.predicted:
            shoe = [layer for layer in hottest(book, request, each.upper, rung) if layer[1]]
            assert all(peak_c <= limit.peak_c for _, _, peak_c, limit in shoe)


@pytest.mark.slow
@pytest.mark.parametrize("label", ["leather", "coated-leather", "textile", "other"])
def test_the_first_rung_is_safe_for_every_upper_sold_under_a_label(book: Book, label: Label) -> None:
    """Whatever the film and the surface, no upper of the label is harmed, though its limit is low by all its spread.

    Every upper that a film of the demo book can be pressed on is on the list of such a trial.
    """
    sold = sold_under(book, label)
    tried = set()
    for film, surface in itertools.product(("smooth", "stretch", "flock"), (None, *{one.surface for one in sold})):
        # A coated face is tried only where the maker rules PVC out.
        seen = {"surface": surface, "tests": {"marking": "pvc-free"} if surface == "coated" else {}}
        request = asked(label, film, **seen)
        plan = trials.plan(book, request)
        for each in plan.rungs[0].predicted if plan.rungs else ():
            tried.add(each.upper)
            assert each.worst_case_margin_k > 0.0
            shoe = [layer for layer in hottest(book, request, each.upper, plan.rungs[0]) if layer[1]]
            assert all(peak_c < limit.peak_c - limit.spread_k for _, _, peak_c, limit in shoe)
        if plan.rungs:
            listed = {upper.id for upper in sold if surface in {None, upper.surface} and not upper.lasting_margin}
            assert listed - {"pvc-coated"} == {each.upper for each in plan.rungs[0].predicted}

    forbidden = {"eva-foam", "pvc-coated", "rubber", "leather-lasted"}  # no film of the demo book suits them
    assert {upper.id for upper in sold} - forbidden == tried


def test_a_trial_ends_where_no_setting_suits_all_that_is_left(mixed: Book) -> None:
    """Canvas, polypropylene and foam have no setting in common: nothing is tried, and what would narrow it is asked."""
    plan = trials.plan(mixed, asked("textile"))

    assert ("decline", ["trial.no-setting", "shoe.unnarrowed"]) == (plan.verdict, [one.code for one in plan.reasons])
    assert ["/film", "/shoe"] == [reason.subject for reason in plan.reasons]
    assert ((), (), ()) == (plan.rungs, plan.places, plan.looks)
    narrowed = trials.plan(mixed, asked("textile", tests={"thread": "sinks", "fingernail": "none"}))
    assert ("trial", ["canvas"]) == (narrowed.verdict, [each.upper for each in narrowed.candidates])


def test_no_film_is_laid_where_none_could_bond(book: Book) -> None:
    """The lower rungs press the cover sheet alone; film is laid only where the dose comes near to what is needed."""
    suede = book.materials["suede-leather"]
    unsure = replace(suede, limit=replace(suede.limit, spread_k=50.0))  # so that the first rung is a cool one
    rungs = trials.plan(replace(book, materials={**book.materials, suede.id: unsure}), asked("leather")).rungs
    shares = [max(each.bond_share or 0.0 for each in rung.predicted) for rung in rungs]

    assert not rungs[0].film
    assert rungs[-1].film
    assert all(share < 1.0 for rung, share in zip(rungs, shares, strict=True) if not rung.film)


def test_pvc_is_never_climbed_past(book: Book) -> None:
    """A shoe that may be PVC coated has no ladder to a film that needs more than PVC stands (hydrogen chloride)."""
    plan = trials.plan(book, asked("other"))

    assert ("decline", ["trial.no-setting", "shoe.unnarrowed"]) == (plan.verdict, [one.code for one in plan.reasons])
    assert "PVC coated fabric" in plan.reasons[1].sentence
    assert () == plan.rungs


def test_what_the_eye_rules_out_opens_the_way(book: Book) -> None:
    """Seen to be glossy, the same shoe has a ladder, for the eye tells a glossy face from a grained one."""
    plan = trials.plan(book, asked("other", surface="glossy"))

    assert "trial" == plan.verdict
    assert ["glossy"] == [each.upper for each in plan.candidates]


def test_an_unsafe_first_rung_is_declined(mixed: Book) -> None:
    """Where the press's coolest setting may already harm an upper at the worst case, nothing is tried."""
    cotton = mixed.materials["cotton-fabric"]
    unsure = replace(cotton, limit=replace(cotton.limit, spread_k=150.0))
    unknown = replace(mixed, materials={**mixed.materials, "cotton-fabric": unsure})
    plan = trials.plan(unknown, asked("textile", press="clam", surface="woven", tests={"thread": "sinks"}))

    assert ("decline", ["trial.first-rung"]) == (plan.verdict, [reason.code for reason in plan.reasons])
    assert ((), (), ()) == (plan.rungs, plan.places, plan.looks)
    assert plan.cautions


def test_a_film_that_suits_none_is_declined(book: Book) -> None:
    """Rubber takes no film of the demo book: there is nothing to try."""
    plan = trials.plan(book, asked("other", surface="rubber"))

    assert ("decline", ["trial.no-setting"]) == (plan.verdict, [reason.code for reason in plan.reasons])
    assert [None] == [each.setting for each in plan.candidates]


def test_a_known_upper_needs_no_ladder(book: Book) -> None:
    """Canvas that is known to be canvas is ready: one rung, which is its recipe."""
    request = asked("textile", upper="canvas")
    plan = trials.plan(book, request)
    question = RecipeRequest(film="smooth", onto=ShoePanel(shoe=request.shoe, panel="quarter"), press="swing")

    assert ("ready", ["trial.not-needed"]) == (plan.verdict, [reason.code for reason in plan.reasons])
    assert [recipes.resolve(book, question).setting] == [rung.setting for rung in plan.rungs]


def test_the_least_visible_place_comes_first_and_the_panel_last(book: Book) -> None:
    """Tongue before heel before quarter; the heel not where it does not collapse (common practice, no source)."""
    stiff = trials.plan(book, asked(heel_collapses=False))
    unknown = trials.plan(book, asked())

    assert ["tongue", "quarter"] == [place.panel for place in stiff.places]
    assert ["tongue", "back", "quarter"] == [place.panel for place in unknown.places]
    assert "if it lies flat when pressed by hand" in unknown.places[1].sentence


def test_a_shoe_with_no_place_to_try_is_declined(book: Book) -> None:
    """A stiff heel alone cannot be pressed anywhere."""
    shoe = {"kind": "measured", "label": "leather", "panels": PANELS[2:], "heel_collapses": False}
    request = msgspec.convert({"shoe": shoe, "panel": "back", "film": "smooth"}, TrialRequest)
    plan = trials.plan(book, request)

    assert ("decline", ["trial.no-place"], ()) == (
        plan.verdict, [reason.code for reason in plan.reasons], plan.rungs,
    )  # fmt: skip


def test_on_a_shoe_of_the_book_only_the_same_upper_counts(book: Book) -> None:
    """The mesh toe of a trainer says nothing of its coated quarters, and its stiff heel does not go under the press."""
    plan = trials.plan(book, in_book("court-trainer", "outer-quarter", "smooth"))

    assert ["inner-quarter", "outer-quarter"] == [place.panel for place in plan.places]


def test_whose_shoes_they_are_changes_what_comes_before(book: Book) -> None:
    """A customer is asked first; the shop tries a second pair before the model is offered from stock."""
    customer, shop = (trials.plan(book, asked(owner=owner)) for owner in ("customer", "shop"))

    assert "have a yes in writing" in customer.before[0]
    assert "second-choice pair" in shop.before[0]
    assert len(shop.afterwards) == len(customer.afterwards) + 1


def test_protective_footwear_waits_for_its_maker_even_for_a_trial(book: Book) -> None:
    """Without the maker's consent nothing is pressed, and the reason says which field states it."""
    request = in_book("yard-boot", "outer-quarter", "smooth")
    consented = replace(request, shoe=replace(request.shoe, makers_consent=True))  # type: ignore[type-var]
    held, free = trials.plan(book, request), trials.plan(book, consented)

    assert ("decline", ["shoe.protective"], ()) == (held.verdict, [one.code for one in held.reasons], held.rungs)
    assert free.rungs


def test_a_press_in_fahrenheit_is_set_in_its_steps(book: Book) -> None:
    """In the units `us` every rung is a multiple of 5 degF."""
    plan = trials.plan(book, asked("leather", "smooth", units="us"))

    settings = [rung.setting.temperature_f for rung in plan.rungs]

    assert [pytest.approx(5.0 * round(setting / 5.0)) for setting in settings] == settings


def test_every_rung_is_looked_at_for_harm_and_bond(book: Book) -> None:
    """Gloss, shrinkage, print-through, smell and softness stop the trial; the bond is felt by thumb and by peel."""
    looks = {look.at: look.stops for look in trials.plan(book, asked()).looks}

    assert {"gloss", "shrinkage", "print-through", "smell", "softness"} == {at for at, stops in looks.items() if stops}
    assert {"bond-by-thumb", "bond-by-peel"} == {at for at, stops in looks.items() if not stops}


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"film": "no-such-film"}, "/film"),
        ({"press": "no-such-press"}, "/press"),
        ({"panel": "no-such-panel"}, "/panel"),
        ({"upper": "suede", "label": "textile"}, "/shoe/upper"),
    ],
)
def test_a_fault_points_into_the_request(book: Book, changes: dict[str, str], pointer: str) -> None:
    """What the book does not have is refused with its place in this request."""
    with pytest.raises(RefusedError) as error:
        trials.plan(book, asked(**changes))
    assert [pointer] == [fault.pointer for fault in error.value.faults]


def test_a_plan_is_the_same_again(book: Book) -> None:
    """A trial is a pure function of request and book."""
    first, second = (msgspec.json.encode(trials.plan(book, asked())) for _ in range(2))

    assert first == second
    assert isinstance(msgspec.json.decode(first, type=Trial), Trial)


def forecast(book: Book, upper: str, margin_k: float, worst_k: float) -> Forecast:
    """Return what two settings do to a shoe of an upper, the second one 50 K nearer to its limit."""
    flags = np.array([True, False])
    plain = np.array([0.5, 1.5])
    return Forecast(
        upper=book.uppers[upper],
        bonds=upper != "rubber",
        sure=flags,
        likely=np.array([True, worst_k > -20.0]),
        kept=flags,
        layer=("face", "lining"),
        peak_c=np.array([100.0, 150.0]),
        limit_c=np.array([168.0, 160.0]),
        margin_k=np.array([margin_k + 50.0, margin_k]),
        worst_k=np.array([worst_k + 50.0, worst_k]),
        share=plain,
    )


def test_the_weakest_upper_is_the_one_nearest_to_its_limit_at_worst(book: Book) -> None:
    """At the rung's own setting, and not by the book's values; of none there is none."""
    forecasts = {
        "suede": forecast(book, "suede", 5.0, -9.0),
        "canvas": forecast(book, "canvas", 2.0, -3.0),
        "glossy": forecast(book, "glossy", 9.0, -1.0),
    }

    assert "suede" == trials._weakest(["canvas", "suede", "glossy"], forecasts, 1)
    assert "canvas" == trials._weakest(["canvas", "glossy"], forecasts, 1)
    assert trials._weakest([], forecasts, 1) is None


def test_a_prediction_is_that_of_its_setting(book: Book) -> None:
    """What stands it at worst is sure, by the book's values likely; a film that does not bond has no share."""
    suede, rubber = forecast(book, "suede", 5.0, -9.0), forecast(book, "rubber", 5.0, -30.0)
    sure, likely, past = trials._predicted(suede, 0), trials._predicted(suede, 1), trials._predicted(rubber, 1)

    assert ("suede", 0.5, "face", 100.0, 168.0, 55.0, 41.0, "sure") == (
        sure.upper,
        sure.bond_share,
        sure.layer,
        sure.peak_c,
        sure.limit_c,
        sure.margin_k,
        sure.worst_case_margin_k,
        sure.heat,
    )
    assert (1.5, "lining", "likely") == (likely.bond_share, likely.layer, likely.heat)
    assert (None, "past") == (past.bond_share, past.heat)


def test_the_nearest_upper_is_the_one_whose_dwell_is_nearest() -> None:
    """Of those that are left and have a dwell of their own."""
    span = Span(10.0, 30.0, 12.0, 25.0, "cap", None, None, 10.0, 20.0)
    windows = {
        name: Candidate("paper", 160.0, "medium", span, dwell_s)
        for name, dwell_s in (("suede", 12.0), ("canvas", 19.0), ("glossy", None))
    }
    ladder = Ladder(Goal("paper", 160.0, 14.0, windows), (), {}, (), unsafe=None, blocked=None, reaches=True)

    assert ["suede", "canvas", "canvas", None] == [
        trials._nearest(left, ladder, dwell_s)
        for left, dwell_s in (
            (["suede", "canvas"], 15.0),
            (["suede", "canvas"], 16.0),
            (["canvas"], 1.0),
            (["glossy"], 1.0),
        )
    ]


def trial_on(book: Book, shoe: Shoe, panel: str) -> list[tuple[str, bool]]:
    """Return where to try smooth film on a shoe, and whether that is the panel itself."""
    film, press = book.films["smooth"], book.presses["swing"]
    there = next(one for one in shoe.panels if one.id == panel)
    task = on_panel(book, film, shoe, there, press, units="metric")
    jobs = tuple(Job("smooth", upper, "silicone-foam", 276.0) for upper in there.uppers)
    own = trials._Trial(trials.TrialTask(task, shoe, panel, "customer"), film, press, jobs, RECIPE)
    return [(place.panel, "the panel itself" in place.sentence) for place in trials._places(book, own)]


def walked_in(book: Book, **changes: Any) -> Shoe:  # noqa: ANN401
    """Return a walk-in shoe with a panel on every face, from the outer side to the tongue."""
    panels = [{**PANELS[0], "panel": face, "face": face} for face in ("outer", "toe", "heel", "inner", "tongue")]
    measured = msgspec.convert({"label": "textile", "panels": panels, **changes}, MeasuredShoe)
    shoe = find_shoe(book, measured, Checks())
    assert shoe is not None
    return shoe


def test_places_are_those_seen_least_and_the_panel_itself_last(book: Book) -> None:
    """Tongue, inner side, heel, toe, outer side (common practice, no source); a heel that stands up is no place."""
    unknown, stands = walked_in(book), walked_in(book, heel_collapses=False)

    assert [("inner", False), ("heel", False), ("toe", False), ("outer", False), ("tongue", True)] == trial_on(
        book, unknown, "tongue"
    )
    assert [("tongue", False), ("inner", False), ("toe", False), ("outer", True)] == trial_on(book, stands, "outer")
    flat = replace(book.presses["swing"], platens=("full-flat",))
    own = replace(book, presses={**book.presses, "swing": flat})
    assert [("tongue", True)] == trial_on(own, unknown, "tongue")


def test_places_of_a_model_are_of_the_same_upper(book: Book) -> None:
    """Another says nothing of this one."""
    size = {"system": "EU", "value": "42"}
    shoe = find_shoe(book, msgspec.convert({"shoe": "harbour-dance", "size": size}, BookShoe), Checks())
    assert shoe is not None

    assert [("vamp", True)] == trial_on(book, shoe, "vamp")
    assert [("inner-quarter", False), ("heel", False), ("outer-quarter", True)] == trial_on(book, shoe, "outer-quarter")


TRY = Reason(code="heat.worst-case", verdict="trial", subject="/onto/shoe", sentence="The window is narrow.")
LOOK = Reason(code="shoe.measured", verdict="trial", subject="/onto/shoe/label", sentence="Nobody knows it.")
REMARK = Reason(code="shoe.measured", verdict="ready", subject="/onto", sentence="So be it.")
NEVER = Reason(code="heat.no-window", verdict="decline", subject="/film", sentence="It melts.")
ASK = Reason(code="shoe.unnarrowed", verdict="decline", subject="/onto/shoe", sentence="Say what the eye sees.")


def tried(book: Book, uppers: tuple[str, ...], *reasons: Reason, verdict: Verdict = "trial") -> trials._Trial:
    """Return a trial of smooth film on a walk-in shoe of one of these uppers, whose recipe has these reasons."""
    shoe = walked_in(book)
    task = on_panel(book, book.films["smooth"], shoe, shoe.panels[0], book.presses["swing"], units="metric")
    jobs = tuple(Job("smooth", book.uppers[upper], "silicone-foam", 276.0) for upper in uppers)
    recipe = replace(RECIPE, verdict=verdict, reasons=reasons)
    whole = trials.TrialTask(task, shoe, "outer", "customer")
    return trials._Trial(whole, book.films["smooth"], book.presses["swing"], jobs, recipe)


def ladder_of(book: Book, *uppers: str, **changes: Any) -> Ladder:  # noqa: ANN401 - of any field
    """Return a ladder of two settings for a shoe of one of these uppers."""
    goal = Goal("paper", 160.0, 14.0, {})
    forecasts = {upper: forecast(book, upper, 5.0, -9.0 - place) for place, upper in enumerate(uppers)}
    plain = Ladder(goal, (), forecasts, (), unsafe=None, blocked=None, reaches=True)
    return plain._replace(**changes)


def test_temperatures_of_a_ladder_end_at_its_goal(book: Book) -> None:
    """From the press's coolest in its steps; a step within rounding of the goal is the goal."""
    own = tried(book, ("suede",))
    own = own._replace(press=replace(own.press, coolest_c=118.0, step_c=5.0))

    assert [120.0, 125.0, 130.0, 132.5] == trials._up_to(own, 132.5)
    assert [120.0, 125.0, 130.0] == trials._up_to(own, 130.0)
    assert [120.0, 125.0, 130.00005] == trials._up_to(own, 130.00005)
    assert [118.0] == trials._up_to(own, 118.0)


def test_reasons_of_a_trial_are_those_of_its_recipe(book: Book) -> None:
    """At their places in this request; heat of one setting for all is no reason where the ladder tells uppers apart."""
    said = (REMARK, TRY, LOOK)
    one, several = (
        [(reason.code, reason.subject) for reason in trials._reasons(tried(book, uppers, *said), ladder_of(book))]
        for uppers in (("suede",), ("suede", "canvas"))
    )

    assert [("heat.worst-case", "/shoe"), ("shoe.measured", "/shoe/label")] == one
    assert [("shoe.measured", "/shoe/label")] == several


def test_without_a_reason_of_the_recipe_a_trial_says_why_it_is_or_is_not_needed(book: Book) -> None:
    """A ready recipe needs none; uppers that no one setting suits are named in the order of the ladder."""
    ladder = ladder_of(book, "suede", "canvas")
    (needless,) = trials._reasons(tried(book, ("suede",), REMARK, verdict="ready"), ladder)
    (needed,) = trials._reasons(tried(book, ("suede", "canvas"), TRY), ladder)

    assert ("trial.not-needed", "ready", "/shoe") == (needless.code, needless.verdict, needless.subject)
    assert ("shoe.measured", "trial", "/shoe") == (needed.code, needed.verdict, needed.subject)
    names = f"{book.uppers['suede'].name}, {book.uppers['canvas'].name}"
    assert f"No one setting suits all that the shoe may be ({names}): the trial shows which it is." == needed.sentence


def test_that_no_setting_suits_says_why_and_what_to_ask(book: Book) -> None:
    """The first refusal that is no question is the cause; questions follow at their places in this request."""
    smooth, swing, suede = book.films["smooth"].name, book.presses["swing"].name, book.uppers["suede"].name
    one = list(trials._no_setting(tried(book, ("suede",), TRY, ASK, NEVER, verdict="decline")))
    (none,) = trials._no_setting(tried(book, ("suede", "canvas"), verdict="decline"))

    assert [("trial.no-setting", "/film"), ("shoe.unnarrowed", "/shoe")] == [(it.code, it.subject) for it in one]
    assert one[0].sentence == (
        f"There is nothing to try: {smooth} has no setting on {swing} that bonds and harms nothing of this upper "
        f"({suede}). It melts."
    )
    assert none.sentence == (
        f"There is nothing to try: {smooth} has no setting on {swing} that bonds and harms none of all that the shoe "
        f"may be ({suede}, {book.uppers['canvas'].name})."
    )


def test_an_unsafe_first_rung_names_its_layer_and_heat(book: Book) -> None:
    """At the first setting of the path, of the upper that forbids it."""
    own = tried(book, ("suede", "canvas"))
    unsafe = ladder_of(book, "suede", "canvas", unsafe="canvas")
    (reason,) = trials._declined(own, unsafe)

    assert ("trial.first-rung", "decline", "face", 40.0, 0.0, "K") == (
        reason.code, reason.verdict, reason.subject, reason.measure, reason.limit, reason.unit,
    )  # fmt: skip
    assert (
        f"the face of {book.uppers['canvas'].name} gets to 100 °C, and at the worst case past what it stands (168 °C "
        "as the book has it)."
    ) in reason.sentence
    assert [] == list(trials._declined(own, ladder_of(book, "suede")))


@pytest.mark.parametrize(("blocked", "named"), [("canvas", "canvas"), (None, "suede")])
def test_a_ladder_that_does_not_reach_names_the_upper_that_ends_it(book: Book, blocked: str | None, named: str) -> None:
    """Or the first."""
    ladder = ladder_of(book, "suede", "canvas", reaches=False, blocked=blocked)
    (reason,) = trials._declined(tried(book, ("suede", "canvas")), ladder)

    assert ("trial.out-of-reach", "decline", "/film") == (reason.code, reason.verdict, reason.subject)
    assert f"if the shoe is of {book.uppers[named].name}, a limit" in reason.sentence


def test_places_say_whether_they_are_of_the_same_upper(book: Book) -> None:
    """On a walk-in shoe only the panel itself is; on a model all that are listed are."""
    faces = (("b", "outer"), ("a", "tongue"), ("c", "inner"))
    panels = [{**PANELS[0], "panel": name, "face": face} for name, face in faces]
    walk_in = find_shoe(book, msgspec.convert({"label": "textile", "panels": panels}, MeasuredShoe), Checks())
    assert walk_in is not None
    press = book.presses["swing"]

    def told(shoe: Shoe, panel: str) -> list[tuple[str, str]]:
        there = next(one for one in shoe.panels if one.id == panel)
        task = on_panel(book, book.films["smooth"], shoe, there, press, units="metric")
        jobs = (Job("smooth", there.uppers[0], "silicone-foam", 276.0),)
        whole = trials.TrialTask(task, shoe, panel, "customer")
        own = trials._Trial(whole, book.films["smooth"], press, jobs, RECIPE)
        return [(place.panel, place.sentence.partition(": ")[2][:9]) for place in trials._places(book, own)]

    assert [("c", "only if e"), ("b", "only if e"), ("a", "the panel")] == told(walk_in, "a")
    assert [("a", "only if e"), ("b", "only if e"), ("c", "the panel")] == told(walk_in, "c")
    size = {"system": "EU", "value": "42"}
    model = find_shoe(book, msgspec.convert({"shoe": "harbour-dance", "size": size}, BookShoe), Checks())
    assert model is not None
    assert ["it is of ", "it is of ", "the panel"] == [sentence for _, sentence in told(model, "outer-quarter")]


def test_what_may_be_seen_after_a_rung(book: Book) -> None:
    """A bond, where one may be, leaves those that may have it; nothing those that need not; harm those not sure."""
    possible = {
        "suede": forecast(book, "suede", 5.0, -9.0),
        "canvas": forecast(book, "canvas", 5.0, -3.0),
        "glossy": forecast(book, "glossy", 5.0, -1.0)._replace(sure=np.array([True, True])),
    }
    span = Span(10.0, 30.0, 12.0, 25.0, "cap", None, None, 10.0, 20.0)
    windows = {
        name: Candidate("paper", 160.0, "medium", span, dwell_s) for name, dwell_s in (("suede", 9.0), ("canvas", 13.0))
    }
    path = (TrialSetting(150.0, 8.0), TrialSetting(150.0, 12.0))
    ladder = Ladder(Goal("paper", 150.0, 12.0, windows), path, possible, (), unsafe=None, blocked=None, reaches=True)
    step = Step(1, tuple(possible), frozenset({"suede", "canvas"}), frozenset({"suede"}))

    def told(step: Step, *, last: bool) -> list[tuple[str, tuple[str, ...], str, str | None]]:
        seen = trials._outcomes(ladder, step, possible, last=last)
        return [(one.seen, one.leaves, one.then, one.upper) for one in seen]

    bond = ("bond", ("suede", "canvas"), "use", "canvas")
    harm = ("harm", ("suede", "canvas"), "stop", "suede")
    assert [bond, ("nothing", ("canvas", "glossy"), "next-rung", None), harm] == told(step, last=False)
    assert [bond, ("nothing", ("canvas", "glossy"), "stop", "canvas"), harm] == told(step, last=True)
    bare = step._replace(may_bond=frozenset(), must_bond=frozenset(possible))
    assert [("nothing", (), "stop", None), harm] == told(bare, last=False)


def test_a_trial_goes_on_from_what_was_observed(book: Book) -> None:
    """A film that lifted on this shoe lengthens the dwell of its plan; one that contradicts another is named."""
    pressed = {"cover": "silicone-thin", "temperature": "160 degC", "dwell": "32 s", "bond": "lifts"}
    held = {**pressed, "dwell": "20 s", "bond": "holds"}
    plain, lifted, both = (
        trials.plan(book, in_book("regatta-deck", "outer-quarter", "smooth", observations=seen))  # type: ignore[arg-type]
        for seen in ([], [pressed], [pressed, held])
    )

    assert plain.rungs[-1].setting.dwell_s < lifted.rungs[-1].setting.dwell_s
    assert "heat.contradiction" in {reason.code for reason in both.reasons}
    with pytest.raises(RefusedError, match="/observations/0/cover"):
        trials.plan(
            book,
            in_book(
                "regatta-deck",
                "outer-quarter",
                "smooth",
                observations=[{**pressed, "cover": "tin"}],  # type: ignore[arg-type]
            ),
        )
