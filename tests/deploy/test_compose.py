"""The compose file: by its specification's schema, and against what it runs."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, Final

import jsonschema_rs
import pytest
from schemas import folder_of, read

from featherline_service.__main__ import GRACE_S

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
    """No replica publishes a port or has a way out; without TLS the proxy is bound to loopback."""
    services = compose["services"]

    assert ["proxy"] == [name for name, service in services.items() if "ports" in service]
    assert all(port.startswith("127.0.0.1:") for port in services["proxy"]["ports"])
    assert (["inside"], True) == (services["replica-1"]["networks"], compose["networks"]["inside"]["internal"])


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
