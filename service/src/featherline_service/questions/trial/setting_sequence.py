"""A ladder of settings for a shoe whose upper is one of several: from what surely harms none to what bonds on all.

The settings form a path on which every layer only gets hotter: at one dwell from the press's coolest temperature up to
the film's, then at the film's temperature from the shortest dwell that is right for one of the uppers to the longest.
No rung passes what an upper that is still possible stands as the book has it. What is seen after a rung rules uppers
out: without a bond those that even at the worst case would have one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline.wire import recipes as wire
from featherline.wire.records import Press, Upper
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import Belief, mean_of
from featherline_service.heat.pressing import TIMES_S
from featherline_service.heat.variation import job_doses, needed_doses, published_doses
from featherline_service.heat.window import fine_place
from featherline_service.heat.worst_case import peak_bands
from featherline_service.questions.recipe.evidence.frames import FramedHeating, bonding_of, heatings_of
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.outcomes.bad_outcomes import harm_beliefs
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.windows import Candidate, candidates, shortest_layer_dwells, spans, spread_of

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEAST_DWELL_S: Final = 5.0
"""[s] A hand cannot close, time and open a press in less and do it again the same (common practice, no source)."""
_ALIKE: Final = 1.05
"""[-] A hand that opens the press by a clock is off by as much of half a minute (from memory)."""
_ROUNDING: Final = 1e-9


class TrialSetting(NamedTuple):
    """A platen temperature [degC] and a dwell [s]."""

    platen_c: float
    dwell_s: float


class Goal(NamedTuple):
    """The setting that a ladder climbs to, which suits every upper, and the windows of those that take the film."""

    cover: str
    platen_c: float
    dwell_s: float
    windows: dict[str, Candidate]


class Forecast(NamedTuple):
    """What each setting of a path does to a shoe of one upper, ``(settings,)``.

    `sure`: no layer of the shoe passes its limit even at the worst case; `likely`: none does as the book has it.
    `kept`: film, carrier, cover sheet and pad are within their limits; so is the film's dose, where it bonds and
    its record states a harm.
    `margin_k` is the distance to its limit of the layer that comes nearest to it; that layer's `layer`, `peak_c` and
    `limit_c` are given, and `worst_k` is the smallest margin at the worst case. `share` is the bond line's dose over
    what the film needs.
    """

    upper: Upper
    bonds: bool
    sure: Flags
    likely: Flags
    kept: Flags
    layer: tuple[str, ...]
    peak_c: Floats
    limit_c: Floats
    margin_k: Floats
    worst_k: Floats
    share: Floats


class Step(NamedTuple):
    """A rung: its index on the path, the uppers still possible, and of them those that may and those that must bond."""

    at: int
    possible: tuple[str, ...]
    may_bond: frozenset[str]
    must_bond: frozenset[str]


class Ladder(NamedTuple):
    """A ladder, or why there is none: the upper that forbids even its first setting.

    `blocked` is the upper for which a limit, of the film or its own, ends the ladder before its path does. `reaches` is
    whether a rung comes to a setting that is right for an upper.
    """

    goal: Goal
    path: tuple[TrialSetting, ...]
    forecasts: dict[str, Forecast]
    steps: tuple[Step, ...]
    unsafe: str | None
    blocked: str | None
    reaches: bool


def find_goal(book: Book, jobs: Sequence[Job], setting: wire.Setting, press: Press) -> Goal:
    """Return the goal of a ladder to a setting that suits all that the shoe may be.

    Args:
        book: The shop book.
        jobs: The stacks that the shoe may be, each with its upper's id in `upper.id`.
        setting: A setting that bonds the film to each that it bonds to, and harms none of them.
        press: The press.
    """
    assert setting.cover is not None  # noqa: S101 - no shoe is pressed without a cover sheet
    film, windows = book.films[jobs[0].film], {}
    for job in jobs:
        if job.upper.surface in film.bonds_to:
            (windows[job.upper.id],) = candidates(
                book,
                [job],
                (setting.cover,),
                (setting.temperature_c,),
                pressure=setting.pressure,
                press=press,
                guard_k=0.0,
            )
    return Goal(setting.cover, setting.temperature_c, setting.dwell_s, windows)


class _Way(NamedTuple):
    """A path with its forecasts, to choose rungs from. `stops` are the indices of settings that suit an upper."""

    book: Book
    press: Press
    goal: Goal
    jobs: dict[str, Job]
    path: tuple[TrialSetting, ...]
    forecasts: dict[str, Forecast]
    stops: tuple[int, ...]


def climb(book: Book, jobs: Sequence[Job], goal: Goal, platens_c: Sequence[float], press: Press) -> Ladder:
    """Return the ladder to a goal.

    Args:
        book: The shop book.
        jobs: The stacks that the shoe may be.
        goal: What to climb to.
        platens_c: Platen temperatures [degC] that the press can be set to, up to the goal's, rising.
        press: The press.
    """
    stops_s = _stops(goal, press.step_s)
    path = _path(platens_c, stops_s, press.step_s)
    forecasts = {job.upper.id: _forecast(book, job, goal.cover, path, press) for job in jobs}
    stops = tuple(
        at for at, setting in enumerate(path) if setting.platen_c == goal.platen_c and setting.dwell_s in stops_s
    )
    weakest = min(forecasts.values(), key=lambda forecast: (bool(forecast.sure[0]), forecast.worst_k[0]))
    ladder = Ladder(goal, path, forecasts, (), unsafe=None, blocked=None, reaches=False)
    if not weakest.sure[0]:
        return ladder._replace(unsafe=weakest.upper.id)
    way = _Way(book, press, goal, {job.upper.id: job for job in jobs}, path, forecasts, stops)
    steps, blocked = _steps(way)
    return ladder._replace(steps=steps, blocked=blocked, reaches=any(step.at in stops for step in steps))


def _stops(goal: Goal, step_s: float) -> list[float]:
    """Return the dwells [s], rising, to be tried at the goal's temperature.

    The goal's, and for each upper the one to set, and the first that is sure to bond, if its window has one. Of two
    that a hand can hardly tell apart the longer serves both, where no window ends before it.
    """
    windows = [window for window in goal.windows.values() if window.dwell_s is not None]
    dwells = {goal.dwell_s, *(window.dwell_s or 0.0 for window in windows)}
    for window in windows:
        if not math.isfinite(window.span.sure_from_s):
            continue
        last = math.floor(window.span.longest_s / step_s + _ROUNDING)
        sure = math.ceil(min(window.span.sure_from_s, window.span.longest_s) / step_s - _ROUNDING)
        dwells.add(max(window.dwell_s or 0.0, step_s * min(sure, last)))
    stops: list[float] = []
    for dwell_s in sorted(dwells):
        ends = min(window.span.longest_s for window in windows if window.span.longest_s >= stops[-1]) if stops else 0.0
        if stops and dwell_s <= min(_ALIKE * stops[-1], ends):
            stops.pop()
        stops.append(dwell_s)
    return stops


def _path(platens_c: Sequence[float], stops_s: Sequence[float], step_s: float) -> tuple[TrialSetting, ...]:
    """Return settings that only rise: a longer dwell at the coolest temperature, hotter, then longer at the hottest."""
    shortest, longest = stops_s[0], stops_s[-1]
    least = step_s * math.ceil(min(LEAST_DWELL_S, shortest) / step_s)
    ramp = np.arange(least, shortest, step_s).tolist()
    beyond = np.arange(shortest + step_s, longest + 0.5 * step_s, step_s).tolist()
    return (
        *(TrialSetting(platens_c[0], dwell_s) for dwell_s in ramp),
        *(TrialSetting(platen_c, shortest) for platen_c in platens_c),
        *(TrialSetting(platens_c[-1], dwell_s) for dwell_s in beyond),
    )


def _steps(way: _Way) -> tuple[tuple[Step, ...], str | None]:
    """Return the rungs, and the upper for which a limit ends the ladder early, if there is one."""
    possible = tuple(way.forecasts)
    at = min(way.stops[0], *(_last(forecast.sure) for forecast in way.forecasts.values()))
    steps: list[Step] = []
    while True:
        step = _step(way, at, possible)
        steps.append(step)
        possible = tuple(name for name in possible if name not in step.must_bond)
        if at == len(way.path) - 1 or not any(way.forecasts[name].bonds for name in possible):
            return tuple(steps), None
        kept = {name: _last(way.forecasts[name].kept & way.forecasts[name].likely) for name in possible}
        first = min(kept, key=kept.__getitem__)
        if kept[first] <= at:
            return tuple(steps), first
        # No further than the next setting that is right for an upper.
        at = min(next((stop for stop in way.stops if stop > at), len(way.path) - 1), kept[first])


def _step(way: _Way, at: int, possible: tuple[str, ...]) -> Step:
    """Return a rung with the uppers that may and that must bond there.

    A bond is possible from the dwell at which it is there at the best case, which is taken to be as far below the
    nominal one as the worst case is above it, in proportion.
    """
    setting = way.path[at]
    may, must = set(), set()
    for name in possible:
        forecast = way.forecasts[name]
        if not forecast.bonds:
            continue
        span = spans(
            way.book,
            way.jobs[name],
            way.goal.cover,
            (setting.platen_c,),
            platen_spread_k=way.press.platen_spread_k,
            guard_k=0.0,
        )[0]
        if setting.dwell_s >= span.sure_from_s:
            must.add(name)
        if setting.dwell_s * span.sure_from_s >= span.shortest_s**2 and math.isfinite(span.shortest_s):
            may.add(name)
    return Step(at, possible, frozenset(may), frozenset(must))


def _last(flags: Flags) -> int:
    """Return the index of the last flag before the first that is not set; -1 where the first is not."""
    return int(np.argmin(flags)) - 1 if not flags.all() else flags.size - 1


class _Along(NamedTuple):
    """A path as arrays: platen temperatures [degC], each once; which of them each setting has, and its dwell [s]."""

    platens_c: Floats
    which: NDArray[np.intp]
    dwells_s: Floats


def _forecast(book: Book, job: Job, cover: str, path: Sequence[TrialSetting], press: Press) -> Forecast:
    platens_c, which = np.unique([setting.platen_c for setting in path], return_inverse=True)
    along = _Along(platens_c, which.astype(np.intp), np.array([setting.dwell_s for setting in path]))
    known = known_for(book, job.sightings)
    around = heatings_of(book, job, cover, known.readings, press.platen_spread_k)
    beliefs = harm_beliefs(book, known, job)
    parts = [_layers(framed, along, beliefs) for framed in around]
    layers = _Layers(*(np.concatenate(column) for column in zip(*parts, strict=True)))
    names = np.array([name for framed in around for name in framed.stack.names])
    shoe = np.array([role == "upper" for framed in around for role in framed.stack.roles])
    limit_c = np.concatenate([framed.stack.limits.peak_c for framed in around])
    margin_k = limit_c[shoe, None] - layers.peak_c[shoe]
    nearest, every = np.argmin(margin_k, axis=0), np.arange(along.dwells_s.size)
    share, harmed_share = _bond_shares(book, job, cover, along)
    bonds = job.upper.surface in book.films[job.film].bonds_to
    return Forecast(
        upper=job.upper,
        bonds=bonds,
        sure=layers.sure[shoe].all(axis=0),
        likely=layers.likely[shoe].all(axis=0),
        kept=layers.likely[~shoe].all(axis=0) & ((share <= harmed_share) | (not bonds)),
        layer=tuple(names[shoe][nearest].tolist()),
        peak_c=layers.peak_c[shoe][nearest, every],
        limit_c=limit_c[shoe][nearest],
        margin_k=margin_k[nearest, every],
        worst_k=(margin_k - layers.spread_k[shoe]).min(axis=0),
        share=share,
    )


class _Layers(NamedTuple):
    """Layers of a stack along a path, ``(layers, settings)``: peak [degC], its spread and its limit's together [K]."""

    peak_c: Floats
    spread_k: Floats
    likely: Flags
    sure: Flags


