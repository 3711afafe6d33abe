"""The Markdown pages: their examples print what they say, their links lead somewhere, README.md stays short."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import pytest
from readme_examples import OUTPUT, PAGES, ROOT, Example, commands_without_output, examples, run, service

EXAMPLES: Final = [example for page in PAGES for example in examples(page)]
README_BYTES: Final = 10_000
GUIDES: Final = [
    page for page in PAGES if page.relative_to(ROOT).parts in {
        ("deploy", "README.md"), ("deploy", "data.md"), ("service", "README.md"), ("service", "book.md"),
    }
]  # fmt: skip
"""What whoever runs the service reads, and types as root or as the service's user."""
NOT_RUN: Final = {"docker", "kubectl", "systemctl"}
"""Programs of which the tests would need a whole machine or cluster."""
SERVICE_USER: Final = 10_001  # as in deploy/Dockerfile
READING: Final = ("--inh-caps=+dac_read_search", "--ambient-caps=+dac_read_search")
"""For a Python, or a clone, in a folder of root's: to read everything, and to write nothing more."""


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """Return the address of a service that runs as long as the tests here."""
    with service() as address:
        yield address


@pytest.fixture(scope="module")
def service_user() -> Sequence[str]:
    """Return a command that runs another as a user without rights, where this one is root; elsewhere none."""
    if sys.platform != "linux" or os.geteuid() != 0:
        return ()
    if shutil.which("setpriv") is None:
        pytest.skip("setpriv is not installed (Debian, Ubuntu: sudo apt install util-linux)")
    dropping = ("setpriv", f"--reuid={SERVICE_USER}", f"--regid={SERVICE_USER}", "--clear-groups")
    for command in (dropping, (*dropping, *READING)):
        # As the examples do it, from a shell: setpriv itself begins a program with rights that it then lacks.
        program = [*command, "bash", "-c", '"$0" -c "import featherline_service" && true', sys.executable]
        if subprocess.run(program, cwd=ROOT, capture_output=True, check=False).returncode == 0:
            return command
    pytest.skip("only root can read this Python, so that no other user can run the examples")


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: f"{example.page.relative_to(ROOT)}")
def test_an_example_prints_what_its_page_says(address: str, example: Example, request: pytest.FixtureRequest) -> None:
    """Run from a clone, an example prints the output under it; to write the new one, run readme_examples.py.

    Those of the guides are run by a user who owns nothing here, as the service is: root may do all that this one may.
    """
    if "curl" in example.code and shutil.which("curl") is None:
        pytest.skip("curl is not installed (Debian, Ubuntu: sudo apt install curl)")
    user = request.getfixturevalue("service_user") if example.page in GUIDES else ()
    assert example.output == run(example, address, user)


@pytest.mark.parametrize("page", GUIDES, ids=lambda page: str(page.relative_to(ROOT)))
def test_only_what_needs_a_machine_of_its_own_is_not_run(page: Path) -> None:
    """A block of commands in the guides without output runs containers, a cluster or systemd."""
    assert [] == [block for block in commands_without_output(page) if NOT_RUN.isdisjoint(re.findall(r"\w+", block))]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_no_example_is_missed(page: Path) -> None:
    """Every block of output on a page stands under a command or program that the test above runs."""
    assert page.read_text(encoding="utf-8").count(OUTPUT) == len(examples(page))


def test_the_readme_has_examples_of_every_way_to_ask() -> None:
    """Its examples ask with curl, with the SDK and with the command; one is refused."""
    code = [example.code for example in EXAMPLES if example.page.name == "README.md" and example.page.parent == ROOT]
    assert [True] * 3 == [any(way in each for each in code) for way in ("curl ", "import Client", "featherline quote")]
    assert any(example.output.startswith("422 ") for example in EXAMPLES)


def test_the_readme_is_short() -> None:
    """README.md has at most 10 kB: everything else stands where its reader is."""
    assert len((ROOT / "README.md").read_bytes()) <= README_BYTES


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_to_files(page: Path) -> None:
    """Every relative link of a page names a file or folder of the clone."""
    targets = re.findall(r"\]\((?!https?:|#)([^)#\s]+)[^)]*\)", page.read_text(encoding="utf-8"))
    assert [] == [target for target in targets if not (page.parent / target).exists()]


def test_the_plugin_of_the_pages_keeps_the_laws() -> None:
    """The check that the pages show is one, and the tests beside it pass."""
    blocks = re.findall(r"```python\n(.*?)```", (ROOT / "sdk" / "README.md").read_text("utf-8"), re.DOTALL)
    (code,) = (block for block in blocks if "class ClubColours:" in block)
    names: dict[str, Any] = {}
    exec(compile(code, "README.md", "exec"), names)  # noqa: S102 - our own page
    tests = names["TestClubColours"]()
    laws = [name for name in dir(tests) if name.startswith("test_")]
    assert len(laws) >= 3
    for law in laws:
        getattr(tests, law)()
