"""What an answer says of the evidence that its recipe stands on."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

import numpy as np

from featherline.wire.evidence import (
    NeededShareKnown,
    ObservationEffect,
    ParameterEffect,
    RecipeEvidence,
    ShareBand,
    WithoutObservations,
)
from featherline.wire.records import Film
from featherline.wire.verdicts import Verdict
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import mean_of, positions, root_of
from featherline_service.evidence.normal import cumulative
from featherline_service.heat.variation import SIGMAS_95, bond_margins
from featherline_service.heat.window import at_dwell
from featherline_service.heat.worst_case import peak_bands
from featherline_service.messages.values import Quantity, said
from featherline_service.quantities import plain_seconds
from featherline_service.questions.recipe.evidence.frames import bonding_of, heatings_of, needed_band
from featherline_service.questions.recipe.evidence.known import Known, known_for, known_of
from featherline_service.questions.recipe.evidence.outcomes.bad_outcomes import bond_beliefs, harm_beliefs
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.windows import (
    Candidate,
    Span,
    bonds_within,
    narrowest,
    spans,
    spreads_of,
)
from featherline_service.questions.verdicts import worst

_MOST_MOVED: Final = 8
_LEAST_MOVE: Final = 0.02
"""Standard deviations below which a parameter counts as not moved."""
_LEAST: Final = 1e-9
"""Stands for a deviation of zero, in ratios."""


class Pressing(NamedTuple):
    """A job pressed at a setting: by what the press's platen strays [K], and what guard [K] is kept."""

    job: Job
    chosen: Candidate
    dwell_s: float
    platen_spread_k: float
    guard_k: float


def account(book: Book, pressings: Sequence[Pressing], otherwise: Verdict) -> RecipeEvidence:
    """Return on what evidence a setting for one or several jobs stands: of the job that is least sure to bond.

    Args:
        book: The shop book.
        pressings: The jobs, pressed at the setting.
        otherwise: The verdict for all reasons but how sure the setting is.
    """
    known = known_for(book, pressings[0].job.sightings)
    first = pressings[0].chosen.span
    ends = [
        Dwells(first.shortest_s, first.sure_from_s) if len(pressings) == 1 else _dwells(book, pressing, known)
        for pressing in pressings
    ]
    chances = [chance_bonds(book, *each, known) for each in zip(pressings, ends, strict=True)]
    pressing = pressings[int(np.argmin(chances))]
    unharmed = min(chance_unharmed(book, one, known) for one in pressings)
    return RecipeEvidence(
        chance_bonds=min(chances),
        chance_unharmed=unharmed,
        needed_share=_needed_share(book.films[pressing.job.film], known),
        observations=tuple(_effects(book, pressing, known)),
        moved=tuple(_moved(known)),
        without=_without(book, pressings, known, otherwise, unharmed),
    )


class Dwells(NamedTuple):
    """The shortest dwell [s] that bonds, and the one that is sure to."""

    shortest_s: float
    sure_s: float


def _dwells(book: Book, pressing: Pressing, known: Known) -> Dwells:
    """Return the dwells that bond a pressing's own job."""
    job, chosen, _, spread_k, _ = pressing
    (bond,) = bonds_within(book, job, (chosen.cover,), (chosen.platen_c,), platen_spread_k=spread_k, known=known)
    return Dwells(float(bond.dwells.shortest_s[0]), float(bond.dwells.sure_s[0]))


def chance_bonds(book: Book, pressing: Pressing, dwells: Dwells, known: Known) -> float:
    """Return how likely a pressing bonds its film: by its window where that has a sure end, else to first order."""
    job, chosen, dwell_s, spread_k, _ = pressing
    shortest_s, sure_s = dwells
    if math.isfinite(sure_s) and sure_s > shortest_s:
        return cumulative(SIGMAS_95 * math.log(dwell_s / shortest_s) / math.log(sure_s / shortest_s))
    parameters, bonding = bonding_of(book, job, chosen.cover, known.readings, spread_k)
    chances = []
    for belief in bond_beliefs(book, known, job):
        margin, slopes = bond_margins(
            bonding, mean_of(belief, parameters), np.array([chosen.platen_c]), np.array([dwell_s])
        )
        deviation = float(np.linalg.norm(slopes[0] @ root_of(belief, parameters)))
        chances.append(cumulative(float(margin[0]) / max(deviation, _LEAST)))
    return min(chances)


def chance_unharmed(book: Book, pressing: Pressing, known: Known) -> float:
    """Return how likely the layer that is least sure to stand a pressing stands it, the guard kept.

    By the peaks of the layers, and by the window that the setting was chosen from, which knows their exposures too.
    """
    job, chosen, dwell_s, platen_spread_k, guard_k = pressing
    least, beliefs = math.inf, harm_beliefs(book, known, job)
    for parameters, _, heating in heatings_of(book, job, chosen.cover, known.readings, platen_spread_k):
        spread = spreads_of(beliefs, parameters)
        rise_k, spread_k = (
            at_dwell(table[..., 0, :], dwell_s) for table in peak_bands(heating, spread, np.array([chosen.platen_c]))
        )
        margin_k = heating.limits.peak_c + spread.mean @ heating.limit_k.T - guard_k - heating.room_c - rise_k
        least = min(least, float((margin_k / np.maximum(spread_k, _LEAST)).min()))
    longest_s, sure_s = chosen.span.longest_s, chosen.span.sure_to_s
    if chosen.span.ended_by != "cap" and 0.0 < sure_s < longest_s:
        least = min(least, math.log(longest_s / dwell_s) / math.log(longest_s / sure_s))
    return cumulative(SIGMAS_95 * least)


