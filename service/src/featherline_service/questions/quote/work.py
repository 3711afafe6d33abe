"""An order as work to be priced: its pieces of film, its closings of the press, and the chances to spoil a pair."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

from featherline.wire.artworks import Artwork, FileArtwork, PathArtwork, SvgArtwork, TextArtwork
from featherline.wire.recipes import Recipe
from featherline_service.book.shop_book import Book
from featherline_service.cost.spoilage import chance_of_any, heat_damage_chance, weak_bond_chance
from featherline_service.cost.times import Closing
from featherline_service.questions.fit.fits import outline
from featherline_service.questions.order.orders import Order
from featherline_service.questions.pricing.cost_lines import Part, Presswork
from featherline_service.questions.pricing.film_lots import FilmPieces
from featherline_service.questions.pricing.trial_costs import TrialWork
from featherline_service.questions.quote.marks import Mark
from featherline_service.questions.quote.pressings import BenchPressing, Plan


def part_of(
    order: Order,
    marks: Sequence[Mark],
    presswork: tuple[Presswork, ...],
    trials: tuple[TrialWork, ...],
    *,
    outlined: bool,
) -> Part:
    """Return an order that is not declined as work, the outlines of its pieces too where those are nested."""
    return Part(
        pieces=tuple(_pieces(mark, outlined=outlined) for mark in marks),
        presswork=presswork,
        owner=order.request.owner,
        shoe=order.shoe.model,
        pairs=order.request.pairs,
        characters=sum(
            _copies(mark) * mark.placement.artwork.characters for mark in marks if not mark.placement.is_backing
        ),
        trials=trials,
        drawings=0
        if order.request.prepared
        else len({_drawing(placement.artwork) for placement in order.request.placements} - {""}),
    )


def _drawing(artwork: Artwork) -> str:
    """Return what is drawn, at whatever size; nothing of a text."""
    match artwork:
        case PathArtwork(d=drawn) | SvgArtwork(svg=drawn) | FileArtwork(base64=drawn):
            return drawn
        case TextArtwork():
            return ""


Settings = dict[tuple[float, float, str], int]
"""The numbers of the settings of the press so far: temperature [degC], dwell [s] and level of pressure."""


def presswork_of(
    book: Book, order: Order, pressings: Plan, *, tried: Collection[str], settings: Settings
) -> tuple[Presswork, ...]:
    """Return the pressings of an order that is not declined as work; `settings` numbers those of all its work.

    A customer's pair whose marks have been `tried`, by their pointers, is spoilt by a slip of the hand alone, and its
    film is known to hold.
    """
    sure = frozenset(tried) if order.request.owner == "customer" else frozenset[str]()
    return tuple(_presswork(book, pressing, sure, settings) for pressing in pressings.pressings)


def _copies(mark: Mark) -> int:
    """Return how many pieces a placement needs on one pair."""
    return len(mark.placement.feet)


def _pieces(mark: Mark, *, outlined: bool) -> FilmPieces:
    artwork, placement = mark.fit.artwork, mark.placement
    cutting, colour = placement.film.cutting, placement.colour
    assert colour is not None  # noqa: S101 - an order's placements have one
    return FilmPieces(
        film=placement.film,
        colour=colour.id,
        width_mm=artwork.width_mm,
        height_mm=artwork.height_mm,
        cut_length_mm=artwork.cut_length_mm,
        corners=artwork.corners,
        outlines=artwork.pieces + artwork.waste_pieces - 1,  # the surround is waste, and bounded by the pieces
        waste_pieces=artwork.waste_pieces,
        per_pair=_copies(mark),
        pointer=f"{mark.pointer}/border" if placement.is_backing else f"{mark.pointer}/artwork",
        outline=outline(placement, cutting.border_mm) if outlined and cutting is not None else None,
    )


def _presswork(book: Book, bench_pressing: BenchPressing, sure: Collection[str], settings: Settings) -> Presswork:
    """Return a pressing as work; `settings` numbers the settings so far."""
    pressing = bench_pressing.pressing
    setting, peel = pressing.recipe.setting, pressing.recipe.peel
    if setting is None:
        raise AssertionError("A recipe without a setting must be declined")
    key = (setting.temperature_c, setting.dwell_s, setting.pressure)
    copies = sum(map(_copies, bench_pressing.marks))
    tried = all(mark.pointer in sure for mark in bench_pressing.marks)
    handling = book.rates[book.bench.rates].spoilage.handling
    return Presswork(
        closing=Closing(
            loading=pressing.loading,
            setting=settings.setdefault(key, len(settings)),
            dwell_s=setting.dwell_s,
            wait_s=0.0 if peel is None else peel.wait_s,
            closings=-(-len(pressing.shoes) // pressing.shoes_at_once),
            pairs_at_once=max(1, pressing.shoes_at_once // len(pressing.shoes)),
            shoes=len(pressing.shoes),
            placed=copies,
            temperature_c=setting.temperature_c,
            taped=0 if book.films[pressing.recipe.film].carrier.sticky else copies,
        ),
        cover=None if setting.cover is None else book.covers[setting.cover],
        shoe_chance=min(1.0, handling)
        if tried
        else max(shoe_chance(book, recipe) for recipe in bench_pressing.recipes),
        most_pairs=max(1, bench_pressing.most_shoes // len(pressing.shoes)),
        weak_chance=0.0 if tried else max(_weak_chance(recipe) for recipe in bench_pressing.recipes),
    )


def shoe_chance(book: Book, recipe: Recipe) -> float:
    """Return the chance that a pressing spoils a shoe: a slip, a limit little known, or a layer too hot."""
    spoilage = book.rates[book.bench.rates].spoilage
    if not recipe.layers:
        return min(1.0, spoilage.handling + spoilage.weak_guess)
    binding = min(recipe.layers, key=lambda layer: layer.margin_k)
    weak = {
        "published": spoilage.weak_published,
        "practice": spoilage.weak_practice,
        "guess": spoilage.weak_guess,
    }[binding.evidence]
    heat = [
        heat_damage_chance(
            peak_c=layer.peak_c,
            worst_case_c=layer.worst_case_c,
            limit_c=layer.limit_c,
            limit_spread_k=book.materials[layer.material].limit.spread_k,
        )
        for layer in recipe.layers
    ]
    return chance_of_any([min(1.0, spoilage.handling + weak), *heat])


def _weak_chance(recipe: Recipe) -> float:
    """Return the chance that a pressing does not bond its film as it should."""
    setting, window = recipe.setting, recipe.window
    if setting is None or window is None or window.shortest_s is None:
        return 0.0
    sure_s = window.worst_case.shortest_s
    return weak_bond_chance(
        dwell_s=setting.dwell_s,
        shortest_s=window.shortest_s,
        sure_s=math.inf if sure_s is None else sure_s,
    )
