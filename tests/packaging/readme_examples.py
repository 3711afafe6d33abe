"""The examples of the Markdown pages: a command or program that is followed by a block with its output.

`python tests/packaging/readme_examples.py` runs them against a service of its own and writes what they print into the
pages; the test beside this file fails where a page says something else.
"""

from __future__ import annotations

import contextlib
import http.client
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final, NamedTuple

sys.path.append(str(Path(__file__).parents[1]))  # where this file is run by itself
from free_ports import free_port

ROOT: Final = Path(__file__).parents[2]
PAGES: Final = tuple(
    page
    for name in (
        *("README.md", "DEVELOPERS.md", "service/README.md", "service/book.md", "service/metrics.md"),
        *("service/repricing.md", "deploy/README.md", "deploy/data.md", "tests/bench/MEASURES.md"),
        # tests/sdk/test_readme.py runs the SDK's page
    )
    if (page := ROOT / name).exists()
)
ADDRESS: Final = "http://127.0.0.1:8037"
OTHER_ADDRESS: Final = "http://127.0.0.1:8038"  # of a service that an example starts itself
OUTPUT: Final = "```text\n"
_BLOCK: Final = re.compile(
    r"^```(?P<language>sh|python)\n(?P<code>(?:(?!```)[^\n]*\n)*)```\n\n"
    r"^```text\n(?P<output>(?:(?!```)[^\n]*\n)*)```",
    re.MULTILINE,
)
_SHELL: Final = re.compile(r"^```sh\n((?:(?!```)[^\n]*\n)*)```", re.MULTILINE)
_STARTED_WITHIN_S: Final = 30.0


class Example(NamedTuple):
    """A block of shell or Python, the output that its page gives, and where in the page that stands."""

    page: Path
    language: str
    code: str
    output: str
    span: tuple[int, int]


def commands_without_output(page: Path) -> list[str]:
    """Return the blocks of shell of a page under which no output stands."""
    text = page.read_text(encoding="utf-8")
    return [block for block in _SHELL.findall(_BLOCK.sub("", text)) if block]


def examples(page: Path) -> list[Example]:
    """Return the examples of a page in their order."""
    return [
        Example(page, block["language"], block["code"], block["output"], block.span("output"))
        for block in _BLOCK.finditer(page.read_text(encoding="utf-8"))
    ]


@contextlib.contextmanager
def service() -> Iterator[str]:
    """Run a service with the demo book on a free port of this machine, and give its address."""
    port = free_port()
    inherited = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    process = subprocess.Popen(
        [sys.executable, "-I", "-m", "featherline_service"],
        env={**inherited, "FEATHERLINE_PORT": str(port)},
        stderr=subprocess.DEVNULL,
    )
    try:
        deadline = time.monotonic() + _STARTED_WITHIN_S
        while not _answers(port):
            if process.poll() is not None or time.monotonic() > deadline:
                raise RuntimeError("The service did not get ready; run `python -m featherline_service` to see why")
            time.sleep(0.05)
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(_STARTED_WITHIN_S)


def run(example: Example, address: str, by: Sequence[str] = ()) -> str:
    """Return what an example prints when it asks the service at an address, from the root of the clone.

    Args:
        example: The example.
        address: The address of the service.
        by: A command that runs it, such as one that becomes another user; none: it is run as it is.
    """
    commands = Path(sys.executable).parent
    other = str(free_port())
    code = example.code.replace(ADDRESS, address).replace(".venv/bin/", f"{commands}/").replace("8038", other)
    program = [sys.executable, "-c", code] if example.language == "python" else ["bash", "-c", code]
    inherited = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    environment = {**inherited, "FEATHERLINE_URL": address, "PATH": f"{commands}:{os.environ['PATH']}"}
    done = subprocess.run(
        [*by, *program], cwd=ROOT, env=environment, capture_output=True, text=True, check=False, timeout=60
    )
    return (done.stdout + done.stderr).replace(address, ADDRESS).replace(other, "8038")


def _answers(port: int) -> bool:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    with contextlib.suppress(OSError), contextlib.closing(connection):
        connection.request("GET", "/health/ready")
        return connection.getresponse().status == http.HTTPStatus.OK
    return False


def main() -> None:
    """Write into the pages what their examples print."""
    with service() as address:
        for page in PAGES:
            text = page.read_text(encoding="utf-8")
            for example in reversed(examples(page)):
                begin, end = example.span
                text = text[:begin] + run(example, address) + text[end:]
            page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
