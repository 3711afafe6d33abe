"""Windows of dwell for a film on an upper, under every cover sheet and at every platen temperature to be considered."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline.wire.records import Film, Press, PressureLevel
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import Belief, Parameter, mean_of, root_of
from featherline_service.heat.pressing import LONGEST_DWELL_S, PressingResponse
from featherline_service.heat.variation import needed_doses, stacked
from featherline_service.heat.window import BondDwells, LayerDwells, choose_dwell
from featherline_service.heat.worst_case import Spread, bond_dwells, layer_dwells, unharmed_dwells
from featherline_service.questions.recipe.evidence import solved
from featherline_service.questions.recipe.evidence.frames import FramedHeating, bonding_of, heatings_of, published
from featherline_service.questions.recipe.evidence.known import Known, known_for
from featherline_service.questions.recipe.evidence.outcomes.bad_outcomes import bond_beliefs, harm_beliefs
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.evidence.solved import followed
from featherline_service.questions.recipe.stacks import Pile

Floats = NDArray[np.float64]
End = Literal["layer", "film", "cap"]

_AMPLE: Final = math.log(1.05)
"""A sure window this wide holds a stopwatch's error of half a minute; beyond that, wider is no better (from memory)."""

_NO_DWELL_PENALTY: Final = 100.0
"""[-] More than the logarithm of any ratio of dwells, so that a setting without a dwell ranks below all with one."""
_NEVER_S: Final = 1e6
"""[s] Stands for a dwell that is never reached, in logarithms."""
_AT_ONCE_S: Final = 1e-3
"""[s] Stands for a dwell of zero, in logarithms."""


class Span(NamedTuple):
    """A window [s], nominal and at the worst case, and what ends it: a layer by its name, the film, or the cap.

    The film ends it only where its record says that longer pressing harms it. `unsure_in` is the layer that ends the
    worst-case window sooner than the nominal one; None where nothing does, or the film. At `published_s` the bond line
    has the dose of the film's longest published dwell; longer is no harm, but more than the maker asks for.
    """

    shortest_s: float
    longest_s: float
    sure_from_s: float
    sure_to_s: float
    ended_by: End
    ended_in: str | None
    unsure_in: str | None
    needed_s: float
    published_s: float


class Candidate(NamedTuple):
    """A cover sheet (None: none), platen temperature and pressure, the window, and the dwell to set (None: none)."""

    cover: str | None
    platen_c: float
    pressure: PressureLevel
    span: Span
    dwell_s: float | None


def places(book: Book, job: Job, cover: str | None) -> list[tuple[Pile, PressingResponse]]:
    """Return a job's stack and its pressing under the film and, with a cover sheet, everywhere beside it."""
    bare = [] if cover is None else [solved.beside(book, upper, job, cover) for upper in job.beside or (job.upper,)]
    return [followed(book, job, cover), *bare]


def spread_of(belief: Belief, parameters: Sequence[Parameter]) -> Spread:
    """Return what a belief knows of some parameters."""
    return Spread(mean_of(belief, parameters), root_of(belief, parameters))


def spreads_of(beliefs: Sequence[Belief], parameters: Sequence[Parameter]) -> Spread:
    """Return what beliefs know of some parameters: their means, ``(beliefs, n)``, and the root that they share.

    Bad outcomes move means and make nothing surer, so what is known without and with them differs in its means alone.
    """
    return Spread(np.stack([mean_of(belief, parameters) for belief in beliefs]), root_of(beliefs[0], parameters))


class BondSpan(NamedTuple):
    """The dwells that bond a job's film at each platen temperature, and the dose [s] that it needs.

    `unharmed_s` are the longest dwells that do not harm the film at the worst case: as those of layers, they are by
    readings and bad looks, so that no film that held makes them later.
    """

    dwells: BondDwells
    needed_s: float
    unharmed_s: Floats


