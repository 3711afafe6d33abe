"""The Kubernetes manifests: by Kubernetes' own schemas, strictly, and against one another and the service."""

from __future__ import annotations

import copy
from functools import cache
from pathlib import Path
from typing import Any, Final

import jsonschema_rs
import pytest
import yaml
from schemas import folder_of, read

from featherline_service import settings
from featherline_service.book.loader import load
from featherline_service.serving import GRACE_S
from featherline_service.settings import Settings, SettingsError
from featherline_service.web.openapi.description import OPERATIONS
from featherline_service.web.telemetry.otlp import requesting_variable

FOLDER: Final = Path(__file__).parents[2] / "deploy" / "kubernetes"
FILES: Final = sorted(path for path in FOLDER.glob("*.yaml") if path.name != "kustomization.yaml")
VERSIONS: Final = ("1.34.0", "1.37.0")  # the oldest that is still looked after, and the newest that we have
LABELS: Final = {"app.kubernetes.io/name": "featherline"}

Manifests = dict[str, dict[str, Any]]


@cache
def registry(folder: Path) -> jsonschema_rs.Registry:
    """Return the definitions that the schemas of a folder refer to."""
    return jsonschema_rs.Registry([("json-schema:///_definitions.json", read(folder / "_definitions.json"))])


def faults(manifest: dict[str, Any], version: str) -> list[str]:
    """Return what the strict schema of a version of Kubernetes finds wrong with a manifest."""
    folder = folder_of("kubernetes_validate") / "kubernetes-json-schema" / f"v{version}-local-strict"
    group = manifest["apiVersion"].replace(".k8s.io", "").replace("/", "-")
    schema = read(folder / f"{manifest['kind'].lower()}-{group}.json")
    validator = jsonschema_rs.Draft202012Validator(schema, registry=registry(folder))
    return [error.message for error in validator.iter_errors(manifest)]


@pytest.fixture
def pod(manifests: Manifests) -> dict[str, Any]:
    """Return what the deployment makes pods of."""
    found: dict[str, Any] = manifests["Deployment"]["spec"]["template"]["spec"]
    return found


@pytest.fixture
def container(pod: dict[str, Any]) -> dict[str, Any]:
    """Return the one container of a pod."""
    (found,) = pod["containers"]
    return dict(found)


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_manifest_is_as_kubernetes_says(file: Path, version: str) -> None:
    """Its schema takes it, and knows every field that it has."""
    assert [] == faults(yaml.safe_load(file.read_text(encoding="utf-8")), version)


def test_a_field_that_is_not_known_is_noticed() -> None:
    """The validation above is strict."""
    manifest = yaml.safe_load((FOLDER / "service.yaml").read_text(encoding="utf-8"))
    manifest["spec"]["sessionAffinities"] = "None"

    (fault,) = faults(manifest, VERSIONS[-1])
    assert "sessionAffinities" in fault


def test_every_file_is_applied(manifests: Manifests) -> None:
    """The kustomization names all manifests."""
    assert sorted(manifests["Kustomization"]["resources"]) == [file.name for file in FILES]


def test_they_mean_the_same_pods(manifests: Manifests) -> None:
    """Deployment, Service, budget, policy and autoscaler select what the deployment makes."""
    deployment = manifests["Deployment"]["spec"]

    assert deployment["template"]["metadata"]["labels"] == LABELS
    assert [LABELS] * 4 == [
        deployment["selector"]["matchLabels"],
        manifests["Service"]["spec"]["selector"],
        manifests["PodDisruptionBudget"]["spec"]["selector"]["matchLabels"],
        manifests["NetworkPolicy"]["spec"]["podSelector"]["matchLabels"],
    ]
    assert (
        manifests["HorizontalPodAutoscaler"]["spec"]["scaleTargetRef"]["name"]
        == manifests["Deployment"]["metadata"]["name"]
    )


def test_ports_and_probes_are_the_services_own(manifests: Manifests, container: dict[str, Any]) -> None:
    """The container's port is the default one, everybody names it, and each probe asks what there is."""
    (port,) = container["ports"]
    probes = {kind: container[f"{kind}Probe"]["httpGet"] for kind in ("startup", "readiness", "liveness")}

    assert ("http", Settings().port) == (port["name"], port["containerPort"])
    assert "http" == manifests["Service"]["spec"]["ports"][0]["targetPort"]
    assert "http" == manifests["NetworkPolicy"]["spec"]["ingress"][0]["ports"][0]["port"]
    assert {"http"} == {probe["port"] for probe in probes.values()}
    assert {"startup": "/health/live", "readiness": "/health/ready", "liveness": "/health/live"} == {
        kind: probe["path"] for kind, probe in probes.items()
    }


