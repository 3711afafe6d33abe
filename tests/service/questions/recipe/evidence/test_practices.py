"""Statements of the trade in the book, as sightings."""

from __future__ import annotations

import math
from datetime import date

import pytest
from msgspec.structs import replace

from featherline.wire.evidence import GaugeReading
from featherline.wire.recipes import BareLayer, BareStack, Observation, RecipeRequest
from featherline.wire.records import Layer, RecordedPressing, RecordedReading
from featherline_service.book.shop_book import Book
from featherline_service.heat.variation import SIGMAS_95
from featherline_service.questions.recipe.evidence import known
from featherline_service.questions.recipe.evidence.known import Known, known_for, known_of
from featherline_service.questions.recipe.evidence.practices import practices_of, recorded_of
from featherline_service.questions.recipe.evidence.sightings import Sighting
from featherline_service.questions.recipe.recipes import resolve
from featherline_service.runtime import cache


def test_statements_are_sightings(book: Book) -> None:
    """Each is pressed on no press of the book, with the spreads of its record as standard deviations."""
    for (film, practice), sighting in zip(book.practices.values(), practices_of(book), strict=True):
        assert (practice.name, film, book.uppers[practice.upper], None) == (
            sighting.name,
            sighting.job.film,
            sighting.job.upper,
            sighting.press,
        )
        assert (practice.bond, practice.upper_looks, practice.upper_looks) == (
            sighting.bond,
            sighting.upper,
            sighting.beside,
        )
        assert pytest.approx(math.log(1.0 + practice.dwell_spread)) == SIGMAS_95 * sighting.bond_noise
        assert pytest.approx(math.log(1.0 + practice.habit_spread)) == SIGMAS_95 * sighting.habit_noise
        assert pytest.approx(practice.limit_spread_k) == SIGMAS_95 * sighting.look_noise_k


@pytest.mark.parametrize("left_out", range(8))
def test_each_statement_is_predicted_by_the_others(book: Book, left_out: int) -> None:
    """With one left out, the other seven say of it what the trade says: none of all eight is a contradiction."""
    stated = practices_of(book)
    others = stated[:left_out] + stated[left_out + 1 :]
    assert () == known_of(book, others, (stated[left_out],)).contradicting
    assert () == known_of(book, stated, ()).contradicting


READ = RecordedReading(at_s=10.0, value_c=120.0, kind="thermocouple-class-2", gauge="probe")
STRIP = RecordedReading(above="pad", at_s=12.0, value_c=60.0, below_c=65.0, kind="strip", gauge="strips")
OBSERVED = RecordedPressing(
    id="scrap", name="A scrap", date=date(2026, 11, 3), press="clam", cover="silicone-thin", temperature_c=160.0,
    layers=(Layer(name="leather", material="upper-leather", thickness_mm=1.4),), pressure="firm", dwell_s=30.0,
    readings=(READ, STRIP),
)  # fmt: skip


def with_observed(book: Book, *pressings: RecordedPressing) -> Book:
    """Return the book with what a shop observed of its own pressings."""
    return replace(book, revision="", observations={pressing.id: pressing for pressing in pressings})


def test_what_a_book_records_are_sightings(book: Book) -> None:
    """A scrap without a film in a press of the book, over its first platen, with the errors of its gauges."""
    (seen,) = recorded_of(with_observed(book, OBSERVED))
    press = book.presses["clam"]
    assert ("scrap", "clam", "silicone-thin", 160.0, 30.0) == (
        seen.name, seen.press, seen.cover, seen.platen_c, seen.dwell_s
    )  # fmt: skip
    assert ("", book.platens[press.platens[0]].pad, press.pressures.firm_kpa) == (
        seen.job.film, seen.job.pad, seen.job.kpa
    )  # fmt: skip
    assert OBSERVED.layers == seen.job.upper.layers
    thermocouple, strip = seen.readings
    assert (120.0, 120.0, 2.5, "probe") == (
        thermocouple.low_c, thermocouple.high_c, thermocouple.tolerance_k, thermocouple.gauge
    )  # fmt: skip
    assert ("pad", 60.0, 65.0) == (strip.above, strip.low_c, strip.high_c)


