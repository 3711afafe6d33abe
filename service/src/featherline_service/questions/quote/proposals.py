"""Proposals: the nearest changes with which an order that is declined would be done, each as an order to be sent."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Final, NamedTuple

from msgspec.structs import replace

from featherline.wire import costs
from featherline.wire.artworks import TextArtwork
from featherline.wire.quantities import LARGEST
from featherline.wire.quotes import Proposal, QuoteAnswer
from featherline.wire.records import Colour, Film
from featherline.wire.verdicts import Reason, ReasonCode
from featherline_service.book.shop_book import Book
from featherline_service.contrast import delta_e
from featherline_service.messages.values import Value, said
from featherline_service.quantities import bound
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.fit.fits import fit_of
from featherline_service.questions.order.largest_letters import STEP_MM
from featherline_service.questions.order.orders import Order, read_order
from featherline_service.questions.quote import quotes
from featherline_service.questions.reasons import reason
from featherline_service.questions.verdicts import SEVERITY

_SHRUNK: Final = 0.9
_SHRINKS: Final = 6
_OF_SIZE: Final = frozenset({"fit.curved", "fit.reach", "fit.sole-edge"})
"""Reasons that a smaller mark may not have."""
# How far each change is from what was asked, beside the logarithm of how much smaller it becomes; a guess of ours.
_SPACED: Final = 0.05
_IN_TWO_LINES: Final = 0.2
_IN_ANOTHER_FONT: Final = 0.3
_IN_ANOTHER_FILM: Final = 0.5
_FARTHEST_DELTA_E: Final = 100.0


class _Change(NamedTuple):
    """A change of a placement, what is said of it (None: the height alone), and how far it is from what was asked."""

    change: Callable[[costs.Placement], costs.Placement]
    remark: Reason | None
    distance: float


class _Fitting(NamedTuple):
    """An order whose placements fit and can be made, what was changed, and how far it is from what was asked."""

    order: costs.Order
    remarks: tuple[Reason, ...]
    distance: float


def compose(book: Book, request: costs.Order) -> QuoteAnswer:
    """Return the quote for an order; of one that is declined with proposals, where it asks for them.

    Raises:
        RefusedError: with the faults of all parts, their pointers into the order.
    """
    propose = request.propose
    checks = Checks()
    films = [checks.record(book.films, "film", name, f"/propose/films/{at}") for at, name in enumerate(_named(propose))]
    quote = quotes.quote_of(book, *quotes.read(book, request, checks), checks)
    if propose is None or quote.verdict != "decline":
        return quote
    asked = replace(request, propose=None)
    declined = [index for index in range(len(quote.placements)) if _is_declined(quote, index)]
    if not declined:  # for what marks do to each other, or by the shop's own check
        return quote
    changes = _changes(book, asked, [film for film in films if film is not None], declined)
    fitting = [there for change in changes if (there := _fitting(book, asked, quote, change, declined)) is not None]
    proposals: dict[costs.Order, Proposal] = {}
    for there in sorted(fitting, key=lambda there: there.distance):
        if len(proposals) < propose.at_most and there.order not in proposals:
            proposal = _proposal(book, there)
            if proposal is not None:
                proposals[there.order] = proposal
    return replace(quote, proposals=tuple(sorted(proposals.values(), key=lambda each: SEVERITY[each.verdict])))


def _named(propose: costs.Propose | None) -> tuple[str, ...]:
    return () if propose is None else propose.films


def _is_declined(quote: QuoteAnswer, index: int) -> bool:
    """Return whether a placement is declined, for its fit or for the recipe of its film."""
    placement = quote.placements[index]
    parts = (placement,) if placement.backing is None else (placement, placement.backing)
    return any("decline" in {part.fit.verdict, quote.pressings[part.pressing].recipe.verdict} for part in parts)


def _changes(book: Book, order: costs.Order, films: Sequence[Film], declined: Sequence[int]) -> Iterator[_Change]:
    """Yield the changes to try; each is as large as fits, up to the height that was asked for."""
    asked = [order.placements[index] for index in declined]
    texts = [placement.artwork for placement in asked if isinstance(placement.artwork, TextArtwork)]
    yield _Change(lambda placement: placement, None, 0.0)
    if texts:
        yield _Change(_spaced, _remark("propose.spacing", "/artwork/letter_spacing"), _SPACED)
        if all(" " in text.text.strip() and "\n" not in text.text for text in texts):
            yield _Change(_in_two_lines, _remark("propose.lines", "/artwork/text"), _IN_TWO_LINES)
    for font in book.fonts.values():
        if any(text.font != font.id for text in texts):
            remark = _remark("propose.font", "/artwork/font", font=font)
            yield _Change(partial(_lettered, font.id), remark, _IN_ANOTHER_FONT)
    for film in films:
        if any(placement.film != film.id for placement in asked):
            off = max(_nearest(book, film, placement)[1] for placement in asked)
            remark = _remark("propose.film", "/film", film=film)
            yield _Change(partial(_in_film, book, film), remark, _IN_ANOTHER_FILM + off / _FARTHEST_DELTA_E)


def _spaced(placement: costs.Placement) -> costs.Placement:
    artwork = placement.artwork
    if not isinstance(artwork, TextArtwork):
        return placement
    return replace(placement, artwork=replace(artwork, fit_letters="space"))


def _in_two_lines(placement: costs.Placement) -> costs.Placement:
    """Return a placement whose text is broken at the space nearest to its middle."""
    artwork = placement.artwork
    if not isinstance(artwork, TextArtwork):
        return placement
    text = artwork.text.strip()
    spaces = [at for at, character in enumerate(text) if character == " "]
    middle = min(spaces, key=lambda at: abs(2 * at + 1 - len(text)))
    return replace(placement, artwork=replace(artwork, text=f"{text[:middle].strip()}\n{text[middle:].strip()}"))


def _lettered(font: str, placement: costs.Placement) -> costs.Placement:
    artwork = placement.artwork
    return replace(placement, artwork=replace(artwork, font=font)) if isinstance(artwork, TextArtwork) else placement


def _in_film(book: Book, film: Film, placement: costs.Placement) -> costs.Placement:
    return replace(placement, film=film.id, colour=_nearest(book, film, placement)[0].id)


def _nearest(book: Book, film: Film, placement: costs.Placement) -> tuple[Colour, float]:
    """Return the colour of a film that is the most like the one asked for, and by how much it differs (CIEDE2000)."""
    asked = next(colour for colour in book.films[placement.film].colours if colour.id == placement.colour)
    differences = [(delta_e(asked.hex, colour.hex), colour) for colour in film.colours]
    off, colour = min(differences, key=lambda difference: difference[0])
    return colour, off


def _remark(code: ReasonCode, subject: str, **values: Value) -> Reason:
    return reason(code, "ready", subject, said(code, **values))


def _fitting(
    book: Book, asked: costs.Order, quote: QuoteAnswer, change: _Change, declined: Sequence[int]
) -> _Fitting | None:
    """Return an order with a change, as large as fits and can be made; None where no size is.

    What is not ready for its curve or the press's reach is tried smaller.
    """
    most = {index: _height(quote, index) for index in declined}
    heights, best = dict(most), None
    for _ in range(_SHRINKS):
        placements = list(asked.placements)
        for index in declined:
            placements[index] = _up_to(change.change(asked.placements[index]), quote, index, heights[index])
        order = read_order(book, replace(asked, placements=tuple(placements)), Checks())
        if order is None or _changes_nothing(order, change, declined):  # such as a font that lacks a letter
            return best
        heights = {index: _height_of(order, index) for index in declined}
        given = replace(asked, placements=tuple(_given(order, placements, heights)))
        smaller = max(math.log(most[index] / heights[index]) for index in declined)
        remarks = tuple(_remarks(order, change, heights, most))
        made = _Fitting(given, remarks, change.distance + max(0.0, smaller))
        reasons = [
            reason
            for index, mark in order.marks
            if index in heights
            for reason in fit_of(book, mark, largest_too=False).reasons
            if reason.verdict != "ready"
        ]
        if best is None and not any(reason.verdict == "decline" for reason in reasons):
            best = made
        if not reasons:
            return made
        if not all(reason.code in _OF_SIZE for reason in reasons):
            return best
        heights = {index: _SHRUNK * height for index, height in heights.items()}
    return best


def _changes_nothing(order: Order, change: _Change, declined: Sequence[int]) -> bool:
    """Return whether letters that may be spaced are not, as that mends nothing: then it is the height alone."""
    if change.change is not _spaced:
        return False
    letterings = [order.placements[index].artwork.lettering for index in declined]
    return all(
        lettering is None or lettering.setting.letter_spacing == lettering.asked_spacing for lettering in letterings
    )


def _height(quote: QuoteAnswer, index: int) -> float:
    """Return the height of a placement that was asked for: of a text's letters, or of a drawing [mm]."""
    artwork = quote.placements[index].fit.artwork
    return artwork.height_mm if artwork.letter_height_mm is None else artwork.letter_height_mm


