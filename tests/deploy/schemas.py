"""JSON Schemas that installed packages bring, without importing the packages, which takes seconds."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from typing import Any


def folder_of(package: str) -> Path:
    """Return the folder of an installed package."""
    spec = importlib.util.find_spec(package)
    assert spec is not None
    assert spec.submodule_search_locations is not None
    return Path(spec.submodule_search_locations[0])


def read(path: Path) -> dict[str, Any]:
    """Return a schema."""
    schema: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return schema
