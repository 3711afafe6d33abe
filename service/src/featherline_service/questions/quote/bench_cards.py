"""The bench card of a quote: all that the bench needs for an order, loading by loading."""

from __future__ import annotations

import math
import re
import string
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from msgspec.structs import astuple

from featherline.wire import costs
from featherline.wire.costs import FilmUse
from featherline.wire.quotes import Pressing, QuoteAnswer
from featherline.wire.recipes import Recipe, Setting, Step, Units
from featherline.wire.records import Cover
from featherline.wire.shoes import BookShoe, MeasuredPanel
from featherline.wire.trials import Rung, Trial
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.drawing import cards
from featherline_service.drawing.cards import Card, Cut, Tile
from featherline_service.drawing.placements import Placed, Ways
from featherline_service.messages.local_names import local_name
from featherline_service.messages.values import Quantity, Said, Speaker
from featherline_service.quantities import inches, length, plain_seconds
from featherline_service.questions.checks import Checks
from featherline_service.questions.fit.placement_drawings import PlacedFit, placed
from featherline_service.questions.order import poses
from featherline_service.questions.order.orders import Order
from featherline_service.questions.order.placements import FEET, Placement
from featherline_service.questions.quote import quotes
from featherline_service.questions.quote.card_evidence import evidence_line
from featherline_service.questions.quote.cut_sheets import cut_mirrored
from featherline_service.questions.quote.evidence import sightings_of
from featherline_service.questions.quote.first_trials import trials_of
from featherline_service.questions.recipe.evidence.sightings import Sighting
from featherline_service.questions.shoes.presses import pressures_of, temperatures_of
from featherline_service.questions.shoes.shoes import Panel
from featherline_service.questions.translation import speaker, translated
from featherline_service.questions.trial import trial_words

_BY_HAND: Final[dict[Verdict, tuple[str, ...]]] = {
    "ready": ("date", "worker", "pair", "checked"),
    "trial": ("date", "worker", "pair", "trial", "checked"),
    "decline": (),
}
_FIELD: Final = re.compile(r" \(`[^`]+`\)")
_LETTERS: Final = string.ascii_uppercase
_ON_THE_CARD: Final = frozenset({"set", "press"})
"""Steps that repeat the settings, by what is done, and have a message where the settings stand beside them."""


def compose(book: Book, request: costs.Order) -> Card:
    """Return the bench card of an order, in the shop's language.

    Raises:
        RefusedError: As `quotes.compose`.
    """
    checks = Checks()
    order, terms = quotes.read(book, request, checks)
    answer = translated(quotes.quote_of(book, order, terms, checks), book, book.bench.language)
    sightings = sightings_of(book, request, Checks())
    shown = _Shown(book, order, answer, speaker(book, book.bench.language))
    tell, drawings, facts = shown.tell, tuple(_drawings(shown)), tuple(_facts(shown))
    # Until the trial has an outcome its ladder is all that the bench is told: never two recipes on one card.
    trials = tuple(_trials(shown, sightings)) if answer.verdict == "trial" else ()
    return Card(
        shop=book.bench.name,
        subject=_capitalised(_subject(shown)),
        facts=tuple((label, value) for label, value, _ in facts),
        verdict=answer.verdict,
        verdict_words=tell("card.verdict", verdict=answer.verdict),
        reasons=tuple(dict.fromkeys(reason.sentence for reason in answer.reasons if not trials or _of_trial(reason))),
        drawings=tuple(drawing for _, drawing in drawings),
        pressings=()
        if trials
        else tuple(
            _pressing(shown, number, pressing)._replace(evidence=evidence_line(book, pressing.recipe, sightings, tell))
            for number, pressing in enumerate(answer.pressings, 1)
        ),
        steps=() if trials else tuple(_steps(shown)),
        trials=trials,
        cautions=tuple(
            dict.fromkeys(caution.sentence for pressing in answer.pressings for caution in pressing.recipe.cautions)
        ),
        by_hand=tuple(tell(f"card.by-hand.{blank}") for blank in _BY_HAND[answer.verdict]),
        footing=tell("card.footing", book=answer.book.removeprefix("sha256:")[:16], engine=answer.engine),
        letter=order.request.units == "us",
        cuts=tuple(_cuts(shown)),
        drawing_loadings=tuple(loading for loading, _ in drawings),
        fact_loadings=tuple(about for _, _, about in facts),
        reference=order.request.reference or "",
        tell=tell,
    )


