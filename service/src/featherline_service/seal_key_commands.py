"""The life of seal keys, in steps between which every replica gets the file: added, used, retired.

A key is published before it seals, so that no replica is shown a seal by a key that it does not know, and stays
published until the last seal by it has expired. The file is a JSON Web Key Set (RFC 7517) whose first key seals.
Members of our own say when each key was added, and from when until when it sealed.
"""

from __future__ import annotations

import argparse
import os
import stat
import sys
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import msgspec
from joserfc.jwk import OKPKey

from featherline.seals import ALGORITHM
from featherline_service import settings as environment
from featherline_service.signatures import SealKeyError, read_keys

UNUSABLE: Final = 2  # the exit code
_RESTARTED_WITHIN: Final = timedelta(days=1)
"""Time for the replicas to be restarted after a change of the key that seals, in which the old one may still seal."""

_ADDED: Final = "featherline_added"
_SEALS_SINCE: Final = "featherline_seals_since"
_SEALED_UNTIL: Final = "featherline_sealed_until"

Entry = dict[str, Any]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of these commands."""
    group = parser.add_argument_group("seal keys", "each changes FILE, says what comes next, and ends")
    group.add_argument(
        *("--add-seal-key", "--new-seal-key"), type=Path, metavar="FILE", help="add a key, which does not seal yet"
    )
    group.add_argument("--use-seal-key", type=Path, metavar="FILE", help="seal with the key that was added")
    group.add_argument("--retire-seal-key", type=Path, metavar="FILE", help="remove a key whose seals have expired")
    group.add_argument("--seal-key-id", metavar="ID", help="the key to use or to retire, where there is a choice")


def run(options: argparse.Namespace, environ: Mapping[str, str]) -> int | None:
    """Do what the options ask. Returns the exit code, or None where they ask nothing of this."""
    at = datetime.now(UTC).replace(microsecond=0)
    try:
        if options.add_seal_key is not None:
            said = add(options.add_seal_key, at)
        elif options.use_seal_key is not None:
            said = use(options.use_seal_key, options.seal_key_id, at, _lifetime(environ))
        elif options.retire_seal_key is not None:
            said = retire(options.retire_seal_key, options.seal_key_id, at, _lifetime(environ))
        else:
            return None
    except (SealKeyError, environment.SettingsError, OSError) as error:
        sys.stderr.write(f"Nothing was changed: {error}\n")
        return UNUSABLE
    sys.stdout.write(said)
    return 0


def add(path: Path, at: datetime) -> str:
    """Add a key behind those in a file, which is made if it is missing. Returns what was done and what comes next.

    Raises:
        SealKeyError: The file holds anything but seal keys, or a key that was added already.
        OSError: The file cannot be written as its owner has it.
    """
    entries = _read(path) if os.path.lexists(path) else []
    if waiting := [entry["kid"] for entry in entries if _waits(entry)]:
        raise SealKeyError(f"{path}: key {waiting[0]} was added and does not seal yet; use it first (--use-seal-key)")
    key = OKPKey.generate_key(ALGORITHM, auto_kid=True).as_dict(private=True)
    entry: Entry = {**key, _ADDED: _text(at)}
    if not entries:
        _write(path, [{**entry, _SEALS_SINCE: _text(at)}])
        return (
            f"{path}: key {entry['kid']} was added. It is the only one, and seals.\n"
            f"Next: let the service's user, and nobody else, read the file; give it to every replica "
            f"(FEATHERLINE_SEAL_KEYS={path}); and keep a copy where no replica is: without these keys no seal that was "
            "given can be checked.\n"
        )
    _write(path, [*entries, entry])
    return (
        f"{path}: key {entry['kid']} was added. It is published, and does not seal yet; {entries[0]['kid']} does.\n"
        "Next: give every replica this file, and restart them one after another. When all have it:\n"
        f"  featherline-service --use-seal-key {path}\n"
    )


def use(path: Path, key_id: str | None, at: datetime, lifetime: timedelta) -> str:
    """Let a key seal that does not yet. Returns what was done and what comes next.

    Raises:
        SealKeyError: The file holds no seal keys, or no such key.
        OSError: The file cannot be written as its owner has it.
    """
    signing, *others = _read(path)
    if key_id == signing["kid"]:
        raise SealKeyError(f"{path}: key {key_id} seals already")
    entry = _chosen(path, [each for each in others if key_id is not None or _waits(each)], key_id, "does not seal yet")
    ended = {**signing, _SEALED_UNTIL: _text(at)}
    used = {name: value for name, value in entry.items() if name != _SEALED_UNTIL} | {_SEALS_SINCE: _text(at)}
    _write(path, [used, ended, *(each for each in others if each is not entry)])
    return (
        f"{path}: key {used['kid']} seals in every replica from its next start on, in place of {ended['kid']}.\n"
        "Next: give every replica this file, and restart them one after another, within a day. Seals by the old key "
        f"are in force until {_text(_expiry(ended, lifetime))} (they are valid for {lifetime.days} days, "
        "FEATHERLINE_SEAL_DAYS). Then:\n"
        f"  featherline-service --retire-seal-key {path}\n"
    )


def retire(path: Path, key_id: str | None, at: datetime, lifetime: timedelta) -> str:
    """Remove a key that sealed, when no seal by it is in force. Returns what was done and what comes next.

    Raises:
        SealKeyError: The file holds no seal keys or no such key, or seals by the key may be in force.
        OSError: The file cannot be written as its owner has it.
    """
    entries = _read(path)
    signing, *others = entries
    if key_id == signing["kid"]:
        raise SealKeyError(
            f"{path}: key {key_id} seals; add another (--add-seal-key), use that (--use-seal-key), and retire this one "
            "when the last seal by it has expired"
        )
    sealed = [each for each in reversed(others) if key_id is not None or not _waits(each)]
    entry = _chosen(path, sealed if key_id is not None else sealed[:1], key_id, "has sealed and seals no more")
    if (expires := _expiry(entry, lifetime)) > at:
        raise SealKeyError(
            f"{path}: seals by key {entry['kid']} are in force until {_text(expires)} (they are valid for "
            f"{lifetime.days} days, FEATHERLINE_SEAL_DAYS); without the key they could not be checked. Retire it then"
        )
    _write(path, [each for each in entries if each is not entry])
    why = "it never sealed" if _waits(entry) else f"the last seal by it expired on {_text(expires)} at the latest"
    return (
        f"{path}: key {entry['kid']} was retired; {why}.\n"
        "Next: give every replica this file at its next restart. There is no hurry.\n"
    )


def _lifetime(environ: Mapping[str, str]) -> timedelta:
    return timedelta(days=environment.read(environ).seal_days)


def _waits(entry: Entry) -> bool:
    """Return whether a key was added and has not sealed yet; a key without our members is of an older file."""
    return _ADDED in entry and _SEALS_SINCE not in entry


def _expiry(entry: Entry, lifetime: timedelta) -> datetime:
    """Return when the last seal by a key that seals no more has expired at the latest; at once if it never sealed."""
    if _waits(entry):
        return datetime.fromisoformat(entry[_ADDED])
    return datetime.fromisoformat(entry[_SEALED_UNTIL]) + _RESTARTED_WITHIN + lifetime


def _chosen(path: Path, entries: Sequence[Entry], key_id: str | None, which: str) -> Entry:
    """Return the key with an id, or the only one."""
    chosen = [entry for entry in entries if key_id in {None, entry["kid"]}]
    if not chosen:
        raise SealKeyError(f"{path}: no key {which if key_id is None else f'has the id {key_id!r}'}")
    if len(chosen) > 1:
        names = ", ".join(entry["kid"] for entry in chosen)
        raise SealKeyError(f"{path}: several keys fit ({names}); name one (--seal-key-id=ID)")
    return chosen[0]


def _read(path: Path) -> list[Entry]:
    """Return the keys of a file; of an older file, with the last change of it as the time when a key sealed last."""
    read_keys(path)
    changed = datetime.fromtimestamp(path.stat().st_mtime, UTC).replace(microsecond=0)
    entries: list[Entry] = msgspec.json.decode(path.read_bytes())["keys"]
    return [
        entry if index == 0 or _ADDED in entry or _SEALED_UNTIL in entry else {**entry, _SEALED_UNTIL: _text(changed)}
        for index, entry in enumerate(entries)
    ]


def _write(path: Path, entries: Sequence[Entry]) -> None:
    """Replace a file at once by one with the same owner and mode; a new one is for its owner alone."""
    target = path.resolve()
    fresh = target.with_name(f"{target.name}.new")
    try:
        descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise SealKeyError(f"{fresh} is there, of a change that is under way or broke off; remove it first") from None
    try:
        with os.fdopen(descriptor, "wb") as file:
            if target.exists():
                kept, made = target.stat(), os.fstat(descriptor)
                if (kept.st_uid, kept.st_gid) != (made.st_uid, made.st_gid):
                    os.fchown(descriptor, kept.st_uid, kept.st_gid)
                os.fchmod(descriptor, stat.S_IMODE(kept.st_mode))
            file.write(msgspec.json.encode({"keys": entries}))
            file.flush()
            os.fsync(descriptor)
        fresh.replace(target)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise


def _text(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")
