"""Observations in a request, as sightings."""

from __future__ import annotations

from typing import Final

from featherline.wire.evidence import GaugeReading
from featherline.wire.recipes import Observation, RecipeRequest
from featherline_service.book.shop_book import Book
from featherline_service.quantities import celsius, seconds
from featherline_service.questions.checks import Checks
from featherline_service.questions.recipe.evidence.gauges import BOND_LINE, stack_of
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.sightings import Job, Reading, Sighting
from featherline_service.questions.recipe.recipe_settings import jobs_of
from featherline_service.questions.recipe.recipe_tasks import read_task

_CLASSES: Final = {"thermocouple-class-1": (1.5, 0.004), "thermocouple-class-2": (2.5, 0.0075), "strip": (2.0, 0.0)}
"""Tolerance [K], and as a share of the temperature in degC where that is more. Thermocouples of types K and J: IEC
60584-1, tolerance classes 1 and 2. Irreversible strips: 1 to 2 K (common practice, no source)."""
_NOISE_K: Final = {"thermocouple-class-1": 1.0, "thermocouple-class-2": 1.0, "strip": 1.0}
"""[K] Standard deviation of one reading beside the gauge's own error: where it lies, and what it takes up (from
memory)."""
_LONGEST_S: Final = 600.0
_COLDEST_C: Final = 0.0
_HOTTEST_C: Final = 300.0


def read_sightings(book: Book, request: RecipeRequest) -> tuple[Sighting, ...]:
    """Return what a request observed of pressings.

    Raises:
        RefusedError: A record is not in the book, or a value cannot be: every fault of an observation with its pointer.
            Or the observations contradict one another so far that nothing follows from them.
    """
    sightings = tuple(
        _sighting(book, request, observation, f"/observations/{at}")
        for at, observation in enumerate(request.observations)
    )
    if sightings:
        try:
            known_for(book, sightings)  # which is cached: the recipe asks for it again
        except ArithmeticError:
            Checks().refuse("/observations", "They contradict one another so far that nothing follows: leave some out")
    return sightings


def _sighting(book: Book, request: RecipeRequest, observation: Observation, pointer: str) -> Sighting:
    checks = Checks()
    here = checks.under(pointer)
    task, name = read_task(
        book,
        RecipeRequest(
            film=observation.film or request.film,
            onto=observation.onto or request.onto,
            press=observation.press or request.press,
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
        name=pointer,
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
            readings.append(_reading(reading, at_s, value_c, below_c))
    return readings


def _reading(reading: GaugeReading, at_s: float, value_c: float, below_c: float) -> Reading:
    least_k, share = _CLASSES[reading.kind]
    return Reading(
        reading.above,
        at_s,
        value_c,
        below_c,
        _NOISE_K[reading.kind],
        reading.gauge,
        max(least_k, share * value_c),
    )
