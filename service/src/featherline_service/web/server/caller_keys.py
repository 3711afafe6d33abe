"""Callers' keys: the file that lists them by their digests.

A key is 256 random bits. There is nothing to guess, so its plain SHA-256 is enough: a slow or salted digest protects
passwords, which people choose.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Annotated, Final, get_args

import msgspec
import structlog
from msgspec import Meta, Struct

from featherline.wire.texts import Identifier
from featherline_service.web.http.callers import Caller, Permission

_PREFIX: Final = "fl_"  # so that people and scanners recognise a leaked key
_KEY_BYTES: Final = 32
_LIFE: Final = timedelta(days=365)
_LOOK_S: Final = 1.0
_now: Final = partial(datetime.now, UTC)

_log: Final = structlog.stdlib.get_logger()


class KeyFileError(ValueError):
    """The file of keys cannot be used; the message says why, and contains nothing secret."""


class _Entry(Caller, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A key as the file has it; turned into a caller at once, so that no digest is logged by mistake."""

    digest: Annotated[str, Meta(pattern=r"^sha256:[0-9a-f]{64}$(?!\n)")]


class _File(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    # A file without keys is one that is being written, or a mistake: nobody could ask anything.
    keys: Annotated[tuple[_Entry, ...], Meta(min_length=1, max_length=256)]


class Keys:
    """The keys of a file, read again within a second of its change; if it cannot be used, the old keys stay valid."""

    def __init__(
        self, path: Path, clock: Callable[[], datetime] = _now, elapsed_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._path = path
        self._clock = clock
        self._elapsed_s = elapsed_s
        self._looked_s = elapsed_s()
        self._state = _state(path)  # before reading, so that a change meanwhile is read, too
        self._known = read(path)

    def callers(self) -> tuple[Caller, ...]:
        """Return the callers in the file."""
        self._reload()
        return tuple(caller for _, caller in self._known)

    def find(self, key: str) -> Caller | None:
        """Return the caller with this key; None: the key is unknown, expired or not yet valid."""
        self._reload()
        digest = hashlib.sha256(key.encode()).digest()
        match = None
        for known, caller in self._known:  # all of them, so that the time tells nothing of its place
            if hmac.compare_digest(known, digest):
                match = caller
        return match if match is not None and match.is_valid(self._clock()) else None

    def _reload(self) -> None:
        """Read the file again if it has changed, which is checked once a second."""
        now_s = self._elapsed_s()
        if now_s - self._looked_s < _LOOK_S:
            return
        self._looked_s = now_s
        state = _state(self._path)
        if state == self._state:
            return
        self._state = state
        try:
            self._known = read(self._path)
        except KeyFileError as error:
            _log.warning("keys.unusable-file", reason=str(error), advice="The old keys stay valid.")
        else:
            _log.info("keys.read", path=str(self._path), keys=len(self._known))


def _state(path: Path) -> tuple[int, int, int] | None:
    """Return the time, inode and size of a file, None when it is not there."""
    try:
        stat = path.stat()
    except OSError:
        return None
    return stat.st_mtime_ns, stat.st_ino, stat.st_size


def read(path: Path) -> tuple[tuple[bytes, Caller], ...]:
    """Read a file of keys: the digest and the caller of each.

    Raises:
        KeyFileError: The file is missing or not TOML, or an entry is invalid or there twice.
    """
    try:
        entries = msgspec.toml.decode(path.read_bytes(), type=_File).keys
    except (OSError, UnicodeDecodeError, RecursionError, msgspec.DecodeError) as error:
        # The message may name fields but no value, which could be a key in the wrong place.
        reason = re.sub(r"Invalid enum value .* - at", "Unknown scope - at", str(error))
        raise KeyFileError(
            f"{path}: not a usable file of keys ({reason}); featherline-service --new-key NAME prints an entry"
        ) from None
    for what, values in (("id", {entry.id for entry in entries}), ("digest", {entry.digest for entry in entries})):
        if len(values) < len(entries):
            raise KeyFileError(f"{path}: two keys have the same {what}; each needs its own")
    for entry in entries:
        if entry.not_before is not None and entry.not_before >= entry.expires:
            raise KeyFileError(f"{path}: the key {entry.id} ends before it begins")
    return tuple((bytes.fromhex(entry.digest.removeprefix("sha256:")), _caller(entry)) for entry in entries)


def _caller(entry: _Entry) -> Caller:
    return Caller(**{name: getattr(entry, name) for name in Caller.__struct_fields__})


def mint(name: str, at: datetime) -> tuple[str, str]:
    """Return a new key, and its entry in the file of keys.

    Args:
        name: The id that the key goes by in logs.
        at: The instant from which the key's year is counted, with a time zone.

    Raises:
        ValueError: The name is no id.
    """
    try:
        msgspec.convert(name, Identifier)
    except msgspec.ValidationError:
        raise ValueError(
            f"{name!r} is no name of a key: give up to 48 lower-case letters and digits, joined by single hyphens"
        ) from None
    key = _PREFIX + secrets.token_urlsafe(_KEY_BYTES)
    defaults = msgspec.structs.asdict(Caller(id=name, scopes=("ask",), expires=(at + _LIFE).replace(microsecond=0)))
    limits = "".join(f"{field} = {value}\n" for field, value in defaults.items() if isinstance(value, int))
    return key, (
        f'[[keys]]\nid = "{name}"\ndigest = "sha256:{hashlib.sha256(key.encode()).hexdigest()}"\n'
        f'scopes = ["ask"] # of: {", ".join(get_args(Permission))}\n{limits}'
        f"expires = {defaults['expires'].isoformat().replace('+00:00', 'Z')}\n"
    )
