"""The configuration of Prometheus and its alerts: as promtool reads them, and where they send whoever is woken."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any, Final

import pytest
import yaml

ROOT: Final = Path(__file__).parents[2]
FOLDER: Final = ROOT / "deploy" / "prometheus"
GROUPS: Final = yaml.safe_load((FOLDER / "alerts.yaml").read_text(encoding="utf-8"))["groups"]
RULES: Final = [rule for group in GROUPS for rule in group["rules"]]


def anchors(page: Path) -> dict[str, str]:
    """Return the section under each heading of a page, by the anchor that the heading has on the web."""
    parts = re.split(r"^#+ (.+)$", page.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]
    return {
        re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-"): text
        for heading, text in zip(parts[::2], parts[1::2], strict=True)
    }


def test_prometheus_reads_the_configuration(tmp_path: Path) -> None:
    """Its own tool finds no fault in the configuration and in the rules, nor does it advise anything."""
    tool = shutil.which("promtool")
    if tool is None:
        pytest.skip("promtool is not installed (Debian, Ubuntu: sudo apt install prometheus; macOS: brew install it)")
    shutil.copytree(FOLDER, tmp_path, dirs_exist_ok=True)
    (tmp_path / "watch-key").write_text("fl_nobodys")
    command = [tool, "check", "config", "--lint=all", tmp_path / "prometheus.yaml"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)

    assert (0, "") == (done.returncode, done.stderr)
    assert f"SUCCESS: {len(RULES)} rules found" in done.stdout


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: str(rule["alert"]))
def test_an_alert_says_what_to_do(rule: dict[str, Any]) -> None:
    """It waits before it fires, has a summary, a first step, and a heading of the guide that names it."""
    page, _, anchor = rule["annotations"]["guide"].partition("#")

    assert {"summary", "do", "guide"} == set(rule["annotations"])
    assert rule["labels"]["severity"] in {"page", "ticket"}
    assert re.fullmatch(r"[1-9]\d*m", rule["for"])
    assert f"`{rule['alert']}`" in anchors(ROOT / page)[anchor]


def test_the_guide_describes_no_other_alert() -> None:
    """Every alert that a heading names is shipped."""
    told = re.findall(
        r"^`(Featherline\w+)`", (ROOT / "service" / "metrics.md").read_text(encoding="utf-8"), re.MULTILINE
    )

    assert sorted(rule["alert"] for rule in RULES) == sorted(told)
