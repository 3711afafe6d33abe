"""Fields of a request's head."""

from __future__ import annotations

from litestar.types import Scope


def header(scope: Scope, name: bytes) -> str | None:
    """Return the value of a header field, None where there is none; of a field sent more than once, all values.

    The framework's own mapping of headers takes longer to make than the few fields that matter here take to find.

    Args:
        scope: The request's scope.
        name: The field's name, in lower case.

    References:
        RFC 9110 section 5.3, on fields that come more than once.
    """
    fields = list(scope["headers"])
    last = dict(fields)  # in C, and so for one field as quick as to look for it here
    if name not in last:
        return None
    if len(last) == len(fields):
        return last[name].decode("latin-1")
    return b", ".join(value for each, value in fields if each == name).decode("latin-1")
