"""The lines of a DXF drawing, in millimetres, read by ezdxf.

Why that library: its last release is of October 2026, it is typed, its wheels serve Python 3.11 to 3.15, and it reads
what other programs write. It is imported in 0.2 s and 23 MB, so it is when the first drawing comes. A file of the
largest size takes it up to a second.
"""

from __future__ import annotations

import io
import logging
from collections import Counter
from collections.abc import Iterator
from itertools import islice
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from featherline_service.shape.outlines.curves import MOST_POINTS, DrawingError, refuse_points
from featherline_service.shape.panel_drawings.lines import (
    MILLIMETRES,
    NAMES,
    SAY_UNIT,
    TOLERANCE_MM,
    Drawing,
    Line,
    Points,
    Unit,
    is_red,
    refuse_far,
    refuse_lines,
)

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document
    from ezdxf.entities.dxfentity import DXFEntity

LARGEST_FILE: Final = 500_000
"""[bytes] The outline of a panel has some tens of thousands."""
_UNITS: Final[dict[int, Unit]] = {1: "in", 4: "mm", 5: "cm"}
"""Values of the header's $INSUNITS, from memory."""
_POLYLINES: Final = frozenset({"LWPOLYLINE", "POLYLINE"})
_CURVES: Final = frozenset({"ARC", "CIRCLE", "ELLIPSE", "SPLINE"})
_NOTES: Final = frozenset(
    {"ATTDEF", "DIMENSION", "HATCH", "LEADER", "MTEXT", "MULTILEADER", "POINT", "TEXT", "VIEWPORT"}
)
"""What is written beside lines: it is left out, and the answer says so."""
_MOST_KNOTS: Final = 2_000
_HIGHEST_DEGREE: Final = 5
_LEVEL_MM: Final = 0.05
_BY_BLOCK, _BY_LAYER = 0, 256
_ADVICE: Final = {"INSERT": "explode its blocks", "3DFACE": "draw its edge flat", "REGION": "explode its regions"}


def read(content: bytes, unit: Unit | None) -> Drawing:
    """Return the lines of a DXF drawing's model space, those that are hidden left out.

    Args:
        content: The file, as text; polylines, lines, arcs, circles, ellipses and splines are read.
        unit: Of its coordinates; None: its header says it ($INSUNITS).

    Raises:
        DrawingError: It cannot be read, is too large, says no unit, or has other entities.
    """
    if len(content) > LARGEST_FILE:
        raise DrawingError(
            "dxf.too-large",
            "The drawing has more than {largest_file:,} bytes: save the panel alone",
            largest_file=LARGEST_FILE,
        )
    if b"\0" in content:
        raise DrawingError(
            "dxf.not-text", "The drawing is not DXF as text: save it as DXF, not binary and not in another format"
        )
    from ezdxf.filemanagement import read as load  # noqa: PLC0415 - takes 0.2 s and 23 MB, and few ask for it
    from ezdxf.lldxf.const import DXFError  # noqa: PLC0415 - as above

    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
    try:
        document = load(io.StringIO(content.decode("utf-8", "replace")))
        said = _UNITS.get(int(document.header.get("$INSUNITS", 0)))
        known = _known(unit or said)
        with np.errstate(all="ignore"):  # what is too large is refused by its value
            lines, notes = _lines(document, MILLIMETRES[known])
    except DrawingError:
        raise
    except (
        DXFError,
        ValueError,
        LookupError,
        ArithmeticError,
        RecursionError,
        TypeError,
        AttributeError,
        AssertionError,
    ) as error:
        raise DrawingError(
            "dxf.damaged", "The drawing is no DXF file, or damaged: save it once more, as DXF of any version"
        ) from error
    return Drawing(lines, tuple(_cautions(notes, known, said)))


def _known(unit: Unit | None) -> Unit:
    if unit is None:
        raise DrawingError(
            "dxf.no-unit", "The drawing does not say that it is in millimetres: set its unit to mm, " + SAY_UNIT
        )
    return unit


def _cautions(notes: Counter[str], unit: Unit, said: Unit | None) -> Iterator[str]:
    if said is not None and said != unit:
        yield f"The drawing says that it is in {NAMES[said]}; it was read in {NAMES[unit]}, as you say."
    if notes:
        yield f"Left out of the drawing: {', '.join(f'{count} {kind}' for kind, count in sorted(notes.items()))}."


def _lines(document: Document, scale: float) -> tuple[tuple[Line, ...], Counter[str]]:
    lines: list[Line] = []
    notes: Counter[str] = Counter()
    total = 0
    for entity in document.modelspace():
        kind = entity.dxftype()
        layer = entity.dxf.layer
        if _is_hidden(document, entity):
            continue
        if kind in _NOTES:
            notes[kind] += 1
            continue
        if kind not in _POLYLINES | _CURVES | {"LINE"}:
            advice = _ADVICE.get(kind, "draw with polylines, lines, arcs, circles, ellipses and splines")
            raise DrawingError(
                "dxf.element",
                "The drawing holds {kind!r}, which is not read here: {advice}, or take it out",
                kind=kind[:40],
                advice=advice,
            )
        points, closed = _points(entity, kind, scale)
        total += len(points)
        refuse_points(total)
        if len(points) > 1:
            lines.append(Line(points, closed, (layer,), _is_red(document, entity)))
            refuse_lines(len(lines))
    return tuple(lines), notes


