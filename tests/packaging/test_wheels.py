import importlib.metadata
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Final

import pytest
from packaging.requirements import Requirement

ROOT: Final = Path(__file__).parents[2]
PACKAGES: Final = {"sdk": "featherline", "service": "featherline_service"}
# Not sources: what Python and the tools leave behind.
LEFTOVERS: Final = ("__pycache__", ".")


@pytest.fixture(scope="module")
def wheels(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return both wheels, built from this tree."""
    folder = tmp_path_factory.mktemp("wheels")
    built = {}
    for name in PACKAGES:
        build = [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(folder / name)]
        subprocess.run(build, cwd=ROOT / name, check=True, capture_output=True)
        (built[name],) = (folder / name).glob("*.whl")
    return built


@pytest.mark.parametrize("name", PACKAGES)
def test_a_wheel_has_every_source_file_and_nothing_else(name: str, wheels: dict[str, Path]) -> None:
    """A wheel holds the package's files, the type marker and the book's records among them, and its own metadata."""
    source = ROOT / name / "src"
    expected = {
        str(path.relative_to(source))
        for path in source.rglob("*")
        if path.is_file() and not any(part.startswith(LEFTOVERS) for part in path.relative_to(source).parts)
    }
    inside = set(zipfile.ZipFile(wheels[name]).namelist())
    assert expected == {path for path in inside if ".dist-info/" not in path}
    assert f"{PACKAGES[name]}/py.typed" in inside


def test_the_service_wheel_has_the_demo_book(wheels: dict[str, Path]) -> None:
    """Every kind of record of the demo book is in the service's wheel as TOML."""
    records = ROOT / "service" / "src" / "featherline_service" / "book" / "records"
    inside = zipfile.ZipFile(wheels["service"]).namelist()
    folder = "featherline_service/book/records/"
    kinds = {path.removeprefix(folder).split("/")[0] for path in inside if path.startswith(folder)}
    assert {path.name for path in records.iterdir()} == kinds
    assert kinds >= {"films", "shoes", "materials"}


@pytest.mark.parametrize("name", PACKAGES)
def test_a_wheel_carries_the_licence(name: str, wheels: dict[str, Path]) -> None:
    """The licence's text is in the wheel, and its metadata names it."""
    archive = zipfile.ZipFile(wheels[name])
    (licence,) = (path for path in archive.namelist() if path.endswith(".dist-info/licenses/LICENSE"))
    assert (ROOT / name / "LICENSE").read_bytes() == archive.read(licence)
    (metadata,) = (path for path in archive.namelist() if path.endswith(".dist-info/METADATA"))
    assert "License-Expression: Apache-2.0" in archive.read(metadata).decode().splitlines()


def test_the_two_go_together() -> None:
    """The service needs the SDK of exactly its own version, since the wire types live there."""
    version = importlib.metadata.version("featherline-service")
    needed = {
        requirement.name: str(requirement.specifier)
        for requirement in map(Requirement, importlib.metadata.requires("featherline-service") or ())
    }
    assert version == importlib.metadata.version("featherline")
    assert f"=={version}" == needed["featherline"]


def test_the_sdk_works_without_the_service(wheels: dict[str, Path], tmp_path: Path) -> None:
    """With its own wheel and what that declares, and no more, the SDK imports, and its command runs."""
    with zipfile.ZipFile(wheels["sdk"]) as archive:
        archive.extractall(tmp_path)
    for name in required("featherline"):
        link(name, tmp_path)
    run = f"""
import importlib.util, sys
sys.path.insert(0, {str(tmp_path)!r})
import featherline, featherline.cli, featherline.wire
assert featherline.__file__.startswith({str(tmp_path)!r}), featherline.__file__
service = ("featherline_service", "litestar", "uvicorn", "numpy", "shapely", "pint", "uharfbuzz")
print([name for name in service if importlib.util.find_spec(name)])
sys.argv = ["featherline", "--help"]
featherline.cli.main()
"""
    # -I and -S: nothing from this environment, only the folder.
    done = subprocess.run([sys.executable, "-I", "-S", "-c", run], capture_output=True, text=True, check=False)
    assert (0, "") == (done.returncode, done.stderr)
    found, usage = done.stdout.split("\n", 1)
    assert "[]" == found
    assert "quote" in usage


def required(name: str) -> set[str]:
    """Return the names of all distributions that one needs here, directly or through others."""
    needed: set[str] = set()
    waiting = [name]
    while waiting:
        for text in importlib.metadata.requires(waiting.pop()) or ():
            requirement = Requirement(text)
            wanted = requirement.marker is None or requirement.marker.evaluate({"extra": ""})
            if wanted and requirement.name not in needed:
                needed.add(requirement.name)
                waiting.append(requirement.name)
    return needed


def link(name: str, folder: Path) -> None:
    """Put what a distribution installed beside one another in a folder, by symbolic links."""
    for file in importlib.metadata.files(name) or ():
        top = file.parts[0]
        if top != ".." and not (folder / top).exists():
            (folder / top).symlink_to(Path(str(importlib.metadata.distribution(name).locate_file(top))))
