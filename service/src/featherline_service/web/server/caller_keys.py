"""Callers' keys: the file that lists them by their digests.

A key is 256 random bits. There is nothing to guess, so its plain SHA-256 is enough: a slow or salted digest protects
passwords, which people choose.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import os
import re
import secrets
import stat
import threading
from collections.abc import Callable, Iterator
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
_MOST_BYTES: Final = 1_048_576  # ten times what 256 keys take
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
    """The keys of a file. While it is followed a change is used within a second; if it cannot be, the old keys stay."""

    def __init__(self, path: Path, clock: Callable[[], datetime] = _now) -> None:
        self._path = path
        self._clock = clock
        self._state = _state(path)  # before reading, so that a change meanwhile is read, too
        self._known = read(path)
        self.is_file_usable = True
        """Whether the keys in use are those of the file as it is now; if not, they are those of the file before."""

    def callers(self) -> tuple[Caller, ...]:
        """Return the callers in the file."""
        return tuple(caller for _, caller in self._known)

    def find(self, key: str) -> Caller | None:
        """Return the caller with this key; None: the key is unknown, expired or not yet valid."""
        caller = self.holder(key)
        return caller if caller is not None and caller.is_valid(self._clock()) else None

    def holder(self, key: str) -> Caller | None:
        """Return the caller with this key, also one that is not valid now; None: the key is unknown."""
        digest = hashlib.sha256(key.encode()).digest()
        match = None
        for known, caller in self._known:  # all of them, so that the time tells nothing of its place
            if hmac.compare_digest(known, digest):
                match = caller
        return match

    @contextlib.contextmanager
    def followed(self) -> Iterator[None]:
        """Look at the file every second, in a thread: however long it takes to read, no request waits."""
        ended = threading.Event()

        def follow() -> None:
            while not ended.wait(_LOOK_S):
                self.look()

        threading.Thread(target=follow, name="keys", daemon=True).start()
        try:
            yield
        finally:
            ended.set()

    def look(self) -> None:
        """Read the file again if it has changed."""
        state = _state(self._path)
        if state == self._state:
            return
        self._state = state
        try:
            self._known = read(self._path)
            self.is_file_usable = True
        except KeyFileError as error:
            self.is_file_usable = False
            _log.warning("keys.unusable-file", reason=str(error), advice="The old keys stay valid.")
        else:
            _log.info("keys.read", path=str(self._path), keys=len(self._known))


def _state(path: Path) -> tuple[int, int, int] | None:
    """Return the time, inode and size of a file, None when it is not there."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_ino, status.st_size


def read(path: Path) -> tuple[tuple[bytes, Caller], ...]:
    """Read a file of keys: the digest and the caller of each.

    Raises:
        KeyFileError: The file is missing, not a regular one, too large or not TOML, or an entry is invalid or there
            twice.
    """
    try:
        entries = msgspec.toml.decode(_content(path), type=_File).keys
    except (OSError, ValueError, RecursionError, msgspec.DecodeError) as error:
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
        if {"price", "bulk"} <= {*entry.scopes} and "ask" not in entry.scopes:
            raise KeyFileError(f"{path}: the key {entry.id} is a page's, and answers of bulk have costs: leave one out")
    return tuple((bytes.fromhex(entry.digest.removeprefix("sha256:")), _caller(entry)) for entry in entries)


def _content(path: Path) -> bytes:
    """Return the bytes of a file, which must be a regular one: a pipe or device could be read for ever."""
    with open(path, "rb", opener=_open_at_once) as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise ValueError("it is not a regular file")
        content = file.read(_MOST_BYTES + 1)
    if len(content) > _MOST_BYTES:
        raise ValueError(f"it has more than {_MOST_BYTES:,} bytes")
    return content


def _open_at_once(path: str, flags: int) -> int:
    """Open a file; a pipe without waiting until somebody writes into it."""
    return os.open(path, flags | os.O_NONBLOCK)


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
