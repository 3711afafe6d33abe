"""Artwork drawn out at its height."""

from __future__ import annotations

import binascii
import math
import unicodedata
from contextlib import suppress
from functools import cached_property
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from featherline.plugins import ArtworkError, Drawing, Installed
from featherline.wire.artworks import Artwork, FileArtwork, SvgArtwork, TextArtwork
from featherline.wire.measures import Measures
from featherline.wire.quantities import LARGEST
from featherline.wire.recipes import Units
from featherline_service import plugins
from featherline_service.book.shop_book import Book
from featherline_service.drawing.printable import printable
from featherline_service.messages.told import measured, told
from featherline_service.messages.values import Quantity, said
from featherline_service.quantities import bound, millimetres
from featherline_service.questions.checks import FAULT, Checks
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines import figures, text_outlines
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.figures import Figure
from featherline_service.shape.outlines.text_outlines import TextError, TextSetting, Typeface
from featherline_service.shape.outlines.widths import Detail

# Larger than any shoe: it keeps a slip of the keyboard from asking for millions of points.
LARGEST_ARTWORK_MM: Final = 1000.0

LOOKED_AT_MM: Final = 60.0
"""The longer side of an artwork that is to be as large as fits, until its place is known."""

_LONGEST_WORD: Final = 500  # of what a plug-in says of a file
_LONGEST_NAME: Final = 60


class Lettering(Struct, frozen=True):
    """A text, and how it is set: its font by id and as loaded, its border [capital heights].

    `asked_spacing` is the letter spacing asked for, and `may_space` whether a larger one may be taken.
    """

    text: str
    font: str
    face: Typeface
    setting: TextSetting
    border: float
    asked_spacing: float
    may_space: bool


class LetterBounds(Struct, frozen=True):
    """The least and the greatest height of letters that are to be as large as fits [mm]; None: no such bound."""

    least: float | None
    most: float | None


class SizedArtwork(Struct, frozen=True, eq=False, dict=True):
    """An artwork at its height."""

    figure: Figure
    scale: float
    """Millimetres for each unit of the figure."""
    text: str | None
    """Its words; None for a drawing."""
    lettering: Lettering | None
    """How its words are set; None for a drawing."""
    by_letters: bool
    """Its height was given as that of its letters."""
    is_directional: bool
    """It is mirrored with the panel, as any other artwork is not."""
    units: Units
    """Units of sentences for people."""
    largest: LetterBounds | None = None
    """Its letters are to be as large as fits, between bounds; None: its height was given."""

    @property
    def name(self) -> str:
        """Its words, or "drawing"."""
        return "drawing" if self.text is None else printable(self.text, _LONGEST_NAME)

    @property
    def characters(self) -> int:
        """The number of letters and signs of its text; spaces and combining marks do not count."""
        return sum(
            not character.isspace() and not unicodedata.category(character).startswith(("M", "C"))
            for character in self.text or ""
        )

    @property
    def letter_height_mm(self) -> float:
        """The height of its flat capitals; zero for a drawing."""
        return (self.figure.capital or 0.0) * self.scale

    @property
    def letter_spacing_mm(self) -> float | None:
        """The spacing added between its letters; None for a drawing."""
        return (
            None if self.lettering is None else round(self.lettering.setting.letter_spacing * self.letter_height_mm, 4)
        )

    @property
    def detail(self) -> Detail:
        """Its detail in millimetres."""
        return self.figure.detail.scaled(self.scale)

    @cached_property
    def fineness(self) -> int:
        """How finely its curves are drawn out."""
        return self.figure.fineness(self.scale)

    def sized(self, scale: float) -> SizedArtwork:
        """Return a copy at a scale."""
        return replace(self, scale=scale)

    def lettered(self, lettering: Lettering) -> SizedArtwork | None:
        """Return its words set otherwise, at the height asked for; None where that is too wide for any shoe.

        Raises:
            DrawingError: The text cannot be set so.
        """
        figure = figures.of_text(lettering.face, lettering.text, lettering.setting, lettering.border)
        was, now = self.figure.height, figure.height
        if self.by_letters and self.figure.capital is not None and figure.capital is not None:
            was, now = self.figure.capital, figure.capital
        scale = self.scale * was / now
        if max(figure.width, figure.height) * scale > LARGEST_ARTWORK_MM:
            return None
        return replace(self, figure=figure, scale=scale, lettering=lettering)

    @property
    def sized_by(self) -> str:
        """Whether its height was given by its letters, as the word of messages."""
        return "letters" if self.by_letters and self.figure.capital is not None else "artwork"

    def height_said(self, scale: float, *, upwards: bool = False) -> Quantity:
        """Return its height at a scale, or that of its letters where it was given so, for people."""
        capital = self.figure.capital
        height = capital if self.by_letters and capital is not None else self.figure.height
        return bound(height * scale, self.units, upwards=upwards)


