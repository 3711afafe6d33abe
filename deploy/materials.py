"""Write the service's software bill of materials: a CycloneDX 1.6 document in JSON.

What is locked is in it, for every platform, with the hashes that installing checks. What is installed here adds
licences and who needs whom; a package that is locked for other platforms only has the scope "optional".
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

from environments import DEPLOY, ROOT, DeployError, finish, shown, step
from verify import ready

LOCK = DEPLOY / "requirements.txt"
SERVICE = "featherline-service"
OWN = ("featherline", SERVICE)
_USAGE = "Usage: deploy/sbom [FILE]    FILE is dist/featherline-service.cdx.json if not given"

Json = dict[str, Any]


def main() -> int:
    """Write the document."""
    match sys.argv[1:]:
        case []:
            path = ROOT / "dist" / f"{SERVICE}.cdx.json"
        case [name] if not name.startswith("-"):
            path = Path(name)
        case _:
            raise DeployError(_USAGE)
    python = ready().python
    with step("Listing what is locked and what is installed"):
        document = materials(python)
    path.parent.mkdir(exist_ok=True)
    path.write_text(json.dumps(document, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    print(f"{shown(path.absolute())} names {len(document['components'])} packages.")
    return 0


def materials(python: Path) -> Json:
    """Return the bill of materials, as an environment that holds the service and what it needs shows it."""
    installed = _listed(python, "environment", str(python))
    known = {_name(component): component for component in installed["components"]}
    locked = _listed(python, "requirements", str(LOCK))["components"]
    root, sdk = (_renamed(known[name]) for name in reversed(OWN))
    components = sorted([sdk, *(_combined(each, known.get(_name(each))) for each in locked)], key=_name)
    purls = {component["bom-ref"]: _purl(component) for component in installed["components"]}
    present = {_purl(component) for component in (root, *components)}
    needs = [
        {"ref": purls[entry["ref"]], "dependsOn": sorted(present & {purls[ref] for ref in entry.get("dependsOn", ())})}
        for entry in installed["dependencies"]
        if purls.get(entry["ref"]) in present
    ]
    absent = [{"ref": ref} for ref in sorted(present - {entry["ref"] for entry in needs})]
    return {
        **{key: installed[key] for key in ("$schema", "bomFormat", "specVersion", "version")},
        "metadata": {**installed["metadata"], "component": {**root, "type": "application"}},
        "components": components,
        "dependencies": sorted([*needs, *absent], key=lambda entry: str(entry["ref"])),
    }


def _listed(python: Path, kind: str, what: str) -> Json:
    # Not validated, which takes longer than the rest: what is written from both lists is, by a test.
    command = [str(python), "-m", "cyclonedx_py", kind, what, "--output-reproducible", "--sv", "1.6", "--no-validate"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise DeployError(f"{' '.join(command[1:])} failed. It said:\n{done.stderr.strip()}")
    found: Json = json.loads(done.stdout)
    return found


def _combined(locked: Json, installed: Json | None) -> Json:
    """Return a locked package with what its installation tells of it."""
    hashes = locked["externalReferences"]
    if installed is None:
        return {
            **_renamed(locked),
            "description": "Not needed on the platform that this was written on.",
            "scope": "optional",
        }
    if installed["version"] != locked["version"]:
        raise DeployError(
            f"{locked['name']} is {installed['version']} here, not as locked. Run deploy/check, then this."
        )
    return {**_renamed(installed), "externalReferences": [*hashes, *installed.get("externalReferences", ())]}


def _renamed(component: Json) -> Json:
    """Return a component that is referred to by its package URL; where it lies on this machine is nobody's business."""
    own = {key: value for key, value in component.items() if key not in {"purl", "externalReferences"}}
    references = [each for each in component.get("externalReferences", ()) if not each["url"].startswith("file:")]
    purl = _purl(component)
    # Our own two are on no index, so a package URL would lead to nothing, or to something else.
    address = {} if component["name"] in OWN else {"purl": purl}
    return {**own, "bom-ref": purl, **address, **({"externalReferences": references} if references else {})}


def _purl(component: Json) -> str:
    return f"pkg:pypi/{_name(component)}@{component['version']}"


def _name(component: Json) -> str:
    return re.sub(r"[-_.]+", "-", component["name"]).lower()  # as PyPI compares names


if __name__ == "__main__":
    finish(main)
