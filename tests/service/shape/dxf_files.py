"""DXF files as text, written group by group."""

from __future__ import annotations

Group = tuple[int, object]


def file(*entities: tuple[Group, ...], units: int | None = 4, layers: tuple[tuple[Group, ...], ...] = ()) -> bytes:
    """Return a file with some entities.

    References:
        The groups of headers, layers and entities as most drawing programs write them, from memory.
    """
    groups: list[Group] = [(0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1015")]
    groups += [] if units is None else [(9, "$INSUNITS"), (70, units)]
    groups += [(0, "ENDSEC"), (0, "SECTION"), (2, "TABLES"), (0, "TABLE"), (2, "LAYER"), (70, len(layers))]
    for layer in layers:
        groups += [(0, "LAYER"), *layer]
    groups += [(0, "ENDTAB"), (0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES")]
    for entity in entities:
        groups += entity
    groups += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code:3d}\n{value}\n" for code, value in groups).encode()


def layer(name: str, colour: int, flags: int = 0) -> tuple[Group, ...]:
    """Return a layer; flag 1 freezes it, a negative colour switches it off."""
    return (2, name), (70, flags), (62, colour), (6, "Continuous")


def polyline(*points: tuple[float, ...], closed: bool = True, more: tuple[Group, ...] = ()) -> tuple[Group, ...]:
    """Return a polyline through points with x, y and perhaps a bulge."""
    groups: list[Group] = [
        (0, "LWPOLYLINE"),
        (100, "AcDbEntity"),
        (8, "0"),
        *more,
        (100, "AcDbPolyline"),
        (90, len(points)),
        (70, int(closed)),
    ]
    for x, y, *bulge in points:
        groups += [(10, x), (20, y), *((42, value) for value in bulge)]
    return tuple(groups)


def line(start: tuple[float, ...], end: tuple[float, ...], *more: Group) -> tuple[Group, ...]:
    """Return a straight line between points with x, y and perhaps z."""
    return (
        (0, "LINE"),
        (8, "0"),
        *more,
        *zip((10, 20, 30), start, strict=False),
        *zip((11, 21, 31), end, strict=False),
    )


def circle(x: float, y: float, radius: float, *more: Group) -> tuple[Group, ...]:
    """Return a circle."""
    return (0, "CIRCLE"), (8, "0"), *more, (10, x), (20, y), (40, radius)
