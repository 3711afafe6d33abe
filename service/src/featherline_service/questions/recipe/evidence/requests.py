"""Observations in a request, as sightings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from featherline.wire.evidence import GaugeReading
from featherline.wire.recipes import Observation, RecipeRequest
from featherline.wire.records import PressureLevel
from featherline_service.book.shop_book import Book
from featherline_service.messages.told import measured, told
from featherline_service.quantities import celsius, seconds
from featherline_service.questions.checks import Checks
from featherline_service.questions.recipe.evidence.gauges import BOND_LINE, gauged, stack_of
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.outcomes.bad_outcomes import bond_beliefs, harm_beliefs
from featherline_service.questions.recipe.evidence.practices import recorded_of
from featherline_service.questions.recipe.evidence.sightings import Job, Reading, Sighting
from featherline_service.questions.recipe.recipe_settings import jobs_of
from featherline_service.questions.recipe.recipe_tasks import read_task

_LONGEST_S: Final = 600.0
_COLDEST_C: Final = 0.0
_HOTTEST_C: Final = 300.0


def read_sightings(
    book: Book, observations: Sequence[Observation], of: RecipeRequest, checks: Checks | None = None
) -> tuple[Sighting, ...]:
    """Return what the book has and what a request observed of pressings.

    Args:
        book: The shop book.
        observations: What was observed.
        of: What the request is about: the film, shoe and press of observations that leave them out.
        checks: Notes faults at the place of the question in the request.

    Raises:
        RefusedError: A record is not in the book, or a value cannot be: every fault of an observation with its pointer.
            Or the observations contradict one another so far that nothing follows from them.
    """
    checks = checks or Checks()
    recorded = recorded_of(book)
    sightings = (
        *recorded,
        *(
            _sighting(book, of, observation, checks, f"/observations/{at}")
            for at, observation in enumerate(observations)
        ),
    )
    if observations:
        try:
            known = known_for(book, sightings)  # which is cached, as all of this: the recipe asks for it again
            for job in dict.fromkeys(sighting.job for sighting in sightings[len(recorded) :]):
                bond_beliefs(book, known, job)
                harm_beliefs(book, known, job)
        except ArithmeticError:
            checks.refuse(
                "/observations",
                told(
                    "observations.contradictory",
                    "They contradict one another so far that nothing follows: leave some out",
                ),
            )
    return sightings


def read_setting(temperature: str, dwell: str, checks: Checks) -> tuple[float, float] | None:
    """Return the platen temperature [degC] and the dwell [s] of a pressing; note what no press does."""
    platen_c = checks.value(celsius, temperature, "/temperature")
    dwell_s = checks.value(seconds, dwell, "/dwell")
    if platen_c is not None and not _COLDEST_C <= platen_c <= _HOTTEST_C:
        checks.note(
            "/temperature",
            told(
                "observation.temperature-unusable",
                "{temperature} is no temperature of a press",
                temperature=temperature,
            ),
        )
    if dwell_s is not None and dwell_s > _LONGEST_S:
        checks.note(
            "/dwell",
            told(
                "observation.dwell-unusable",
                "{dwell} is no dwell of a press; give up to {longest}",
                dwell=dwell,
                longest=measured(_LONGEST_S, "s"),
            ),
        )
    return None if platen_c is None or dwell_s is None else (platen_c, dwell_s)


def read_job(book: Book, of: RecipeRequest, pressure: PressureLevel, checks: Checks) -> tuple[Job, str]:
    """Return the stack of a pressing, on no press and without its cover sheet, and the press.

    Raises:
        RefusedError: A record is not in the book, a value cannot be, or it is not known which upper the shoe has.
    """
    task, name = read_task(book, of, checks)
    if len(task.uppers) > 1:
        names = ", ".join(upper.name for upper in task.uppers)
        checks.note(
            "/onto",
            told(
                "observation.upper-unclear",
                "Of {name} it is not known which upper it has ({names}): name it in `upper`",
                name=name,
                names=names,
            ),
        )
    checks.settle()
    (job,) = jobs_of(book, task, pressure)
    return job._replace(press="", sightings=()), task.press


def read_value(reading: GaugeReading, names: Sequence[str], dwell_s: float, checks: Checks) -> Reading | None:
    """Return what a gauge read in a stack; note what cannot be.

    Args:
        reading: The reading.
        names: The stack's layers.
        dwell_s: When the press opened [s].
        checks: Notes faults at the reading's place.
    """
    at_s, value_c = checks.value(seconds, reading.at, "/at"), checks.value(celsius, reading.value, "/value")
    below_c = value_c if reading.below is None else checks.value(celsius, reading.below, "/below")
    if reading.above != BOND_LINE and reading.above not in names:
        checks.note(
            "/above",
            told(
                "stack.no-such-layer",
                "The stack has no layer {above!r}; it has: bond line, {names}",
                above=reading.above,
                names=tuple(names),
            ),
        )
    if at_s is not None and at_s > dwell_s:
        checks.note(
            "/at",
            told(
                "reading.after-opening",
                "{at} is after the press opened; a reading is taken while it is closed",
                at=reading.at,
            ),
        )
    if (reading.kind == "strip") != (reading.below is not None):
        checks.note(
            "/below",
            told("reading.bounds-misplaced", "A strip has a next step that did not turn, and a thermocouple has none"),
        )
    elif value_c is not None and below_c is not None and reading.below is not None and below_c <= value_c:
        checks.note(
            "/below",
            told(
                "reading.bounds-swapped",
                "{below} is not above {value}, at which the strip turned",
                below=reading.below,
                value=reading.value,
            ),
        )
    if at_s is None or value_c is None or below_c is None:
        return None
    return gauged(reading.kind, reading.gauge, above=reading.above, at_s=at_s, low_c=value_c, high_c=below_c)


def _sighting(book: Book, of: RecipeRequest, observation: Observation, checks: Checks, pointer: str) -> Sighting:
    here = checks.under(pointer)
    setting = read_setting(observation.temperature, observation.dwell, here)
    if observation.cover is not None:
        here.record(book.covers, "cover-sheet", observation.cover, "/cover")
    on = RecipeRequest(
        film=observation.film or of.film, onto=observation.onto or of.onto, press=observation.press or of.press
    )
    job, press = read_job(book, on, observation.pressure, here)
    assert setting is not None  # noqa: S101 - reading the job has raised else
    platen_c, dwell_s = setting
    names = stack_of(book, job, observation.cover).names if observation.readings else ()
    readings = [
        read_value(reading, names, dwell_s, here.under(f"/readings/{at}"))
        for at, reading in enumerate(observation.readings)
    ]
    checks.settle()
    return Sighting(
        name=pointer,
        job=job,
        cover=observation.cover,
        press=press,
        platen_c=platen_c,
        dwell_s=dwell_s,
        bond=observation.bond,
        upper=observation.upper,
        beside=observation.beside,
        readings=tuple(reading for reading in readings if reading is not None),
    )