def _needed_share(film: Film, known: Known) -> NeededShareKnown:
    low, high = needed_band(film)
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    name = ("needed-share", film.id)
    mean = float(mean_of(known.bond, [name])[0])
    deviation = float(root_of(known.bond, [name])[0, 0])
    centre, wide = middle + half * mean / SIGMAS_95, half * deviation
    cited = next((cite.source for cite in film.cites if "needed_share" in cite.values), None)
    return NeededShareKnown(
        assumed=_band(middle, half),
        known=_band(centre, wide),
        source=cited,
        **said(
            "evidence.needed-share",
            film=film,
            low=_share(low),
            high=_share(high),
            dwell=plain_seconds(film.setting.shortest_s),
            known_low=_share(centre - wide),
            known_high=_share(centre + wide),
        )._asdict(),
    )


def _share(logarithm: float) -> Quantity:
    return Quantity(round(math.exp(logarithm), 2), None, 2)


def _band(middle: float, half: float) -> ShareBand:
    return ShareBand(low=math.exp(middle - half), median=math.exp(middle), high=math.exp(middle + half))


def _effects(book: Book, pressing: Pressing, known: Known) -> Iterator[ObservationEffect]:
    """Yield how much each observation of a bond moves the shortest dwell: the parameters' mean is their sum."""
    job, chosen, dwell_s, spread_k, _ = pressing
    parameters, bonding = bonding_of(book, job, chosen.cover, known.readings, spread_k)
    point = mean_of(known.bond, parameters)
    _, slopes = bond_margins(bonding, point, np.array([chosen.platen_c]), np.array([dwell_s]))
    here, there = positions(parameters, known.bonds.parameters)
    moves = known.weights * (known.bonds.observations.slopes[:, there] @ slopes[0, here])
    for at, sighting in enumerate(known.sightings):
        longer = -float(moves[known.bonds.sighting == at].sum())
        if at in known.bonds.sighting or at in known.contradicting:
            yield ObservationEffect(
                observation=sighting.name, shortest_by=math.expm1(longer), contradicts=at in known.contradicting
            )


def _moved(known: Known) -> Iterator[ParameterEffect]:
    belief = known.bond
    spread = np.sqrt(np.diag(belief.covariance))
    for at in np.argsort(-np.abs(belief.mean), kind="stable")[:_MOST_MOVED].tolist():
        if abs(belief.mean[at]) >= _LEAST_MOVE:
            yield ParameterEffect(
                parameter=": ".join(belief.parameters[at]), by=float(belief.mean[at]), spread_left=float(spread[at])
            )


def _without(
    book: Book, pressings: Sequence[Pressing], known: Known, otherwise: Verdict, unharmed: float
) -> WithoutObservations:
    """Return the same setting by the book's records alone.

    Where nothing was read and no upper looked bad, the longest dwell is known by these in any case.
    """
    nothing = known_of(book, (), ())
    plain = [pressing._replace(job=pressing.job._replace(sightings=())) for pressing in pressings]
    span = plain[0].chosen.span
    longest_s, sure_to_s = span.longest_s, span.sure_to_s
    if known.readings.parameters or known.harm_at_worst is not None:
        windows = [_span(book, pressing, nothing) for pressing in plain]
        own, dwells = narrowest(windows), [Dwells(window.shortest_s, window.sure_from_s) for window in windows]
        longest_s, sure_to_s = own.longest_s, own.sure_to_s
        unharmed = min(
            chance_unharmed(book, pressing._replace(chosen=pressing.chosen._replace(span=own)), nothing)
            for pressing in plain
        )
    else:
        dwells = [_dwells(book, pressing, nothing) for pressing in plain]
    shortest_s, sure_from_s = (max(each) for each in zip(*dwells, strict=True))
    dwell_s = plain[0].dwell_s
    verdict: Verdict = "ready"
    if not shortest_s <= dwell_s <= longest_s:
        verdict = "decline"
    elif not sure_from_s <= dwell_s <= sure_to_s:
        verdict = "trial"
    return WithoutObservations(
        verdict=worst((verdict, otherwise)),
        shortest_s=shortest_s if math.isfinite(shortest_s) else None,
        sure_from_s=sure_from_s if math.isfinite(sure_from_s) else None,
        sure_to_s=sure_to_s,
        chance_bonds=min(
            chance_bonds(book, pressing, own_dwells, nothing)
            for pressing, own_dwells in zip(plain, dwells, strict=True)
        ),
        chance_unharmed=unharmed,
    )


def span_alone(book: Book, pressings: Sequence[Pressing]) -> Span:
    """Return the window of a setting by the book's records alone: what all of its jobs have in common."""
    nothing = known_of(book, (), ())
    return narrowest(
        [_span(book, pressing._replace(job=pressing.job._replace(sightings=())), nothing) for pressing in pressings]
    )


def _span(book: Book, pressing: Pressing, known: Known) -> Span:
    job, chosen, _, spread_k, guard_k = pressing
    return spans(book, job, chosen.cover, (chosen.platen_c,), platen_spread_k=spread_k, guard_k=guard_k, known=known)[0]
