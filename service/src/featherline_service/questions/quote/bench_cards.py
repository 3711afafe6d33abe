"""The bench card of a quote: all that the bench needs for an order, loading by loading."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from featherline.wire import costs
from featherline.wire.costs import FilmUse
from featherline.wire.quotes import Pressing, QuoteAnswer
from featherline.wire.recipes import Recipe, Setting, Step, Units
from featherline.wire.trials import Rung, Trial
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.drawing import cards
from featherline_service.drawing.cards import Card, Cut, Tile
from featherline_service.drawing.placements import Placed
from featherline_service.quantities import say_length
from featherline_service.questions.checks import Checks
from featherline_service.questions.fit.placement_drawings import PlacedFit, film_name, placed
from featherline_service.questions.order.orders import Order
from featherline_service.questions.order.placements import FEET, Placement
from featherline_service.questions.quote import quotes
from featherline_service.questions.quote.card_evidence import evidence_line
from featherline_service.questions.quote.cut_sheets import cut_mirrored
from featherline_service.questions.quote.evidence import sightings_of
from featherline_service.questions.quote.first_trials import trials_of
from featherline_service.questions.recipe.evidence.sightings import Sighting
from featherline_service.questions.shoes.presses import PSI_KPA, say_settable
from featherline_service.questions.trial.trial_words import any_of

_VERDICTS: Final[dict[Verdict, str]] = {"ready": "Ready", "trial": "Try it first", "decline": "Do not press"}
_BY_HAND: Final[dict[Verdict, tuple[str, ...]]] = {
    "ready": ("Date", "Done by", "Pair no.", "Checked"),
    "trial": ("Date", "Done by", "Pair no.", "Trial seen by", "Checked"),
    "decline": (),
}
_WHAT_STOOD: Final = (
    "Write down the setting that bonded here and harmed nothing. This card has no other: ask for a new one with the "
    "upper that it shows."
)
_ON_THE_CARD: Final = {
    "set": "Set the press to this pressing's settings. Wait until the platen holds its temperature.",
    "press": "Close the press.",
}
"""Steps that repeat the settings, by what is done, as they are said where the settings stand beside them."""
_OWNERS: Final = {"customer": "the customer's own", "shop": "the shop's"}


_CUT: Final = {True: "mirrored", False: "as it is"}
"""How a piece is cut, by whether it is mirrored."""


def compose(book: Book, request: costs.Order) -> Card:
    """Return the bench card of an order.

    Raises:
        RefusedError: As `quotes.compose`.
    """
    checks = Checks()
    order, terms = quotes.read(book, request, checks)
    answer = quotes.quote_of(book, order, terms, checks)
    sightings = sightings_of(book, request, Checks())
    drawings, facts = tuple(_drawings(order, answer)), tuple(_facts(order, answer))
    # Until the trial has an outcome its ladder is all that the bench is told: never two recipes on one card.
    trials = tuple(_trials(book, order, sightings)) if answer.verdict == "trial" else ()
    return Card(
        shop=book.bench.name,
        subject=_capitalised(_subject(order)),
        facts=tuple((label, value) for label, value, _ in facts),
        verdict=answer.verdict,
        verdict_words=_VERDICTS[answer.verdict],
        reasons=tuple(dict.fromkeys(reason.sentence for reason in answer.reasons if not trials or _of_trial(reason))),
        drawings=tuple(drawing for _, drawing in drawings),
        pressings=()
        if trials
        else tuple(
            _pressing(book, order, number, pressing)._replace(evidence=evidence_line(book, pressing.recipe, sightings))
            for number, pressing in enumerate(answer.pressings, 1)
        ),
        steps=() if trials else tuple(_steps(order, answer.pressings)),
        trials=trials,
        cautions=tuple(
            dict.fromkeys(caution.sentence for pressing in answer.pressings for caution in pressing.recipe.cautions)
        ),
        by_hand=_BY_HAND[answer.verdict],
        footing=f"book {answer.book.removeprefix('sha256:')[:16]}, engine {answer.engine}",
        letter=order.request.units == "us",
        cuts=tuple(_cuts(order, answer)),
        drawing_loadings=tuple(loading for loading, _ in drawings),
        fact_loadings=tuple(about for _, _, about in facts),
        reference=order.request.reference or "",
    )


def _of_trial(reason: Reason) -> bool:
    """Return whether a reason belongs on the card of a trial: no remark about a setting that the card does not have."""
    return reason.verdict != "ready" or not reason.code.startswith("heat.")


def _subject(order: Order) -> str:
    """Return the shoe, with its colour where the order says it: whoever packs tells pairs by it."""
    asked = order.request.shoe.colour
    return order.shoe.name if asked is None else f"{order.shoe.name}, {order.shoe.colour or asked}"


def _capitalised(words: str) -> str:
    return words[:1].upper() + words[1:]


def _facts(order: Order, answer: QuoteAnswer) -> Iterator[tuple[str, str, tuple[int, ...]]]:
    """Yield label and value of each fact, and the loadings that it is about; none: all."""
    yield "Pairs", f"{order.request.pairs}, {_OWNERS[order.request.owner]}", ()
    yield "Press", order.press.name, ()
    many = len(order.placements) > 1
    for number, (placement, quoted) in enumerate(zip(order.placements, answer.placements, strict=True), 1):
        shoes = "both shoes" if placement.sides == "both" else f"the {placement.sides} shoe"
        where = f"{placement.panel.name}, {shoes}"
        yield (
            f"Placement {number}" if many else "Placement",
            f"{where}: {placement.artwork.name}, in {_films(placement)}. {quoted.fit.placed.sentence}",
            tuple({answer.pressings[film.pressing].loading for film in (quoted, quoted.backing) if film is not None}),
        )


def _films(placement: Placement) -> str:
    backing = placement.backing
    return film_name(placement) if backing is None else f"{film_name(placement)}, on a backing in {film_name(backing)}"


def _drawings(order: Order, answer: QuoteAnswer) -> Iterator[tuple[int, Placed]]:
    """Yield for each loading its panels on each shoe, with all that is on them by then, and the loading's number."""
    loadings = [answer.pressings[quoted.pressing].loading for quoted in answer.placements]
    bottom_up = sorted(range(len(order.placements)), key=lambda index: answer.placements[index].pressing)
    many = len(order.placements) > 1
    for loading in dict.fromkeys(pressing.loading for pressing in answer.pressings):
        here = [index for index in bottom_up if loadings[index] == loading]
        for panel in dict.fromkeys(order.placements[index].panel.id for index in sorted(here)):
            for foot in FEET["both"]:
                on_it = [
                    index
                    for index in bottom_up
                    if loadings[index] <= loading
                    and order.placements[index].panel.id == panel
                    and foot in order.placements[index].feet
                ]
                if set(on_it) & set(here):
                    marks = [mark for index in on_it for mark in _marks(order, answer, index, many=many)]
                    yield loading, placed(marks, foot, f"{panel}-{foot}-{loading}")


