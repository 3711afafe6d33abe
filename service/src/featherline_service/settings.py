"""Settings of the service, read from the environment at its start."""

from __future__ import annotations

import ipaddress
import os
import re
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Final, Literal, get_type_hints

import msgspec
from msgspec import Meta, Struct

PREFIX: Final = "FEATHERLINE_"
DEMO: Final = "demo"
"""Stands for the demo book in place of folders; a folder of that name is `./demo`."""
_ORIGIN: Final = re.compile(
    r"(?:http://(?!.*:80$)|https://(?!.*:443$))(?:[a-z0-9.-]+|\[[0-9a-f:.]+\])(?::[1-9][0-9]{0,4})?"
)
_OF_CLIENTS: Final = frozenset({"url", "api_key"})  # the SDK's, which share the prefix

_Contact = Annotated[str, Meta(pattern=r"^(mailto:[!-~]+@[!-~]+|https://[!-~]+|tel:[+0-9][-0-9]+)$(?!\n)")]
_Processes = Annotated[int, Meta(ge=1, le=64)]
_Instant = Annotated[datetime, Meta(tz=True)]


class SettingsError(ValueError):
    """A variable of the environment cannot be used; the message names it and says what it takes."""


class Settings(Struct, frozen=True, kw_only=True):
    """Settings of one service process.

    `book` holds folders that replace or overlay the demo book, in order. `processes` compute, None for as many as there
    are processors and memory for. `max_body` is in bytes, and so is `cache`: a quarter of it for cached answers, the
    rest in each process for what they are computed from. A question that takes more than `deadline` seconds of
    processor time is given up. For
    `drain` seconds after it was told to stop, the service still answers, but reports that it is not ready. `keys` is
    the file of callers' keys; without it no key is needed, and the service listens on this machine alone. Browsers let
    pages of `cors_origins` read the answers. `seal_keys` is the file of private keys that seal prices, the same for all
    replicas; without it a key is made that ends with the run. Seals are valid for `seal_days`. Addresses that
    `trusted_proxies` forward are believed. `security_contact` is the contact for reports of weaknesses (RFC 9116),
    until `security_expires`: both, or neither. `plugins` are the distributions whose plug-ins are used: an installed
    one that is not named changes no answer. `counter` is whether the counter's page is served.
    """

    book: tuple[Path, ...] = ()
    host: Annotated[str, Meta(min_length=1, description="an address of this machine, such as 127.0.0.1")] = "127.0.0.1"
    port: Annotated[int, Meta(ge=0, le=65_535, description="a port from 1 to 65535, or 0 for any that is free")] = 8037
    processes: Annotated[_Processes | None, Meta(description="a number of processes, from 1 to 64")] = None
    log_level: Annotated[
        Literal["debug", "info", "warning", "error"], Meta(description="debug, info, warning or error")
    ] = "info"
    max_body: Annotated[int, Meta(ge=1_024, le=67_108_864, description="bytes, from 1024 to 67108864")] = 1_048_576
    cache: Annotated[int, Meta(ge=0, le=1_073_741_824, description="bytes, from 0 to 1073741824")] = 33_554_432
    deadline: Annotated[float, Meta(ge=0.1, le=60, description="seconds, from 0.1 to 60")] = 5
    drain: Annotated[float, Meta(ge=0, le=600, description="seconds, from 0 to 600")] = 0
    keys: Path | None = None
    trusted_proxies: tuple[str, ...] = ()
    cors_origins: tuple[str, ...] = ()
    seal_keys: Path | None = None
    plugins: tuple[str, ...] = ()
    counter: Annotated[Literal["on", "off"], Meta(description="on or off")] = "on"
    seal_days: Annotated[int, Meta(ge=1, le=366, description="days, from 1 to 366")] = 30
    security_contact: Annotated[
        _Contact | None, Meta(description="a URI that begins with mailto:, https:// or tel:")
    ] = None
    security_expires: Annotated[
        _Instant | None, Meta(description="an instant with its offset, such as 2027-06-30T12:00:00Z")
    ] = None


def read(environment: Mapping[str, str]) -> Settings:
    """Return the settings in an environment; those that it does not name have their defaults.

    Raises:
        SettingsError: A value cannot be used, or not alone, or a variable with our prefix is unknown.
    """
    texts = {name.removeprefix(PREFIX).lower(): value for name, value in environment.items() if name.startswith(PREFIX)}
    unknown = sorted(set(texts) - set(Settings.__struct_fields__) - _OF_CLIENTS)
    if unknown:
        known = ", ".join(PREFIX + field.upper() for field in Settings.__struct_fields__)
        raise SettingsError(f"{PREFIX}{unknown[0].upper()} is not a setting of the service; it has: {known}")
    settings = Settings(**{name: _value(name, text.strip()) for name, text in texts.items() if name not in _OF_CLIENTS})
    if (settings.security_contact is None) != (settings.security_expires is None):
        raise SettingsError(f"{PREFIX}SECURITY_CONTACT and {PREFIX}SECURITY_EXPIRES go together; set both, or neither")
    return settings


def _value(name: str, text: str) -> Any:  # noqa: ANN401 - as the field has it
    try:
        if name == "book":
            return () if text == DEMO else tuple(_folder(part) for part in text.split(os.pathsep) if part)
        if name == "plugins":
            return tuple(part.strip() for part in text.split(",") if part.strip())
        if name == "cors_origins":
            return tuple(_origin(part.strip()) for part in text.split(",") if part.strip())
        if name == "trusted_proxies":
            return tuple(_network(part.strip()) for part in text.split(",") if part.strip())
        if name in {"keys", "seal_keys"}:
            return Path(text).expanduser().resolve()
        return msgspec.convert(text.lower() if name in {"log_level", "counter"} else text, _TYPES[name], strict=False)
    except msgspec.ValidationError:
        (meta,) = _TYPES[name].__metadata__
        raise SettingsError(f"{PREFIX}{name.upper()} is {text!r}; give {meta.description}") from None


def _folder(text: str) -> Path:
    path = Path(text).expanduser()
    if not path.is_dir():
        raise SettingsError(
            f"{PREFIX}BOOK names {text!r}, which is no folder; give folders divided by {os.pathsep!r}, or {DEMO!r}"
        )
    return path.resolve()


def _network(text: str) -> str:
    try:
        return str(ipaddress.ip_network(text))
    except ValueError:
        raise SettingsError(
            f"{PREFIX}TRUSTED_PROXIES has {text!r}; give addresses or networks, such as 10.0.0.0/24, divided by commas"
        ) from None


def _origin(text: str) -> str:
    """Return an origin as browsers send it (RFC 6454 section 6.2): scheme, host, and a port that is not the usual."""
    if not _ORIGIN.fullmatch(text):
        raise SettingsError(
            f"{PREFIX}CORS_ORIGINS has {text!r}; give origins as browsers send them, such as https://shop.example or "
            "http://127.0.0.1:3000, divided by commas"
        )
    return text


_TYPES: Final = get_type_hints(Settings, include_extras=True)
