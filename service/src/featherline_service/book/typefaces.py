"""The files of a book's fonts."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from featherline.wire.records import Font


def read_font(font: Font, folder: Path) -> bytes:
    """Return the content of a font's file, from its package or else from the book's folder.

    Raises:
        OSError: There is no such package or file, or it cannot be read.
        ValueError: The file is named by a path that leads out of the package or folder.
    """
    parts = Path(font.file)
    if parts.is_absolute() or ".." in parts.parts:
        raise ValueError(f"{font.file} leads out of the book; name a file within it")
    if font.package is None:
        return (folder / parts).read_bytes()
    try:
        package = resources.files(font.package)
    except ModuleNotFoundError as error:
        raise FileNotFoundError(f"The package {font.package} is not installed; install it") from error
    return package.joinpath(*parts.parts).read_bytes()
