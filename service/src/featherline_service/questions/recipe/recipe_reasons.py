"""Why a recipe's verdict is what it is: the surface, the shoe, the press, and the heat."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from featherline.wire.recipes import LayerPeak, Units
from featherline.wire.records import Film, Press
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.heat.pressing import LONGEST_DWELL_S
from featherline_service.quantities import (
    fahrenheit,
    say_numbers,
    say_seconds,
    say_temperature,
    say_temperature_range,
    say_temperatures,
)
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.practices import recorded_of
from featherline_service.questions.recipe.layer_peaks import hottest_unchanged_c, layer_peaks
from featherline_service.questions.recipe.recipe_help import helps, what_it_takes
from featherline_service.questions.recipe.recipe_settings import best_of, bonds, jobs_of
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate
from featherline_service.questions.shoes.makers_consents import is_missing, without_consent
from featherline_service.questions.shoes.observations import Seen, made, open_to, sold_under
from featherline_service.questions.shoes.old_marks import old_name

UNSURE: Final = frozenset({"heat.worst-case", "heat.film-longest", "heat.contradiction"})
"""Codes of reasons that a setting is not sure by what is known."""


def of_surface(book: Book, task: RecipeTask) -> Iterator[Reason]:
    """Yield that the film does not, or perhaps does not, bond to the surface."""
    film = book.films[task.film]
    if task.under is not None:
        if not bonds(book, task):
            lower = book.films[task.under].name
            takes = [other.name for other in book.films.values() if other.takes_film]
            yield Reason(
                code="surface.unsuited",
                verdict="decline",
                subject="/onto/old_marks",
                sentence=f"No film holds on the face of {lower}: {_instead(task)}. Films that take another: "
                f"{', '.join(takes) or 'none of the book'}.",
            )
        return
    strange = sorted({upper.surface for upper in task.uppers} - set(film.bonds_to))
    if not strange:
        return
    if not bonds(book, task):
        yield Reason(
            code="surface.unsuited",
            verdict="decline",
            subject="/film",
            sentence=f"{film.name} does not bond to {' or '.join(strange)}; it bonds to {', '.join(film.bonds_to)}.",
        )
    else:
        yield Reason(
            code="surface.unknown",
            verdict="trial",
            subject="/film",
            sentence=f"The label allows {' or '.join(strange)}, which {film.name} does not bond to: find out what the "
            "upper is, or try first where it does not show.",
        )


def _instead(task: RecipeTask) -> str:
    """Return what to do where no film holds on the lower one: an order's own film is not there to be taken off yet."""
    if task.new_films:
        return "take another film for the lower mark, or place this one beside it"
    return "take the old mark off, or place the new one beside it"


def of_shoe(book: Book, task: RecipeTask) -> Iterator[Reason]:
    """Yield what is unknown about the shoe, that it is damp, and that protective footwear must not be altered."""
    if task.is_damp:
        yield Reason(
            code="shoe.damp",
            verdict="trial",
            subject="/onto/shoe/conditioning",
            sentence="The shoe is damp: it takes longer to heat, steams, and stands less heat than a dry one. Let it "
            "dry for a day in the room, and ask again with `conditioning` room.",
        )
    if task.known_by_label:
        names = ", ".join(upper.name for upper in task.uppers)
        yield Reason(
            code="shoe.measured",
            verdict="trial",
            subject="/onto/shoe",
            sentence="The shoe is known from its label and a ruler alone, and what suits it must suit all that the "
            f"label allows ({names}): try first where it does not show.",
        )
        if task.seen is not None:
            yield from _narrowed(book, task.seen)
    if task.upper_is_named:
        yield Reason(
            code="shoe.measured",
            verdict="ready",
            subject="/onto/shoe/upper",
            sentence=f"The upper is taken to be {task.uppers[0].name}, as the request says: say so of a shoe that has "
            "stood its trial, or whose maker says so.",
        )
    if not may_be_pressed(book, task):
        yield without_consent("/onto/shoe/makers_consent")
    elif task.shoe is not None and book.shoes[task.shoe].protective:
        yield Reason(
            code="shoe.protective",
            verdict="ready",
            subject="/onto/shoe/makers_consent",
            sentence="This is certified protective footwear: it is marked with its maker's written consent, as the "
            "request says. Keep to what that allows, and keep it with the order.",
        )


