"""The systemd unit: as systemd itself reads it, and how exposed it leaves the service."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Final

import pytest

from featherline_service.serving import BROKEN_START, BUSY_PORT, GRACE_S

UNIT: Final = Path(__file__).parents[2] / "deploy" / "featherline@.service"
MOST_EXPOSED: Final = 15  # tenths of systemd's scale from 0 to 10, on which up to 2 is the best of its words


def values(key: str) -> list[str]:
    """Return what the unit gives for a key, in order."""
    return re.findall(rf"^{key}=(.*)$", UNIT.read_text(encoding="utf-8"), re.MULTILINE)


@pytest.fixture
def analyze() -> str:
    """Return systemd's own checker of units."""
    found = shutil.which("systemd-analyze")
    if found is None:
        pytest.skip("systemd-analyze is not installed (Debian, Ubuntu: sudo apt install systemd; macOS has none)")
    return found


def test_systemd_understands_it(analyze: str, tmp_path: Path) -> None:
    """No line is unknown or misspelt; the program is put in its place by one that is here."""
    unit = tmp_path / UNIT.name.replace("@", "@8038")
    unit.write_text(UNIT.read_text(encoding="utf-8").replace("/opt/featherline/bin/python", "/bin/true"))
    done = subprocess.run([analyze, "verify", "--man=no", unit], capture_output=True, text=True, check=False)

    assert (0, []) == (done.returncode, [line for line in done.stderr.splitlines() if "featherline@" in line])


def test_it_leaves_the_service_little_to_reach(analyze: str) -> None:
    """The measure of exposure is that of systemd, and stays low."""
    command = [analyze, "security", "--offline=yes", f"--threshold={MOST_EXPOSED}", "--no-pager", str(UNIT)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)

    assert 0 == done.returncode, done.stdout.splitlines()[-1]


def test_a_start_that_cannot_succeed_is_not_tried_again() -> None:
    """The service's exit codes for unusable settings, books and addresses are those that keep it down."""
    assert [f"{BROKEN_START} {BUSY_PORT}"] == values("RestartPreventExitStatus")


def test_a_replica_is_named_by_its_port() -> None:
    """So that there may be many on a machine: the instance's name is the port, and all else is shared."""
    (port,) = (pair for line in values("Environment") for pair in line.split() if pair.startswith("FEATHERLINE_PORT="))
    text = UNIT.read_text(encoding="utf-8")

    assert "FEATHERLINE_PORT=%i" == port
    assert "featherline@.service" == UNIT.name
    assert not re.findall(r"^(?:RuntimeDirectory|StateDirectory|CacheDirectory|PIDFile)=", text, re.MULTILINE)


def test_the_guide_restarts_the_replicas_that_the_unit_names() -> None:
    """The loop of the guide has the ports of the unit's head, and waits until each replica is ready."""
    page = (UNIT.parent / "README.md").read_text(encoding="utf-8")
    (ports,) = re.findall(r"^for port in ([0-9 ]+); do$", page, re.MULTILINE)
    started = re.findall(r"featherline@([0-9]+)", UNIT.read_text(encoding="utf-8"))

    assert started == ports.split()
    assert "http://127.0.0.1:$port/health/ready" in page


def test_it_has_time_to_leave() -> None:
    """It is killed only after its drain and the time for what is under way."""
    (environment,) = (line for line in values("Environment") if "DRAIN" in line)
    (drain,) = re.findall(r"FEATHERLINE_DRAIN=(\d+)", environment)
    (stop,) = values("TimeoutStopSec")

    assert int(stop) > int(drain) + GRACE_S


def test_secrets_are_credentials() -> None:
    """The files of keys belong to root; the service gets copies that nobody else can read, and is told where."""
    credentials = [line.partition(":")[0] for line in values("LoadCredential")]
    told = dict(pair.split("=") for line in values("Environment") for pair in line.split() if "KEYS=" in pair)

    assert {f"%d/{name}" for name in credentials} == set(told.values())
    assert {"FEATHERLINE_KEYS", "FEATHERLINE_SEAL_KEYS"} == set(told)
