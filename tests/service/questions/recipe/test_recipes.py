"""Recipes of the demo book, and of books that differ from it in one thing."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping

import msgspec
import pytest
from draws import drawn, sample
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from featherline.wire.recipes import BareLayer, BareStack, Bond, PeelPlan, Recipe, RecipeRequest, ShoePanel
from featherline.wire.records import HeatLimit, NeededShare, Overpressing, ShoeModel
from featherline.wire.shoes import BookShoe, MeasuredPanel, MeasuredShoe, Rectangle, Size
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.recipe import recipes
from featherline_service.questions.recipe.recipe_tasks import RecipeTask, read_task
from featherline_service.questions.recipe.recipes import options_of, resolve
from featherline_service.questions.recipe.windows import Candidate, Span
from featherline_service.questions.shoes.observations import sold_under
from featherline_service.runtime import cache


def deck_shoe(
    film: str = "smooth", shoe: str = "regatta-deck", panel: str = "outer-quarter", **more: str
) -> RecipeRequest:
    """Return a request for a panel of a shoe of the demo book in EU 42."""
    onto = ShoePanel(shoe=BookShoe(shoe=shoe, size=Size(system="EU", value="42")), panel=panel)
    return RecipeRequest(film=film, onto=onto, **more)  # type: ignore[arg-type]


def walk_in(label: str, film: str = "smooth", panel: str = "side") -> RecipeRequest:
    """Return a request for a shoe known by its label and a ruler."""
    measured = MeasuredPanel(panel="side", shape=Rectangle(width="60 mm", height="30 mm"))
    shoe = MeasuredShoe(label=label, panels=(measured,))  # type: ignore[arg-type]
    return RecipeRequest(film=film, onto=ShoePanel(shoe=shoe, panel=panel))


def bare(surface: str, *layers: tuple[str, str], **more: str) -> RecipeRequest:
    """Return a request for a bare stack."""
    own = tuple(BareLayer(material=material, thickness=thickness) for material, thickness in layers)
    return RecipeRequest(film="smooth", onto=BareStack(surface=surface, layers=own), **more)  # type: ignore[arg-type]


def codes(recipe: Recipe) -> dict[str, str]:
    """Return the reasons' codes and what each leads to."""
    return {reason.code: reason.verdict for reason in recipe.reasons}


def dwell(recipe: Recipe) -> float:
    """Return the dwell that a recipe sets."""
    assert recipe.setting is not None
    return recipe.setting.dwell_s


def changed(book: Book, **shelves: Mapping[str, object]) -> Book:
    """Return the book with some records in the place of others."""
    return replace(book, **{name: {**getattr(book, name), **records} for name, records in shelves.items()})


def test_whole_answer(book: Book) -> None:
    """A ready recipe has all its parts, and they agree."""
    recipe = resolve(book, deck_shoe())
    setting, window, bond, peel = recipe.setting, recipe.window, recipe.bond, recipe.peel
    assert setting is not None
    assert window is not None
    assert bond is not None
    assert peel is not None
    sure = window.worst_case
    assert window.shortest_s is not None
    assert window.longest_s is not None
    assert sure.shortest_s is not None
    assert sure.longest_s is not None
    assert window.shortest_s <= sure.shortest_s <= setting.dwell_s <= sure.longest_s <= window.longest_s
    assert bond.dose_s >= bond.needed_s
    assert ("ready", (), 276.0) == (recipe.verdict, recipe.reasons, setting.pressure_kpa)
    assert [("shortest", "bond"), ("longest", "layer")] == [(bound.end, bound.by) for bound in window.bound_by]
    assert ("hot", 0.0, None) == (peel.when, peel.wait_s, peel.block_s)
    assert pytest.approx(bond.peak_c, abs=0.1) == peel.at_c


