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
    """Return the public names of a module, without its submodules."""
    return [name for name, value in vars(module).items() if name[0] != "_" and not isinstance(value, ModuleType)]


@pytest.mark.parametrize("module", [featherline, featherline.testing, featherline.wire])
def test_exports_are_what_is_imported_and_sorted(module: ModuleType) -> None:
    """`__all__` lists exactly the public names, in order."""
    assert sorted(public(module)) == module.__all__


def test_every_record_of_the_wire_is_exported() -> None:
    """Callers can import every part of a request or an answer from `featherline.wire`."""
    names = [module.name for module in pkgutil.iter_modules(wire.__path__)]
    modules = [importlib.import_module(f"featherline.wire.{name}") for name in names]
    records = {
        name
        for module in modules
        for name, value in vars(module).items()
        if isinstance(value, StructMeta) and value.__module__ == module.__name__ and name[0] != "_"
    }

    assert len(records) > 100
    assert records - set(wire.__all__) == set()


def test_every_error_is_exported() -> None:
    """Callers can import every error from `featherline`."""
    assert set(featherline.errors.__all__) <= set(featherline.__all__)