def bonds_within(
    book: Book,
    job: Job,
    covers: Sequence[str | None],
    platens_c: Sequence[float],
    *,
    platen_spread_k: float,
    known: Known,
) -> list[BondSpan]:
    """Return the dwells that bond a job's film under each cover sheet.

    They are the longest of those by what is known without and with bad outcomes.
    """
    framed = [bonding_of(book, job, cover, known.readings, platen_spread_k) for cover in covers]
    bonding, temperatures = stacked([each.bonding for each in framed]), np.asarray(platens_c)

    def together(beliefs: Sequence[Belief]) -> Spread:
        size = bonding.at.shape[-1]
        mean, root = np.zeros((len(beliefs), len(framed), size)), np.zeros((len(framed), size, size))
        for at, (parameters, _) in enumerate(framed):
            own = len(parameters)
            mean[:, at, :own], root[at, :own, :own] = spreads_of(beliefs, parameters)
        return Spread(mean, root)

    spread = together(bond_beliefs(book, known, job))
    dwells = bond_dwells(bonding, spread, temperatures)
    unharmed_s = np.full((len(framed), temperatures.size), np.inf)
    if book.films[job.film].overpressing is not None:
        worst = together(harm_beliefs(book, known, job))
        unharmed_s = unharmed_dwells(bonding, worst, temperatures).min(axis=0)
    needed_s = needed_doses(bonding, spread.mean[0, :, None])[:, 0].tolist()
    shortest_s, sure_s = dwells.shortest_s.max(axis=0), dwells.sure_s.max(axis=0)
    return [
        BondSpan(
            BondDwells(shortest_s[at], dwells.longest_s[0, at], dwells.harmed_s[0, at], sure_s[at]),
            needed_s[at],
            unharmed_s[at],
        )
        for at in range(len(framed))
    ]


def shortest_layer_dwells(
    places: Sequence[FramedHeating], platens_c: Sequence[float], beliefs: Sequence[Belief], *, guard_k: float
) -> list[LayerDwells]:
    """Return how long layers stand a pressing: the shortest of what is known without and with bad outcomes."""
    known = [(heating, spreads_of(beliefs, parameters)) for parameters, _, heating in places]
    return [
        LayerDwells(*(each.min(axis=0) for each in dwells))
        for dwells in layer_dwells(known, np.asarray(platens_c), guard_k=guard_k)
    ]


def layers_under_covers(
    book: Book,
    job: Job,
    covers: Sequence[str | None],
    platens_c: Sequence[float],
    *,
    platen_spread_k: float,
    guard_k: float,
    known: Known | None = None,
) -> list[tuple[tuple[str, ...], LayerDwells]]:
    """Return for each cover sheet the layers under the film and beside it, and how long each stands the pressing."""
    known = known or known_for(book, job.sightings)
    places = [heatings_of(book, job, cover, known.readings, platen_spread_k) for cover in covers]
    every = [place for around in places for place in around]
    dwells = iter(shortest_layer_dwells(every, platens_c, harm_beliefs(book, known, job), guard_k=guard_k))
    return [
        (
            tuple(name for place in around for name in place.stack.names),
            LayerDwells(*map(np.concatenate, zip(*(next(dwells) for _ in around), strict=True))),
        )
        for around in places
    ]


def spans(
    book: Book,
    job: Job,
    cover: str | None,
    platens_c: Sequence[float],
    *,
    platen_spread_k: float,
    guard_k: float,
    known: Known | None = None,
) -> tuple[Span, ...]:
    """Return a job's window under one cover sheet at each platen temperature.

    By what is known after the book's statements and the job's sightings, or what is given as known.
    """
    (windows,) = spans_under(
        book, job, (cover,), platens_c, platen_spread_k=platen_spread_k, guard_k=guard_k, known=known
    )
    return windows


def spans_under(
    book: Book,
    job: Job,
    covers: Sequence[str | None],
    platens_c: Sequence[float],
    *,
    platen_spread_k: float,
    guard_k: float,
    known: Known | None = None,
) -> list[tuple[Span, ...]]:
    """Return a job's windows under several cover sheets, which are computed together."""
    known = known or known_for(book, job.sightings)
    solved.solve(book, [(job, cover) for cover in covers])
    bonds = bonds_within(book, job, covers, platens_c, platen_spread_k=platen_spread_k, known=known)
    heat = layers_under_covers(
        book, job, covers, platens_c, platen_spread_k=platen_spread_k, guard_k=guard_k, known=known
    )
    return [
        tuple(
            _span(
                names,
                BondDwells(*(dwells[at] for dwells in bond)),
                LayerDwells(layers.nominal_s[:, at], layers.worst_s[:, at]),
                needed_s,
                unharmed_s=float(unharmed_s[at]),
            )
            for at in range(len(platens_c))
        )
        for (bond, needed_s, unharmed_s), (names, layers) in zip(bonds, heat, strict=True)
    ]


