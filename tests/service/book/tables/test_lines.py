from pathlib import Path

import pytest

from featherline_service.book.loader import demo_folder
from featherline_service.book.tables.lines import key_lines

TEXT = '''a = 1
[[record]]
id = "x" # c
s = """
z = 1
"""
b.c = [1,
 {d = 2, e=[
 3]}]
[[record.panels]]
q = 'a#b]'
[record.panels.z]
w = 2026-01-01T00:00:00Z
[[record]]
"quoted key" = "\\"]"
[[record.panels]]
u = 1'''


def test_every_key_has_its_line() -> None:
    """Rows, tables in rows, dotted and quoted keys, tables in a line and texts of several lines."""
    expected = {
        "a": 1,
        "record[0]": 2,
        "record[0].id": 3,
        "record[0].s": 4,
        "record[0].b.c": 7,
        "record[0].b.c[0]": 7,
        "record[0].b.c[1]": 8,
        "record[0].b.c[1].d": 8,
        "record[0].b.c[1].e": 8,
        "record[0].b.c[1].e[0]": 9,
        "record[0].panels[0]": 10,
        "record[0].panels[0].q": 11,
        "record[0].panels[0].z": 12,
        "record[0].panels[0].z.w": 13,
        "record[1]": 14,
        "record[1].quoted key": 15,
        "record[1].panels[0]": 16,
        "record[1].panels[0].u": 17,
    }
    assert expected == dict(key_lines(TEXT))


@pytest.mark.parametrize("kind", ["films", "shoes", "materials", "defaults"])
def test_the_lines_of_the_demo_book_have_their_keys(kind: str) -> None:
    """On the line of a key of a record stands its last name."""
    for file in sorted((demo_folder() / kind).glob("*.toml")):
        lines = Path(file).read_text("utf-8").splitlines()
        for key, line in key_lines("\n".join(lines)).items():
            assert key.endswith("]") or key.rpartition(".")[2] in lines[line - 1]
