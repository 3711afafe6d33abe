"""The temperature chart of a recipe: computed, not sketched."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline.wire.recipes import LayerPeak, Recipe, RecipeRequest, Units
from featherline.wire.records import Role
from featherline_service.book.shop_book import Book
from featherline_service.drawing import charts, notices
from featherline_service.drawing.charts import Band, Chart, Curve
from featherline_service.drawing.scene import Scene
from featherline_service.heat.conduction import modes, temperatures
from featherline_service.heat.history import Opening, history, node_slopes
from featherline_service.heat.worst_case import temperature_band
from featherline_service.quantities import fahrenheit, say_temperature
from featherline_service.questions.recipe import recipes
from featherline_service.questions.recipe.evidence.account import Pressing, span_alone
from featherline_service.questions.recipe.evidence.frames import FramedHeating, excess_k, heatings_of
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.evidence.solved import followed
from featherline_service.questions.recipe.recipes import without_cover
from featherline_service.questions.recipe.setting_visibility import shown
from featherline_service.questions.recipe.windows import Candidate, Span, places, spread_of

Floats = NDArray[np.float64]

_HEADS: Final = ("hottest", "after", "worst case", "stands", "known by")
_ROLES: Final[dict[Role, charts.Role]] = {"carrier": "film", "film": "film", "upper": "upper"}
_SAME_PEAK_K: Final = 1.0
"""[K] Peaks of the recipe and of the chart, which are sampled at other times, differ by less."""


class _Layer(NamedTuple):
    """A layer's temperatures where it is hottest: layer `layer` of the stack at `place`, one of `places`."""

    name: str
    role: Role
    limit_c: float
    temperatures_c: Floats
    place: int
    layer: int


class _Point(NamedTuple):
    """A place in a stack: how the press opens over it, its node at each time, and its temperatures [degC]."""

    opening: Opening
    nodes: NDArray[np.intp]
    temperatures_c: Floats


def draw(book: Book, request: RecipeRequest) -> Scene:
    """Return the temperature chart of a recipe; where the answer shows no setting, the reasons in words.

    Of several uppers that a shoe may be, the one is drawn that comes nearest to a limit.

    Raises:
        RefusedError: As `recipes.resolve`.
    """
    task, onto = recipes.task_of(book, request)
    recipe = recipes.recipe_of(book, task)
    answer = shown(recipe, recipe.verdict)
    jobs, settings = recipes.options_of(book, task)
    title = f"{book.films[task.film].name} on {onto}"
    dwell_s = settings[0].dwell_s if settings else None
    if dwell_s is None or answer.setting is None:
        return notices.draw("chart", title, [reason.sentence for reason in answer.reasons])
    spread_k = book.presses[task.press].platen_spread_k
    pressings = [Pressing(job, settings[0], dwell_s, spread_k, task.guard_k) for job in jobs]
    bars = tuple(_spans(book, pressings))
    drawn = [_chart(book, task.units, recipe, pressing, title=title, spans=bars) for pressing in pressings]
    return charts.draw(min(drawn, key=_nearest_k))


def _nearest_k(chart: Chart) -> float:
    """Return how near [K] a layer of the upper comes to its limit."""
    return min(
        curve.limit_c - curve.peak[1]
        for curve in chart.curves
        if curve.role == "upper" and curve.limit_c is not None and curve.peak is not None
    )


def _chart(
    book: Book, units: Units, recipe: Recipe, pressing: Pressing, *, title: str, spans: tuple[charts.Span, ...]
) -> Chart:
    job, chosen, dwell_s, *_ = pressing
    room_c = book.bench.room_c
    times_s = _times(recipe, dwell_s)
    layers = _layers(book, job, chosen, dwell_s=dwell_s, times_s=times_s)
    bond_c = _bond_line(book, job, chosen, dwell_s=dwell_s, times_s=times_s)
    platen_c = np.where(times_s <= dwell_s, chosen.platen_c, np.nan)
    around = heatings_of(book, job, chosen.cover, known_for(book, job.sightings).readings, pressing.platen_spread_k)
    critical = min(
        (layer for layer in layers if layer.role == "upper"),
        key=lambda layer: layer.limit_c - float(layer.temperatures_c.max()),
    )
    curves = (
        Curve("platen", "platen", platen_c, remarks=(say_temperature(chosen.platen_c, units),)),
        Curve(
            "bond line",
            "bond",
            bond_c,
            remarks=_peak_said(times_s, bond_c, units),
            band=_bond_band(book, pressing, around[0], times_s, bond_c),
        ),
        *(
            _curve(layer, times_s, recipe.layers, units)._replace(
                band=_layer_band(book, pressing, around[layer.place], times_s, layer) if layer is critical else None
            )
            for layer in layers
        ),
    )
    lines = tuple(_lines(book, units, recipe, job, chosen, dwell_s=dwell_s))
    return Chart(
        name="chart",
        title=title,
        lines=lines,
        description=f"{' '.join(lines)} Starting at {say_temperature(room_c, units)}, the bond line gets to "
        f"{say_temperature(float(bond_c.max()), units)}.",
        times_s=times_s,
        dwell_s=dwell_s,
        dwell_words=f"press opens after {dwell_s:.3g} s",
        curves=curves,
        spans=spans,
        marks=tuple(_marks(recipe, times_s, bond_c, dwell_s)),
        heads=_HEADS,
        scale=fahrenheit if units == "us" else float,
        unit="°F" if units == "us" else "°C",
    )


