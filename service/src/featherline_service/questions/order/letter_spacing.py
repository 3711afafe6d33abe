"""Letter spacing: the smallest with which a film takes a text whose letters are too near one another."""

from __future__ import annotations

import math
from typing import Final

from msgspec.structs import replace

from featherline.wire.artworks import LARGEST_LETTER_SPACING
from featherline.wire.records import Film
from featherline_service.questions.order import fine_detail
from featherline_service.questions.order.artwork_sizes import Lettering, SizedArtwork
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines import text_mends
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.text_outlines import TextSetting, Typeface

_THOUSANDTHS: Final = 1000.0  # to which a spacing is rounded up, so that it is written shortly
_ROUNDS: Final = 4  # on an arc a text of a given height has smaller letters when it is spaced


def spaced(film: Film, artwork: SizedArtwork) -> SizedArtwork | None:
    """Return an artwork with the smallest letter spacing with which a film takes it.

    None for a drawing, and where spacing mends nothing: a stroke is too fine, or a gap within a letter.
    """
    lettering, flaws = artwork.lettering, fine_detail.flaws(film, artwork.figure, artwork.scale)
    now = fine_detail.verdict(flaws)
    if lettering is None or now != "decline":
        return None
    between = {"fit.fine-gap", "fit.touch"}
    if artwork.figure.letters is not None and any(flaw.verdict == now and flaw.code not in between for flaw in flaws):
        return None
    try:
        scale = artwork.scale
        for _ in range(_ROUNDS):
            wider = _widened(artwork, lettering, film.finest.gap_mm / scale)
            if wider is None or not _declined(film, wider):
                return wider
            scale = wider.scale
    except DrawingError:  # on an arc a spaced text may be longer than its circle
        pass
    return None


def _declined(film: Film, artwork: SizedArtwork) -> bool:
    return fine_detail.verdict(fine_detail.flaws(film, artwork.figure, artwork.scale)) == "decline"


def _widened(artwork: SizedArtwork, lettering: Lettering, gap: float) -> SizedArtwork | None:
    """Return an artwork with the smallest letter spacing for a gap [font units]; None where there is none."""
    setting = lettering.setting
    spacing = _smallest(lettering.face, lettering.text, setting, gap, lettering.border)
    if spacing is None:
        return None
    spacing = math.ceil(spacing * _THOUSANDTHS) / _THOUSANDTHS
    if not setting.letter_spacing < spacing <= LARGEST_LETTER_SPACING:
        return None
    return artwork.lettered(replace(lettering, setting=replace(setting, letter_spacing=spacing)))


@cached
def _smallest(face: Typeface, text: str, setting: TextSetting, gap: float, border: float) -> float | None:
    return text_mends.smallest_letter_spacing(face, text, setting, gap, border)


def fitted(film: Film, artwork: SizedArtwork) -> SizedArtwork:
    """Return an artwork as it is cut from a film: spaced where that is allowed and mends it, else as asked."""
    if artwork.lettering is None or not artwork.lettering.may_space:
        return artwork
    return spaced(film, artwork) or artwork