def test_published_peel_temperature_is_waited_for(book: Book) -> None:
    """A film whose record says how cool its bond line must be to peel has a wait for it, shorter under cold metal."""
    peel = resolve(book, deck_shoe("stretch")).peel
    assert peel is not None
    assert peel.block_s is not None
    assert 0.0 < peel.block_s < peel.wait_s
    assert pytest.approx(book.films["stretch"].peel.hottest_c, abs=1e-3) == peel.at_c


def test_every_layer_is_reported(book: Book) -> None:
    """From the cover sheet to the pad, each with a peak below its worst case, at or after opening."""
    recipe = resolve(book, deck_shoe())
    assert ["siliconised sheet", "carrier", "film face", "adhesive", "grain leather", "textile lining", "pad"] == [
        layer.layer for layer in recipe.layers
    ]
    for layer in recipe.layers:
        assert layer.peak_c < layer.worst_case_c < layer.limit_c
        assert layer.at_s >= dwell(recipe)
        assert pytest.approx(layer.limit_c - layer.peak_c) == layer.margin_k


def test_shoe_beside_the_film_is_hotter(book: Book) -> None:
    """Where the cover sheet lies on the shoe itself the grain gets hotter than the bond line does, and that counts."""
    recipe = resolve(book, deck_shoe())
    grain = next(layer for layer in recipe.layers if layer.layer == "grain leather")
    assert recipe.bond is not None
    assert grain.peak_c > recipe.bond.peak_c + 4.0


def test_never_without_a_cover_on_a_shoe(book: Book) -> None:
    """A shoe is always covered; a bare stack may be pressed through its carrier, unless it is glossy or coated."""
    covers = [
        {one.cover for one in options_of(book, read_task(book, request)[0]).settings}
        for request in (
            deck_shoe(),
            bare("woven", ("cotton-fabric", "0.9 mm")),
            bare("glossy", ("polyurethane-coating", "0.2 mm")),
        )
    ]
    assert [False, True, False] == [None in each for each in covers]


def test_held_cover_and_temperature(book: Book) -> None:
    """A request may hold the cover sheet, the temperature, or both."""
    paper = resolve(book, deck_shoe(cover="paper")).setting
    hot = resolve(book, deck_shoe("stretch", temperature="284 degF")).setting
    assert paper is not None
    assert hot is not None
    assert ("paper", 140.0) == (paper.cover, hot.temperature_c)


def test_us_units(book: Book) -> None:
    """In US units the press is set in steps of its Fahrenheit scale, and sentences speak of it."""
    recipe = resolve(book, deck_shoe("reflective", units="us"))
    assert recipe.setting is not None
    assert pytest.approx(0.0, abs=1e-6) == recipe.setting.temperature_f % 5.0
    assert "°F" in resolve(book, deck_shoe(shoe="ward-clog", panel="outer-side", units="us")).reasons[0].sentence


def test_guard_shortens_and_closes(book: Book) -> None:
    """A guard keeps layers below their limits: a small one changes nothing here, a large one leaves no window."""
    small, large = (resolve(book, deck_shoe(guard=f"{guard} delta_degC")) for guard in (2, 40))
    assert ("ready", "decline") == (small.verdict, large.verdict)
    assert large.reasons[0].subject == "grain leather"


def test_other_settings_are_offered(book: Book) -> None:
    """The runner-up settings each have a window and a dwell inside of it."""
    recipe = resolve(book, deck_shoe())
    assert recipe.alternatives
    for other in recipe.alternatives:
        assert other.window.shortest_s is not None
        assert other.window.longest_s is not None
        assert other.window.shortest_s <= other.setting.dwell_s <= other.window.longest_s
        assert other.setting != recipe.setting


def test_bench_cover_is_preferred_where_it_serves(book: Book) -> None:
    """The bench's own cover sheet is taken where it has a sure dwell; without one named, the widest window decides."""
    other = replace(book, bench=replace(book.bench, cover="ptfe-cloth"))
    assert ["silicone-thin", "ptfe-cloth"] == [
        recipe.setting.cover for recipe in (resolve(book, deck_shoe()), resolve(other, deck_shoe())) if recipe.setting
    ]


