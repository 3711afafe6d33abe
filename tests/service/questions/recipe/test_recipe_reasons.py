from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from plain_marks import LAYER

from featherline.wire.recipes import Help, OldMark
from featherline.wire.records import Exposure, HeatLimit, Overpressing
from featherline.wire.shoes import ShoeTests
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe import recipe_reasons
from featherline_service.questions.recipe.recipe_reasons import (
    longer_than_published,
    may_be_pressed,
    no_window,
    of_heat,
    of_shoe,
    of_surface,
    out_of_range,
    unnarrowed,
)
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate, Span
from featherline_service.questions.shoes.observations import Seen

SMOOTH = "Smooth polyurethane film"


def task(book: Book, *uppers: str, **changes: Any) -> RecipeTask:  # noqa: ANN401
    """Return the task to press smooth film on uppers, on lined leather without any."""
    records = tuple(book.uppers[name] for name in uppers or ("leather-lined",))
    plain = RecipeTask("smooth", records, "swing", "shoe-form", ("silicone-thin",), "metric")
    return plain._replace(**changes)


def window(**changes: Any) -> Candidate:  # noqa: ANN401
    """Return a setting at 160 degC, its window from 10 s to 30 s, sure from 13 s to 25 s."""
    plain = Span(10.0, 30.0, 13.0, 25.0, "layer", "grain", "lining", 10.0, 20.0)
    return Candidate("silicone-thin", 160.0, "medium", plain._replace(**changes), 14.0)


def only(reasons: Iterable[Reason]) -> Reason:
    """Return the only reason."""
    (reason,) = reasons
    return reason


def told(reasons: Iterable[Reason]) -> list[tuple[str, str, str]]:
    """Return codes, verdicts and subjects of reasons."""
    return [(reason.code, reason.verdict, reason.subject) for reason in reasons]


def test_a_film_that_bonds_to_every_surface_has_no_reason(book: Book) -> None:
    """One that bonds to some is to be tried, one that bonds to none is declined."""
    assert [] == told(of_surface(book, task(book, "leather-lined", "suede")))
    some = only(of_surface(book, task(book, "rubber", "suede", "canvas", film="flake")))
    none = only(of_surface(book, task(book, "rubber", "suede", film="flake")))

    assert [("surface.unknown", "trial", "/film")] == told([some])
    assert some.sentence.startswith(f"The label allows rubber or suede, which {book.films['flake'].name} does not bond")
    assert [("surface.unsuited", "decline", "/film")] == told([none])
    assert none.sentence == (
        f"{book.films['flake'].name} does not bond to rubber or suede; it bonds to leather, coated, woven, knit."
    )


@pytest.mark.parametrize(
    ("is_new", "instead"),
    [
        (True, "take another film for the lower mark, or place this one beside it"),
        (False, "take the old mark off, or place the new one beside it"),
    ],
)
def test_a_film_below_that_takes_none_is_declined(book: Book, *, is_new: bool, instead: str) -> None:
    """Whatever the upper is; the films that take another are named, and what else can be done."""
    on_flock = task(book, "rubber", old_marks=(OldMark(film="flock", under=True),), new_films=int(is_new))
    reason = only(of_surface(book, on_flock))
    takes = [film.name for film in book.films.values() if film.takes_film]

    assert [("surface.unsuited", "decline", "/onto/old_marks")] == told([reason])
    assert reason.sentence == (
        f"No film holds on the face of {book.films['flock'].name}: {instead}. "
        f"Films that take another: {'; '.join(takes)}."
    )
    assert [] == told(of_surface(book, on_flock._replace(old_marks=(OldMark(film="stretch", under=True),))))
    own = replace(book, films={name: replace(film, takes_film=False) for name, film in book.films.items()})
    assert only(of_surface(own, on_flock)).sentence.endswith("Films that take another: none of the book.")


def test_a_walk_in_shoe_is_tried_first(book: Book) -> None:
    """With all that it may be; one whose upper is named is taken at the request's word."""
    by_label = only(of_shoe(book, task(book, "suede", "canvas", known_by_label=True)))
    named = only(of_shoe(book, task(book, "suede", upper_is_named=True)))

    assert [("shoe.measured", "trial", "/onto/shoe"), ("shoe.measured", "ready", "/onto/shoe/upper")] == told(
        [by_label, named]
    )
    assert f"({book.uppers['suede'].name}, {book.uppers['canvas'].name})" in by_label.sentence
    assert f"taken to be {book.uppers['suede'].name}, as the request says" in named.sentence
    assert [] == told(of_shoe(book, task(book)))


