"""Words on drawings: none over another and none beyond the sheet, whatever is drawn."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely
from draws import drawn
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lettering import beyond, box, collisions, width

from featherline_service.drawing import charts
from featherline_service.drawing.charts import Chart, Curve, Role, Span
from featherline_service.drawing.placements import Mark, Placed, draw, draw_small, on_shoe, scale_to_fit
from featherline_service.drawing.scene import Shape, Words, fitted, room_for, wrapped

SAID = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789.,:;/()-+%&°\"' ½"


@given(st.text(st.sampled_from(SAID), max_size=60), st.booleans())
def test_the_room_for_words_is_no_less_than_they_take(text: str, bold: bool) -> None:
    """No line in Helvetica or Roboto is wider than the room left for it, nor narrower than half of it."""
    wide = width(text, 2.7, bold=bold)

    assert wide <= room_for(text, 2.7) + 1e-9
    assert wide >= 0.5 * room_for(text, 2.7)


@given(st.text(st.sampled_from(SAID), max_size=120), st.floats(20.0, 200.0))
def test_words_that_are_fitted_or_wrapped_fit(text: str, room: float) -> None:
    """A line cut to a width is no wider; wrapped, every line fits, and no letter is lost where lines suffice."""
    assert width(fitted(text, 3.1, room), 3.1) <= room
    assert all(width(part, 3.1) <= room for part in wrapped(text, 3.1, room, 5))
    assert text.replace(" ", "") == "".join(wrapped(text, 3.1, room, 1000)).replace(" ", "")


def random_marks(draw_: Callable[[Any], Any], panel: shapely.Polygon) -> shapely.MultiPolygon:
    """Return a turned rectangle somewhere on, or partly off, a panel."""
    left, low, right, high = panel.bounds
    wide = draw_(st.floats(0.004, 1.3)) * (right - left)
    tall = draw_(st.floats(0.004, 1.3)) * (high - low)
    x, y = left + draw_(st.floats(0.0, 1.0)) * (right - left), low + draw_(st.floats(0.0, 1.0)) * (high - low)
    turn = math.radians(draw_(st.floats(-180.0, 180.0)))
    corners = [(-wide, -tall), (wide, -tall), (wide, tall), (-wide, tall)]
    cosine, sine = math.cos(turn), math.sin(turn)
    ring = [(x + 0.5 * (cosine * a - sine * b), y + 0.5 * (sine * a + cosine * b)) for a, b in corners]
    return shapely.MultiPolygon([shapely.Polygon(ring)])


@st.composite
def placements(draw_: Callable[[Any], Any]) -> dict[str, Any]:
    """Return changes of a placement: panels from 5 mm to half a metre, artwork from a speck to beyond the panel."""
    wide, high = draw_(st.floats(5.0, 500.0)), draw_(st.floats(5.0, 300.0))
    panel = shapely.box(-0.5 * wide, -0.5 * high, 0.5 * wide, 0.5 * high)
    artwork = random_marks(draw_, panel)
    marks = tuple(
        Mark(random_marks(draw_, panel), "Flock film, Claret", "#6d1f2c", label=str(number + 2))
        for number in range(draw_(st.integers(0, 3)))
    )
    left, low, _, _ = artwork.bounds
    shoe = draw_(st.sampled_from([None, "right"]))
    inches = draw_(st.booleans())
    return {
        "panel": shapely.MultiPolygon([panel]),
        "keep_outs": (("eyelets", shapely.Point(0.3 * wide, 0.3 * high).buffer(0.08 * high)),),
        "artwork": artwork,
        "counted": artwork,
        "measured": draw_(st.sampled_from([None, ((left, -0.5 * high), (left, low))])),
        "marks": marks,
        "label": "1" if marks else "",
        "toe": draw_(st.booleans()),
        "shoe": shoe,
        "say": (lambda length: f"{length / 25.4:.2f}") if inches else (lambda length: f"{length:.1f}"),
        "free": draw_(st.sampled_from(["", "11.0", "-0.0"])),
        "unit": "in" if inches else "mm",
    }


@pytest.mark.slow
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=drawn(60))
@given(placements(), st.sampled_from([1.0, 0.8, 0.5, 1.0 / 3.0, 0.2, 0.1, 0.02]), st.booleans())
def test_no_figure_hides_another_or_leaves_the_sheet(
    placed: Placed,
    changes: dict[str, Any],
    scale: float,
    left: bool,
) -> None:
    """In the full drawing and at any scale, on either shoe, no two words overlap and all are on the sheet."""
    shoe = "left" if left and changes["shoe"] else None
    for scene in (draw(placed._replace(**changes), shoe), draw_small(on_shoe(placed._replace(**changes), shoe), scale)):
        assert [] == collisions(scene)
        assert [] == beyond(scene)
        assert not [item.text for item in scene.items if isinstance(item, Words) and item.text.startswith("-0")]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=drawn(60))
@given(placements(), st.tuples(st.floats(55.0, 190.0), st.floats(40.0, 100.0)))
def test_a_drawing_scaled_to_a_room_is_no_larger(
    placed: Placed, changes: dict[str, Any], room: tuple[float, float]
) -> None:
    """At the scale for a room the sheet fits it, with all its figures."""
    scene = draw_small(placed._replace(**changes), scale_to_fit(placed._replace(**changes), *room))

    assert scene.width <= room[0] + 1e-6
    assert scene.height <= room[1] + 1e-6


def test_the_check_finds_words_that_overlap(placed: Placed) -> None:
    """The check of these tests reports a figure laid over another and one beyond the sheet."""
    scene = draw(placed)
    figure = next(item for item in scene.items if isinstance(item, Words) and item.text == "20.0")
    over = scene._replace(items=(*scene.items, figure._replace(text="9.9"), figure._replace(text="far", x=-1.0)))

    assert ("20.0", "9.9") in collisions(over)
    assert ["far"] == beyond(over)


@pytest.mark.parametrize("text", ["-0.0", "-0.00", "-0"])
def test_minus_zero_is_zero(placed: Placed, text: str) -> None:
    """A length that rounds to minus zero is shown as zero."""
    words = [item.text for item in draw(placed._replace(free=text)).items if isinstance(item, Words)]

    assert text.removeprefix("-") in words
    assert text not in words


@st.composite
def charts_(draw_: Callable[[Any], Any]) -> Chart:
    """Return a chart of a platen, a bond line and up to nine layers that may run together, with limits and windows."""
    dwell = draw_(st.floats(1.0, 120.0))
    times = np.concatenate(
        (np.linspace(0.0, dwell, 120), np.linspace(dwell, dwell * draw_(st.floats(1.2, 2.8)), 160)[1:])
    )
    platen = draw_(st.floats(90.0, 200.0))

    def curve(name: str, role: Role, near: float) -> Curve:
        peak = near + draw_(st.floats(-3.0, 3.0) | st.floats(-80.0, 20.0))
        after = dwell * draw_(st.sampled_from([1.0, 1.0, 1.3]))
        values = np.interp(times, [0.0, 0.2 * dwell, after, times[-1]], [20.0, 0.7 * peak, peak, 0.5 * peak + 20.0])
        upper = role == "upper"
        top = (float(times[values.argmax()]), float(values.max()))
        return Curve(
            name, role, values, top if upper else None, top[1] + 6.0 if upper else None,
            draw_(st.floats(60.0, 220.0)) if upper else None, ("142 °C", "36 s", "150 °C", "168 °C", "practice"),
        )  # fmt: skip

    bond = platen - draw_(st.floats(5.0, 40.0))
    layers = [
        curve(f"layer {number}", draw_(st.sampled_from(("upper", "upper", "film", "aid"))), bond)
        for number in range(draw_(st.integers(1, 9)))
    ]
    low, high = sorted((draw_(st.floats(0.0, 120.0)), draw_(st.floats(0.0, 120.0))))
    at = draw_(st.floats(float(dwell), float(times[-1])))
    inches = draw_(st.booleans())
    return Chart(
        name="chart",
        title="Smooth film on leather",
        lines=("160 °C, 30 s.",),
        description="A chart.",
        times_s=times,
        dwell_s=dwell,
        dwell_words=f"press opens after {dwell:.3g} s",
        curves=(
            Curve("platen", "platen", np.where(times <= dwell, platen, np.nan), remarks=("160 °C",)),
            curve("bond line", "bond", bond),
            *layers,
        ),
        spans=(
            Span(f"window, {low:.1f} to {high:.1f} s", low, high),
            Span("at the worst case", min(low + 1.0, high), high),
        ),
        marks=((at, float(np.interp(at, times, layers[0].temperatures_c)), "peel warm, 60 s after opening"),),
        heads=("hottest", "after", "worst case", "stands", "known by"),
        scale=(lambda celsius: 1.8 * celsius + 32.0) if inches else float,
        unit="°F" if inches else "°C",
    )


@settings(deadline=None, max_examples=drawn(40), suppress_health_check=[HealthCheck.too_slow])
@given(charts_())
def test_no_label_of_a_chart_sits_on_a_line_or_on_another(chart: Chart) -> None:
    """Curves, limits, whiskers, the opening and the windows' bars run through no words; no words overlap."""
    scene = charts.draw(chart)
    shapes = [item for item in scene.items if isinstance(item, Shape)]
    tags = shapely.union_all([shapely.Polygon(item.contours[0]) for item in shapes if item.name == "tag"])
    lines = shapely.geometrycollections(
        [
            shapely.linestrings(points)
            for item in shapes
            if item.name.startswith(("curve", "limit", "worst", "opening", "window", "axis", "pointer", "tag-line"))
            for points in item.contours
        ]
    )
    lettered = [item for item in scene.items if isinstance(item, Words)]

    assert [] == collisions(scene)
    assert [] == beyond(scene)
    assert [] == [
        item.text
        for item in lettered
        if shapely.box(*box(item)).intersects(lines) and not tags.contains(shapely.Point(item.x, item.y - 0.9))
    ]


