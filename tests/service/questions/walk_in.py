"""A shoe that nobody knows, measured with a ruler, and a bar to put on it, as JSON."""

from __future__ import annotations

from typing import Any

BAR = {"kind": "path", "d": "M0 0H40V10H0Z", "height": "10 mm"}


def measured(width: str = "80 mm", height: str = "40 mm", **panel: str) -> dict[str, Any]:
    """Return a textile shoe with one flat panel, the rectangle on its side."""
    shape = {"kind": "rectangle", "width": width, "height": height}
    return {
        "kind": "measured",
        "label": "textile",
        "inside_length": "270 mm",
        "panels": [{"panel": "side", "shape": shape, "curvature": "flat", **panel}],
    }
