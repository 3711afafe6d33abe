"""The trials that come before an order is pressed, as instructions and as work; whose risk is left."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from featherline.wire.trials import Trial
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.cost.spoilage import chance_of_any
from featherline_service.messages.values import Quantity, said
from featherline_service.questions.order.orders import Order
from featherline_service.questions.pricing.trial_costs import TrialWork
from featherline_service.questions.quote.marks import Mark
from featherline_service.questions.quote.work import shoe_chance
from featherline_service.questions.reasons import reason
from featherline_service.questions.trial.trials import TrialTask, trial_of


def trials_of(book: Book, order: Order, marks: Iterable[Mark]) -> dict[str, Trial]:
    """Return the trial of every placement whose recipe is to be tried first, by its pointer.

    A placement for which no ladder can be climbed has none.
    """
    plans = {}
    for mark in marks:
        if mark.recipe.verdict == "trial":
            task = mark.task._replace(old_marks=())
            plan = trial_of(book, TrialTask(task, order.shoe, mark.placement.panel.id, order.request.owner))
            if plan.rungs:
                plans[mark.pointer] = plan
    return plans


def trial_work(book: Book, order: Order, marks: Iterable[Mark], trials: dict[str, Trial]) -> tuple[TrialWork, ...]:
    """Return trials as work, equal ones once: every rung is pressed, though a trial may end sooner."""
    shoe = order.request.shoe if order.shoe.model is None else order.shoe.model.id
    panels = {mark.pointer: mark.placement.panel.id for mark in marks}
    return tuple(
        TrialWork(
            shoe=shoe,
            panel=panels[pointer],
            film=book.films[plan.film],
            cover=None if plan.rungs[0].setting.cover is None else book.covers[plan.rungs[0].setting.cover],
            dwells_s=tuple(rung.setting.dwell_s for rung in plan.rungs),
            test_marks=sum(rung.film for rung in plan.rungs),
        )
        for plan, pointer in {plan: pointer for pointer, plan in reversed(trials.items())}.items()
    )


def risk(book: Book, order: Order, marks: Sequence[Mark], trials: dict[str, Trial]) -> Reason:
    """Return how likely the pair is to be spoilt untried, and who bears what a trial does not show."""
    chance = chance_of_any(
        shoe_chance(book, mark.recipe) for mark in marks if mark.pointer in trials for _ in mark.placement.feet
    )
    percent = Quantity(round(100.0 * chance, 1), "percent", 1)
    return reason(
        "shoe.trial-risk",
        "ready",
        "/owner",
        said("shoe.trial-risk", chance=percent, owner=order.request.owner),
        measure=round(chance, 6),
        unit="share",
    )