class _Shown(NamedTuple):
    """An order and its answer, and who tells of them in the shop's language."""

    book: Book
    order: Order
    answer: QuoteAnswer
    tell: Speaker

    @property
    def units(self) -> Units:
        return self.order.request.units

    def film(self, placement: Placement) -> str:
        """Return a placement's film and colour."""
        film, colour = self.tell.name("films", placement.film), placement.colour
        return film if colour is None else f"{film}, {local_name(colour, self.book.bench.language)}"

    def panel(self, panel: Panel) -> str:
        """Return the name of a panel."""
        drawn = panel.drawing
        return panel.name if isinstance(drawn, MeasuredPanel) else local_name(drawn, self.book.bench.language)

    def artwork(self, placement: Placement) -> str:
        """Return a placement's words, or that it is a drawing."""
        return self.tell("card.drawing") if placement.artwork.text is None else placement.artwork.name

    def cover(self, setting: Setting) -> Cover | None:
        """Return the cover sheet of a setting."""
        return None if setting.cover is None else self.book.covers[setting.cover]


def _of_trial(reason: Reason) -> bool:
    """Return whether a reason belongs on the card of a trial: no remark about a setting that the card does not have."""
    # How sure the recipe's own setting is, and which uppers a label allows, the rungs tell of theirs.
    if reason.code == "heat.worst-case" or reason.message == "shoe.measured.by-label":
        return False
    return reason.verdict != "ready" or not reason.code.startswith("heat.")


def _subject(shown: _Shown) -> str:
    """Return the shoe, with its colour where the order says it: whoever packs tells pairs by it."""
    shoe, asked, language = shown.order.shoe, shown.order.request.shoe, shown.book.bench.language
    if isinstance(asked, BookShoe):
        assert shoe.model is not None  # noqa: S101 - it is of the book
        name = f"{local_name(shoe.model, language)}, {asked.size.system} {asked.size.value}"
    else:
        upper = None if asked.upper is None else shown.book.uppers[asked.upper]
        name = shown.tell("card.walk-in", label=asked.label, upper=upper)
    colour = shoe.colour or asked.colour if shoe.made_in is None else local_name(shoe.made_in, language)
    return name if asked.colour is None else f"{name}, {colour}"


def _capitalised(words: str) -> str:
    return words[:1].upper() + words[1:]


def _facts(shown: _Shown) -> Iterator[tuple[str, str, tuple[int, ...]]]:
    """Yield label and value of each fact, and the loadings that it is about; none: all."""
    order, answer, tell = shown.order, shown.answer, shown.tell
    yield tell("card.pairs"), tell("card.pairs.of", pairs=order.request.pairs, owner=order.request.owner), ()
    yield tell("card.press"), tell.name("presses", order.press), ()
    many = len(order.placements) > 1
    for number, (placement, quoted) in enumerate(zip(order.placements, answer.placements, strict=True), 1):
        yield (
            tell("card.placement", number=str(number) if many else None),
            tell(
                "card.placement.is",
                panel=shown.panel(placement.panel),
                side=placement.sides,
                artwork=shown.artwork(placement),
                film=_films(shown, placement),
                where=poses.say(placement.position, placement.shape, placement.artwork.units, tell),
            ),
            tuple({answer.pressings[film.pressing].loading for film in (quoted, quoted.backing) if film is not None}),
        )


def _films(shown: _Shown, placement: Placement) -> str:
    film, backing = shown.film(placement), placement.backing
    return film if backing is None else shown.tell("card.backed", film=film, backing=shown.film(backing))


def _drawings(shown: _Shown) -> Iterator[tuple[int, Placed]]:
    """Yield for each loading its panels on each shoe, with all that is on them by then, and the loading's number."""
    order, answer = shown.order, shown.answer
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
                    yield loading, _told(shown, marks, placed(marks, foot, f"{panel}-{foot}-{loading}"))


def _told(shown: _Shown, marks: Sequence[PlacedFit], drawn: Placed) -> Placed:
    """Return a drawing with its words in the shop's language."""
    tell = shown.tell
    names = [
        shown.artwork(mark.placement) if mark.number is None else f"({mark.number}) {shown.artwork(mark.placement)}"
        for mark in marks
        if not mark.placement.is_backing
    ]
    title = tell("card.drawn.title", panel=shown.panel(marks[0].placement.panel), artworks=", ".join(names))
    ways = Ways(tell("card.way.toe"), *(tell("card.way.shoe", shoe=shoe) for shoe in FEET["both"]))
    films = ", ".join(dict.fromkeys(shown.film(mark.placement) for mark in marks))
    places = 2 if shown.units == "us" else 1

    def figures(length_mm: float) -> str:
        return tell.texts.number(inches(length_mm) if shown.units == "us" else length_mm, places)

    return drawn._replace(title=title, description=f"{title}. {films}.", ways=ways, say=figures)