def test_same_question_is_computed_once(book: Book) -> None:
    """The same question again, and another panel of the same upper, are answered from memory.

    So is it by a book with other prices; by one with another bench it is not.
    """
    first = resolve(book, deck_shoe())
    assert first is resolve(book, deck_shoe())
    assert first.window == resolve(book, deck_shoe(panel="toe")).window
    assert first is resolve(replace(book, revision="sha256:other", policies={}), deck_shoe())
    assert first is not resolve(replace(book, bench=replace(book.bench, room_c=book.bench.room_c + 1.0)), deck_shoe())


def test_foam_is_declined_and_helped(book: Book) -> None:
    """A foam clog is declined for its foam, with what it would get to, what it stands, and what would help."""
    recipe = resolve(book, deck_shoe(shoe="ward-clog", panel="outer-side"))
    first = recipe.reasons[0]
    assert ("decline", "heat.no-window", "EVA foam", "degC") == (recipe.verdict, first.code, first.subject, first.unit)
    assert first.measure is not None
    assert first.limit is not None
    assert first.measure > first.limit
    assert (None, None, None, None, (), (), ()) == (
        recipe.setting,
        recipe.window,
        recipe.bond,
        recipe.peel,
        recipe.layers,
        recipe.steps,
        recipe.alternatives,
    )
    assert recipe.cautions
    helped = [help_.change for help_ in recipe.help]
    assert helped or "it takes a film that bonds well below 70 °C" in first.sentence


def test_help_is_true(book: Book) -> None:
    """What is offered as help, asked for, has a setting."""
    recipe = resolve(book, deck_shoe(shoe="gala-glossy", film="flake"))
    assert ("decline", {"surface.unsuited": "decline"}) == (recipe.verdict, codes(recipe))
    assert 1 <= len(recipe.help) <= 3
    for help_ in recipe.help:
        assert help_.change == "film"
        assert resolve(book, deck_shoe(shoe="gala-glossy", film=help_.to)).setting is not None


def test_cover_that_is_held_too_thin_is_helped_by_another(book: Book) -> None:
    """Held to a cover sheet under which a layer gets too hot, the answer names one under which it does not."""
    glitter = resolve(book, deck_shoe(shoe="gala-glitter", cover="paper"))
    free = resolve(book, deck_shoe(shoe="gala-glitter"))
    if glitter.verdict == "decline":
        assert "cover" in [help_.change for help_ in glitter.help]
    assert free.verdict != "decline"


def test_press_that_is_too_cool_is_declined(book: Book) -> None:
    """A press that cannot reach the film's temperature is an answer, and another press the help."""
    tepid = replace(book.presses["swing"], id="tepid", name="Tepid press", hottest_c=150.0)
    recipe = resolve(changed(book, presses={"tepid": tepid}), deck_shoe(press="tepid"))
    assert ("decline", {"heat.press-range": "decline"}) == (recipe.verdict, codes(recipe))
    assert (150.0, 160.0, "degC") == (recipe.reasons[0].measure, recipe.reasons[0].limit, recipe.reasons[0].unit)
    assert "press" in [help_.change for help_ in recipe.help] or len(recipe.help) == 3


def test_press_whose_steps_miss_the_film_is_declined(book: Book) -> None:
    """A press that passes over the film's narrow range in one step cannot be set to it."""
    narrow = replace(book.films["smooth"].setting, coolest_c=161.0, hottest_c=163.0)
    picky = changed(book, films={"smooth": replace(book.films["smooth"], setting=narrow)})
    found = [resolve(picky, deck_shoe(press=press)) for press in ("clam", "swing")]
    assert ["decline", "ready"] == [recipe.verdict for recipe in found]
    assert ({"heat.press-range": "decline"}, None) == (codes(found[0]), found[0].reasons[0].measure)


