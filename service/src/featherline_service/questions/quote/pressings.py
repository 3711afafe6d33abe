"""How an order's placements share closings of the press: by face and film, at one setting that suits all of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.quotes import Pressing
from featherline.wire.recipes import Recipe, Setting
from featherline.wire.records import Film, Platen, Upper
from featherline.wire.shoes import Face
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import Quantity, Said, said
from featherline_service.quantities import told_apart, without_zero
from featherline_service.questions.order.orders import Order
from featherline_service.questions.order.placements import FEET, Foot
from featherline_service.questions.quote.adjacent_panels import Hazard, hazards, unmarked
from featherline_service.questions.quote.marks import Mark, height, values_of
from featherline_service.questions.reasons import reason
from featherline_service.questions.recipe import recipes
from featherline_service.questions.recipe.recipe_reasons import longer_than_published
from featherline_service.questions.recipe.steps import Turn, steps
from featherline_service.questions.shoes.old_marks import marked_upper
from featherline_service.questions.shoes.presses import first_platen, offset_k


class BenchPressing(Struct, frozen=True, kw_only=True):
    """A pressing, its marks, and for every panel that it marks what its setting, dwell included, does to it.

    `most_shoes` is how many shoes the platen takes at once, however many the order has.
    """

    pressing: Pressing
    marks: tuple[Mark, ...]
    recipes: tuple[Recipe, ...]
    most_shoes: int


class Plan(Struct, frozen=True, kw_only=True):
    """The pressings of an order in the order of the bench, and why some are pressed apart."""

    pressings: tuple[BenchPressing, ...]
    reasons: tuple[Reason, ...]


class _Group(Struct, frozen=True, kw_only=True):
    """Placements bonded in one closing by the first of `recipes`; the others are their panels' own at its setting."""

    marks: tuple[Mark, ...]
    recipes: tuple[Recipe, ...]


class _Closing(Struct, frozen=True, kw_only=True):
    """A group in its place on the bench: the face that it is on, the loading, and the platen."""

    face: Face
    loading: int
    group: _Group
    platen: Platen


def shoes_marked(marks: Sequence[Mark]) -> tuple[Foot, ...]:
    """Return which shoes of the pair some placements mark."""
    feet = {foot for mark in marks for foot in mark.placement.feet}
    return tuple(foot for foot in FEET["both"] if foot in feet)


def plan(book: Book, order: Order, marks: Sequence[Mark]) -> Plan:
    """Return the pressings that bond all placements.

    Placements of one film on one face share a closing where one setting suits all their panels; else they are pressed
    apart, each panel alone under the platen. Films that differ follow one another on one loading, the hottest first,
    so that no film is pressed again hotter than its own setting. Every other face, or platen, is another loading.
    A mark that lies on another is pressed after it, whatever is hotter, for the lower film's carrier would lie between.
    """
    closings: list[_Closing] = []
    reasons: list[Reason] = []
    for face in dict.fromkeys(mark.fit.face for mark in marks):
        on_face = [mark for mark in marks if mark.fit.face == face]
        for level in sorted({height(marks, mark) for mark in on_face}):
            on_level = [mark for mark in on_face if height(marks, mark) == level]
            for platen, on_platen in _by_platen(book, order, face, on_level):
                loadings, why = _loadings(book, on_platen)
                reasons += why
                for groups in loadings:
                    loading = _loading(closings, face, platen, groups, is_first=groups is loadings[0])
                    closings += [_Closing(face=face, loading=loading, group=group, platen=platen) for group in groups]
    reasons += [_pressed_onto(mark, marks[mark.lower]) for mark in marks if mark.lower is not None]
    pressings = []
    for at, closing in enumerate(closings):
        beside = _beside(book, order, closing)
        reasons += [
            reason
            for recipe in closing.group.recipes[1:]
            for reason in recipe.reasons
            if reason.code == "heat.film-longer" and reason.subject.startswith("/placements/")
        ]
        reasons += [_endangers(closing, hazard) for hazard in beside]
        reasons += [_presses_again(closing, hazard) for hazard in _pressed_before(book, order, closings, at)]
        lying = (mark for mark in closing.group.marks if mark.lower is not None)
        onto = tuple(_onto("step.onto", mark, marks[mark.lower or 0]) for mark in lying)
        pressings.append(
            _planned(book, order, closings, at, keep_out=tuple(hazard.name for hazard in beside), onto=onto)
        )
    return Plan(pressings=tuple(pressings), reasons=tuple(reasons))


