"""Requests that a generator draws from the description, against a live service with keys: every check, every phase.

The generator is schemathesis. Most of its cases come from the limits that the description states: all that keep them
are sent, and of the bodies that break one as many as are drawn of other cases, all in the full run. Beside these
`GENERATED_EXAMPLES` are drawn at random for each operation, few in the suite, 100 in the full run. In the suite those
operations are left out whose requests are of the same types as another's.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, NamedTuple

import pytest
from draws import PERCENT, drawn
from service_forks import Service

from featherline_service.web.server.caller_keys import mint

ROOT: Final = Path(__file__).parents[2]
GENERATED: Final = Path(__file__).parent / "generated"
EXAMPLES: Final = int(os.environ.get("GENERATED_EXAMPLES", "2"))
ALL_EXAMPLES: Final = 100
ALIKE: Final = r"^/v1/(offers/.+|hand-prices)$"
"""Paths whose requests are those of `/v1/offers`, `/v1/quotes`, `/v1/rosters` and `/v1/from-prices`."""
PHASES: Final = ("examples", "coverage", "fuzzing", "stateful")
STARTED_WITHIN_S: Final = 60


class Running(NamedTuple):
    """A running service: its address, and a key with every scope and high limits."""

    url: str
    key: str


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    """Run a service that asks for keys."""
    key, entry = mint("generator", datetime.now(UTC))
    limits = {
        "requests_per_minute": 1_000_000,
        "burst": 100_000,
        "work_s_per_minute": 100_000,
        "bulk_streams": 16,
    }
    kept = [line for line in entry.splitlines() if line.partition(" ")[0] not in {"scopes", *limits}]
    lines = [
        *kept,
        'scopes = ["ask", "bulk", "book", "watch", "price", "shop"]',
        *(f"{name} = {most}" for name, most in limits.items()),
    ]
    (tmp_path / "keys.toml").write_text("\n".join(lines))
    # No test here is of times: a busy machine takes longer than the service gives itself.
    settings = {"FEATHERLINE_PORT": "0", "FEATHERLINE_KEYS": str(tmp_path / "keys.toml"), "FEATHERLINE_DEADLINE": "30"}
    others = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    log = tmp_path / "log"
    with (
        log.open("wb") as file,
        Service(others | settings, stderr=file.fileno()) as process,
    ):
        try:
            yield Running(f"http://127.0.0.1:{port_of(log)}", key)
        finally:
            process.kill()


def port_of(log: Path) -> int:
    """Return where a service listens, once it says so."""
    until = time.monotonic() + STARTED_WITHIN_S
    while time.monotonic() < until:
        for line in log.read_bytes().splitlines():
            if b'"service.ready"' in line:
                return int(json.loads(line)["port"])
        time.sleep(0.05)
    raise TimeoutError(log.read_text())


def run(service: Running, folder: Path, *options: str) -> dict[str, Any]:
    """Run the generator; return its report and its output."""
    command = [
        *(sys.executable, "-m", "schemathesis.cli", "--config-file", str(GENERATED / "schemathesis.toml")),
        *("run", f"{service.url}/openapi.json", "--header", f"Authorization: Bearer {service.key}"),
        *("--checks", "all", "--phases", ",".join(PHASES), "--max-examples", str(EXAMPLES), "--continue-on-failure"),
        *(() if EXAMPLES >= ALL_EXAMPLES else ("--exclude-path-regex", ALIKE)),
        *("--report", "json", "--report-json-path", str(folder / "report.json"), *options),
    ]
    paths = os.pathsep.join([str(GENERATED), os.environ.get("PYTHONPATH", "")]).rstrip(os.pathsep)
    environment = os.environ | {
        "SCHEMATHESIS_HOOKS": "hooks",
        "DRAWN_PERCENT": str(PERCENT),
        "PYTHONPATH": paths,
        "NO_COLOR": "1",
        "NO_PROXY": "127.0.0.1",  # or all variables are searched for a proxy at each request
        # Beside that of the other tests: what Hypothesis tabulates of Unicode takes seconds.
        "HYPOTHESIS_STORAGE_DIRECTORY": str(ROOT / ".hypothesis"),
    }
    done = subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, encoding="utf-8", check=False
    )
    assert (folder / "report.json").exists(), done.stdout + done.stderr
    report: dict[str, Any] = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    return report | {"said": done.stdout}


@pytest.mark.slow
def test_generated_requests_are_answered_as_described(
    running: Running, tmp_path: Path, record_property: pytest.RecordProperty
) -> None:
    """No check fails in any phase, on any operation, over at least 5,000 cases where all are drawn."""
    report = run(running, tmp_path, "--seed", "8037")
    record_property("cases", report["test_cases"]["generated"])

    assert (0, []) == (report["exit_code"], report["errors"]), report["said"]
    assert dict.fromkeys(PHASES, "success") == {name: phase["status"] for name, phase in report["phases"].items()}
    assert report["operations"]["selected"] == report["operations"]["tested"]
    assert report["test_cases"]["generated"] >= drawn(5_000)
