"""The files of a cluster that reprices: by the schemas of what reads them, against one another, and as they run."""

from __future__ import annotations

import importlib
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Final

import psutil
import pytest
import yaml

DEPLOY: Final = Path(__file__).parents[2] / "deploy"
COMPOSE: Final = DEPLOY / "compose.reprice.yaml"
COMPONENT: Final = DEPLOY / "kubernetes" / "reprice"
FILES: Final = sorted(path for path in COMPONENT.glob("*.yaml") if path.name != "kustomization.yaml")
PART: Final = "app.kubernetes.io/part-of"
PYTHON: Final = "/opt/featherline/bin/python"
LOCK: Final = "requirements-reprice.txt"

Json = dict[str, Any]


@pytest.fixture(scope="module")
def services() -> Json:
    """Return the services of the compose file."""
    found: Json = yaml.safe_load(COMPOSE.read_text(encoding="utf-8"))["services"]
    return found


@pytest.fixture(scope="module")
def manifests() -> dict[str, Json]:
    """Return the manifests of the component by the name of their file."""
    return {file.stem: yaml.safe_load(file.read_text(encoding="utf-8")) for file in FILES}


def pod(manifest: Json) -> Json:
    """Return what a deployment or job makes pods of."""
    found: Json = manifest["spec"]["template"]["spec"]
    return found


def test_the_compose_file_is_as_its_specification_says() -> None:
    """The specification's own JSON Schema takes it."""
    command = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec", COMPOSE]
    done = subprocess.run(command, capture_output=True, text=True, check=False)

    assert (0, "") == (done.returncode, done.stderr)


@pytest.mark.parametrize("version", ["1.34.0", "1.37.0"])
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_manifest_is_as_kubernetes_says(file: Path, version: str) -> None:
    """Its schema takes it, and knows every field that it has."""
    validator = importlib.import_module("kubernetes_validate")
    validator.validate(yaml.safe_load(file.read_text(encoding="utf-8")), version, strict=True)


def test_the_component_names_all_manifests_and_is_offered() -> None:
    """The kustomization of the service names the component, as a comment to take away."""
    component = yaml.safe_load((COMPONENT / "kustomization.yaml").read_text(encoding="utf-8"))

    assert "Component" == component["kind"]
    assert sorted(component["resources"]) == [file.name for file in FILES]
    offered = (COMPONENT.parent / "kustomization.yaml").read_text(encoding="utf-8")
    assert "# components: [big-book, traces, reprice]\n" in offered


def test_containers_have_as_few_rights_as_they_need(services: Json, manifests: dict[str, Json]) -> None:
    """They are read-only and without capabilities; only the answers are written, and only by who writes them."""
    for name, service in services.items():
        assert (True, ["ALL"], ["no-new-privileges:true"]) == (
            service["read_only"], service["cap_drop"], service["security_opt"],
        )  # fmt: skip
        writable = [volume["target"] for volume in service["volumes"] if not volume.get("read_only")]
        assert (["/answers"] if name == "reprice" else []) == writable
    for name in ("scheduler", "workers", "job"):
        (container,) = pod(manifests[name])["containers"]
        assert {
            "allowPrivilegeEscalation": False,
            "readOnlyRootFilesystem": True,
            "runAsNonRoot": True,
            "capabilities": {"drop": ["ALL"]},
        } == container["securityContext"]
        assert (False, False) == (
            pod(manifests[name])["automountServiceAccountToken"], pod(manifests[name])["enableServiceLinks"],
        )  # fmt: skip


def test_nobody_else_reaches_the_cluster(manifests: dict[str, Json]) -> None:
    """The compose file publishes nothing and its network is internal; the policy lets in only its own pods."""
    compose = yaml.safe_load(COMPOSE.read_text(encoding="utf-8"))
    assert not any("ports" in service for service in compose["services"].values())
    assert {"cluster": {"internal": True}} == compose["networks"]

    policy = manifests["network-policy"]["spec"]
    (ingress,) = policy["ingress"]
    among = {"podSelector": {"matchLabels": {PART: "reprice"}}}
    assert (among["podSelector"], [among], ["Ingress", "Egress"]) == (
        policy["podSelector"], ingress["from"], policy["policyTypes"],
    )  # fmt: skip
    ports = {
        port["name"] for name in ("scheduler", "workers") for port in pod(manifests[name])["containers"][0]["ports"]
    }
    assert ports == {port["port"] for port in ingress["ports"]}
    labelled = [
        manifests[name]["spec"]["template"]["metadata"]["labels"][PART] for name in ("scheduler", "workers", "job")
    ]
    assert ["reprice"] * 3 == labelled


