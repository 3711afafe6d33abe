"""The question "how is a shoe never pressed before tried safely first?": a computed plan, or why there is none."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final, Literal, NamedTuple

from msgspec.structs import replace

from featherline.wire.recipes import Recipe, RecipeRequest, Setting, ShoePanel, Units
from featherline.wire.records import Film, Press, Upper
from featherline.wire.shoes import Face
from featherline.wire.trials import (
    NextPressing,
    Outcome,
    Predicted,
    Rung,
    Trial,
    TrialCandidate,
    TrialPlace,
    TrialRequest,
)
from featherline.wire.verdicts import Message, Reason
from featherline_service.book.shop_book import Book
from featherline_service.book.workshop import by_workshop
from featherline_service.messages.values import messages, said
from featherline_service.quantities import temperature
from featherline_service.questions.checks import Checks, Places
from featherline_service.questions.reasons import reason
from featherline_service.questions.recipe import recipes
from featherline_service.questions.recipe.cautions import cautions
from featherline_service.questions.recipe.evidence.requests import read_sightings
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.recipe_reasons import may_be_pressed
from featherline_service.questions.recipe.recipe_settings import settable
from featherline_service.questions.recipe.recipe_tasks import RecipeTask, on_panel, read_panel
from featherline_service.questions.shoes.makers_consents import without_consent
from featherline_service.questions.shoes.presses import find_press, setting_of
from featherline_service.questions.shoes.shoes import Shoe
from featherline_service.questions.trial import trial_words
from featherline_service.questions.trial.next_pressing import by_recipe, by_rung
from featherline_service.questions.trial.setting_sequence import Forecast, Ladder, Step, climb, find_goal
from featherline_service.questions.verdicts import worst, worst_first
from featherline_service.runtime.cache import cached

_ROUNDING_K: Final = 1e-4
_HIDDEN: Final[tuple[Face, ...]] = ("tongue", "inner", "heel", "toe", "outer")
"""The faces of a shoe, those that are seen least first (common practice, no source)."""
_PLACES: Final = Places(parts={"/onto": ""})
"""Where in the request for a trial the parts of one for a recipe are."""


class TrialTask(NamedTuple):
    """All that a trial depends on beside the book: what is to be pressed, on which panel of which shoe, and whose."""

    recipe: RecipeTask
    shoe: Shoe
    panel: str
    owner: Literal["customer", "shop"]


class _Trial(NamedTuple):
    """A task with its records, the stacks that the shoe may be, and its recipe."""

    task: TrialTask
    film: Film
    press: Press
    jobs: tuple[Job, ...]
    recipe: Recipe

    @property
    def units(self) -> Units:
        return self.task.recipe.units


def plan(book: Book, request: TrialRequest) -> Trial:
    """Return the trial for a request.

    Raises:
        RefusedError: A record is not in the book, or a value cannot be: every fault with its pointer.
    """
    checks = Checks()
    film = checks.record(book.films, "film", request.film, "/film")
    press = find_press(book, request.press, checks)
    shoe, panel = read_panel(book, ShoePanel(shoe=request.shoe, panel=request.panel), checks)
    checks.settle()
    if film is None or press is None or shoe is None or panel is None:
        raise AssertionError("What is missing has been noted as a fault, and faults have been raised")
    task = on_panel(book, film, shoe, panel, press, units=request.units)
    if request.observations:
        onto = ShoePanel(shoe=request.shoe, panel=request.panel)
        of = RecipeRequest(film=film.id, onto=onto, press=press.id)
        task = task._replace(sightings=read_sightings(book, request.observations, of))
    return trial_of(book, TrialTask(task, shoe, panel.id, request.owner))


@by_workshop
@cached
def trial_of(book: Book, task: TrialTask) -> Trial:
    """Return where and how to try a film on a shoe: a ladder of settings, what to look at, and what it says."""
    film, press = book.films[task.recipe.film], book.presses[task.recipe.press]
    recipe_task = task.recipe._replace(pressure=film.setting.pressure)
    jobs, _ = recipes.options_of(book, recipe_task)
    trial = _Trial(task, film, press, jobs, recipes.recipe_of(book, recipe_task))
    if not may_be_pressed(book, recipe_task):
        return _answer(book, trial, None, (without_consent("/shoe/makers_consent"),))
    if trial.recipe.setting is None:
        return _answer(book, trial, None, tuple(_no_setting(trial)))
    goal = find_goal(book, jobs, trial.recipe.setting, press)
    ladder = climb(book, jobs, goal, _up_to(trial, goal.platen_c), press)
    declined = tuple(_declined(trial, ladder)) or tuple(_nowhere(book, trial))
    return _answer(book, trial, ladder, declined or tuple(_reasons(trial, ladder)))


def _up_to(trial: _Trial, platen_c: float) -> list[float]:
    below = settable(trial.press, trial.press.coolest_c, platen_c, trial.units)
    return [*(platen for platen in below if platen < platen_c - _ROUNDING_K), platen_c]


def _no_setting(trial: _Trial) -> Iterator[Reason]:
    """Yield that no setting suits all that the shoe may be, why, and what would narrow that."""
    declined = [told for told in trial.recipe.reasons if told.verdict == "decline"]
    narrow = [told for told in declined if told.code == "shoe.unnarrowed"]
    why = next((told.sentence for told in declined if told not in narrow), "")
    uppers = [job.upper for job in trial.jobs]
    words = said("trial.no-setting", film=trial.film, press=trial.press, uppers=uppers, why=why or None)
    yield reason("trial.no-setting", "decline", "/film", words)
    for other in narrow:
        yield replace(other, subject=_PLACES.pointer(other.subject))


def _declined(trial: _Trial, ladder: Ladder) -> Iterator[Reason]:
    units = trial.units
    if ladder.unsafe is not None:
        forecast = ladder.forecasts[ladder.unsafe]
        yield reason(
            "trial.first-rung",
            "decline",
            forecast.layer[0],
            said(
                "trial.first-rung",
                press=trial.press,
                layer=forecast.layer[0],
                upper=forecast.upper,
                peak=temperature(float(forecast.peak_c[0]), units),
                limit=temperature(float(forecast.limit_c[0]), units),
            ),
            measure=round(float(forecast.worst_k[0]), 4),
            limit=0.0,
            unit="K",
        )
    elif not ladder.reaches:
        forecast = ladder.forecasts[ladder.blocked or next(iter(ladder.forecasts))]
        yield reason("trial.out-of-reach", "decline", "/film", said("trial.out-of-reach", upper=forecast.upper))


def _nowhere(book: Book, trial: _Trial) -> Iterator[Reason]:
    if not any(_places(book, trial)):
        yield reason("trial.no-place", "decline", "/panel", said("trial.no-place", press=trial.press))


def _reasons(trial: _Trial, ladder: Ladder) -> Iterator[Reason]:
    """Yield why the shoe is to be tried first, or the remark that it need not be."""
    # With several uppers the recipe's heat reasons are about one setting for all, which the ladder does not press.
    tried = [
        why
        for why in trial.recipe.reasons
        if why.verdict == "trial" and (len(trial.jobs) == 1 or not why.code.startswith("heat."))
    ]
    for why in tried:
        yield replace(why, subject=_PLACES.pointer(why.subject))
    if trial.recipe.verdict == "ready":
        yield reason("trial.not-needed", "ready", "/shoe", said("trial.not-needed"))
    elif not tried:
        uppers = [forecast.upper for forecast in ladder.forecasts.values()]
        yield reason("shoe.measured", "trial", "/shoe", said("shoe.measured.tried", uppers=uppers))


def _answer(book: Book, trial: _Trial, ladder: Ladder | None, reasons: tuple[Reason, ...]) -> Trial:
    verdict = worst(reason.verdict for reason in reasons)
    goes = ladder is not None and verdict != "decline"
    uppers = [job.upper for job in trial.jobs]
    rungs = tuple(_rungs(trial, ladder)) if ladder is not None and goes else ()
    owner, model = trial.task.owner, trial.task.shoe.model
    layers = [*trial.film.layers, *(layer for upper in uppers for layer in upper.layers)]
    before = messages(trial_words.before(owner, len(uppers))) if goes else ()
    stop = messages(trial_words.stop()) if goes else ()
    afterwards = messages(trial_words.afterwards(owner, known=model is not None)) if goes else ()
    return Trial(
        verdict=verdict,
        reasons=worst_first(reasons),
        film=trial.film.id,
        press=trial.press.id,
        candidates=tuple(_candidate(trial, upper, ladder) for upper in uppers),
        places=tuple(_places(book, trial)) if goes else (),
        before=_sentences(before),
        before_messages=before,
        rungs=rungs,
        looks=trial_words.looks(trial.film) if goes else (),
        stop=_sentences(stop),
        stop_messages=stop,
        afterwards=_sentences(afterwards),
        afterwards_messages=afterwards,
        cautions=cautions(
            book,
            film=trial.film,
            materials=frozenset((trial.film.carrier.material, *(layer.material for layer in layers))),
            shoe=model,
        ),
        next=_next(book, trial, rungs[0]) if rungs else None,
    )


def _sentences(words: Iterable[Message]) -> tuple[str, ...]:
    return tuple(each.sentence for each in words)


def _next(book: Book, trial: _Trial, first: Rung) -> NextPressing | None:
    task = trial.task.recipe
    if len(trial.jobs) == 1:
        return by_recipe(book, task, trial.jobs, trial.recipe)
    return by_rung(book, task, trial.jobs, first.setting, film=first.film)


def _candidate(trial: _Trial, upper: Upper, ladder: Ladder | None) -> TrialCandidate:
    window = ladder.goal.windows.get(upper.id) if ladder is not None else None
    setting = None
    if window is not None and window.dwell_s is not None:
        setting = _setting(trial, window.platen_c, window.dwell_s, window.cover)
    (tell,) = messages((trial_words.tell(upper.surface),))
    return TrialCandidate(
        upper=upper.id,
        name=upper.name,
        surface=upper.surface,
        tell=tell.sentence,
        tell_message=tell,
        setting=setting,
    )


def _setting(trial: _Trial, platen_c: float, dwell_s: float, cover: str | None) -> Setting:
    return setting_of(trial.press, trial.film.setting.pressure, cover, platen_c=platen_c, dwell_s=dwell_s)


def _places(book: Book, trial: _Trial) -> Iterator[TrialPlace]:
    """Yield where to try, the least visible first, the panel itself last: faces that the press reaches.

    Whether a heel collapses may not be known; one that does not is no place. On a shoe of the book, panels of the same
    upper alone: another says nothing of this one.
    """
    shoe, wanted = trial.task.shoe, trial.task.panel
    reached = {face for name in trial.press.platens for face in book.platens[name].faces}
    heel, sure = shoe.heel_collapses, shoe.model is not None
    panels = [
        (panel.id, panel.face) for panel in shoe.panels if not sure or panel.uppers[0].id == trial.jobs[0].upper.id
    ]
    panels = [(panel, face) for panel, face in panels if face in reached and (face != "heel" or heel is not False)]
    for panel, face in sorted(
        panels, key=lambda panel_and_face: (panel_and_face[0] == wanted, _HIDDEN.index(panel_and_face[1]))
    ):
        words = trial_words.place(face, itself=panel == wanted, same=sure or panel == wanted)
        yield TrialPlace(panel=panel, face=face, **words._asdict())


def _rungs(trial: _Trial, ladder: Ladder) -> Iterator[Rung]:
    for number, step in enumerate(ladder.steps):
        at = ladder.path[step.at]
        possible = {name: ladder.forecasts[name] for name in step.possible}
        last = number == len(ladder.steps) - 1
        yield Rung(
            setting=_setting(trial, at.platen_c, at.dwell_s, ladder.goal.cover),
            film=bool(step.may_bond),
            predicted=tuple(_predicted(forecast, step.at) for forecast in possible.values()),
            outcomes=tuple(_outcomes(ladder, step, possible, last=last)),
        )


def _predicted(forecast: Forecast, at: int) -> Predicted:
    return Predicted(
        upper=forecast.upper.id,
        bond_share=float(forecast.share[at]) if forecast.bonds else None,
        layer=forecast.layer[at],
        peak_c=float(forecast.peak_c[at]),
        limit_c=float(forecast.limit_c[at]),
        margin_k=float(forecast.margin_k[at]),
        worst_case_margin_k=float(forecast.worst_k[at]),
        heat="sure" if forecast.sure[at] else "likely" if forecast.likely[at] else "past",
    )


def _outcomes(ladder: Ladder, step: Step, possible: Mapping[str, Forecast], *, last: bool) -> Iterator[Outcome]:
    """Yield what may be seen after a rung and what it says; a bond where one may be."""
    at = step.at
    harmed = [name for name, forecast in possible.items() if not forecast.sure[at]]
    bonded = [name for name in possible if name in step.may_bond]
    without = [name for name in possible if name not in step.must_bond]
    uppers = {name: forecast.upper for name, forecast in possible.items()}
    if bonded:
        upper = _nearest(bonded, ladder, ladder.path[at].dwell_s)
        yield Outcome(
            seen="bond",
            leaves=tuple(bonded),
            then="use",
            upper=upper,
            **trial_words.bond([uppers[name] for name in bonded], None if upper is None else uppers[upper])._asdict(),
        )
    blocked = None if ladder.blocked is None else ladder.forecasts[ladder.blocked].upper
    onwards = bool(without) and not last
    yield Outcome(
        seen="nothing",
        leaves=tuple(without),
        then="next-rung" if onwards else "stop",
        upper=None if onwards else _weakest(without, possible, at),
        **trial_words.nothing([uppers[name] for name in without], onwards=onwards, blocked=blocked)._asdict(),
    )
    yield Outcome(
        seen="harm",
        leaves=tuple(harmed),
        then="stop",
        upper=_weakest(harmed, possible, at),
        **trial_words.harm([uppers[name] for name in harmed])._asdict(),
    )


def _nearest(left: Sequence[str], ladder: Ladder, dwell_s: float) -> str | None:
    """Return the upper whose own setting is nearest to the dwell that bonded, if one of them has a setting."""
    dwells = {name: window.dwell_s for name, window in ladder.goal.windows.items() if window.dwell_s is not None}
    return min((name for name in left if name in dwells), key=lambda name: abs(dwells[name] - dwell_s), default=None)


def _weakest(left: Sequence[str], possible: Mapping[str, Forecast], at: int) -> str | None:
    """Return the upper that stands the setting least."""
    return min(left, key=lambda name: float(possible[name].worst_k[at]), default=None)