def may_be_pressed(book: Book, task: RecipeTask) -> bool:
    """Return whether the shoe is no protective footwear of the book, or its maker has consented."""
    return task.shoe is None or not is_missing(book.shoes[task.shoe], consented=task.makers_consent)


def _narrowed(book: Book, seen: Seen) -> Iterator[Reason]:
    """Yield which uppers of the label a test has ruled out, and how surely."""
    for observation in made(seen):
        out = [upper.name for upper in sold_under(book, seen.label) if observation.rules_out(book, upper)]
        if out:
            yield Reason(
                code="shoe.narrowed",
                verdict="ready",
                subject=f"/onto/shoe/tests/{observation.field}",
                sentence=f"That {observation.words} rules out {', '.join(out)} ({observation.source}).",
                evidence=observation.evidence,
            )


def unnarrowed(book: Book, task: RecipeTask) -> Reason | None:
    """Return which of the uppers that a walk-in shoe may have forbid every setting, and what would rule them out."""
    if task.seen is None or not task.known_by_label:
        return None
    good = [upper for upper in task.uppers if best_of(book, task._replace(uppers=(upper,))) is not None]
    if not good or len(task.uppers) == 1:
        return None  # nothing that is seen makes a setting
    # An upper that the film does not bond to is in the way only if it does not stand the others' heat.
    film = book.films[task.film]
    in_the_way = [
        upper
        for upper in task.uppers
        if upper not in good
        and (upper.surface in film.bonds_to or best_of(book, task._replace(uppers=(good[0], upper))) is None)
    ]
    ways = [
        f"`tests.{observation.field}`: {observation.value!r} if {observation.words}, which rules out "
        f"{', '.join(upper.name for upper in out)} ({observation.source})"
        for observation in open_to(task.seen)
        if (out := [upper for upper in in_the_way or task.uppers if observation.rules_out(book, upper)])
        and not all(observation.rules_out(book, upper) for upper in good)
    ]
    surfaces = sorted({upper.surface for upper in good} - {upper.surface for upper in in_the_way})
    if task.seen.surface is None and surfaces:
        ways.insert(0, f"`surface`, if eye and thumb find it {' or '.join(surfaces)} (common practice, no source)")
    names = ", ".join(upper.name for upper in in_the_way)
    why = f"If it is {names}, no setting bonds and harms nothing" if names else "No one setting suits all of them"
    return Reason(
        code="shoe.unnarrowed",
        verdict="decline",
        subject="/onto/shoe",
        sentence=f"{why}. Ask again with what rules it out: {'; '.join([*ways, '`upper`, as the maker names it'])}. "
        "All but the maker's word lead to a trial at best.",
    )


def out_of_range(film: Film, press: Press, units: Units) -> Reason:
    """Return that the press cannot be set to any temperature in the film's range."""
    published = film.setting
    reach, wanted = None, None  # within the press's range, but none of its steps is within the film's
    if press.hottest_c < published.coolest_c:
        reach, wanted = press.hottest_c, published.coolest_c
    elif press.coolest_c > published.hottest_c:
        reach, wanted = press.coolest_c, published.hottest_c
    return Reason(
        code="heat.press-range",
        verdict="decline",
        subject="/press",
        sentence=f"{press.name} can be set to {say_temperature_range(press.coolest_c, press.hottest_c, units)} "
        f"in steps of {press.step_c:g} °C or {press.step_f:g} °F; {film.name} is pressed at "
        f"{say_temperature_range(published.coolest_c, published.hottest_c, units)}.",
        measure=None if reach is None else _degrees(reach, units),
        limit=None if wanted is None else _degrees(wanted, units),
        unit=None if reach is None else _scale(units),
    )