@pytest.mark.parametrize("label", ["leather", "coated-leather", "textile"])
def test_walk_in_is_never_better_than_trial(book: Book, label: str) -> None:
    """A shoe known by its label is tried first, at a setting that suits all that the label allows."""
    recipe = resolve(book, walk_in(label, film="stretch"))
    assert ("trial", "trial") == (recipe.verdict, codes(recipe)["shoe.measured"])
    assert "trial" in [step.do for step in recipe.steps]


def test_walk_in_has_what_its_uppers_have_in_common(book: Book) -> None:
    """Its window lies in the window of each upper that the label allows, at the same cover and temperature."""
    request = walk_in("textile", film="stretch")
    all_together = resolve(book, request)
    assert all_together.setting is not None
    at = f"{all_together.setting.temperature_c:g} degC"
    for upper in sold_under(book, "textile"):
        others = {one.id: replace(one, labels=("other",)) for one in book.uppers.values()}
        alone = replace(book, uppers={**others, upper.id: upper})
        own = resolve(alone, replace(request, cover=all_together.setting.cover, temperature=at)).window
        assert own is not None
        assert all_together.window is not None
        for end in ("shortest_s", "longest_s"):
            sign = 1.0 if end == "shortest_s" else -1.0
            assert sign * getattr(all_together.window, end) >= sign * getattr(own, end) - 1e-9


def test_walk_in_that_may_be_foam_is_declined(book: Book) -> None:
    """The label 'other' may stand for foam or PVC: what is not known counts as the worst."""
    assert resolve(book, walk_in("other")).verdict == "decline"


def test_surface_that_some_candidates_have(book: Book) -> None:
    """Where some uppers of the label do not take the film, that is a reason to try first."""
    recipe = resolve(book, walk_in("leather", film="reflective"))
    assert ("trial", "trial") == (recipe.verdict, codes(recipe)["surface.unknown"])


def test_protective_footwear(book: Book) -> None:
    """Certified protective footwear is declined: its maker's consent comes first."""
    recipe = resolve(book, deck_shoe(shoe="yard-boot"))
    assert ("decline", {"shoe.protective": "decline"}) == (recipe.verdict, codes(recipe))
    assert "do not press it" in recipe.reasons[0].sentence


def test_protective_footwear_with_its_makers_consent(book: Book) -> None:
    """With the consent stated the shoe is judged as any other, and the answer says on whose word."""
    shoe = BookShoe(shoe="yard-boot", size=Size(system="EU", value="42"), makers_consent=True)
    recipe = resolve(book, RecipeRequest(film="smooth", onto=ShoePanel(shoe=shoe, panel="outer-quarter")))
    assert "ready" == codes(recipe)["shoe.protective"]
    assert "press" in [step.do for step in recipe.steps]


def test_no_setting_is_between_two_steps_of_the_press(book: Book) -> None:
    """Whatever the units, settings and alternatives are steps of the press on the scales that they are said in."""
    press = book.presses["swing"]
    for film in book.films:
        for units in ("metric", "us"):
            recipe = resolve(book, deck_shoe(film, units=units))
            offered = [one.setting for one in recipe.alternatives]
            for setting in [*offered, *([recipe.setting] if recipe.setting else [])]:
                assert setting.settable_in
                assert "degC" not in setting.settable_in or setting.temperature_c % press.step_c == 0.0
                assert "degF" not in setting.settable_in or setting.temperature_f % press.step_f == 0.0
                assert ("degF" if units == "us" else "degC") in setting.settable_in


def leather_limited(book: Book, limit: HeatLimit) -> Book:
    """Return the book with another limit of upper leather."""
    return changed(book, materials={"upper-leather": replace(book.materials["upper-leather"], limit=limit)})


def limit(peak_c: float, evidence: str = "practice", spread_k: float = 1.0) -> HeatLimit:
    """Return a limit."""
    return HeatLimit(peak_c=peak_c, spread_k=spread_k, evidence=evidence, harm="it hardens")  # type: ignore[arg-type]