def _loading(
    closings: Sequence[_Closing], face: Face, platen: Platen, groups: Sequence[_Group], *, is_first: bool
) -> int:
    """Return the loading of some groups: the one before where they lie on its marks, under the same platen."""
    before = closings[-1] if closings else None
    if before is None:
        return 1
    lies_on_others = all(mark.lower is not None for group in groups for mark in group.marks)
    stays = is_first and lies_on_others and before.face == face and before.platen == platen
    return before.loading if stays else before.loading + 1


def _by_platen(book: Book, order: Order, face: Face, marks: Sequence[Mark]) -> Iterator[tuple[Platen, list[Mark]]]:
    """Yield placements of one face by platen: each time the platen that holds most of those left."""
    left = list(marks)
    while left:
        names = dict.fromkeys(name for mark in left for name in mark.fit.platens)
        if names:
            best = max(names, key=lambda name: sum(name in mark.fit.platens for mark in left))
            here = [mark for mark in left if best in mark.fit.platens]
            yield book.platens[best], here
        else:  # no platen holds them: they are declined
            here = left
            yield first_platen(book, order.press, face, order.shoe.inside_length), here
        left = [mark for mark in left if mark not in here]


def _loadings(book: Book, marks: Sequence[Mark]) -> tuple[list[list[_Group]], list[Reason]]:
    """Return the loadings of placements on one face and platen, each its closings in order, and why some are apart."""
    together: list[_Group] = []
    apart: list[_Group] = []
    reasons: list[Reason] = []
    for film in dict.fromkeys(mark.placement.film.id for mark in marks):
        groups = _groups(book, [mark for mark in marks if mark.placement.film.id == film])
        together.append(groups[0])
        apart += groups[1:]
        reasons += [_apart(group, groups[0]) for group in groups[1:]]
    return [sorted(together, key=_hottest_first), *([group] for group in apart)], reasons


def _groups(book: Book, marks: Sequence[Mark]) -> list[_Group]:
    """Return placements of one film on one face in as few closings as their panels' windows allow."""
    groups: list[_Group] = []
    left = list(marks)
    while left:
        candidates = [_sharing(book, mark, left) for mark in left]
        best = max(candidates, key=lambda group: len(group.marks))
        groups.append(best)
        left = [mark for mark in left if mark not in best.marks]
    return groups


def _sharing(book: Book, leader: Mark, marks: Sequence[Mark]) -> _Group:
    """Return the placements that the leader's setting bonds without harm, the leader first among their recipes."""
    setting = leader.recipe.setting
    members: list[Mark] = []
    shared_recipes = [leader.recipe]
    for mark in marks:
        if mark.placement.panel.id == leader.placement.panel.id and _under(mark) == _under(leader):
            members.append(mark)
        elif setting is not None and (recipe := _at_setting(book, mark, setting)) is not None:
            members.append(mark)
            shared_recipes.append(recipe)
    return _Group(marks=tuple(members), recipes=tuple(shared_recipes))


def _under(mark: Mark) -> list[str]:
    """Return the films that a mark is pressed on."""
    return [old_mark.film for old_mark in mark.task.old_marks if old_mark.under]


def _at_setting(book: Book, mark: Mark, setting: Setting) -> Recipe | None:
    """Return what a setting, dwell included, does to a placement's panel, or None where its window does not hold it."""
    recipe = mark.recipe
    task = mark.task._replace(covers=(setting.cover,), pressure=setting.pressure, temperature_c=setting.temperature_c)
    if recipe.setting is not None and recipe.setting != setting:
        recipe = recipes.recipe_of(book, task)
    if recipe.setting is None or not _holds(recipe, setting):
        return None
    if recipe.setting.dwell_s == setting.dwell_s:
        return recipe
    return replace(
        recipe,
        setting=setting,
        layers=recipes.layers_at(book, task, setting.dwell_s),
        reasons=tuple(_longer(mark, recipe, setting)),
    )


def _longer(mark: Mark, recipe: Recipe, setting: Setting) -> Iterator[Reason]:
    """Yield the remark that a dwell shared with another panel is longer than the film's published one on this panel."""
    published_s = None if recipe.window is None else recipe.window.published_s
    if published_s is not None and setting.dwell_s > published_s:
        yield longer_than_published(mark.placement.film, setting.dwell_s, published_s, f"/placements/{mark.index}")


