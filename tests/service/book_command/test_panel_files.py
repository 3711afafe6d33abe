from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from featherline.wire.tracings import TracingQuery
from featherline_service.book.loader import load
from featherline_service.questions import tracings
from featherline_service.questions.tracings import TracingAsked

Command = Callable[..., tuple[int, str, str]]

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="130mm" height="60mm" viewBox="0 0 130 60">'
    '<path d="M10 10H120V50H10Z"/><circle cx="30" cy="20" r="2.5"/></svg>'
)
DXF = (
    "0\nSECTION\n2\nENTITIES\n"
    "0\nCIRCLE\n8\n0\n10\n20\n20\n20\n40\n0.5\n"
    "0\nCIRCLE\n8\nOutline\n10\n20\n20\n20\n40\n1.2\n"
    "0\nENDSEC\n0\nEOF\n"
)


@pytest.fixture
def svg(tmp_path: Path) -> Path:
    """Return the file of a drawing."""
    file = tmp_path / "outer.SVG"
    file.write_text(SVG, "utf-8")
    return file


def test_a_drawing_replaces_the_outline_of_a_panel_and_nothing_else(own: Path, svg: Path, command: Command) -> None:
    """Comments and the panel's other values stay; how large it was read is told, and what to look at."""
    file = own / "shoes" / "shoes.toml"
    file.write_text("# Measured in May.\n" + file.read_text("utf-8"), "utf-8")

    code, out, err = command("import", "panels", svg, own, "--shoe", "cob", "--panel", "outer")

    assert (0, "") == (code, err)
    assert "shoes/cob: changed panel outer, 110 x 40 mm, 1 kept free" in out.splitlines()
    assert "Read: the outline, 110.0 x 40.0 mm, 1 eyelet and 0 areas kept free" in out
    assert "in force" in out
    assert file.read_text("utf-8").startswith("# Measured in May.\n")
    (panel,) = load((own,)).shoes["cob"].panels
    assert ("outer", "outer", "M0.00 0.00L110.00 0.00L110.00 40.00L0.00 40.00Z", 1) == (
        panel.id, panel.face, panel.outline, len(panel.keep_outs),
    )  # fmt: skip


def test_a_new_panel_is_added_on_its_face(own: Path, tmp_path: Path, command: Command) -> None:
    """Of a DXF drawing in centimetres, as the option says, whose layer names the outline."""
    (tmp_path / "vamp.dxf").write_text(DXF, "utf-8")

    command("import", "panels", tmp_path / "vamp.dxf", own, "--shoe", "cob", "--panel", "vamp", "--face", "tongue",
            "--unit", "cm")  # fmt: skip

    outer, vamp = load((own,)).shoes["cob"].panels
    assert ("outer", "vamp", "tongue", 180.0) == (outer.id, vamp.id, vamp.face, vamp.up_deg)


def test_the_answer_to_a_photo_is_imported_as_it_was_saved(own: Path, tmp_path: Path, command: Command) -> None:
    """The panel's name is that of the option."""
    asked = TracingAsked(content=SVG.encode(), media_type="image/svg+xml", query=TracingQuery())
    (tmp_path / "tracing.json").write_bytes(msgspec.json.encode(tracings.trace(asked)))

    code, out, _ = command("import", "panels", tmp_path / "tracing.json", own, "--shoe", "flats", "--panel", "outer")

    assert 0 == code
    assert "shoes/flats: changed panel outer, 110 x 40 mm, 1 kept free" in out.splitlines()


def test_what_cannot_be_imported_says_what_to_do(own: Path, svg: Path, tmp_path: Path, command: Command) -> None:
    """And changes nothing."""
    before = (own / "shoes" / "shoes.toml").read_text("utf-8")
    (tmp_path / "a.json").write_text("{}", "utf-8")
    (tmp_path / "a.svg").write_text(SVG.replace("mm", ""), "utf-8")
    (tmp_path / "a.png").write_text("", "utf-8")
    panel = ("--shoe", "cob", "--panel", "outer")
    told = [
        command("import", "panels", file, own, *options)
        for file, options in (
            (svg, ()),
            (svg, ("--shoe", "cobb", "--panel", "outer")),
            (tmp_path / "a.json", panel),
            (tmp_path / "a.svg", panel),
            (tmp_path / "a.png", panel),
        )
    ]

    untold = (
        "The drawing's size is not in millimetres (width='130' height='60'): set the width and height of its page in "
        "mm, or say in which unit the drawing is (`unit`)"
    )
    assert {2} == {code for code, _, _ in told}
    assert [
        "Say which panel it is: --shoe SHOE --panel PANEL",
        "The book has no shoe 'cobb'; it has cob, flats",
        f"{tmp_path / 'a.json'} is no answer of /v1/tracings: Object missing required field `panel`",
        f"{tmp_path / 'a.svg'}: {untold}",
        f"{tmp_path / 'a.png'} is no panel; give a drawing (.svg, .dxf) or the answer of /v1/tracings (.json)",
    ] == [err.rstrip() for _, _, err in told]
    assert before == (own / "shoes" / "shoes.toml").read_text("utf-8")
