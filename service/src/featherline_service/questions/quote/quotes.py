"""The question "can it be done, how, and for how much?": fits, recipes, cost and price of an order, composed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from msgspec.structs import replace

from featherline.plugins import Findings
from featherline.wire import costs
from featherline.wire.quotes import QuoteAnswer, QuotedPlacement
from featherline.wire.verdicts import Reason
from featherline_service import plugins
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.fit.fits import fit_of
from featherline_service.questions.order.orders import Order, places_of, read_order
from featherline_service.questions.pricing.cost_lines import Work
from featherline_service.questions.pricing.prices import price_order
from featherline_service.questions.pricing.terms import Terms, read_terms
from featherline_service.questions.quote.pressings import Mark, Plan, plan
from featherline_service.questions.quote.work import part_of, presswork_of
from featherline_service.questions.recipe.recipe_tasks import on_panel
from featherline_service.questions.recipe.recipes import recipe_of
from featherline_service.questions.verdicts import worst
from featherline_service.runtime.engine import ENGINE


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
        RefusedError: a piece is wider than its film's roll, or charges of the book cannot be added up.
    """
    marks = mark(book, order)
    pressings = plan(book, order, marks)
    findings = findings_of(book, order, marks, pressings)
    cost = price = None
    if findings.verdict != "decline":
        part = part_of(order, marks, presswork_of(book, marks, pressings), outlined=bool(terms.outlines_s))
        cost, price = price_order(book, Work(parts=(part,), terms=terms), checks)
    return QuoteAnswer(
        reference=order.request.reference,
        verdict=findings.verdict,
        reasons=findings.reasons,
        placements=findings.placements,
        pressings=findings.pressings,
        cost=cost,
        price=price,
        book=book.revision,
        engine=ENGINE,
        seal=None,
    )


def mark(book: Book, order: Order, *, largest_too: bool = True) -> list[Mark]:
    """Return the placements of an order with their fits and recipes.

    Without `largest_too`, the largest copy is left out where the artwork fits.
    """
    marks = []
    for index, placement in enumerate(order.placements):
        film, panel, old_marks = placement.film, placement.panel, placement.old_marks
        task = on_panel(book, film, order.shoe, panel, order.press, units=order.request.units, marks=old_marks)
        fit = fit_of(book, placement, largest_too=largest_too)
        marks.append(Mark(index=index, placement=placement, task=task, fit=fit, recipe=recipe_of(book, task)))
    return marks


def findings_of(book: Book, order: Order, marks: Sequence[Mark], plan: Plan) -> Findings:
    """Return verdict, reasons and pressings of an order, with the reasons that the shop's own checks add.

    Raises:
        PluginFailedError: A check fails.
    """
    pressing_of = {index: number for number, one in enumerate(plan.pressings) for index in one.pressing.placements}
    findings = Findings(
        verdict=worst(part.verdict for one in marks for part in (one.fit, one.recipe)),
        reasons=tuple(dict.fromkeys(_reasons(marks, plan))),
        placements=tuple(
            QuotedPlacement(
                panel=one.placement.panel.id, sides=one.placement.sides, fit=one.fit, pressing=pressing_of[one.index]
            )
            for one in marks
        ),
        pressings=tuple(one.pressing for one in plan.pressings),
    )
    added = [reason for check in book.plugins.checks for reason in plugins.check(check, order.request, findings)]
    return replace(
        findings,
        verdict=worst([findings.verdict, *(reason.verdict for reason in added)]),
        reasons=tuple(dict.fromkeys([*findings.reasons, *added])),
    )


def _reasons(marks: Sequence[Mark], plan: Plan) -> Iterable[Reason]:
    """Yield the reasons of all parts of an order, their subjects as pointers into it."""
    for one in marks:
        places = places_of(one.index)
        for reason in (*one.fit.reasons, *one.recipe.reasons):
            yield replace(reason, subject=places.pointer(reason.subject))
    yield from plan.reasons