def _height_of(order: Order, index: int) -> float:
    artwork = order.placements[index].artwork
    return artwork.letter_height_mm or artwork.figure.height * artwork.scale


def _up_to(placement: costs.Placement, quote: QuoteAnswer, index: int, height: float) -> costs.Placement:
    """Return a placement that is as large as fits, but no larger than a height [mm]."""
    artwork = placement.artwork
    if isinstance(artwork, TextArtwork):
        bounded = replace(artwork, height=None, letter_height=LARGEST, letters_to=f"{height:.4f} mm")
        return replace(placement, artwork=bounded)
    largest = quote.placements[index].fit.largest
    if largest is not None:
        height = min(height, largest.height_mm)
    steps = math.floor(height / STEP_MM) or 1
    return replace(placement, artwork=replace(artwork, height=f"{steps * STEP_MM:.1f} mm"))


def _given(order: Order, placements: Sequence[costs.Placement], heights: dict[int, float]) -> Iterator[costs.Placement]:
    """Yield placements with the heights of their letters given, as they are sent."""
    for index, placement in enumerate(placements):
        artwork = placement.artwork
        if index in heights and isinstance(artwork, TextArtwork):
            height = f"{order.placements[index].artwork.letter_height_mm:.4f}".rstrip("0").rstrip(".")
            yield replace(
                placement,
                artwork=replace(artwork, letter_height=f"{height} mm", letters_from=None, letters_to=None),
            )
        else:
            yield placement


def _remarks(order: Order, change: _Change, heights: dict[int, float], most: dict[int, float]) -> Iterator[Reason]:
    """Yield what was changed, of each placement: its pointer leads to the field in the order."""
    for index, height in heights.items():
        artwork = order.placements[index].artwork
        at = f"/placements/{index}"
        if change.remark is not None and (artwork.lettering is not None or change.remark.code == "propose.film"):
            yield replace(change.remark, subject=f"{at}{change.remark.subject}")
        if height < most[index] - STEP_MM:
            field = "letter_height" if artwork.lettering is not None else "height"
            sized = "artwork" if artwork.lettering is None else "letters"
            yield _remark("propose.height", f"{at}/artwork/{field}", height=bound(height, artwork.units), sized=sized)


def _proposal(book: Book, there: _Fitting) -> Proposal | None:
    """Return the proposal of an order, None if it is declined as well."""
    try:
        quote = quotes.compose(book, there.order)
    except RefusedError:  # such as a film that is too narrow for it
        return None
    if quote.price is None:
        return None
    return Proposal(changes=there.remarks, verdict=quote.verdict, total=quote.price.total, order=there.order)
