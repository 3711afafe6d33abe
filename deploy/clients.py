"""Generate clients in Go and Java from the description, compile them strictly, and use them on a running service.

The generator comes as a locked package; the toolchains, which are large, are the system's.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from environments import ROOT, DeployError, finish, prepare
from verify import ready

_TEST = ROOT / "tests" / "sdk" / "clients" / "go_and_java.py"
_PROGRAMS = ("go", "java", "javac")
_LIBRARIES = ("/usr/share/java/jakarta-annotation-api.jar", "/usr/share/gocode/src/gopkg.in/validator.v2")
_DEBIAN = "golang-go golang-gopkg-validator.v2-dev default-jdk-headless libjakarta-annotation-api-java"


def main() -> int:
    """Generate, compile and use; the arguments go to pytest."""
    missing = [name for name in _PROGRAMS if shutil.which(name) is None]
    missing += [path for path in _LIBRARIES if not Path(path).exists()]
    if missing:
        raise DeployError(
            f"This needs Go and Java with two libraries, and lacks {', '.join(missing)}.\n"
            f"Debian, Ubuntu: sudo apt install {_DEBIAN}"
        )
    environment = ready()
    generators = prepare(".venv-clients", "requirements-clients.txt")
    (archive,) = generators.folder.glob("lib/python*/site-packages/openapi_generator_cli/openapi-generator.jar")
    return subprocess.run(
        [environment.command("pytest"), "-n0", str(_TEST), *sys.argv[1:]],
        cwd=ROOT,
        env={**os.environ, "OPENAPI_GENERATOR": str(archive)},
        check=False,
    ).returncode


if __name__ == "__main__":
    finish(main)