def no_window(book: Book, task: RecipeTask, best: Candidate) -> Reason:
    """Return why no dwell is right, by the cover and temperature that come nearest to one, but without naming them."""
    span, units, film, press = best.span, task.units, book.films[task.film], book.presses[task.press]
    if not math.isfinite(span.shortest_s):
        return Reason(
            code="heat.no-window",
            verdict="decline",
            subject="bond line",
            sentence=f"At no setting of {press.name} does the bond line gather what {film.name} needs within the "
            "longest that any shoe is pressed.",
            limit=LONGEST_DWELL_S,
            unit="s",
        )
    if span.ended_by != "layer":
        return Reason(
            code="heat.no-window",
            verdict="decline",
            subject="/film",
            sentence=f"At no setting of {press.name} does a step of its timer lie between the dwell that bonds "
            f"{film.name} and the longest that it may have."
            f"{'' if film.overpressing is None else f' Longer, {film.overpressing.harm}.'}",
            measure=span.shortest_s,
            limit=span.longest_s,
            unit="s",
        )
    peak = min(
        (
            peak
            for job in jobs_of(book, task, best.pressure)
            for peak in layer_peaks(book, task, job, best, span.shortest_s)
            if peak.layer == span.ended_in
        ),
        key=lambda peak: peak.margin_k,
    )
    limit = book.materials[peak.material].limit
    guard = f", {_kelvins(task.guard_k, units)} of guard apart" if task.guard_k > 0.0 else ""
    gets_to, most = say_temperatures(peak.peak_c, limit.peak_c, units)
    stands = f"It stands {most}{guard}. Above that {limit.harm}."
    if peak.peak_c < limit.peak_c - task.guard_k and limit.exposure is not None:
        exposure = limit.exposure
        stands = (
            f"It stands {say_temperature(exposure.temperature_c, units)} for {exposure.longest_s:g} s in all{guard}, "
            f"less when hotter. Beyond that {limit.harm}."
        )
    return Reason(
        code="heat.no-window",
        verdict="decline",
        subject=peak.layer,
        sentence=f"The {peak.layer} forbids it: even at the setting of {press.name} that comes nearest, it gets to "
        f"{gets_to} where {film.name} is pressed until it bonds. {stands}"
        f"{'' if helps(book, task) else what_it_takes(book, task, limit.peak_c)}",
        measure=_degrees(peak.peak_c, units),
        limit=_degrees(limit.peak_c - task.guard_k, units),
        unit=_scale(units),
        evidence=limit.evidence,
    )


def of_heat(
    book: Book, task: RecipeTask, best: Candidate, dwell_s: float, layers: Sequence[LayerPeak]
) -> Iterator[Reason]:
    """Yield that the chosen dwell may not bond or may harm a layer, and that a guessed limit is near."""
    span, film = best.span, book.films[task.film]
    if dwell_s < span.sure_from_s:
        beyond = (
            _sure_and_end(dwell_s, span.sure_from_s, span.longest_s)
            if math.isfinite(span.sure_from_s)
            else f"no dwell up to {LONGEST_DWELL_S:g} s is sure to"
        )
        yield Reason(
            code="heat.film-longest" if span.ended_by == "film" else "heat.worst-case",
            verdict="trial",
            subject="bond line",
            sentence=f"{dwell_s:g} s bond {film.name} if all properties are as the book has them; {beyond}.",
            measure=dwell_s,
            limit=span.sure_from_s if math.isfinite(span.sure_from_s) else LONGEST_DWELL_S,
            unit="s",
        )
    if dwell_s > span.sure_to_s:
        _, sure_to = say_numbers(dwell_s, span.sure_to_s, 1)
        yield Reason(
            code="heat.worst-case",
            verdict="trial",
            subject=span.unsure_in or "bond line",
            sentence=f"The {span.unsure_in} stands {dwell_s:g} s if all properties are as the book has them, but is "
            + (f"sure to stand {sure_to} s only." if span.sure_to_s > 0.0 else "not sure to stand any."),
            measure=dwell_s,
            limit=span.sure_to_s,
            unit="s",
        )
    if dwell_s > span.published_s:
        yield longer_than_published(film, dwell_s, span.published_s, "bond line")
    yield from _contradictions(book, task)
    yield from _softened(book, task, layers)
    for layer in layers:
        limit = book.materials[layer.material].limit
        # The spread of a guessed limit is a guess too: within twice the spread the limit is near.
        peak, most = say_temperatures(layer.peak_c, layer.limit_c, task.units)
        if (
            limit.evidence == "guess"
            and layer.margin_k - task.guard_k < 2.0 * limit.spread_k
            and layer.peak_c > hottest_unchanged_c(book, layer.material, task.sightings)
        ):
            yield Reason(
                code="heat.weak-evidence",
                verdict="trial",
                subject=layer.layer,
                sentence=f"What the {layer.layer} stands is a guess, and it gets to {peak}, near "
                f"to the guessed {most}: above that {limit.harm}.",
                measure=_degrees(layer.peak_c, task.units),
                limit=_degrees(layer.limit_c, task.units),
                unit=_scale(task.units),
                evidence="guess",
            )


