"""The question "how is a shoe never pressed before tried safely first?": a computed plan, or why there is none."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
from msgspec.structs import replace

from featherline.wire.recipes import Recipe, RecipeRequest, Setting, ShoePanel, Units
from featherline.wire.records import Film, Press, Upper
from featherline.wire.shoes import BookShoe, Face, MeasuredShoe
from featherline.wire.trials import Outcome, Predicted, Rung, Trial, TrialCandidate, TrialPlace, TrialRequest
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.quantities import celsius, fahrenheit, say_temperature
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.recipe import recipes
from featherline_service.questions.recipe.cautions import cautions
from featherline_service.questions.recipe.windows import Job, pressure_kpa
from featherline_service.questions.trial import trial_words
from featherline_service.questions.trial.setting_sequence import Foreseen, Ladder, Step, climb, find_goal
from featherline_service.runtime.cache import kept

_MOST_TEMPERATURES: Final = 5
"""Platen temperatures tried of a film's range, as for a recipe."""
_SAME_SCALE: Final = 1e-4
_HIDDEN: Final[tuple[Face, ...]] = ("tongue", "inner", "heel", "toe", "outer")
"""The faces of a shoe, those that are seen least first (common practice, no source)."""


class _Asked(NamedTuple):
    """A request with its records found."""

    request: TrialRequest
    film: Film
    press: Press
    jobs: tuple[Job, ...]
    recipe: Recipe

    @property
    def units(self) -> Units:
        return self.request.units


@kept
def plan(book: Book, request: TrialRequest) -> Trial:
    """Return where and how to try a film on a shoe: a ladder of settings, what to look at, and what it says.

    Args:
        book: The shop book.
        request: The question.

    Raises:
        RefusedError: A record is not in the book, or a value cannot be: every fault with its pointer.
    """
    asked = _understand(book, request)
    goal = find_goal(book, asked.jobs, _of_film(asked), asked.press) if _of_film(asked) else None
    if goal is None:
        return _trial(book, asked, None, (_no_setting(asked),))
    ladder = climb(book, asked.jobs, goal, _up_to(asked, goal.platen_c), asked.press)
    declined = tuple(_declined(asked, ladder)) or tuple(_nowhere(book, asked))
    return _trial(book, asked, ladder, declined or tuple(_reasons(asked, ladder)))


def _understand(book: Book, request: TrialRequest) -> _Asked:
    """Return a request with its records, by what a recipe is resolved from: the faults are the same."""
    film = book.films.get(request.film)
    question = RecipeRequest(
        film=request.film,
        onto=ShoePanel(shoe=request.shoe, panel=request.panel),
        press=request.press,
        pressure=film.setting.pressure if film is not None else None,
        units=request.units,
    )
    try:
        considered, recipe = recipes.considered(book, question), recipes.resolve(book, question)
    except RefusedError as error:
        raise RefusedError(
            tuple(replace(fault, pointer=fault.pointer.removeprefix("/onto")) for fault in error.faults)
        ) from error
    press = book.presses[request.press or book.bench.press]
    return _Asked(request, book.films[request.film], press, considered.jobs, recipe)


def _steps_of(asked: _Asked, low_c: float, high_c: float) -> list[float]:
    """Return the platen temperatures [degC] between two that the press can be set to, in the caller's scale."""
    press = asked.press
    if asked.units == "us":
        first, last = fahrenheit(low_c) / press.step_f, fahrenheit(high_c) / press.step_f
    else:
        first, last = low_c / press.step_c, high_c / press.step_c
    counts = range(int(np.ceil(first - _SAME_SCALE)), int(np.floor(last + _SAME_SCALE)) + 1)
    if asked.units == "us":
        return [celsius(f"{count * press.step_f:.6f} degF") for count in counts]
    return [count * press.step_c for count in counts]


