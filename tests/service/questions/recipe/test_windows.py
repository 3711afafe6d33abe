"""Windows over cover sheets and temperatures, and which of them is best."""

from __future__ import annotations

import math

import numpy as np
import pytest
from msgspec.structs import replace

from featherline_service.book.shop_book import Book
from featherline_service.heat.pressing import LONGEST_DWELL_S
from featherline_service.heat.window import BondDwells, LayerDwells
from featherline_service.questions.recipe import windows
from featherline_service.questions.recipe.windows import (
    Candidate,
    Job,
    Span,
    best_first,
    candidates,
    followed,
    narrowest,
    places,
    published,
    reference,
    spans,
    sureness,
)
from featherline_service.questions.shoes.old_marks import marked_upper
from featherline_service.questions.shoes.presses import pressure_kpa
from featherline_service.runtime import cache
from featherline_service.runtime.cache import MOST_BYTES


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
    """A timer of 7 s steps is set to the first multiple of 7 s at which the bond is sure."""
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
        for step_s in (1.0, 7.0)
    )

    assert math.ceil(fine.span.sure_from_s) == fine.dwell_s
    assert 7.0 * math.ceil(coarse.span.sure_from_s / 7.0) == coarse.dwell_s
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