def test_what_a_test_rules_out_is_told(book: Book) -> None:
    """Of the uppers sold under the label, and only where it rules one out; of a shoe known by its label alone."""
    seen = Seen("textile", None, ShoeTests(thread="sinks", fingernail="none"))
    _, narrowed = of_shoe(book, task(book, "canvas", known_by_label=True, seen=seen))

    assert [("shoe.narrowed", "ready", "/onto/shoe/tests/thread")] == told([narrowed])
    assert "published" == narrowed.evidence
    assert f"rules out {book.uppers['polypropylene'].name} (" in narrowed.sentence
    assert ["shoe.measured"] == [one.code for one in of_shoe(book, task(book, upper_is_named=True, seen=seen))]


def test_protective_footwear_waits_for_its_makers_consent(book: Book) -> None:
    """It is declined without it; with it that is remarked on, and of other shoes nothing is."""
    without = task(book, shoe="yard-boot")
    consented, plain = without._replace(makers_consent=True), task(book, shoe="turf-boot")

    assert [("shoe.protective", "decline", "/onto/shoe/makers_consent")] == told(of_shoe(book, without))
    assert [("shoe.protective", "ready", "/onto/shoe/makers_consent")] == told(of_shoe(book, consented))
    assert [] == told(of_shoe(book, plain))
    assert [False, True, True, True] == [may_be_pressed(book, one) for one in (without, consented, plain, task(book))]


class Best:
    """Stands for the computation of the best setting: which sets of uppers have one."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.good: set[frozenset[str]] = set()
        monkeypatch.setattr(recipe_reasons, "best_of", self._best_of)

    def _best_of(self, _: Book, asked: RecipeTask) -> Candidate | None:
        return window() if frozenset(upper.id for upper in asked.uppers) in self.good else None

    def suit(self, *sets: str) -> None:
        """Let uppers have a setting, several together joined by a plus sign."""
        self.good = {frozenset(one.split("+")) for one in sets}


@pytest.fixture
def best(monkeypatch: pytest.MonkeyPatch) -> Best:
    """Return the best settings: none yet."""
    return Best(monkeypatch)


OTHER = Seen("other", None, None)


def walk_in(book: Book, *uppers: str, seen: Seen | None = OTHER, **changes: Any) -> RecipeTask:  # noqa: ANN401
    """Return the task for a walk-in shoe that may be of some uppers."""
    return task(book, *uppers, known_by_label=True, seen=seen, **changes)


def test_a_shoe_whose_uppers_all_forbid_it_is_not_narrowed(book: Book, best: Best) -> None:
    """Nor one that is known, that may be one upper alone, or of which nothing can be seen."""
    assert unnarrowed(book, walk_in(book, "eva-foam", "glitter")) is None
    best.suit("glitter")
    assert unnarrowed(book, walk_in(book, "glitter")) is None
    assert unnarrowed(book, walk_in(book, "eva-foam", "glitter")._replace(known_by_label=False)) is None
    assert unnarrowed(book, walk_in(book, "eva-foam", "glitter", seen=None)) is None
    assert unnarrowed(book, walk_in(book, "eva-foam", "glitter")) is not None


def test_what_would_rule_out_the_upper_in_the_way_is_asked_for(book: Book, best: Best) -> None:
    """The surface that tells it apart, the tests that nobody has made, and the maker's word."""
    best.suit("glitter")
    reason = unnarrowed(book, walk_in(book, "eva-foam", "glitter"))
    assert reason is not None
    foam = book.uppers["eva-foam"].name

    assert [("shoe.unnarrowed", "decline", "/onto/shoe")] == told([reason])
    assert reason.sentence.startswith(
        f"If it is {foam}, no setting bonds and harms nothing. Ask again with what rules it out: "
        "`surface`, if eye and thumb find it coated (common practice, no source); `tests.fingernail`: 'none' if "
    )
    assert f"which rules out {foam} (common practice, no source); `upper`, as the maker names it. " in reason.sentence
    assert "water_drop" not in reason.sentence  # it would rule the coated upper out as well
    seen = unnarrowed(book, walk_in(book, "eva-foam", "glitter", seen=Seen("other", "coated", None)))
    assert seen is not None
    assert "`surface`" not in seen.sentence
    tried = unnarrowed(
        book, walk_in(book, "eva-foam", "glitter", seen=OTHER._replace(tests=ShoeTests(fingernail="dents")))
    )
    assert tried is not None
    assert "fingernail" not in tried.sentence


