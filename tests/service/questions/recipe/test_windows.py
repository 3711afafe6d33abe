"""Windows over cover sheets and temperatures, and which of them is best."""

from __future__ import annotations

import math

import msgspec
import numpy as np
import pytest
from msgspec.structs import replace

from featherline.wire.records import NeededShare, Overpressing, PressureLevel
from featherline_service.book.shop_book import Book
from featherline_service.heat.bond import dose
from featherline_service.heat.pressing import LONGEST_DWELL_S, TIMES_S
from featherline_service.heat.window import Adhesive, BondDwells, LayerDwells, Published
from featherline_service.questions.recipe import windows
from featherline_service.questions.recipe.evidence.frames import adhesive, published
from featherline_service.questions.recipe.evidence.sightings import Job, Sighting
from featherline_service.questions.recipe.evidence.solved import SOLVERS, followed, reference
from featherline_service.questions.recipe.windows import (
    Candidate,
    Span,
    best_first,
    candidates,
    layers_under_covers,
    narrowest,
    places,
    spans,
    sureness,
)
from featherline_service.questions.shoes.old_marks import marked_upper
from featherline_service.questions.shoes.presses import pressure_kpa
from featherline_service.runtime import cache
from featherline_service.runtime.cache import MOST_BYTES

SHINE = Overpressing(harm="its gloss fades", longest_s=31.0, evidence="practice")


def job(book: Book, upper: str = "leather-lined", film: str = "smooth") -> Job:
    """Return a film on an upper over the reference pad at the reference pressure."""
    bench = book.bench
    return Job(
        film,
        book.uppers[upper],
        bench.reference_pad,
        pressure_kpa(bench.reference_pressures, book.films[film].setting.pressure),
    )


def span(shortest: float, longest: float, sure_from: float, sure_to: float, **more: str | None) -> Span:
    """Return a window."""
    return Span(
        shortest, longest, sure_from, sure_to, "film", more.get("ended_in"), more.get("unsure_in"), 5.0, longest
    )


def test_published_setting_is_the_middle_of_its_range(book: Book) -> None:
    """A film with a temperature range is taken at its middle."""
    own = book.films["stretch"].setting
    assert 0.5 * (own.coolest_c + own.hottest_c) == published(book.films["stretch"]).platen_c


def test_pressure_levels(book: Book) -> None:
    """Light, medium and firm are the press's own."""
    press = book.presses["swing"].pressures
    own = (press.light_kpa, press.medium_kpa, press.firm_kpa)
    assert own == tuple(pressure_kpa(press, level) for level in ("light", "medium", "firm"))


def test_reference_is_computed_once(book: Book) -> None:
    """A film's reference, and a followed pressing, are kept; beside the film, for all films together."""
    assert reference(book, "smooth") is reference(book, "smooth")
    assert followed(book, job(book), "paper") is followed(book, job(book), "paper")
    (_, smooth), (_, stretch) = (places(book, job(book, film=film), "paper") for film in ("smooth", "stretch"))
    assert smooth is stretch


