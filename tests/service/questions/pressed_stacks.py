"""Pressings of the demo book's stacks that the tests of what is known share."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from featherline.wire.records import BondOutcome, UpperOutcome
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import mean_of
from featherline_service.heat.bond import dose
from featherline_service.heat.pressing import TIMES_S
from featherline_service.heat.variation import Line, kinetics
from featherline_service.questions.recipe.evidence.frames import bonding_of, published
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.sightings import Job, Sighting


def job_on(book: Book, upper: str = "leather-lined", film: str = "smooth") -> Job:
    """Return a film on an upper over the reference pad at the reference pressure."""
    bench = book.bench
    return Job(film, book.uppers[upper], bench.reference_pad, bench.reference_pressures.medium_kpa)


def pressed(
    book: Book,
    *,
    upper: str = "leather-lined",
    film: str = "smooth",
    platen_c: float = 160.0,
    dwell_s: float = 30.0,
    bond: BondOutcome | None = None,
    looks: UpperOutcome | None = None,
    press: str | None = "swing",
) -> Sighting:
    """Return a pressing under the thin sheet, and what was seen of it."""
    return Sighting(
        "a pressing", job_on(book, upper, film), "silicone-thin", press, platen_c, dwell_s, bond, looks, looks
    )


class BondShare(NamedTuple):
    """A pressing's dose, and the dose that harms its film, over what the film needs."""

    share: float
    harmed: float


def bond_share(book: Book, job: Job, cover: str | None, platen_c: float, dwell_s: float) -> BondShare:
    """Return the dose of a pressing over what the film needs, where the book's statements put both."""
    film, known = book.films[job.film], known_for(book, ())
    names, bonding = bonding_of(book, job, cover, known.readings, 0.0)
    mean = mean_of(known.bond, names)
    onset_c, activation = (float(each[0]) for each in kinetics(bonding, mean[None]))

    def given(line: Line, at_c: float, time_s: float) -> float:
        temperature = book.bench.room_c + (at_c - book.bench.room_c) * line.off(mean)
        return float(np.interp(time_s, TIMES_S, dose(TIMES_S, temperature, setting.platen_c, onset_c, activation)))

    setting = published(film)
    needed = bonding.needed_share * math.exp(mean @ bonding.log_share)
    needed *= given(bonding.reference, setting.platen_c, setting.shortest_s)
    harmed = math.inf
    if math.isfinite(setting.harmed_s):
        harmed = given(bonding.reference, setting.platen_c, setting.harmed_s)
    return BondShare(given(bonding.job, platen_c, dwell_s) / needed, harmed / needed)