def _holds(recipe: Recipe, setting: Setting) -> bool:
    """Return whether a recipe is for a setting's cover, pressure and temperature, and its window holds the dwell."""
    if recipe.setting is None or recipe.window is None:
        return False
    if replace(recipe.setting, dwell_s=setting.dwell_s) != setting:
        return False
    # A ready recipe must stay ready at the worst case; one to be tried first has its nominal window.
    band = recipe.window.worst_case if recipe.verdict == "ready" else recipe.window
    return (
        band.shortest_s is not None
        and band.longest_s is not None
        and (band.shortest_s <= setting.dwell_s <= band.longest_s)
    )


def _apart(group: _Group, first: _Group) -> Reason:
    other = first.marks[0].placement.panel.id
    here = group.marks[0].placement.panel.id
    words = said("heat.pressed-apart.panels", here=here, other=other)
    if here == other:
        words = said(
            "heat.pressed-apart.marks", **values_of("mark", group.marks[0]), **values_of("other", first.marks[0])
        )
    return reason("heat.pressed-apart", "ready", group.marks[0].pointer, words)


def _pressed_onto(mark: Mark, lower: Mark) -> Reason:
    """Return that a mark lies on another of the order, and what follows."""
    return reason("heat.pressed-onto", "ready", mark.onto_pointer, _onto("heat.pressed-onto", mark, lower))


def _onto(message: str, mark: Mark, lower: Mark) -> Said:
    """Return a message on a mark and the one below it, with the film of that."""
    other = values_of("other", lower)
    if lower.index == mark.index:
        other["other_part"] = "own-backing"
    return said(message, **values_of("mark", mark), **other, film=lower.placement.film)


def _hottest_first(group: _Group) -> float:
    setting = group.recipes[0].setting
    return 0.0 if setting is None else -setting.temperature_c


def _beside(book: Book, order: Order, closing: _Closing) -> tuple[Hazard, ...]:
    """Return the panels of the shoe that lie under the platen unmarked and do not surely stand it."""
    panels = {mark.placement.panel.id for mark in closing.group.marks}
    return _hazards(book, order, closing, unmarked(order.shoe, closing.face, panels))


def _pressed_before(book: Book, order: Order, closings: Sequence[_Closing], at: int) -> tuple[Hazard, ...]:
    """Return the films of earlier closings that are pressed again and do not surely stand it.

    They are on the same loading, or on a panel that is marked now.
    """
    closing = closings[at]
    panels = {mark.placement.panel.id for mark in closing.group.marks}
    before = [
        (
            f"{mark.placement.film.name} on the {mark.placement.panel.id}",
            marked_upper(book, job.upper, job.film, is_new=True),
        )
        for other in closings[:at]
        if set(_shoes(other)) & set(_shoes(closing))
        for mark in other.group.marks
        if other.loading == closing.loading or mark.placement.panel.id in panels
        for job in recipes.options_of(book, mark.task).jobs
    ]
    return _hazards(book, order, closing, before)


def _shoes(closing: _Closing) -> tuple[Foot, ...]:
    return shoes_marked(closing.group.marks)


def _hazards(book: Book, order: Order, closing: _Closing, beside: Iterable[tuple[str, Upper]]) -> tuple[Hazard, ...]:
    setting = closing.group.recipes[0].setting
    if setting is None:
        return ()
    spread_k, platen_c = order.press.platen_spread_k, setting.temperature_c + offset_k(book, order.press.id)
    return tuple(
        hazards(book, beside, replace(setting, temperature_c=platen_c), pad=closing.platen.pad, spread_k=spread_k)
    )


def _endangers(closing: _Closing, hazard: Hazard) -> Reason:
    """Return what a pressing does to a panel that lies beside the marked ones."""
    dwell_s = _dwell(closing)
    dwell, limit, limit_s = _stands(dwell_s, hazard)
    return reason(
        "heat.beside",
        "ready",
        closing.group.marks[0].pointer,
        said(
            "heat.beside",
            panel=hazard.name,
            dwell=dwell,
            layer=hazard.layer,
            stands="less" if hazard.longest_s < dwell_s else "unsure",
            limit=limit,
        ),
        measure=dwell_s,
        limit=limit_s,
        unit="s",
    )