def test_a_pod_has_no_rights(pod: dict[str, Any], container: dict[str, Any], manifests: Manifests) -> None:
    """What the `restricted` Pod Security Standard asks for, and a root file system that cannot be written.

    References:
        Kubernetes documentation, Pod Security Standards, profile "Restricted".
    """
    assert "restricted" == manifests["Namespace"]["metadata"]["labels"]["pod-security.kubernetes.io/enforce"]
    assert (True, "RuntimeDefault") == (
        pod["securityContext"]["runAsNonRoot"], pod["securityContext"]["seccompProfile"]["type"],
    )  # fmt: skip
    assert {
        "allowPrivilegeEscalation": False,
        "readOnlyRootFilesystem": True,
        "runAsNonRoot": True,
        "capabilities": {"drop": ["ALL"]},
    } == container["securityContext"]
    assert pod["automountServiceAccountToken"] is False
    assert {"configMap", "secret"} == {kind for volume in pod["volumes"] for kind in set(volume) - {"name"}}
    assert all(mount["readOnly"] for mount in container["volumeMounts"])
    assert not {"hostNetwork", "hostPID", "hostIPC"} & set(pod)


def test_the_service_reaches_nobody(manifests: Manifests) -> None:
    """Both directions are held, and there is no way out."""
    policy = manifests["NetworkPolicy"]["spec"]

    assert (["Ingress", "Egress"], []) == (policy["policyTypes"], policy["egress"])


def patched(manifest: dict[str, Any], patch: str) -> dict[str, Any]:
    """Return a manifest after a JSON Patch of the operations that ours have (RFC 6902)."""
    whole = copy.deepcopy(manifest)
    for operation in yaml.safe_load(patch):
        *above, last = operation["path"].split("/")[1:]
        place: Any = whole
        for part in above:
            place = place[int(part) if isinstance(place, list) else part]
        key = int(last) if last.isdecimal() else last
        match operation["op"]:
            case "test":
                assert operation["value"] == place[key]
            case "remove":
                del place[key]
            case "replace":
                assert key in place
                place[key] = operation["value"]
            case "add":
                assert "-" == key
                place.append(operation["value"])
    return whole


def with_component(manifests: Manifests, name: str) -> Manifests:
    """Return the manifests that a component of the kustomization patches, as it leaves them."""
    component = yaml.safe_load((FOLDER / name / "kustomization.yaml").read_text(encoding="utf-8"))
    assert {"kind": "Component"}.items() <= component.items()
    assert f"{name}" in (FOLDER / "kustomization.yaml").read_text(encoding="utf-8")
    changed = {}
    for patch in component["patches"]:
        kind = patch["target"]["kind"]
        assert manifests[kind]["metadata"]["name"] == patch["target"]["name"]
        changed[kind] = patched(changed.get(kind, manifests[kind]), patch["patch"])
    return changed


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("name", ["big-book", "traces"])
def test_what_a_component_makes_is_as_kubernetes_says(manifests: Manifests, name: str, version: str) -> None:
    """The strict schemas take every manifest that a component changes."""
    changed = with_component(manifests, name)

    assert [] == [fault for manifest in changed.values() for fault in faults(manifest, version)]
    assert all(manifest != manifests[kind] for kind, manifest in changed.items())


def test_a_big_book_comes_with_the_image(manifests: Manifests) -> None:
    """No ConfigMap is mounted over it, the secrets are, and the image has another name, by the book's sum."""
    component = yaml.safe_load((FOLDER / "big-book" / "kustomization.yaml").read_text(encoding="utf-8"))
    pod = with_component(manifests, "big-book")["Deployment"]["spec"]["template"]["spec"]
    (container,) = pod["containers"]
    (image,) = component["images"]

    assert ["keys", "seal-keys"] == [volume["name"] for volume in pod["volumes"]]
    assert ["keys", "seal-keys"] == [mount["name"] for mount in container["volumeMounts"]]
    assert container["image"] == image["name"]


