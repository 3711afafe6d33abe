"""Content codings, gzip and zstd: which a caller takes, and bytes in and out of them.

References:
    RFC 9110 sections 8.4.1.3 and 12.5.3. RFC 1952: gzip. RFC 8878: zstd; RFC 9659: its window as a content coding.
"""

from __future__ import annotations

import re
import sys
import zlib
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import Final, NamedTuple, Protocol, cast

from litestar.types import Scope

from featherline_service.messages.told import told

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    from backports import zstd

from featherline_service.web.http.context import header
from featherline_service.web.http.problems import BAD_REQUEST, NOT_ACCEPTABLE, UNSUPPORTED_MEDIA_TYPE, ProblemError

GZIP: Final = "gzip"
ZSTD: Final = "zstd"
VARY: Final = (b"vary", b"Accept-Encoding")
CODINGS: Final = (ZSTD, GZIP)
"""Ours, the one that takes less time for as few bytes first."""

SMALLEST: Final = 1_024  # bytes; what is smaller goes in one packet as it is
MOST_FRAMES: Final = 1_000  # in one body; what makes frames of their own makes them of 100 kB and more (from memory)
FREE_BYTES: Final = 1_048_576
MOST_TIMES: Final = 250
"""That a body may be larger than what was sent; orders that differ by name and number are 65 times."""
_PIECE: Final = 65_536  # bytes that are decoded at a time
_IDENTITY: Final = "identity"
_ALIASES: Final[Mapping[str, str]] = {"x-gzip": GZIP}
_GZIP_BITS: Final = 16 + zlib.MAX_WBITS
# Measured on a quote of 13 kB: 160 and 50 microseconds, once for each cached answer; higher levels take 3 % off, and
# twice the time.
_LARGEST_KEPT: Final = 65_536  # bytes
_GZIP_LEVEL: Final = 6
_ZSTD_LEVEL: Final = 3
# Lines are coded as they are sent: the lowest level takes 35 microseconds a line, where zstd takes 2.
_GZIP_LEVEL_OF_LINES: Final = 1
_WINDOW_LOG: Final = 23  # 8 MiB, the most that a frame may ask its reader to hold (RFC 9659 section 3)
_LONGEST_CACHED: Final = 256  # characters of a field that is parsed once for many requests

_WEIGHT: Final = re.compile(r"q=(0(?:\.[0-9]{0,3})?|1(?:\.0{0,3})?)", re.IGNORECASE)


class CodingPreference(NamedTuple):
    """The codings that a caller prefers, for small answers and for larger ones. None: without a coding."""

    small: str | None = None
    large: str | None = None

    def coding(self, size: int) -> str | None:
        """Return the coding for an answer of so many bytes."""
        return self.small if size < SMALLEST else self.large


IDENTITY: Final = CodingPreference()


def parse_accept_encoding(accept_encoding: str | None) -> CodingPreference:
    """Return the preference in an Accept-Encoding field; without one, answers have no coding.

    Of codings with the same weight the one that takes less time counts; a coding counts before none, unless none has
    the higher weight.

    Raises:
        ProblemError: It rules out every coding, and none as well (406).
    """
    if accept_encoding is None:
        return IDENTITY
    parse = _parse_cached if len(accept_encoding) <= _LONGEST_CACHED else _parse
    preference = parse(accept_encoding)
    if preference is None:
        raise ProblemError(
            NOT_ACCEPTABLE,
            f"Answers are sent with {' or '.join(CODINGS)}, or without a coding; "
            f"Accept-Encoding was {accept_encoding!r}.",
        )
    return preference


def coding_preference(scope: Scope) -> CodingPreference:
    """Return the codings that the caller of a request prefers.

    Raises:
        ProblemError: It rules out every coding, and none as well (406).
    """
    return parse_accept_encoding(header(scope, b"accept-encoding"))


def quality(parameters: Iterable[str]) -> float:
    """Return the weight among parameters of an Accept field; 1 without one (RFC 9110 section 12.4.2)."""
    return next((float(match[1]) for parameter in parameters if (match := _WEIGHT.fullmatch(parameter))), 1.0)


def _parse(accept_encoding: str) -> CodingPreference | None:
    weights: dict[str, float] = {}
    for part in accept_encoding.split(","):
        name, *parameters = (field.strip() for field in part.lower().split(";"))
        if name:
            weights[_ALIASES.get(name, name)] = quality(parameters)
    others = weights.get("*")
    coded = {coding: weights.get(coding, others or 0.0) for coding in CODINGS}
    best = max(CODINGS, key=lambda coding: coded[coding])
    plain = weights.get(_IDENTITY, others)  # None: not named, and never ruled out
    if not coded[best]:
        return None if plain == 0 else IDENTITY
    if plain == 0:
        return CodingPreference(best, best)
    return IDENTITY if plain is not None and plain > coded[best] else CodingPreference(None, best)


_parse_cached: Final = lru_cache(maxsize=64)(_parse)


def encode(body: bytes, coding: str) -> bytes:
    """Return a body in a coding; the same bytes each time."""
    if coding == ZSTD:
        return zstd.compress(body, _ZSTD_LEVEL)
    return zlib.compress(body, _GZIP_LEVEL, _GZIP_BITS)