def _marks(order: Order, answer: QuoteAnswer, index: int, *, many: bool) -> Iterator[PlacedFit]:
    """Yield a placement and, where it has one, its backing."""
    placement, quoted = order.placements[index], answer.placements[index]
    number = index + 1 if many else None
    yield PlacedFit(placement, quoted.fit, number)
    if placement.backing is not None and quoted.backing is not None:
        yield PlacedFit(placement.backing, quoted.backing.fit, number)


def _cuts(shown: _Shown) -> Iterator[Cut]:
    """Yield what is cut for each loading, film by film and colour by colour."""
    order, answer, tell = shown.order, shown.answer, shown.tell
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
            source = _source(shown, use)
            if len(together) > 1:
                source = tell("card.cut.together", source=source, loadings=", ".join(map(str, together)))
            yield Cut(
                pieces="; ".join(_pieces(shown, mark) for mark in here),
                film=shown.film(here[0].placement),
                source=source,
                way="; ".join(dict.fromkeys(_way(mark.placement, tell) for mark in here)),
                loading=loading,
            )


def _pieces(shown: _Shown, mark: PlacedFit) -> str:
    placement, artwork, units = mark.placement, mark.fit.artwork, shown.units
    width = length(artwork.width_mm, units)
    assert width is not None  # noqa: S101 - an artwork is finite
    return shown.tell(
        "card.cut.pieces",
        pieces=len(placement.feet) * shown.order.request.pairs,
        artwork=shown.artwork(placement),
        what="backing" if placement.is_backing else "artwork",
        width=Quantity(width.value, None, width.decimals),
        height=length(artwork.height_mm, units),
    )


def _source(shown: _Shown, use: FilmUse) -> str:
    """Return which offcuts and how much of the roll a film is cut from."""
    tell, offcuts, roll = shown.tell, "", ""
    if use.offcuts:
        offcuts = tell("card.cut.offcuts", offcuts=", ".join(use.offcuts), count=len(use.offcuts))
    if use.buy is not None:
        roll = tell("card.cut.roll", length=length(use.buy.unrolled_m * 1000.0, shown.units))
    return tell("card.cut.both", offcuts=offcuts, roll=roll) if offcuts and roll else offcuts or roll


def _way(placement: Placement, tell: Speaker) -> str:
    """Return how a placement's pieces are cut; a directional one is the other way round for the shoe not drawn."""
    if placement.film.cutting is None:
        return tell("card.cut.transfer")
    ways = {foot: "mirrored" if cut_mirrored(placement, foot) else "as-it-is" for foot in placement.feet}
    if len(set(ways.values())) == 1:
        return tell("card.cut.is", way=ways[placement.feet[0]])
    return ", ".join(tell("card.cut.for", way=way, shoe=foot) for foot, way in ways.items())


def _pressing(shown: _Shown, number: int, pressing: Pressing) -> cards.Pressing:
    tell, recipe, shoes = shown.tell, pressing.recipe, pressing.shoes
    pairs = pressing.shoes_at_once // len(shoes)
    once = "in-turn"
    if pairs:
        once = "pairs" if pairs > 1 else "pair" if len(shoes) > 1 else "shoe"
    marks = None
    if len(shown.order.placements) > 1 or any(placement.backing is not None for placement in shown.order.placements):
        parts = (("card.pressing.placements", pressing.placements), ("card.pressing.backings", pressing.backings))
        marks = ", ".join(_numbered(tell, message, indices) for message, indices in parts if indices)
    where = tell(
        "card.pressing.is",
        face=pressing.face,
        side="both" if len(shoes) > 1 else shoes[0],
        once=once,
        pairs=pairs,
        marks=marks,
    )
    setting = recipe.setting
    tiles = (Tile("", tell("card.no-setting")),) if setting is None else tuple(_tiles(shown, setting, pressing))
    return cards.Pressing(tell("card.pressing", number=number), where, tiles, pressing.loading)


def _numbered(tell: Speaker, message: str, indices: Sequence[int]) -> str:
    """Return placements by their numbers, or what is of them."""
    return tell(message, numbers=", ".join(str(index + 1) for index in indices), count=len(indices))


