"""Virtual environments that hold exactly what deploy/requirements*.txt lock, made once and renewed when stale."""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import venv
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
DEPLOY = ROOT / "deploy"
DISTRIBUTIONS = (ROOT / "sdk", ROOT / "service")

# Everything comes as a wheel but these two, published as source only; setuptools is locked to build them.
_PIP_FORMATS = ("--only-binary=:all:", "--no-binary=font-roboto,yattag", "--no-build-isolation", "--use-pep517")
_NETWORK = re.compile(
    r"connection|resolve host|name resolution|timed out|proxy|SSLError|from versions: none", re.IGNORECASE
)
_PIP_LINES_SHOWN = 12
_LEFTOVER = re.compile(r"__pycache__|dist|build|\..*")  # the names of what tools leave among the sources


class DeployError(Exception):
    """What went wrong and what to do about it, for the person at the terminal."""


@dataclass(frozen=True)
class Environment:
    """A virtual environment, its interpreter, and the command that runs pip on it."""

    folder: Path
    python: Path
    pip: tuple[str, ...]

    def command(self, name: str) -> str:
        """Return the path of a command that is installed in the environment."""
        return str(self.python.parent / name)


def shown(path: Path) -> str:
    """Return a path as a person at the working directory would type it."""
    return os.path.relpath(path) if Path.cwd() == ROOT else str(path)


@contextmanager
def step(doing: str) -> Iterator[None]:
    """Say what is being done, and how long it took once it is."""
    print(f"{doing} ... ", end="", flush=True)
    begun = time.monotonic()
    try:
        yield
    except BaseException:
        print("failed.", flush=True)
        raise
    print(f"{time.monotonic() - begun:.1f} s", flush=True)


def digest(paths: Iterable[Path]) -> str:
    """Return a SHA-256 over the names and contents of files, and over the Python that runs this."""
    total = hashlib.sha256(f"{sys.version} {sys.base_prefix}".encode())
    for path in paths:
        content = path.read_bytes()
        total.update(f"\0{path.relative_to(ROOT)} {len(content)}\0".encode())
        total.update(content)
    return total.hexdigest()


def sources() -> tuple[Path, ...]:
    """Return every file that the two distributions are built from."""
    return tuple(
        path
        for folder in DISTRIBUTIONS
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not any(_LEFTOVER.fullmatch(part) for part in path.relative_to(folder).parts)
    )


def prepare(name: str, lock: str) -> Environment:
    """Return the environment in `ROOT / name` with what the lock file holds, and the tools that build packages.

    Raises:
        DeployError: a folder of that name is not ours, Python cannot make environments, or pip failed.
    """
    folder = ROOT / name
    locks = (DEPLOY / "requirements-build.txt", DEPLOY / lock)
    wanted = digest(locks)
    without_pip = importlib.util.find_spec("ensurepip") is None
    environment = Environment(folder, folder / "bin" / "python", _pip(folder, without_pip=without_pip))
    state = _read_state(folder)
    if state is not None and state.get("locks") == wanted and environment.python.exists():
        return environment
    if state is None and folder.exists():
        raise DeployError(
            f"{shown(folder)} exists and was not made by these commands. Move it away, or remove it (rm -r "
            f"{shown(folder)}), and run this again."
        )
    with step(f"Making {shown(folder)} with Python {sys.version.split()[0]}"):
        if folder.exists():
            shutil.rmtree(folder)
        folder.mkdir()
        _write_state(folder, {})
        venv.EnvBuilder(symlinks=True, with_pip=not without_pip).create(folder)
    packages = {name for path in locks for name in re.findall(r"^[a-z0-9][^ ]*==", path.read_text(), re.MULTILINE)}
    with step(f"Installing {len(packages)} packages at their locked versions"):
        # The lists are whole. Left to resolve them again, pip refuses what one package asks of another with an extra as
        # soon as a newer release than the locked one is there.
        for path in locks:
            _install_locked(environment, path)
    _write_state(folder, {"locks": wanted})
    return environment


def _install_locked(environment: Environment, lock: Path) -> None:
    """Install what a lock file holds, by as many pips beside one another as there are processors.

    Nothing is compiled: Python compiles what is imported, which of most packages is a small part.
    """
    requirements = re.split(r"^(?=[a-z0-9])", lock.read_text(), flags=re.MULTILINE)[1:]
    count = min(len(requirements), os.cpu_count() or 1)
    options = ("install", "--require-hashes", "--no-deps", "--no-compile", *_PIP_FORMATS)
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(count) as pool:
        parts = [Path(folder) / f"{number}.txt" for number in range(count)]
        for number, part in enumerate(parts):
            part.write_text("".join(requirements[number::count]))
        for _ in pool.map(lambda part: run_pip(environment, *options, "--requirement", str(part)), parts):
            pass


def once(environment: Environment, key: str, value: str, install: Callable[[], None]) -> None:
    """Run `install` unless the environment remembers that it was done for this value."""
    state = _read_state(environment.folder) or {}
    if state.get(key) != value:
        _write_state(environment.folder, {**state, key: None})
        install()
        _write_state(environment.folder, {**state, key: value})


def run_pip(environment: Environment, *arguments: str) -> None:
    """Run pip on the environment, silently if all goes well.

    Raises:
        DeployError: pip failed; the message has its last lines.
    """
    done = subprocess.run(
        [*environment.pip, *arguments, "--quiet", "--no-input", "--disable-pip-version-check"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode == 0:
        return
    said = (done.stdout + done.stderr).strip().splitlines()
    telling = [line for line in said if not line.lstrip().startswith("WARNING:")][-_PIP_LINES_SHOWN:]
    message = "pip could not install what featherline needs. It said:\n  " + "\n  ".join(telling or said[-1:])
    if _NETWORK.search(done.stderr):
        message += (
            "\nIt looks as if the package index could not be reached. Check the network (behind a proxy, set "
            "HTTPS_PROXY; with an index of your own, PIP_INDEX_URL) and run this again."
        )
    raise DeployError(message)


def finish(main: Callable[[], int]) -> None:
    """Run a command's main function and end the process, with a message instead of a traceback for what is foreseen."""
    try:
        code = main()
    except DeployError as error:
        print(f"\n{error}", file=sys.stderr)
        code = 1
    except PermissionError as error:
        print(
            f"\nCannot write {error.filename}. Run this as the owner of {ROOT}, or in a clone of your own.",
            file=sys.stderr,
        )
        code = 1
    except KeyboardInterrupt:
        code = 130
    sys.exit(code)


def _pip(folder: Path, *, without_pip: bool) -> tuple[str, ...]:
    """Return the pip to use: the environment's own, or where Python cannot put one there, this Python's."""
    inside = str(folder / "bin" / "python")
    if not without_pip:
        return (inside, "-I", "-m", "pip")
    if importlib.util.find_spec("pip") is not None:
        return (sys.executable, "-I", "-m", "pip", "--python", inside)
    raise DeployError(
        f"This Python ({sys.executable}) can neither make a virtual environment with pip nor run pip itself.\n"
        "Install what is missing (Debian, Ubuntu: sudo apt install python3-venv), or name another Python:\n"
        f"  PYTHON=/path/to/python3.12 {shown(Path(sys.argv[0]).with_name('up'))}"
    )


def _read_state(folder: Path) -> dict[str, Any] | None:
    try:
        state = json.loads((folder / "featherline.json").read_text())
    except FileNotFoundError:
        return None
    except json.JSONDecodeError:
        return {}
    return state if isinstance(state, dict) else {}


def _write_state(folder: Path, state: dict[str, Any]) -> None:
    (folder / "featherline.json").write_text(json.dumps(state))
