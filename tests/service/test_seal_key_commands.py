"""The commands that add, use and retire seal keys: what they write, refuse and say."""

from __future__ import annotations

import argparse
import json
import os
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from joserfc.jwk import OKPKey

from featherline_service import seal_key_commands
from featherline_service.seal_key_commands import add, retire, use
from featherline_service.signatures import SealKeyError, read_keys

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
MONTH = timedelta(days=30)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where a file of seal keys goes."""
    return tmp_path / "seal-keys.json"


def ids(path: Path) -> list[str | None]:
    """Return the ids of the keys in a file, the one that seals first."""
    return [key.kid for key in read_keys(path).keys]


def run(*arguments: object, **environ: str) -> int | None:
    """Run the command."""
    parser = argparse.ArgumentParser()
    seal_key_commands.add_arguments(parser)
    return seal_key_commands.run(parser.parse_args([str(argument) for argument in arguments]), environ)


def test_a_key_lives_in_steps(path: Path) -> None:
    """The first key seals; a second is published, then seals, and the first goes when its last seal has expired."""
    said = add(path, NOON)
    (first,) = ids(path)
    assert f"key {first} was added. It is the only one, and seals." in said
    assert "keep a copy" in said

    said = add(path, NOON)
    _, second = ids(path)
    assert [first, second] == ids(path)
    assert f"key {second} was added. It is published, and does not seal yet; {first} does." in said
    assert f"restart them one after another. When all have it:\n  featherline-service --use-seal-key {path}\n" in said

    said = use(path, None, NOON, MONTH)
    assert [second, first] == ids(path)
    assert f"key {second} seals in every replica from its next start on, in place of {first}." in said
    # A day for the restarts, in which the old key still seals, and thirty for its last seal.
    assert "until 2026-07-02T12:00:00Z (they are valid for 30 days, FEATHERLINE_SEAL_DAYS). Then:\n" in said

    with pytest.raises(SealKeyError, match=f"seals by key {first} are in force until 2026-07-02T12:00:00Z"):
        retire(path, None, NOON + MONTH, MONTH)
    assert [second, first] == ids(path)
    said = retire(path, None, NOON + MONTH + timedelta(days=1), MONTH)
    assert [second] == ids(path)
    assert f"key {first} was retired; the last seal by it expired on 2026-07-02T12:00:00Z at the latest." in said


def test_the_oldest_key_is_retired_first_and_any_by_its_id(path: Path) -> None:
    """Without an id it is the one that has sealed longest ago; a key that never sealed goes at once, by its id."""
    add(path, NOON)
    for days in (1, 2):
        add(path, NOON + timedelta(days=days))
        use(path, None, NOON + timedelta(days=days), MONTH)
    third, second, first = ids(path)
    add(path, NOON + timedelta(days=3))
    waiting = ids(path)[-1]

    with pytest.raises(SealKeyError, match=f"seals by key {second} are in force until 2026-07-04"):
        retire(path, second, NOON + timedelta(days=32), MONTH)
    retire(path, None, NOON + timedelta(days=32), MONTH)
    assert [third, second, waiting] == ids(path)
    assert f"key {waiting} was retired; it never sealed." in retire(path, waiting, NOON + timedelta(days=3), MONTH)
    assert [third, second] == ids(path)
    assert first not in ids(path)


def test_an_earlier_key_can_seal_again(path: Path) -> None:
    """By its id a key that has sealed before seals once more, as after a mistake."""
    add(path, NOON)
    add(path, NOON)
    use(path, None, NOON, MONTH)
    second, first = ids(path)
    use(path, first, NOON + timedelta(days=1), MONTH)

    assert [first, second] == ids(path)
    with pytest.raises(SealKeyError, match="in force until 2026-07-03"):
        retire(path, second, NOON + timedelta(days=31), MONTH)


def test_what_would_orphan_seals_is_refused(path: Path) -> None:
    """The key that seals is neither used nor retired; nor is one that is not there, or that none waits for."""
    add(path, NOON)
    (only,) = ids(path)
    before = path.read_bytes()

    for step, key_id, words in (
        (retire, only, f"key {only} seals; add another"),
        (retire, None, "no key has sealed and seals no more"),
        (retire, "gull", "no key has the id 'gull'"),
        (use, only, f"key {only} seals already"),
        (use, None, "no key does not seal yet"),
        (use, "gull", "no key has the id 'gull'"),
    ):
        with pytest.raises(SealKeyError, match=words):
            step(path, key_id, NOON, MONTH)
    assert before == path.read_bytes()


def test_one_key_waits_at_a_time(path: Path) -> None:
    """Another is added only when the one before seals; two that wait all the same are told apart by their ids."""
    add(path, NOON)
    add(path, NOON)
    _, waiting = ids(path)
    with pytest.raises(SealKeyError, match=f"key {waiting} was added and does not seal yet; use it first"):
        add(path, NOON)

    content = json.loads(path.read_text())
    another = OKPKey.generate_key("Ed25519", auto_kid=True).as_dict(private=True)
    content["keys"].append({**another, "featherline_added": "2026-06-01T12:00:00Z"})
    path.write_text(json.dumps(content))
    with pytest.raises(SealKeyError, match=rf"several keys fit \({waiting}, {another['kid']}\); name one"):
        use(path, None, NOON, MONTH)
    use(path, str(another["kid"]), NOON, MONTH)
    assert another["kid"] == ids(path)[0]


def test_an_older_file_is_read(path: Path) -> None:
    """In a file without our members the keys behind the first have sealed, until the file was last changed."""
    keys = [OKPKey.generate_key("Ed25519", auto_kid=True).as_dict(private=True) for _ in range(2)]
    path.write_text(json.dumps({"keys": keys}))
    os.utime(path, (NOON.timestamp(), NOON.timestamp()))

    with pytest.raises(SealKeyError, match="in force until 2026-07-02T12:00:00Z"):
        retire(path, None, NOON + MONTH, MONTH)
    add(path, NOON + timedelta(days=9))  # which is a change of the file, and no reason to wait longer
    retire(path, None, NOON + MONTH + timedelta(days=1), MONTH)
    assert [keys[0]["kid"]] == ids(path)[:1]
    assert 2 == len(ids(path))


def test_owner_and_mode_are_kept(path: Path, tmp_path: Path) -> None:
    """Every step leaves the file to whom it belongs, as root too, and a link to it a link; a new file is private."""
    add(path, NOON)
    assert 0o600 == stat.S_IMODE(path.stat().st_mode)
    owner = (4321, 1234) if os.geteuid() == 0 else (os.geteuid(), os.getegid())
    os.chown(path, *owner)
    path.chmod(0o640)
    link = tmp_path / "link.json"
    link.symlink_to(path)

    add(link, NOON)
    use(link, None, NOON, MONTH)
    retire(link, None, NOON + 2 * MONTH, MONTH)

    assert link.is_symlink()
    assert (*owner, 0o640) == (path.stat().st_uid, path.stat().st_gid, stat.S_IMODE(path.stat().st_mode))


def test_a_change_that_breaks_off_leaves_the_file(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What cannot be written as its owner has it is not written; nor is it while another change is under way."""
    add(path, NOON)
    before = path.read_bytes()

    def refuse(_descriptor: int, _mode: int) -> None:
        raise PermissionError(1, "Operation not permitted", str(path))

    monkeypatch.setattr(os, "fchmod", refuse)
    with pytest.raises(PermissionError):
        add(path, NOON)
    monkeypatch.undo()
    fresh = path.with_name("seal-keys.json.new")
    assert (before, False) == (path.read_bytes(), fresh.exists())
    fresh.touch()
    with pytest.raises(SealKeyError, match=r"seal-keys.json.new is there"):
        add(path, NOON)
    assert before == path.read_bytes()


