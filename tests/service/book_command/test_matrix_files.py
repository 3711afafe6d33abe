from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree as ET

from msgspec.structs import replace

from featherline.wire.matrices import MatrixCell
from featherline.wire.verdicts import Reason
from featherline_service.book.loader import load
from featherline_service.book_command import matrix_files
from featherline_service.questions.matrix.matrices import matrix

Command = Callable[..., tuple[int, str, str]]


def test_the_matrix_is_csv_json_and_a_picture(own: Path, tmp_path: Path, command: Command) -> None:
    """All three say the same: verdict, height of the letters and price of every panel in every film."""
    _, text, _ = command("matrix", own, "--shoe", "cob")
    rows = list(csv.DictReader(io.StringIO(text)))
    cells = json.loads(command("matrix", own, "--shoe", "cob", "--as", "json")[1])["cells"]
    command("matrix", own, "--shoe", "cob", "--as", "svg", "--out", tmp_path / "page.svg")
    words = [element.text or "" for element in ET.parse(tmp_path / "page.svg").iter()]  # noqa: S314 - our own

    assert [("cob", "gull"), ("cob", "tern")] == [(row["shoe"], row["film"]) for row in rows]
    assert [(row["verdict"], row["price"], row["currency"]) for row in rows] == [
        (cell["verdict"], cell["price"]["amount"], cell["price"]["currency"]) for cell in cells
    ]
    for row in rows:
        assert "ready" == row["verdict"]
        assert f"12 mm, {row['price']} GBP" in words
        assert f"up to {float(row['largest_mm']):.0f} mm" in words
    assert {"Cob", "Gull", "Tern", "Outer quarter"} <= set(words)
    assert any("no permission" in one for one in words)


def test_what_is_declined_says_why() -> None:
    """A panel that takes no film has neither price nor setting, but the codes and the sentence of the worst reason."""
    book = load()
    reason = Reason(
        code="heat.no-window", verdict="decline", subject="toe", sentence="No dwell does.", measure=None, limit=None,
        unit=None,
    )  # fmt: skip
    cell = MatrixCell(
        shoe="ward-clog", panel="toe", film="smooth", verdict="decline", letters_mm=12.0,
        reasons=(reason, replace(reason, code="fit.curved")),
    )  # fmt: skip
    found = replace(matrix(book, shoes=["none"]), cells=(cell,))
    (row,) = csv.DictReader(io.StringIO(matrix_files.as_csv(found)))
    assert ("", "", "12", "heat.no-window fit.curved", "No dwell does.") == (
        row["price"], row["dwell_s"], row["letters_mm"], row["because"], row["sentence"],
    )  # fmt: skip
    assert "heat.no-window" in matrix_files.as_svg(book, found)
    bare = replace(found, cells=(replace(cell, reasons=()),))
    assert "heat.no-window" not in matrix_files.as_svg(book, bare)
