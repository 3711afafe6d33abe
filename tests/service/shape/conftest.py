from __future__ import annotations

import sys
from importlib import resources
from pathlib import Path

import pytest
import shapely
from shapely import MultiPolygon

from featherline_service.shape.outlines import figures, text_outlines
from featherline_service.shape.outlines.text_outlines import Typeface

sys.path.append(str(Path(__file__).parent))  # the module beside this one is no package


@pytest.fixture(scope="session")
def plain() -> Typeface:
    """Return Fjalla One."""
    return text_outlines.typeface(Path(str(resources.files("font_fjallaone") / "files" / "FjallaOne-Regular.ttf")))


@pytest.fixture(scope="session")
def bold() -> Typeface:
    """Return Roboto Black, which kerns and has marks."""
    return text_outlines.typeface(Path(str(resources.files("font_roboto") / "files" / "Roboto-Black.ttf")))


@pytest.fixture(scope="session")
def name(plain: Typeface) -> MultiPolygon:
    """Return a name over a number, 20 mm high."""
    figure = figures.of_text(plain, "MARLOW\n7")
    size = 20.0 / figure.height
    return shapely.transform(figure.drawn(0), lambda points: points * size)