def _presses_again(closing: _Closing, hazard: Hazard) -> Reason:
    """Return what a pressing does to a film that an earlier one has put beside it."""
    dwell_s = _dwell(closing)
    declined = hazard.longest_s < dwell_s
    dwell, limit, limit_s = _stands(dwell_s, hazard)
    return reason(
        "heat.pressed-again",
        "decline" if declined else "trial",
        closing.group.marks[0].pointer,
        said(
            "heat.pressed-again",
            what=hazard.name,
            layer=hazard.layer,
            dwell=None if declined else dwell,
            sure=None if declined else limit,
        ),
        measure=dwell_s,
        limit=limit_s,
        unit="s",
    )


def _dwell(closing: _Closing) -> float:
    setting = closing.group.recipes[0].setting
    return 0.0 if setting is None else setting.dwell_s


def _stands(dwell_s: float, hazard: Hazard) -> tuple[Quantity, Quantity | None, float]:
    """Return a dwell and how much of it a hazard stands, told apart, None for nothing; and that limit [s]."""
    limit_s = hazard.longest_s if hazard.longest_s < dwell_s else hazard.sure_s
    dwell, limit = told_apart(dwell_s, limit_s, 1, "s")
    return without_zero(dwell), limit if limit_s > 0.0 else None, limit_s


def _planned(
    book: Book,
    order: Order,
    closings: Sequence[_Closing],
    at: int,
    *,
    keep_out: tuple[str, ...],
    onto: tuple[Said, ...],
) -> BenchPressing:
    """Return one closing as a pressing, with the steps that are its own among the others."""
    closing, group = closings[at], closings[at].group
    before = closings[at - 1] if at else None
    trial = any(mark.recipe.verdict == "trial" for other in closings for mark in other.group.marks)
    shoes = shoes_marked(group.marks)
    at_once = min(closing.platen.shoes_at_once, order.request.pairs * len(shoes))
    turn = Turn(
        shoes=shoes,
        shoes_at_once=at_once,
        artworks=tuple(sum(foot in mark.placement.feet for mark in group.marks) for foot in shoes),
        set_up=before is None or before.platen != closing.platen,
        laid=before is not None
        and before.loading == closing.loading
        and set(shoes) <= set(shoes_marked(before.group.marks)),
        then=_then(closing, closings[at + 1 : at + 2]),
        keep_out=keep_out,
        cut=_cut_before(book, closings, at),
        onto=onto,
    )
    return BenchPressing(
        pressing=Pressing(
            loading=closing.loading,
            face=closing.face,
            placements=tuple(mark.index for mark in group.marks if not mark.placement.is_backing),
            backings=tuple(mark.index for mark in group.marks if mark.placement.is_backing),
            shoes=shoes,
            shoes_at_once=at_once,
            recipe=_stepped(book, order, closing, turn, trial=trial),
        ),
        marks=group.marks,
        recipes=group.recipes,
        most_shoes=closing.platen.shoes_at_once,
    )


def _cut_before(book: Book, closings: Sequence[_Closing], at: int) -> tuple[Film, ...]:
    """Return the films that are cut before a closing: all of its loading before the first, none before the others."""
    loading = closings[at].loading
    if at and closings[at - 1].loading == loading:
        return ()
    films = (other.group.recipes[0].film for other in closings[at:] if other.loading == loading)
    return tuple(book.films[film] for film in dict.fromkeys(films))


def _then(closing: _Closing, following: Sequence[_Closing]) -> Literal["film", "loading", "face", "nothing"]:
    """Return what comes after a closing."""
    for other in following:
        if other.loading == closing.loading:
            return "film"
        return "loading" if other.face == closing.face else "face"
    return "nothing"


def _stepped(book: Book, order: Order, closing: _Closing, turn: Turn, *, trial: bool) -> Recipe:
    """Return the recipe of a closing with the steps of this order; one that is declined has none."""
    recipe = closing.group.recipes[0]
    if recipe.setting is None or recipe.peel is None:
        return recipe
    cover = recipe.setting.cover
    return replace(
        recipe,
        steps=steps(
            book.films[recipe.film],
            order.press,
            closing.platen,
            None if cover is None else book.covers[cover],
            recipe.setting,
            recipe.peel,
            # The shoe is tried before any film is pressed on it, those that are sure too.
            trial=recipe.verdict == "trial" or trial,
            units=order.request.units,
            turn=turn,
            face=closing.face,
        ),
    )
