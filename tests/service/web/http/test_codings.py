"""Content codings: which is taken, and bytes in and out of them."""

from __future__ import annotations

import gzip
import sys
import tracemalloc
import zlib
from collections.abc import Callable
from typing import Any

import pytest

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    from backports import zstd

from featherline_service.web.http.codings import (
    FREE_BYTES,
    GZIP,
    IDENTITY,
    MOST_FRAMES,
    MOST_TIMES,
    SMALLEST,
    ZSTD,
    CodingPreference,
    Encoder,
    decoder_of,
    encode,
    encode_once,
    parse_accept_encoding,
)
from featherline_service.web.http.problems import ProblemError

TEXT = b"".join(b'{"name":"MARLOW","number":%d}\n' % number for number in range(5_000))
CODED: dict[str, Callable[[bytes], bytes]] = {
    GZIP: gzip.compress,
    ZSTD: lambda body: zstd.compress(body, options={zstd.CompressionParameter.checksum_flag: 1}),
}
DECODED: dict[str, Callable[[bytes], bytes]] = {GZIP: gzip.decompress, ZSTD: zstd.decompress}


def scope(*headers: tuple[bytes, bytes]) -> Any:  # noqa: ANN401 - a scope's headers are all that is read
    """Return a request's scope."""
    return {"headers": [(b"host", b"saltmarsh.test"), *headers]}


def decode(coding: str, sent: bytes, part: int = 1_000) -> bytes:
    """Return a body that comes in parts, decoded."""
    decoder = decoder_of(scope((b"content-encoding", coding.encode())))
    pieces = [piece for at in range(0, len(sent), part) for piece in decoder.feed(sent[at : at + part])]
    decoder.end()
    return b"".join(pieces)


@pytest.mark.parametrize(
    ("accept_encoding", "expected"),
    [
        (None, IDENTITY),
        ("", IDENTITY),
        (",, ;", IDENTITY),
        ("gzip", CodingPreference(None, GZIP)),
        ("GZip", CodingPreference(None, GZIP)),
        ("x-gzip", CodingPreference(None, GZIP)),
        ("gzip, deflate, br", CodingPreference(None, GZIP)),
        ("gzip, deflate, br, zstd", CodingPreference(None, ZSTD)),
        ("deflate, br", IDENTITY),
        ("compress, gzip", CodingPreference(None, GZIP)),
        ("*", CodingPreference(None, ZSTD)),
        ("compress;q=0.5, gzip;q=1.0", CodingPreference(None, GZIP)),
        ("gzip;q=1.0, identity; q=0.5, *;q=0", CodingPreference(None, GZIP)),
        ("zstd;q=0.5, gzip;q=0.8", CodingPreference(None, GZIP)),
        ("zstd;q=0, *", CodingPreference(None, GZIP)),
        ("gzip ; q=0.5 , zstd;Q=0.501", CodingPreference(None, ZSTD)),
        ("identity, gzip;q=0.5", IDENTITY),
        ("identity;q=0.5, gzip;q=0.5", CodingPreference(None, GZIP)),
        ("gzip;q=0", IDENTITY),
        ("*;q=0.1, identity;q=0.2", IDENTITY),
        ("gzip, identity;q=0", CodingPreference(GZIP, GZIP)),
        ("gzip, *;q=0", CodingPreference(GZIP, GZIP)),
        ("identity;q=0.0, *", CodingPreference(ZSTD, ZSTD)),
        ("gzip;q=2", CodingPreference(None, GZIP)),
        ("zstd, " + "gzip;q=0.1, " * 100, CodingPreference(None, ZSTD)),
    ],
)
def test_the_coding_with_the_highest_weight_is_taken(accept_encoding: str | None, expected: CodingPreference) -> None:
    """By RFC 9110 section 12.5.3, with the five examples of that section; of equals, the one that takes less time."""
    assert expected == parse_accept_encoding(accept_encoding)


@pytest.mark.parametrize("accept_encoding", ["identity;q=0", "*;q=0", "br, *;q=0", "gzip;q=0, identity;q=0"])
def test_where_nothing_is_left_that_is_said(accept_encoding: str) -> None:
    """No coding of ours, and none as well (RFC 9110 section 12.5.3)."""
    with pytest.raises(ProblemError, match="Accept-Encoding was") as refused:
        parse_accept_encoding(accept_encoding)

    assert 406 == refused.value.kind.status


def test_a_small_answer_is_coded_only_where_the_caller_insists() -> None:
    """Up to a packet's size a coding saves nothing."""
    assert [None, ZSTD, ZSTD, ZSTD] == [
        parse_accept_encoding(text).coding(size)
        for text in ("zstd", "zstd, identity;q=0")
        for size in (SMALLEST - 1, SMALLEST)
    ]


@pytest.mark.parametrize("coding", [GZIP, ZSTD])
def test_what_is_encoded_is_read_by_others(coding: str) -> None:
    """The library's own decoder gives it back; the same bytes have the same coding, so that a tag can be strong."""
    encoded = encode(TEXT, coding)

    assert TEXT == DECODED[coding](encoded)
    assert encoded == encode(TEXT, coding) == encode_once(TEXT, coding)
    assert len(encoded) < len(TEXT) / 3


