"""How an order's placements share closings of the press: by face and film, at one setting that suits all of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.costs import Order, Placement
from featherline.wire.fits import Fit
from featherline.wire.quotes import Pressing
from featherline.wire.recipes import Recipe, RecipeRequest, Setting, ShoePanel
from featherline.wire.records import Press
from featherline.wire.shoes import BookShoe, Face, MeasuredShoe
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shelves import Book
from featherline_service.jobs import recipes
from featherline_service.jobs.refusals import RefusedError
from featherline_service.quantities import millimetres

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
    """A pressing, and the recipes at its setting of every panel that it marks."""

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
    so that no film is pressed again hotter than its own setting. Every other face is another loading.
    """
    pressings: list[PlannedPressing] = []
    reasons: list[Reason] = []
    loading = 0
    for face in dict.fromkeys(one.fit.face for one in marked):
        on_face = [one for one in marked if one.fit.face == face]
        together: list[_Group] = []
        apart: list[_Group] = []
        for film in dict.fromkeys(one.placement.film for one in on_face):
            groups = _groups(book, order, [one for one in on_face if one.placement.film == film])
            together.append(groups[0])
            apart += groups[1:]
            reasons += [_apart(group, groups[0]) for group in groups[1:]]
        for groups_of_loading in ([*sorted(together, key=_hottest_first)], *([group] for group in apart)):
            loading += 1
            pressings += [_planned(book, order, face, loading, group) for group in groups_of_loading]
    return Plan(pressings=tuple(pressings), reasons=tuple(reasons))


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
    """Return the placement's recipe held to a cover and temperature, or None where the dwell is outside its window."""
    own = one.recipe
    if own.setting is None:
        return None
    if own.setting != setting:
        own = _held(book, order, one, setting) or own
    if own.setting is None or own.window is None:
        return None
    if (own.setting.cover, own.setting.pressure) != (setting.cover, setting.pressure) or (
        abs(own.setting.temperature_c - setting.temperature_c) > _SAME_K
    ):
        return None
    # A recipe that is ready is so at the worst case, and must stay so; one to be tried first has its nominal window.
    band = own.window.worst_case if own.verdict == "ready" else own.window
    if band.shortest_s is None or band.longest_s is None:
        return None
    return own if band.shortest_s <= setting.dwell_s <= band.longest_s else None


def _held(book: Book, order: Order, one: Marked, setting: Setting) -> Recipe | None:
    request = recipe_request(order, one.placement)
    try:
        return recipes.resolve(
            book, replace(request, cover=setting.cover, temperature=f"{setting.temperature_c:.9f} degC")
        )
    except RefusedError:  # the press cannot be set so for this panel: it has no recipe there
        return None


def recipe_request(order: Order, placement: Placement) -> RecipeRequest:
    """Return the question for the recipe of a placement."""
    return RecipeRequest(
        film=placement.film,
        onto=ShoePanel(shoe=order.shoe, panel=placement.panel),
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


def _planned(book: Book, order: Order, face: Face, loading: int, group: _Group) -> PlannedPressing:
    press = book.presses[order.press or book.bench.press]
    shoes = shoes_marked(group.marked)
    at_once = 1
    if len(shoes) == len(_SHOES["both"]):
        at_once = _shoes_at_once(book, press, face, _inside_length(book, order, group.marked[0].fit))
    return PlannedPressing(
        pressing=Pressing(
            loading=loading,
            face=face,
            placements=tuple(one.index for one in group.marked),
            shoes=shoes,
            shoes_at_once=at_once,
            recipe=group.recipes[0],
        ),
        recipes=group.recipes,
    )


def _inside_length(book: Book, order: Order, fit: Fit) -> float | None:
    """Return the shoe's inside length [mm], or None where nobody measured it."""
    match order.shoe:
        case BookShoe(shoe=shoe):
            return None if fit.size is None else fit.size.foot_mm + book.shoes[shoe].inside_allowance_mm
        case MeasuredShoe(inside_length=text):
            return None if text is None else millimetres(text)


def _shoes_at_once(book: Book, press: Press, face: Face, inside_mm: float | None) -> int:
    """Return how many shoes go on at once.

    The platen is the press's first that presents the face and that the shoe goes on: the one that recipes are resolved
    for. A shoe that nobody measured is taken to go on.
    """
    return next(
        (
            platen.shoes_at_once
            for platen in (book.platens[name] for name in press.platens)
            if face in platen.faces and (inside_mm is None or platen.smallest_inside_length_mm <= inside_mm)
        ),
        1,
    )
