"""The file of keys: what is read of it, what is refused, whose a key is, and that a change is followed."""

from __future__ import annotations

import hmac
import os
import re
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import msgspec
import pytest
from structlog.testing import capture_logs

from featherline_service.web.http.callers import Caller
from featherline_service.web.server import caller_keys
from featherline_service.web.server.caller_keys import KeyFileError, Keys, mint, read

NOON: Final = datetime(2026, 6, 1, 12, tzinfo=UTC)
# SHA-256 of "abc": FIPS 180-2, appendix B.1.
ABC: Final = "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
SECRET: Final = "fl_c2VjcmV0LW9mLXNhbHRtYXJzaC1xdWF5LW5vYm9keS1rbm93cw"  # noqa: S105 - what must not be seen


def entry(**fields: str) -> str:
    """Return an entry of the file: a right one, but for the fields that are given as TOML."""
    right = {"id": '"till"', "digest": f'"{ABC}"', "scopes": '["ask"]', "expires": "2026-07-01T00:00:00Z"}
    return "[[keys]]\n" + "".join(f"{name} = {value}\n" for name, value in {**right, **fields}.items())


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A file with one key, "abc"."""
    found = tmp_path / "keys.toml"
    found.write_text(entry())
    return found


def test_a_key_is_known_by_its_published_digest(path: Path) -> None:
    """What the file holds is SHA-256, as anybody computes it; no other text is that key."""
    keys = Keys(path, lambda: NOON)

    assert Caller(id="till", scopes=("ask",), expires=datetime(2026, 7, 1, tzinfo=UTC)) == keys.find("abc")
    assert [None] * 4 == [keys.find(other) for other in ("abd", "", "abc\n", ABC)]


def test_a_minted_entry_is_that_of_its_key(tmp_path: Path) -> None:
    """The entry holds a year, the defaults of every limit, and nothing of the key."""
    path = tmp_path / "keys.toml"
    key, text = mint("harbour-shop", NOON)
    path.write_text(text)

    year = Caller(id="harbour-shop", scopes=("ask",), expires=datetime(2027, 6, 1, 12, tzinfo=UTC))
    assert year == Keys(path, lambda: NOON).find(key)
    assert key not in text
    named = {line.partition(" = ")[0] for line in text.splitlines()[1:]}
    pins = {"policies", "owner", "films", "currency", "origins"}
    assert {*Caller.__struct_fields__, "digest"} - {"not_before"} - pins == named


def test_a_page_has_no_bulk(tmp_path: Path) -> None:
    """A key for customers is not for answers with costs, as bulk has them, unless it may ask for those anyway."""
    path = tmp_path / "keys.toml"
    path.write_text(entry(scopes='["price", "bulk"]'))
    with pytest.raises(KeyFileError, match="the key till is a page's, and answers of bulk have costs"):
        Keys(path)

    path.write_text(entry(scopes='["price", "bulk", "ask"]'))
    assert ("price", "bulk", "ask") == Keys(path).callers()[0].scopes


def test_keys_are_as_random_as_they_are_long() -> None:
    """256 bits as base64url without padding (RFC 4648 section 5), after a mark, in RFC 6750's alphabet; never twice."""
    minted = [mint("till", NOON)[0] for _ in range(100)]

    assert all(re.fullmatch(r"fl_[A-Za-z0-9_-]{43}", key) for key in minted)
    assert 100 == len(set(minted))


@pytest.mark.parametrize("name", ["", "Till", "till\n", "two words", "a" * 49, 'x"\nscopes = ["watch"]'])
def test_what_is_no_name_gets_no_key(name: str) -> None:
    """A name cannot write anything else into the entry."""
    with pytest.raises(ValueError, match="is no name of a key"):
        mint(name, NOON)