def _tiles(shown: _Shown, setting: Setting, pressing: Pressing) -> Iterator[Tile]:
    tell = shown.tell
    platen, dwell, pressure = _large(shown, setting)
    yield platen
    yield dwell._replace(also=sure_dwells(pressing.recipe, tell))
    yield pressure
    yield Tile(tell("card.cover"), tell("card.cover.is", cover=shown.cover(setting)))
    peel = pressing.recipe.peel
    if peel is not None:
        wait = Quantity(round(peel.wait_s) + 0.0, "s", 0) if peel.wait_s >= 1.0 else None
        yield Tile(
            tell("card.peel"),
            tell("card.peel.is", when=peel.when),
            tell("card.peel.after", wait=wait),
            large=False,
        )


def _large(shown: _Shown, setting: Setting) -> tuple[Tile, Tile, Tile]:
    """Return what a press is set to: temperature, dwell and pressure."""
    tell, texts = shown.tell, shown.tell.texts
    platen, *also = (texts.quantity(*each) for each in map(astuple, temperatures_of(setting, shown.units)))
    dwell = plain_seconds(setting.dwell_s)
    pressure, other = pressures_of(setting, shown.units)
    return (
        Tile(tell("card.platen"), platen, "".join(also)),
        Tile(tell("card.dwell"), texts.quantity(*astuple(dwell))),
        Tile(
            tell("card.pressure"),
            tell("card.pressure.is", level=setting.pressure),
            tell("card.pressure.at", pressure=pressure, other=other),
        ),
    )


def sure_dwells(recipe: Recipe, tell: Speaker) -> str:
    """Return which dwells are sure at the worst case, rounded inwards; the nominal window is no leeway at the press."""
    window, setting = recipe.window, recipe.setting
    if window is None or setting is None:
        return ""
    shortest_s, longest_s = window.worst_case.shortest_s, window.worst_case.longest_s
    if shortest_s is None or longest_s is None or shortest_s > longest_s:
        return tell("card.dwell.unsure")
    first = last = 0.0
    for digits in (0, 1):
        # A value within rounding errors of a whole step counts as that step.
        first = math.ceil(shortest_s * 10.0**digits - 1e-6) / 10.0**digits
        last = math.floor(longest_s * 10.0**digits + 1e-6) / 10.0**digits
        if first <= setting.dwell_s <= last:
            break
    return tell("card.dwell.sure", first=Quantity(first, None, digits), last=Quantity(last, "s", digits))


def _steps(shown: _Shown) -> Iterator[cards.Steps]:
    """Yield the steps of each pressing; those of an earlier pressing of the same loading by their numbers there."""
    pressings = shown.answer.pressings
    told: dict[int, tuple[int, tuple[str, ...]]] = {}
    for number, pressing in enumerate(pressings, 1):
        # The first pressing of a loading has the cuts of all.
        marks = [
            shown.order.placements[index]
            for other in pressings
            if other.loading == pressing.loading
            for index in other.placements
        ]
        sentences = tuple(_said(shown.tell, step, marks) for step in pressing.recipe.steps)
        set_anew = {said for step, said in zip(pressing.recipe.steps, sentences, strict=True) if step.do == "set"}
        if sentences:
            heading = shown.tell("card.steps", number=None if len(pressings) == 1 else str(number))
            first, known = told.setdefault(pressing.loading, (number, sentences))
            if first != number:
                sentences = tuple(_by_number(shown.tell, sentences, known, first, set_anew))
            yield cards.Steps(heading, sentences, pressing.loading)


def _by_number(
    tell: Speaker, sentences: Sequence[str], known: Sequence[str], pressing: int, apart: set[str]
) -> Iterator[str]:
    """Yield steps, and in the place of those that an earlier pressing has in the same order their numbers there.

    Steps `apart` are always said: the press is set to this pressing's settings, not to those of the earlier one.
    """
    index = 0
    while index < len(sentences):
        begin = end = known.index(sentences[index]) if sentences[index] in known else len(known)
        while index < len(sentences) and end < len(known) and sentences[index] == known[end] not in apart:
            index, end = index + 1, end + 1
        if begin == end:
            yield sentences[index]
            index += 1
        else:
            first = str(begin + 1) if end - begin > 1 else None
            yield tell("card.steps.as", first=first, last=str(end), pressing=str(pressing))


def _said(tell: Speaker, step: Step, marks: Sequence[Placement]) -> str:
    """Return a step as the card says it: settings are on the card already, and so is how each piece is cut."""
    turned = any(cut_mirrored(mark, foot) is not mark.film.cut_mirrored for mark in marks for foot in mark.feet)
    if step.do == "cut" and turned:
        return tell("card.cut.directional", cut=step.sentence)
    return tell(f"{step.message}.here") if step.do in _ON_THE_CARD else step.sentence