def _of_film(asked: _Asked) -> list[float]:
    """Return platen temperatures [degC] of the film's range, its ends among them."""
    own, press = asked.film.setting, asked.press
    found = _steps_of(asked, max(own.coolest_c, press.coolest_c), min(own.hottest_c, press.hottest_c))
    if len(found) <= _MOST_TEMPERATURES:
        return found
    return [found[at] for at in np.linspace(0, len(found) - 1, _MOST_TEMPERATURES).round().astype(int).tolist()]


def _up_to(asked: _Asked, platen_c: float) -> list[float]:
    below = _steps_of(asked, asked.press.coolest_c, platen_c)
    return [*(each for each in below if each < platen_c - _SAME_SCALE), platen_c]


def _no_setting(asked: _Asked) -> Reason:
    names = ", ".join(job.upper.name for job in asked.jobs)
    why = next((reason.sentence for reason in asked.recipe.reasons if reason.verdict == "decline"), "")
    only = len(asked.jobs) == 1
    return Reason(
        code="trial.no-setting",
        verdict="decline",
        subject="/film",
        sentence=f"There is nothing to try: {asked.film.name} has no setting on {asked.press.name} that "
        f"{'this upper takes' if only else 'any of these uppers takes'} ({names}). {why}".strip(),
    )


def _declined(asked: _Asked, ladder: Ladder) -> Iterator[Reason]:
    units, first = asked.units, ladder.path[0]
    setting = f"{say_temperature(first.platen_c, units)}, {first.dwell_s:g} s"
    if ladder.unsafe is not None:
        one = ladder.foreseen[ladder.unsafe]
        yield Reason(
            code="trial.first-rung",
            verdict="decline",
            subject=one.layer[0],
            sentence=f"Even the first rung is not safe: at {setting}, the coolest and shortest that {asked.press.name} "
            f"does, the {one.layer[0]} of {one.upper.name} gets to {say_temperature(one.peak_c[0], units)}, and at the "
            f"worst case past what it stands ({say_temperature(one.limit_c[0], units)} as the book has it). "
            f"{trial_words.FIND_OUT}",
            measure=round(float(one.worst_k[0]), 4),
            limit=0.0,
            unit="K",
        )
    elif ladder.vinyl is not None:
        one = ladder.foreseen[ladder.vinyl]
        last = int(np.argmin(one.likely))
        yield Reason(
            code="trial.vinyl",
            verdict="decline",
            subject=one.layer[last],
            sentence=f"The shoe may be {one.upper.name}, and PVC must never be pressed past its limit: "
            f"{asked.film.name} needs {say_temperature(ladder.goal.platen_c, units)}, and at "
            f"{say_temperature(ladder.path[last].platen_c, units)} its {one.layer[last]} already passes "
            f"{say_temperature(one.limit_c[last], units)}. {trial_words.FIND_OUT}",
            measure=round(float(one.peak_c[last]), 4),
            limit=float(one.limit_c[last]),
            unit="degC",
        )
    elif not ladder.reaches:
        one = ladder.foreseen[ladder.blocked or next(iter(ladder.foreseen))]
        yield Reason(
            code="trial.out-of-reach",
            verdict="decline",
            subject="/film",
            sentence=f"The ladder cannot come to a setting that bonds: if the shoe is of {one.upper.name}, the film "
            f"passes its own limit before that. {trial_words.FIND_OUT}",
        )


def _nowhere(book: Book, asked: _Asked) -> Iterator[Reason]:
    if not any(_places(book, asked)):
        yield Reason(
            code="trial.no-place",
            verdict="decline",
            subject="/panel",
            sentence=f"There is no place to try: {asked.press.name} reaches no panel of this upper. A heel that does "
            "not collapse cannot be pressed, and a platen presents some faces only: take another press or panel.",
        )


