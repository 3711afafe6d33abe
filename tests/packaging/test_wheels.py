import importlib
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
    """The service needs the SDK of its own version exactly, which has the types of the wire."""
    version = importlib.metadata.version("featherline-service")
    needed = {
        requirement.name: str(requirement.specifier)
        for requirement in map(Requirement, importlib.metadata.requires("featherline-service") or ())
    }
    assert version == importlib.metadata.version("featherline")
    assert f"=={version}" == needed["featherline"]


@pytest.fixture(scope="module")
def alone(wheels: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the SDK's wheel and its declared dependencies alone."""
    folder = tmp_path_factory.mktemp("alone")
    with zipfile.ZipFile(wheels["sdk"]) as archive:
        archive.extractall(folder)
    for name in required("featherline"):
        link(name, folder)
    return folder


def run_alone(folder: Path, script: str, *argv: str) -> subprocess.CompletedProcess[str]:
    """Run a script that can import from the folder alone."""
    begin = f"import sys; sys.path.insert(0, {str(folder)!r})\n"
    return subprocess.run(
        [sys.executable, "-I", "-S", "-c", begin + script, *argv], capture_output=True, text=True, check=False
    )


def test_the_sdk_works_without_the_service(alone: Path) -> None:
    """Without the service and what it needs the SDK imports, and its command runs."""
    done = run_alone(
        alone,
        f"""
import importlib.util
import featherline, featherline.command, featherline.wire
assert featherline.__file__.startswith({str(alone)!r}), featherline.__file__
service = ("featherline_service", "litestar", "uvicorn", "numpy", "shapely", "pint", "uharfbuzz")
print([name for name in service if importlib.util.find_spec(name)])
sys.argv = ["featherline", "--help"]
featherline.command.main()
""",
    )
    assert (0, "") == (done.returncode, done.stderr)
    found, usage = done.stdout.split("\n", 1)
    assert "[]" == found
    assert "quote" in usage


def test_the_sdk_alone_gets_a_price(alone: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It asks a running service from Python and by the command, while the service's libraries cannot be imported."""
    monkeypatch.syspath_prepend(Path(__file__).parent)
    order = ROOT / "openapi" / "examples" / "quote-request.json"
    with importlib.import_module("readme_examples").service() as address:
        done = run_alone(
            alone,
            """
import msgspec
from featherline import Client
from featherline.command import main
from featherline.wire import Order
try:
    import litestar
except ModuleNotFoundError as error:
    print(error.name)
with Client(sys.argv[1]) as client, open(sys.argv[2], "rb") as file:
    quote = client.quote(msgspec.json.decode(file.read(), type=Order))
print(quote.verdict, quote.price.total.amount, flush=True)
sys.exit(main(["quote", "--url", sys.argv[1], "--file", sys.argv[2]]))
""",
            *(address, str(order)),
        )
    assert (0, "") == (done.returncode, done.stderr)
    name, price, shown = done.stdout.split("\n", 2)
    assert "litestar" == name
    assert f"Charge    {price.removeprefix('ready ')} EUR a pair" in shown


def test_a_missing_extra_is_named(alone: Path) -> None:
    """Importing the check of seals without its extra says what to install."""
    done = run_alone(alone, "import featherline.seals")
    assert 1 == done.returncode
    assert "pip install 'featherline[seals]'" in done.stderr


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
    """Link the files of an installed distribution into a folder."""
    for file in importlib.metadata.files(name) or ():
        top = file.parts[0]
        if top != ".." and not (folder / top).exists():
            (folder / top).symlink_to(Path(str(importlib.metadata.distribution(name).locate_file(top))))