@pytest.mark.parametrize(
    ("fields", "at_s", "in_force"),
    [
        ({"expires": "2026-06-01T12:00:00Z"}, -0.001, True),
        ({"expires": "2026-06-01T12:00:00Z"}, 0, False),
        ({"expires": "2026-06-01T14:00:00+02:00"}, -0.001, True),
        ({"expires": "2026-06-01T14:00:00+02:00"}, 0, False),
        ({"not_before": "2026-06-01T12:00:00Z"}, -0.001, False),
        ({"not_before": "2026-06-01T12:00:00Z"}, 0, True),
    ],
)
def test_a_key_has_its_time(path: Path, fields: dict[str, str], at_s: float, in_force: bool) -> None:
    """It begins with the instant that it names, and at its end it is over; the clock alone decides."""
    path.write_text(entry(**fields))

    assert in_force == (Keys(path, lambda: NOON + timedelta(seconds=at_s)).find("abc") is not None)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "No such file or directory"),
        (b"", "missing required field `keys`"),
        (b"keys = []", "length >= 1 - at `$.keys`"),
        (b"\xff", "invalid start byte"),
        (SECRET.encode(), "(at end of document)"),
        (b"keys = " + b"[" * 100_000, "recursion"),
        (entry(extra="1"), "unknown field `extra` - at `$.keys[0]`"),
        (entry(id='"Till"'), "at `$.keys[0].id`"),
        (entry(digest=f'"{SECRET}"'), "at `$.keys[0].digest`"),
        (entry(digest=f'"{ABC.upper()}"'), "at `$.keys[0].digest`"),
        (entry(digest=f'"{ABC}\\n"'), "at `$.keys[0].digest`"),
        (entry(scopes="[]"), "at `$.keys[0].scopes`"),
        (entry(scopes=f'["ask", "{SECRET}"]'), "Unknown scope - at `$.keys[0].scopes[1]`"),
        (entry(expires="2026-07-01T00:00:00"), "timezone component - at `$.keys[0].expires`"),
        (entry(expires="2026-07-01"), "at `$.keys[0].expires`"),
        (entry(not_before='"yesterday"'), "at `$.keys[0].not_before`"),
        (entry(not_before="2026-07-01T00:00:00Z"), "the key till ends before it begins"),
        (entry(requests_per_minute="0"), "at `$.keys[0].requests_per_minute`"),
        (entry(burst='"9"'), "at `$.keys[0].burst`"),
        (entry(burst="9" * 5_000), "4300 digits"),
        (entry() + "#" * 1_048_576, "it has more than 1,048,576 bytes"),
        (entry(bulk_lines="999"), "at `$.keys[0].bulk_lines`"),
        (entry(bulk_streams="17"), "at `$.keys[0].bulk_streams`"),
        (entry() + entry(digest=f'"sha256:{"0" * 64}"'), "two keys have the same id"),
        (entry() + entry(id='"till-2"'), "two keys have the same digest"),
        ("".join(entry(id=f'"till-{n}"', digest=f'"sha256:{n:064x}"') for n in range(257)), "length <= 256"),
    ],
    ids=lambda each: str(each)[-40:],
)
def test_a_file_that_is_wrong_is_refused_and_nothing_secret_is_said(
    path: Path, content: bytes | str | None, said: str
) -> None:
    """The message names the file and the place; a key in a wrong place is not repeated."""
    if content is None:
        path.unlink()
    else:
        path.write_bytes(content.encode() if isinstance(content, str) else content)

    with pytest.raises(KeyFileError) as refused:
        read(path)

    message = str(refused.value)
    assert message.startswith(f"{path}: ")
    assert said in message
    assert SECRET not in message
    assert ABC.removeprefix("sha256:") not in message
    assert refused.value.__suppress_context__ or refused.value.__context__ is None


def a_pipe(path: Path) -> None:
    """Put a pipe in the place of a file, into which nobody writes."""
    path.unlink()
    os.mkfifo(path)


def a_device(path: Path) -> None:
    """Put a device without end in the place of a file."""
    path.unlink()
    path.symlink_to("/dev/zero")


@pytest.mark.parametrize("put", [a_pipe, a_device])
def test_what_is_no_regular_file_leaves_the_old_keys_in_force(path: Path, put: Callable[[Path], None]) -> None:
    """It is not waited for, nor read for ever; one warning tells of it."""
    keys = Keys(path, lambda: NOON)
    put(path)

    with capture_logs() as lines:
        looking = threading.Thread(target=lambda: [keys.look() for _ in range(2)], daemon=True)
        looking.start()
        looking.join(20)

    assert not looking.is_alive()
    assert keys.find("abc") is not None
    assert [f"{path}: not a usable file of keys (it is not a regular file)"] == [
        line["reason"].partition(";")[0] for line in lines
    ]


