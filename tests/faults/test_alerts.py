"""The alerts for Prometheus: a running service is broken in every way that they watch, and its metrics make them fire.

Prometheus' own `promtool` evaluates the rules as they are shipped. What it is given are the samples of /metrics of two
running replicas, one in use and one that is broken. Only time is stretched: each scrape stands for five minutes, so a
fault is thought to go on for twenty while it is made four times.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import re
import shutil
import signal
import socket
import subprocess
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import httpx2
import psutil
import pytest
import yaml
from programs import SERVICE, ProgramReplica
from prometheus_client.parser import text_string_to_metric_families as parse
from replicas import HOST, Replica, wait_until

from featherline_service.seal_key_commands import add
from featherline_service.web.server.caller_keys import mint

ROOT: Final = Path(__file__).parents[2]
FOLDER: Final = ROOT / "deploy" / "prometheus"
ALERTS: Final = FOLDER / "alerts.yaml"
RULES: Final = {
    rule["alert"]: rule for group in yaml.safe_load(ALERTS.read_text("utf-8"))["groups"] for rule in group["rules"]
}
PAGES: Final = ROOT / "service"
POLICIES: Final = PAGES / "src" / "featherline_service" / "book" / "records" / "policies" / "policies.toml"
EXAMPLES: Final = ROOT / "openapi" / "examples"
FIT: Final = json.loads((EXAMPLES / "fit-request.json").read_text(encoding="utf-8"))
ORDER: Final = json.loads((EXAMPLES / "quote-request.json").read_text(encoding="utf-8"))
OF_SEVERAL: Final = {
    "BooksDiffer": [""],
    "ChangeMissing": [""],
    "KeyExpires": [', key="autumn"'],
    "CallerRefused": [', problem="key-refused"', ', key="hasty", problem="too-many-requests"'],
}
"""Further labels of alerts that name no replica."""
FROM_THE_START: Final = {"SealKeyTemporary", "BooksDiffer", "ChangeMissing", "KeyExpires", "LogLinesDropped"}
"""Alerts on what a replica is started with."""
ROUNDS: Final = 4
HELD_MIN: Final = 5
OPEN_FILES: Final = 192  # 128 connections
FLOOD: Final = ("counter", "van") * 3 + ("till",) * 80
"""Who asks at once: two callers who have three questions each, and one who has more than the 64 that may be in line."""
FAILED: Final = 3

Samples = dict[tuple[str, tuple[tuple[str, str], ...]], float]


@pytest.fixture
def promtool() -> str:
    """Return where Prometheus' tool is."""
    tool = shutil.which("promtool")
    if tool is None:
        pytest.skip("promtool is not installed (Debian, Ubuntu: sudo apt install prometheus; macOS: brew install it)")
    return tool


class Shop:
    """A replica with a file of keys: of callers, one of whom may ask once a minute, and of Prometheus."""

    def __init__(self, folder: Path, replica: Replica) -> None:
        self.replica = replica
        self.scrapes: list[Samples] = []
        self.keys: dict[str, str] = {}
        self._client = httpx2.Client(base_url=f"http://{HOST}:{self.replica.port}", timeout=30)
        self.file = folder / f"{replica.name}.toml"
        entries = []
        for caller in ("till", "counter", "van", "hasty", "prometheus"):
            self.keys[caller], entry = mint(caller, datetime.now(UTC))
            entry = re.sub(r"^(burst|work_s_per_minute) = \d+", r"\1 = 10000", entry, flags=re.MULTILINE)
            if caller == "hasty":
                entry = entry.replace("burst = 10000", "burst = 1").replace("minute = 600", "minute = 1")
            entries.append(entry.replace('["ask"]', '["watch"]' if caller == "prometheus" else '["ask"]'))
        self.file.write_text("".join(entries))

    def scrape(self) -> None:
        """Keep the samples of the replica as they are now; `up` is 0 where it does not answer, as Prometheus has it."""
        try:
            page = self.ask("prometheus", "GET", "/metrics")
        except httpx2.TransportError:
            self.scrapes.append({("up", ()): 0.0})
            return
        assert 200 == page.status_code
        samples = [sample for family in parse(page.text) for sample in family.samples]
        found = {(each.name, tuple(sorted(each.labels.items()))): each.value for each in samples}
        self.scrapes.append({**found, ("up", ()): 1.0})

    def ask(self, caller: str, method: str, path: str, **sent: Any) -> httpx2.Response:  # noqa: ANN401
        """Return the answer to a request of a caller."""
        return self._client.request(method, path, headers=self.credentials(caller), **sent)

    def close(self) -> None:
        """End the replica, if it runs, and the connection to it."""
        self._client.close()
        self.replica.end(signal.SIGKILL)

    def credentials(self, caller: str) -> dict[str, str]:
        """Return the field that shows a caller's key, or one that is no key."""
        return {"authorization": f"Bearer {self.keys.get(caller, 'fl_nobodys')}"}

    def use(self, turn: int) -> str:
        """Ask as on any day; returns a seal, which was checked where it was made."""
        for pairs in range(1, 6):
            quote = self.ask("till", "POST", "/v1/quotes", json=ORDER | {"pairs": pairs, "reference": f"U-{turn}"})
        seal: str = quote.json()["seal"]["text"]
        for _ in range(3):
            assert "valid" == self.ask("till", "POST", "/v1/seals/check", json={"seal": seal}).json()["status"]
        return seal


