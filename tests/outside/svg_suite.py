"""Reading of SVG drawings against a renderer: either the area agrees with the picture's, or the drawing is refused.

``python tests/outside/svg_suite.py FOLDER`` renders all drawings below a folder with resvg at 96 dpi and compares the
painted area of the pictures with that of the regions read. It prints the drawings that differ, with both areas, and the
counts; it exits with 1 where a drawing that was not refused differs by more than 0.5 % of the painted area.
``--refusals`` prints the reasons of refusals. Made for the geometry files of resvg's public test suite, which are not
part of this repository: where FOLDER is missing, the suite's folders of shapes, structure, masking and painting are
fetched into it from `SUITE`, or from the repository that ``--repository`` names.

Most drawings of that suite have a frame with a stroke and shapes of two colours, and would be refused for these alone.
``--plain`` takes the frame away, makes all named fills black and adds a small square in the corner at 1, 1, so that a
drawing without another shape is compared too. ``--filled`` also turns strokes into fills. The reader and the renderer
get the same changed drawing.

Needs resvg_py and Pillow.
"""

from __future__ import annotations

import argparse
import io
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import resvg_py
from PIL import Image

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import drawings

SUITE = "https://github.com/linebender/resvg"
FOLDERS = tuple(f"crates/resvg/tests/tests/{name}" for name in ("shapes", "structure", "masking", "painting"))
PIXELS = 1600  # along the longer side of a picture
MOST_DIFFERENCE = 0.005
HAIRLINE = 2e-4  # of the picture: the renderer paints slivers without area a fraction of a pixel wide
_COLOURS = "red|green|lime|blue|gray|grey|white|yellow|orange|purple|magenta|seagreen|coral"
_FRAME = re.compile(r"<rect id=\"frame\"[^>]*/>")
_COLOURED = re.compile(rf"(\b(?:fill|color)\s*[=:]\s*[\"']?\s*)(?:{_COLOURS})\b")
_STROKED = re.compile(r"\sstroke(?:-\w+)?\s*=\s*(?:\"[^\"]*\"|'[^']*')")
_UNFILLED = re.compile(r"(\sfill\s*=\s*[\"'])none\b")


class Comparison(NamedTuple):
    """What became of a drawing: ``agrees``, ``differs``, ``refused`` or ``not rendered``, and why."""

    outcome: str
    reason: str = ""


def fetch(repository: str, folder: Path) -> None:
    """Fetch the drawings of the suite into a new folder."""
    git = ("git", "-C", str(folder))
    subprocess.run(["git", "clone", "--quiet", "--depth=1", "--no-checkout", repository, str(folder)], check=True)
    subprocess.run([*git, "sparse-checkout", "set", *FOLDERS], check=True)
    subprocess.run([*git, "checkout", "--quiet"], check=True)


def painted(drawing: str) -> tuple[float, tuple[int, int]]:
    """Return the painted share of a picture, and its size in pixels at 96 dpi.

    Raises:
        ValueError: The drawing cannot be rendered.
    """
    size = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=drawing, dpi=96)))).size
    zoom = max(1, round(PIXELS / max(size)))
    picture = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=drawing, dpi=96, zoom=zoom))))
    alpha = np.asarray(picture.convert("RGBA"))[:, :, 3]
    return float(alpha.mean()) / 255.0, size


def page(drawing: str) -> tuple[float, float] | None:
    """Return width and height of a drawing's viewBox, or else of the drawing; None without either."""
    (head,) = re.findall(r"<(?:\w+:)?svg[^>]*>", drawing)[:1] or [""]
    box = re.search(r"viewBox\s*=\s*[\"']([^\"']*)", head)
    if box:
        _, _, width, height = map(float, re.split(r"[\s,]+", box[1].strip()))
        return width, height
    sides = [re.search(rf"\s{name}\s*=\s*[\"']([0-9.]+)(?:px)?[\"']", head) for name in ("width", "height")]
    return (float(sides[0][1]), float(sides[1][1])) if sides[0] and sides[1] else None


def compare(drawing: str) -> Comparison:
    """Return how a drawing is read, compared with its picture."""
    try:
        read = drawings.region(drawing, 1e-3).area
    except DrawingError as error:
        return Comparison("refused", str(error))
    try:
        share, (width, height) = painted(drawing)
    except ValueError as error:
        return Comparison("not rendered", str(error))
    across, down = page(drawing) or (width, height)
    # A page that is shown in a picture of another aspect is fitted into it.
    scale = min(width / across, height / down)
    expected = read * scale * scale / (width * height)
    agrees = abs(expected - share) <= max(MOST_DIFFERENCE * share, HAIRLINE)
    said = f"{100.0 * expected:.3f} % of the picture read, {100.0 * share:.3f} % painted"
    return Comparison("agrees" if agrees else "differs", said)


def changed(drawing: str, *, plain: bool, filled: bool) -> str:
    """Return a drawing without its frame and in black, and with fills for strokes."""
    if plain or filled:
        drawing = _COLOURED.sub(r"\1black", _FRAME.sub("", drawing))
        body, end, after = drawing.rpartition("</")
        space = re.match(r"(\w+:)?", after)
        prefix = space[0] if space else ""
        drawing = f'{body}<{prefix}rect x="1" y="1" width="9" height="9" fill="black"/>{end}{after}' if end else drawing
    if filled:
        drawing = _UNFILLED.sub(r"\1black", _STROKED.sub("", drawing))
    return drawing


def compared(folder: Path, *, plain: bool, filled: bool) -> Iterator[tuple[Path, Comparison]]:
    """Yield the drawings below a folder with their comparisons."""
    for file in sorted(folder.rglob("*.svg")):
        try:
            drawing = file.read_text()
            yield file.relative_to(folder), compare(changed(drawing, plain=plain, filled=filled))
        except UnicodeDecodeError:
            yield file.relative_to(folder), Comparison("refused", "not UTF-8")


def main() -> None:
    """Compare the drawings below a folder and print the counts."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("folder", type=Path)
    arguments.add_argument("--repository", default=SUITE, help=f"where to fetch the suite from; {SUITE} if not given")
    arguments.add_argument("--refusals", action="store_true", help="print the reasons of refusals")
    arguments.add_argument("--plain", action="store_true", help="take frames away, and make all named fills black")
    arguments.add_argument("--filled", action="store_true", help="the same, and turn strokes into fills")
    chosen = arguments.parse_args()
    if not chosen.folder.exists():
        fetch(chosen.repository, chosen.folder)
    counts: Counter[str] = Counter()
    for file, (outcome, reason) in compared(chosen.folder, plain=chosen.plain, filled=chosen.filled):
        counts[outcome] += 1
        if outcome not in {"agrees", "refused"} or (outcome == "refused" and chosen.refusals):
            print(f"{outcome}: {file}: {reason}")
    print(", ".join(f"{outcome} {count}" for outcome, count in sorted(counts.items())))
    sys.exit(1 if counts["differs"] else 0)


if __name__ == "__main__":
    main()
