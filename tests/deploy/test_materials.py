"""The software bill of materials: by CycloneDX's own schema, and against the lock."""

from __future__ import annotations

import importlib
import json
import re
import sys
from pathlib import Path
from typing import Any, Final

import jsonschema_rs
import pytest
from schemas import folder_of, read

ROOT: Final = Path(__file__).parents[2]
LOCK: Final = (ROOT / "deploy" / "requirements.txt").read_text(encoding="utf-8")

Json = dict[str, Any]


@pytest.fixture(scope="module")
def document() -> Json:
    """Return the bill of materials, by the environment of the tests."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(ROOT / "deploy")
        found: Json = importlib.import_module("materials").materials(Path(sys.executable))
    return found


def locked() -> dict[str, tuple[str, set[str]]]:
    """Return version and hashes of each locked package."""
    entries = re.findall(r"^([a-z0-9-]+)==(\S+)[^\n]*\n((?: +--hash=\S+[^\n]*\n)+)", LOCK, re.MULTILINE)
    return {name: (version, set(re.findall(r"sha256:(\w+)", hashes))) for name, version, hashes in entries}


def test_it_is_as_cyclonedx_says(document: Json) -> None:
    """The schema of CycloneDX 1.6 takes it, and knows every field that it has."""
    folder = folder_of("cyclonedx") / "schema" / "_res"
    schema = read(folder / "bom-1.6.SNAPSHOT.schema.json")
    parts = ("spdx.SNAPSHOT.schema.json", "jsf-0.82.SNAPSHOT.schema.json")
    registry = jsonschema_rs.Registry([(f"http://cyclonedx.org/schema/{part}", read(folder / part)) for part in parts])
    validator = jsonschema_rs.Draft7Validator(schema, registry=registry, validate_formats=True)

    assert [] == [error.message for error in validator.iter_errors(json.loads(json.dumps(document)))]
    assert not validator.is_valid({**document, "components": [{**document["components"][0], "made": "today"}]})


def test_it_names_every_locked_package_with_its_hashes(document: Json) -> None:
    """Each is there once, at the locked version, with every hash that installing would take; beside them our SDK."""
    found = {
        component["purl"].removeprefix("pkg:pypi/").split("@")[0]: (
            component["version"],
            {each["content"] for reference in component["externalReferences"] for each in reference.get("hashes", ())},
        )
        for component in document["components"]
        if component["name"] != "featherline"
    }

    assert locked() == found
    assert len(locked()) == LOCK.count("==") - LOCK.count(" == ")
    assert len(found) + 1 == len(document["components"])


def test_it_is_about_the_service_and_says_what_that_needs(document: Json) -> None:
    """From the service one comes to every package that is needed on this platform."""
    root = document["metadata"]["component"]
    needs = {entry["ref"]: entry["dependsOn"] for entry in document["dependencies"] if "dependsOn" in entry}
    reached, waiting = set(), [root["bom-ref"]]
    while waiting:
        if (each := waiting.pop()) not in reached:
            reached.add(each)
            waiting += needs.get(each, ())

    assert ("featherline-service", "application") == (root["name"], root["type"])
    assert reached - {root["bom-ref"]} == {
        component["bom-ref"] for component in document["components"] if component.get("scope") != "optional"
    }


def test_it_tells_licences_and_nothing_of_this_machine(document: Json) -> None:
    """Where a package declares its licence, the bill has it; paths of this machine are not in it."""
    text = json.dumps(document)
    declared = {component["name"] for component in document["components"] if component.get("licenses")}

    assert {"featherline", "litestar", "msgspec", "numpy", "shapely", "uvicorn"} <= declared
    assert str(ROOT) not in text
    assert "file:" not in text
