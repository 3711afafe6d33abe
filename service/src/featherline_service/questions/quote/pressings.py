"""How an order's placements share closings of the press: by face and film, at one setting that suits all of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final, Literal

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.costs import Order, Placement
from featherline.wire.fits import Fit
from featherline.wire.quotes import Pressing
from featherline.wire.recipes import Recipe, RecipeRequest, Setting, ShoePanel
from featherline.wire.records import Platen, Press, Upper
from featherline.wire.shoes import BookShoe, Face, MeasuredShoe
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.quantities import millimetres
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.quote.adjacent_panels import Endangered, endangered, unmarked
from featherline_service.questions.recipe import recipes
from featherline_service.questions.recipe.steps import Turn, steps
from featherline_service.questions.shoes.old_marks import marked_upper

Foot = Literal["left", "right"]

_SHOES: Final[dict[str, tuple[Foot, ...]]] = {"both": ("left", "right"), "left": ("left",), "right": ("right",)}
_SEVERITY: Final[dict[Verdict, int]] = {"ready": 0, "trial": 1, "decline": 2}
_SAME_K: Final = 1e-6
"""Two temperatures that went through text and back differ by less."""


class Marked(Struct, frozen=True, kw_only=True):
    """A placement of the order with its fit, and the recipe for its own panel."""

    index: int
    placement: Placement
    fit: Fit
    recipe: Recipe


class PlannedPressing(Struct, frozen=True, kw_only=True):
    """A pressing, and for every panel that it marks what the pressing's setting, dwell included, does to it."""

    pressing: Pressing
    recipes: tuple[Recipe, ...]


class Plan(Struct, frozen=True, kw_only=True):
    """The pressings of an order in the order of the bench, and why some are pressed apart."""

    pressings: tuple[PlannedPressing, ...]
    reasons: tuple[Reason, ...]


class _Group(Struct, frozen=True, kw_only=True):
    """Placements bonded in one closing by the first of `recipes`; the others are their panels' own at its setting."""

    marked: tuple[Marked, ...]
    recipes: tuple[Recipe, ...]


class _Closing(Struct, frozen=True, kw_only=True):
    """A group in its place on the bench: the face that it is on, the loading, and the platen."""

    face: Face
    loading: int
    group: _Group
    platen: Platen


def worst(verdicts: Sequence[Verdict]) -> Verdict:
    """Return the worst of verdicts; of none: ready."""
    return max(verdicts, key=_SEVERITY.__getitem__, default="ready")


def shoes_marked(marked: Sequence[Marked]) -> tuple[Foot, ...]:
    """Return which shoes of the pair some placements mark."""
    feet = {foot for one in marked for foot in _SHOES[one.placement.sides]}
    return tuple(foot for foot in _SHOES["both"] if foot in feet)


def plan(book: Book, order: Order, marked: Sequence[Marked]) -> Plan:
    """Return the pressings that bond all placements.

    Placements of one film on one face share a closing where one setting suits all their panels; else they are pressed
    apart, each panel alone under the platen. Films that differ follow one another on one loading, the hottest first,
    so that no film is pressed again hotter than its own setting. Every other face, or platen, is another loading.
    """
    closings: list[_Closing] = []
    reasons: list[Reason] = []
    loading = 0
    for face in dict.fromkeys(one.fit.face for one in marked):
        on_face = [one for one in marked if one.fit.face == face]
        for platen, on_platen in _by_platen(book, order, face, on_face):
            loadings, why = _loadings(book, order, on_platen)
            reasons += why
            for groups in loadings:
                loading += 1
                closings += [_Closing(face=face, loading=loading, group=group, platen=platen) for group in groups]
    pressings = []
    for at, closing in enumerate(closings):
        beside = _beside(book, order, closing)
        reasons += [_endangers(closing, one) for one in beside]
        reasons += [_presses_again(closing, one) for one in _pressed_before(book, order, closings, at)]
        pressings.append(_planned(book, order, closings, at, tuple(one.name for one in beside)))
    return Plan(pressings=tuple(pressings), reasons=tuple(reasons))