def series(shops: Sequence[Shop]) -> list[dict[str, str]]:
    """Return the scrapes of shops as promtool takes them."""
    found = []
    for shop in shops:
        for name, labels in {key: None for scrape in shop.scrapes for key in scrape}:
            own = {**dict(labels), "job": "featherline", "instance": shop.replica.name}
            written = ",".join(f"{label}={json.dumps(value)}" for label, value in own.items())
            values = [scrape.get((name, labels)) for scrape in shop.scrapes]
            told = [_told(value, before) for value, before in zip(values, [None, *values], strict=False)]
            texts = (text for text in told for _ in range(HELD_MIN))
            found.append({"series": f"{name}{{{written}}}", "values": " ".join(texts)})
    return found


def _told(value: float | None, before: float | None) -> str:
    """Return a value in promtool's notation; a series that is gone is stale, as when Prometheus misses it."""
    if value is None:
        return "_" if before is None else "stale"
    return repr(value)


def evaluate(
    promtool: str, path: Path, shops: Sequence[Shop], expected: Mapping[int, set[str]], *shown: object
) -> None:
    """Assert which alerts fire after so many scrapes, and how some are shown."""
    checks = [
        {
            "expr": 'group by (alertname, instance, key, problem) (ALERTS{alertstate="firing"})',
            "eval_time": f"{scrapes * HELD_MIN - 1}m",
            "exp_samples": [
                {"labels": f'{{alertname="Featherline{alert}"{more}}}', "value": 1}
                for alert in sorted(alerts)
                for more in OF_SEVERAL.get(alert, [', instance="broken"'])
            ],
        }
        for scrapes, alerts in expected.items()
    ]
    test = {"interval": "1m", "input_series": series(shops), "promql_expr_test": checks, "alert_rule_test": shown}
    path.write_text(json.dumps({"rule_files": [str(ALERTS)], "evaluation_interval": "1m", "tests": [test]}))
    done = subprocess.run([promtool, "test", "rules", path], capture_output=True, text=True, check=False)
    assert 0 == done.returncode, done.stdout + done.stderr


async def flood(shop: Shop, turn: int) -> Counter[int]:
    """Send more at once than one caller may have in line, and kill what computes until some questions have failed."""
    statuses: Counter[int] = Counter()

    async def ask(number: int, caller: str) -> None:
        fit = {**FIT, "artwork": {**FIT["artwork"], "text": f"TIDE\n{turn * len(FLOOD) + number}"}}
        statuses[(await client.post("/v1/fits", json=fit, headers=shop.credentials(caller))).status_code] += 1

    async def kill() -> None:
        (template,) = psutil.Process(shop.replica.process.pid).children()
        while statuses[500] < FAILED and statuses.total() < len(FLOOD):
            for process in template.children():
                with contextlib.suppress(psutil.NoSuchProcess):
                    process.kill()
            await asyncio.sleep(0.02)

    limits = httpx2.Limits(max_connections=None)
    url = f"http://{HOST}:{shop.replica.port}"
    async with httpx2.AsyncClient(base_url=url, timeout=60, limits=limits) as client:
        await asyncio.gather(kill(), *(ask(number, caller) for number, caller in enumerate(FLOOD)))
    return statuses


