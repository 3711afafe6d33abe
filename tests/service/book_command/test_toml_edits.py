from pathlib import Path

from featherline_service.book_command.toml_edits import ADDED, CHANGED, set_record

ONE = """# The list of May.
id = "gull"
name = "Gull" # by the harbour

[roll]
width_mm = 500.0 # measured
price = "150.00"
"""


def test_comments_survive_an_edit(tmp_path: Path) -> None:
    """A value is set where it stands; what is equal is left as it is written."""
    (tmp_path / "films").mkdir()
    file = tmp_path / "films" / "gull.toml"
    file.write_text(ONE, "utf-8")
    assert CHANGED == set_record(tmp_path, "films", "gull", {"roll.price": "165.00", "roll.width_mm": 500.0})
    assert ONE.replace("150.00", "165.00") == file.read_text("utf-8")


def test_a_record_is_added_beside_a_file_of_one(tmp_path: Path) -> None:
    """Where the kind's own file is one record, a new one has a file of its own."""
    (tmp_path / "films").mkdir()
    (tmp_path / "films" / "films.toml").write_text(ONE, "utf-8")
    values = {"name": "Tern", "roll.price": "9.00", "colours": [{"id": "red"}]}
    assert ADDED == set_record(tmp_path, "films", "tern", values)
    expected = 'id = "tern"\nname = "Tern"\nroll = {price = "9.00"}\ncolours = [{id = "red"}]\n'
    assert expected == (tmp_path / "films" / "tern.toml").read_text("utf-8")
    assert ONE == (tmp_path / "films" / "films.toml").read_text("utf-8")


def test_a_change_to_come_is_left_alone(tmp_path: Path) -> None:
    """What is set is set for now, not for a later instant."""
    (tmp_path / "films").mkdir()
    text = f'[[record]]\nid = "gull"\nname = "Later"\nvalid_from = 2087-01-01T00:00:00Z\n\n[[record]]\n{ONE[20:29]}'
    text = '[[record]]\nid = "gull"\nname = "Later"\nvalid_from = 2087-01-01T00:00:00Z\n\n[[record]]\nid = "gull"\n'
    (tmp_path / "films" / "films.toml").write_text(text, "utf-8")
    set_record(tmp_path, "films", "gull", {"name": "Now"})
    assert text + 'name = "Now"\n' == (tmp_path / "films" / "films.toml").read_text("utf-8")
