"""Conditioning of a shoe: its uppers with the materials as dry or as damp as the shoe is."""

from __future__ import annotations

from functools import lru_cache

from msgspec.structs import replace

from featherline.wire.records import Layer, Upper
from featherline.wire.shoes import Conditioning
from featherline_service.book.shop_book import Book


@lru_cache(maxsize=256)
def conditioned(book: Book, upper: Upper, conditioning: Conditioning) -> Upper:
    """Return an upper with each material that the book has dry or damp replaced by that; others stay as they are."""
    if conditioning == "room":
        return upper
    layers = tuple(_conditioned(book, layer, conditioning) for layer in upper.layers)
    return replace(upper, layers=layers)


def _conditioned(book: Book, layer: Layer, conditioning: Conditioning) -> Layer:
    material = book.materials[layer.material]
    other = material.dry if conditioning == "dry" else material.damp
    return layer if other is None else replace(layer, material=other)