def test_caches_are_bounded(book: Book) -> None:
    """However many different stacks are asked about, no more is kept than the store of all computations may hold."""
    first = followed(book, job(book), None)
    cache.clear()
    for thinner in range(MOST_BYTES // cache.weigh(first) + 8):
        upper = book.uppers["canvas"]
        layers = (replace(upper.layers[0], thickness_mm=0.5 + 0.01 * thinner), *upper.layers[1:])
        followed(book, job(book)._replace(upper=replace(upper, layers=layers)), None)
        assert cache.size() <= MOST_BYTES
    assert cache.size() > 0.8 * MOST_BYTES


def test_thicker_cover_takes_longer(book: Book) -> None:
    """The thin sheet, the thick one, and none are in the order of their resistance."""
    shortest = [
        spans(book, job(book), cover, [160.0], platen_spread_k=4.0, guard_k=0.0)[0].shortest_s
        for cover in (None, "silicone-thin", "silicone-pad")
    ]
    assert sorted(shortest) == shortest


def test_hotter_platen_is_quicker_and_harms_sooner(book: Book) -> None:
    """Over platen temperatures both ends of the window come earlier."""
    found = spans(book, job(book, "glitter"), "silicone-thin", [145.0, 155.0, 165.0], platen_spread_k=4.0, guard_k=0.0)
    for end in ("shortest_s", "longest_s"):
        values = [getattr(each, end) for each in found]
        assert sorted(values, reverse=True) == values


def test_platen_spread_only_worsens(book: Book) -> None:
    """A press that holds its temperature worse has the same nominal window and a narrower sure one."""
    steady, loose = (
        spans(book, job(book), "silicone-thin", [160.0], platen_spread_k=spread, guard_k=0.0)[0]
        for spread in (0.0, 8.0)
    )
    assert (steady.shortest_s, steady.longest_s) == (loose.shortest_s, loose.longest_s)
    assert steady.sure_from_s < loose.sure_from_s


def test_common_window_of_several() -> None:
    """The window in common begins with the last and ends with the first, and says what ends it."""
    one = span(30.0, 50.0, 33.0, 45.0, ended_in="leather", unsure_in="leather")
    other = span(25.0, 40.0, 35.0, 38.0, ended_in="suede", unsure_in="nap")
    common = narrowest([one, other])
    assert (30.0, 40.0, 35.0, 38.0, "suede", "nap") == (
        common.shortest_s,
        common.longest_s,
        common.sure_from_s,
        common.sure_to_s,
        common.ended_in,
        common.unsure_in,
    )


def test_sureness_orders_windows() -> None:
    """Wide before narrow, sure before unsure, unsure before none, and none before never."""
    windows = [
        Candidate("a", 160.0, "medium", span(30.0, 60.0, 32.0, 60.0), 32.0),
        Candidate("a", 160.0, "medium", span(30.0, 60.0, 32.0, 34.0), 32.0),
        Candidate("a", 160.0, "medium", span(30.0, 60.0, 35.0, 33.0), 34.0),
        Candidate("a", 160.0, "medium", span(30.0, 60.0, 50.0, 20.0), 32.0),
        Candidate("a", 160.0, "medium", span(30.0, 28.0, 35.0, 28.0), None),
        Candidate("a", 160.0, "medium", span(30.0, 0.0, 35.0, 0.0), None),
        Candidate("a", 160.0, "medium", span(math.inf, 0.0, math.inf, 0.0), None),
    ]
    found = [sureness(each) for each in windows]
    assert sorted(found, reverse=True) == found
    assert found[1] > 0.0 > found[2]


def test_best_is_sure_then_usual_then_published(book: Book) -> None:
    """Among sure dwells the bench's cover comes first, at the temperature nearest to the published one."""
    stretch, press = book.films["stretch"], book.presses["swing"]
    each_one = candidates(
        book,
        [job(book, film="stretch")],
        list(book.covers),
        [130.0, 135.0, 140.0],
        pressure="medium",
        press=press,
        guard_k=0.0,
    )
    found = best_first(book, stretch, each_one)
    assert (book.bench.cover, 135.0) == (found[0].cover, found[0].platen_c)
    assert len(book.covers) * 3 == len(found)
    usual = [each.cover == book.bench.cover for each in found]
    assert [True, True, True] == usual[:3]


def bond(shortest_s: float, longest_s: float, harmed_s: float, sure_s: float) -> BondDwells:
    """Return the dwells of a bond line at one platen temperature."""
    return BondDwells(*(np.array(each) for each in (shortest_s, longest_s, harmed_s, sure_s)))


@pytest.mark.parametrize(
    ("nominal_s", "worst_s", "harmed_s", "expected"),
    [
        ([50.0, 40.0], [20.0, 30.0], math.inf, (40.0, 20.0, "layer", "nap", "grain")),
        ([50.0, 40.0], [45.0, 40.0], 35.0, (35.0, 35.0, "film", None, None)),
        ([50.0, 40.0], [50.0, 38.0], 40.0, (40.0, 38.0, "layer", "nap", "nap")),
        ([math.inf, math.inf], [math.inf, math.inf], math.inf, (LONGEST_DWELL_S, LONGEST_DWELL_S, "cap", None, None)),
    ],
    ids=["a layer", "the film", "both at once", "the cap"],
)
def test_a_window_is_ended_by_what_comes_first(
    nominal_s: list[float],
    worst_s: list[float],
    harmed_s: float,
    expected: tuple[float, float, str, str | None, str | None],
) -> None:
    """One layer may end the window as the book has it, another at the worst case; the film's harm and the cap count."""
    layers = LayerDwells(np.array(nominal_s), np.array(worst_s))

    own = windows._span(("grain", "nap"), bond(12.0, 25.0, harmed_s, 15.0), layers, 5.0)

    assert expected == (own.longest_s, own.sure_to_s, own.ended_by, own.ended_in, own.unsure_in)
    assert (12.0, 15.0, 5.0, 25.0) == (own.shortest_s, own.sure_from_s, own.needed_s, own.published_s)


@pytest.mark.parametrize(("unharmed_s", "expected"), [(30.0, (30.0, None)), (36.0, (35.0, "grain"))])
def test_a_film_may_end_the_sure_window(unharmed_s: float, expected: tuple[float, str | None]) -> None:
    """Where the film may be harmed before any layer is at its worst case, no layer is named."""
    layers = LayerDwells(np.array([50.0, 60.0]), np.array([35.0, 40.0]))

    own = windows._span(("grain", "nap"), bond(12.0, 25.0, 45.0, 15.0), layers, 5.0, unharmed_s=unharmed_s)

    assert expected == (own.sure_to_s, own.unsure_in)
    assert (45.0, "film") == (own.longest_s, own.ended_by)


def test_a_film_that_held_does_not_make_its_harm_later(book: Book) -> None:
    """The sure end of a film that can be harmed is before the nominal one, and no good outcome moves it later."""
    smooth = replace(book.films["smooth"], overpressing=replace(SHINE, longest_s=24.0))
    own = replace(book, films={**book.films, "smooth": smooth})
    held = Sighting("held", job(own), "silicone-thin", "swing", 160.0, 26.0, bond="holds", upper="unchanged")
    plain, seen = (
        spans(own, each, "silicone-thin", [160.0], platen_spread_k=4.0, guard_k=0.0)[0]
        for each in (job(own), job(own)._replace(sightings=(held,)))
    )

    assert ("film", None) == (plain.ended_by, plain.unsure_in)
    assert plain.sure_to_s < 0.95 * plain.longest_s
    assert seen.sure_from_s < plain.sure_from_s
    assert seen.sure_to_s <= plain.sure_to_s


def test_the_common_window_has_the_earliest_published_dwell() -> None:
    """Longer than published on one of the uppers is longer than published."""
    assert 38.0 == narrowest([span(30.0, 38.0, 31.0, 36.0), span(30.0, 44.0, 31.0, 36.0)]).published_s
    assert 38.0 == narrowest([span(30.0, 44.0, 31.0, 36.0), span(30.0, 38.0, 31.0, 36.0)]).published_s


def test_old_marks_beside_the_film_must_stand_the_cover(book: Book) -> None:
    """Under a cover sheet lie the film's stack, the bare upper and the marked upper; without one no other."""
    upper = book.uppers["leather-lined"]
    marked = marked_upper(book, upper, "stretch")
    own = job(book)._replace(beside=(upper, marked))

    under, bare, old = (stack.names for stack, _ in places(book, own, "silicone-thin"))

    assert len(upper.layers) == len(marked.layers) - len(book.films["stretch"].layers)
    assert tuple(layer.name for layer in upper.layers) == bare[-1 - len(upper.layers) : -1]
    assert tuple(layer.name for layer in marked.layers) == old[-1 - len(marked.layers) : -1]
    assert "carrier" in under
    assert 1 == len(places(book, own, None))


def test_the_dwell_is_in_the_steps_of_the_press(book: Book) -> None:
    """A timer of 8 s steps is set to the first multiple of 8 s at which the bond is sure."""
    press = book.presses["swing"]

    (fine,), (coarse,) = (
        candidates(
            book,
            [job(book)],
            ["silicone-thin"],
            [160.0],
            pressure="medium",
            press=replace(press, step_s=step_s),
            guard_k=0.0,
        )
        for step_s in (1.0, 8.0)
    )

    assert math.ceil(fine.span.sure_from_s) == fine.dwell_s
    assert 8.0 * math.ceil(coarse.span.sure_from_s / 8.0) == coarse.dwell_s
    assert coarse.dwell_s != fine.dwell_s


def test_a_guard_is_kept_from_every_limit(book: Book) -> None:
    """With 10 K kept from each limit, leather stands as long as a leather whose limits are 10 K lower."""
    leather = book.materials["upper-leather"]
    limit, exposure = leather.limit, leather.limit.exposure
    assert exposure is not None
    lower_exposure = replace(exposure, temperature_c=exposure.temperature_c - 10.0)
    tender = replace(leather, limit=replace(limit, peak_c=limit.peak_c - 10.0, exposure=lower_exposure))
    cooler = replace(book, materials={**book.materials, leather.id: tender})
    press = book.presses["swing"]

    (guarded,), (lower,), (free,) = (
        candidates(own, [job(own)], ["silicone-thin"], [160.0], pressure="medium", press=press, guard_k=guard_k)
        for own, guard_k in ((book, 10.0), (cooler, 0.0), (book, 0.0))
    )

    assert pytest.approx(lower.span.longest_s) == guarded.span.longest_s
    assert guarded.span.longest_s < free.span.longest_s


def test_the_published_pressure_comes_before_the_usual_cover(book: Book) -> None:
    """Among sure dwells another level of pressure is further from the maker's sheet than another cover sheet."""
    window = span(30.0, 60.0, 32.0, 60.0)
    usual, published_level = (
        Candidate(book.bench.cover, 160.0, "firm", window, 32.0),
        Candidate("paper", 160.0, "medium", window, 32.0),
    )

    assert [published_level, usual] == best_first(book, book.films["smooth"], [usual, published_level])


def option(cover: str, platen_c: float, window: Span, dwell_s: float | None, pressure: str = "medium") -> Candidate:
    """Return a cover and temperature with its window."""
    return Candidate(cover, platen_c, msgspec.convert(pressure, PressureLevel), window, dwell_s)


def test_a_published_setting_is_taken_as_the_record_has_it(book: Book) -> None:
    """A range of 130 to 140 degC at its middle; where no harm is known, no dwell harms; energies are in joules."""
    stretch = book.films["stretch"]
    harmed = replace(stretch, overpressing=SHINE)

    assert Published(135.0, 12.0, 20.0, math.inf) == published(stretch)
    assert Published(135.0, 12.0, 20.0, 31.0) == published(harmed)
    assert Adhesive(90.0, 100e3, 60e3, 150e3) == adhesive(stretch)


@pytest.mark.parametrize(
    ("window", "dwell_s", "expected"),
    [
        (span(30.0, 60.0, 32.0, 60.0), 32.0, math.log(60.0 / 32.0)),
        (span(30.0, 60.0, 32.0, 48.0), 48.0, math.log(48.0 / 32.0)),
        (span(30.0, 60.0, 32.0, 32.0), 32.0, 0.0),
        (span(30.0, 60.0, 35.0, 50.0), 34.0, -math.log(35.0 / 34.0)),
        (span(30.0, 60.0, 20.0, 25.0), 30.0, -math.log(30.0 / 25.0)),
        (span(30.0, 60.0, 35.0, 33.0), 34.0, -math.log(34.0 / 33.0)),
        (span(30.0, 60.0, math.inf, 60.0), 32.0, -math.log(1e6 / 32.0)),
        (span(30.0, 60.0, 32.0, 0.0), 32.0, -math.log(32.0 / 1e-3)),
        (span(30.0, 28.0, 35.0, 28.0), None, -100.0 - math.log(30.0 / 28.0)),
        (span(math.inf, 0.0, math.inf, 0.0), None, -100.0 - math.log(1e6 / 1e-3)),
    ],
    ids=["begins", "ends", "a point", "early", "late", "reversed", "never sure", "harmed at once", "none", "never"],
)
def test_sureness_is_the_logarithm_of_a_ratio_of_dwells(window: Span, dwell_s: float | None, expected: float) -> None:
    """Of the sure window's ends, of the dwell to the end it is outside of, or of the ends of a window that is none."""
    assert pytest.approx(expected, abs=1e-12) == sureness(option("paper", 160.0, window, dwell_s))


WIDE = span(30.0, 60.0, 32.0, 60.0)
POINT = span(30.0, 60.0, 32.0, 32.0)


@pytest.mark.parametrize(
    ("better", "worse"),
    [
        (option("silicone-thin", 160.0, WIDE, 32.0), option("paper", 160.0, WIDE, 32.0)),
        (option("silicone-thin", 160.0, WIDE, 32.0), option("zinc", 160.0, WIDE, 32.0)),
        (option("silicone-thin", 160.0, POINT, 32.0), option("paper", 160.0, WIDE, 32.0)),
        (option("paper", 160.0, POINT, 32.0), option("paper", 160.0, span(30.0, 60.0, 33.0, 60.0), 32.0)),
        # The ends of an ample window are 1 to 1.05.
        (
            option("paper", 160.0, span(90.0, 120.0, 100.0, 105.5), 100.0),
            option("paper", 155.0, span(90.0, 120.0, 100.0, 120.0), 100.0),
        ),
        (
            option("paper", 155.0, span(90.0, 120.0, 100.0, 105.0), 100.0),
            option("paper", 160.0, span(90.0, 120.0, 100.0, 104.0), 100.0),
        ),
        (option("paper", 157.0, WIDE, 32.0), option("paper", 164.0, WIDE, 32.0)),
        (option("paper", 163.0, WIDE, 32.0), option("paper", 156.0, WIDE, 32.0)),
        (option("paper", 160.0, WIDE, 32.0), option("paper", 160.0, WIDE, 33.0)),
        # Without a sure dwell: how far outside, then pressure, cover and temperature.
        (
            option("paper", 150.0, span(30.0, 60.0, 35.0, 60.0), 33.0, "firm"),
            option("silicone-thin", 160.0, span(30.0, 60.0, 35.0, 60.0), 32.0),
        ),
        (
            option("paper", 150.0, span(30.0, 60.0, 35.0, 60.0), 33.0),
            option("silicone-thin", 160.0, span(30.0, 60.0, 35.0, 60.0), 33.0, "firm"),
        ),
        (
            option("silicone-thin", 150.0, span(30.0, 60.0, 35.0, 60.0), 33.0),
            option("paper", 160.0, span(30.0, 60.0, 35.0, 60.0), 33.0),
        ),
        (
            option("paper", 157.0, span(30.0, 60.0, 35.0, 60.0), 33.0),
            option("paper", 164.0, span(30.0, 60.0, 35.0, 60.0), 33.0),
        ),
        (option("paper", 150.0, POINT, 32.0), option("silicone-thin", 160.0, span(30.0, 28.0, 35.0, 28.0), None)),
    ],
    ids=[
        "the bench's cover, earlier in the alphabet", "later in the alphabet", "a point is sure", "sure before near",
        "ample is enough", "narrow is not", "nearer and cooler", "nearer and hotter", "shorter", "less outside",
        "unsure at the published pressure", "unsure under the bench's cover", "unsure and nearer",
        "a dwell before none",
    ],
)  # fmt: skip
def test_of_two_settings_the_better_comes_first(book: Book, better: Candidate, worse: Candidate) -> None:
    """For smooth film, published at 160 degC and medium pressure, on a bench with a thin sheet of silicone."""
    assert ("silicone-thin", 160.0) == (book.bench.cover, published(book.films["smooth"]).platen_c)
    assert [better, worse] == best_first(book, book.films["smooth"], [worse, better])
    assert [better, worse] == best_first(book, book.films["smooth"], [better, worse])


def test_the_common_window_has_the_dose_of_what_ends_it() -> None:
    """What ends it gives film or layer and the dose; the sure end may be that of another upper."""
    one = span(30.0, 40.0, 31.0, 36.0, ended_in="suede", unsure_in="nap")._replace(needed_s=4.0, ended_by="layer")
    other = span(30.0, 50.0, 31.0, 35.0, unsure_in="skin")._replace(needed_s=6.0)

    for windows_there in ([one, other], [other, one]):
        common = narrowest(windows_there)
        assert (4.0, "layer", "suede", "skin", 35.0, 40.0) == (
            common.needed_s,
            common.ended_by,
            common.ended_in,
            common.unsure_in,
            common.sure_to_s,
            common.published_s,
        )


def test_windows_under_several_covers_are_those_under_each(book: Book) -> None:
    """With more layers, fewer, or others than under the next sheet, and without any sheet."""
    covers, about = (None, *book.covers), {"platen_spread_k": 4.0, "guard_k": 0.0}
    for cover, together in zip(
        covers, windows.spans_under(book, job(book), covers, [150.0, 160.0], **about), strict=True
    ):
        for alone, there in zip(spans(book, job(book), cover, [150.0, 160.0], **about), together, strict=True):
            assert (alone.ended_by, alone.ended_in, alone.unsure_in) == (
                there.ended_by,
                there.ended_in,
                there.unsure_in,
            )
            assert pytest.approx(alone[:4] + alone[7:], rel=1e-12) == there[:4] + there[7:]


def test_every_cover_and_temperature_is_a_candidate(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cover by cover in the temperatures' order, with the window that all jobs have in common at each."""
    asked: list[tuple[str | None, float, float]] = []

    def windows_of(
        _: Book, one: Job, covers: list[str | None], platens_c: list[float], **more: float
    ) -> list[tuple[Span, ...]]:
        asked.extend((cover, more["platen_spread_k"], more["guard_k"]) for cover in covers)
        later = 1.0 if one.film == "stretch" else 0.0
        one_cover = tuple(span(platen_c / 10.0 + later, 60.0, platen_c / 10.0 + later, 50.0) for platen_c in platens_c)
        return [one_cover] * len(covers)

    monkeypatch.setattr(windows, "spans_under", windows_of)
    press = replace(book.presses["swing"], platen_spread_k=3.5, step_s=0.5)
    jobs = [job(book), job(book, film="stretch")]
    found = candidates(book, jobs, [None, "paper"], [150.0, 163.0], pressure="firm", press=press, guard_k=2.0)

    assert [
        (None, 150.0, "firm", 16.0, 16.0),
        (None, 163.0, "firm", 17.3, 17.5),
        ("paper", 150.0, "firm", 16.0, 16.0),
        ("paper", 163.0, "firm", 17.3, 17.5),
    ] == [(one.cover, one.platen_c, one.pressure, one.span.shortest_s, one.dwell_s) for one in found]
    assert [(None, 3.5, 2.0), ("paper", 3.5, 2.0), (None, 3.5, 2.0), ("paper", 3.5, 2.0)] == asked


def test_on_the_reference_stack_the_window_is_the_published_one(book: Book) -> None:
    """At the published temperature the bench's cloth, without a cover sheet, takes the published 15 to 20 s; harm 28 s.

    That is for a film that needs all of its published dose, with nothing observed. No layer of the cloth ends it.
    """
    smooth, every = book.films["smooth"], NeededShare(low=1.0, high=1.0)
    own = replace(
        book,
        films={
            **book.films,
            "smooth": replace(smooth, overpressing=replace(SHINE, longest_s=28.0), needed_share=every),
        },
        practices={},
    )
    (window,) = spans(own, job(own, book.bench.reference_upper), None, [160.0], platen_spread_k=4.0, guard_k=0.0)

    assert pytest.approx((15.0, 28.0, 20.0), abs=0.01) == (window.shortest_s, window.longest_s, window.published_s)
    assert ("film", None) == (window.ended_by, window.ended_in)
    line = 21.0 + (160.0 - 21.0) * reference(own, "smooth").line.share
    given = dose(TIMES_S, line, 160.0, smooth.adhesive.onset_c, 1e3 * smooth.adhesive.activation_kj_mol)
    assert pytest.approx(np.interp(15.0, TIMES_S, given)) == window.needed_s


def test_a_film_that_needs_less_bonds_sooner(book: Book) -> None:
    """The share of the published dose that a film needs moves the window's begin, its spread that which is sure."""
    smooth = book.films["smooth"]

    def window(low: float, high: float) -> Span:
        share = NeededShare(low=low, high=high)
        own = replace(book, films={**book.films, "smooth": replace(smooth, needed_share=share)}, practices={})
        return spans(own, job(own), "silicone-thin", [160.0], platen_spread_k=4.0, guard_k=0.0)[0]

    all_of_it, half, unsure = window(1.0, 1.0), window(0.5, 0.5), window(0.5, 2.0)
    assert half.shortest_s < all_of_it.shortest_s
    assert pytest.approx(all_of_it.shortest_s) == unsure.shortest_s
    assert unsure.sure_from_s > all_of_it.sure_from_s
    assert pytest.approx(0.5 * all_of_it.needed_s) == half.needed_s


def test_the_trades_statements_are_observations(book: Book) -> None:
    """That a setting holds on a stack lets it be known to bond sooner there, and harms no window's end."""
    with_them, without = (
        spans(own, job(own), "silicone-thin", [160.0], platen_spread_k=4.0, guard_k=0.0)[0]
        for own in (book, replace(book, practices={}))
    )
    assert with_them.sure_from_s < without.sure_from_s
    assert (without.longest_s, without.sure_to_s) == (with_them.longest_s, with_them.sure_to_s)


def solves() -> int:
    """Return how many stacks' pressings were computed so far."""
    return sum(cache.statistics()[name].computed for name in SOLVERS)


def test_computations_are_counted(book: Book) -> None:
    """A cover sheet on a job is a stack under the film and a stack beside it; asked again, neither is computed."""
    own = job(book)._replace(kpa=251.5)
    reference(book, "smooth")
    before = solves()
    places(book, own, "paper")
    assert before + 2 == solves()
    places(book, own, "paper")
    places(book, own, None)
    assert before + 3 == solves()


def test_every_layer_under_the_film_and_beside_it_must_stand_the_pressing(book: Book) -> None:
    """A row for each layer of the stack under the film, then of the stack beside it; hotter platens harm sooner."""
    own = job(book)
    (under, _), (bare, _) = places(book, own, "silicone-thin")
    ((names, layers),) = layers_under_covers(
        book, own, ("silicone-thin",), [160.0, 200.0], platen_spread_k=4.0, guard_k=0.0
    )

    assert (*under.names, *bare.names) == names
    assert (len(names), 2) == layers.nominal_s.shape == layers.worst_s.shape
    assert bool((layers.nominal_s[:, 1] <= layers.nominal_s[:, 0]).all())
    assert bool((layers.worst_s <= layers.nominal_s).all())
    grain = len(under.names) + bare.upper
    assert "grain leather" == names[grain]
    assert layers.worst_s[grain, 1] < layers.nominal_s[grain, 1] < layers.nominal_s[under.upper, 1]