def _marks(order: Order, answer: QuoteAnswer, index: int, *, many: bool) -> Iterator[PlacedFit]:
    """Yield a placement and, where it has one, its backing."""
    placement, quoted = order.placements[index], answer.placements[index]
    number = index + 1 if many else None
    yield PlacedFit(placement, quoted.fit, number)
    if placement.backing is not None and quoted.backing is not None:
        yield PlacedFit(placement.backing, quoted.backing.fit, number)


def _cuts(order: Order, answer: QuoteAnswer) -> Iterator[Cut]:
    """Yield what is cut for each loading, film by film and colour by colour."""
    uses = () if answer.cost is None else answer.cost.film
    marks = [
        (mark, answer.pressings[quoted.pressing].loading)
        for index, quoted_placement in enumerate(answer.placements)
        for mark, quoted in zip(
            _marks(order, answer, index, many=False), (quoted_placement, quoted_placement.backing), strict=False
        )
        if quoted is not None
    ]
    for loading in sorted({loading for _, loading in marks}):
        for use in uses:
            lot = [
                (mark, where)
                for mark, where in marks
                if (mark.placement.film.id, mark.placement.colour and mark.placement.colour.id)
                == (use.film, use.colour)
            ]
            here = [mark for mark, where in lot if where == loading]
            if not here:
                continue
            together = sorted({where for _, where in lot})
            for_all = f", for loadings {' and '.join(map(str, together))} together" if len(together) > 1 else ""
            yield Cut(
                pieces="; ".join(_pieces(order, mark) for mark in here),
                film=film_name(here[0].placement),
                source=f"{_source(use, order.request.units)}{for_all}",
                way="; ".join(dict.fromkeys(_way(mark.placement) for mark in here)),
                loading=loading,
            )