def _contradictions(book: Book, task: RecipeTask) -> Iterator[Reason]:
    """Yield the observations that contradict others: those of the request, and the book's of the same film or upper."""
    known = known_for(book, task.sightings)
    own = task.sightings[len(recorded_of(book)) :]
    for at in known.contradicting:
        sighting = known.sightings[at]
        if sighting in own or sighting.job.film == task.film or sighting.job.upper in task.uppers:
            yield Reason(
                code="heat.contradiction",
                verdict="trial",
                subject=sighting.name,
                sentence=f"What was observed of {say_numbers(sighting.dwell_s, 0.0, 0)[0]} s at "
                f"{say_temperature(sighting.platen_c, task.units)} on {sighting.job.upper.name} does not go with the "
                "other observations: less than one in a thousand would be so. Look for a mistake in it or in what the "
                "book has of the stack.",
            )


def _sure_and_end(dwell_s: float, sure_from_s: float, longest_s: float) -> str:
    """Return when a bond is sure and when the window ends, told apart from each other and from the dwell."""
    sure = say_numbers(dwell_s, sure_from_s, 1)[1]
    beside, end = say_numbers(sure_from_s, longest_s, 1)
    return f"to be sure of it takes {max(sure, beside, key=len)} s, and the window ends at {end} s"


def longer_than_published(film: Film, dwell_s: float, published_s: float, subject: str) -> Reason:
    """Return the remark that a dwell gives the bond line more than the film's longest published dwell does."""
    return Reason(
        code="heat.film-longer",
        verdict="ready",
        subject=subject,
        sentence=f"{dwell_s:g} s are {_say_more(dwell_s - published_s)} more than give the bond line what "
        f"{film.name}'s longest published dwell ({film.setting.longest_s:g} s on cloth) gives it. That is no limit: "
        "look at the film's face and edges after the first.",
        measure=dwell_s,
        limit=published_s,
        unit="s",
    )


def _say_more(time_s: float) -> str:
    """Return a time above zero, not said to be zero."""
    said = say_seconds(time_s)
    return f"{say_numbers(time_s, 0.0, 1)[0]} s" if said == say_seconds(0.0) else said


def _softened(book: Book, task: RecipeTask, layers: Sequence[LayerPeak]) -> Iterator[Reason]:
    """Yield the old marks whose adhesive flows again."""
    for at, (mark, is_new) in enumerate(task.marks_there):
        old = book.films[mark.film]
        name = old_name(old, old.layers[-1], is_new=is_new)
        peak_c = max(layer.peak_c for layer in layers if layer.layer == name)
        if peak_c >= old.adhesive.onset_c:
            peak, onset = say_temperatures(peak_c, old.adhesive.onset_c, task.units)
            yield Reason(
                code="heat.softens-old-mark",
                verdict="ready",
                subject=f"/onto/old_marks/{at}",
                sentence=f"The {name} gets to {peak} and flows again from {onset}: "
                "slide nothing over it, and lift the cover "
                "sheet straight up.",
                measure=_degrees(peak_c, task.units),
                limit=_degrees(old.adhesive.onset_c, task.units),
                unit=_scale(task.units),
            )


def _kelvins(difference_k: float, units: Units) -> str:
    if units == "us":
        return f"{fahrenheit(difference_k) - fahrenheit(0.0):.0f} °F"
    return f"{difference_k:.0f} °C"


def _degrees(temperature_c: float, units: Units) -> float:
    return fahrenheit(temperature_c) if units == "us" else temperature_c


def _scale(units: Units) -> str:
    return "degF" if units == "us" else "degC"
