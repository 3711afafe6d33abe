"""Answers as pictures: of a fit, a recipe, a shoe, and an order at the bench, on its card and on its cut sheet."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from litestar import Response

from featherline.wire.costs import Order
from featherline.wire.fits import FitRequest
from featherline.wire.matrices import MatrixRequest
from featherline.wire.pictures import PictureRequest
from featherline.wire.recipes import RecipeRequest
from featherline_service.book.shop_book import Book
from featherline_service.drawing import card_pages
from featherline_service.drawing.media import png, svg
from featherline_service.questions.fit import placement_drawings
from featherline_service.questions.matrix import matrices
from featherline_service.questions.pictures import shoe_views
from featherline_service.questions.quote import bench_cards, cut_sheets
from featherline_service.questions.recipe import temperature_charts
from featherline_service.questions.translation import texts
from featherline_service.web.answering.revisions import VARY

SVG: Final = svg.MEDIA_TYPE
HTML: Final = card_pages.MEDIA_TYPE
PDF: Final = "application/pdf"
PNG: Final = png.MEDIA_TYPE

Draw = Callable[[Book, Any], bytes]

_HEADERS: Final[Mapping[str, Mapping[str, str]]] = {
    SVG: {"content-security-policy": card_pages.POLICY},
    PNG: {},
    HTML: {"content-security-policy": card_pages.POLICY},
    PDF: {"content-disposition": 'inline; filename="bench-card.pdf"'},
}


def _placement(book: Book, request: FitRequest) -> bytes:
    return svg.write(placement_drawings.draw(book, request)).encode()


def _offered_placement(book: Book, request: FitRequest) -> bytes:
    return svg.write(placement_drawings.draw_offer(book, request)).encode()


def _chart(book: Book, request: RecipeRequest) -> bytes:
    return svg.write(temperature_charts.draw(book, request)).encode()


def _matrix(book: Book, request: MatrixRequest) -> bytes:
    return svg.write(matrices.draw(book, matrices.compose(book, request))).encode()


def _card_page(book: Book, order: Order) -> bytes:
    return card_pages.write(bench_cards.compose(book, order)).encode()


def _card_pdf(book: Book, order: Order) -> bytes:
    from featherline_service.drawing import card_pdfs  # noqa: PLC0415 - what sets it takes 7 MB, and few ask for it

    return card_pdfs.write(bench_cards.compose(book, order))


def _cut_sheet(book: Book, order: Order) -> bytes:
    return cut_sheets.draw(book, order).encode()


def _shoe(book: Book, request: PictureRequest, language: str) -> bytes:
    return shoe_views.draw(book, request, texts(book, language)).encode()


def _shoe_png(book: Book, request: PictureRequest, language: str) -> bytes:
    return png.write(shoe_views.draw(book, request, texts(book, language)))


OF_SHOES: Final[Mapping[str, Callable[[Book, Any, str], bytes]]] = {SVG: _shoe, PNG: _shoe_png}
"""Named in a language, as the others, which are the shop's, are not."""
OF_FITS: Final[Mapping[str, Draw]] = {SVG: _placement}
OF_FIT_OFFERS: Final[Mapping[str, Draw]] = {SVG: _offered_placement}
OF_RECIPES: Final[Mapping[str, Draw]] = {SVG: _chart}
OF_MATRICES: Final[Mapping[str, Draw]] = {SVG: _matrix}
CARDS: Final = frozenset({HTML, PDF})
"""The media types of bench cards, which are in the shop's language."""
OF_QUOTES: Final[Mapping[str, Draw]] = {HTML: _card_page, PDF: _card_pdf, SVG: _cut_sheet}


def respond(drawn: bytes, media_type: str, coding: str | None) -> Response[bytes]:
    """Return the response of a picture, which may load nothing and run nothing."""
    headers = {"vary": f"Accept, {VARY}", "x-content-type-options": "nosniff", **_HEADERS[media_type]}
    if coding is not None:
        headers["content-encoding"] = coding
    return Response(drawn, status_code=200, media_type=media_type, headers=headers)
