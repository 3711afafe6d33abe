from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
import shapely

from featherline.wire.shoes import MeasuredPanel, Traced
from featherline.wire.tracings import TracingQuery
from featherline_service.questions import tracings
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.shoes.panels import panel_shape
from featherline_service.questions.shoes.shoes import Panel, Shoe
from featherline_service.questions.tracings import TracingAsked
from featherline_service.tracing import panels
from featherline_service.tracing.keep_outs import Eyelet
from featherline_service.tracing.panels import Picture, Tracing
from featherline_service.tracing.refusal import RefusalError
from featherline_service.tracing.view.views import Seen

ASKED = TracingAsked(
    content=b"",
    media_type="image/png",
    query=TracingQuery(along="247 mm", across="15.6 cm", panel="vamp", face="tongue"),
)
TRACED = Tracing(
    paper="a4",
    outline=shapely.box(0.0, 0.0, 90.0, 40.0),
    eyelets=(Eyelet(20.0, 10.0, 2.5),),
    hatched=(shapely.box(50.0, 20.0, 60.0, 30.0), shapely.box(70.0, 20.0, 75.0, 30.0)),
    unread=((30.0, 30.0),),
    line_mm=0.8,
    off_mm=0.31,
    off_by_raised=0.2,
    seen=Seen(20, 60, 0.05, 3.6, 0.6, 150.0, 4.0),
    picture=Picture(np.full((120, 220, 3), 200, np.uint8), (-10.0, -10.0, 100.0, 50.0)),
)


@pytest.fixture
def traced(monkeypatch: pytest.MonkeyPatch) -> list[tuple[float, float]]:
    """Return the bars that a photo was traced by; every photo shows the same panel."""
    bars: list[tuple[float, float]] = []

    def trace(_photo: bytes, _media_type: str, bars_mm: tuple[float, float]) -> Tracing:
        bars.append(bars_mm)
        return TRACED

    monkeypatch.setattr(panels, "trace", trace)
    return bars


def test_a_tracing_is_a_panel_of_an_order_and_of_the_book(traced: list[tuple[float, float]]) -> None:
    """Drawn with its toe to the right, its eyelets and areas kept free; a tongue is read from ahead."""
    answer = tracings.trace(ASKED)
    checks = Checks()
    panel = Panel("vamp", "a panel", "tongue", (), None, answer.panel)
    shape = panel_shape(Shoe(name="a walk-in shoe", panels=(panel,)), panel, checks)

    assert [(247.0, 156.0)] == traced
    assert shape is not None
    assert () == tuple(checks.faults)
    assert pytest.approx(np.pi * 2.5**2 + 150.0, rel=2e-3) == 3_600.0 - shape.area.region.area
    assert pytest.approx(np.pi) == shape.up
    assert ("vamp", "tongue", 180.0, answer.panel.shape.d) == (
        answer.drawing.id,
        answer.drawing.face,
        answer.drawing.up_deg,
        answer.drawing.outline,
    )
    assert ["eyelets", "seam", "seam"] == [keep_out.what for keep_out in answer.drawing.keep_outs]
    assert (90.0, 40.0, 3_600.0, 0.31, 0.2) == (
        answer.width_mm,
        answer.height_mm,
        answer.area_mm2,
        answer.off_mm,
        answer.off_by_raised,
    )


def test_what_to_look_at_is_said(traced: list[tuple[float, float]]) -> None:
    """How much was traced, how far it may be off, and the ink that was left out, by its place; in the picture, too."""
    cautions = tracings.trace(ASKED).cautions
    picture = tracings.draw(ASKED).decode()

    assert 2 == len(traced)
    assert "the outline, 1 eyelet and 2 hatched areas" in cautions[0]
    assert "off by 0.3 mm, and by up to 0.2 mm more" in cautions[1]
    assert "30 mm from the left and 30 mm from the top" in cautions[2]
    assert 3 == len(cautions)
    assert 'data-part="outline"' in picture
    assert (1, 2, 2) == tuple(picture.count(f'data-part="{part}"') for part in ("eyelet", "kept-free", "unread"))
    assert "left out: draw eyelets" in picture