def _by_platen(book: Book, order: Order, face: Face, marked: Sequence[Marked]) -> Iterator[tuple[Platen, list[Marked]]]:
    """Yield placements of one face by the platen that holds them: each time that which holds most of those left."""
    left = list(marked)
    while left:
        names = dict.fromkeys(name for one in left for name in one.fit.platens)
        if names:
            best = max(names, key=lambda name: sum(name in one.fit.platens for one in left))
            here = [one for one in left if best in one.fit.platens]
            yield book.platens[best], here
        else:  # held by none, and declined
            here = left
            yield _platen(book, order, face, left[0].fit), here
        left = [one for one in left if one not in here]


def _loadings(book: Book, order: Order, marked: Sequence[Marked]) -> tuple[list[list[_Group]], list[Reason]]:
    """Return the loadings of placements on one face and platen, each its closings in order, and why some are apart."""
    together: list[_Group] = []
    apart: list[_Group] = []
    reasons: list[Reason] = []
    for film in dict.fromkeys(one.placement.film for one in marked):
        groups = _groups(book, order, [one for one in marked if one.placement.film == film])
        together.append(groups[0])
        apart += groups[1:]
        reasons += [_apart(group, groups[0]) for group in groups[1:]]
    return [sorted(together, key=_hottest_first), *([group] for group in apart)], reasons


def _groups(book: Book, order: Order, marked: Sequence[Marked]) -> list[_Group]:
    """Return placements of one film on one face in as few closings as their panels' windows allow."""
    groups: list[_Group] = []
    left = list(marked)
    while left:
        candidates = [_sharing(book, order, one, left) for one in left]
        best = max(candidates, key=lambda group: len(group.marked))
        groups.append(best)
        left = [one for one in left if one not in best.marked]
    return groups


def _sharing(book: Book, order: Order, leader: Marked, marked: Sequence[Marked]) -> _Group:
    """Return the placements that the leader's setting bonds without harm, the leader first among their recipes."""
    setting = leader.recipe.setting
    members: list[Marked] = []
    found = [leader.recipe]
    for one in marked:
        if one.placement.panel == leader.placement.panel:
            members.append(one)
        elif setting is not None and (own := _at_setting(book, order, one, setting)) is not None:
            members.append(one)
            found.append(own)
    return _Group(marked=tuple(members), recipes=tuple(found))


def _at_setting(book: Book, order: Order, one: Marked, setting: Setting) -> Recipe | None:
    """Return what a setting, dwell included, does to a placement's panel, or None where its window does not hold it."""
    own = one.recipe
    if own.setting is not None and own.setting != setting:
        own = _held(book, order, one, setting) or own
    if own.setting is None or not _holds(own, setting):
        return None
    if own.setting.dwell_s == setting.dwell_s:
        return own
    layers = recipes.layers_at(book, _held_request(order, one, setting), setting.dwell_s)
    return replace(own, setting=setting, layers=layers)


def _holds(own: Recipe, setting: Setting) -> bool:
    """Return whether a recipe is for a setting's cover, pressure and temperature, and its window holds the dwell."""
    if own.setting is None or own.window is None:
        return False
    same = (own.setting.cover, own.setting.pressure) == (setting.cover, setting.pressure)
    if not same or abs(own.setting.temperature_c - setting.temperature_c) > _SAME_K:
        return False
    # A recipe that is ready is so at the worst case, and must stay so; one to be tried first has its nominal window.
    band = own.window.worst_case if own.verdict == "ready" else own.window
    return (
        band.shortest_s is not None
        and band.longest_s is not None
        and (band.shortest_s <= setting.dwell_s <= band.longest_s)
    )


def _held(book: Book, order: Order, one: Marked, setting: Setting) -> Recipe | None:
    try:
        return recipes.resolve(book, _held_request(order, one, setting))
    except RefusedError:  # the press cannot be set so for this panel: it has no recipe there
        return None


