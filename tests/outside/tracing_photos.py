"""Synthetic photos of tape tracings, for tests: rendered by ray and lens from what is on the paper.

It shares nothing with `featherline_service.tracing`: the sheet comes as the SVG that is printed, the pen, the tape, the
paper's wrinkles, the lens, the light and the sensor are modelled here.
"""

from __future__ import annotations

import io
import math
import re
from typing import Final, NamedTuple
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage
from shapely import affinity

Floats = NDArray[np.float64]
Picture = NDArray[np.floating]

_PX: Final = 8.0  # pixels of the paper's picture for each millimetre
_FINE: Final = 2  # drawn so many times finer, then averaged
_SVG: Final = "{http://www.w3.org/2000/svg}"
_TAPES: Final = ((232, 214, 170), (240, 235, 220), (205, 190, 150), (150, 190, 225), (225, 225, 225))
_TABLES: Final = ((70, 60, 50), (40, 42, 45), (120, 95, 70), (95, 105, 110), (200, 195, 190))


class Subject(NamedTuple):
    """What is drawn on the tape [mm]: the panel's edge, its eyelets (x, y, radius), and what is to be kept free."""

    outline: shapely.Polygon
    eyelets: tuple[tuple[float, float, float], ...]
    keep_out: shapely.Polygon | None


class Conditions(NamedTuple):
    """How a photo is taken. Lengths of the paper in millimetres, those of the photo in pixels, angles in degrees."""

    size: tuple[int, int] = (2592, 1944)
    scale: tuple[float, float] = (1.0, 1.0)
    tilt: float = 5.0
    tilt_towards: float = 30.0
    roll: float = 3.0
    fill: float = 0.86
    bend: tuple[float, float] = (0.0, 0.0)
    pen: float = 0.7
    black: int = 35
    tape: tuple[int, int, int] = _TAPES[0]
    table: tuple[int, int, int] = _TABLES[0]
    light: float = 0.15
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    exposure: float = 0.9
    blur: float = 0.8
    motion: float = 0.0
    motion_towards: float = 0.0
    noise: float = 2.0
    quality: int = 88
    ridges: tuple[tuple[float, float, float, float, float], ...] = ()  # x, y, direction, height, half width
    covered: tuple[tuple[float, float, float], ...] = ()  # x, y, radius of fingers on the paper
    mirrored: bool = False


def panel(rng: np.random.Generator, paper: tuple[float, float]) -> Subject:
    """Return a panel that could be a shoe's, somewhere on the paper's field."""
    length, height = rng.uniform(90.0, 170.0), rng.uniform(55.0, 95.0)
    turn = np.linspace(0.0, 2.0 * math.pi, 240, endpoint=False)
    power = rng.uniform(0.55, 0.9)
    radius = 1.0 + sum(
        rng.normal(0.0, 0.05 / order) * np.cos(order * turn + rng.uniform(0.0, 2.0 * math.pi)) for order in (2, 3, 4)
    )
    x = 0.5 * length * radius * np.sign(np.cos(turn)) * np.abs(np.cos(turn)) ** power
    y = 0.5 * height * radius * np.sign(np.sin(turn)) * np.abs(np.sin(turn)) ** power
    shape = shapely.Polygon(np.column_stack((x, y))).buffer(0)
    if rng.random() < 0.4:  # a corner cut in, as for a tongue
        notch = shapely.box(0.12 * length, -0.8 * height, 0.48 * length, -0.2 * height)
        shape = shape.difference(notch)
    shape = shape.buffer(-4.0).buffer(4.0 - 0.5, join_style="mitre").buffer(0.5).buffer(-1.5).buffer(1.5)
    whole = max(shapely.get_parts(shape), key=lambda part: part.area)
    shape = affinity.rotate(whole, rng.uniform(-12.0, 12.0), "centroid")
    left, top, right, bottom = shape.bounds
    room = (paper[0] - 70.0 - (right - left), paper[1] - 66.0 - (bottom - top))
    outline = affinity.translate(
        shape, 36.0 + rng.uniform(0.0, max(room[0], 0.0)) - left, 31.0 + rng.uniform(0.0, max(room[1], 0.0)) - top
    )
    eyelets = []
    edge = outline.buffer(-9.0).exterior
    if edge.length > 0 and rng.random() < 0.8:
        start = rng.uniform(0.0, edge.length)
        for number in range(int(rng.integers(2, 6))):
            point = edge.interpolate((start + 14.0 * number) % edge.length)
            eyelets.append((point.x, point.y, float(rng.uniform(2.0, 3.5))))
    keep_out = None
    if rng.random() < 0.5:
        middle = outline.representative_point()
        blob = affinity.scale(middle.buffer(1.0), rng.uniform(8.0, 16.0), rng.uniform(6.0, 10.0))
        blob = blob.intersection(outline.buffer(-4.0))
        if blob.geom_type == "Polygon" and all(shapely.Point(e[:2]).distance(blob) > e[2] + 3.0 for e in eyelets):
            keep_out = blob
    return Subject(shapely.Polygon(outline.exterior), tuple(eyelets), keep_out)


