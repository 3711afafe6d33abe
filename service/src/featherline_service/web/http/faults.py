"""Every fault in JSON data that is not of a type, each with its JSON Pointer and what to write instead.

msgspec decodes fast and refuses strictly, but it stops at the first fault and names a regular expression. After its
refusal the same types are walked here once more, to report every fault in words.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from typing import Any, Final

import msgspec
from msgspec import inspect

from featherline.wire.problems import Fault
from featherline.wire.texts import TYPED
from featherline_service.messages.told import told
from featherline_service.messages.values import said
from featherline_service.questions.checks import said_fault, told_fault
from featherline_service.web.http.wording import LONGEST_ECHO, describe_type, describe_value

_Data = Any  # JSON data: None, bool, int, float, str, list or dict of the same

_JSON_KINDS: Final[Mapping[type[inspect.Type], type | tuple[type, ...]]] = {
    inspect.StructType: dict,
    inspect.DictType: dict,
    inspect.VarTupleType: list,
    inspect.StrType: str,
    inspect.LiteralType: str,
    inspect.BoolType: bool,
    inspect.IntType: int,
    inspect.FloatType: (int, float),
    inspect.NoneType: type(None),
}


def find_faults(expected: inspect.Type, data: _Data, pointer: str = "") -> Iterator[Fault]:
    """Yield each fault in JSON data that should be of a type, in the order of the type's fields."""
    bare = _bare(expected)
    if isinstance(bare, inspect.UnionType):
        yield from _in_union(expected, bare, data, pointer)
        return
    if not (_is_kind(bare, data) and _is_allowed(bare, data)):
        yield _mistyped(expected, data, pointer) or _wrong(pointer, describe_type(expected), data)
    elif isinstance(bare, inspect.StructType):
        yield from _in_struct(bare, data, pointer)
    elif isinstance(bare, inspect.DictType):
        yield from _in_mapping(bare, data, pointer)
    if isinstance(bare, inspect.VarTupleType) and isinstance(data, list):
        for index, item in enumerate(data):
            yield from find_faults(bare.item_type, item, f"{pointer}/{index}")


def _wrong(pointer: str, expected: str, data: _Data) -> Fault:
    return told_fault(
        pointer, told("wrong-value", "Expected {expected}; got {got}", expected=expected, got=describe_value(data))
    )


def _mistyped(expected: inspect.Type, data: _Data, pointer: str) -> Fault | None:
    """Return the fault of what a customer may have typed; None where only a program writes such data."""
    if not isinstance(expected, inspect.Metadata):
        return None
    match (expected.extra or {}).get(TYPED), expected.type, data:
        case "text", inspect.StrType(max_length=int(most)), str():
            if not data:
                return said_fault(pointer, said("fault.text.empty"))
            return said_fault(pointer, said("fault.text.too-long", characters=len(data), most=most))
        case "height", _, str():
            return said_fault(pointer, said("fault.height.unusable", given=data[:LONGEST_ECHO]))
        case "pairs", inspect.IntType(ge=int(least), le=int(most)), int() | float() if not isinstance(data, bool):
            return said_fault(pointer, said("fault.pairs.out-of-bounds", least=least, most=most))
        case _:
            return None


def _missing(pointer: str, expected: str) -> Fault:
    return told_fault(pointer, told("missing", "Missing: give {expected}", expected=expected))


def _bare(expected: inspect.Type) -> inspect.Type:
    return expected.type if isinstance(expected, inspect.Metadata) else expected


def _in_union(expected: inspect.Type, union: inspect.UnionType, data: _Data, pointer: str) -> Iterator[Fault]:
    members = [member for member in union.types if _is_kind(_bare(member), data)]
    structs = [member for member in members if isinstance(member, inspect.StructType)]
    if len(structs) > 1:
        yield from _in_tagged_union(structs, data, pointer)
    elif members:
        yield from find_faults(members[0], data, pointer)
    else:
        yield _wrong(pointer, describe_type(expected), data)