def test_what_is_known_of_a_caller_holds_no_digest(path: Path) -> None:
    """However it is printed or sent, nothing of the key is in it."""
    caller = Keys(path, lambda: NOON).find("abc")

    assert "digest" not in Caller.__struct_fields__
    assert not any(ABC[7:] in text for text in (repr(caller), msgspec.json.encode(caller).decode()))


@pytest.mark.parametrize("shown", ["first", "last", "none of them"])
def test_every_key_is_compared_whichever_is_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, shown: str) -> None:
    """No comparison ends early: each takes the constant-time function, and all are made."""
    path = tmp_path / "keys.toml"
    minted = {name: mint(name, NOON) for name in ("first", "middle", "last")}
    path.write_text("".join(text for _, text in minted.values()))
    keys = Keys(path, lambda: NOON)
    compared: list[Any] = []
    compare = hmac.compare_digest
    monkeypatch.setattr(hmac, "compare_digest", lambda *each: (compared.append(each), compare(*each))[1])

    keys.find(minted[shown][0] if shown in minted else SECRET)

    assert [32] * 3 == [len(known) for known, _ in compared]


def test_a_changed_file_is_in_force_when_it_was_looked_at(path: Path) -> None:
    """A key that was added opens, one that was taken out does not; a caller who shows a key reads no file."""
    keys = Keys(path, lambda: NOON)
    key, text = mint("harbour-shop", NOON)
    path.write_text(text)

    found = []
    with capture_logs() as lines:
        for look in (lambda: None, keys.look, keys.look):
            look()
            found.append([caller.id if caller else None for caller in (keys.find("abc"), keys.find(key))])

    assert [["till", None]] + [[None, "harbour-shop"]] * 2 == found
    assert [("keys.read", "info", 1)] == [(line["event"], line["log_level"], line["keys"]) for line in lines]


def test_a_file_is_followed_until_it_is_no_longer(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a thread, which is another than the event loop's, and ends."""
    monkeypatch.setattr(caller_keys, "_LOOK_S", 0.01)
    keys = Keys(path, lambda: NOON)
    looked: list[threading.Thread] = []
    twice = threading.Event()

    def look() -> None:
        looked.append(threading.current_thread())
        if len(looked) > 1:
            twice.set()

    monkeypatch.setattr(keys, "look", look)
    with keys.followed():
        assert twice.wait(20)
    looked[0].join(20)

    assert not looked[0].is_alive()
    assert threading.current_thread() not in looked


def test_keys_of_a_cluster_are_followed_through_their_links(tmp_path: Path) -> None:
    """A Secret changes by a link that is put in place of another (Kubernetes documentation, Secrets)."""
    for name, content in (("..one", entry()), ("..two", entry(id='"till-2"'))):
        (tmp_path / name).mkdir()
        (tmp_path / name / "keys.toml").write_text(content)
    (tmp_path / "..data").symlink_to("..one")
    (tmp_path / "keys.toml").symlink_to(Path("..data") / "keys.toml")
    keys = Keys(tmp_path / "keys.toml", lambda: NOON)

    (tmp_path / "..new").symlink_to("..two")
    (tmp_path / "..new").replace(tmp_path / "..data")

    with capture_logs():
        keys.look()
        assert "till-2" == getattr(keys.find("abc"), "id", None)


@pytest.mark.parametrize("broken", [f"[[keys]]\ndigest = {SECRET}", "", None])
def test_a_broken_file_leaves_the_old_keys_in_force(path: Path, broken: str | None) -> None:
    """One warning tells of it, and nothing secret; when the file is right again, it is read."""
    keys = Keys(path, lambda: NOON)
    if broken is None:
        path.unlink()
    else:
        path.write_text(broken)

    with capture_logs() as lines:
        for _ in range(3):
            keys.look()
            assert keys.find("abc") is not None
        path.write_text(entry(id='"till-2"'))
        keys.look()
        assert "till-2" == getattr(keys.find("abc"), "id", None)

    warning, read_again = lines
    assert ("keys.unusable-file", "warning") == (warning["event"], warning["log_level"])
    assert warning["reason"].startswith(f"{path}: ")
    assert SECRET not in str(warning)
    assert "keys.read" == read_again["event"]