def measures(artwork: SizedArtwork) -> Measures:
    """Return an artwork's measures, as they cross the wire."""
    figure, scale, detail = artwork.figure, artwork.scale, artwork.detail
    return Measures(
        width_mm=round(figure.width * scale, 4),
        height_mm=round(figure.height * scale, 4),
        letter_height_mm=None if figure.capital is None else round(figure.capital * scale, 4),
        letter_spacing=None if artwork.lettering is None else artwork.lettering.setting.letter_spacing,
        letter_spacing_mm=artwork.letter_spacing_mm,
        area_mm2=round(detail.area, 4),
        cut_length_mm=round(detail.cut_length, 4),
        corners=detail.corners,
        pieces=detail.pieces,
        waste_pieces=detail.counters + 1,
        narrowest_stroke_mm=round(detail.stroke, 4),
        narrowest_gap_mm=None if detail.gap is None else round(detail.gap, 4),
        narrowest_counter_mm=None if detail.counter is None else round(detail.counter, 4),
        smallest_island_mm2=round(detail.island, 4),
        tips=detail.tips,
        sharpest_deg=None if detail.sharpest is None else round(math.degrees(detail.sharpest), 4),
    )


def find_artwork(book: Book, artwork: Artwork, units: Units, checks: Checks) -> SizedArtwork | None:
    """Return an artwork at its height; note what is wrong, and return None, where it cannot be drawn."""
    lettering = _lettering(book, artwork, checks) if isinstance(artwork, TextArtwork) else None
    figure = _figure(book, artwork, lettering, checks)
    scale = _scale(artwork, figure, checks)
    if figure is None or scale is None:
        return None
    bounds = None
    if isinstance(artwork, TextArtwork):
        before = checks.faults
        bounds = _bounds(artwork, figure, checks)
        if len(checks.faults) > len(before):
            return None
    return SizedArtwork(
        figure=figure,
        scale=scale,
        largest=bounds,
        text=artwork.text if isinstance(artwork, TextArtwork) else None,
        lettering=lettering,
        by_letters=isinstance(artwork, TextArtwork) and artwork.letter_height is not None,
        is_directional=not isinstance(artwork, TextArtwork) and artwork.directional,
        units=units,
    )


def with_border(artwork: SizedArtwork, border_mm: float, checks: Checks) -> SizedArtwork | None:
    """Return an artwork grown by a border on all sides [mm]; note one that is too large for any shoe, or to compute."""
    figure, scale = artwork.figure, artwork.scale
    if max(figure.width, figure.height) * scale + 2.0 * border_mm > LARGEST_ARTWORK_MM:
        checks.note(
            "/border",
            told(
                "border.too-wide",
                "With it the artwork is larger than {largest_artwork}",
                largest_artwork=measured(LARGEST_ARTWORK_MM, "mm"),
            ),
        )
        return None
    try:
        return replace(artwork, figure=figures.grown(figure, border_mm / scale), by_letters=False)
    except DrawingError as error:
        checks.note("/border", error.told)
        return None


def _figure(book: Book, artwork: Artwork, lettering: Lettering | None, checks: Checks) -> Figure | None:
    if isinstance(artwork, TextArtwork):
        return None if lettering is None else _text(book, lettering, checks)
    if isinstance(artwork, FileArtwork):
        return _file(book, artwork, checks)
    try:
        if isinstance(artwork, SvgArtwork):
            return figures.of_svg(artwork.svg)
        return figures.of_path(artwork.d, artwork.fill_rule)
    except DrawingError as error:
        checks.note("/artwork/svg" if isinstance(artwork, SvgArtwork) else "/artwork/d", error.told)
        return None


def _file(book: Book, artwork: FileArtwork, checks: Checks) -> Figure | None:
    reader = book.plugins.artwork_readers.get(artwork.media_type)
    if reader is None:
        read = ", ".join(sorted(book.plugins.artwork_readers)) or "none"
        checks.note(
            "/artwork/media_type",
            told(
                "artwork.media-type-unread",
                "No plug-in here reads {media_type!r}; they read: {read}. Or send a `path` or an `svg`",
                media_type=artwork.media_type,
                read=read,
            ),
        )
        return None
    try:
        content = binascii.a2b_base64(artwork.base64, strict_mode=True)
        drawing = _read(reader, content, artwork.media_type)
        return figures.of_path(drawing.d, drawing.fill_rule)
    except binascii.Error as error:
        checks.note("/artwork/base64", told("artwork.not-base64", "It is not Base64: {error}", error=str(error)))
    except (ArtworkError, DrawingError) as error:
        checks.note(
            "/artwork/base64",
            told(
                "artwork.unreadable",
                "Read as {media_type}: {error}",
                media_type=artwork.media_type,
                error=str(error)[:_LONGEST_WORD],
            ),
        )
    return None


