"""Revision of a book: a digest of its content, not of how its files are written, and of the plug-ins in use."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from hashlib import sha256
from pathlib import Path

import msgspec

from featherline.wire.book import Plugin
from featherline.wire.records import Kind, Record


def revision(
    records: Mapping[tuple[Kind, str], Record], font_files: Mapping[str, Path], plugins: Sequence[Plugin] = ()
) -> str:
    """Return the SHA-256 of the canonical book, as ``sha256:`` and hexadecimal digits.

    The canonical book is one JSON object, kind to id to record, without white space and with sorted keys (as in RFC
    8785, section 3.2), with the digest of each font's file and the plug-ins' names and versions in their order: all
    that an answer depends on.

    Raises:
        OSError: A font's file cannot be read.
    """
    shelves: dict[str, dict[str, Record]] = {}
    for (kind, name), record in records.items():
        shelves.setdefault(kind, {})[name] = record
    files = {name: sha256(file.read_bytes()).hexdigest() for name, file in font_files.items()}
    content = {"records": shelves, "font_files": files} | ({"plugins": plugins} if plugins else {})
    canonical = msgspec.json.encode(content, order="sorted")
    return f"sha256:{sha256(canonical).hexdigest()}"
