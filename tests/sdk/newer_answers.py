"""Answers as a newer service may give them: with fields, and texts of sets, that nobody knows yet."""

from __future__ import annotations

from typing import Any, Final

from msgspec import inspect

UNHEARD: Final = "unheard-of"


def grown(data: Any) -> Any:  # noqa: ANN401 - JSON
    """Return an answer with a field that nobody knows in every object."""
    match data:
        case dict():
            return {**{name: grown(value) for name, value in data.items()}, "since_next_year": {"kind": UNHEARD}}
        case list():
            return [grown(item) for item in data]
        case _:
            return data


def unheard(data: Any, type_: inspect.Type) -> Any:  # noqa: ANN401 - JSON
    """Return an answer with a text that nobody knows wherever one of a set stands, but for tags."""
    match type_, data:
        case inspect.Metadata(type=inner), _:
            return unheard(data, inner)
        case inspect.LiteralType(values=[str(), *_]), str():
            return UNHEARD
        case inspect.StructType(), dict():
            types = {field.encode_name: field.type for field in type_.fields}
            return {name: unheard(value, types[name]) if name in types else value for name, value in data.items()}
        case inspect.VarTupleType(item_type=item), list():
            return [unheard(each, item) for each in data]
        case inspect.UnionType(types=types), _:
            kind = data.get("kind") if isinstance(data, dict) else None
            fit = [each for each in types if isinstance(each, inspect.StructType) and each.tag == kind]
            others = [each for each in types if not isinstance(each, inspect.NoneType)]
            return None if data is None else unheard(data, (fit or others)[0])
        case _:
            return data
