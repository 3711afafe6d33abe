"""Command lines of the tests, and the example files."""

from __future__ import annotations

from pathlib import Path
from typing import Final

EXAMPLES: Final = Path(__file__).parents[3] / "openapi" / "examples"
SHOE: Final = ["--shoe", "regatta-deck", "--size", "EU 42", "--panel", "outer-quarter"]
WALK_IN: Final = [
    *(
        "--label",
        "textile",
        "--surface",
        "knit",
        "--area",
        "90 mm x 40 mm",
        "--curvature",
        "gentle",
        "--panel",
        "outer-quarter",
    ),
]
FILM: Final = ["--film", "smooth", "--colour", "gorse"]
TEXT: Final = ["--text", r"MARLOW\n7", "--font", "plain", "--height", "22 mm"]
MARLOW: Final = [*SHOE, *FILM, *TEXT, "--press", "swing", "--policy", "counter"]
CREW_ORDER: Final = [
    *("--shoe", "regatta-deck", "--panel", "outer-quarter", *FILM, "--policy", "club"),
    *("--text", r"{name}\n{number}", "--font", "plain", "--letter-height", "9 mm"),
]
CREW: Final = "number;name;size;phone\r\n7;MARLOW;EU 41,5;+49 170 1\r\n1;EDDY;44;\r\n"


def example(name: str) -> bytes:
    """Return an example request or answer."""
    return (EXAMPLES / f"{name}.json").read_bytes()