def test_traces_go_to_a_collector_and_nothing_else_goes_out(manifests: Manifests) -> None:
    """To pods with its label at the port of OTLP over HTTP, and to the cluster's names, without which none is known.

    References:
        OpenTelemetry protocol exporter specification: port 4318 for OTLP over HTTP. Kubernetes documentation, Network
        Policies: the label kubernetes.io/metadata.name is every namespace's.
    """
    changed = with_component(manifests, "traces")
    collector, names = changed["NetworkPolicy"]["spec"]["egress"]
    (container,) = changed["Deployment"]["spec"]["template"]["spec"]["containers"]
    told = {each["name"]: each["value"] for each in container["env"]}
    (port,) = collector["ports"]

    assert "OTEL_EXPORTER_OTLP_ENDPOINT" == requesting_variable(told)
    assert told["OTEL_EXPORTER_OTLP_ENDPOINT"].endswith(f":{port['port']}")
    assert [{"featherline-collector": "true"}] == [to["podSelector"]["matchLabels"] for to in collector["to"]]
    assert {53} == {each["port"] for each in names["ports"]}
    assert changed["NetworkPolicy"]["spec"]["ingress"] == manifests["NetworkPolicy"]["spec"]["ingress"]


def test_the_clusters_own_variables_are_kept_out(pod: dict[str, Any], manifests: Manifests) -> None:
    """For a Service of this name a cluster sets variables that are settings of ours, and would stop the start.

    References:
        Kubernetes documentation, Service, "Environment variables": {SVCNAME}_SERVICE_HOST, {SVCNAME}_PORT and more.
    """
    prefix = manifests["Service"]["metadata"]["name"].upper()
    with pytest.raises(SettingsError):
        settings.read({f"{prefix}_PORT": "tcp://10.0.0.11:80"})
    with pytest.raises(SettingsError):
        settings.read({f"{prefix}_SERVICE_HOST": "10.0.0.11"})

    assert pod["enableServiceLinks"] is False


def test_a_pod_has_time_to_leave(pod: dict[str, Any], container: dict[str, Any]) -> None:
    """It is killed only after its drain and the time for what is under way; by then no probe has called it dead."""
    (drain,) = (int(each["value"]) for each in container["env"] if each["name"] == "FEATHERLINE_DRAIN")

    assert pod["terminationGracePeriodSeconds"] > drain + GRACE_S


def test_the_book_in_the_cluster_is_a_book(
    pod: dict[str, Any], container: dict[str, Any], manifests: Manifests, tmp_path: Path
) -> None:
    """As a cluster lays out a ConfigMap, with links through a hidden folder, the files make a book that loads."""
    (generator,) = manifests["Kustomization"]["configMapGenerator"]
    (volume,) = (volume["configMap"] for volume in pod["volumes"] if "configMap" in volume)
    contents = dict(entry.split("=") for entry in generator["files"])
    assert generator["name"] == volume["name"]
    # Kustomize puts a hash of the content behind the name, so that another book rolls the replicas.
    assert "disableNameSuffixHash" not in str([generator, manifests["Kustomization"].get("generatorOptions")])

    hidden = tmp_path / "..2026_11_25"
    for item in volume["items"]:
        (hidden / item["path"]).parent.mkdir(parents=True, exist_ok=True)
        (hidden / item["path"]).write_bytes((FOLDER / contents[item["key"]]).read_bytes())
    (tmp_path / "..data").symlink_to(hidden.name)
    for top in {Path(item["path"]).parts[0] for item in volume["items"]}:
        (tmp_path / top).symlink_to(Path("..data") / top)

    book = load([tmp_path])
    mounted = {mount["name"]: mount["mountPath"] for mount in container["volumeMounts"]}
    assert set(contents) == {item["key"] for item in volume["items"]}
    assert "Far shore bench rates" == book.rates["bench"].name
    assert load().revision != book.revision
    assert {"name": "FEATHERLINE_BOOK", "value": mounted["book"]} in container["env"]


def test_secrets_are_mounted_where_the_settings_say(
    pod: dict[str, Any], container: dict[str, Any], manifests: Manifests
) -> None:
    """Each secret is made of the file that its setting names; Git keeps none of them."""
    settings = {each["name"]: each["value"] for each in container["env"]}
    mounts = {mount["name"]: mount["mountPath"] for mount in container["volumeMounts"]}
    volumes = {volume["secret"]["secretName"]: volume["name"] for volume in pod["volumes"] if "secret" in volume}
    placed = {
        f"{mounts[volumes[generator['name']]]}/{file.partition('=')[0]}"
        for generator in manifests["Kustomization"]["secretGenerator"]
        for file in generator["files"]
    }

    assert {settings["FEATHERLINE_KEYS"], settings["FEATHERLINE_SEAL_KEYS"]} == placed
    assert ["*", "!.gitignore"] == (FOLDER / "secrets" / ".gitignore").read_text(encoding="utf-8").splitlines()[1:]


def test_health_checks_exist() -> None:
    """What proxies, containers and clusters ask is described by the service."""
    assert {"/health/live", "/health/ready"} <= {operation.path for operation in OPERATIONS}
