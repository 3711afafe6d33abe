"""A job's bonding and heating by the parameters that they depend on, each named by the record that it is in."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

import numpy as np

from featherline.wire.records import Film
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import Belief, Parameter, mean_of
from featherline_service.heat.pressing import PressingResponse
from featherline_service.heat.variation import SIGMAS_95, Bonding, Heating, Line
from featherline_service.heat.window import Adhesive, Published
from featherline_service.questions.recipe.evidence.rows import unit
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.evidence.solved import beside, followed, reference
from featherline_service.questions.recipe.stacks import Pile, logs_in
from featherline_service.questions.shoes.presses import offset_k

NEEDED_LOW: Final = 0.53
NEEDED_HIGH: Final = 1.06
"""[-] 95 % band of the share of a film's published shortest dose that it needs, log-normal, with the median 0.75. An
assumption: a maker's setting holds on every bench that follows it, so most films need less than it gives on a good one,
and few need more (from memory)."""
ONSET_SPREAD_K: Final = 5.0
"""[K] 95 % spread of the temperature at which an adhesive begins to flow (from memory)."""


class FramedBonding(NamedTuple):
    """How a film bonds on a job, with the parameters that it depends on."""

    parameters: tuple[Parameter, ...]
    bonding: Bonding


class FramedHeating(NamedTuple):
    """How hot a stack gets, with the parameters that it depends on."""

    parameters: tuple[Parameter, ...]
    stack: Pile
    heating: Heating


def published(film: Film) -> Published:
    """Return a film's published setting, at the middle of its temperature range."""
    setting, harm = film.setting, film.overpressing
    return Published(
        0.5 * (setting.coolest_c + setting.hottest_c),
        setting.shortest_s,
        setting.longest_s,
        math.inf if harm is None else harm.longest_s,
    )


def adhesive(film: Film) -> Adhesive:
    """Return a film's adhesive in SI units."""
    adhesive_record = film.adhesive
    kilo = 1e3
    return Adhesive(
        adhesive_record.onset_c,
        adhesive_record.activation_kj_mol * kilo,
        adhesive_record.activation_low_kj_mol * kilo,
        adhesive_record.activation_high_kj_mol * kilo,
    )


def needed_band(film: Film) -> tuple[float, float]:
    """Return the logarithms of the ends of the 95 % band of the share that a film needs."""
    share = film.needed_share
    ends = (NEEDED_LOW, NEEDED_HIGH) if share is None else (share.low, share.high)
    return math.log(ends[0]), math.log(ends[1])


def bonding_of(book: Book, job: Job, cover: str | None, readings: Belief, platen_spread_k: float) -> FramedBonding:
    """Return how a job's film bonds under a cover sheet.

    Args:
        book: The shop book.
        job: The job; of its press the platen strays.
        cover: The cover sheet's id; None: none.
        readings: What the readings tell; the stacks are solved at its mean.
        platen_spread_k: How far the platen strays [K], 95 %.
    """
    film = book.films[job.film]
    stack, pressing = followed(book, job, cover)
    known = reference(book, job.film, job.sightings)
    kind = film.layers[-1].material
    parameters = (
        *dict.fromkeys((*stack.properties, *known.stack.properties)),
        ("platen", job.press),
        ("activation", kind),
        ("onset", film.id),
        ("needed-share", film.id),
    )
    low, high = needed_band(film)
    own_k = film.adhesive.onset_spread_k
    onset_spread_k = ONSET_SPREAD_K if own_k is None else own_k
    return FramedBonding(
        parameters,
        Bonding(
            job=Line(pressing.bond, pressing.bond_slopes, logs_in(stack, parameters)),
            reference=known.line._replace(logs=logs_in(known.stack, parameters)),
            at=mean_of(readings, parameters),
            published=published(film),
            adhesive=adhesive(film),
            room_c=book.bench.room_c,
            needed_share=math.exp(0.5 * (low + high)),
            platen_k=unit(parameters, ("platen", job.press), platen_spread_k / SIGMAS_95),
            onset_k=unit(parameters, ("onset", film.id), onset_spread_k / SIGMAS_95),
            energy=unit(parameters, ("activation", kind), 1.0),
            log_share=unit(parameters, ("needed-share", film.id), 0.5 * (high - low) / SIGMAS_95),
            offset_k=offset_k(book, job.press),
        ),
    )


def heatings_of(
    book: Book, job: Job, cover: str | None, readings: Belief, platen_spread_k: float
) -> list[FramedHeating]:
    """Return how hot a job gets under the film and, with a cover sheet, everywhere beside it."""
    bare = [] if cover is None else [beside(book, upper, job, cover) for upper in job.beside or (job.upper,)]
    return [
        heating_of(book, place, readings, press=job.press, platen_spread_k=platen_spread_k)
        for place in (followed(book, job, cover), *bare)
    ]


def heating_of(
    book: Book, place: tuple[Pile, PressingResponse], readings: Belief, *, press: str, platen_spread_k: float
) -> FramedHeating:
    """Return how hot a solved stack gets in a press. Arguments as of `bonding_of`."""
    stack, pressing = place
    parameters = (*stack.properties, ("platen", press), *_limits(stack.materials))
    limit_k = np.zeros((len(stack.materials), len(parameters)))
    for layer, material in enumerate(stack.materials):
        limit_k[layer, parameters.index(("limit", material))] = stack.limits.spread_k[layer] / SIGMAS_95
    return FramedHeating(
        parameters,
        stack,
        Heating(
            response=pressing,
            logs=logs_in(stack, parameters),
            at=mean_of(readings, parameters),
            limits=stack.limits,
            room_c=book.bench.room_c,
            platen_k=unit(parameters, ("platen", press), platen_spread_k / SIGMAS_95),
            limit_k=limit_k,
            offset_k=offset_k(book, press),
        ),
    )


def excess_k(book: Book, job: Job, readings: Belief, platen_c: float) -> float:
    """Return how much hotter than the room a job's platen is [K], set to a temperature [degC], by what is read."""
    spread_k = book.presses[job.press].platen_spread_k if job.press else 0.0
    moved_k = float(mean_of(readings, [("platen", job.press)])[0]) * spread_k / SIGMAS_95
    return platen_c + offset_k(book, job.press) + moved_k - book.bench.room_c


def _limits(materials: Sequence[str]) -> Iterable[Parameter]:
    return (("limit", material) for material in dict.fromkeys(materials))