def _times(recipe: Recipe, dwell_s: float) -> Floats:
    """Return times [s] through the press and the opening, dense after each change, to the peel or the last peak."""
    wait_s = recipe.peel.wait_s if recipe.peel is not None else 0.0
    latest_s = max((layer.at_s - dwell_s for layer in recipe.layers), default=0.0)
    after_s = min(max(1.12 * wait_s, 1.4 * latest_s, 0.7 * dwell_s), 1.8 * dwell_s)
    return np.unique(
        np.concatenate((dwell_s * np.linspace(0.0, 1.0, 120) ** 2, dwell_s + after_s * np.linspace(0.0, 1.0, 160) ** 2))
    )


def _layers(book: Book, job: Job, chosen: Candidate, *, dwell_s: float, times_s: Floats) -> list[_Layer]:
    """Return the layers from the platen down; the shoe's under the film or beside it, whichever is hotter."""
    room_c = book.bench.room_c
    excess = excess_k(book, job, known_for(book, job.sightings).readings, chosen.platen_c)
    stack, pressing = followed(book, job, chosen.cover)
    shares = history(pressing.pressed, pressing.opened, dwell_s, times_s).layers
    layers = [
        _Layer(name, role, float(limit_c), room_c + excess * share, 0, index)
        for index, (name, role, limit_c, share) in enumerate(
            zip(stack.names, stack.roles, stack.limits.peak_c, shares, strict=True)
        )
    ]
    for place, (bare, pressing) in enumerate(places(book, job, chosen.cover)[1:], 1):
        shares = history(pressing.pressed, pressing.opened, dwell_s, times_s).layers
        known = {layer.name: at for at, layer in enumerate(layers)}
        strange = []
        for at in range(bare.upper, len(bare.names)):
            bare_layer = _Layer(
                bare.names[at], bare.roles[at], float(bare.limits.peak_c[at]), room_c + excess * shares[at], place, at
            )
            if bare_layer.name not in known:  # of a film that is on the panel already
                strange.append(bare_layer)
            elif bare_layer.temperatures_c.max() > layers[known[bare_layer.name]].temperatures_c.max():
                layers[known[bare_layer.name]] = bare_layer
        layers[stack.upper : stack.upper] = strange
    return layers


def _bond_line(book: Book, job: Job, chosen: Candidate, *, dwell_s: float, times_s: Floats) -> Floats:
    """Return the bond line's temperature [degC]; after opening with the cover sheet taken off, as the steps say."""
    room_c = book.bench.room_c
    excess = excess_k(book, job, known_for(book, job.sightings).readings, chosen.platen_c)
    stack, pressing = followed(book, job, chosen.cover)
    closed = times_s <= dwell_s
    nodes = history(pressing.pressed, pressing.opened, dwell_s, times_s[closed]).nodes
    cooling, start, node = recipes.uncovered(stack, pressing, dwell_s)
    after = temperatures(cooling, room_c + excess * start, times_s[~closed] - dwell_s, room_c, room_c)
    return np.concatenate((room_c + excess * nodes[pressing.pressed.layout.top(stack.upper)], after[node]))


def _bond_band(book: Book, pressing: Pressing, framed: FramedHeating, times_s: Floats, bond_c: Floats) -> Band:
    """Return the 95 % band of the bond line's temperature; after opening with the cover sheet taken off."""
    stack, layout = framed.stack, framed.heating.response.pressed.layout
    bare, left = stack.roles.index("carrier"), without_cover(stack)
    nodes = np.full(times_s.size, layout.top(stack.upper))
    point = _Point(Opening(left, modes(left, layout.orders[bare:]), bare), nodes, bond_c)
    return _band(book, pressing, framed, times_s, point)


def _layer_band(book: Book, pressing: Pressing, framed: FramedHeating, times_s: Floats, layer: _Layer) -> Band:
    """Return the 95 % band of a layer's temperature, where it is hottest at each time; the cover sheet stays on."""
    response = framed.heating.response
    within = response.pressed.layout.nodes(layer.layer)
    shares = history(response.pressed, response.opened, pressing.dwell_s, times_s).nodes[within]
    nodes = within.start + shares.argmax(axis=0)
    point = _Point(Opening(framed.stack.opened, response.opened), nodes, layer.temperatures_c)
    return _band(book, pressing, framed, times_s, point)