def _held_request(order: Order, one: Marked, setting: Setting) -> RecipeRequest:
    """Return the question for a placement's recipe, held to the cover, pressure and temperature of a setting."""
    request = recipe_request(order, one.placement)
    return replace(
        request, cover=setting.cover, pressure=setting.pressure, temperature=f"{setting.temperature_c:.9f} degC"
    )


def recipe_request(order: Order, placement: Placement) -> RecipeRequest:
    """Return the question for the recipe of a placement."""
    return RecipeRequest(
        film=placement.film,
        onto=ShoePanel(shoe=order.shoe, panel=placement.panel, old_marks=placement.old_marks),
        press=order.press,
        units=order.units,
    )


def _apart(group: _Group, first: _Group) -> Reason:
    other = first.marked[0].placement.panel
    here = group.marked[0]
    return Reason(
        code="heat.pressed-apart",
        verdict="ready",
        subject=f"/placements/{here.index}",
        sentence=f"No one setting suits {here.placement.panel} and {other}: press {here.placement.panel} for itself, "
        f"and keep {other} out from under the platen",
    )


def _hottest_first(group: _Group) -> float:
    setting = group.recipes[0].setting
    return 0.0 if setting is None else -setting.temperature_c


def _beside(book: Book, order: Order, closing: _Closing) -> tuple[Endangered, ...]:
    """Return the panels of the shoe that lie under the platen unmarked and do not surely stand it."""
    if not isinstance(order.shoe, BookShoe):
        return ()
    shoe, panels = book.shoes[order.shoe.shoe], {one.placement.panel for one in closing.group.marked}
    return _endangered(book, order, closing, unmarked(book, shoe, closing.face, panels))


def _pressed_before(book: Book, order: Order, closings: Sequence[_Closing], at: int) -> tuple[Endangered, ...]:
    """Return the films of closings before on the same loading that do not surely stand to be pressed again."""
    closing = closings[at]
    before = [
        (f"{book.films[one.placement.film].name} on the {one.placement.panel}", marked_upper(book, job.upper, job.film))
        for other in closings[:at]
        if other.loading == closing.loading and set(_shoes(other)) & set(_shoes(closing))
        for one in other.group.marked
        for job in recipes.considered(book, recipe_request(order, one.placement)).jobs
    ]
    return _endangered(book, order, closing, before)


def _shoes(closing: _Closing) -> tuple[Foot, ...]:
    return shoes_marked(closing.group.marked)


def _endangered(
    book: Book, order: Order, closing: _Closing, beside: Iterable[tuple[str, Upper]]
) -> tuple[Endangered, ...]:
    setting = closing.group.recipes[0].setting
    if setting is None:
        return ()
    spread_k = _press(book, order).platen_spread_k
    return tuple(endangered(book, beside, setting, pad=closing.platen.pad, spread_k=spread_k))


def _endangers(closing: _Closing, one: Endangered) -> Reason:
    """Return what a pressing does to a panel that lies beside the marked ones."""
    dwell_s, stands, limit_s = _stands(closing, one)
    return Reason(
        code="heat.beside",
        verdict="ready",
        subject=f"/placements/{closing.group.marked[0].index}",
        sentence=f"Keep the {one.name} out from under the platen: of this setting's {dwell_s:g} s under the "
        f"cover sheet its {one.layer} {stands}.",
        measure=dwell_s,
        limit=limit_s,
        unit="s",
    )


def _presses_again(closing: _Closing, one: Endangered) -> Reason:
    """Return what a pressing does to a film that an earlier one has put beside it."""
    dwell_s, stands, limit_s = _stands(closing, one)
    return Reason(
        code="heat.pressed-again",
        verdict="decline" if one.longest_s < dwell_s else "trial",
        subject=f"/placements/{closing.group.marked[0].index}",
        sentence=f"This pressing heats {one.name} again: of its {dwell_s:g} s under the cover sheet the {one.layer} "
        f"{stands}. Place the films on different faces, or take one that is pressed cooler.",
        measure=dwell_s,
        limit=limit_s,
        unit="s",
    )


