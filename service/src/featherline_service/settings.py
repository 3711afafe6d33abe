"""What the service is told by its environment, read once by whoever starts it."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Final, Literal

import msgspec
from msgspec import Meta, Struct

PREFIX: Final = "FEATHERLINE_"
_OF_CLIENTS: Final = frozenset({"url", "api_key"})  # the SDK's, which share the prefix


class SettingsError(ValueError):
    """A variable of the environment cannot be used; the message names it and says what it takes."""


class Settings(Struct, frozen=True, kw_only=True):
    """Settings of one service process.

    `book` holds folders that replace or overlay the demo book, in order. `max_body` is in bytes.
    """

    book: tuple[Path, ...] = ()
    host: Annotated[str, Meta(min_length=1)] = "127.0.0.1"
    port: Annotated[int, Meta(ge=0, le=65_535, description="A port; 0 lets the system choose.")] = 8037
    log_level: Literal["debug", "info", "warning", "error"] = "info"
    max_body: Annotated[int, Meta(ge=1_024, le=64 * 1_048_576, description="Bytes of a request's body.")] = 1_048_576


def read(environment: Mapping[str, str]) -> Settings:
    """Return the settings that an environment gives; what it does not name keeps its default.

    Raises:
        SettingsError: A variable's value cannot be used, or one with our prefix is nobody's.
    """
    given = {name.removeprefix(PREFIX).lower(): value for name, value in environment.items() if name.startswith(PREFIX)}
    unknown = sorted(set(given) - set(Settings.__struct_fields__) - _OF_CLIENTS)
    if unknown:
        known = ", ".join(PREFIX + field.upper() for field in Settings.__struct_fields__)
        raise SettingsError(f"{PREFIX}{unknown[0].upper()} is not a setting of the service; it has: {known}")
    values: dict[str, object] = {}
    for field in msgspec.structs.fields(Settings):
        if field.name not in given:
            continue
        text = given[field.name].strip()
        try:
            values[field.name] = (
                tuple(_folder(part) for part in text.split(os.pathsep) if part)
                if field.name == "book"
                else msgspec.convert(text.lower() if field.name == "log_level" else text, field.type, strict=False)
            )
        except (msgspec.ValidationError, SettingsError) as error:
            raise SettingsError(f"{PREFIX}{field.name.upper()} is {text!r}: {error}") from error
    return msgspec.convert(values, Settings)


def _folder(text: str) -> Path:
    path = Path(text).expanduser()
    if not path.is_dir():
        raise SettingsError(f"there is no folder {text!r}; give folders divided by {os.pathsep!r}")
    return path.resolve()