def test_guessed_limit_that_is_near_is_tried(book: Book) -> None:
    """A limit that is a guess and near makes a trial; the same limit known from practice does not."""
    guessed, practised = (
        resolve(leather_limited(book, limit(168.0, evidence, 10.0)), deck_shoe()) for evidence in ("guess", "practice")
    )
    assert ("trial", "ready") == (guessed.verdict, practised.verdict)
    assert "heat.weak-evidence" in codes(guessed)


def test_worst_case_beyond_the_limit_is_tried(book: Book) -> None:
    """A layer that stands the dwell nominally but not surely makes a trial, and is named."""
    recipe = resolve(leather_limited(book, limit(151.5)), deck_shoe(cover="silicone-thin"))
    reason = next(reason for reason in recipe.reasons if reason.subject == "grain leather")
    assert "heat.worst-case" == reason.code
    assert ("trial", "grain leather", "s") == (recipe.verdict, reason.subject, reason.unit)


def test_layer_ends_the_window(book: Book) -> None:
    """A lower limit ends the window sooner, by the layer's name; lower still, it forbids the film."""
    near = resolve(leather_limited(book, limit(150.2)), deck_shoe(cover="silicone-thin"))
    far = resolve(leather_limited(book, limit(130.0)), deck_shoe(cover="silicone-thin"))
    assert near.window is not None
    assert ("layer", "grain leather") == (near.window.bound_by[1].by, near.window.bound_by[1].layer)
    assert ("decline", "grain leather") == (far.verdict, far.reasons[0].subject)


def test_exposure_ends_the_window(book: Book) -> None:
    """A limit on time at temperature forbids what its peak alone would allow."""
    own = book.materials["upper-leather"].limit
    assert own.exposure is not None
    brief = replace(own, exposure=replace(own.exposure, longest_s=5.0))
    assert resolve(leather_limited(book, brief), deck_shoe(cover="silicone-thin")).verdict == "decline"


def test_film_ends_the_window_only_by_a_harm_on_record(book: Book) -> None:
    """A published range limits nothing; a harm that the film's record states ends the window where it begins."""
    smooth = book.films["smooth"]
    harm = Overpressing(harm="it yellows", longest_s=20.0, evidence="guess")
    asked = deck_shoe(cover="silicone-thin", temperature="160 degC", pressure="medium")
    free = resolve(book, asked).window
    held = resolve(changed(book, films={"smooth": replace(smooth, overpressing=harm)}), asked).window
    assert free is not None
    assert held is not None
    assert ("layer", "film") == (free.bound_by[1].by, held.bound_by[1].by)
    assert held.longest_s == free.published_s
    assert "it yellows" in held.bound_by[1].sentence


def test_longer_than_published_is_a_remark(book: Book) -> None:
    """Where what is surely enough is more than the longest published dwell, the answer says by how much."""
    smooth = book.films["smooth"]
    every = NeededShare(low=1.0, high=1.0)  # so that the shortest dwell and the longest published one are the same
    brief = replace(smooth, setting=replace(smooth.setting, longest_s=15.0), needed_share=every)
    recipe = resolve(changed(book, films={"smooth": brief}), deck_shoe())
    (reason,) = recipe.reasons
    assert recipe.window is not None
    assert ("ready", "heat.film-longer", "ready") == (recipe.verdict, reason.code, reason.verdict)
    assert (dwell(recipe), recipe.window.published_s) == (reason.measure, reason.limit)
    assert recipe.window.published_s == recipe.window.shortest_s
    assert f"{dwell(recipe) - recipe.window.published_s:.1f} s more" in reason.sentence


@pytest.mark.slow
@pytest.mark.parametrize("end", ["shortest_s", "longest_s"])
def test_film_with_a_single_dwell_is_not_declined_for_that(book: Book, end: str) -> None:
    """Every film with its dwells narrowed to one of them: on no panel of any shoe does that alone make a decline."""
    books = {film.id: narrowed(book, film.id, getattr(film.setting, end)) for film in book.films.values()}
    panels = sample(
        (film, shoe, panel.id)
        for film in books
        for shoe in book.shoes.values()
        for panel in {panel.upper: panel for panel in shoe.panels}.values()
    )
    declined = [
        (film, shoe.id, panel)
        for film, shoe, panel in panels
        for request in [on_any_size(film, shoe, panel)]
        if resolve(book, request).verdict != "decline" == resolve(books[film], request).verdict
    ]
    assert set(books) == {film for film, *_ in panels}
    assert [] == declined


