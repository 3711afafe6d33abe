"""Observations in a request, as sightings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from featherline.wire.recipes import Observation, RecipeRequest
from featherline_service.book.shop_book import Book
from featherline_service.quantities import celsius, seconds
from featherline_service.questions.checks import Checks
from featherline_service.questions.recipe.evidence.gauges import BOND_LINE, gauged, stack_of
from featherline_service.questions.recipe.evidence.known import known_for
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
            known_for(book, sightings)  # which is cached: the recipe asks for it again
        except ArithmeticError:
            checks.refuse("/observations", "They contradict one another so far that nothing follows: leave some out")
    return sightings


def _sighting(book: Book, of: RecipeRequest, observation: Observation, checks: Checks, pointer: str) -> Sighting:
    here = checks.under(pointer)
    task, name = read_task(
        book,
        RecipeRequest(
            film=observation.film or of.film,
            onto=observation.onto or of.onto,
            press=observation.press or of.press,
        ),
        here,
    )
    platen_c = here.value(celsius, observation.temperature, "/temperature")
    dwell_s = here.value(seconds, observation.dwell, "/dwell")
    if observation.cover is not None:
        here.record(book.covers, "cover sheet", observation.cover, "/cover")
    if platen_c is not None and not _COLDEST_C <= platen_c <= _HOTTEST_C:
        here.note("/temperature", f"{observation.temperature} is no temperature of a press")
    if dwell_s is not None and dwell_s > _LONGEST_S:
        here.note("/dwell", f"{observation.dwell} is no dwell of a press; give up to {_LONGEST_S:g} s")
    if len(task.uppers) > 1:
        names = ", ".join(upper.name for upper in task.uppers)
        here.note("/onto", f"Of {name} it is not known which upper it has ({names}): name it in `upper`")
    checks.settle()
    assert platen_c is not None  # noqa: S101 - settle has raised else
    assert dwell_s is not None  # noqa: S101
    (job,) = jobs_of(book, task, observation.pressure)
    plain = job._replace(press="", sightings=())
    readings = _readings(book, plain, observation, here, dwell_s)
    checks.settle()
    return Sighting(
        name=checks.pointer(pointer),
        job=plain,
        cover=observation.cover,
        press=task.press,
        platen_c=platen_c,
        dwell_s=dwell_s,
        bond=observation.bond,
        upper=observation.upper,
        beside=observation.beside,
        readings=tuple(readings),
    )


def _readings(book: Book, job: Job, observation: Observation, checks: Checks, dwell_s: float) -> list[Reading]:
    names = stack_of(book, job, observation.cover).names if observation.readings else ()
    readings = []
    for at, reading in enumerate(observation.readings):
        here = checks.under(f"/readings/{at}")
        at_s, value_c = here.value(seconds, reading.at, "/at"), here.value(celsius, reading.value, "/value")
        below_c = value_c
        if reading.below is not None:
            below_c = here.value(celsius, reading.below, "/below")
        if reading.above != BOND_LINE and reading.above not in names:
            here.note("/above", f"The stack has no layer {reading.above!r}; it has: bond line, {', '.join(names)}")
        if at_s is not None and at_s > dwell_s:
            here.note("/at", f"{reading.at} is after the press opened; a reading is taken while it is closed")
        if (reading.kind == "strip") != (reading.below is not None):
            here.note("/below", "A strip has a next step that did not turn, and a thermocouple has none")
        elif value_c is not None and below_c is not None and reading.below is not None and below_c <= value_c:
            here.note("/below", f"{reading.below} is not above {reading.value}, at which the strip turned")
        if at_s is not None and value_c is not None and below_c is not None:
            readings.append(
                gauged(reading.kind, reading.gauge, above=reading.above, at_s=at_s, low_c=value_c, high_c=below_c)
            )
    return readings