@cached
def _read(reader: Installed, content: bytes, media_type: str) -> Drawing:
    return plugins.read(reader, content, media_type)


def _text(book: Book, lettering: Lettering, checks: Checks) -> Figure | None:
    try:
        return figures.of_text(lettering.face, lettering.text, lettering.setting, lettering.border)
    except text_outlines.MissingGlyphError as error:
        able = [book.fonts[font] for font in _fonts_that_have(book, lettering.text)]
        font = book.fonts[lettering.font]
        words = said("fault.text.lacks-glyphs", font=font, characters=error.names, fonts=able or None)
        checks.note("/artwork/text", words)
    except TextError as error:
        checks.note("/artwork/text", said(f"{FAULT}{error.code}", **error.values))
    except DrawingError:
        checks.note("/artwork/text", said("fault.text.too-detailed"))
    return None


def _lettering(book: Book, artwork: TextArtwork, checks: Checks) -> Lettering | None:
    if checks.record(book.fonts, "font", artwork.font, "/artwork/font") is None:
        return None
    return Lettering(
        text=artwork.text,
        font=artwork.font,
        face=text_outlines.typeface(book.font_files[artwork.font]),
        setting=TextSetting(artwork.align, artwork.line_distance, artwork.letter_spacing, artwork.arc),
        border=artwork.border,
        asked_spacing=artwork.letter_spacing,
        may_space=artwork.fit_letters == "space",
    )


def _fonts_that_have(book: Book, text: str) -> list[str]:
    """Return which fonts of the book can set a text."""
    able = []
    for font, file in sorted(book.font_files.items()):
        with suppress(DrawingError):
            text_outlines.lay_out(text_outlines.typeface(file), text)
            able.append(font)
    return able


def _bounds(artwork: TextArtwork, figure: Figure, checks: Checks) -> LetterBounds | None:
    """Return the bounds of letters as large as fits, None for letters of a given height; note what is wrong."""
    if artwork.letter_height != LARGEST:
        for name, bound in (("letters_from", artwork.letters_from), ("letters_to", artwork.letters_to)):
            if bound is not None:
                checks.note(
                    f"/artwork/{name}",
                    told("letters.bound-of-largest", "A bound of the `letter_height` 'largest' alone: leave it out"),
                )
        return None
    given = {
        name: checks.value(millimetres, text, f"/artwork/{name}")
        for name, text in (("letters_from", artwork.letters_from), ("letters_to", artwork.letters_to))
        if text is not None
    }
    bounds = LetterBounds(given.get("letters_from"), given.get("letters_to"))
    if bounds.least is not None and artwork.letters_from is not None and figure.capital is not None:
        _check_size(figure, bounds.least / figure.capital, "letters_from", artwork.letters_from, checks)
    if bounds.least is not None and bounds.most is not None and bounds.least > bounds.most:
        checks.note("/artwork/letters_to", said("fault.letters.bounds-swapped"))
    return bounds


def _scale(artwork: Artwork, figure: Figure | None, checks: Checks) -> float | None:
    """Return millimetres for each unit of the figure; note an artwork too large for any shoe, or to compute."""
    if isinstance(artwork, TextArtwork) and artwork.letter_height == LARGEST:
        # For the first look alone: the place decides.
        return None if figure is None else LOOKED_AT_MM / max(figure.width, figure.height)
    if isinstance(artwork, TextArtwork) and artwork.letter_height is not None:
        text, name, unit = artwork.letter_height, "letter_height", figure and figure.capital
    else:
        text, name, unit = artwork.height or "", "height", figure and figure.height
    height = checks.value(millimetres, text, f"/artwork/{name}")
    if height is None or figure is None or not isinstance(unit, float):
        return None
    scale = height / unit
    return scale if _check_size(figure, scale, name, text, checks) else None


def _check_size(figure: Figure, scale: float, name: str, text: str, checks: Checks) -> bool:
    """Note that an artwork is too large for any shoe at a height, or to compute; return whether it is not too large."""
    if max(figure.width, figure.height) * scale > LARGEST_ARTWORK_MM:
        words = said(
            "fault.artwork.too-large",
            asked=text,
            width=Quantity(round(figure.width * scale), "mm", 0),
            height=Quantity(round(figure.height * scale), "mm", 0),
            most=Quantity(LARGEST_ARTWORK_MM, "mm", 0),
        )
        checks.note(f"/artwork/{name}", words)
        return False
    try:
        figures.check_drawn(figure, figure.fineness(scale))  # a larger artwork has finer curves
        figures.detail_at(figure, scale)  # in a smaller one more outlines touch
    except DrawingError:
        checks.note(f"/artwork/{name}", said("fault.artwork.too-detailed", asked=text))
    return True