def _reasons(asked: _Asked, ladder: Ladder) -> Iterator[Reason]:
    """Yield why the shoe is to be tried first, or the remark that it need not be."""
    # Of several uppers the recipe speaks of one setting for all, which the ladder does not press.
    tried = [
        reason
        for reason in asked.recipe.reasons
        if reason.verdict == "trial" and (len(asked.jobs) == 1 or not reason.code.startswith("heat."))
    ]
    for reason in tried:
        yield replace(reason, subject=reason.subject.removeprefix("/onto"))
    if asked.recipe.verdict == "ready":
        yield Reason(
            code="trial.not-needed",
            verdict="ready",
            subject="/shoe",
            sentence="No trial is called for: the recipe is sure for this upper. The plan is its setting, pressed on a "
            "scrap first.",
        )
    elif not tried:
        names = ", ".join(one.upper.name for one in ladder.foreseen.values())
        yield Reason(
            code="shoe.measured",
            verdict="trial",
            subject="/shoe",
            sentence=f"No one setting suits all that the shoe may be ({names}): the trial shows which it is.",
        )


def _trial(book: Book, asked: _Asked, ladder: Ladder | None, reasons: tuple[Reason, ...]) -> Trial:
    verdicts = {reason.verdict for reason in reasons}
    verdict: Verdict = "decline" if "decline" in verdicts else "trial" if "trial" in verdicts else "ready"
    goes = ladder is not None and verdict != "decline"
    uppers = [job.upper for job in asked.jobs]
    shoe = asked.request.shoe
    model = book.shoes[shoe.shoe] if isinstance(shoe, BookShoe) else None
    layers = [*asked.film.layers, *(layer for upper in uppers for layer in upper.layers)]
    return Trial(
        verdict=verdict,
        reasons=reasons,
        film=asked.film.id,
        press=asked.press.id,
        candidates=tuple(_candidate(asked, upper, ladder) for upper in uppers),
        places=tuple(_places(book, asked)) if goes else (),
        before=trial_words.before(asked.request.owner, len(uppers)) if goes else (),
        rungs=tuple(_rungs(asked, ladder)) if ladder is not None and goes else (),
        looks=trial_words.looks(asked.film) if goes else (),
        stop=trial_words.STOP if goes else (),
        afterwards=trial_words.afterwards(asked.request.owner, known=model is not None) if goes else (),
        cautions=cautions(
            book,
            film=asked.film,
            materials=frozenset((asked.film.carrier.material, *(layer.material for layer in layers))),
            shoe=model,
        ),
    )


def _candidate(asked: _Asked, upper: Upper, ladder: Ladder | None) -> TrialCandidate:
    window = ladder.goal.windows.get(upper.id) if ladder is not None else None
    setting = None
    if window is not None and window.dwell_s is not None:
        setting = _setting(asked, window.platen_c, window.dwell_s, window.cover)
    return TrialCandidate(
        upper=upper.id, name=upper.name, surface=upper.surface, tell=trial_words.TELLS[upper.surface], setting=setting
    )


def _setting(asked: _Asked, platen_c: float, dwell_s: float, cover: str | None) -> Setting:
    return Setting(
        temperature_c=platen_c,
        temperature_f=fahrenheit(platen_c),
        dwell_s=dwell_s,
        pressure=asked.film.setting.pressure,
        pressure_kpa=pressure_kpa(asked.press.pressures, asked.film.setting.pressure),
        cover=cover,
    )