def narrowed(book: Book, film: str, dwell_s: float) -> Book:
    """Return the book with a single published dwell of a film."""
    own = book.films[film]
    return changed(
        book, films={film: replace(own, setting=replace(own.setting, shortest_s=dwell_s, longest_s=dwell_s))}
    )


def on_any_size(film: str, shoe: ShoeModel, panel: str) -> RecipeRequest:
    """Return a request for a panel of a shoe in its smallest size."""
    size = Size(system=shoe.sizes.system, value=f"{shoe.sizes.smallest:g}")
    return RecipeRequest(film=film, onto=ShoePanel(shoe=BookShoe(shoe=shoe.id, size=size), panel=panel))


def test_film_with_a_long_range_is_bound_by_nothing(book: Book) -> None:
    """A film that stands minutes, on an upper that stands all, is pressed at most as long as anybody presses."""
    patient = replace(book.films["smooth"], setting=replace(book.films["smooth"].setting, longest_s=119.0))
    tough = leather_limited(changed(book, films={"smooth": patient}), limit(400.0))
    fabric = replace(tough.materials["polyester-fabric"], limit=limit(400.0))
    window = resolve(changed(tough, materials={"polyester-fabric": fabric}), deck_shoe()).window
    assert window is not None
    assert ("cap", 120.0) == (window.bound_by[1].by, window.longest_s)


@pytest.mark.parametrize(
    ("change", "pointers"),
    [
        ({"film": "tar"}, ["/film"]),
        ({"press": "anvil"}, ["/press"]),
        ({"cover": "bark"}, ["/cover"]),
        ({"shoe": "slipper"}, ["/onto/shoe/shoe"]),
        ({"panel": "sole"}, ["/onto/panel"]),
        ({"temperature": "200 degC"}, ["/temperature"]),
        ({"temperature": "160.4 degC"}, ["/temperature"]),
        (
            {"film": "tar", "press": "anvil", "cover": "bark", "panel": "sole"},
            ["/cover", "/film", "/onto/panel", "/press"],
        ),
    ],
)
def test_what_cannot_be_is_refused(book: Book, change: dict[str, str], pointers: list[str]) -> None:
    """Unknown records and impossible settings are refused all together, each with its pointer."""
    with pytest.raises(RefusedError) as refused:
        resolve(book, deck_shoe(**change))
    assert pointers == sorted(fault.pointer for fault in refused.value.faults)


def test_size_that_is_none_is_refused(book: Book) -> None:
    """A size that the system does not have is refused."""
    shoe = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="99"))
    with pytest.raises(RefusedError, match="size"):
        resolve(book, RecipeRequest(film="smooth", onto=ShoePanel(shoe=shoe, panel="outer-quarter")))


def test_unknown_panel_of_a_walk_in_is_refused(book: Book) -> None:
    """A walk-in's panel must be one that was measured."""
    with pytest.raises(RefusedError, match="/onto/panel"):
        resolve(book, walk_in("leather", panel="heel"))


def test_bare_stack_faults_are_told_together(book: Book) -> None:
    """Each layer of a bare stack that is none is named."""
    with pytest.raises(RefusedError) as refused:
        resolve(book, bare("woven", ("bark", "1 mm"), ("cotton-fabric", "1 mm"), ("moss", "2 mm")))
    assert ["/onto/layers/0/material", "/onto/layers/2/material"] == [each.pointer for each in refused.value.faults]


