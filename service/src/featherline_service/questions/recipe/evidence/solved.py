"""Stacks solved where the readings of gauges put their properties; without readings, at the book's values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from featherline.wire.records import Upper
from featherline_service.book.shop_book import Book
from featherline_service.book.workshop import by_workshop, workshop
from featherline_service.evidence.beliefs import mean_of
from featherline_service.heat.pressing import Floats, Pressed, PressingResponse, bond_line_response, pressing_responses
from featherline_service.heat.variation import Line, stack_at
from featherline_service.questions.recipe.evidence.gauges import readings_of, stack_of
from featherline_service.questions.recipe.evidence.sightings import Job, Sighting, with_readings
from featherline_service.questions.recipe.stacks import Pile, pile
from featherline_service.questions.shoes.presses import pressure_kpa
from featherline_service.runtime.cache import cached, cached_together, weigh_by


class Reference(NamedTuple):
    """The stack that a film's published setting refers to, and its bond line; `line.logs` are by its own properties."""

    stack: Pile
    line: Line


def reference(book: Book, film_id: str, sightings: tuple[Sighting, ...] = ()) -> Reference:
    """Return a film's reference: the bench's reference cloth and pad, without a cover sheet."""
    return _reference(book, film_id, with_readings(sightings))


Place = tuple[Job, str | None]
"""A job on no press and without sightings, and its cover sheet."""


def followed(book: Book, job: Job, cover: str | None) -> tuple[Pile, PressingResponse]:
    """Return a job's stack under a cover sheet, and its pressing for every dwell."""
    return _followed([_under(job, cover)], workshop(book), with_readings(job.sightings))[0]


def beside(book: Book, upper: Upper, job: Job, cover: str) -> tuple[Pile, PressingResponse]:
    """Return as `followed` for the shoe beside the film, where the cover sheet lies on the upper itself."""
    return _followed([_bare(upper, job, cover)], workshop(book), with_readings(job.sightings))[0]


def solve(book: Book, places: Iterable[tuple[Job, str | None]]) -> None:
    """Solve jobs' stacks under cover sheets, and beside the film, together, which takes less time than one by one."""
    by_readings: dict[tuple[Sighting, ...], list[Place]] = {}
    for job, cover in places:
        own = by_readings.setdefault(with_readings(job.sightings), [])
        own.append(_under(job, cover))
        own += [] if cover is None else [_bare(upper, job, cover) for upper in job.beside or (job.upper,)]
    for sightings, own in by_readings.items():
        _followed(own, workshop(book), sightings)


def _under(job: Job, cover: str | None) -> Place:
    return job._replace(press="", beside=(), sightings=()), cover


def _bare(upper: Upper, job: Job, cover: str) -> Place:
    return Job("", upper, job.pad, job.kpa), cover


@by_workshop
@cached
def _reference(book: Book, film_id: str, sightings: tuple[Sighting, ...]) -> Reference:
    film, bench = book.films[film_id], book.bench
    cloth, pad = book.uppers[bench.reference_upper], book.pads[bench.reference_pad]
    kpa = pressure_kpa(bench.reference_pressures, film.setting.pressure)
    stack = pile(book, film, cloth, pad, cover=None, pressure_kpa=kpa)
    point = mean_of(readings_of(book, sightings).belief, stack.properties)
    share, slopes = bond_line_response(stack_at(stack.closed, stack.logs, point), stack.upper)
    return Reference(stack, Line(share, slopes, stack.logs))


@cached_together
def _followed(
    places: Sequence[Place], book: Book, sightings: tuple[Sighting, ...]
) -> list[tuple[Pile, PressingResponse]]:
    stacks = [stack_of(book, job, cover) for job, cover in places]
    if sightings:
        belief = readings_of(book, sightings).belief
        stacks = [_read(stack, mean_of(belief, stack.properties)) for stack in stacks]
    responses = pressing_responses([Pressed(stack.closed, stack.opened, stack.upper) for stack in stacks])
    return list(zip(stacks, responses, strict=True))


def _read(stack: Pile, point: Floats) -> Pile:
    """Return a stack with its properties where readings put them."""
    return stack._replace(
        closed=stack_at(stack.closed, stack.logs, point),
        opened=stack_at(stack.opened, stack.logs, point, platen=False),
    )


_ARRAY_BYTES: Final = 120
_NAMES_BYTES: Final = 9_000
"""[bytes] Of a stack: the names of its layers and properties, which other stacks have in part too."""


def _bytes_of_response(response: PressingResponse) -> int:
    arrays = (*response.pressed[1:], *response.opened[1:], *response[2:5], *response.peaks, response.peak_slopes)
    return sum(int(array.nbytes) + _ARRAY_BYTES for array in arrays)


def _bytes_of_stack(stack: Pile) -> int:
    arrays = (*stack.closed, *stack.opened, *stack.limits, stack.logs)
    return _NAMES_BYTES + sum(int(array.nbytes) + _ARRAY_BYTES for array in arrays)


weigh_by(PressingResponse, _bytes_of_response)
weigh_by(Pile, _bytes_of_stack)

SOLVERS: Final = tuple(f"{function.__module__}.{function.__qualname__}" for function in (_reference, _followed))
"""The functions whose every value is a stack's pressing, by their names in the cache's statistics."""
