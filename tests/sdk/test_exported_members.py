from types import ModuleType

import pytest

import featherline
import featherline.errors
import featherline.testing
import featherline.wire


def public(module: ModuleType) -> list[str]:
    """Return the names in a module that are neither private nor its submodules."""
    return [name for name, value in vars(module).items() if name[0] != "_" and not isinstance(value, ModuleType)]


@pytest.mark.parametrize("module", [featherline, featherline.testing, featherline.wire])
def test_exports_are_what_is_imported_and_sorted(module: ModuleType) -> None:
    """A public name is one that `__all__` lists, in order, and no other."""
    assert sorted(public(module)) == module.__all__


def test_every_error_is_exported() -> None:
    """Every error of the tree can be caught by its name in the package."""
    assert set(featherline.errors.__all__) <= set(featherline.__all__)
