"""The compose file: by its specification's schema, and against what it runs."""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path
from typing import Any, Final

import jsonschema_rs
import pytest
from schemas import folder_of, read

from featherline_service.serving import GRACE_S
from featherline_service.web.telemetry.otlp import requesting_variable

DEPLOY: Final = Path(__file__).parents[2] / "deploy"
REPLICAS: Final = ("replica-1", "replica-2", "replica-3")


def test_it_is_as_the_compose_specification_says(compose: dict[str, Any]) -> None:
    """The specification's own JSON Schema takes the file, and knows every field that it has."""
    schema = read(folder_of("check_jsonschema") / "builtin_schemas" / "vendor" / "compose-spec.json")
    validator = jsonschema_rs.Draft202012Validator(schema, validate_formats=True)

    assert [] == [error.message for error in validator.iter_errors(compose)]
    assert not validator.is_valid({**compose, "service": {}})


def test_there_are_three_replicas_and_a_proxy(compose: dict[str, Any]) -> None:
    """The replicas are alike."""
    services = compose["services"]

    assert {*REPLICAS, "proxy"} == set(services)
    assert services["replica-1"] == services["replica-2"] == services["replica-3"]


@pytest.mark.parametrize("name", [*REPLICAS, "proxy"])
def test_each_has_as_few_rights_as_it_needs(compose: dict[str, Any], name: str) -> None:
    """A container is read-only, without capabilities or new privileges, and mounts no folder for writing."""
    service = compose["services"][name]

    assert (True, ["ALL"], ["no-new-privileges:true"]) == (
        service["read_only"], service["cap_drop"], service["security_opt"],
    )  # fmt: skip
    assert all(volume["read_only"] for volume in service["volumes"])
    assert not {"privileged", "cap_add", "pid", "ipc", "devices"} & set(service)


def test_the_proxy_knows_the_replicas_and_waits_for_them(compose: dict[str, Any]) -> None:
    """The variables of haproxy.cfg name the services, and its file is the one that is mounted."""
    proxy = compose["services"]["proxy"]
    variables = set(re.findall(r"\$\{([A-Z_0-9]+)", (DEPLOY / "haproxy.cfg").read_text(encoding="utf-8")))

    assert {f"REPLICA_{number}": f"{name}:8037" for number, name in enumerate(REPLICAS, 1)} == {
        key: value for key, value in proxy["environment"].items() if key.startswith("REPLICA_")
    }
    assert set(proxy["environment"]) <= variables
    assert {"service_healthy"} == {after["condition"] for after in proxy["depends_on"].values()}
    assert set(REPLICAS) == set(proxy["depends_on"])
    assert (DEPLOY / "haproxy.cfg").samefile(DEPLOY / proxy["volumes"][0]["source"])


def test_only_the_proxy_is_reached_and_only_from_this_machine(compose: dict[str, Any]) -> None:
    """No replica publishes a port or has a way out of its own; without TLS the proxy is bound to loopback."""
    services = compose["services"]

    assert ["proxy"] == [name for name, service in services.items() if "ports" in service]
    assert all(port.startswith("127.0.0.1:") for port in services["proxy"]["ports"])
    assert ["inside", "traces"] == services["replica-1"]["networks"]
    assert [True, True] == [compose["networks"][name]["internal"] for name in services["replica-1"]["networks"]]
    assert "traces" not in services["proxy"]["networks"]


def sum_of(book: Path) -> str:
    """Return what the command of the guide prints for a book; the head of the file has the same."""
    commands = [
        re.findall(r"^[# ]*(export BOOK_SUM=.*)$", (DEPLOY / page).read_text(encoding="utf-8"), re.MULTILINE)
        for page in ("README.md", "compose.yaml")
    ]
    assert commands[0] == commands[1]
    program = ["bash", "-c", f"{commands[0][0]}; printf %s $BOOK_SUM"]
    environment = {"SHOP_BOOK": str(book), "PATH": os.environ["PATH"]}
    return subprocess.run(program, env=environment, capture_output=True, text=True, check=True).stdout


def test_another_book_makes_other_replicas(compose: dict[str, Any], tmp_path: Path) -> None:
    """Compose makes a container anew when its labels change, and one has the sum of the book's names and contents.

    References:
        Compose specification, `labels`; Compose compares a hash of a service's configuration: of mounts, the paths.
    """
    replica = compose["services"]["replica-1"]
    book = tmp_path / "a book"
    (book / "rates").mkdir(parents=True)
    (book / "book.toml").write_text('mode = "overlay"\n')
    (book / "rates" / "rates.toml").write_text("")
    sums = [sum_of(book)]
    os.utime(book / "book.toml", (0, 0))
    sums.append(sum_of(book))
    (book / "rates" / "rates.toml").write_text("# other\n")
    sums.append(sum_of(book))
    (book / "rates" / "rates.toml").rename(book / "rates" / "bench.toml")
    sums.append(sum_of(book))

    assert re.fullmatch(r"[0-9a-f]{16}", sums[0])
    assert sums[0] == sums[1]
    assert 3 == len(set(sums))
    assert replica["labels"]["featherline.book-sum"].startswith("${BOOK_SUM:?")


def test_the_image_can_be_built_to_send_traces(compose: dict[str, Any]) -> None:
    """LOCK names a list that the image is built from; the collector's address comes from whoever starts it."""
    replica = compose["services"]["replica-1"]

    assert "${LOCK:-requirements.txt}" == replica["build"]["args"]["LOCK"]
    assert requesting_variable({"OTEL_EXPORTER_OTLP_ENDPOINT": ""}) is None
    assert "${OTEL_EXPORTER_OTLP_ENDPOINT:-}" == replica["environment"]["OTEL_EXPORTER_OTLP_ENDPOINT"]


def test_a_replica_has_time_to_leave(compose: dict[str, Any]) -> None:
    """It is killed only after its drain and the time for what is under way."""
    replica = compose["services"]["replica-1"]

    assert (
        int(replica["stop_grace_period"].removesuffix("s")) > int(replica["environment"]["FEATHERLINE_DRAIN"]) + GRACE_S
    )


def test_secrets_are_files_and_no_variables(compose: dict[str, Any]) -> None:
    """A replica's variables name the files of its secrets."""
    replica = compose["services"]["replica-1"]
    told = {value for key, value in replica["environment"].items() if key.endswith("KEYS")}

    assert {f"/run/secrets/{name}" for name in replica["secrets"]} == told
    assert set(replica["secrets"]) == set(compose["secrets"])
    assert all(secret["file"].startswith("${SECRETS:?") for secret in compose["secrets"].values())
