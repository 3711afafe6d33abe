"""Which way up a mark lies as the shoe is worn (common practice, no source)."""

from __future__ import annotations

import math
from typing import Any

import msgspec
import pytest

from featherline.wire.fits import Fit, FitRequest
from featherline_service.book.shop_book import Book
from featherline_service.questions.fit import fits

TEXT = {"kind": "text", "text": "AB", "font": "plain", "height": "10 mm"}


def fit(book: Book, panel: str, pose: dict[str, Any] | None = None, **more: object) -> Fit:
    """Return the fit of a text on a panel of the deck shoe."""
    content = {
        "shoe": {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}},
        "panel": panel,
        "film": "smooth",
        "artwork": TEXT,
        "pose": pose or {"kind": "centred"},
        **more,
    }
    return fits.check(book, msgspec.convert(content, FitRequest))


def codes(answer: Fit) -> set[str]:
    """Return the codes of a fit's reasons about how it lies."""
    return {reason.code for reason in answer.reasons if reason.code.startswith("sight.") and "tone" not in reason.code}


@pytest.mark.parametrize(
    ("panel", "turn"), [("tongue", 90.0), ("toe", 90.0), ("heel", 0.0), ("outer-quarter", 0.0), ("inner-quarter", 0.0)]
)
def test_a_mark_is_upright_without_a_rotation(book: Book, panel: str, turn: float) -> None:
    """On tongue and toe, drawn with the toe to the right, it is turned, and the sentence says so."""
    answer = fit(book, panel)
    assert turn == answer.placed.rotation_deg
    assert ("to stand upright as the shoe is worn" in answer.placed.sentence) == bool(turn)
    assert set() == codes(answer)


@pytest.mark.parametrize("kind", ["searched", "at"])
def test_every_kind_of_pose_is_turned(book: Book, kind: str) -> None:
    """A search turns from upright, and an offset is of the upright artwork."""
    more = {"x": "0 mm", "y": "0 mm"} if kind == "at" else {}
    assert fit(book, "tongue", {"kind": kind, **more}).placed.rotation_deg == 90.0


@pytest.mark.parametrize(
    ("rotation", "expected"),
    [
        ("0 deg", {"sight.sideways"}),
        ("44 deg", {"sight.sideways"}),
        ("45 deg", set()),
        ("135 deg", set()),
        ("136 deg", {"sight.sideways"}),
        ("180 deg", {"sight.sideways"}),
        ("-90 deg", {"sight.upside-down"}),
        ("270 deg", {"sight.upside-down"}),
    ],
)
def test_a_given_rotation_is_kept_and_said(book: Book, rotation: str, expected: set[str]) -> None:
    """Upright on the tongue is 90 degrees; a quarter of a turn from it is the limit."""
    answer = fit(book, "tongue", {"kind": "centred", "rotation": rotation})
    assert expected == codes(answer)
    assert "upright" not in answer.placed.sentence
    assert all(reason.verdict == "ready" for reason in answer.reasons if reason.code in expected)


def test_drawings_that_point_and_baselines_are_not_turned(book: Book) -> None:
    """An arrow to the toe points to the toe; a text by its baseline is level in the drawing, which is said."""
    arrow = {"kind": "path", "d": "M0 0L10 5L0 10Z", "height": "8 mm", "directional": True}
    assert fit(book, "tongue", artwork=arrow).placed.rotation_deg == 0.0
    baseline = {"kind": "anchored", "side": "above", "edge": "panel", "distance": "12 mm", "line": "baseline"}
    level = fit(book, "tongue", baseline)
    assert level.placed.rotation_deg == 0.0
    assert {"sight.sideways"} == codes(level)


@pytest.mark.parametrize(
    ("more", "turn"),
    [
        ({"shape": {"kind": "rectangle", "width": "60 mm", "height": "50 mm"}}, 0.0),
        ({"shape": {"kind": "traced", "d": "M0 0H60V50H0Z"}}, 90.0),
        ({"shape": {"kind": "traced", "d": "M0 0H60V50H0Z"}, "up": "90 deg"}, 0.0),
        ({"shape": {"kind": "rectangle", "width": "60 mm", "height": "50 mm"}, "up": "-90 deg"}, -180.0),
    ],
)
def test_a_measured_panel_may_say_which_way_is_up(book: Book, more: dict[str, Any], turn: float) -> None:
    """A traced tongue has its toe to the right; one measured with a ruler is measured as it is looked at."""
    shoe = {"kind": "measured", "label": "leather", "panels": [{"panel": "tongue", "face": "tongue", **more}]}
    placed = fit(book, "tongue", shoe=shoe).placed
    assert math.remainder(turn - placed.rotation_deg, 360.0) == pytest.approx(0.0, abs=1e-6)


def test_both_shoes_are_upright_alike(book: Book) -> None:
    """In the panel's drawing the left shoe's text is mirrored along its own line, so its tops point as the right's."""
    for sides in ("left", "right", "both"):
        assert fit(book, "tongue", sides=sides).placed.rotation_deg == 90.0
