"""The files of a book's fonts."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from featherline.wire.records import Font


def font_file(font: Font, folder: Path) -> Path:
    """Return where a font's file is: in its package, or else in the book's folder.

    Raises:
        FileNotFoundError: There is no such package or file.
        ValueError: The path leads out of the package or folder.
    """
    within = Path(font.file)
    if within.is_absolute() or ".." in within.parts:
        raise ValueError(f"{font.file} leads out of the book; name a file within it")
    if font.package is not None:
        try:
            folder = Path(str(resources.files(font.package)))
        except (ModuleNotFoundError, TypeError, ValueError) as error:
            raise FileNotFoundError(f"No package {font.package} is installed; install it, or name another") from error
    if not (folder / within).is_file():
        raise FileNotFoundError(f"There is no file {folder / within}; name one, or put it there")
    return folder / within
