"""Fields of a request's head: found by name, and of one sent more than once all values."""

from __future__ import annotations

from typing import Any

from featherline_service.web.http.context import header


def scope(*fields: tuple[bytes, bytes]) -> Any:  # noqa: ANN401 - an ASGI scope
    """Return the scope of a request with fields."""
    return {"type": "http", "headers": list(fields)}


def test_a_field_is_found_by_its_name() -> None:
    """Or is not there; bytes beyond ASCII are read as Latin-1, so that none is lost."""
    asked = scope((b"accept", b"*/*"), (b"prefer", b"wait=\xe9"))

    assert ["*/*", "wait=\xe9", None] == [header(asked, name) for name in (b"accept", b"prefer", b"accept-encoding")]


def test_a_field_that_comes_twice_has_both_values() -> None:
    """In their order, as if it had been sent as a list (RFC 9110 section 5.3)."""
    asked = scope((b"accept-encoding", b"gzip"), (b"host", b"x"), (b"accept-encoding", b"zstd;q=0.5"))

    assert ["gzip, zstd;q=0.5", "x"] == [header(asked, name) for name in (b"accept-encoding", b"host")]


def test_a_request_without_fields_has_none() -> None:
    """However often it is asked."""
    asked = scope()

    assert [None, None] == [header(asked, b"host") for _ in range(2)]


class Name(bytes):
    """The name of a field that counts how often it is compared."""

    compared = 0

    def __eq__(self, other: object) -> bool:
        """Compare, and count it."""
        Name.compared += 1
        return bytes.__eq__(self, other)

    __hash__ = bytes.__hash__


def test_fields_are_read_in_a_time_that_grows_as_they_do() -> None:
    """However many there are, each is compared a few times: with its namesakes, not with all."""
    Name.compared = 0
    fields = [(Name(b"tide-%d" % number), b"7") for number in range(1_000)]

    assert "7, 8" == header(scope(*fields, (Name(b"tide-9"), b"8")), b"tide-9")
    assert Name.compared < 3 * len(fields)