def _places(book: Book, asked: _Asked) -> Iterator[TrialPlace]:
    """Yield where to try, the least visible first, the panel itself last: faces that the press reaches.

    Whether a heel collapses may not be known; one that does not is no place. On a shoe of the book, panels of the same
    upper alone: another says nothing of this one.
    """
    shoe, wanted = asked.request.shoe, asked.request.panel
    reached = {face for name in asked.press.platens for face in book.platens[name].faces}
    if isinstance(shoe, MeasuredShoe):
        heel, sure = shoe.heel_collapses, False
        panels: list[tuple[str, Face]] = [(each.panel, each.face) for each in shoe.panels]
    else:
        model = book.shoes[shoe.shoe]
        heel, sure = model.heel_collapses, True
        upper = asked.jobs[0].upper.id
        panels = [(each.id, each.face) for each in model.panels if each.upper == upper]
    panels = [(panel, face) for panel, face in panels if face in reached and (face != "heel" or heel is not False)]
    for panel, face in sorted(panels, key=lambda each: (each[0] == wanted, _HIDDEN.index(each[1]))):
        yield TrialPlace(
            panel=panel,
            face=face,
            sentence=trial_words.place(face, itself=panel == wanted, same=sure or panel == wanted),
        )


def _rungs(asked: _Asked, ladder: Ladder) -> Iterator[Rung]:
    for number, step in enumerate(ladder.steps):
        at = ladder.path[step.at]
        possible = {name: ladder.foreseen[name] for name in step.possible}
        last = number == len(ladder.steps) - 1
        yield Rung(
            setting=_setting(asked, at.platen_c, at.dwell_s, ladder.goal.cover),
            film=bool(step.may_bond),
            predicted=tuple(_predicted(one, step.at) for one in possible.values()),
            outcomes=tuple(_outcomes(ladder, step, possible, last=last)),
        )


def _predicted(one: Foreseen, at: int) -> Predicted:
    return Predicted(
        upper=one.upper.id,
        bond_share=float(one.share[at]) if one.bonds else None,
        layer=one.layer[at],
        peak_c=float(one.peak_c[at]),
        limit_c=float(one.limit_c[at]),
        margin_k=float(one.margin_k[at]),
        worst_case_margin_k=float(one.worst_k[at]),
        heat="sure" if one.sure[at] else "likely" if one.likely[at] else "past",
    )


def _outcomes(ladder: Ladder, step: Step, possible: Mapping[str, Foreseen], *, last: bool) -> Iterator[Outcome]:
    """Yield what may be seen after a rung and what it says; a bond where one may be."""
    at = step.at
    harmed = [name for name, one in possible.items() if not one.sure[at]]
    unharmed = [name for name, one in possible.items() if not one.shown[at]]
    bonded = [name for name in unharmed if name in step.may_bond]
    without = [name for name in unharmed if name not in step.must_bond]
    names = {name: one.upper.name for name, one in possible.items()}
    if bonded:
        upper = _nearest(bonded, ladder, ladder.path[at].dwell_s)
        yield Outcome(
            seen="bond",
            leaves=tuple(bonded),
            then="use",
            upper=upper,
            sentence=trial_words.bond([names[name] for name in bonded], None if upper is None else names[upper]),
        )
    blocked = None if ladder.blocked is None else ladder.foreseen[ladder.blocked].upper.name
    onwards = bool(without) and not last
    yield Outcome(
        seen="nothing",
        leaves=tuple(without),
        then="next-rung" if onwards else "stop",
        upper=None if onwards else _weakest(without, possible, at),
        sentence=trial_words.nothing([names[name] for name in without], onwards=onwards, blocked=blocked),
    )
    yield Outcome(
        seen="harm",
        leaves=tuple(harmed),
        then="stop",
        upper=_weakest(harmed, possible, at),
        sentence=trial_words.harm([names[name] for name in harmed]),
    )


def _nearest(left: Sequence[str], ladder: Ladder, dwell_s: float) -> str | None:
    """Return of some uppers the one whose own setting is nearest to the one that stood and bonded."""
    own = {name: window.dwell_s for name, window in ladder.goal.windows.items() if window.dwell_s is not None}
    return min((name for name in left if name in own), key=lambda name: abs(own[name] - dwell_s), default=None)


def _weakest(left: Sequence[str], possible: Mapping[str, Foreseen], at: int) -> str | None:
    """Return of some uppers the one that stands least of a setting."""
    return min(left, key=lambda name: float(possible[name].worst_k[at]), default=None)
