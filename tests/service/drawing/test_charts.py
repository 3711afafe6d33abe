from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from featherline_service.drawing import charts, notices
from featherline_service.drawing.charts import Band, Chart, Curve, Span
from featherline_service.drawing.media import svg

Read = Callable[[str], Any]
TIMES = np.linspace(0.0, 60.0, 241)


def fahrenheit(celsius: float) -> float:
    """Return degrees Fahrenheit."""
    return celsius * 1.8 + 32.0


def chart(**changes: Any) -> Chart:  # noqa: ANN401 - any field
    """Return a chart of straight lines: platen 160 degC for 30 s, the bond line from 20 to 140 degC and back."""
    bond = np.interp(TIMES, [0.0, 30.0, 60.0], [20.0, 140.0, 60.0])
    asked: dict[str, Any] = {
        "name": "chart",
        "title": "Smooth film on leather",
        "lines": ("160 °C, 30 s.",),
        "description": "A chart.",
        "times_s": TIMES,
        "dwell_s": 30.0,
        "dwell_words": "press opens after 30 s",
        "curves": (
            Curve("platen", "platen", np.where(TIMES <= 30.0, 160.0, np.nan), remarks=("160 °C",)),
            Curve("bond line", "bond", bond, remarks=("140 °C", "30 s")),
            Curve("leather", "upper", bond - 10.0, (30.0, 130.0), 138.0, 168.0, ("130 °C", "30 s")),
            Curve("lining", "upper", 0.5 * bond, (30.0, 70.0), 80.0, 168.0, ("70 °C", "30 s")),
        ),
        "spans": (Span("window", 20.0, 50.0), Span("worst case", 25.0, 40.0)),
        "marks": ((45.0, 100.0, "peel warm"),),
        "heads": ("hottest", "after"),
        "scale": float,
        "unit": "°C",
    }
    return Chart(**{**asked, **changes})


def axis(drawing: Any, *, upright: bool) -> tuple[float, float]:  # noqa: ANN401 - a drawing
    """Return offset and slope of an axis, by its labels: its value is offset + slope * place on the sheet."""
    found = []
    for text in drawing.root.iterfind(".//{*}text"):
        number = (text.text or "").lstrip("-").isdigit()
        left = text.get("text-anchor") == "end" and float(text.get("x")) < 20.0
        below = text.get("text-anchor") == "middle" and text.get("font-weight") is None
        if number and (left if upright else below):
            place = -float(text.get("y")) + 0.36 * 2.7 if upright else float(text.get("x"))
            found.append((place, float(text.text)))
    slope, offset = np.polyfit(*np.array(found).T, 1)
    return float(offset), float(slope)


@pytest.mark.parametrize(("unit", "scale"), [("°C", float), ("°F", fahrenheit)])
def test_a_curve_goes_where_the_axes_say(read: Read, unit: str, scale: Callable[[float], float]) -> None:
    """Read off the axes' own labels, the bond line passes through its temperatures at their times, in either unit."""
    drawing = read(svg.write(charts.draw(chart(scale=scale, unit=unit))))
    (bond,) = drawing.contours("curve bond")
    time, temperature = axis(drawing, upright=False), axis(drawing, upright=True)
    read_off = [(time[0] + time[1] * x, temperature[0] + temperature[1] * y) for x, y in bond]

    for time_s, celsius in ((0.0, 20.0), (15.0, 80.0), (30.0, 140.0), (60.0, 60.0)):
        nearest = min(read_off, key=lambda point: abs(point[0] - time_s))
        assert pytest.approx((time_s, scale(celsius)), abs=0.6) == nearest
    assert unit in drawing.words


def test_the_window_is_where_the_time_axis_says(read: Read) -> None:
    """The bars under the axis begin and end at the window's dwells."""
    drawing = read(svg.write(charts.draw(chart())))
    offset, slope = axis(drawing, upright=False)
    found = [
        (offset + slope * min(x for x, _ in bar), offset + slope * max(x for x, _ in bar))
        for bar in drawing.contours("window")
    ]

    assert [pytest.approx((20.0, 50.0), abs=0.2), pytest.approx((25.0, 40.0), abs=0.2)] == found


def test_a_limit_is_drawn_once_for_all_that_have_it(read: Read) -> None:
    """Two layers with one limit share its line, with both their letters."""
    drawing = read(svg.write(charts.draw(chart())))
    offset, slope = axis(drawing, upright=True)
    (limit,) = drawing.contours("limit")

    assert pytest.approx(168.0, abs=0.5) == offset + slope * limit[0][1]
    assert "C, D: 168 °C" in drawing.words


