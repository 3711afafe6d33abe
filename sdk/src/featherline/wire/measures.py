"""The question "what are this artwork's measures, and which films can be cut to it?", and its answer."""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Meta, Struct

from featherline.wire.artworks import Artwork
from featherline.wire.recipes import Units
from featherline.wire.texts import BookUntil, Engine, Identifier, Name, Revision, Sentence
from featherline.wire.verdicts import MessageId, Parameter, Reason, SentenceLanguage, Verdict


class ArtworkRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What are the measures of this artwork at its height, and can this film be cut and weeded to it?

    Without `film`, the answer is about every film of the book.
    """

    artwork: Artwork
    film: Identifier | None = None
    units: Units = "metric"


class Measures(Struct, frozen=True, kw_only=True):
    """The artwork as cut: its box, the area of its film, its knife path, and its finest details, null if it has none.

    Widths are measured at right angles to a stroke or a gap. The taper of a corner or a notch is not a width; it is
    counted in `tips`.
    """

    width_mm: float
    height_mm: float
    letter_height_mm: float | None
    letter_spacing: Annotated[
        float | None, Meta(description="Added between letters, in capital heights; null for a drawing.")
    ] = None
    letter_spacing_mm: float | None = None
    area_mm2: float
    cut_length_mm: float
    corners: int
    pieces: Annotated[int, Meta(description="Pieces of film that stay on the carrier after weeding.")]
    waste_pieces: Annotated[int, Meta(description="Pieces to weed: the counters and the surround.")]
    narrowest_stroke_mm: float
    narrowest_gap_mm: Annotated[
        float | None, Meta(description="The narrowest gap between pieces, within a piece, or in a counter.")
    ]
    narrowest_counter_mm: Annotated[float | None, Meta(description="The narrowest gap in a counter.")]
    smallest_island_mm2: float
    tips: Annotated[int, Meta(description="Corners of the film, and notches in it, sharper than 60 degrees.")]
    sharpest_deg: Annotated[float | None, Meta(description="The angle of the sharpest corner or notch.")]


class Proportions(Struct, frozen=True, kw_only=True):
    """The measures at a height of 1: multiply lengths by the height, and areas by its square."""

    width: float
    letter_height: float | None
    area: float
    cut_length: float
    narrowest_stroke: float
    narrowest_gap: float | None
    narrowest_counter: float | None
    smallest_island: float


class Mend(Struct, frozen=True, kw_only=True):
    """A change of the request with which a film takes an artwork that is too fine for it, all else left as asked.

    For an artwork that does not fit, it is the largest height at which it does, if the film takes it so. `value` is for
    the field of the request at `subject`: a letter spacing in capital heights, a height, or the id of a font or film;
    no height that the panel, at that rotation, or all platens are too small for. `verdict` is about the finest detail
    then. `fits` is whether the artwork still fits the panel where it is asked for; null without a panel.
    """

    kind: Annotated[
        str, Meta(max_length=32, description="spacing, height, font or film. More may come.", examples=["spacing"])
    ]
    subject: str
    value: float | str
    verdict: Verdict
    fits: bool | None
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


Mends = Annotated[
    tuple[Mend, ...],
    Meta(
        description="For an artwork too fine for the film: changes with which it is taken, each by itself. First those "
        "with the better verdict, then those that fit; then spacing and height, the least growth first, then other "
        "fonts, the least change of width first, then other films, the most alike in finest stroke first."
    ),
]


class Smallest(Struct, frozen=True, kw_only=True):
    """The smallest scaled copy that a film can be cut and weeded to."""

    scale: float
    width_mm: float
    height_mm: float
    letter_height_mm: float | None


class FilmVerdict(Struct, frozen=True, kw_only=True):
    """Whether a film can be cut and weeded to an artwork or, if it is printed, printed with it.

    `verdict` is about the finest detail of the film alone, at the height of the request. `smallest` is null if no
    height is enough that a request may have and a platen of the book can press.
    """

    film: Identifier
    name: Name
    is_cut: bool
    verdict: Verdict
    reasons: tuple[Reason, ...]
    smallest: Smallest | None
    mends: Mends = ()


class ArtworkAnswer(Struct, frozen=True, kw_only=True):
    """The answer to an `ArtworkRequest`.

    `films` has the film of the request, or all films of the book, those with the smallest copies first. `taken_by` are
    all films of the book that can be cut to the artwork at its height.
    """

    artwork: Measures
    proportions: Proportions
    films: tuple[FilmVerdict, ...]
    taken_by: tuple[Identifier, ...]
    book: Revision
    book_until: BookUntil = None
    engine: Engine
