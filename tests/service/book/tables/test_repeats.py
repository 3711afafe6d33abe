from __future__ import annotations

import random
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import rtoml

from featherline_service.book.loader import demo_folder, load


@cache
def base() -> dict[Path, dict[str, Any]]:
    """Return the tables of the base's files."""
    return {file.relative_to(demo_folder()): rtoml.load(file) for file in sorted(demo_folder().glob("*/*.toml"))}


def overlay(folder: Path, kept: Callable[[Path, str], bool]) -> Path:
    """Write an overlay that repeats of the base's own records their ids and the fields that are kept."""
    (folder / "book.toml").write_text('mode = "overlay"\n', "utf-8")
    for file, table in base().items():
        records = [
            {name: value for name, value in record.items() if name == "id" or kept(file, name)}
            for record in table.get("record", [table])
        ]
        (folder / file).parent.mkdir(exist_ok=True)
        (folder / file).write_text(rtoml.dumps({"record": records}), "utf-8")
    return folder


@pytest.fixture(scope="module")
def revision() -> str:
    """Return the digest of all that the base says: answers follow from it, and name it."""
    return load().revision


def test_repeated_records_move_no_answer(tmp_path: Path, revision: str) -> None:
    """An overlay that says all of the base again, citations too, is the same book."""
    assert revision == load([overlay(tmp_path, lambda *_: True)]).revision


@pytest.mark.parametrize("seed", range(3))
def test_repeated_values_move_no_answer(tmp_path: Path, revision: str, seed: int) -> None:
    """Of each record, any values without their citations: the base's cover them still. A font is a whole."""
    chance = random.Random(seed)  # noqa: S311 - no secret

    def kept(file: Path, field: str) -> bool:
        return file.parent.name == "fonts" or (field not in {"cites", "source"} and chance.random() < 0.5)

    assert revision == load([overlay(tmp_path, kept)]).revision


def test_a_repeated_value_with_a_source_is_cited_from_it(tmp_path: Path) -> None:
    """Whoever has measured what the base says has measured it: of the same record, other values stay as they are."""
    record = {"id": "upper-leather", "density_kg_m3": load().materials["upper-leather"].density_kg_m3}
    (tmp_path / "book.toml").write_text('mode = "overlay"\n', "utf-8")
    (tmp_path / "materials").mkdir()
    (tmp_path / "materials" / "leather.toml").write_text(rtoml.dumps({**record, "source": "measured"}), "utf-8")
    before, after = load().materials["upper-leather"], load([tmp_path]).materials["upper-leather"]

    assert before.density_kg_m3 == after.density_kg_m3
    assert ["density_kg_m3"] == [name for cite in after.cites if cite.source == "measured" for name in cite.values]
    assert "density_kg_m3" not in {name for cite in after.cites if cite.source != "measured" for name in cite.values}