def _stands(closing: _Closing, one: Endangered) -> tuple[float, str, float]:
    """Return a closing's dwell [s], what of it the endangered stands in words, and as a limit [s]."""
    setting = closing.group.recipes[0].setting
    dwell_s = 0.0 if setting is None else setting.dwell_s
    if one.longest_s < dwell_s:
        return dwell_s, f"stands {one.longest_s:.1f} s", one.longest_s
    sure = f"is sure to stand {one.sure_s:.1f} s only" if one.sure_s > 0.0 else "is not sure to stand any"
    return dwell_s, sure, one.sure_s


def _press(book: Book, order: Order) -> Press:
    return book.presses[order.press or book.bench.press]


def _planned(
    book: Book, order: Order, closings: Sequence[_Closing], at: int, keep_out: tuple[str, ...]
) -> PlannedPressing:
    """Return one closing as a pressing, with the steps that are its own among the others."""
    closing, group = closings[at], closings[at].group
    before = closings[at - 1] if at else None
    shoes = shoes_marked(group.marked)
    at_once = min(closing.platen.shoes_at_once, order.pairs * len(shoes))
    turn = Turn(
        shoes=shoes,
        shoes_at_once=at_once,
        artworks=max(sum(foot in _SHOES[one.placement.sides] for one in group.marked) for foot in shoes),
        set_up=before is None or before.platen != closing.platen,
        laid=before is not None
        and before.loading == closing.loading
        and set(shoes) <= set(shoes_marked(before.group.marked)),
        then=_then(closing, closings[at + 1 : at + 2]),
        keep_out=keep_out,
    )
    return PlannedPressing(
        pressing=Pressing(
            loading=closing.loading,
            face=closing.face,
            placements=tuple(one.index for one in group.marked),
            shoes=shoes,
            shoes_at_once=at_once,
            recipe=_stepped(book, order, closing, turn),
        ),
        recipes=group.recipes,
    )


def _then(closing: _Closing, following: Sequence[_Closing]) -> Literal["film", "loading", "face", "nothing"]:
    """Return what comes after a closing."""
    for other in following:
        if other.loading == closing.loading:
            return "film"
        return "loading" if other.face == closing.face else "face"
    return "nothing"


def _stepped(book: Book, order: Order, closing: _Closing, turn: Turn) -> Recipe:
    """Return the recipe of a closing with the steps of this order; one that is declined has none."""
    recipe = closing.group.recipes[0]
    if recipe.setting is None or recipe.peel is None:
        return recipe
    cover = recipe.setting.cover
    return replace(
        recipe,
        steps=steps(
            book.films[recipe.film],
            _press(book, order),
            closing.platen,
            None if cover is None else book.covers[cover],
            recipe.setting,
            recipe.peel,
            trial=recipe.verdict == "trial",
            units=order.units,
            turn=turn,
        ),
    )


def _inside_length(book: Book, order: Order, fit: Fit) -> float | None:
    """Return the shoe's inside length [mm], or None where nobody measured it."""
    match order.shoe:
        case BookShoe(shoe=shoe):
            return None if fit.size is None else fit.size.foot_mm + book.shoes[shoe].inside_allowance_mm
        case MeasuredShoe(inside_length=text):
            return None if text is None else millimetres(text)


def _platen(book: Book, order: Order, face: Face, fit: Fit) -> Platen:
    """Return the press's first platen that presents the face and that the shoe goes on; its first, if none does.

    It is the one that recipes are resolved for. A shoe that nobody measured is taken to go on.
    """
    inside_mm = _inside_length(book, order, fit)
    platens = [book.platens[name] for name in _press(book, order).platens]
    return next(
        (
            platen
            for platen in platens
            if face in platen.faces and (inside_mm is None or platen.smallest_inside_length_mm <= inside_mm)
        ),
        platens[0],
    )