def test_an_upper_that_takes_no_film_is_in_the_way_if_it_does_not_stand_the_heat(book: Book, best: Best) -> None:
    """Rubber, to which no film bonds, is asked about only where no setting suits it and the others together."""
    best.suit("glitter", "glitter+rubber")
    stands = unnarrowed(book, walk_in(book, "eva-foam", "glitter", "rubber"))
    best.suit("glitter")
    harmed = unnarrowed(book, walk_in(book, "eva-foam", "glitter", "rubber"))
    assert stands is not None
    assert harmed is not None

    foam, rubber = (book.uppers[name].name for name in ("eva-foam", "rubber"))
    assert stands.sentence.startswith(f"If it is {foam}, no setting")
    assert harmed.sentence.startswith(f"If it is {foam}, {rubber}, no setting")


def test_where_each_upper_has_a_setting_and_no_one_suits_all_that_is_said(book: Book, best: Best) -> None:
    """Every upper that a test rules out is a step then, and so is every surface."""
    best.suit("eva-foam", "glitter")
    reason = unnarrowed(book, walk_in(book, "eva-foam", "glitter"))
    assert reason is not None

    assert reason.sentence.startswith(
        "No one setting suits all of them. Ask again with what rules it out: `surface`, if"
    )
    assert "find it coated or foam" in reason.sentence
    assert "`tests.fingernail`: 'none'" in reason.sentence
    assert "`tests.water_drop`" not in reason.sentence  # both would be ruled out


@pytest.mark.parametrize(
    ("range_c", "measure", "limit"),
    [((60.0, 159.9), 159.9, 160.0), ((160.1, 210.0), 160.1, 160.0), ((60.0, 160.0), None, None)],
)
def test_a_press_out_of_the_films_range_is_told_with_the_nearest_ends(
    book: Book, range_c: tuple[float, float], measure: float | None, limit: float | None
) -> None:
    """Too cool or too hot; where the ranges meet and no step lies in both, nothing is measured."""
    press = replace(book.presses["swing"], coolest_c=range_c[0], hottest_c=range_c[1])
    film = book.films["smooth"]
    reason, us = (out_of_range(film, press, units) for units in ("metric", "us"))

    assert [("heat.press-range", "decline", "/press")] == told([reason])
    assert (measure, limit, None if measure is None else "degC") == (reason.measure, reason.limit, reason.unit)
    assert (None if measure is None else "degF") == us.unit
    if measure is not None and limit is not None:
        assert pytest.approx((measure * 1.8 + 32.0, limit * 1.8 + 32.0)) == (us.measure, us.limit)
    assert reason.sentence == (
        f"{press.name} can be set to {range_c[0]:.0f} °C to {range_c[1]:.0f} °C in steps of 1 °C or 5 °F; "
        f"{SMOOTH} is pressed at 160 °C to 160 °C."
    )


@pytest.mark.parametrize(
    ("range_c", "measure", "limit"), [((60.0, 129.0), 129.0, 130.0), ((141.0, 210.0), 141.0, 140.0)]
)
def test_the_nearest_end_of_a_films_range_is_told(
    book: Book, range_c: tuple[float, float], measure: float, limit: float
) -> None:
    """Stretch film's is from 130 to 140 degC."""
    press = replace(book.presses["swing"], coolest_c=range_c[0], hottest_c=range_c[1])
    reason = out_of_range(book.films["stretch"], press, "metric")

    assert (measure, limit) == (reason.measure, reason.limit)
    assert reason.sentence.endswith("is pressed at 130 °C to 140 °C.")


def test_a_bond_line_that_never_gets_its_dose_is_told(book: Book) -> None:
    """Within the longest dwell of 120 s."""
    reason = no_window(book, task(book), window(shortest_s=math.inf))

    assert [("heat.no-window", "decline", "bond line")] == told([reason])
    assert (None, 120.0, "s") == (reason.measure, reason.limit, reason.unit)
    assert reason.sentence == (
        f"At no setting of {book.presses['swing'].name} does the bond line gather what {SMOOTH} needs within the "
        "longest that any shoe is pressed."
    )


