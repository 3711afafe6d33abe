"""Why a recipe's verdict is what it is: the surface, the shoe, the press, and the heat."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from msgspec.structs import replace

from featherline.wire.recipes import LayerPeak, Units
from featherline.wire.records import Film, Press, Upper
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.heat.pressing import LONGEST_DWELL_S
from featherline_service.messages.values import Quantity, said
from featherline_service.quantities import (
    fahrenheit,
    plain,
    plain_seconds,
    seconds_said,
    temperature,
    temperature_difference,
    temperatures,
    told_apart,
)
from featherline_service.questions.reasons import reason
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.practices import recorded_of
from featherline_service.questions.recipe.layer_peaks import hottest_unchanged_c, layer_peaks
from featherline_service.questions.recipe.recipe_help import helps, what_it_takes
from featherline_service.questions.recipe.recipe_settings import best_of, bonds, jobs_of
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate
from featherline_service.questions.shoes.makers_consents import is_missing, without_consent
from featherline_service.questions.shoes.observations import OBSERVATIONS, Seen, made, open_to, sold_under
from featherline_service.questions.shoes.old_marks import old_name

UNSURE: Final = frozenset({"heat.worst-case", "heat.film-longest", "heat.contradiction"})
"""Codes of reasons that a setting is not sure by what is known."""


def of_surface(book: Book, task: RecipeTask) -> Iterator[Reason]:
    """Yield that the film does not, or perhaps does not, bond to the surface."""
    film = book.films[task.film]
    if task.under is not None:
        if not bonds(book, task):
            yield reason(
                "surface.unsuited",
                "decline",
                "/onto/old_marks",
                said(
                    "surface.unsuited.on-film",
                    lower=book.films[task.under],
                    # An order's own film is not there to be taken off yet.
                    age="new" if task.new_films else "old",
                    films=[other for other in book.films.values() if other.takes_film],
                ),
            )
        return
    strange = sorted({upper.surface for upper in task.uppers} - set(film.bonds_to))
    if not strange:
        return
    if not bonds(book, task):
        words = said("surface.unsuited.on-upper", film=film, strange=strange, bonds_to=film.bonds_to)
        yield reason("surface.unsuited", "decline", "/film", words)
    else:
        yield reason("surface.unknown", "trial", "/film", said("surface.unknown", strange=strange, film=film))


def of_shoe(book: Book, task: RecipeTask) -> Iterator[Reason]:
    """Yield what is unknown about the shoe, that it is damp, and that protective footwear must not be altered."""
    if task.is_damp:
        yield reason("shoe.damp", "trial", "/onto/shoe/conditioning", said("shoe.damp"))
    if task.known_by_label:
        yield reason("shoe.measured", "trial", "/onto/shoe", said("shoe.measured.by-label", uppers=task.uppers))
        if task.seen is not None:
            yield from _narrowed(book, task.seen)
    if task.upper_is_named:
        words = said("shoe.measured.named", upper=task.uppers[0])
        yield reason("shoe.measured", "ready", "/onto/shoe/upper", words)
    if not may_be_pressed(book, task):
        yield without_consent("/onto/shoe/makers_consent")
    elif task.shoe is not None and book.shoes[task.shoe].protective:
        words = said("shoe.protective.with-consent")
        yield reason("shoe.protective", "ready", "/onto/shoe/makers_consent", words)


def may_be_pressed(book: Book, task: RecipeTask) -> bool:
    """Return whether the shoe is no protective footwear of the book, or its maker has consented."""
    return task.shoe is None or not is_missing(book.shoes[task.shoe], consented=task.makers_consent)


def _narrowed(book: Book, seen: Seen) -> Iterator[Reason]:
    """Yield which uppers of the label a test has ruled out, and how surely."""
    for observation in made(seen):
        out = [upper for upper in sold_under(book, seen.label) if observation.rules_out(book, upper)]
        if out:
            yield reason(
                "shoe.narrowed",
                "ready",
                f"/onto/shoe/tests/{observation.field}",
                said("shoe.narrowed", observation=observation.field, uppers=out),
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
    ways: dict[str, list[Upper]] = {observation.field: [] for observation in OBSERVATIONS}
    for observation in open_to(task.seen):
        if not all(observation.rules_out(book, upper) for upper in good):
            out = [upper for upper in in_the_way or task.uppers if observation.rules_out(book, upper)]
            ways[observation.field] = out
    surfaces = sorted({upper.surface for upper in good} - {upper.surface for upper in in_the_way})
    return reason(
        "shoe.unnarrowed",
        "decline",
        "/onto/shoe",
        said(
            "shoe.unnarrowed",
            uppers=in_the_way,
            surfaces=surfaces if task.seen.surface is None else (),
            **ways,
        ),
    )


def out_of_range(film: Film, press: Press, units: Units) -> Reason:
    """Return that the press cannot be set to any temperature in the film's range."""
    published = film.setting
    reach, wanted = None, None  # within the press's range, but none of its steps is within the film's
    if press.hottest_c < published.coolest_c:
        reach, wanted = press.hottest_c, published.coolest_c
    elif press.coolest_c > published.hottest_c:
        reach, wanted = press.coolest_c, published.hottest_c
    return reason(
        "heat.press-range",
        "decline",
        "/press",
        said(
            "heat.press-range",
            press=press,
            coolest=temperature(press.coolest_c, units),
            hottest=temperature(press.hottest_c, units),
            step_c=replace(plain(press.step_c), unit="delta_degC"),
            step_f=replace(plain(press.step_f), unit="delta_degF"),
            film=film,
            film_coolest=temperature(published.coolest_c, units),
            film_hottest=temperature(published.hottest_c, units),
        ),
        measure=None if reach is None else _degrees(reach, units),
        limit=None if wanted is None else _degrees(wanted, units),
        unit=None if reach is None else _scale(units),
    )