@settings(deadline=None, max_examples=drawn(25), suppress_health_check=[HealthCheck.too_slow])
@given(charts_())
def test_a_tag_of_a_chart_is_on_its_own_curve_alone(chart: Chart) -> None:
    """A tag touches no curve but the one whose letter it has, and without a line to it touches that one."""
    shapes = [item for item in charts.draw(chart).items if isinstance(item, Shape)]
    order = [curve.role for curve in chart.curves]
    tags = [shapely.Polygon(item.contours[0]) for item in shapes if item.name == "tag"]
    curves = {}
    for item in shapes:
        if item.name.startswith("curve"):
            curves[item.contours[0].tobytes()] = shapely.linestrings(item.contours[0])

    assert len(order) == len(tags)
    assert all(sum(tag.intersects(curve) for curve in curves.values()) <= 1 for tag in tags)


def test_a_chart_says_what_may_surprise() -> None:
    """A layer hotter than the bond line in a closed press, and one hottest after it, are explained; others are not."""
    times = np.linspace(0.0, 60.0, 241)
    bond = np.interp(times, [0.0, 30.0, 60.0], [20.0, 140.0, 60.0])
    hot, late = bond + 8.0, np.interp(times, [0.0, 40.0, 60.0], [20.0, 90.0, 80.0])
    curves = {
        "leather": Curve("leather", "upper", hot, (30.0, 148.0), 150.0, 168.0),
        "lining": Curve("lining", "upper", late, (40.0, 90.0), 95.0, 168.0),
        "plain": Curve("plain", "upper", bond - 9.0, (30.0, 131.0), 135.0, 168.0),
    }

    def said(*names: str) -> str:
        shown = (Curve("bond line", "bond", bond), *(curves[name] for name in names))
        chart = Chart("chart", "On", (), "", times, 30.0, "opens", shown, (), (), ("hottest",), float, "°C")
        return " ".join(item.text for item in charts.draw(chart).items if isinstance(item, Words))

    assert "B gets hotter than the bond line, because beside the film" in said("leather", "plain")
    assert "B is hottest after the press has opened" in said("lining")
    assert "because" not in said("plain")