def test_a_window_between_two_steps_of_the_timer_is_told(book: Book) -> None:
    """Without naming a setting; with the film's harm where its record states one."""
    best = window(shortest_s=10.02, longest_s=10.04, ended_by="film")
    smooth = replace(
        book.films["smooth"], overpressing=Overpressing(longest_s=20.0, harm="it yellows", evidence="guess")
    )
    harmed = replace(book, films={**book.films, "smooth": smooth})
    reason, other = no_window(book, task(book), best), no_window(harmed, task(book), best)

    assert [("heat.no-window", "decline", "/film")] == told([reason])
    assert (10.02, 10.04, "s") == (reason.measure, reason.limit, reason.unit)
    assert reason.sentence == (
        f"At no setting of {book.presses['swing'].name} does a step of its timer lie between the dwell that bonds "
        f"{SMOOTH} and the longest that it may have."
    )
    assert f"{reason.sentence} Longer, it yellows." == other.sentence


@pytest.fixture
def harmed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let layers get to 170 degC in the grain, and 150 in the lining, whatever is pressed; nothing helps."""
    grain = replace(LAYER, peak_c=170.0, margin_k=-2.0, limit_c=168.0)
    cooler = replace(grain, peak_c=160.0, margin_k=8.0)
    lining = replace(LAYER, layer="lining", peak_c=150.0, margin_k=-20.0)
    monkeypatch.setattr(recipe_reasons, "layer_peaks", lambda *_: (cooler, lining, grain))
    monkeypatch.setattr(recipe_reasons, "helps", lambda *_: (Help(change="film", to="stretch", sentence="It has."),))


def limited(book: Book, **changes: Any) -> Book:  # noqa: ANN401
    """Return a book in which leather stands 168 degC, and is harmed in a certain way."""
    leather = book.materials["upper-leather"]
    plain = HeatLimit(peak_c=168.0, spread_k=10.0, harm="it shrinks", evidence="practice")
    return replace(book, materials={**book.materials, leather.id: replace(leather, limit=replace(plain, **changes))})


@pytest.mark.usefixtures("harmed")
def test_the_layer_that_forbids_it_is_told_with_its_peak(book: Book) -> None:
    """Of its peaks the one nearest to the limit, in the units asked for; with a guard, kept from the limit."""
    own = limited(book)
    reason = no_window(own, task(own), window(shortest_s=12.34, longest_s=3.21))
    guarded = no_window(own, task(own, guard_k=5.0, units="us"), window(longest_s=0.0))

    assert [("heat.no-window", "decline", "grain")] == told([reason])
    assert (170.0, 168.0, "degC", "practice") == (reason.measure, reason.limit, reason.unit, reason.evidence)
    assert reason.sentence == (
        f"The grain forbids it: even at the setting of {book.presses['swing'].name} that comes nearest, it gets to "
        f"170 °C where {SMOOTH} is pressed until it bonds. It stands 168 °C. Above that it shrinks."
    )
    assert pytest.approx((338.0, 163.0 * 1.8 + 32.0)) == (guarded.measure, guarded.limit)
    assert "degF" == guarded.unit
    assert "it gets to 338 °F where" in guarded.sentence
    assert "It stands 334 °F, 9 °F of guard apart. Above" in guarded.sentence
    assert ", 1 °C of guard apart" in no_window(own, task(own, guard_k=0.6), window(longest_s=0.0)).sentence
    metric = no_window(own, task(own, guard_k=5.0), window(longest_s=0.0))
    assert "It stands 168 °C, 5 °C of guard apart. Above" in metric.sentence


@pytest.mark.usefixtures("harmed")
def test_a_layer_that_a_long_exposure_harms_is_told_so(book: Book) -> None:
    """Where its peak alone, with the guard, would be allowed."""
    exposure = Exposure(temperature_c=150.0, longest_s=30.0, activation_kj_mol=100.0)
    allowed, forbidden = limited(book, peak_c=175.0, exposure=exposure), limited(book, exposure=exposure)
    reason = no_window(allowed, task(allowed), window(longest_s=3.0))
    short = window(longest_s=3.0)

    assert reason.sentence.endswith("It stands 150 °C for 30 s in all, less when hotter. Beyond that it shrinks.")
    assert "It stands 168 °C. " in no_window(forbidden, task(forbidden), short).sentence
    assert "It stands 175 °C, 5 °C of guard" in no_window(allowed, task(allowed, guard_k=5.0), short).sentence
    assert "30 s in all, 4 °C of guard apart, less" in no_window(allowed, task(allowed, guard_k=4.0), short).sentence


@pytest.mark.usefixtures("harmed")
def test_where_nothing_helps_what_it_takes_is_told(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """A film that bonds well below the layer's limit."""
    own = limited(book)
    helped = no_window(own, task(own), window(longest_s=3.0))
    monkeypatch.setattr(recipe_reasons, "helps", lambda *_: ())
    reason = no_window(own, task(own), window(longest_s=3.0))

    assert "No film" not in helped.sentence
    assert "it takes a film that bonds well below 168 °C" in reason.sentence