@pytest.mark.parametrize("coding", [GZIP, ZSTD, None])
def test_what_is_written_can_be_read_at_once(coding: str | None) -> None:
    """Each part of a stream is whole when it is written, and the stream is one frame."""
    encoder = Encoder(coding)
    decoder = decoder_of(scope()) if coding is None else decoder_of(scope((b"content-encoding", coding.encode())))
    parts = [TEXT[:100], TEXT[100:70_000], TEXT[70_000:]]
    written = [encoder.write(part) for part in parts]
    read = [b"".join(decoder.feed(part)) for part in written]
    end = encoder.end()
    read.append(b"".join(decoder.feed(end)))
    decoder.end()

    assert [*parts, b""] == read
    assert coding is None or TEXT == DECODED[coding](b"".join((*written, end)))


@pytest.mark.parametrize("part", [1, 7, 1_000, 10**9])
@pytest.mark.parametrize("coding", [GZIP, ZSTD])
def test_a_body_is_decoded_however_it_comes(coding: str, part: int) -> None:
    """Byte by byte or all at once; frames may follow one another (RFC 1952 section 2.2, RFC 8878 section 3)."""
    text = TEXT if part > 7 else TEXT[:3_000]
    one, many = CODED[coding](text), b"".join(CODED[coding](text) for _ in range(3))

    assert text == decode(coding, one, part)
    assert text * 3 == decode(coding, many, part)


def test_an_old_name_of_gzip_is_gzip() -> None:
    """In any case (RFC 9110 sections 8.4.1 and 8.4.1.3)."""
    assert [TEXT, TEXT] == [decode(name, gzip.compress(TEXT)) for name in ("x-gzip", "GZIP")]


@pytest.mark.parametrize("coding", [GZIP, ZSTD])
@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda coded: coded[:-1], "breaks off"),
        (lambda _: b"", "breaks off"),
        (lambda coded: coded + b"!" * 20, "cannot be decoded"),
        (lambda coded: b"{}" + coded, "cannot be decoded"),
        (lambda coded: coded[:200] + b"\x00" * 100 + coded[300:], "cannot be decoded"),
    ],
)
def test_what_is_not_in_its_coding_is_refused(coding: str, spoil: Callable[[bytes], bytes], words: str) -> None:
    """Cut short, followed by other bytes, or spoilt; the caller is told which."""
    with pytest.raises(ProblemError, match=f"Content-Encoding {coding} {words}") as refused:
        decode(coding, spoil(CODED[coding](TEXT)))

    assert 400 == refused.value.kind.status


@pytest.mark.parametrize("encoding", ["br", "deflate", "identity", "gzip, gzip", "gzip, zstd", "", "gzip;q=1"])
def test_other_codings_are_refused_with_those_that_are_taken(encoding: str) -> None:
    """In the field that says that the coding was at fault (RFC 9110 sections 12.5.3 and 15.5.16)."""
    with pytest.raises(ProblemError, match="Content-Encoding") as refused:
        decoder_of(scope((b"content-encoding", encoding.encode())))

    assert (415, {"accept-encoding": "zstd, gzip"}) == (refused.value.kind.status, refused.value.headers)


@pytest.mark.parametrize("coding", [GZIP, ZSTD])
def test_a_bomb_is_read_in_pieces_and_not_for_long(coding: str) -> None:
    """300 MB in 300 kB or less: refused soon, in a few megabytes of memory, wherever it is read."""
    if coding == GZIP:
        stream = zlib.compressobj(9, wbits=31)
        bomb = b"".join(stream.compress(b" " * 1_000_000) for _ in range(300)) + stream.flush()
    else:
        made = zstd.ZstdCompressor()
        bomb = b"".join(made.compress(b" " * 1_000_000) for _ in range(300)) + made.flush()
    decoder = decoder_of(scope((b"content-encoding", coding.encode())))
    sizes: list[int] = []
    tracemalloc.start()
    with pytest.raises(ProblemError, match="times as large as what was sent") as refused:
        sizes.extend(map(len, decoder.feed(bomb)))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert 400 == refused.value.kind.status
    assert max(sizes) <= 65_536
    assert sum(sizes) <= FREE_BYTES + MOST_TIMES * len(bomb) < 300_000_000
    assert peak < 20_000_000


@pytest.mark.parametrize("coding", [GZIP, ZSTD])
def test_frames_are_counted(coding: str) -> None:
    """A body of nothing but ends and beginnings is refused."""
    empty = CODED[coding](b"")

    assert b"" == decode(coding, empty * MOST_FRAMES, 10**9)
    with pytest.raises(ProblemError, match=f"more than {MOST_FRAMES} frames"):
        decode(coding, empty * (MOST_FRAMES + 1), 10**9)


def test_no_more_is_held_than_a_coding_may_ask_for() -> None:
    """A frame that asks its reader for 128 MiB is refused (RFC 9659 section 3: 8 MiB); one that asks for 8 is read."""

    def stream(log: int) -> bytes:
        made = zstd.ZstdCompressor(options={zstd.CompressionParameter.window_log: log})
        return made.compress(TEXT) + made.flush()

    assert TEXT == decode(ZSTD, stream(23), 10**9)
    with pytest.raises(ProblemError, match="cannot be decoded"):
        decode(ZSTD, stream(27), 10**9)