def test_a_recorded_observation_is_worth_what_a_stated_one_is(book: Book) -> None:
    """A recipe by a book that records a pressing has the window of a request that observes it."""
    onto = BareStack(surface="leather", layers=(BareLayer(material="upper-leather", thickness="1.4 mm"),))
    request = RecipeRequest(film="smooth", onto=onto)
    reading = GaugeReading(at="12 s", value="105 degC", kind="thermocouple-class-1", gauge="probe")
    stated = Observation(
        cover="silicone-thin", temperature="160 degC", dwell="30 s", bond="holds", readings=(reading,)
    )  # fmt: skip
    recorded = replace(
        OBSERVED,
        press="swing",
        film="smooth",
        pressure="medium",
        layers=(Layer(name=book.materials["upper-leather"].name, material="upper-leather", thickness_mm=1.4),),
        bond="holds",
        readings=(RecordedReading(at_s=12.0, value_c=105.0, kind="thermocouple-class-1", gauge="probe"),),
    )

    by_request = resolve(book, replace(request, observations=(stated,)))
    by_book = resolve(with_observed(book, recorded), request)

    assert by_request.window == by_book.window
    assert by_request.window != resolve(book, request).window
    assert by_book.evidence is not None
    assert "scrap" in [effect.observation for effect in by_book.evidence.observations]


def test_outcomes_of_a_book_that_nothing_follows_from_are_all_named(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Recipes are by its readings alone then, and none that they concern is ready."""
    own = with_observed(book, replace(OBSERVED, film="smooth", bond="holds"))

    def never_settles(_: object, _stated: object, sightings: tuple[Sighting, ...]) -> Known:
        if any(sighting.bond for sighting in sightings):
            raise ArithmeticError("The observations' likelihoods do not settle")
        return known_of(own, practices_of(own), sightings)

    monkeypatch.setattr(known, "known_of", never_settles)
    found = known_for(own, recorded_of(own))
    assert ["scrap"] == [found.sightings[at].name for at in found.contradicting]
    with pytest.raises(ArithmeticError):
        known_for(own, (*recorded_of(own), *recorded_of(own)))


def test_what_a_book_alone_tells_is_known_beforehand(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """A request that observed nothing asks for it; where nothing follows, the start goes on all the same."""
    cache.clear()
    assert 1 == len(list(known.prepare(book)))

    computed = cache.statistics_of(known_for).computed
    leather = BareLayer(material="upper-leather", thickness="1.4 mm")
    resolve(book, RecipeRequest(film="smooth", onto=BareStack(surface="leather", layers=(leather,))))
    assert computed == cache.statistics_of(known_for).computed

    def never_settles(*_: object) -> Known:
        raise ArithmeticError("The observations' likelihoods do not settle")

    monkeypatch.setattr(known, "known_of", never_settles)
    cache.clear()
    assert 2 == len(list(known.prepare(book, book)))


def test_a_scrap_without_film_tells_how_its_upper_looked(book: Book) -> None:
    """A bad look of the material under the bare cover sheet ends windows sooner."""
    leather = Layer(name=book.materials["upper-leather"].name, material="upper-leather", thickness_mm=1.4)
    looked = replace(
        OBSERVED, press="swing", pressure="medium", layers=(leather,), readings=(), upper_looks="deformed", dwell_s=20.0
    )
    onto = BareStack(surface="leather", layers=(BareLayer(material="upper-leather", thickness="1.4 mm"),))
    request = RecipeRequest(film="smooth", onto=onto, cover="silicone-thin")
    before, after = resolve(book, request), resolve(with_observed(book, looked), request)
    assert before.window is not None
    assert before.window.longest_s is not None
    ends = None if after.window is None else after.window.longest_s
    assert ends is None or ends < before.window.longest_s