@pytest.mark.parametrize(
    ("dwell_s", "codes"),
    [
        (13.0, []),
        (12.9, [("heat.worst-case", "trial", "bond line")]),
        (20.0, []),
        (20.1, [("heat.film-longer", "ready", "bond line")]),
        (25.0, [("heat.film-longer", "ready", "bond line")]),
        (25.1, [("heat.worst-case", "trial", "lining"), ("heat.film-longer", "ready", "bond line")]),
    ],
)
def test_a_dwell_outside_the_sure_window_is_tried_first(
    book: Book, dwell_s: float, codes: list[tuple[str, str, str]]
) -> None:
    """Its ends themselves are sure; longer than the film's published dwell is a remark."""
    assert codes == told(of_heat(book, task(book), window(), dwell_s, [LAYER]))


def test_a_dwell_that_is_not_sure_to_bond_is_told_with_the_one_that_is(book: Book) -> None:
    """Or that none is; a film that ends the window has a code of its own."""
    short = only(of_heat(book, task(book), window(), 12.96, [LAYER]))
    never = only(of_heat(book, task(book), window(sure_from_s=math.inf), 12.0, [LAYER]))
    film = only(of_heat(book, task(book), window(ended_by="film"), 12.0, [LAYER]))

    assert (12.96, 13.0, "s") == (short.measure, short.limit, short.unit)
    assert short.sentence == (
        f"12.96 s bond {SMOOTH} if all properties are as the book has them; to be sure of it takes 13.00 s, and the "
        "window ends at 30.0 s."
    )
    assert (12.0, 120.0) == (never.measure, never.limit)
    assert never.sentence.endswith("; no dwell up to 120 s is sure to.")
    assert ["heat.worst-case", "heat.film-longest"] == [never.code, film.code]


def test_a_dwell_that_a_layer_may_not_stand_is_told_with_the_one_that_it_does(book: Book) -> None:
    """Or that it is sure to stand none."""
    late, _ = of_heat(book, task(book), window(), 25.5, [LAYER])
    none = only(of_heat(book, task(book), window(sure_to_s=0.0), 14.0, [LAYER]))

    assert (25.5, 25.0, "s") == (late.measure, late.limit, late.unit)
    assert late.sentence == (
        "The lining stands 25.5 s if all properties are as the book has them, but is sure to stand 25.0 s only."
    )
    assert none.sentence.endswith("but is not sure to stand any.")


def test_a_dwell_that_may_harm_the_film_is_told_with_its_harm(book: Book) -> None:
    """Where no layer ends the sure window and the film's record states a harm, it is the film that does."""
    smooth = replace(
        book.films["smooth"], overpressing=Overpressing(longest_s=20.0, harm="it yellows", evidence="guess")
    )
    harmed = replace(book, films={**book.films, "smooth": smooth})
    by_film = window(ended_by="film", unsure_in=None)
    late, _ = of_heat(harmed, task(harmed), by_film, 25.5, [LAYER])
    none = only(of_heat(harmed, task(harmed), window(sure_to_s=0.0, unsure_in=None), 14.0, [LAYER]))
    layer, _ = of_heat(harmed, task(harmed), window(ended_by="film"), 25.5, [LAYER])

    assert ("heat.film-longest", "trial", 25.5, 25.0) == (late.code, late.verdict, late.measure, late.limit)
    assert late.sentence == (
        f"25.5 s leave {SMOOTH} unharmed if all properties are as the book has them, but only up to 25.0 s are sure "
        "to: longer, it yellows."
    )
    assert none.sentence.endswith("but no dwell is sure to: longer, it yellows.")
    assert ("heat.worst-case", "lining") == (layer.code, layer.subject)


def test_more_than_the_published_dwell_is_told_by_how_much(book: Book) -> None:
    """What the bond line gets of it, against the film's longest on cloth."""
    reason = longer_than_published(book.films["smooth"], 25.0, 20.04, "/placements/1")

    assert ("heat.film-longer", "ready", "/placements/1") == told([reason])[0]
    assert (25.0, 20.04, "s") == (reason.measure, reason.limit, reason.unit)
    assert reason.sentence.startswith(
        f"25 s are 5.0 s more than give the bond line what {SMOOTH}'s longest published dwell (20 s on cloth) gives it."
    )