def test_every_curve_has_a_letter_in_the_plot_and_in_the_table(read: Read) -> None:
    """Without colour each curve is found by its letter; the table says what it is."""
    words = read(svg.write(charts.draw(chart()))).words

    assert {"A": 2, "B": 2, "C": 2, "D": 2} == {letter: words.count(letter) for letter in "ABCD"}
    assert {"platen", "bond line", "leather", "lining", "peel warm", "press opens after 30 s"} <= set(words)


def test_tags_do_not_hide_one_another(read: Read) -> None:
    """Curves that run together still have tags that can all be read."""
    same = tuple(
        Curve(f"layer {n}", "film", np.interp(TIMES, [0.0, 30.0, 60.0], [20.0, 140.0 + n, 60.0])) for n in range(9)
    )
    tags = [np.mean(tag, axis=0) for tag in read(svg.write(charts.draw(chart(curves=same)))).contours("tag")]
    distances = [np.hypot(*(one - other)) for at, one in enumerate(tags) for other in tags[:at]]

    assert 9 == len(tags)
    assert min(distances) >= 2.0 * 1.75


def banded() -> Chart:
    """Return the chart with bands: the bond line's 12 K either way, the leather's 6 K."""
    platen, bond, leather, lining = chart().curves
    return chart(
        curves=(
            platen,
            bond._replace(band=Band(bond.temperatures_c - 12.0, bond.temperatures_c + 12.0)),
            leather._replace(band=Band(leather.temperatures_c - 6.0, leather.temperatures_c + 6.0)),
            lining,
        )
    )


def test_a_band_goes_where_the_axes_say(read: Read) -> None:
    """The bond line's band is shaded, a layer's is hatched, each between its ends, and the legend says whose."""
    drawing = read(svg.write(charts.draw(banded())))
    time, temperature = axis(drawing, upright=False), axis(drawing, upright=True)
    outline, *hatches = drawing.contours("band")
    ends = [
        [temperature[0] + temperature[1] * y for x, y in outline if abs(time[0] + time[1] * x - 15.0) < 0.1],
        *([temperature[0] + temperature[1] * y for _, y in hatch] for hatch in hatches),
    ]

    assert [pytest.approx((68.0, 92.0), abs=0.7)] == [sorted(ends[0])]
    assert [12.0] * len(hatches) == pytest.approx([high - low for low, high in map(sorted, ends[1:])], abs=0.2)
    assert 100 < len(hatches)
    assert any("shaded" in words and "bond line (B)" in words for words in drawing.words)
    assert any("hatched" in words and "leather (C)" in words for words in drawing.words)


def test_a_band_has_room_in_the_plot(read: Read) -> None:
    """A band that is hotter than all curves and limits is in the plot, and no curve without one has a legend."""
    platen, bond, *_ = chart().curves
    hot = bond._replace(band=Band(bond.temperatures_c, bond.temperatures_c + 90.0))
    drawing = read(svg.write(charts.draw(chart(curves=(platen, hot)))))
    offset, slope = axis(drawing, upright=True)
    (outline,) = drawing.contours("band")
    (upright, *_) = drawing.contours("axis")

    assert 230.0 == pytest.approx(max(offset + slope * y for _, y in outline), abs=0.7)
    assert max(y for _, y in outline) < max(y for _, y in upright)
    assert [] == read(svg.write(charts.draw(chart()))).contours("band sample")


def test_windows_are_compared_bar_under_bar(read: Read) -> None:
    """Each window has its words over its bar and its sure part in it; one without a dwell has its words alone."""
    spans = (
        Span("seen: 20 to 50 s; sure from 25 to 40 s", 20.0, 50.0, sure=(25.0, 40.0)),
        Span("by the book alone: 22 to 50 s; none is sure", 22.0, 50.0, sure=(41.0, 40.0)),
        Span("nothing", np.inf, 50.0, sure=(np.inf, 40.0)),
    )
    drawing = read(svg.write(charts.draw(chart(spans=spans))))
    offset, slope = axis(drawing, upright=False)
    bars = [
        [offset + slope * end for end in (min(x), max(x))]
        for x in ([x for x, _ in bar] for bar in drawing.contours("window"))
    ]
    tops = [max(y for _, y in bar) for bar in drawing.contours("window")]

    assert [pytest.approx(each, abs=0.2) for each in ([20.0, 50.0], [25.0, 40.0], [22.0, 50.0])] == bars
    assert tops[0] == tops[1] > tops[2]
    assert {span.name for span in spans} <= set(drawing.words)
    assert any("black" in words and "sure" in words for words in drawing.words)


def test_a_notice_says_its_sentences(read: Read) -> None:
    """Where there is nothing to draw, the sheet says why, in full."""
    sentences = ["Smooth film does not bond to rubber.", "It bonds to leather."]
    drawing = read(svg.write(notices.draw("chart", "Smooth film on rubber", sentences)))

    assert ["Smooth film on rubber", *sentences] == drawing.words
