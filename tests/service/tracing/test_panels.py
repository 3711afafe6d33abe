from __future__ import annotations

import io
import math
from collections.abc import Callable

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw, ImageFilter, ImageOps
from shapely import affinity

from featherline_service.tracing import panels
from featherline_service.tracing.panels import Tracing
from featherline_service.tracing.refusal import RefusalError


def encoded(picture: Image.Image, form: str = "JPEG") -> bytes:
    """Return a picture as a file."""
    buffer = io.BytesIO()
    picture.save(buffer, form, quality=85)
    return buffer.getvalue()


def _twice(picture: Image.Image) -> Image.Image:
    """Return a photo beside itself."""
    both = Image.new("RGB", (2 * picture.width, picture.height))
    both.paste(picture, (0, 0))
    both.paste(picture, (picture.width, 0))
    return both


@pytest.mark.parametrize("name", ["deck", "clog"])
def test_a_panel_is_traced_as_it_is_drawn(
    name: str, drawn: Callable, traced: Callable[[str], Tracing], moved: Callable
) -> None:
    """Outline within half a millimetre and within what is announced, eyelets within 0.3 mm, all of the hatching kept.

    On A4 printed at 97 % and on a Letter sheet lying across the picture; with a tilted camera and a lens that bends.
    """
    truth, found = drawn(name), traced(name)
    way = moved(truth.outline, found.outline)
    outline = affinity.translate(found.outline, *way)

    worst = shapely.hausdorff_distance(truth.outline.exterior.segmentize(0.2), outline.exterior.segmentize(0.2))
    assert worst < min(0.5, found.off_mm)
    assert len(truth.eyelets) == len(found.eyelets)
    for x, y, radius in truth.eyelets:
        eye = min(found.eyelets, key=lambda eye: math.hypot(eye.x + way[0] - x, eye.y + way[1] - y))
        assert math.hypot(eye.x + way[0] - x, eye.y + way[1] - y) < 0.3
        assert abs(eye.radius - radius) < 0.3
    assert (truth.keep_out is None) == (not found.hatched)
    if truth.keep_out is not None:
        kept = affinity.translate(shapely.union_all(found.hatched), *way)
        assert kept.intersection(truth.keep_out).area > 0.97 * truth.keep_out.area
    assert () == found.unread
    assert 20 == found.seen.marks


def test_the_picture_shows_the_panel_from_above(traced: Callable[[str], Tracing]) -> None:
    """Where the outline is traced, the picture is dark, and a few millimetres beside it light."""
    found = traced("deck")
    left, top, right, bottom = found.picture.box
    rows, columns = found.picture.pixels.shape[:2]

    def value(ring: shapely.LineString) -> float:
        x, y = shapely.get_coordinates(ring.segmentize(1.0)).T
        seen = found.picture.pixels[
            np.clip(((y - top) / (bottom - top) * rows).astype(int), 0, rows - 1),
            np.clip(((x - left) / (right - left) * columns).astype(int), 0, columns - 1),
        ]
        return float(seen.max(axis=1).mean())

    assert 2.0 * value(found.outline.exterior) < value(found.outline.buffer(2.5).exterior)


def test_a_sheet_that_does_not_lie_flat_is_refused(drawn: Callable) -> None:
    """A ridge of 3 mm across the sheet moves marks and crosses by more than the outline may be off."""
    bulge = drawn("bulge")

    with pytest.raises(RefusalError, match=r"does not lie flat: .* Smooth it out"):
        panels.trace(bulge.photo, "image/jpeg", bulge.bars)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (ImageOps.mirror, "is mirrored: take it with the camera at the back"),
        (lambda picture: picture.filter(ImageFilter.GaussianBlur(4.0)), "blurred: .* Tap on the sheet"),
        (lambda picture: picture.point(lambda value: 0.35 * value), "steps darker than paper, .* more even light"),
        (lambda picture: picture.reduce(3), r"pixels for a millimetre .* Go nearer|\d+ can be read"),
        (lambda picture: picture.crop((0, 0, 900, 1_296)), "can be read|span"),
        (lambda picture: picture.crop((0, 300, 1_728, 1_296)), "span .* Have all four corners in view"),
        (lambda _: Image.new("RGB", (1_000, 800), "white"), "marks around the sheet 0 can be read"),
        (_twice, "two sheets in the photo"),
    ],
    ids=["mirrored", "blurred", "dark", "small", "half", "cut", "empty", "twice"],
)
def test_a_photo_that_is_not_good_enough_is_refused_with_the_cure(
    change: Callable[[Image.Image], Image.Image], told: str, drawn: Callable
) -> None:
    """Each thing that can be wrong with a photo has words that say what to do."""
    deck = drawn("deck")
    picture = change(Image.open(io.BytesIO(deck.photo)))

    with pytest.raises(RefusalError, match=told):
        panels.trace(encoded(picture), "image/jpeg", deck.bars)


@pytest.mark.parametrize(
    ("factors", "told"),
    [
        ((1.025, 1.025), "By the bar `along` the paper would be 3.. mm that way, and it is 297: measure"),
        ((1.0, 1.03), "which no printer does"),
        ((0.6, 1.0), "which no printer does"),
    ],
)
def test_bars_that_cannot_be_are_refused(factors: tuple[float, float], told: str, drawn: Callable) -> None:
    """A bar read off wrongly contradicts the edges of the paper, the other bar, or any printer."""
    deck = drawn("deck")
    bars = deck.bars[0] * factors[0], deck.bars[1] * factors[1]

    with pytest.raises(RefusalError, match=told):
        panels.trace(deck.photo, "image/jpeg", bars)


def test_other_ink_is_told_and_a_covered_mark_does_no_harm(drawn: Callable, traced: Callable[[str], Tracing]) -> None:
    """A cross drawn on the panel is named by its place; a finger on one mark changes nothing."""
    deck, before = drawn("deck"), traced("deck")
    picture = Image.open(io.BytesIO(deck.photo))
    pen = ImageDraw.Draw(picture)
    for x, y in ((22, 22), (22, -22)):
        pen.line([(860 - x, 820 - y), (860 + x, 820 + y)], fill=(30, 30, 30), width=6)
    pen.ellipse([815, 190, 885, 260], fill=(205, 160, 135))
    marked = encoded(picture, "PNG")

    after = panels.trace(marked, "image/png", deck.bars)

    assert 1 == len(after.unread)
    assert 19 == after.seen.marks
    assert shapely.hausdorff_distance(before.outline, after.outline) < 0.2