@pytest.mark.parametrize(
    ("evidence", "margin_k", "guard_k", "is_near"),
    [
        ("guess", 20.0, 0.0, False),
        ("guess", 19.9, 0.0, True),
        ("guess", 24.0, 4.0, False),
        ("guess", 23.9, 4.0, True),
        ("practice", 1.0, 0.0, False),
    ],
)
def test_a_guessed_limit_is_near_within_twice_its_spread(
    book: Book, evidence: str, margin_k: float, guard_k: float, *, is_near: bool
) -> None:
    """Its spread of 10 K is a guess as well; a guard is kept from it already. Nothing was seen of such an upper."""
    own = replace(limited(book, evidence=evidence), practices={})
    layer = replace(LAYER, peak_c=168.0 - margin_k, margin_k=margin_k)
    reasons = list(of_heat(own, task(own, guard_k=guard_k), window(), 14.0, [layer]))

    assert ([("heat.weak-evidence", "trial", "grain")] if is_near else []) == told(reasons)
    for reason in reasons:
        assert (layer.peak_c, 168.0, "degC", "guess") == (reason.measure, reason.limit, reason.unit, reason.evidence)
        assert f"it gets to {layer.peak_c:.0f} °C, near to the guessed 168 °C" in reason.sentence
        assert "above that it shrinks" in reason.sentence


@pytest.mark.parametrize(("peak_c", "is_near"), [(147.0, False), (166.0, True)])
def test_a_guess_yields_to_an_upper_that_was_hotter_and_unchanged(book: Book, peak_c: float, *, is_near: bool) -> None:
    """The trade presses leather for 30 s at 160 degC without a change, which makes it 147 degC hot."""
    own = limited(book, evidence="guess")
    reasons = list(of_heat(own, task(own), window(), 14.0, [replace(LAYER, peak_c=peak_c, margin_k=168.0 - peak_c)]))
    assert (["heat.weak-evidence"] if is_near else []) == [reason.code for reason in reasons]


@pytest.mark.parametrize(("peak_c", "softens"), [(112.0, True), (111.9, False)])
def test_an_old_mark_softens_from_its_adhesives_onset(book: Book, peak_c: float, *, softens: bool) -> None:
    """The hottest place of its adhesive counts; it is told in the units asked for, at the mark."""
    smooth = book.films["smooth"]
    name = f"old {smooth.family} {smooth.layers[-1].name}"
    layers = [replace(LAYER, layer=name, peak_c=one) for one in (90.0, peak_c, 100.0)]
    marks = (OldMark(film="glow"), OldMark(film="smooth"))
    glow = replace(LAYER, layer=f"old {book.films['glow'].family} {book.films['glow'].layers[-1].name}", peak_c=50.0)
    asked = task(book, old_marks=marks, units="us")
    reasons = list(of_heat(book, asked, window(), 14.0, [*layers, glow]))

    assert ([("heat.softens-old-mark", "ready", "/onto/old_marks/1")] if softens else []) == told(reasons)
    for reason in reasons:
        assert pytest.approx((233.6, 233.6)) == (reason.measure, reason.limit)
        assert "degF" == reason.unit
        assert f"The {name} gets to 234 °F and flows again from 234 °F" in reason.sentence


seconds = st.floats(0.001, 60.0)


@given(st.integers(1, 60).map(float), seconds, seconds)
def test_a_sure_bond_and_the_end_of_the_window_are_told_apart(dwell_s: float, more_s: float, past_s: float) -> None:
    """Said, the sure dwell is above the one set, and above the window's end where it is."""
    sure_s = dwell_s + more_s
    for end_s in (sure_s + past_s, max(sure_s - past_s, 0.0)):
        sure, end = (quantity.value for quantity in recipe_reasons._sure_and_end(dwell_s, sure_s, end_s))
        assert sure > dwell_s
        assert (sure < end, sure > end) == (sure_s < end_s, sure_s > end_s)


@pytest.mark.parametrize(
    ("more_s", "said"), [(0.04, "0.04 s"), (0.004, "0.004 s"), (0.06, "0.1 s"), (3.21, "3.2 s"), (12.3, "12 s")]
)
def test_longer_is_never_by_nothing(book: Book, more_s: float, said: str) -> None:
    """However little longer than published a dwell is, the remark does not say 0.0 s."""
    reason = longer_than_published(book.films["smooth"], 20.0 + more_s, 20.0, "bond line")
    assert f" are {said} more than" in reason.sentence