def _film_and_colour(mark: PlacedFit) -> tuple[str, str | None]:
    colour = mark.placement.colour
    return mark.placement.film.id, None if colour is None else colour.id


def _pieces(order: Order, mark: PlacedFit) -> str:
    placement, artwork, units = mark.placement, mark.fit.artwork, order.request.units
    count = len(placement.feet) * order.request.pairs
    wide, high = say_length(artwork.width_mm, units), say_length(artwork.height_mm, units)
    name = f"the backing of {placement.artwork.name}" if placement.is_backing else placement.artwork.name
    return f"{count} of {name}, {wide.partition(' ')[0]} x {high}"


def _source(use: FilmUse, units: Units) -> str:
    """Return which offcuts and how much of the roll a film is cut from."""
    parts = []
    if use.offcuts:
        parts.append(f"offcut{'s' if len(use.offcuts) > 1 else ''} {', '.join(use.offcuts)}")
    if use.buy is not None:
        parts.append(f"{say_length(use.buy.unrolled_m * 1000.0, units)} of the roll")
    return " and ".join(parts)


def _way(placement: Placement) -> str:
    """Return how a placement's pieces are cut; a directional one is the other way round for the shoe not drawn."""
    if placement.film.cutting is None:
        return "printed transfer, not cut"
    ways = {foot: cut_mirrored(placement, foot) for foot in placement.feet}
    if len(set(ways.values())) == 1:
        return _CUT[ways[placement.feet[0]]]
    return ", ".join(f"{_CUT[way]} for the {foot} shoe" for foot, way in ways.items())


def _pressing(book: Book, order: Order, number: int, pressing: Pressing) -> cards.Pressing:
    recipe, shoes = pressing.recipe, pressing.shoes
    which = "both shoes" if len(shoes) > 1 else f"the {shoes[0]} shoe"
    pairs = pressing.shoes_at_once // len(shoes)
    once = ", one after the other"
    if pairs:
        once = f" of {pairs} pairs at once" if pairs > 1 else " at once" if len(shoes) > 1 else ""
    marks = ""
    if len(order.placements) > 1 or any(placement.backing is not None for placement in order.placements):
        marks = (
            f"; {', '.join((*_numbered('', pressing.placements), *_numbered('the backing of ', pressing.backings)))}"
        )
    where = f"{pressing.face} face; {which}{once}{marks}"
    setting = recipe.setting
    tiles = (
        (Tile("", "no setting"),) if setting is None else tuple(_tiles(book, setting, order.request.units, pressing))
    )
    return cards.Pressing(f"Pressing {number}", where, tiles, pressing.loading)


def _numbered(of: str, indices: Sequence[int]) -> Iterator[str]:
    """Yield placements by their numbers, or what is of them."""
    if indices:
        numbers = ", ".join(str(index + 1) for index in indices)
        yield f"{of}placement{'s' if len(indices) > 1 else ''} {numbers}"


def _tiles(book: Book, setting: Setting, units: Units, pressing: Pressing) -> Iterator[Tile]:
    platen, *also = say_settable(setting, units)
    yield Tile("Platen", platen, "".join(also))
    yield Tile("Dwell", f"{setting.dwell_s:g} s", sure_dwells(pressing.recipe))
    yield Tile("Pressure", setting.pressure, _pressure(setting, units))
    yield Tile("Cover sheet", "none" if setting.cover is None else book.covers[setting.cover].name)
    peel = pressing.recipe.peel
    if peel is not None:
        yield Tile(
            "Peel", peel.when, f"{peel.wait_s:.0f} s after opening" if peel.wait_s >= 1.0 else "at once", large=False
        )


def _pressure(setting: Setting, units: Units) -> str:
    kpa, psi = f"{setting.pressure_kpa:.0f} kPa", f"{setting.pressure_kpa / PSI_KPA:.0f} psi"
    first, second = (psi, kpa) if units == "us" else (kpa, psi)
    return f"{first} ({second}) at the platen"