def _layers(framed: FramedHeating, along: _Along, beliefs: Sequence[Belief]) -> _Layers:
    parameters, _, heating = framed
    (dwells,) = shortest_layer_dwells([framed], along.platens_c.tolist(), beliefs, guard_k=0.0)
    low, share = fine_place(along.dwells_s)
    rise_k, spread_k = (
        (1.0 - share) * group[:, along.which, low] + share * group[:, along.which, low + 1]
        for group in peak_bands(heating, spread_of(beliefs[0], parameters), along.platens_c)
    )
    return _Layers(
        heating.room_c + rise_k,
        spread_k,
        along.dwells_s <= dwells.nominal_s[:, along.which],
        along.dwells_s <= dwells.worst_s[:, along.which],
    )


def _bond_shares(book: Book, job: Job, cover: str, along: _Along) -> tuple[Floats, float]:
    """Return the bond line's dose over what the film needs, ``(settings,)``, and from what on it is harmed."""
    known = known_for(book, job.sightings)
    parameters, bonding = bonding_of(book, job, cover, known.readings, 0.0)
    mean = mean_of(known.bond, parameters)[None]
    doses = job_doses(bonding, mean, along.platens_c)[0]
    gathered = [
        np.interp(dwell_s, TIMES_S, doses[row]) for row, dwell_s in zip(along.which, along.dwells_s, strict=True)
    ]
    needed_s, harm_s = float(needed_doses(bonding, mean)[0]), bonding.published.harmed_s
    harmed_s = float(published_doses(bonding, mean, harm_s)[0]) if math.isfinite(harm_s) else math.inf
    return np.array(gathered) / needed_s, harmed_s / needed_s
