"""Fields of a request's head."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from litestar.types import Scope

_FIELDS: Final = "featherline.fields"


def header(scope: Scope, name: bytes) -> str | None:
    """Return the value of a header field, None where there is none; of a field sent more than once, all values.

    The framework's own mapping of headers takes longer to make than the few fields that matter here take to find.

    Args:
        scope: The request's scope. It keeps the fields for the next to be asked for.
        name: The field's name, in lower case.

    References:
        RFC 9110 section 5.3, on fields that come more than once.
    """
    fields: Mapping[bytes, bytes] | None = scope.get(_FIELDS)  # type: ignore[assignment]  # set here
    if fields is None:
        fields = _read(list(scope["headers"]))
        scope[_FIELDS] = fields  # type: ignore[typeddict-unknown-key]  # for whoever asks next
    value = fields.get(name)
    return None if value is None else value.decode("latin-1")


def _read(fields: list[tuple[bytes, bytes]]) -> Mapping[bytes, bytes]:
    read = dict(fields)
    if len(read) < len(fields):
        read = {name: b", ".join(value for each, value in fields if each == name) for name in read}
    return read