def sure_dwells(recipe: Recipe) -> str:
    """Return which dwells are sure at the worst case, rounded inwards; the nominal window is no leeway at the press."""
    window, setting = recipe.window, recipe.setting
    if window is None or setting is None:
        return ""
    shortest_s, longest_s = window.worst_case.shortest_s, window.worst_case.longest_s
    if shortest_s is None or longest_s is None or shortest_s > longest_s:
        return "no dwell is sure"
    first = last = ""
    for digits in (0, 1):
        # A value within rounding errors of a whole step counts as that step.
        first = f"{math.ceil(shortest_s * 10.0**digits - 1e-6) / 10.0**digits:.{digits}f}"
        last = f"{math.floor(longest_s * 10.0**digits + 1e-6) / 10.0**digits:.{digits}f}"
        if float(first) <= setting.dwell_s <= float(last):
            break
    return f"sure from {first} to {last} s"


def _steps(order: Order, pressings: Sequence[Pressing]) -> Iterator[cards.Steps]:
    """Yield the steps of each pressing in full."""
    for number, pressing in enumerate(pressings, 1):
        # The first pressing of a loading has the cuts of all.
        marks = [
            order.placements[index]
            for other in pressings
            if other.loading == pressing.loading
            for index in other.placements
        ]
        sentences = tuple(_said(step, marks) for step in pressing.recipe.steps)
        if sentences:
            heading = "Steps" if len(pressings) == 1 else f"Steps of pressing {number}"
            yield cards.Steps(heading, sentences, pressing.loading)


def _said(step: Step, marks: Sequence[Placement]) -> str:
    """Return a step as the card says it: settings are on the card already, and so is how each piece is cut."""
    turned = any(cut_mirrored(mark, foot) is not mark.film.cut_mirrored for mark in marks for foot in mark.feet)
    if step.do == "cut" and turned:
        return f"{step.sentence} But a drawing with a direction is cut as the table above says for each shoe."
    return _ON_THE_CARD.get(step.do, step.sentence)


def _trials(book: Book, order: Order, sightings: tuple[Sighting, ...]) -> Iterator[cards.Trial]:
    """Yield a trial for every film and panel whose recipe is to be tried first, each plan once."""
    plans: dict[Trial, str] = {}
    marks = quotes.mark(book, order, sightings)
    by_pointer = {mark.pointer: mark.placement for mark in marks}
    for pointer, plan in trials_of(book, order, marks).items():
        placement = by_pointer[pointer]
        plans.setdefault(plan, f"{placement.panel.name}, {placement.film.name}")
    for plan, heading in plans.items():
        yield cards.Trial(
            heading=f"Trial first: {heading}",
            where=plan.places[0].sentence,
            before=tuple(_without_marks(sentence) for sentence in plan.before),
            rungs=tuple(_rung(book, order.request.units, plan, rung) for rung in plan.rungs),
            looks=tuple(look.sentence for look in plan.looks),
            stop=plan.stop,
            # The first of the plan's says what the next request is; at the bench that is another card.
            afterwards=(_WHAT_STOOD, *(_without_marks(sentence) for sentence in plan.afterwards[1:])),
        )


def _without_marks(sentence: str) -> str:
    """Return a sentence without the marks about names of fields, which a bench does not know."""
    return sentence.replace("`", "")


def _rung(book: Book, units: Units, plan: Trial, rung: Rung) -> cards.Rung:
    setting = rung.setting
    temperature, *other = say_settable(setting, units)
    also = "".join(other)
    cover = "no cover sheet" if setting.cover is None else book.covers[setting.cover].name
    names = {candidate.upper: candidate.name for candidate in plan.candidates}
    weakest = min(rung.predicted, key=lambda candidate: candidate.worst_case_margin_k)
    unharmed = "harms none of the uppers it may be of" if len(names) > 1 else f"does not harm {names[weakest.upper]}"
    heat = unharmed if weakest.heat == "sure" else f"may harm: {names[weakest.upper]}"
    bond = next((outcome for outcome in rung.outcomes if outcome.seen == "bond"), None)
    return cards.Rung(
        setting=f"{temperature}{f' ({also})' if also else ''}, {setting.dwell_s:g} s, {setting.pressure}",
        tiles=(
            Tile("Platen", temperature, also),
            Tile("Dwell", f"{setting.dwell_s:g} s"),
            Tile("Pressure", setting.pressure, _pressure(setting, units)),
        ),
        lay=f"a scrap of film, {cover}" if rung.film else f"{cover} alone",
        heat=heat,
        holds=""
        if bond is None
        else f"keep to it. The upper is, or behaves as, {any_of([names[upper] for upper in bond.leaves])}.",
    )
