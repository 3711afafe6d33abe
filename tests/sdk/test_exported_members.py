import importlib
import pkgutil
from types import ModuleType

import pytest
from msgspec import StructMeta

import featherline
import featherline.errors
import featherline.testing
import featherline.wire
from featherline import wire


def public(module: ModuleType) -> list[str]:
    """Return the names in a module that are neither private nor its submodules."""
    return [name for name, value in vars(module).items() if name[0] != "_" and not isinstance(value, ModuleType)]


@pytest.mark.parametrize("module", [featherline, featherline.testing, featherline.wire])
def test_exports_are_what_is_imported_and_sorted(module: ModuleType) -> None:
    """A public name is one that `__all__` lists, in order, and no other."""
    assert sorted(public(module)) == module.__all__


def test_every_record_of_the_wire_is_exported() -> None:
    """Whatever a request may hold or an answer has can be named by whoever asks."""
    modules = [importlib.import_module(f"featherline.wire.{each.name}") for each in pkgutil.iter_modules(wire.__path__)]
    records = {
        name
        for module in modules
        for name, value in vars(module).items()
        if isinstance(value, StructMeta) and value.__module__ == module.__name__ and name[0] != "_"
    }

    assert len(records) > 100
    assert records - set(wire.__all__) == set()


def test_every_error_is_exported() -> None:
    """Every error of the tree can be caught by its name in the package."""
    assert set(featherline.errors.__all__) <= set(featherline.__all__)
