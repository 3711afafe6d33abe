import importlib
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest


@pytest.fixture(scope="module")
def readme() -> Iterator[ModuleType]:
    """Return readme_examples.py as a module."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(Path(__file__).parent)
        yield importlib.import_module("readme_examples")


@pytest.fixture(scope="module")
def address(readme: ModuleType) -> Iterator[str]:
    """Return the address of a service that runs as long as the tests here."""
    with readme.service() as address:
        yield address


@pytest.mark.parametrize("index", range(5))
def test_an_example_prints_what_the_readme_says(readme: ModuleType, address: str, index: int) -> None:
    """Run from a clone, an example prints the output under it; to write the new one, run readme_examples.py."""
    example = readme.examples()[index]
    if "curl" in example.code and shutil.which("curl") is None:
        pytest.skip("curl is not installed (Debian: apt install curl)")
    assert example.output == readme.run(example, address)


def test_no_example_is_missed(readme: ModuleType) -> None:
    """The README has as many blocks of output as the test above runs."""
    assert readme.README.read_text().count("```text\n") == len(readme.examples()) == 5


def test_the_plugin_of_the_readme_keeps_the_laws(readme: ModuleType) -> None:
    """The check in the README is one, and the tests beside it pass."""
    blocks = re.findall(r"```python\n(.*?)```", readme.README.read_text(), re.DOTALL)
    (code,) = (block for block in blocks if "class ClubColours:" in block)
    names: dict[str, Any] = {}
    exec(compile(code, "README.md", "exec"), names)  # noqa: S102 - our own page
    tests = names["TestClubColours"]()
    laws = [name for name in dir(tests) if name.startswith("test_")]
    assert len(laws) >= 3
    for law in laws:
        getattr(tests, law)()