@pytest.mark.parametrize("thickness", ["0.001 mm", "1 m", "2 in"])
def test_layers_that_no_shoe_has_are_refused(book: Book, thickness: str) -> None:
    """A layer too thin to matter or too thick to feel the press is refused with the range that there is."""
    with pytest.raises(RefusedError, match=r"/onto/layers/0/thickness: .* is no layer of an upper"):
        resolve(book, bare("woven", ("cotton-fabric", thickness)))


@given(data=st.data())
@settings(max_examples=drawn(20), deadline=None)
def test_any_stack_gets_an_answer(book: Book, data: st.DataObject) -> None:
    """Whatever materials lie on one another, the answer is a verdict, and a setting is never outside its window."""
    layer = st.tuples(st.sampled_from(sorted(book.materials)), st.floats(0.01, 30.0).map(lambda own: f"{own:.4f} mm"))
    layers = data.draw(st.lists(layer, min_size=1, max_size=5))
    surface = data.draw(st.sampled_from(["leather", "woven", "glossy"]))
    recipe = resolve(book, bare(surface, *layers))
    if recipe.setting is None:
        assert ("decline", True) == (recipe.verdict, bool(recipe.reasons))
    else:
        assert recipe.window is not None
        assert recipe.window.shortest_s is not None
        assert recipe.window.longest_s is not None
        assert recipe.window.shortest_s <= recipe.setting.dwell_s <= recipe.window.longest_s


def test_second_layers_bond_changes_the_heat(book: Book) -> None:
    """A bonded layer of a bare stack passes more heat on than a loose one."""
    loose, bonded = (
        resolve(
            book,
            RecipeRequest(
                film="smooth",
                onto=BareStack(
                    surface="leather",
                    layers=(
                        BareLayer(material="upper-leather", thickness="1.4 mm"),
                        BareLayer(material="cotton-fabric", thickness="0.5 mm", bonded=joined),
                    ),
                ),
            ),
        )
        for joined in (False, True)
    )
    linings = [next(layer for layer in each.layers if layer.material == "cotton-fabric") for each in (loose, bonded)]
    assert linings[0].peak_c < linings[1].peak_c


def test_everything_can_be_written(book: Book) -> None:
    """No answer holds infinity or not-a-number: each is JSON that reads back as itself."""
    for film, shoe in sample(itertools.product(book.films, book.shoes.values())):
        size = Size(system=shoe.sizes.system, value=f"{math.ceil(shoe.sizes.largest)}")
        onto = ShoePanel(shoe=BookShoe(shoe=shoe.id, size=size), panel=shoe.panels[0].id)
        recipe = resolve(book, RecipeRequest(film=film, onto=onto))
        assert recipe == msgspec.json.decode(msgspec.json.encode(recipe), type=Recipe)
        assert b"null" not in msgspec.json.encode(recipe.layers)


def test_a_firmer_pressure_is_tried_where_the_published_one_is_not_sure(book: Book) -> None:
    """Firmer contact bonds sooner; where the published level is sure, it stays."""
    smooth = book.films["smooth"]
    harm = Overpressing(harm="it yellows", longest_s=18.0, evidence="guess")
    slow = replace(smooth, adhesive=replace(smooth.adhesive, activation_kj_mol=60.0), overpressing=harm)
    eager = changed(book, films={"smooth": slow})
    found, medium = resolve(eager, deck_shoe()), resolve(eager, deck_shoe(pressure="medium"))
    assert found.setting is not None
    assert medium.setting is not None
    assert found.window is not None
    assert medium.window is not None
    assert ("firm", "medium") == (found.setting.pressure, medium.setting.pressure)
    assert found.setting.pressure_kpa == book.presses["swing"].pressures.firm_kpa
    assert found.window.shortest_s is not None
    assert medium.window.shortest_s is not None
    assert found.window.shortest_s < medium.window.shortest_s
    usual = resolve(book, deck_shoe())
    assert usual == resolve(book, deck_shoe(pressure="medium"))


