"""The question "can it be done, how, and for how much?": fits, recipes, cost and price of an order, composed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from msgspec.structs import replace

from featherline.plugins import Findings
from featherline.wire import costs
from featherline.wire.quotes import Pressing, QuoteAnswer, QuotedBacking, QuotedPlacement
from featherline.wire.verdicts import Reason, Verdict
from featherline_service import plugins
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.fit.fits import fit_of
from featherline_service.questions.order.orders import Order, has_texts_alone, read_order
from featherline_service.questions.pricing.cost_lines import Work
from featherline_service.questions.pricing.prices import price_order
from featherline_service.questions.pricing.terms import Terms, read_terms
from featherline_service.questions.quote.evidence import sightings_of
from featherline_service.questions.quote.first_trials import risk, trial_work, trials_of
from featherline_service.questions.quote.mark_spacing import spacing_reasons
from featherline_service.questions.quote.marks import Mark, films_below, films_there, lower_marks, places_of_mark
from featherline_service.questions.quote.pressings import Plan, plan
from featherline_service.questions.quote.work import part_of, presswork_of
from featherline_service.questions.recipe.evidence.sightings import Sighting
from featherline_service.questions.recipe.recipe_tasks import on_panel
from featherline_service.questions.recipe.recipes import recipe_of
from featherline_service.questions.recipe.setting_visibility import shown, spoken
from featherline_service.questions.verdicts import worst, worst_first
from featherline_service.runtime.cache import Latest
from featherline_service.runtime.engine import ENGINE

_latest: Final = Latest[list[Mark]]()


def compose(book: Book, request: costs.Order) -> QuoteAnswer:
    """Return the quote for an order, not sealed: fits, pressings, cost and price.

    Raises:
        RefusedError: with the faults of all parts, their pointers into the order.
    """
    checks = Checks()
    return quote_of(book, *read(book, request, checks), checks)


def read(book: Book, request: costs.Order, checks: Checks) -> tuple[Order, Terms]:
    """Return an order and the terms of its price.

    Raises:
        RefusedError: with the faults of all parts, and all that `checks` have noted before.
    """
    terms = read_terms(book, request, checks)
    order = read_order(book, request, checks)
    checks.settle()
    assert terms is not None and order is not None  # noqa: S101, PT018 - settle has raised where one is not there
    return order, terms


def quote_of(book: Book, order: Order, terms: Terms, checks: Checks) -> QuoteAnswer:
    """Return the quote for an order; `checks` note faults at its place in the request.

    Raises:
        RefusedError: a piece is wider than its film's roll, charges of the book cannot be added up, or an observation
            cannot be.
    """
    marks = mark(book, order, sightings_of(book, order.request, checks))
    pressings = plan(book, order, marks)
    findings = findings_of(book, order, marks, pressings)
    cost = price = None
    if findings.verdict != "decline":
        trials = trials_of(book, order, marks)
        presswork = presswork_of(book, order, pressings, tried=trials, settings={})
        work = trial_work(book, order, marks, trials)
        part = part_of(order, marks, presswork, work, outlined=bool(terms.outlines_s))
        cost, price = price_order(
            book,
            Work(parts=(part,), terms=terms),
            checks,
            quantities=order.request.quantities,
            verdict=findings.verdict,
        )
    return QuoteAnswer(
        reference=order.request.reference,
        verdict=findings.verdict,
        reasons=findings.reasons,
        placements=findings.placements,
        pressings=findings.pressings,
        cost=cost,
        price=price,
        book=book.revision,
        book_until=book.until,
        engine=ENGINE,
        seal=None,
    )


def mark(book: Book, order: Order, sightings: tuple[Sighting, ...], *, largest_too: bool = True) -> list[Mark]:
    """Return the placements of an order and their backings with their fits and recipes, by what is seen of pressings.

    Without `largest_too`, the largest copy is left out where the artwork fits.
    """
    if not has_texts_alone(order.request):
        return _marks(book, order, sightings, largest_too=largest_too)
    # The placements are the very same ones where only the pairs are others.
    key = (book, order.shoe, order.press, order.placements, order.request.units, sightings, largest_too)
    return [*_latest.get(key, lambda: _marks(book, order, sightings, largest_too=largest_too))]


def _marks(book: Book, order: Order, sightings: tuple[Sighting, ...], *, largest_too: bool) -> list[Mark]:
    marks = []
    lower = lower_marks(order)
    for at, (index, placement) in enumerate(order.marks):
        there = films_there(order, lower, at)
        film, panel, units = placement.film, placement.panel, order.request.units
        task = on_panel(book, film, order.shoe, panel, order.press, units=units, marks=there)
        task = task._replace(new_films=films_below(lower, at), sightings=sightings)
        fit = fit_of(book, placement, largest_too=largest_too)
        recipe = recipe_of(book, task)
        marks.append(Mark(index=index, placement=placement, task=task, fit=fit, recipe=recipe, lower=lower[at]))
    return marks


def findings_of(book: Book, order: Order, marks: Sequence[Mark], plan: Plan) -> Findings:
    """Return verdict, reasons and pressings of an order, with the reasons that the shop's own checks add.

    Raises:
        PluginFailedError: A check fails.
    """
    pressing_of = {mark.pointer: number for number, press in enumerate(plan.pressings) for mark in press.marks}
    backings = {
        mark.index: QuotedBacking(fit=mark.fit, pressing=pressing_of[mark.pointer])
        for mark in marks
        if mark.placement.is_backing
    }
    reasons = list(_reasons(marks, plan))
    verdict = worst([*(mark.recipe.verdict for mark in marks), *(reason.verdict for reason in reasons)])
    if verdict != "decline" and (trials := trials_of(book, order, marks)):
        reasons.append(risk(book, order, marks, trials))
    findings = Findings(
        verdict=verdict,
        reasons=tuple(dict.fromkeys(reasons)),
        placements=tuple(
            QuotedPlacement(
                panel=mark.placement.panel.id,
                sides=mark.placement.sides,
                fit=mark.fit,
                pressing=pressing_of[mark.pointer],
                backing=backings.get(mark.index),
            )
            for mark in marks
            if not mark.placement.is_backing
        ),
        pressings=tuple(press.pressing for press in plan.pressings),
    )
    added = [reason for check in book.plugins.checks for reason in plugins.check(check, order.request, findings)]
    verdict = worst([findings.verdict, *(reason.verdict for reason in added)])
    return replace(
        findings,
        verdict=verdict,
        reasons=worst_first(spoken([*findings.reasons, *added], verdict)),
        pressings=tuple(_shown(press.pressing, verdict) for press in plan.pressings),
    )


def _shown(pressing: Pressing, verdict: Verdict) -> Pressing:
    """Return a pressing as an answer with this verdict shows it."""
    return replace(pressing, recipe=shown(pressing.recipe, verdict))


def _reasons(marks: Sequence[Mark], plan: Plan) -> Iterable[Reason]:
    """Yield the reasons of all parts of an order, their subjects as pointers into it."""
    # A placement's reasons come before its backing's, though it is pressed later: the mark is what is looked at.
    for mark in sorted(marks, key=lambda mark: (mark.index, mark.placement.is_backing)):
        places = places_of_mark(mark)
        for reason in (*mark.fit.reasons, *mark.recipe.reasons):
            yield replace(reason, subject=places.pointer(reason.subject))
    yield from spacing_reasons(marks)
    yield from plan.reasons