def photograph(svg: str, subject: Subject, how: Conditions, seed: int) -> bytes:
    """Return a photo as JPEG."""
    rng = np.random.default_rng(seed)
    paper, size = _paper(svg, subject, how, rng)
    picture = _seen(paper, size, how, rng)
    if how.mirrored:
        picture = picture[:, ::-1]
    buffer = io.BytesIO()
    Image.fromarray(picture).save(buffer, "JPEG", quality=how.quality)
    return buffer.getvalue()


def _paper(
    svg: str, subject: Subject, how: Conditions, rng: np.random.Generator
) -> tuple[NDArray[np.float32], tuple[float, float]]:
    """Return the paper with what is on it, and its size [mm]."""
    root = ET.fromstring(svg)  # noqa: S314 - our own
    size = (float(root.attrib["width"][:-2]), float(root.attrib["height"][:-2]))
    px = _PX * _FINE
    picture = Image.new("RGB", (round(size[0] * px), round(size[1] * px)), (250, 250, 248))
    draw = ImageDraw.Draw(picture)

    def printed(x: float, y: float) -> tuple[float, float]:
        return (
            (0.5 * size[0] + (x - 0.5 * size[0]) * how.scale[0]) * px - 0.5,
            (0.5 * size[1] + (y - 0.5 * size[1]) * how.scale[1]) * px - 0.5,
        )

    for element in root:
        if element.tag == f"{_SVG}path":
            for part in element.attrib["d"].split("Z"):
                numbers = [float(text) for text in re.findall(r"-?[\d.]+", part)]
                if numbers:
                    corners = list(zip(numbers[::2], numbers[1::2], strict=True))
                    draw.polygon([printed(*corner) for corner in corners], fill=element.attrib["fill"])
        elif element.tag == f"{_SVG}text":
            height = float(element.attrib["font-size"])
            at = printed(float(element.attrib["x"]), float(element.attrib["y"]) - height)
            draw.text(at, element.text or "", fill=element.attrib["fill"], font_size=height * px)
    _tape(draw, subject, how, rng, px)
    return np.asarray(picture.reduce(_FINE), dtype=np.float32), size


class _Pen:
    """Draws on the tape, in millimetres."""

    def __init__(self, draw: ImageDraw.ImageDraw, px: float) -> None:
        self._draw = draw
        self._px = px

    def _pixels(self, points: Floats) -> list[tuple[float, float]]:
        return [(x * self._px - 0.5, y * self._px - 0.5) for x, y in points]

    def fill(self, shape: shapely.Geometry, colour: tuple[int, ...]) -> None:
        """Fill the polygons of a shape."""
        for part in shapely.get_parts(shape):
            if isinstance(part, shapely.Polygon):
                self._draw.polygon(self._pixels(np.asarray(part.exterior.coords)), fill=colour)

    def stroke(self, shape: shapely.Geometry, colour: tuple[int, ...], wide: float) -> None:
        """Draw the lines of a shape."""
        for part in shapely.get_parts(shape):
            if isinstance(part, shapely.LineString) and part.length > 0.5:
                pixels = self._pixels(np.asarray(part.coords))
                self._draw.line(pixels, fill=colour, width=round(wide * self._px))

    def dot(self, x: float, y: float, radius: float, colour: tuple[int, ...]) -> None:
        """Draw a filled circle."""
        corners = np.array([(x - radius, y - radius), (x + radius, y + radius)])
        self._draw.ellipse([value for corner in self._pixels(corners) for value in corner], fill=colour)


def _tape(draw: ImageDraw.ImageDraw, subject: Subject, how: Conditions, rng: np.random.Generator, px: float) -> None:
    """Stick the tape on the paper, and draw on it."""
    pen = _Pen(draw, px)
    tape = subject.outline.buffer(rng.uniform(3.0, 6.0), join_style="mitre")
    pen.fill(tape, how.tape)
    left, top, right, bottom = tape.bounds
    for y in np.arange(top + 12.0, bottom, 19.0):  # where strips overlap, the tape is a little darker
        darker = tuple(int(0.95 * each) for each in how.tape)
        pen.fill(tape.intersection(shapely.box(left, y, right, y + 1.5)), darker)
    if subject.keep_out is not None:
        left, top, right, bottom = subject.keep_out.bounds
        for shift in np.arange(left - (bottom - top), right, 2.6):
            slope = shapely.LineString([(shift, bottom), (shift + bottom - top, top)])
            pen.stroke(slope.intersection(subject.keep_out), (205, 45, 50), 0.7)
    ink = (how.black, how.black, how.black + 4)
    walk = subject.outline.exterior
    for along in np.arange(0.0, walk.length, 0.06):
        point = walk.interpolate(along)
        pen.dot(point.x, point.y, 0.5 * how.pen * (1.0 + 0.06 * math.sin(along / 3.0)), ink)
    for number, (x, y, radius) in enumerate(subject.eyelets):
        pen.dot(x, y, radius if number % 2 else radius + 0.5 * how.pen, ink)
        if not number % 2:
            pen.dot(x, y, radius - 0.5 * how.pen, how.tape)


