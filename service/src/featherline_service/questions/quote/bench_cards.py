"""The bench card of a quote: all that the bench needs for an order, on one page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from featherline.wire import costs
from featherline.wire.quotes import Pressing, QuoteAnswer
from featherline.wire.recipes import Setting, Units
from featherline.wire.trials import Rung, Trial
from featherline.wire.verdicts import Verdict
from featherline_service.book.shop_book import Book
from featherline_service.drawing import cards
from featherline_service.drawing.cards import Card, Tile
from featherline_service.questions.checks import Checks
from featherline_service.questions.fit.placement_drawings import film_of, placed
from featherline_service.questions.order.orders import Order
from featherline_service.questions.quote import quotes
from featherline_service.questions.quote.first_trials import trials_of
from featherline_service.questions.shoes.presses import PSI_KPA, say_settable

_VERDICTS: Final[dict[Verdict, str]] = {"ready": "Ready", "trial": "Try it first", "decline": "Do not press"}
_BY_HAND: Final = ("Date", "Done by", "Pair no.", "Trial seen by", "Checked")
_WHAT_STOOD: Final = (
    "Write down the setting that bonded here and harmed nothing. This card has no other: ask for a new one with the "
    "upper that it shows."
)
_OWNERS: Final = {"customer": "the customer's own", "shop": "the shop's"}


def compose(book: Book, request: costs.Order) -> Card:
    """Return the bench card of an order.

    Raises:
        RefusedError: As `quotes.compose`.
    """
    checks = Checks()
    order, terms = quotes.read(book, request, checks)
    answer = quotes.quote_of(book, order, terms, checks)
    trials = tuple(_trials(book, order)) if answer.verdict == "trial" else ()
    return Card(
        shop=book.bench.name,
        subject=_capitalised(order.shoe.name),
        facts=tuple(_facts(order, answer)),
        verdict=answer.verdict,
        verdict_words=_VERDICTS[answer.verdict],
        reasons=tuple(dict.fromkeys(reason.sentence for reason in answer.reasons)),
        drawings=tuple(
            placed(placement, quoted.fit, f"placement-{number}", under=order.under(placement))
            for number, (placement, quoted) in enumerate(zip(order.placements, answer.placements, strict=True), 1)
        ),
        # Until the trial has an outcome its ladder is all that the bench is told: never two recipes on one sheet.
        pressings=()
        if trials
        else tuple(
            _pressing(book, order, number, each, answer.verdict) for number, each in enumerate(answer.pressings, 1)
        ),
        steps=() if trials or answer.verdict == "decline" else tuple(_steps(answer.pressings)),
        trials=trials,
        cautions=tuple(
            dict.fromkeys(caution.sentence for each in answer.pressings for caution in each.recipe.cautions)
        ),
        by_hand=_BY_HAND,
        footing=f"book {answer.book.removeprefix('sha256:')[:16]}, engine {answer.engine}",
        letter=order.request.units == "us",
    )


def _capitalised(words: str) -> str:
    return words[:1].upper() + words[1:]


def _facts(order: Order, answer: QuoteAnswer) -> Iterator[tuple[str, str]]:
    yield "Pairs", f"{order.request.pairs}, {_OWNERS[order.request.owner]}"
    yield "Press", order.press.name
    many = len(order.placements) > 1
    for number, (each, quoted) in enumerate(zip(order.placements, answer.placements, strict=True), 1):
        film = film_of(each) if each.backing is None else f"{film_of(each)}, on a backing in {film_of(each.backing)}"
        shoes = "both shoes" if each.sides == "both" else f"the {each.sides} shoe"
        where = f"{each.panel.name}, {shoes}"
        yield (
            f"Placement {number}" if many else "Placement",
            f"{where}: {each.artwork.name}, in {film}. {quoted.fit.placed.sentence}",
        )


def _pressing(book: Book, order: Order, number: int, pressing: Pressing, verdict: Verdict) -> cards.Pressing:
    recipe, shoes = pressing.recipe, pressing.shoes
    which = "both shoes" if len(shoes) > 1 else f"the {shoes[0]} shoe"
    pairs = pressing.shoes_at_once // len(shoes)
    once = ", one after the other"
    if pairs:
        once = f" of {pairs} pairs at once" if pairs > 1 else " at once" if len(shoes) > 1 else ""
    places = [str(index + 1) for index in pressing.placements]
    places += [f"the backing of {index + 1}" for index in pressing.backings]
    backed = any(placement.backing is not None for placement in order.placements)
    marks = f"; marks {', '.join(places)}" if len(order.placements) > 1 or backed else ""
    where = f"loading {pressing.loading}, {pressing.face} face; {which}{once}{marks}"
    setting = None if verdict == "decline" else recipe.setting  # a fit may decline what could be pressed
    tiles = (
        (Tile("", "no setting"),) if setting is None else tuple(_tiles(book, setting, order.request.units, pressing))
    )
    return cards.Pressing(f"Pressing {number}", where, tiles)


def _tiles(book: Book, setting: Setting, units: Units, pressing: Pressing) -> Iterator[Tile]:
    platen, also = say_settable(setting, units)
    yield Tile("Platen", platen, also)
    yield Tile("Dwell", f"{setting.dwell_s:g} s", _window(pressing))
    kpa, psi = f"{setting.pressure_kpa:.0f} kPa", f"{setting.pressure_kpa / PSI_KPA:.0f} psi"
    first, second = (psi, kpa) if units == "us" else (kpa, psi)
    yield Tile("Pressure", setting.pressure, f"{first} ({second}) at the platen")
    yield Tile("Cover sheet", "none" if setting.cover is None else book.covers[setting.cover].name)
    peel = pressing.recipe.peel
    if peel is not None:
        yield Tile("Peel", peel.when, f"{peel.wait_s:.0f} s after opening" if peel.wait_s >= 1.0 else "at once")


def _window(pressing: Pressing) -> str:
    window = pressing.recipe.window
    if window is None or window.shortest_s is None or window.longest_s is None:
        return ""
    return f"window {window.shortest_s:.0f} to {window.longest_s:.0f} s"


def _steps(pressings: Sequence[Pressing]) -> Iterator[cards.Steps]:
    """Yield the first pressing's steps, and of the others those that differ from the first's."""
    first: frozenset[str] = frozenset()
    for number, pressing in enumerate(pressings, 1):
        sentences = tuple(step.sentence for step in pressing.recipe.steps)
        if not sentences:
            continue
        if not first:
            first = frozenset(sentences)
            yield cards.Steps("Steps" if len(pressings) == 1 else f"Steps of pressing {number}", sentences)
        elif own := tuple(sentence for sentence in sentences if sentence not in first):
            yield cards.Steps(f"Pressing {number}: the same, but", own)


def _trials(book: Book, order: Order) -> Iterator[cards.Trial]:
    """Yield a trial for every film and panel whose recipe is to be tried first, each plan once."""
    plans: dict[Trial, str] = {}
    marks = quotes.mark(book, order)
    by_pointer = {one.pointer: one.placement for one in marks}
    for pointer, plan in trials_of(book, order, marks).items():
        placement = by_pointer[pointer]
        plans.setdefault(plan, f"{placement.panel.name}, {placement.film.name}")
    for plan, heading in plans.items():
        yield cards.Trial(
            heading=f"Trial first: {heading}",
            where=" ".join((plan.places[0].sentence, *plan.before[:1])),
            rungs=tuple(_rung(book, order.request.units, plan, rung) for rung in plan.rungs),
            looks=tuple(look.sentence for look in plan.looks),
            stop=(*plan.stop, _WHAT_STOOD),
        )


def _rung(book: Book, units: Units, plan: Trial, rung: Rung) -> cards.Rung:
    setting = rung.setting
    temperature, *also = say_settable(setting, units)
    cover = "no cover sheet" if setting.cover is None else book.covers[setting.cover].name
    names = {each.upper: each.name for each in plan.candidates}
    weakest = min(rung.predicted, key=lambda each: each.worst_case_margin_k)
    sure = "harms none of them" if weakest.heat == "sure" else f"may harm: {names[weakest.upper]}"
    bond = next((outcome for outcome in rung.outcomes if outcome.seen == "bond"), None)
    return cards.Rung(
        setting=f"{temperature}{f' ({also[0]})' if also else ''}, {setting.dwell_s:g} s, {setting.pressure}",
        lay=f"a scrap of film, {cover}" if rung.film else f"{cover} alone",
        heat=sure,
        holds="-" if bond is None else "; ".join(names[upper] for upper in bond.leaves),
    )