def test_addresses_books_and_images_agree(services: Json, manifests: dict[str, Json]) -> None:
    """Workers and job name the scheduler's Service and port; all have the book that the service has."""
    service = manifests["scheduler-service"]
    address = f"tcp://{service['metadata']['name']}:{service['spec']['ports'][0]['port']}"
    deployment = yaml.safe_load((COMPONENT.parent / "deployment.yaml").read_text(encoding="utf-8"))
    (book,) = (volume for volume in pod(deployment)["volumes"] if volume["name"] == "book")

    assert service["spec"]["selector"] == manifests["scheduler"]["spec"]["selector"]["matchLabels"]
    assert [address] * 2 == [
        text for name in ("workers", "job") for text in pod(manifests[name])["containers"][0]["args"] if "tcp:" in text
    ]
    assert ["tcp://scheduler:8786"] * 2 == [
        text for name in ("worker", "reprice") for text in services[name]["command"] if "tcp:" in text
    ]
    for name in ("scheduler", "workers", "job"):
        assert book in pod(manifests[name])["volumes"]
        assert "featherline-reprice" == pod(manifests[name])["containers"][0]["image"]
    for member in services.values():
        assert LOCK == member["build"]["args"]["LOCK"]
    assert f"LOCK={LOCK}" in (COMPONENT / "kustomization.yaml").read_text(encoding="utf-8")
    assert (DEPLOY / LOCK).exists()


def commands(services: Json, manifests: dict[str, Json], where: str) -> dict[str, Sequence[str]]:
    """Return the commands of the scheduler, a worker and the run, as compose or Kubernetes starts them."""
    if where == "compose":
        found = {name: [*services[name].get("entrypoint", ()), *services[name]["command"]] for name in services}
    else:
        containers = {name: pod(manifests[name])["containers"][0] for name in ("scheduler", "workers", "job")}
        found = {name: [*each.get("command", ()), *each["args"]] for name, each in containers.items()}
    return dict(zip(("scheduler", "worker", "reprice"), found.values(), strict=True))


@contextmanager
def started(command: Sequence[str], environment: Mapping[str, str]) -> Iterator[subprocess.Popen[str]]:
    """Run a command as long as it is needed."""
    with subprocess.Popen(command, env=environment, stderr=subprocess.PIPE, text=True) as process:
        try:
            yield process
        finally:
            process.kill()


@pytest.mark.slow
@pytest.mark.parametrize("where", ["compose", "kubernetes"])
def test_the_commands_make_a_cluster(services: Json, manifests: dict[str, Json], tmp_path: Path, where: str) -> None:
    """With this Python, on loopback and other ports, they price a file; no page is served, and no port but theirs."""
    names = {
        PYTHON: sys.executable, "/orders.jsonl": str(tmp_path / "orders.jsonl"), "/answers": str(tmp_path / "answers"),
        "/data/orders.jsonl": str(tmp_path / "orders.jsonl"), "/data/answers": str(tmp_path / "answers"),
        "--worker-port=8788": "--worker-port=0", "--port=8786": "--port=0",
    }  # fmt: skip
    given = {
        name: [names.get(text, text) for text in command]
        for name, command in commands(services, manifests, where).items()
    }
    (tmp_path / "orders.jsonl").write_text('{"id":"a","request":{}}\n')
    environment = dict(services["worker"]["environment"]) if where == "compose" else {
        each["name"]: each["value"] for each in pod(manifests["workers"])["containers"][0]["env"]
    }  # fmt: skip
    environment = {**os.environ, **environment}
    del environment["FEATHERLINE_BOOK"]

    with ExitStack() as stack:
        scheduler = stack.enter_context(started([*given["scheduler"], "--host", "127.0.0.1"], environment))
        address = next(
            found[1] for line in scheduler.stderr or () if (found := re.search(r"Scheduler at: +(tcp://\S+)", line))
        )
        worker, reprice = (
            [re.sub(r"^tcp://.*", address, text) for text in given[name]] for name in ("worker", "reprice")
        )
        started_worker = stack.enter_context(started(worker, environment))
        done = subprocess.run(
            [sys.executable, "-I", "-m", "featherline_service", *reprice],
            env=environment, capture_output=True, text=True, check=False, timeout=120,
        )  # fmt: skip
        listening = [
            connection.laddr
            for process in (scheduler, started_worker)
            for connection in psutil.Process(process.pid).net_connections()
            if connection.status == psutil.CONN_LISTEN
        ]

    assert (0, "1 lines: 1 priced, of which 1 are problems, and 0 skipped, whose answers were there.\n") == (
        done.returncode, done.stdout,
    ), done.stderr  # fmt: skip
    (file,) = (tmp_path / "answers").glob("*.jsonl")
    assert 422 == json.loads(file.read_bytes())["status"]
    assert 1 == len({address.port for address in listening if address.ip != "127.0.0.1"}), listening
