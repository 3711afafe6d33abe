"""What a description takes away from callers of an earlier one.

``python -m featherline_service.web.openapi.compatibility openapi/released.json openapi/openapi.json`` prints every such
change, and ends with 1 if there is any; with one file it prints what is kept of a released description. Growth breaks
nobody: operations, optional fields of requests, fields of answers, and values of texts that say that more may come.

A request may only take more than before, and an answer only be what it could be before. So both are one question, asked
the other way round: is each value of this schema a value of that one? Where this cannot be told, the answer is no.

References:
    JSON Schema 2020-12, Validation; OpenAPI 3.1.1.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import chain
from pathlib import Path
from typing import Any, Final, NamedTuple

Json = dict[str, Any]

_LEAST: Final = ("minimum", "exclusiveMinimum", "minLength", "minItems", "minProperties")
_MOST: Final = ("maximum", "exclusiveMaximum", "maxLength", "maxItems", "maxProperties")
_SAME: Final = ("format", "not", "if", "then", "else", "contentEncoding", "contentMediaType")
_ANOTHER_TYPE: Final = ": the type is another"
_WORDS: Final = frozenset({"description", "summary", "examples", "example", "title"})


class _Side(NamedTuple):
    """A schema, and the description whose components it refers to."""

    schema: Json
    document: Json

    def followed(self) -> _Side:
        """Return what a reference leads to."""
        schema = self.schema
        while "$ref" in schema:
            rest = {key: value for key, value in schema.items() if key != "$ref"}
            schema = {**self.document["components"]["schemas"][schema["$ref"].rpartition("/")[2]], **rest}
        return _Side(schema, self.document)

    def part(self, schema: Json) -> _Side:
        """Return a part of the schema."""
        return _Side(schema, self.document)

    def members(self) -> list[_Side]:
        """Return the alternatives of a union, or the schema alone."""
        followed = self.followed()
        options = followed.schema.get("oneOf", followed.schema.get("anyOf"))
        if options is None:
            return [followed]
        return list(chain.from_iterable(followed.part(option).members() for option in options))


def breaking_changes(released: Json, present: Json) -> Iterator[str]:
    """Yield what breaks callers of the released description, each where it is and in words."""
    schemas = _Schemas(released, present)
    for path, operations in released["paths"].items():
        for method, operation in operations.items():
            where = f"{method.upper()} {path}"
            new = present["paths"].get(path, {}).get(method)
            if new is None:
                yield f"{where}: the operation is gone"
                continue
            for key, word in (("operationId", "the id"), ("security", "the key that it needs")):
                if operation.get(key) != new.get(key):
                    yield f"{where}: {word} is another"
            yield from (f"{where}{words}" for words in _parameters(schemas, operation, new))
            yield from (f"{where} request{words}" for words in _body(schemas, operation, new))
            yield from (f"{where}{words}" for words in _responses(schemas, operation["responses"], new["responses"]))


def without_words(part: Any) -> Any:  # noqa: ANN401 - JSON data
    """Return a description without what is for people, as it is kept for comparison."""
    if isinstance(part, list):
        return [without_words(item) for item in part]
    if not isinstance(part, dict):
        return part
    fields = {name: without_words(schema) for name, schema in part.get("properties", {}).items()}
    kept = {key: without_words(value) for key, value in part.items() if key not in _WORDS and key != "properties"}
    return {**kept, "properties": fields} if "properties" in part else kept


def _parameters(schemas: _Schemas, old: Json, new: Json) -> Iterator[str]:
    before = {(each["in"], each["name"]): each for each in old.get("parameters", ())}
    after = {(each["in"], each["name"]): each for each in new.get("parameters", ())}
    for key in sorted(before.keys() - after.keys()):
        yield f": the parameter {key[1]} is gone"
    for key, parameter in after.items():
        if parameter.get("required") and not before.get(key, {}).get("required"):
            yield f": the parameter {key[1]} is required"
        if key in before:
            changes = schemas.asked(before[key]["schema"], parameter["schema"])
            yield from (f" parameter {key[1]}{words}" for words in changes)


def _body(schemas: _Schemas, old: Json, new: Json) -> Iterator[str]:
    before, after = old.get("requestBody", {"content": {}}), new.get("requestBody", {"content": {}})
    if after.get("required") and not before.get("required"):
        yield ": a body is required"
    yield from _content(schemas.asked, before["content"], after["content"])


def _responses(schemas: _Schemas, old: Json, new: Json) -> Iterator[str]:
    for status, response in old.items():
        if status not in new:
            yield f": the status {status} is gone"
            continue
        for name in response["headers"]:
            if name not in new[status]["headers"]:
                yield f" {status}: the header field {name} is gone"
        changes = _content(schemas.answered, response.get("content", {}), new[status].get("content", {}))
        yield from (f" {status}{words}" for words in changes)
    for status in sorted(new.keys() - old.keys()):
        if status < "400":
            yield f": the status {status} is new"


def _content(compare: Callable[[Json, Json], Sequence[str]], old: Json, new: Json) -> Iterator[str]:
    for media_type, content in old.items():
        if media_type in new:
            yield from compare(content["schema"], new[media_type]["schema"])
        else:
            yield f": the media type {media_type} is gone"


class _Schemas:
    """Compares schemas of two descriptions, those that have a name once."""

    def __init__(self, released: Json, present: Json) -> None:
        self._released = released
        self._present = present
        self._known: dict[tuple[bool, str, str], Sequence[str]] = {}

    def asked(self, old: Json, new: Json) -> Sequence[str]:
        """Return what a request may be no more."""
        return self._narrower(_Side(old, self._released), _Side(new, self._present), asked=True)

    def answered(self, old: Json, new: Json) -> Sequence[str]:
        """Return what an answer may be now, and could not be before."""
        return self._narrower(_Side(new, self._present), _Side(old, self._released), asked=False)

    def _narrower(self, some: _Side, all_: _Side, *, asked: bool) -> Sequence[str]:
        """Return why a value of one schema may be none of the other."""
        if "$ref" not in some.schema or "$ref" not in all_.schema:
            return list(self._beyond(some, all_, asked=asked))
        key = asked, some.schema["$ref"], all_.schema["$ref"]
        if key not in self._known:
            self._known[key] = list(self._beyond(some, all_, asked=asked))
        return self._known[key]

    def _beyond(self, some: _Side, all_: _Side, *, asked: bool) -> Iterator[str]:
        """Yield what is beyond a schema in each member of a union, by the member of the other that is most like it."""
        options = all_.members()
        for member in some.members():
            reasons = [list(self._differences(member, option, asked=asked)) for option in options]
            if all(reasons):
                yield from min(reasons, key=lambda each: (each[0] == _ANOTHER_TYPE, len(each)))

    def _differences(self, some: _Side, all_: _Side, *, asked: bool) -> Iterator[str]:
        """Yield why a value of one schema that is no union may be none of the other."""
        narrow, wide = some.schema, all_.schema
        if narrow.get("type") != wide.get("type") and (narrow.get("type"), wide.get("type")) != ("integer", "number"):
            yield _ANOTHER_TYPE
            return
        if not asked and wide.get("additionalProperties") is False:
            return  # a request within an answer, as somebody asked it
        yield from (f": {words}" for words in _bounds(narrow, wide))
        if asked and narrow.get("x-default") != wide.get("x-default"):
            yield ": the default is another"
        yield from self._fields(some, all_, asked=asked)
        for key in ("items", "additionalProperties", "propertyNames", "contentSchema"):
            part = narrow.get(key)
            if isinstance(wide.get(key), dict):
                if isinstance(part, dict):
                    changes = self._narrower(some.part(part), all_.part(wide[key]), asked=asked)
                    yield from (f"/{key}{words}" for words in changes)
                else:
                    yield f": {key} is bound"

    def _fields(self, some: _Side, all_: _Side, *, asked: bool) -> Iterator[str]:
        """Yield which fields of an object are missing, required or beyond what the other takes."""
        narrow: Mapping[str, Json] = some.schema.get("properties", {})
        wide: Mapping[str, Json] = all_.schema.get("properties", {})
        for name, field in wide.items():
            if name not in narrow:
                if not asked:
                    yield f"/{name}: the field is gone"
                elif name in all_.schema["required"]:
                    yield f"/{name}: the field is required"
                continue
            if name in all_.schema["required"] and name not in some.schema["required"]:
                yield f"/{name}: the field is required" if asked else f"/{name}: the field may be left out"
            changes = self._narrower(some.part(narrow[name]), all_.part(field), asked=asked)
            yield from (f"/{name}{words}" for words in changes)
        if asked and all_.schema.get("additionalProperties") is False:
            for name in sorted(narrow.keys() - wide.keys()):
                yield f"/{name}: the field is taken no more"


def _bounds(narrow: Json, wide: Json) -> Iterator[str]:
    """Yield which limits of one schema the other does not keep."""
    if "enum" in wide:
        for value in narrow.get("enum", ["any"]):
            if value not in wide["enum"]:
                yield f"the value {value!r} is beyond the enumeration"
    checks: Sequence[tuple[Sequence[str], Callable[[Any, Any], bool]]] = (
        (_LEAST, lambda own, bound: own is not None and own >= bound),
        (_MOST, lambda own, bound: own is not None and own <= bound),
        (_SAME, lambda own, bound: own == bound),
        (("pattern",), lambda own, bound: own is not None and _alternatives(own) <= _alternatives(bound)),
    )
    for keys, holds in checks:
        for key in keys:
            if key in wide and not holds(narrow.get(key), wide[key]):
                yield f"{key} is {wide[key]!r} on one side and {narrow.get(key)!r} on the other"


def _alternatives(pattern: str) -> frozenset[str]:
    """Return the alternatives of a pattern ``^(a|b)$`` or ``^a$``, each with its end; another pattern is one itself."""
    anchored = re.fullmatch(r"\^(.*?)(\$.*)", pattern)
    if anchored is None:
        return frozenset({pattern})
    inner, end = anchored.groups()
    whole = _split(inner)
    if whole is None or len(whole) > 1:  # then the anchors belong to the first and the last alternative alone
        return frozenset({pattern})
    bracketed = _split(inner[1:-1]) if inner.startswith("(") and inner.endswith(")") else None
    return frozenset(part + end for part in (whole if bracketed is None else bracketed))


def _split(pattern: str) -> list[str] | None:
    """Return what stands between the bars outside of all brackets; None if a bracket closes that was not opened."""
    parts, depth = [""], 0
    for character in re.findall(r"\\.|\[(?:\\.|[^\]])*\]|.", pattern):
        depth += {"(": 1, ")": -1}.get(character, 0)
        if depth < 0:
            return None
        if character == "|" and depth == 0:
            parts.append("")
        else:
            parts[-1] += character
    return parts


def main(arguments: Sequence[str]) -> int:
    """Compare two descriptions, or write one without words. Returns 0, 1 if callers break, or 2 if called wrongly."""
    match [json.loads(Path(name).read_text(encoding="utf-8")) for name in arguments]:
        case [released, present]:
            changes = list(breaking_changes(released, present))
            sys.stdout.write("".join(f"{change}\n" for change in changes))
            return 1 if changes else 0
        case [present]:
            sys.stdout.write(json.dumps(without_words(present), separators=(",", ":")) + "\n")
            return 0
        case _:
            sys.stderr.write(__doc__ or "")
            return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
