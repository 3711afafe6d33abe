"""Virtual environments that hold exactly what deploy/requirements*.txt lock, made once and renewed when stale."""

from __future__ import annotations

import ast
import hashlib
import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
import time
import venv
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
DEPLOY = ROOT / "deploy"
DISTRIBUTIONS = (ROOT / "sdk", ROOT / "service")

# Everything comes as a wheel but these two, published as source only; setuptools is locked to build them.
_FORMATS = (
    *("--only-binary", ":all:", "--no-binary", "font-roboto", "--no-binary", "yattag"),
    "--no-build-isolation",
)
_NETWORK = re.compile(
    r"connect|resolve host|name resolution|timed out|proxy|SSLError|certificate|from versions: none|sending request",
    re.IGNORECASE,
)
_LINES_SHOWN = 12
_LEFTOVER = re.compile(r"__pycache__|dist|build|\..*")  # the names of what tools leave among the sources
_UV = ".venv-uv"
_OPTIONS = {
    "index-url": "--default-index",
    "extra-index-url": "--index",
    "find-links": "--find-links",
    "trusted-host": "--allow-insecure-host",
}
"""Options of uv by those of pip that mean the same."""
_VARIABLES = {"cert": "SSL_CERT_FILE", "client-cert": "SSL_CLIENT_CERT", "proxy": "ALL_PROXY"}
"""Variables that uv reads, by the options of pip that mean the same."""


class DeployError(Exception):
    """What went wrong and what to do about it, for the person at the terminal."""


@dataclass(frozen=True)
class Environment:
    """A virtual environment and its interpreter."""

    folder: Path
    python: Path

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
        DeployError: a folder of that name is not ours, Python cannot make environments, or a package is not to be had.
    """
    uv()  # a folder is not begun that could not be filled
    locks = (DEPLOY / "requirements-build.txt", DEPLOY / lock)

    def fill(environment: Environment) -> None:
        packages = {name for path in locks for name in re.findall(r"^[a-z0-9][^ ]*==", path.read_text(), re.MULTILINE)}
        with step(f"Installing {len(packages)} packages at their locked versions"):
            for path in locks:
                # The lists are whole, so nothing is resolved; nor compiled: Python compiles what is imported.
                install(environment, "--require-hashes", *_FORMATS, "--requirement", str(path))

    return _made(
        name,
        locks,
        lambda folder: run_uv("venv", "--allow-existing", "--python", sys.executable, str(folder)),
        fill,
    )


def uv() -> str:
    """Return the path of uv, which makes and fills the other environments; pip installs it, in one of its own.

    Raises:
        DeployError: see `prepare`.
    """
    lock, pip = DEPLOY / "requirements-uv.txt", _pip()

    def make(folder: Path) -> None:
        venv.EnvBuilder(symlinks=True, with_pip=_has_ensurepip()).create(folder)

    def fill(_: Environment) -> None:
        with step("Installing uv"):
            options = ("--require-hashes", "--no-deps", "--no-compile", "--only-binary=:all:")
            _run([*pip, "install", *options, "--quiet", "--no-input", "--disable-pip-version-check", "-r", str(lock)])

    return _made(_UV, (lock,), make, fill).command("uv")


def install(environment: Environment, *arguments: str) -> None:
    """Install packages, and nothing that they depend on, from the package index that pip is told of.

    Raises:
        DeployError: uv failed; the message has its last lines.
    """
    options, variables = index()
    run_uv("pip", "install", "--python", str(environment.python), "--no-deps", *options, *arguments, **variables)


def run_uv(*arguments: str, **variables: str) -> None:
    """Run uv, silently if all goes well.

    Raises:
        DeployError: uv failed; the message has its last lines.
    """
    _run([uv(), "--quiet", *arguments], **variables)


def _made(
    name: str, locks: tuple[Path, ...], make: Callable[[Path], None], fill: Callable[[Environment], None]
) -> Environment:
    """Return the environment in `ROOT / name`, made and filled anew unless it was for the same locks and Python."""
    folder = ROOT / name
    environment = Environment(folder, folder / "bin" / "python")
    wanted = digest(locks)
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
        make(folder)
    fill(environment)
    _write_state(folder, {"locks": wanted})
    return environment


def once(environment: Environment, key: str, value: str, install: Callable[[], None]) -> None:
    """Run `install` unless the environment remembers that it was done for this value."""
    state = _read_state(environment.folder) or {}
    if state.get(key) != value:
        _write_state(environment.folder, {**state, key: None})
        install()
        _write_state(environment.folder, {**state, key: value})


def _run(command: list[str], **variables: str) -> None:
    """Run a command that installs, silently if all goes well.

    Raises:
        DeployError: it failed; the message has its last lines.
    """
    done = subprocess.run(
        command, cwd=ROOT, env={**os.environ, **variables}, capture_output=True, text=True, check=False
    )
    if done.returncode == 0:
        return
    said = (done.stdout + done.stderr).strip().splitlines()
    telling = [line for line in said if not line.lstrip().startswith("WARNING:")][-_LINES_SHOWN:]
    message = "What featherline needs could not be installed:\n  " + "\n  ".join(telling or said[-1:])
    if _NETWORK.search(done.stderr):
        message += (
            "\nIt looks as if the package index could not be reached. Check the network (behind a proxy, set "
            "HTTPS_PROXY; with an index of your own, PIP_INDEX_URL) and run this again."
        )
    raise DeployError(message)


def index() -> tuple[list[str], dict[str, str]]:
    """Return where pip is told to look for packages, by its files and variables: options of uv, and its variables.

    Raises:
        DeployError: pip cannot read its configuration.
    """
    uv()  # and with it the pip that is asked
    told = subprocess.run([*_pip(), "config", "list"], capture_output=True, text=True, check=False)
    if told.returncode != 0:
        raise DeployError(f"pip cannot read its configuration. Mend what it says, and run this again:\n{told.stderr}")
    options, variables = ["--index-strategy=unsafe-best-match"], {}  # as pip; each package is held to its hash
    for name, value in re.findall(r"^[^=]+\.([a-z-]+)=(.+)$", told.stdout, re.MULTILINE):
        for word in ast.literal_eval(value).split():
            if name in _OPTIONS:
                options += [f"{_OPTIONS[name]}={word}"]
            elif name in _VARIABLES:
                variables[_VARIABLES[name]] = word
            elif name == "no-index" and word.lower() in {"1", "true", "yes", "on"}:
                options += ["--no-index"]
    return options, variables


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


def _has_ensurepip() -> bool:
    return importlib.util.find_spec("ensurepip") is not None


def _pip() -> tuple[str, ...]:
    """Return the pip that installs uv: its environment's own, or where Python cannot put one there, this Python's."""
    inside = str(ROOT / _UV / "bin" / "python")
    if _has_ensurepip():
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
