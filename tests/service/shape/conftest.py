from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

from featherline_service.shape.outlines import text_outlines
from featherline_service.shape.outlines.text_outlines import Typeface


@pytest.fixture(scope="session")
def plain() -> Typeface:
    """Return Fjalla One."""
    return text_outlines.typeface(Path(str(resources.files("font_fjallaone") / "files" / "FjallaOne-Regular.ttf")))


@pytest.fixture(scope="session")
def bold() -> Typeface:
    """Return Roboto Black, which kerns and has marks."""
    return text_outlines.typeface(Path(str(resources.files("font_roboto") / "files" / "Roboto-Black.ttf")))
