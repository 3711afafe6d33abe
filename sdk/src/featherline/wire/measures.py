"""The question "what is this artwork like, and which films take it?", and its answer; measures that fits have too."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from featherline.wire.artworks import Artwork
from featherline.wire.recipes import Units
from featherline.wire.texts import Engine, Identifier, Name, Revision
from featherline.wire.verdicts import Reason, Verdict


class ArtworkRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is this artwork like at its height, and can this film be cut and weeded to it?

    Without `film`, every film of the book is asked about.
    """

    artwork: Artwork
    film: Identifier | None = None
    units: Units = "metric"


class Measures(Struct, frozen=True, kw_only=True):
    """The artwork as cut: its box, its film, its knife path, and its finest detail (null where it has none).

    A width is measured square across, so a corner's taper and a notch's are none: they are counted as `tips`.
    """

    width_mm: float
    height_mm: float
    letter_height_mm: float | None
    area_mm2: float
    cut_length_mm: float
    corners: int
    pieces: Annotated[int, Meta(description="Separate pieces of film that stay.")]
    waste_pieces: Annotated[int, Meta(description="Pieces to weed: the counters, and the surround.")]
    narrowest_stroke_mm: float
    narrowest_gap_mm: Annotated[float | None, Meta(description="Between pieces, in a piece, or in a counter.")]
    narrowest_counter_mm: Annotated[float | None, Meta(description="Of the gaps, the narrowest in a counter.")]
    smallest_island_mm2: float
    tips: Annotated[int, Meta(description="Corners of the film, and notches in it, sharper than 60 degrees.")]
    sharpest_deg: Annotated[float | None, Meta(description="The sharpest of all corners and notches.")]


class Proportions(Struct, frozen=True, kw_only=True):
    """The measures that grow with the height, as they are at a height of one: lengths by it, areas by its square."""

    width: float
    letter_height: float | None
    area: float
    cut_length: float
    narrowest_stroke: float
    narrowest_gap: float | None
    narrowest_counter: float | None
    smallest_island: float


class Smallest(Struct, frozen=True, kw_only=True):
    """The smallest similar copy that a film takes."""

    scale: float
    width_mm: float
    height_mm: float
    letter_height_mm: float | None


class FilmVerdict(Struct, frozen=True, kw_only=True):
    """Whether a film can be cut and weeded to an artwork, or printed so where it is not cut.

    `verdict` is of the film's detail alone, at the height asked for. `smallest` is null where no height that can be
    asked for is enough.
    """

    film: Identifier
    name: Name
    is_cut: bool
    verdict: Verdict
    reasons: tuple[Reason, ...]
    smallest: Smallest | None


class ArtworkAnswer(Struct, frozen=True, kw_only=True):
    """The answer to an `ArtworkRequest`.

    `films` holds the film asked about, or all of the book, those first that take the artwork smallest. `taken_by` are
    the films of the whole book that take it at the height asked for.
    """

    artwork: Measures
    proportions: Proportions
    films: tuple[FilmVerdict, ...]
    taken_by: tuple[Identifier, ...]
    book: Revision
    engine: Engine