def _band(book: Book, pressing: Pressing, framed: FramedHeating, times_s: Floats, point: _Point) -> Band:
    """Return the 95 % band of a point's temperature, by what readings tell."""
    parameters, stack, heating = framed
    platen_c = pressing.chosen.platen_c
    spread = spread_of(known_for(book, pressing.job.sightings).readings, parameters)
    share = (point.temperatures_c - heating.room_c) / float(heating.excess_k(np.array(platen_c), spread.mean))
    slopes = node_slopes(
        stack.closed,
        heating.response.pressed,
        point.opening,
        point.nodes,
        dwell_s=pressing.dwell_s,
        times_s=times_s,
    )
    return Band(*temperature_band(heating, spread, platen_c, share=share, slopes=slopes))


def _curve(layer: _Layer, times_s: Floats, known: Sequence[LayerPeak], units: Units) -> Curve:
    hottest = int(layer.temperatures_c.argmax())
    peak_c = float(layer.temperatures_c[hottest])
    # The recipe gives each layer's worst of several uppers, which may be another upper's.
    peak_row = next((row for row in known if row.layer == layer.name and abs(row.peak_c - peak_c) < _SAME_PEAK_K), None)
    return Curve(
        layer.name,
        _ROLES.get(layer.role, "aid"),
        layer.temperatures_c,
        peak=(float(times_s[hottest]), peak_c),
        worst_c=None if peak_row is None else peak_row.worst_case_c,
        limit_c=layer.limit_c,
        remarks=(
            *_peak_said(times_s, layer.temperatures_c, units),
            "" if peak_row is None else say_temperature(peak_row.worst_case_c, units),
            say_temperature(layer.limit_c, units),
            "" if peak_row is None else peak_row.evidence,
        ),
    )


def _peak_said(times_s: Floats, temperatures_c: Floats, units: Units) -> tuple[str, str]:
    hottest = int(temperatures_c.argmax())
    return say_temperature(float(temperatures_c[hottest]), units), f"{times_s[hottest]:.0f} s"


def _lines(book: Book, units: Units, recipe: Recipe, job: Job, chosen: Candidate, *, dwell_s: float) -> Iterator[str]:
    press = book.presses[recipe.press]
    cover = "no cover sheet" if chosen.cover is None else book.covers[chosen.cover].name
    yield (
        f"{press.name}: {say_temperature(chosen.platen_c, units)}, {dwell_s:.3g} s, "
        f"{chosen.pressure} pressure; {cover}. Upper: {job.upper.name}."
    )
    if recipe.verdict == "trial":
        yield "To be tried first. " + " ".join(
            reason.sentence for reason in recipe.reasons if reason.verdict == "trial"
        )


def _spans(book: Book, pressings: Sequence[Pressing]) -> Iterator[charts.Span]:
    """Yield the window and its sure part; where pressings were observed, beside that by the book alone."""
    job, chosen, *_ = pressings[0]
    span = chosen.span
    if job.sightings:
        statements = "the trade's statements and " if book.practices else ""
        count = len(job.sightings)
        seen = f"with {statements}{count} observed pressing{'s' if count > 1 else ''}"
        yield _both_ends(seen, span)
        yield _both_ends("by the book alone", span_alone(book, pressings))
        return
    yield charts.Span(f"window, {span.shortest_s:.1f} to {span.longest_s:.1f} s", span.shortest_s, span.longest_s)
    if span.sure_from_s <= span.sure_to_s:
        yield charts.Span(
            f"at the worst case, {span.sure_from_s:.1f} to {span.sure_to_s:.1f} s", span.sure_from_s, span.sure_to_s
        )


def _both_ends(name: str, span: Span) -> charts.Span:
    """Return a window with its sure part."""
    window = "no dwell bonds and harms nothing"
    if span.shortest_s <= span.longest_s:
        window = f"{span.shortest_s:.1f} to {span.longest_s:.1f} s"
    sure = "none is sure"
    if span.sure_from_s <= span.sure_to_s:
        sure = f"sure from {span.sure_from_s:.1f} to {span.sure_to_s:.1f} s"
    return charts.Span(
        f"{name}: {window}; {sure}", span.shortest_s, span.longest_s, sure=(span.sure_from_s, span.sure_to_s)
    )


def _marks(recipe: Recipe, times_s: Floats, bond_c: Floats, dwell_s: float) -> Iterator[tuple[float, float, str]]:
    if recipe.peel is None:
        return
    at_s = dwell_s + recipe.peel.wait_s
    wait_s = recipe.peel.wait_s
    words = f"peel {recipe.peel.when}, {f'{wait_s:.0f} s after opening' if wait_s >= 1.0 else 'at once'}"
    if at_s > times_s[-1]:
        yield float(times_s[-1]), float(bond_c[-1]), f"{words}, off the chart"
    else:
        yield at_s, float(np.interp(at_s, times_s, bond_c)), words