def encode_once(body: bytes, coding: str) -> bytes:
    """Return what `encode` does, cached for small bodies that are asked for again, such as those of the book's records.

    Pages of a long list are as many as callers make of it, and large.
    """
    return _encode_once(body, coding) if len(body) <= _LARGEST_KEPT else encode(body, coding)


@lru_cache(maxsize=256)
def _encode_once(body: bytes, coding: str) -> bytes:
    return encode(body, coding)


class _Stream(Protocol):
    """A stream that is being encoded, by zlib or zstd."""

    def compress(self, data: bytes, /) -> bytes:
        """Return what is ready of the coding after more data."""
        ...

    def flush(self, mode: int = ..., /) -> bytes:
        """Return the rest of a block, or what ends the coding."""
        ...


class Encoder:
    """Encodes a stream; each part that was written can be read at once. Without a coding it leaves parts unchanged."""

    def __init__(self, coding: str | None) -> None:
        self._stream: _Stream | None = None
        self._block = 0
        if coding == ZSTD:
            self._stream = cast("_Stream", zstd.ZstdCompressor(_ZSTD_LEVEL))
            self._block = zstd.ZstdCompressor.FLUSH_BLOCK
        elif coding is not None:
            self._stream = zlib.compressobj(_GZIP_LEVEL_OF_LINES, wbits=_GZIP_BITS)
            self._block = zlib.Z_SYNC_FLUSH

    def write(self, part: bytes) -> bytes:
        """Return a part in the coding."""
        return part if self._stream is None else self._stream.compress(part) + self._stream.flush(self._block)

    def end(self) -> bytes:
        """Return what ends the coding."""
        return b"" if self._stream is None else self._stream.flush()


class _Frame(Protocol):
    """One frame of a coding that is being decoded."""

    @property
    def eof(self) -> bool:
        """Whether it has ended."""
        ...

    @property
    def unused_data(self) -> bytes:
        """What came after its end."""
        ...

    def decompress(self, data: bytes, max_length: int, /) -> bytes:
        """Return at most so many bytes of it."""
        ...


class _GzipFrame:
    """One member, read as frames of zstd are: what was not decoded yet is held."""

    def __init__(self) -> None:
        self._stream = zlib.decompressobj(_GZIP_BITS)

    @property
    def eof(self) -> bool:
        return self._stream.eof

    @property
    def unused_data(self) -> bytes:
        return self._stream.unused_data

    def decompress(self, data: bytes, max_length: int, /) -> bytes:
        return self._stream.decompress(self._stream.unconsumed_tail + data, max_length)


def _zstd_frame() -> _Frame:
    return cast("_Frame", zstd.ZstdDecompressor(options={zstd.DecompressionParameter.window_log_max: _WINDOW_LOG}))


class Decoder:
    """Decodes a body as it arrives, in pieces of bounded size."""

    def __init__(self, coding: str | None) -> None:
        self._coding = coding
        self._frame = None if coding is None else self._begin()
        self._frames = 1
        self._sent = 0
        self._decoded = 0

    def _begin(self) -> _Frame:
        return _zstd_frame() if self._coding == ZSTD else _GzipFrame()

    def feed(self, part: bytes) -> Iterator[bytes]:
        """Yield a part of the body decoded, in pieces.

        Raises:
            ProblemError: It is not in the coding, or decodes to far more than honest bodies do (400).
        """
        if self._frame is None:
            yield part
            return
        self._sent += len(part)
        while True:
            if self._frame.eof:
                part = self._frame.unused_data + part
                if not part:
                    return
                self._frames += 1
                if self._frames > MOST_FRAMES:
                    raise self._problem(f"has more than {MOST_FRAMES} frames")
                self._frame = self._begin()
            try:
                piece = self._frame.decompress(part, _PIECE)
            except (zlib.error, zstd.ZstdError) as error:
                raise self._problem("cannot be decoded") from error
            part = b""
            self._decoded += len(piece)
            if self._decoded > FREE_BYTES + MOST_TIMES * self._sent:
                raise self._problem(
                    f"is more than {MOST_TIMES} times as large as what was sent: send it with less coding"
                )
            if piece:
                yield piece
            elif not self._frame.eof:
                return

    def end(self) -> None:
        """End the body.

        Raises:
            ProblemError: The coded data has not ended (400).
        """
        if self._frame is not None and not self._frame.eof:
            raise self._problem("breaks off")

    def _problem(self, words: str) -> ProblemError:
        return ProblemError(BAD_REQUEST, f"The body in Content-Encoding {self._coding} {words}.")


def decoder_of(scope: Scope) -> Decoder:
    """Return the decoder of the body of a request.

    Raises:
        ProblemError: It has a coding that is not supported, or more than one (415).
    """
    content_encoding = header(scope, b"content-encoding")
    if content_encoding is None:
        return Decoder(None)
    name = content_encoding.strip().lower()
    coding = _ALIASES.get(name, name)
    if coding not in CODINGS:
        raise ProblemError(
            UNSUPPORTED_MEDIA_TYPE,
            told(
                "body.coding",
                "The body has Content-Encoding {coding!r}; send it with {codings}, or as it is.",
                coding=content_encoding,
                codings=" or ".join(CODINGS),
            ),
            headers={"accept-encoding": ", ".join(CODINGS)},
        )
    return Decoder(coding)
