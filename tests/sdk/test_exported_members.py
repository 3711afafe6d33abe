import pytest

import featherline
import featherline.errors
import featherline.wire


def public(module: object) -> list[str]:
    return [name for name, value in vars(module).items() if not name.startswith("_") and not is_module(value)]


def is_module(value: object) -> bool:
    return type(value).__name__ == "module"


@pytest.mark.parametrize("module", [featherline, featherline.wire])
def test_exports_are_what_is_imported_and_sorted(module: object) -> None:
    """A public name is one that `__all__` lists, in order, and no other."""
    assert sorted(public(module)) == module.__all__


def test_every_error_is_exported() -> None:
    """Every error of the tree can be caught by its name in the package."""
    assert set(featherline.errors.__all__) <= set(featherline.__all__)
