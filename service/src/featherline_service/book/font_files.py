"""Font files of a book: in an installed package, or in the book's folder."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from featherline.wire.records import Font


def font_file(font: Font, folder: Path) -> Path:
    """Return the path of a font's file: in its package if it names one, or else in the book's folder.

    Raises:
        FileNotFoundError: There is no such package or file.
        ValueError: The path is outside the package or folder.
    """
    within = Path(font.file)
    if within.is_absolute() or ".." in within.parts:
        raise ValueError(f"{font.file} is outside the book; name a file inside its folder")
    if font.package is not None:
        try:
            folder = Path(str(resources.files(font.package)))
        except (ModuleNotFoundError, TypeError, ValueError) as error:
            raise FileNotFoundError(
                f"The package {font.package} is not installed; install it, or name another"
            ) from error
    if not (folder / within).is_file():
        raise FileNotFoundError(f"There is no file {folder / within}; add it, or name another")
    return folder / within