def _is_hidden(document: Document, entity: DXFEntity) -> bool:
    layer = document.layers.get(entity.dxf.layer) if document.layers.has_entry(entity.dxf.layer) else None
    return bool(entity.dxf.get("invisible", 0)) or (layer is not None and (layer.is_off() or layer.is_frozen()))


def _is_red(document: Document, entity: DXFEntity) -> bool:
    from ezdxf import colors  # noqa: PLC0415 - as above

    dxf: Any = entity.dxf
    index, true = dxf.get("color", _BY_LAYER), dxf.get("true_color")
    if index == _BY_LAYER and true is None and document.layers.has_entry(dxf.layer):
        layer: Any = document.layers.get(dxf.layer).dxf
        index, true = abs(layer.get("color", 7)), layer.get("true_color")
    if true is not None:
        return is_red(colors.int2rgb(true).to_hex()[:7])
    return index not in {_BY_BLOCK, _BY_LAYER} and is_red(colors.aci2rgb(index).to_hex()[:7])


def _points(entity: Any, kind: str, scale: float) -> tuple[Points, bool]:  # noqa: ANN401 - entities share no type
    """Return the points of an entity [mm], y downwards, and whether it is closed."""
    sagitta = TOLERANCE_MM / scale
    if kind == "LINE":
        return _flat([entity.dxf.start, entity.dxf.end], scale), False
    if kind in _CURVES:
        if kind == "SPLINE" and (len(entity.control_points) > _MOST_KNOTS or entity.dxf.degree > _HIGHEST_DEGREE):
            raise DrawingError(
                "dxf.spline",
                "The drawing has a spline of more than {most_knots} points or of a degree above {highest_degree}: "
                "draw it as a polyline",
                most_knots=_MOST_KNOTS,
                highest_degree=_HIGHEST_DEGREE,
            )
        _refuse_large(entity, kind, scale)
        points = _flat(entity.flattening(sagitta), scale)
        return (points[:-1], True) if kind == "CIRCLE" else (points, False)
    refuse_points(len(entity))
    if kind == "LWPOLYLINE":
        return _polyline(entity, entity.vertices_in_wcs(), scale), bool(entity.closed)
    if not (entity.is_2d_polyline or entity.is_3d_polyline):
        raise DrawingError("dxf.mesh", "The drawing holds a mesh, which is not read here: draw the panel's edge flat")
    return _polyline(entity, entity.points_in_wcs(), scale), bool(entity.is_closed)


def _polyline(entity: Any, corners: Any, scale: float) -> Points:  # noqa: ANN401 - as above
    """Return the points of a polyline [mm], its arcs drawn out; of a closed one the first is not repeated."""
    at = _flat(corners, scale)
    if not entity.has_arc:
        return at
    if len(at) > _MOST_KNOTS:
        raise DrawingError(
            "dxf.too-many-knots",
            "The drawing has a polyline with arcs of more than {most_knots} points: simplify it",
            most_knots=_MOST_KNOTS,
        )
    runs: list[Points] = []
    for part, start in zip(entity.virtual_entities(), at, strict=False):
        run, _ = _points(part, part.dxftype(), scale)
        # Arcs run counter-clockwise, whichever way the polyline goes.
        runs.append((run if _near(run[0], start) <= _near(run[-1], start) else run[::-1])[:-1])
        refuse_points(sum(map(len, runs)))
    return np.concatenate([*runs, at[len(runs) :]])


def _near(one: Points, other: Points) -> float:
    return float(np.abs(one - other).max())


def _refuse_large(entity: Any, kind: str, scale: float) -> None:  # noqa: ANN401 - as above
    """Raise `DrawingError` where a curve is too large to be flattened."""
    match kind:
        case "ARC" | "CIRCLE":
            sizes = [*entity.dxf.center, entity.dxf.radius]
        case "ELLIPSE":
            sizes = [*entity.dxf.center, *entity.dxf.major_axis, entity.dxf.ratio]
        case _:
            sizes = [value for point in (*entity.control_points, *entity.fit_points) for value in point]
    refuse_far(np.array(sizes, dtype=np.float64) * scale)


def _flat(points: Any, scale: float) -> Points:  # noqa: ANN401 - an iterable of ezdxf's vectors
    """Return points without their height [mm], y downwards; refuse what is not level."""
    drawn = [tuple(point) for point in islice(points, MOST_POINTS + 1)]  # curves are drawn out as they are taken
    refuse_points(len(drawn))
    whole = np.array(drawn, dtype=np.float64).reshape(-1, 3) * scale
    refuse_far(whole)
    if len(whole) and np.ptp(whole[:, 2]) > _LEVEL_MM:
        raise DrawingError("dxf.not-flat", "The drawing is not flat: draw the panel laid flat, at one height")
    return whole[:, :2] * (1.0, -1.0)