def _in_tagged_union(structs: Sequence[inspect.StructType], data: _Data, pointer: str) -> Iterator[Fault]:
    field = str(structs[0].tag_field)
    by_tag = {struct.tag: struct for struct in structs}
    tags = " or ".join(repr(tag) for tag in by_tag)
    if field not in data:
        yield _missing(_below(pointer, field), tags)
    elif not isinstance(data[field], str) or data[field] not in by_tag:
        yield _wrong(_below(pointer, field), tags, data[field])
    else:
        yield from _in_struct(by_tag[data[field]], data, pointer)


def _in_struct(struct: inspect.StructType, data: _Data, pointer: str) -> Iterator[Fault]:
    faulty = False
    for fault in _in_fields(struct, data, pointer):  # whoever asks may stop before the last of very many
        faulty = True
        yield fault
    if not faulty and hasattr(struct.cls, "__post_init__"):
        # The fields are valid one by one; their rules together are in the type's constructor.
        try:
            msgspec.convert(data, struct.cls)
        except msgspec.ValidationError as error:
            yield told_fault(pointer, told("wrong-value", "{rule}", rule=str(error)))


def _in_fields(struct: inspect.StructType, data: _Data, pointer: str) -> Iterator[Fault]:
    names = {field.encode_name for field in struct.fields}
    if struct.tag_field is not None:
        names.add(struct.tag_field)
        tag = data.get(struct.tag_field, struct.tag)
        if tag != struct.tag:
            yield _wrong(_below(pointer, struct.tag_field), repr(struct.tag), tag)
    for field in struct.fields:
        where = _below(pointer, field.encode_name)
        if field.encode_name in data:
            yield from find_faults(field.type, data[field.encode_name], where)
        elif field.required:
            yield _missing(where, describe_type(field.type))
    if struct.forbid_unknown_fields:
        fields = tuple(sorted(names))
        for name in data:
            if name not in names:
                unknown = told("unknown-field", "Unknown field; the fields here are: {fields}", fields=fields)
                yield told_fault(_below(pointer, name), unknown)


def _in_mapping(mapping: inspect.DictType, data: _Data, pointer: str) -> Iterator[Fault]:
    """Yield the faults of an object whose names the caller chose."""
    for name, value in data.items():
        where = _below(pointer, name)
        if any(find_faults(mapping.key_type, name)):
            yield told_fault(
                where, told("wrong-name", "The name is not {expected}", expected=describe_type(mapping.key_type))
            )
        else:
            yield from find_faults(mapping.value_type, value, where)


def _below(pointer: str, name: str) -> str:
    """Return the pointer to a member of the object at a pointer (RFC 6901 section 3)."""
    return f"{pointer}/{name.replace('~', '~0').replace('/', '~1')}"


def _is_kind(expected: inspect.Type, data: _Data) -> bool:
    """Whether data is of a type's JSON kind, whatever its value. An integral number is an integer, however written."""
    kinds = _JSON_KINDS[type(expected)]
    if kinds is int and isinstance(data, float):
        return data.is_integer()
    return isinstance(data, kinds) and (kinds is bool or not isinstance(data, bool))


def _is_allowed(expected: inspect.Type, data: _Data) -> bool:
    """Whether data of a type's JSON kind has a value that the type allows."""
    match expected:
        case inspect.StrType():
            matches = expected.pattern is None or _compiled(expected.pattern).search(data) is not None
            return matches and _within(len(data), expected.min_length, expected.max_length)
        case inspect.VarTupleType() | inspect.DictType():
            return _within(len(data), expected.min_length, expected.max_length)
        case inspect.LiteralType():
            return data in expected.values
        case inspect.IntType() | inspect.FloatType():
            return (expected.gt is None or data > expected.gt) and (
                (expected.lt is None or data < expected.lt) and _within(data, expected.ge, expected.le)
            )
        case _:
            return True


_compiled: Final[Callable[[str], re.Pattern[str]]] = cache(re.compile)


def _within(value: float, least: float | None, most: float | None) -> bool:
    return (least is None or value >= least) and (most is None or value <= most)
