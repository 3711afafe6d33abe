"""A version up and down: replicas are replaced one by one by another version, and no caller notices.

The other version is made of the one that is here: with the next minor version and one field more in the answers of
quotes, as a release may add one.
"""

from __future__ import annotations

import importlib.metadata
import importlib.util
import os
import re
import shutil
import signal
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import httpx2
import pytest
from changes import ORDER, Checkout
from load import Question, under_load, unsealed
from programs import ProgramReplica
from replicas import HOST, Fleet, Replica

from featherline_service.runtime.engine import ENGINE

REQUESTS: Final = int(os.environ.get("FAULT_REQUESTS", "3000")) // 30
MAJOR, MINOR, _ = ENGINE.split(".")
NEXT: Final = f"{MAJOR}.{int(MINOR) + 1}.0"
FIELD: Final = b',"tide_table":"spring"'


@pytest.fixture
def next_version(tmp_path: Path) -> Path:
    """Return a folder with both packages as the next version has them."""
    folder = tmp_path / "next"
    for name in ("featherline", "featherline_service"):
        spec = importlib.util.find_spec(name)
        assert spec is not None
        assert spec.origin is not None
        shutil.copytree(Path(spec.origin).parent, folder / name)
    metadata = importlib.metadata.distribution("featherline-service").read_text("METADATA") or ""
    about = folder / f"featherline_service-{NEXT}.dist-info"
    about.mkdir()
    (about / "METADATA").write_text(re.sub(r"^Version: .*", f"Version: {NEXT}", metadata, count=1, flags=re.MULTILINE))
    quotes = folder / "featherline" / "wire" / "quotes.py"
    source = quotes.read_text(encoding="utf-8")
    grown = re.sub(r"^(    seal: )", r'    tide_table: str = "spring"\n\1', source, flags=re.MULTILINE)
    assert grown != source
    quotes.write_text(grown, encoding="utf-8")
    return folder


def replace(fleet: Fleet, leaving: Sequence[Replica], coming: Sequence[Replica], seal_keys: Path) -> None:
    """Put other replicas in the places of some, one by one."""
    for old, new in zip(leaving, coming, strict=True):
        assert 0 == old.end(signal.SIGTERM)
        new.start(seal_keys=seal_keys)
        fleet.await_state(new, "UP")


def sealed(replica: Replica, reference: str) -> str:
    """Return the seal of an order's price by a replica."""
    url = f"http://{HOST}:{replica.port}/v1/quotes"
    answer: Any = httpx2.post(url, json=ORDER | {"reference": reference}, timeout=30).raise_for_status().json()
    return str(answer["seal"]["text"])


def checked(replica: Replica, seal: str) -> str:
    """Return what a replica says of a seal."""
    answer = httpx2.post(f"http://{HOST}:{replica.port}/v1/seals/check", json={"seal": seal}, timeout=30)
    return str(answer.raise_for_status().json()["status"])


@pytest.mark.slow
def test_a_version_up_and_down(
    fleet: Fleet, keyed: Path, asked: Sequence[Question], next_version: Path, tmp_path: Path
) -> None:
    """Nothing is lost, every answer is that of one of the versions, and seals of either are valid at either."""
    command = (sys.executable, "-m", "featherline_service")
    path = {"PYTHONPATH": str(next_version)}
    others = [ProgramReplica(each.name, tmp_path / f"{each.name}.log", command, path) for each in fleet.replicas]
    for other, replica in zip(others, fleet.replicas, strict=True):
        other.port = replica.port
    engines: Counter[bytes] = Counter()
    statuses: Counter[str] = Counter()

    def as_here(answer: bytes) -> bytes:
        """Return an answer as the version that is here gives it."""
        engines.update(re.findall(rb'"engine":"([^"]+)"', answer))
        return (
            unsealed(answer).replace(FIELD, b"").replace(f'"engine":"{NEXT}"'.encode(), f'"engine":"{ENGINE}"'.encode())
        )

    def up_and_down() -> None:
        old = sealed(fleet.replicas[0], "before")
        replace(fleet, fleet.replicas, others, keyed)
        statuses.update(checked(other, old) for other in others)
        new = sealed(others[0], "after")
        replace(fleet, others, fleet.replicas, keyed)
        statuses.update(checked(replica, new) for replica in fleet.replicas)

    # Not the two that take long in a replica which has just started; test_faults.py asks those.
    quick = [question for question in asked if question.name not in {"walk-in.json", "clog.json"}]
    with Checkout(fleet.proxy.port, callers=1) as checkout:
        tally = under_load(
            fleet.proxy.port,
            quick,
            up_and_down,
            count=REQUESTS,
            connections=8 if REQUESTS > 1000 else 3,
            pause_s=0.1,
            compared=as_here,
        )

    assert ([], []) == (tally.lost[:5], tally.wrong[:5])
    assert {ENGINE.encode(), NEXT.encode()} == engines.keys()
    assert min(engines.values()) > 50
    assert ["valid"] == list(statuses)
    assert statuses.total() >= 6
    assert ["valid"] == list(checkout.statuses)
    assert checkout.statuses.total() > 50
