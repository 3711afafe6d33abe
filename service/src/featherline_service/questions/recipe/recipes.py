"""The question "with which settings?": a film, an upper and a press in; the setting, its window and the steps out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from featherline.wire.recipes import (
    Alternative,
    Band,
    Bond,
    Bound,
    LayerPeak,
    PeelPlan,
    Recipe,
    RecipeRequest,
    Setting,
    Units,
    Window,
)
from featherline.wire.records import Film, Press
from featherline.wire.verdicts import Caution, Reason
from featherline_service.book.shop_book import Book
from featherline_service.book.workshop import by_workshop
from featherline_service.evidence.beliefs import mean_of
from featherline_service.heat.conduction import Floats, Modes, Stack, modes, step
from featherline_service.heat.cooling import BLOCK_W_M2K, LONGEST_WAIT_S, cooling_time, temperature_after
from featherline_service.heat.pressing import LONGEST_DWELL_S, TIMES_S, PressingResponse, bond_node
from featherline_service.heat.variation import job_doses
from featherline_service.messages.values import said
from featherline_service.quantities import plain_seconds, temperature
from featherline_service.questions.recipe.cautions import cautions
from featherline_service.questions.recipe.evidence.account import Pressing, account
from featherline_service.questions.recipe.evidence.flips import flips
from featherline_service.questions.recipe.evidence.frames import bonding_of, excess_k, published
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.requests import read_sightings
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.evidence.solved import followed
from featherline_service.questions.recipe.layer_peaks import layer_peaks, merged
from featherline_service.questions.recipe.recipe_help import helps
from featherline_service.questions.recipe.recipe_reasons import (
    UNSURE,
    no_window,
    of_heat,
    of_shoe,
    of_surface,
    out_of_range,
    unnarrowed,
)
from featherline_service.questions.recipe.recipe_settings import best_ranked, jobs_of, ranked, temperatures_of
from featherline_service.questions.recipe.recipe_tasks import RecipeTask, read_task
from featherline_service.questions.recipe.setting_visibility import shown
from featherline_service.questions.recipe.stacks import Pile
from featherline_service.questions.recipe.steps import steps
from featherline_service.questions.recipe.windows import Candidate
from featherline_service.questions.shoes.presses import setting_of
from featherline_service.questions.verdicts import worst, worst_first
from featherline_service.runtime.cache import cached

_MOST_ALTERNATIVES: Final = 4


class Options(NamedTuple):
    """The stacks that one setting has to suit, and every setting to choose from, the best first.

    There is no setting where the film does not bond to the upper, or the press cannot be set for it.
    """

    jobs: tuple[Job, ...]
    settings: tuple[Candidate, ...]


def resolve(book: Book, request: RecipeRequest) -> Recipe:
    """Return the recipe for a request.

    Raises:
        RefusedError: A record is not in the book, or a value cannot be: every fault with its pointer.
    """
    task, _ = task_of(book, request)
    recipe = recipe_of(book, task)
    return shown(recipe, recipe.verdict)


def task_of(book: Book, request: RecipeRequest) -> tuple[RecipeTask, str]:
    """Return the task of a request, its observations too, and the name of the panel or stack that is pressed on.

    Raises:
        RefusedError: As `resolve`.
    """
    task, name = read_task(book, request)
    return task._replace(sightings=read_sightings(book, request.observations, request)), name


def options_of(book: Book, task: RecipeTask) -> Options:
    """Return the stacks of a task and the settings that its recipe is chosen from."""
    settings = ranked(book, task)
    level = settings[0].pressure if settings else book.films[task.film].setting.pressure
    return Options(tuple(jobs_of(book, task, level)), settings)


def layers_at(book: Book, task: RecipeTask, dwell_s: float) -> tuple[LayerPeak, ...]:
    """Return how hot every layer gets at a given dwell, at the cover and temperature that the recipe chooses.

    An empty tuple where there is no setting at all.
    """
    best = best_ranked(book, task)
    if best is None:
        return ()
    return merged([layer_peaks(book, task, job, best, dwell_s) for job in jobs_of(book, task, best.pressure)])


@by_workshop
@cached
def recipe_of(book: Book, task: RecipeTask) -> Recipe:
    """Return how to press a film, as computed; `shown` makes of it what an answer may show."""
    film, press = book.films[task.film], book.presses[task.press]
    reasons = list(of_surface(book, task))
    if not temperatures_of(film, press, task):
        reasons.append(out_of_range(film, press, task.units))
    settings = ranked(book, task)
    best = settings[0] if settings else None
    if best is not None and best.dwell_s is None:
        reasons.append(no_window(book, task, best))
    reasons += of_shoe(book, task)
    if best is None or best.dwell_s is None:
        narrow = unnarrowed(book, task)
        reasons += [] if narrow is None else [narrow]
        return _declined(book, task, reasons)
    reasons += flips(book, task, settings)
    return _pressed(book, task, reasons, best, dwell_s=best.dwell_s, others=settings[1:])


def _declined(book: Book, task: RecipeTask, reasons: Sequence[Reason]) -> Recipe:
    return Recipe(
        verdict="decline",
        reasons=worst_first(reasons),
        film=task.film,
        press=task.press,
        setting=None,
        window=None,
        bond=None,
        layers=(),
        peel=None,
        alternatives=(),
        help=helps(book, task),
        steps=(),
        cautions=_cautions(book, task),
    )


def _cautions(book: Book, task: RecipeTask) -> tuple[Caution, ...]:
    film = book.films[task.film]
    uppers = [upper for job in jobs_of(book, task, film.setting.pressure) for upper in (job.upper, *job.beside)]
    layers = [*film.layers, *(layer for upper in uppers for layer in upper.layers)]
    return cautions(
        book,
        film=film,
        materials=frozenset((film.carrier.material, *(layer.material for layer in layers))),
        shoe=None if task.shoe is None else book.shoes[task.shoe],
    )


def _pressed(
    book: Book, task: RecipeTask, reasons: list[Reason], best: Candidate, *, dwell_s: float, others: Sequence[Candidate]
) -> Recipe:
    film, press, units = book.films[task.film], book.presses[task.press], task.units
    jobs = jobs_of(book, task, best.pressure)
    setting = _setting(press, best, dwell_s)
    layers = merged([layer_peaks(book, task, job, best, dwell_s) for job in jobs])
    reasons = [*of_heat(book, task, best, dwell_s, layers), *reasons]
    verdict = worst(reason.verdict for reason in reasons)
    peel = max((_peel(book, job, best, dwell_s) for job in jobs), key=lambda plan: plan.wait_s)
    bonds = [_bond(book, job, best, dwell_s) for job in jobs]
    otherwise = worst(("ready", *(reason.verdict for reason in reasons if reason.code not in UNSURE)))
    pressings = [Pressing(job, best, dwell_s, press.platen_spread_k, task.guard_k) for job in jobs]
    return Recipe(
        verdict=verdict,
        reasons=worst_first(reasons),
        film=task.film,
        press=task.press,
        setting=setting,
        window=_window(film, best, units),
        bond=min(bonds, key=lambda bond: bond.dose_s),
        layers=layers,
        peel=peel,
        alternatives=tuple(
            Alternative(
                setting=_setting(press, other, other.dwell_s),
                window=Band(shortest_s=other.span.shortest_s, longest_s=other.span.longest_s),
            )
            for other in others[:_MOST_ALTERNATIVES]
            if other.dwell_s is not None
        ),
        help=(),
        steps=steps(
            film,
            press,
            book.platens[task.platen],
            None if best.cover is None else book.covers[best.cover],
            setting,
            peel,
            trial=verdict == "trial",
            units=units,
            face=task.face,
        ),
        cautions=_cautions(book, task),
        evidence=account(book, pressings, otherwise),
    )


def _setting(press: Press, chosen: Candidate, dwell_s: float) -> Setting:
    return setting_of(press, chosen.pressure, chosen.cover, platen_c=chosen.platen_c, dwell_s=dwell_s)


def _window(film: Film, chosen: Candidate, units: Units) -> Window:
    span = chosen.span
    sure = span.sure_from_s <= span.sure_to_s
    return Window(
        shortest_s=span.shortest_s,
        longest_s=span.longest_s,
        worst_case=Band(
            shortest_s=span.sure_from_s if math.isfinite(span.sure_from_s) else None,
            longest_s=span.sure_to_s if sure or span.sure_to_s > 0.0 else None,
        ),
        published_s=span.published_s if math.isfinite(span.published_s) else None,
        bound_by=(
            Bound(
                end="shortest",
                by="bond",
                layer=None,
                **said(
                    "bound.bond",
                    dwell=plain_seconds(film.setting.shortest_s),
                    temperature=temperature(published(film).platen_c, units),
                )._asdict(),
            ),
            _longest_bound(film, chosen, units),
        ),
    )


def _longest_bound(film: Film, chosen: Candidate, units: Units) -> Bound:
    span = chosen.span
    harm = film.overpressing
    if span.ended_by == "film" and harm is not None:
        words = said(
            "bound.film",
            harm=harm.harm,
            dwell=plain_seconds(harm.longest_s),
            temperature=temperature(published(film).platen_c, units),
        )
    elif span.ended_by == "layer":
        words = said("bound.layer", layer=span.ended_in)
    else:
        words = said("bound.cap", dwell=plain_seconds(LONGEST_DWELL_S))
    return Bound(end="longest", by=span.ended_by, layer=span.ended_in, **words._asdict())


def _bond(book: Book, job: Job, chosen: Candidate, dwell_s: float) -> Bond:
    """Return the dose that a dwell gives the bond line, where what is known puts it, and the one that is needed."""
    room_c, known = book.bench.room_c, known_for(book, job.sightings)
    parameters, bonding = bonding_of(book, job, chosen.cover, known.readings, 0.0)
    mean = mean_of(known.bond, parameters)[None]
    gathered = job_doses(bonding, mean, np.array([chosen.platen_c]))[0, 0]
    temperature = room_c + excess_k(book, job, known.readings, chosen.platen_c) * bonding.job.share
    return Bond(
        dose_s=float(np.interp(dwell_s, TIMES_S, gathered)),
        needed_s=chosen.span.needed_s,
        peak_c=float(np.interp(dwell_s, TIMES_S, temperature)),
    )


def _peel(book: Book, job: Job, chosen: Candidate, dwell_s: float) -> PeelPlan:
    """Return when to peel: the cover sheet off on opening, the shoe left on its platen, in air or under a block."""
    film, room_c = book.films[job.film], book.bench.room_c
    stack, pressing = followed(book, job, chosen.cover)
    over_k = excess_k(book, job, known_for(book, job.sightings).readings, chosen.platen_c)

    def waited(cooling: Modes, start: Floats, node: int, below_c: float) -> tuple[float, float]:
        start_c = room_c + over_k * start
        wait_s = min(cooling_time(cooling, start_c, node, below_c, room_c), LONGEST_WAIT_S)
        return wait_s, temperature_after(cooling, start_c, node, wait_s, room_c)

    cooling, start, node = uncovered(stack, pressing, dwell_s)
    if film.peel.hottest_c is None:
        at_once_c = room_c + over_k * float(start[node])
        return PeelPlan(when=film.peel.when, wait_s=0.0, at_c=at_once_c, block_s=None)
    wait_s, at_c = waited(cooling, start, node, film.peel.hottest_c)
    block_s = None
    if wait_s > 0.0:
        block_s, _ = waited(*uncovered(stack, pressing, dwell_s, onto_w_m2k=BLOCK_W_M2K), film.peel.hottest_c)
    return PeelPlan(when=film.peel.when, wait_s=wait_s, at_c=at_c, block_s=block_s)


def uncovered(
    stack: Pile, pressing: PressingResponse, dwell_s: float, *, onto_w_m2k: float | None = None
) -> tuple[Modes, Floats, int]:
    """Return the open stack without its cover sheet: its modes, its nodes' shares at opening, and the bond line's node.

    `onto_w_m2k` is the conductance from the carrier upwards; without it, that of the room's air.
    """
    plan, bare = pressing.pressed.layout, stack.roles.index("carrier")
    cooling = modes(without_cover(stack, onto_w_m2k=onto_w_m2k), plan.orders[bare:])
    start = pressing.pressed.shape @ step(pressing.pressed, [dwell_s])
    return cooling, start[plan.top(bare) :, 0], bond_node(cooling, stack.upper - bare)


def without_cover(stack: Pile, *, onto_w_m2k: float | None = None) -> Stack:
    """Return the open stack without its cover sheet, down from the carrier. `onto_w_m2k` as of `uncovered`."""
    opened, bare = stack.opened, stack.roles.index("carrier")
    conductance = opened.conductance_w_m2k[bare:].copy()
    conductance[0] = opened.conductance_w_m2k[0] if onto_w_m2k is None else onto_w_m2k
    return Stack(opened.thickness_m[bare:], opened.conductivity_w_mk[bare:], opened.capacity_j_m3k[bare:], conductance)