def open_connections(shop: Shop, count: int) -> None:
    """Open connections on which nothing is sent, and close them again; the replica has seen both."""
    replica = psutil.Process(shop.replica.process.pid)
    before = len(replica.net_connections())
    with contextlib.ExitStack() as stack:
        for _ in range(count):
            stack.enter_context(socket.create_connection((HOST, shop.replica.port)))
        wait_until(lambda: len(replica.net_connections()) > count // 2, "the replica has many connections")
        time.sleep(0.1)  # for those that it has no room for
    wait_until(lambda: len(replica.net_connections()) <= before, "the replica has closed the connections")


def break_what_runs(shop: Shop, turn: int, foreign_seal: str) -> None:
    """Do to a running replica what its alerts watch for."""
    flooded = asyncio.run(flood(shop, turn))
    assert flooded[500] >= FAILED
    assert flooded[503] >= 10
    open_connections(shop, OPEN_FILES)
    for caller, times, status in (("till", 6, 200), ("stranger", 50, 401), ("hasty", 50, 429)):
        answers = [shop.ask(caller, "POST", "/v1/seals/check", json={"seal": foreign_seal}) for _ in range(times)]
        assert status == answers[-1].status_code
    assert "unknown-key" == shop.ask("till", "POST", "/v1/seals/check", json={"seal": foreign_seal}).json()["status"]


def start(folder: Path) -> tuple[Shop, Shop]:
    """Start a replica as it should be, and one with another book, a temporary key and nowhere to write its log.

    The book of the one has a change to come, which the other's lacks.
    """
    limited = ("sh", "-c", f'ulimit -n {OPEN_FILES}; exec "$@"', "sh", *SERVICE)
    steady = Shop(folder, Replica("steady", folder / "steady.log"))
    broken = Shop(folder, ProgramReplica("broken", Path("/dev/full"), limited))
    _, entry = mint("autumn", datetime.now(UTC))
    # Its end is near by promtool's clock, which begins in 1970.
    broken.file.write_text(broken.file.read_text() + re.sub("expires = .*", "expires = 1970-01-10T00:00:00Z", entry))
    changed = POLICIES.read_text("utf-8").replace('name = "', 'name = "Late ', 1)
    books = {"steady": "valid_from = 2087-01-01T00:00:00+01:00\n", "broken": ""}
    for name, since in books.items():
        (folder / name / "policies").mkdir(parents=True)
        (folder / name / "book.toml").write_text(f'mode = "overlay"\n{since}')
        (folder / name / "policies" / "policies.toml").write_text(changed)
    add(folder / "seal-keys.json", datetime.now(UTC))
    steady.replica.start(keys=steady.file, seal_keys=folder / "seal-keys.json", book=folder / "steady")
    broken.replica.start(keys=broken.file, book=folder / "broken", processes=1)
    return steady, broken


def lived_through(folder: Path) -> tuple[Shop, Shop]:
    """Return two replicas with their scrapes: in use, then one of them broken as it runs, then ended."""
    steady, broken = shops = start(folder)
    try:
        for shop in shops:
            shop.replica.await_ready()
        for turn in range(ROUNDS):
            seal, _ = (shop.use(turn) for shop in shops)
            for shop in shops:
                shop.scrape()
        broken.file.write_text("keys = 7")
        for turn in range(ROUNDS):
            break_what_runs(broken, turn, seal)
            steady.use(ROUNDS + turn)
            for shop in shops:
                shop.scrape()
        broken.replica.end(signal.SIGKILL)
        for shop in shops:
            shop.scrape()
    finally:
        for shop in shops:
            shop.close()
    return shops


@pytest.mark.slow
def test_alerts_fire_when_what_they_watch_breaks(promtool: str, tmp_path: Path) -> None:
    """Each alert fires for the replica that is broken when it is, not before, and never for the one in use."""
    steady, broken = lived_through(tmp_path)
    alerts = {name.removeprefix("Featherline") for name in RULES}
    told = RULES["FeatherlineKeyFileUnusable"]["annotations"]
    summary = told["summary"].replace("{{ $labels.instance }}", "broken")
    shown = {
        "alertname": "FeatherlineKeyFileUnusable",
        "eval_time": f"{2 * ROUNDS * HELD_MIN - 1}m",
        "exp_alerts": [
            {
                "exp_labels": {"severity": "page", "job": "featherline", "instance": "broken"},
                "exp_annotations": told | {"summary": summary},
            }
        ],
    }
    evaluate(
        promtool,
        tmp_path / "both.json",
        (steady, broken),
        {
            ROUNDS: FROM_THE_START,
            2 * ROUNDS: alerts - {"ReplicaDown"},
        },
        shown,
        {
            **shown,
            "alertname": "FeatherlineReplicaDown",
            "eval_time": f"{(2 * ROUNDS + 1) * HELD_MIN - 1}m",
            "exp_alerts": [
                {
                    "exp_labels": shown["exp_alerts"][0]["exp_labels"],
                    "exp_annotations": RULES["FeatherlineReplicaDown"]["annotations"]
                    | {"summary": "broken does not answer."},
                }
            ],
        },
    )
    never: set[str] = set()
    whenever = dict.fromkeys(range(1, 2 * ROUNDS + 2), never)
    evaluate(promtool, tmp_path / "steady.json", (steady,), whenever)

    sampled = {name for shop in (steady, broken) for scrape in shop.scrapes for name, _ in scrape}
    metrics = {re.sub("_(bucket|sum|count)$", "", name) for name in sampled if not name.startswith(("process_", "py"))}
    guide = (PAGES / "README.md").read_text(encoding="utf-8")
    assert {"up"} == {name for name in metrics if f"`{name}`" not in guide}
