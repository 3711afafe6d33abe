"""Clients that a generator makes of the description in Go and in Java, compiled strictly, in front of the service.

`deploy/clients` runs this, with the generator's archive in OPENAPI_GENERATOR: the toolchains are Debian's, and CI has
no time for them.
"""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

HERE: Final = Path(__file__).parent
OPENAPI: Final = HERE.parents[2] / "openapi"
DESCRIPTION: Final = OPENAPI / "openapi.json"
LINES: Final = OPENAPI / "examples" / "bulk-request.jsonl"
GENERATOR: Final = os.environ["OPENAPI_GENERATOR"]  # it has the libraries that the Java client needs, but this one:
ANNOTATIONS: Final = "/usr/share/java/jakarta-annotation-api.jar"
DEBIANS_GO: Final = "/usr/share/gocode"
# Debian's library of validation is of 2016 and does not read the client's patterns; members are told by their tag then.
GO_OPTIONS: Final = "packageName=featherline,withGoMod=false,useOneOfDiscriminatorLookup=true"
# Warnings are errors, but for those that the generator's own templates cause.
STRICT: Final = ("-Werror", "-Xlint:all,-processing,-serial,-deprecation")


def run(*command: str | Path, cwd: Path | None = None, **environment: str) -> str:
    """Run a program; return what it printed."""
    done = subprocess.run(command, cwd=cwd, env=os.environ | environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{done.args}\n{done.stdout}{done.stderr}"
    return done.stdout


def generate(language: str, folder: Path, options: str, *more: str) -> None:
    """Generate a client."""
    command = ("java", "-jar", GENERATOR, "generate", "-g", language, "-i", DESCRIPTION, "-o", folder)
    run(*command, f"--additional-properties={options}", *more)


def test_a_go_client_is_constructed_and_reads(running: Any, expected: Mapping[str, object], tmp_path: Path) -> None:  # noqa: ANN401 - of conftest.py
    """A program that constructs its requests passes `go vet` and reads what our SDK reads; Go reads all patterns."""
    generate("go", tmp_path / "src" / "featherline", GO_OPTIONS, "--global-property=apiTests=false,modelTests=false")
    program = tmp_path / "src" / "checkout"
    program.mkdir()
    (program / "main.go").write_bytes((HERE / "go" / "main.go").read_bytes())
    go = {"GOPATH": f"{tmp_path}:{DEBIANS_GO}", "GO111MODULE": "off", "GOFLAGS": ""}

    run("go", "vet", "checkout", "featherline", cwd=program, **go)
    run("go", "build", "-o", "checkout", ".", cwd=program, **go)
    assert expected == json.loads(run(program / "checkout", running.url, LINES, DESCRIPTION))


def test_a_java_client_is_constructed_and_reads(running: Any, expected: Mapping[str, object], tmp_path: Path) -> None:  # noqa: ANN401 - of conftest.py
    """A program that constructs its requests compiles without a warning and reads what our SDK reads."""
    generate("java", tmp_path, "openApiNullable=false,useJakartaEe=true", "--library", "native")
    sources = [str(path) for path in sorted((tmp_path / "src" / "main").rglob("*.java"))]
    libraries = f"{GENERATOR}:{ANNOTATIONS}"
    built = tmp_path / "built"

    run("javac", *STRICT, "-d", built, "-cp", libraries, *sources, HERE / "java" / "Checkout.java")
    printed = run("java", "-cp", f"{built}:{libraries}", "Checkout", running.url, LINES)
    assert expected == json.loads(printed)