def _seen(
    paper: NDArray[np.float32], size: tuple[float, float], how: Conditions, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """Return what the camera records of the paper on its table."""
    wide, high = how.size
    focal = 0.75 * max(wide, high)
    distance = focal * size[0] / (how.fill * max(wide, high))
    if how.roll % 180.0 > 45.0 and how.roll % 180.0 < 135.0:
        distance = focal * size[0] / (how.fill * min(wide, high))
    distance = max(distance, focal * size[1] / (how.fill * min(wide, high)))
    tilt, towards, roll = map(math.radians, (how.tilt, how.tilt_towards, how.roll))
    back = np.array([math.sin(tilt) * math.cos(towards), math.sin(tilt) * math.sin(towards), math.cos(tilt)])
    eye = np.array([0.5 * size[0], 0.5 * size[1], 0.0]) + distance * back
    # x right, y down on paper and photo; z towards the eye. The photo's axes are turned by the roll.
    right = np.cross(np.array([0.0, 1.0, 0.0]), back)
    right /= np.linalg.norm(right)
    down = np.cross(back, right)
    across = math.cos(roll) * right + math.sin(roll) * down
    along = -math.sin(roll) * right + math.cos(roll) * down

    u, v = np.meshgrid(np.arange(wide, dtype=np.float32), np.arange(high, dtype=np.float32))
    unit = 0.5 * math.hypot(wide, high)
    a, b = (u - 0.5 * (wide - 1)) / unit, (v - 0.5 * (high - 1)) / unit
    far = a * a + b * b
    x, y = a, b
    for _ in range(6 if any(how.bend) else 0):
        square = x * x + y * y
        lens = 1.0 + how.bend[0] * square + how.bend[1] * square * square
        x, y = a / lens, b / lens
    x, y = x * (unit / focal), y * (unit / focal)
    rays = [(x * across[i] + y * along[i] - back[i]).astype(np.float32) for i in range(3)]
    height: Picture | float = 0.0
    for _ in range(4 if how.ridges else 1):
        reach = (height - eye[2]) / rays[2]
        px, py = eye[0] + reach * rays[0], eye[1] + reach * rays[1]
        height = _raised(px, py, how)
    scale = focal / distance
    soft = 0.45 * _PX / scale
    coordinates = np.stack([py * _PX - 0.5, px * _PX - 0.5]).astype(np.float32)
    outside = (px < 0) | (py < 0) | (px > size[0]) | (py > size[1])
    grain = ndimage.zoom(rng.normal(0.0, 1.0, (high // 24 + 2, wide // 24 + 2)), 24, order=1)[:high, :wide]
    shade = _shade(a, b, far, how, rng)
    if how.ridges:
        slope = ndimage.sobel(np.asarray(height, dtype=np.float32), axis=1)
        shade = shade * np.clip(1.0 + 0.6 * slope, 0.8, 1.15)
    channels = []
    for channel in range(3):
        layer = ndimage.gaussian_filter(paper[..., channel], soft) if soft > 0.3 else paper[..., channel]
        seen = ndimage.map_coordinates(layer, coordinates, order=1, mode="nearest")
        seen = np.where(outside, how.table[channel] * (1.0 + 0.06 * grain), seen)
        for fx, fy, radius in how.covered:
            seen = np.where((px - fx) ** 2 + (py - fy) ** 2 < radius**2, (205, 160, 135)[channel], seen)
        seen = seen * shade * how.cast[channel] * how.exposure
        seen = ndimage.gaussian_filter(seen, how.blur) if how.blur else seen
        if how.motion > 0.0:
            seen = _moved(seen, how.motion, math.radians(how.motion_towards))
        seen = seen + rng.normal(0.0, how.noise, seen.shape)
        channels.append(np.clip(np.rint(seen), 0, 255).astype(np.uint8))
    return np.stack(channels, axis=-1)


def _raised(x: Picture, y: Picture, how: Conditions) -> Picture:
    """Return how high the paper lies at points [mm]."""
    total = np.zeros_like(x)
    for rx, ry, towards, height, half in how.ridges:
        beside = (x - rx) * math.cos(math.radians(towards)) + (y - ry) * math.sin(math.radians(towards))
        total = total + height * np.exp(-((beside / half) ** 2))
    return total


def _shade(a: Picture, b: Picture, far: Picture, how: Conditions, rng: np.random.Generator) -> Picture:
    towards = rng.uniform(0.0, 2.0 * math.pi)
    slope = how.light * (a * math.cos(towards) + b * math.sin(towards))
    spot = 0.6 * how.light * np.exp(-((a - rng.uniform(-0.6, 0.6)) ** 2 + (b - rng.uniform(-0.4, 0.4)) ** 2) / 0.15)
    return np.clip(1.0 - 0.7 * how.light + slope + spot, 0.15, 1.15) * (1.0 - 0.15 * far)


def _moved(seen: Picture, length: float, towards: float) -> Picture:
    steps = max(3, 2 * math.ceil(length) + 1)
    total = np.zeros_like(seen)
    for share in np.linspace(-0.5, 0.5, steps):
        total += ndimage.shift(
            seen, (share * length * math.sin(towards), share * length * math.cos(towards)), order=1, mode="nearest"
        )
    return total / steps


def conditions(rng: np.random.Generator, paper: tuple[float, float], *, reasonable: bool = True) -> Conditions:
    """Return how somebody might take a photo: with some care, or with less."""
    hard = not reasonable
    tilt = float(rng.uniform(0.0, 20.0) if hard else rng.triangular(0.0, 4.0, 14.0))
    ridges = []
    for _ in range(int(rng.integers(0, 3)) if hard else int(rng.random() < 0.3)):
        height = rng.uniform(0.3, 3.0) if hard else rng.uniform(0.05, 0.4)
        ridges.append(
            (
                float(rng.uniform(0.1, 0.9) * paper[0]),
                float(rng.uniform(0.1, 0.9) * paper[1]),
                float(rng.uniform(0.0, 180.0)),
                float(height),
                float(rng.uniform(10.0, 45.0)),
            )
        )
    covered = []
    for _ in range(int(rng.integers(0, 3)) if rng.random() < (0.5 if hard else 0.2) else 0):
        side = rng.random() < 0.5
        x = rng.uniform(40.0, paper[0] - 40.0) if side else rng.choice([12.0, paper[0] - 12.0])
        y = rng.choice([12.0, paper[1] - 12.0]) if side else rng.uniform(40.0, paper[1] - 40.0)
        covered.append((float(x), float(y), float(rng.uniform(6.0, 10.0))))
    size = ((2592, 1944), (2016, 1512), (3264, 2448), (4032, 3024))[int(rng.choice(4, p=(0.4, 0.2, 0.3, 0.1)))]
    larger = size[0] / 2592
    print_ = float(rng.choice([1.0, 1.0, 0.97, 0.985]))
    warm = rng.uniform(-0.12, 0.12)
    return Conditions(
        size=size,
        scale=(print_ + float(rng.normal(0.0, 0.001)), print_ + float(rng.normal(0.0, 0.001))),
        tilt=tilt,
        tilt_towards=float(rng.uniform(0.0, 360.0)),
        roll=float(rng.choice([0.0, 180.0, 0.0, 90.0]) + rng.normal(0.0, 6.0)),
        fill=float(rng.uniform(0.55, 0.85) if hard else rng.uniform(0.72, 0.86)),
        bend=(float(rng.normal(0.0, 0.03)), float(rng.normal(0.0, 0.012))),
        pen=float(rng.uniform(0.4, 1.0)),
        black=int(rng.integers(20, 60)),
        tape=_TAPES[int(rng.integers(len(_TAPES)))],
        table=_TABLES[int(rng.integers(len(_TABLES)))],
        light=float(rng.uniform(0.0, 0.6 if hard else 0.3)),
        cast=(1.0 + warm if warm < 0 else 1.0, 1.0 - 0.3 * abs(warm), 1.0 - warm if warm > 0 else 1.0),
        exposure=float(rng.uniform(0.45, 1.0) if hard else rng.uniform(0.7, 0.98)),
        blur=larger * float(rng.uniform(0.4, 2.4) if hard else rng.uniform(0.4, 1.4)),
        motion=larger
        * float(
            rng.choice([0.0, 0.0, rng.uniform(1.0, 6.0)]) if hard else rng.choice([0.0, 0.0, rng.uniform(0.5, 2.0)])
        ),
        motion_towards=float(rng.uniform(0.0, 180.0)),
        noise=float(rng.uniform(1.0, 9.0) if hard else rng.uniform(1.0, 4.0)),
        quality=int(rng.integers(55, 95) if hard else rng.integers(75, 95)),
        ridges=tuple(ridges),
        covered=tuple(covered),
    )
