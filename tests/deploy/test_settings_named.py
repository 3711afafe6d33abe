"""Whatever runs the service gives it settings that it has."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import pytest

from featherline_service.settings import PREFIX, Settings

DEPLOY: Final = Path(__file__).parents[2] / "deploy"
REPLICAS: Final = ("compose.yaml", "featherline@.service", "kubernetes/deployment.yaml")
REPRICING: Final = ("compose.reprice.yaml", *(f"kubernetes/reprice/{name}.yaml" for name in ("workers", "job")))
SETTINGS: Final = {PREFIX + field.upper() for field in Settings.__struct_fields__}


def named(file: str) -> set[str]:
    """Return the settings that a file names."""
    return set(re.findall(rf"\b{PREFIX}[A-Z_]+", (DEPLOY / file).read_text(encoding="utf-8")))


@pytest.mark.parametrize("file", ["Dockerfile", *REPLICAS, *REPRICING])
def test_every_setting_that_is_named_exists(file: str) -> None:
    """A name that the service does not know would stop its start."""
    assert named(file)
    assert set() == named(file) - SETTINGS


@pytest.mark.parametrize("file", REPLICAS)
def test_replicas_have_a_book_keys_and_time_to_leave(file: str) -> None:
    """What differs from a try at one's own desk is set."""
    wanted = {"FEATHERLINE_BOOK", "FEATHERLINE_KEYS", "FEATHERLINE_SEAL_KEYS", "FEATHERLINE_DRAIN"}
    assert wanted <= named(file)