def no_window(book: Book, task: RecipeTask, best: Candidate) -> Reason:
    """Return why no dwell is right, by the cover and temperature that come nearest to one, but without naming them."""
    span, units, film, press = best.span, task.units, book.films[task.film], book.presses[task.press]
    if not math.isfinite(span.shortest_s):
        return reason(
            "heat.no-window",
            "decline",
            "bond line",
            said("heat.no-window.never", press=press, film=film),
            limit=LONGEST_DWELL_S,
            unit="s",
        )
    if span.ended_by != "layer":
        harm = None if film.overpressing is None else film.overpressing.harm
        return reason(
            "heat.no-window",
            "decline",
            "/film",
            said("heat.no-window.between", press=press, film=film, harm=harm),
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
    peak_at, most = temperatures(peak.peak_c, limit.peak_c, units)
    exposure = limit.exposure if peak.peak_c < limit.peak_c - task.guard_k else None
    takes = None if helps(book, task) else what_it_takes(book, task)
    return reason(
        "heat.no-window",
        "decline",
        peak.layer,
        said(
            "heat.no-window.layer",
            layer=peak.layer,
            press=press,
            peak=peak_at,
            film=film,
            stands=most if exposure is None else temperature(exposure.temperature_c, units),
            longest=None if exposure is None else plain_seconds(exposure.longest_s),
            guard=temperature_difference(task.guard_k, units) if task.guard_k > 0.0 else None,
            harm=limit.harm,
            tried="none" if takes is None else takes.tried,
            below=temperature(limit.peak_c, units),
            coolest=None if takes is None or takes.coolest_c is None else temperature(takes.coolest_c, units),
        ),
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
        sure, end = None, plain_seconds(LONGEST_DWELL_S)
        if math.isfinite(span.sure_from_s):
            sure, end = _sure_and_end(dwell_s, span.sure_from_s, span.longest_s)
        yield reason(
            "heat.film-longest" if span.ended_by == "film" else "heat.worst-case",
            "trial",
            "bond line",
            said("heat.worst-case.bond", dwell=plain_seconds(dwell_s), film=film, sure=sure, end=end),
            measure=dwell_s,
            limit=span.sure_from_s if math.isfinite(span.sure_from_s) else LONGEST_DWELL_S,
            unit="s",
        )
    if dwell_s > span.sure_to_s:
        _, sure_to = told_apart(dwell_s, span.sure_to_s, 1, "s")
        longest, dwell = sure_to if span.sure_to_s > 0.0 else None, plain_seconds(dwell_s)
        harm = film.overpressing if span.unsure_in is None else None
        layer_name = span.unsure_in or "bond line"
        yield reason(
            "heat.worst-case" if harm is None else "heat.film-longest",
            "trial",
            layer_name,
            said("heat.worst-case.layer", layer=layer_name, dwell=dwell, sure=longest)
            if harm is None
            else said("heat.film-longest", film=film, dwell=dwell, sure=longest, harm=harm.harm),
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
        peak, most = temperatures(layer.peak_c, layer.limit_c, task.units)
        if (
            limit.evidence == "guess"
            and layer.margin_k - task.guard_k < 2.0 * limit.spread_k
            and layer.peak_c > hottest_unchanged_c(book, layer.material, task.sightings)
        ):
            yield reason(
                "heat.weak-evidence",
                "trial",
                layer.layer,
                said("heat.weak-evidence", layer=layer.layer, peak=peak, most=most, harm=limit.harm),
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
            yield reason(
                "heat.contradiction",
                "trial",
                sighting.name,
                said(
                    "heat.contradiction",
                    dwell=told_apart(sighting.dwell_s, 0.0, 0, "s")[0],
                    temperature=temperature(sighting.platen_c, task.units),
                    upper=sighting.job.upper,
                ),
            )


def _sure_and_end(dwell_s: float, sure_from_s: float, longest_s: float) -> tuple[Quantity, Quantity]:
    """Return when a bond is sure and when the window ends, told apart from each other and from the dwell."""
    sure = told_apart(dwell_s, sure_from_s, 1, "s")[1]
    beside, end = told_apart(sure_from_s, longest_s, 1, "s")
    return max(sure, beside, key=lambda quantity: quantity.decimals), end


def longer_than_published(film: Film, dwell_s: float, published_s: float, subject: str) -> Reason:
    """Return the remark that a dwell gives the bond line more than the film's longest published dwell does."""
    return reason(
        "heat.film-longer",
        "ready",
        subject,
        said(
            "heat.film-longer",
            dwell=plain_seconds(dwell_s),
            more=_more(dwell_s - published_s),
            film=film,
            longest=plain_seconds(film.setting.longest_s),
        ),
        measure=dwell_s,
        limit=published_s,
        unit="s",
    )


def _more(time_s: float) -> Quantity:
    """Return a time above zero, not said to be zero."""
    more = seconds_said(time_s)
    return more if more.value else told_apart(time_s, 0.0, 1, "s")[0]


def _softened(book: Book, task: RecipeTask, layers: Sequence[LayerPeak]) -> Iterator[Reason]:
    """Yield the old marks whose adhesive flows again."""
    for at, (mark, is_new) in enumerate(task.marks_there):
        old = book.films[mark.film]
        name = old_name(old, old.layers[-1], is_new=is_new)
        peak_c = max(layer.peak_c for layer in layers if layer.layer == name)
        if peak_c >= old.adhesive.onset_c:
            peak, onset = temperatures(peak_c, old.adhesive.onset_c, task.units)
            yield reason(
                "heat.softens-old-mark",
                "ready",
                f"/onto/old_marks/{at}",
                said(
                    "heat.softens-old-mark",
                    age="new" if is_new else "old",
                    family=old.family,
                    layer=old.layers[-1].name,
                    peak=peak,
                    onset=onset,
                ),
                measure=_degrees(peak_c, task.units),
                limit=_degrees(old.adhesive.onset_c, task.units),
                unit=_scale(task.units),
            )


def _degrees(temperature_c: float, units: Units) -> float:
    return fahrenheit(temperature_c) if units == "us" else temperature_c


def _scale(units: Units) -> str:
    return "degF" if units == "us" else "degC"