def test_a_missing_file_is_made_by_adding_alone(path: Path, tmp_path: Path) -> None:
    """Neither using nor retiring makes one, and a link that leads nowhere is no missing file."""
    for step in (use, retire):
        with pytest.raises(SealKeyError, match="there is no such file; put your copy of it there"):
            step(path, None, NOON, MONTH)
    link = tmp_path / "link.json"
    link.symlink_to(path)
    with pytest.raises(SealKeyError, match="there is no such file"):
        add(link, NOON)
    assert not path.exists()


def test_the_command_says_what_it_did_and_what_it_did_not(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each option is a step; the days of the settings count; a refusal ends with 2, and no option is none of it."""
    assert [0, 0, 0] == [
        run("--add-seal-key", path), run("--new-seal-key", path),
        run("--use-seal-key", path, FEATHERLINE_SEAL_DAYS="90"),
    ]  # fmt: skip
    assert "valid for 90 days" in capsys.readouterr().out
    assert 2 == run("--retire-seal-key", path, f"--seal-key-id={ids(path)[1]}")
    assert capsys.readouterr().err.startswith(f"Nothing was changed: {path}: seals by key {ids(path)[1]} are in force")
    assert 2 == run("--retire-seal-key", path, FEATHERLINE_SEAL_DAYS="many")
    assert "FEATHERLINE_SEAL_DAYS is 'many'" in capsys.readouterr().err
    assert run() is None
