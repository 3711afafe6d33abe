from pathlib import Path

import pytest

from featherline.wire.records import Font
from featherline_service.book.font_files import font_file


def font(package: str | None, file: str) -> Font:
    """Return a font record."""
    return Font(id="own", name="Own", package=package, file=file, licence="OFL-1.1")


def test_a_font_in_a_package_is_found(tmp_path: Path) -> None:
    """A font's file is found in the package that carries it, and is a TrueType file."""
    file = font_file(font("font_fjallaone", "files/FjallaOne-Regular.ttf"), tmp_path)
    assert file.read_bytes()[:4] == b"\0\1\0\0"  # OpenType 1.9.1, table directory: the tag of TrueType outlines


def test_a_font_beside_the_book_is_found(tmp_path: Path) -> None:
    """A font without a package is a file in the book's folder."""
    (tmp_path / "fonts").mkdir()
    (tmp_path / "fonts" / "Own.ttf").write_bytes(b"")
    assert tmp_path / "fonts" / "Own.ttf" == font_file(font(None, "fonts/Own.ttf"), tmp_path)


def test_a_font_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """A file that is not in the folder is named."""
    with pytest.raises(FileNotFoundError, match=r"There is no file .*Own\.ttf; add it, or name another$"):
        font_file(font(None, "fonts/Own.ttf"), tmp_path)


@pytest.mark.parametrize("package", ["font_of_ours", "json.decoder", ""])
def test_a_package_that_is_not_installed_is_refused(tmp_path: Path, package: str) -> None:
    """A package that is not installed, a module that is no package, and an empty name are named."""
    with pytest.raises(
        FileNotFoundError, match=f"^The package {package} is not installed; install it, or name another$"
    ):
        font_file(font(package, "files/Own.ttf"), tmp_path)


@pytest.mark.parametrize("file", ["../Own.ttf", "/fonts/Own.ttf", "fonts/../../Own.ttf"])
def test_a_font_outside_the_book_is_refused(tmp_path: Path, file: str) -> None:
    """No path leads out of the book's folder."""
    with pytest.raises(ValueError, match=r"is outside the book; name a file inside its folder$"):
        font_file(font(None, file), tmp_path)
