"""JSON between versions: requests that an older service reads, and answers of a newer one.

A request is sent without the fields that have their default values, so that one which an older service does not know
is sent only where it is used. An answer is decoded strictly; where that fails, it is read again as that of a newer
service: fields that are not known are passed over, a text that is none of a set of texts is kept as it is, and an
object of a kind that is not known is its JSON data.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from functools import lru_cache
from typing import Any, Final, NamedTuple, TypeVar

import msgspec
from msgspec import Raw, Struct, inspect

from featherline.wire.seals import PublishedKey, PublishedKeys

Answer = TypeVar("Answer")

_encode: Final = msgspec.json.Encoder().encode


class _UnreadableError(ValueError):
    """The data are not of the type, also of a newer version."""


class _Field(NamedTuple):
    """A field of a type, and its default value."""

    name: str
    encoded: str
    required: bool
    default: object


class _KeySet(Struct, frozen=True):
    """A key set, its keys not decoded."""

    keys: tuple[Raw, ...]


def encode(request: Struct | Raw) -> bytes:
    """Return a request as JSON."""
    return bytes(request) if isinstance(request, Raw) else _encode(without_defaults(request))


def without_defaults(value: Any) -> Any:  # noqa: ANN401 - data of the wire
    """Return a value as JSON data, without fields that have their default values."""
    match value:
        case Struct():
            config = value.__struct_config__
            content: dict[str, Any] = {} if config.tag is None else {str(config.tag_field): config.tag}
            for field in _fields(type(value)):
                inner = getattr(value, field.name)
                if field.required or inner != field.default:
                    content[field.encoded] = without_defaults(inner)
            return content
        case tuple():
            return [without_defaults(item) for item in value]
        case dict():
            return {name: without_defaults(item) for name, item in value.items()}
        case str() | None | bool() | int() | float():
            return value
        case _:
            return msgspec.to_builtins(value)


def decode(content: bytes | Raw, type_: type[Answer]) -> Answer:
    """Return an answer.

    Raises:
        msgspec.DecodeError: It is no JSON, or not of the type, also of a newer version.
        UnicodeDecodeError: Its text is not UTF-8.
    """
    try:
        return msgspec.json.decode(content, type=type_)
    except msgspec.ValidationError as error:
        try:
            answer: Answer = _read(msgspec.json.decode(content), inspect.type_info(type_))
        except (ValueError, RecursionError):
            raise error from None
        return answer


def decode_keys(content: bytes) -> PublishedKeys:
    """Return the keys of a key set that are of a kind that checks seals; others are ignored.

    References:
        RFC 7517 section 5.
    """
    return PublishedKeys(keys=tuple(_known(msgspec.json.decode(content, type=_KeySet).keys)))


def _known(keys: tuple[Raw, ...]) -> Iterator[PublishedKey]:
    for key in keys:
        try:
            yield msgspec.json.decode(key, type=PublishedKey)
        except msgspec.ValidationError:
            continue


@lru_cache(maxsize=512)
def _fields(type_: type[Struct]) -> tuple[_Field, ...]:
    return tuple(
        _Field(field.name, field.encode_name, field.required, None if field.required else _default(field))
        for field in msgspec.structs.fields(type_)
    )


def _default(field: msgspec.structs.FieldInfo) -> object:
    return field.default if field.default is not msgspec.NODEFAULT else field.default_factory()


def _read(data: Any, type_: inspect.Type) -> Any:  # noqa: ANN401 - of the type
    """Return JSON data as a value of a type, or of what a newer version may have made of it."""
    return _READERS[type(type_)](data, type_)


def _object(data: Any, type_: inspect.StructType) -> Any:  # noqa: ANN401 - of the type
    _check(isinstance(data, dict) and (type_.tag_field is None or data.get(type_.tag_field) == type_.tag))
    there = [field for field in type_.fields if field.encode_name in data]
    _check(all(field in there for field in type_.fields if field.required))
    return type_.cls(**{field.name: _read(data[field.encode_name], field.type) for field in there})


def _member(data: Any, type_: inspect.UnionType) -> Any:  # noqa: ANN401 - of one of the types
    tags = {each.tag: each for each in type_.types if isinstance(each, inspect.StructType) and each.tag is not None}
    if tags and isinstance(data, dict):
        (name,) = {each.tag_field for each in tags.values()}
        known = tags.get(data.get(str(name), ""))
        return data if known is None else _read(data, known)
    for each in type_.types:
        try:
            return _read(data, each)
        except _UnreadableError:
            continue
    raise _UnreadableError


def _list(data: Any, type_: inspect.VarTupleType) -> tuple[Any, ...]:  # noqa: ANN401 - JSON data
    _check(isinstance(data, list))
    return tuple(_read(each, type_.item_type) for each in data)


def _tuple(data: Any, type_: inspect.TupleType) -> tuple[Any, ...]:  # noqa: ANN401 - JSON data
    _check(isinstance(data, list) and len(data) == len(type_.item_types))
    return tuple(map(_read, data, type_.item_types))


def _text_of_a_set(data: Any, type_: inspect.LiteralType) -> Any:  # noqa: ANN401 - a text, or a number
    _check(type(data) in {type(known) for known in type_.values})
    return data


def _instant(data: Any, _type: inspect.DateTimeType) -> datetime:  # noqa: ANN401 - a text
    try:
        return msgspec.convert(data, datetime)
    except msgspec.ValidationError:
        raise _UnreadableError from None


def _check(holds: bool) -> None:
    if not holds:
        raise _UnreadableError


def _scalar(*types: type) -> Callable[[Any, inspect.Type], Any]:
    def read(data: Any, _type: inspect.Type) -> Any:  # noqa: ANN401 - of one of the types
        _check(type(data) in types)
        return data if data is None else types[0](data)

    return read


_READERS: Final[Mapping[type[inspect.Type], Callable[[Any, Any], Any]]] = {
    inspect.Metadata: lambda data, type_: _read(data, type_.type),
    inspect.StructType: _object,
    inspect.UnionType: _member,
    inspect.VarTupleType: _list,
    inspect.TupleType: _tuple,
    inspect.LiteralType: _text_of_a_set,
    inspect.StrType: _scalar(str),
    inspect.IntType: _scalar(int),
    inspect.FloatType: _scalar(float, int),
    inspect.BoolType: _scalar(bool),
    inspect.NoneType: _scalar(type(None)),
    inspect.DateTimeType: _instant,
}