def test_a_refusal_is_a_fault_with_the_cure(monkeypatch: pytest.MonkeyPatch) -> None:
    """What tracing says becomes a fault of the request as a whole."""

    def refuse(*_: object) -> Tracing:
        raise RefusalError("photo.blurred", "The photo is blurred: hold still.")

    monkeypatch.setattr(panels, "trace", refuse)

    with pytest.raises(RefusedError) as error:
        tracings.trace(ASKED)

    assert [("", "The photo is blurred: hold still.")] == [
        (fault.pointer, fault.detail) for fault in error.value.faults
    ]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_sheet_has_every_mark_bar_and_step(paper: str) -> None:
    """Twenty marks, two bars, the crosses, four arrows to the toe, and the six steps in words."""
    scene = tracings.sheet(paper)
    parts = [getattr(item, "name", None) for item in scene.items]
    words = " ".join(getattr(item, "text", "") for item in scene.items)

    assert (20, 20, 1, 1, 1, 4) == tuple(
        parts.count(part) for part in ("mark", "cells", "bar-along", "bar-across", "crosses", "toe")
    )
    assert all(f"{step} " in words for step in range(1, 7))
    assert "no flash." in words


SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="60mm"><g transform="scale(3.7795275591)">'
    b'<path d="M10 10H100V50H10Z"/><circle cx="30" cy="20" r="2.5"/><path fill="red" d="M60 20h10v5h-10z"/>'
    b'<path id="seam" d="M80 20h10v5h-10z"/></g></svg>'
)


def asked_of(content: bytes, **query: Any) -> TracingAsked:  # noqa: ANN401 - as the query has it
    """Return what is asked of a drawing."""
    return TracingAsked(content=content, media_type="image/svg+xml", query=TracingQuery(**query))


def test_a_drawing_is_a_panel_as_a_photo_is() -> None:
    """Its keep-outs by name, or as the query says of red ones; off by its curves; without a photo's quality."""
    answer = tracings.trace(asked_of(SVG, panel="vamp", face="tongue", keep_out="perforation"))
    picture = tracings.draw(asked_of(SVG, panel="vamp")).decode()

    assert ("M0.00 0.00L90.00 0.00L90.00 40.00L0.00 40.00Z", 180.0) == (answer.drawing.outline, answer.drawing.up_deg)
    assert ["eyelets", "perforation", "seam"] == [keep_out.what for keep_out in answer.drawing.keep_outs]
    assert answer.panel.shape == Traced(d=answer.drawing.outline, keep_outs=answer.drawing.keep_outs)
    assert (90.0, 40.0, 0.03, 0.0, None) == (
        answer.width_mm,
        answer.height_mm,
        answer.off_mm,
        answer.off_by_raised,
        answer.quality,
    )
    assert [(20.0, 10.0, 2.5)] == [(eye.x_mm, eye.y_mm, eye.radius_mm) for eye in answer.eyelets]
    assert answer.cautions[0].startswith(
        "Read: the outline, 90.0 x 40.0 mm, 1 eyelet and 2 areas kept free; the toe is"
    )
    assert ">Drawing of vamp</title>" in picture
    assert "Read: the outline" in picture
    assert "<image" not in picture


def test_a_drawing_that_is_no_panel_is_a_fault() -> None:
    """As a photo that cannot be traced."""
    with pytest.raises(RefusedError) as refused:
        tracings.trace(asked_of(b"<svg/>"))

    assert ["The drawing's size is not in millimetres"] == [fault.detail[:40] for fault in refused.value.faults]


def test_an_outline_counted_off_squared_paper_is_a_panel() -> None:
    """The path of the guide is a panel of the size that it is counted to be, with its eyelets kept free."""
    guide = (Path(__file__).parents[3] / "service" / "tracing.md").read_text("utf-8")
    (told,) = re.findall(r"```toml\n(outline = .*?)```", guide, re.DOTALL)
    shape = msgspec.convert({"kind": "traced", **msgspec.toml.decode(told.replace("outline =", "d ="))}, Traced)
    checks = Checks()
    panel = Panel("vamp", "a panel", "tongue", (), None, MeasuredPanel(panel="vamp", face="tongue", shape=shape))
    read = panel_shape(Shoe(name="a walk-in shoe", panels=(panel,)), panel, checks)

    assert read is not None
    assert () == checks.faults
    assert (0.0, -42.0, 95.0, 0.0) == pytest.approx(read.outline.bounds)
    assert ["eyelets"] == [keep_out.what for keep_out in shape.keep_outs]
    corners = [(float(x), float(y)) for x, y in re.findall(r"(-?[0-9.]+) (-?[0-9.]+)", shape.d)]
    assert pytest.approx(shapely.Polygon(corners).area, rel=1e-6) == read.outline.area