def _trials(shown: _Shown, sightings: tuple[Sighting, ...]) -> Iterator[cards.Trial]:
    """Yield a trial for every film; panels with the same ladder share it."""
    book, order, answer, tell = shown.book, shown.order, shown.answer, shown.tell
    marks = quotes.mark(book, order, sightings)
    by_pointer = {mark.pointer: mark.placement for mark in marks}
    ladders: dict[tuple[object, ...], dict[Trial, tuple[Placement, set[int]]]] = {}
    for pointer, plan in trials_of(book, order, marks).items():
        _, placements, index, *backing = pointer.split("/")
        assert placements == "placements"  # noqa: S101 - what is tried is placed
        quoted = answer.placements[int(index)]
        film = quoted.backing if backing and quoted.backing is not None else quoted
        alike = ladders.setdefault((plan.film, plan.candidates, plan.rungs, plan.looks), {})
        _, loadings = alike.setdefault(plan, (by_pointer[pointer], set()))
        loadings.add(answer.pressings[film.pressing].loading)
    owner, known = order.request.owner, order.shoe.model is not None
    for alike in ladders.values():
        plan = next(iter(alike))
        panels = [shown.panel(placement.panel) for placement, _ in alike.values()]
        places = [translated(each, book, book.bench.language).places[0].sentence for each in alike]
        if len(panels) > 1:
            places = [f"{tell('card.label', label=panel)} {place}" for panel, place in zip(panels, places, strict=True)]
        # The first of the plan's says what the next request is; at the bench that is another card.
        _, *afterwards = trial_words.afterwards(owner, known=known)
        letters = _letters(plan)
        yield cards.Trial(
            heading=tell("card.trial", panel=", ".join(panels), film=tell.name("films", book.films[plan.film])),
            where=" ".join(places),
            before=_for_the_bench(tell, trial_words.before(owner, len(plan.candidates))),
            rungs=tuple(_rung(shown, plan, rung, letters) for rung in plan.rungs),
            looks=tuple(look.sentence for look in translated(plan, book, book.bench.language).looks),
            stop=_for_the_bench(tell, trial_words.stop()),
            afterwards=(tell("card.trial.stood"), *_for_the_bench(tell, afterwards)),
            uppers=tuple(f"{letter} {tell.name('uppers', book.uppers[upper])}" for upper, letter in letters.items()),
            loadings=tuple(sorted({loading for _, loadings in alike.values() for loading in loadings})),
        )


def _letters(plan: Trial) -> dict[str, str]:
    """Return letters for the uppers that a shoe may be of, by which the rungs name them; none where there is one."""
    uppers = [candidate.upper for candidate in plan.candidates]
    return dict(zip(uppers, _LETTERS, strict=False)) if 1 < len(uppers) <= len(_LETTERS) else {}


def _for_the_bench(tell: Speaker, words: Iterable[Said]) -> tuple[str, ...]:
    """Return messages without the names of fields, which a bench does not know."""
    return tuple(_FIELD.sub("", tell.again(said)).replace("`", "") for said in words)


def _rung(shown: _Shown, plan: Trial, rung: Rung, letters: Mapping[str, str]) -> cards.Rung:
    tell, tiles = shown.tell, _large(shown, rung.setting)
    platen, dwell, pressure = tiles
    names = {
        candidate.upper: letters.get(candidate.upper) or tell.name("uppers", shown.book.uppers[candidate.upper])
        for candidate in plan.candidates
    }
    weakest = min(rung.predicted, key=lambda candidate: candidate.worst_case_margin_k)
    upper = None if weakest.heat == "sure" and len(names) > 1 else names[weakest.upper]
    bond = next((outcome for outcome in rung.outcomes if outcome.seen == "bond"), None)
    left = () if bond is None else tuple(names[upper] for upper in bond.leaves)
    return cards.Rung(
        setting=f"{platen.value}{f' ({platen.also})' if platen.also else ''}, {dwell.value}, {pressure.value}",
        tiles=tiles,
        lay=tell("card.trial.lay.is", cover=shown.cover(rung.setting), film="scrap" if rung.film else "none"),
        heat=tell("card.trial.heat.is", heat="sure" if weakest.heat == "sure" else "unsure", upper=upper),
        holds=""
        if bond is None
        else tell("card.trial.holds.is", uppers=", ".join(left) if letters else tell.texts.joined(left, "list.or")),
    )