def test_a_pressure_that_the_maker_does_not_allow_is_refused(book: Book) -> None:
    """The film's own sheet says which levels it is pressed at."""
    with pytest.raises(RefusedError, match="pressed at medium or firm pressure, not at light") as refused:
        resolve(book, deck_shoe(pressure="light"))
    assert ["/pressure"] == [fault.pointer for fault in refused.value.faults]


class Ranked:
    """Stands for the computation of settings, peels and bonds: each by the stack's upper and the cover sheet."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        span = Span(10.0, 30.0, 12.0, 25.0, "cap", None, None, 10.0, 20.0)
        self.settings = [
            Candidate("silicone-thin", 160.0, "medium", span._replace(shortest_s=10.0 + at), 14.0 + at)
            for at in range(6)
        ]
        self.waits = {"suede": 4.0, "canvas": 9.0, "leather-lined": 6.0}
        monkeypatch.setattr(recipes, "ranked", lambda *_: tuple(self.settings))
        monkeypatch.setattr(recipes, "layer_peaks", lambda *_: ())
        monkeypatch.setattr(
            recipes,
            "_peel",
            lambda _, job, __, ___: PeelPlan(when="warm", wait_s=self.waits[job.upper.id], at_c=60.0),
        )
        monkeypatch.setattr(
            recipes,
            "_bond",
            lambda _, job, __, ___: Bond(dose_s=2.0 * self.waits[job.upper.id], needed_s=10.0, peak_c=140.0),
        )

    def recipe(self, book: Book, *uppers: str) -> Recipe:
        """Return the recipe of smooth film on uppers."""
        records = tuple(book.uppers[name] for name in uppers)
        task = RecipeTask("smooth", records, "swing", "shoe-form", ("silicone-thin",), "metric", guard_k=1e-9)
        cache.clear()
        return recipes.recipe_of(book, task)


@pytest.fixture
def ranked(monkeypatch: pytest.MonkeyPatch) -> Iterator[Ranked]:
    """Return six settings of which the first has 14 s, each next one second more."""
    yield Ranked(monkeypatch)
    cache.clear()


def test_the_next_settings_are_alternatives(book: Book, ranked: Ranked) -> None:
    """Four at most, and none without a dwell; the best is the recipe."""
    recipe = ranked.recipe(book, "suede")
    assert recipe.setting is not None
    assert recipe.window is not None

    assert (14.0, 10.0, 30.0) == (recipe.setting.dwell_s, recipe.window.shortest_s, recipe.window.longest_s)
    assert [(15.0, 11.0), (16.0, 12.0), (17.0, 13.0), (18.0, 14.0)] == [
        (one.setting.dwell_s, one.window.shortest_s) for one in recipe.alternatives
    ]
    ranked.settings[1] = ranked.settings[1]._replace(dwell_s=None)
    assert [16.0, 17.0, 18.0] == [one.setting.dwell_s for one in ranked.recipe(book, "suede").alternatives]


def test_of_several_uppers_the_slowest_to_cool_and_the_least_bonded_counts(book: Book, ranked: Ranked) -> None:
    """The longest wait is long enough for all; the smallest dose is what is sure of all."""
    recipe = ranked.recipe(book, "suede", "canvas", "leather-lined")
    assert recipe.peel is not None
    assert recipe.bond is not None

    assert (9.0, 8.0) == (recipe.peel.wait_s, recipe.bond.dose_s)


def test_a_platen_that_is_hotter_than_it_is_set_to(book: Book) -> None:
    """Set 2 K lower, a platen that is 2 K hotter than that does what one does that is as hot as it is set."""
    hotter = changed(book, presses={"swing": replace(book.presses["swing"], platen_offset_k=2.0)})
    plain, offset = (
        resolve(each, deck_shoe("reflective", temperature=temperature))
        for each, temperature in ((book, "157 degC"), (hotter, "155 degC"))
    )
    assert (plain.window, plain.bond, plain.peel, plain.layers) == (
        offset.window,
        offset.bond,
        offset.peel,
        offset.layers,
    )
    assert plain.window != resolve(hotter, deck_shoe("reflective", temperature="157 degC")).window