def _span(
    names: Sequence[str], bond: BondDwells, layers: LayerDwells, needed_s: float, *, unharmed_s: float = math.inf
) -> Span:
    """Return the window at one platen temperature."""
    first, weakest = int(np.argmin(layers.nominal_s)), int(np.argmin(layers.worst_s))
    longest_s = min(float(layers.nominal_s[first]), float(bond.harmed_s), LONGEST_DWELL_S)
    ended_by: End = "cap"
    if layers.nominal_s[first] <= longest_s:
        ended_by = "layer"
    elif bond.harmed_s <= longest_s:
        ended_by = "film"
    layer_s = float(layers.worst_s[weakest])
    sure_to_s = min(longest_s, layer_s, unharmed_s)
    return Span(
        shortest_s=float(bond.shortest_s),
        longest_s=longest_s,
        sure_from_s=float(bond.sure_s),
        sure_to_s=sure_to_s,
        ended_by=ended_by,
        ended_in=names[first] if ended_by == "layer" else None,
        unsure_in=names[weakest] if layer_s == sure_to_s < longest_s else None,
        needed_s=needed_s,
        published_s=float(bond.longest_s),
    )


def narrowest(windows: Sequence[Span]) -> Span:
    """Return the window that all of some windows have in common."""
    end = min(windows, key=lambda span: span.longest_s)
    unsure = min(windows, key=lambda span: span.sure_to_s)
    return Span(
        shortest_s=max(span.shortest_s for span in windows),
        longest_s=end.longest_s,
        sure_from_s=max(span.sure_from_s for span in windows),
        sure_to_s=unsure.sure_to_s,
        ended_by=end.ended_by,
        ended_in=end.ended_in,
        unsure_in=unsure.unsure_in,
        needed_s=end.needed_s,
        published_s=min(span.published_s for span in windows),
    )


def candidates(
    book: Book,
    jobs: Sequence[Job],
    covers: Sequence[str | None],
    platens_c: Sequence[float],
    *,
    pressure: PressureLevel,
    press: Press,
    guard_k: float,
) -> list[Candidate]:
    """Return every cover and temperature with its window.

    Args:
        book: the shop book.
        jobs: the stacks that one setting has to suit: one, or all that a tongue label allows.
        covers: ids of the cover sheets to consider; None: none.
        platens_c: platen temperatures [degC] to consider.
        pressure: the level that the jobs are pressed with.
        press: the press.
        guard_k: distance [K] to keep from every limit.
    """
    by_job = [
        spans_under(book, job, covers, platens_c, platen_spread_k=press.platen_spread_k, guard_k=guard_k)
        for job in jobs
    ]
    options = []
    for cover, by_cover in zip(covers, zip(*by_job, strict=True), strict=True):
        for at, platen_c in enumerate(platens_c):
            span = narrowest([windows[at] for windows in by_cover])
            dwell = choose_dwell(span.shortest_s, span.longest_s, span.sure_from_s, span.sure_to_s, press.step_s)
            options.append(Candidate(cover, platen_c, pressure, span, dwell))
    return options


def best_first(book: Book, film: Film, options: Sequence[Candidate]) -> list[Candidate]:
    """Return candidates for a film, the best first.

    The best has a sure dwell; among those, the film's published pressure; then the bench's own cover sheet; then an
    ample sure window; then the temperature nearest to the film's published one; then the shorter dwell. Without a sure
    dwell, the one least outside.
    """
    middle_c = published(film).platen_c

    def rank(candidate: Candidate) -> tuple[float, ...]:
        width = sureness(candidate)
        other = (float(candidate.pressure != film.setting.pressure), float(candidate.cover != book.bench.cover))
        away = abs(candidate.platen_c - middle_c)
        return (
            (0.0, *other, -min(width, _AMPLE), away, candidate.dwell_s or 0.0)
            if width >= 0.0
            else (1.0, -width, *other, away)
        )

    return sorted(options, key=rank)


def sureness(candidate: Candidate) -> float:
    """Return how wide a candidate's sure window is, as a logarithm.

    Negative: how far its dwell is outside of it, or, without a dwell, how far the window is from being one.
    """
    span = candidate.span
    if candidate.dwell_s is None:
        return -_NO_DWELL_PENALTY - math.log(min(span.shortest_s, _NEVER_S) / max(span.longest_s, _AT_ONCE_S))
    if span.sure_from_s <= candidate.dwell_s <= span.sure_to_s:
        return math.log(span.sure_to_s / span.sure_from_s)
    late = math.log(min(span.sure_from_s, _NEVER_S) / candidate.dwell_s)
    return -max(late, math.log(candidate.dwell_s / max(span.sure_to_s, _AT_ONCE_S)))
