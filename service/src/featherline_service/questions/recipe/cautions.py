"""The usual cautions of a pressing, each with its source, chosen by the materials in the stack."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from functools import lru_cache
from typing import Final

from featherline.wire.records import Film, ShoeModel
from featherline.wire.verdicts import Caution
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import Said, said
from featherline_service.quantities import temperature

_PRACTICE: Final = "common practice, no source"

_ALWAYS_FIRST: Final[Mapping[str, str]] = {
    "rules-first": _PRACTICE,
    "try-first": _PRACTICE,
    "hot-surfaces": "ISO 13732-1:2006, Ergonomics of the thermal environment - Methods for the assessment of human "
    "responses to contact with surfaces - Part 1: Hot surfaces (burn threshold of bare smooth metal at 0.5 s: 67 to "
    "73 degC, from memory)",
    "pinch-points": "ISO 12100:2010, Safety of machinery - General principles for design - Risk assessment and risk "
    "reduction: crushing hazards (from memory)",
    "fumes": "J Occup Med 1977 19(3):188-191: hot-cut PVC film gives off hydrogen chloride and plasticiser; "
    f"ventilation: {_PRACTICE}",
    "diisocyanates": "Regulation (EU) 2020/1149 (REACH annex XVII, entry 74), in force for users from 24 August 2023",
    "sole-joint": "from memory",
}
"""The sources of the cautions that always hold, by their codes."""


def cautions(book: Book, *, film: Film, materials: Collection[str], shoe: ShoeModel | None) -> tuple[Caution, ...]:
    """Return the cautions for pressing a film on a stack, those that always hold first.

    Args:
        book: The shop book, whose materials say which are vinyl.
        film: The film that is pressed.
        materials: Ids of the stack's materials.
        shoe: The shoe of the book, or None for a shoe known from its label and a ruler and for a bare stack. What is
            not known is taken to be the case: such a shoe may be protective, or a child's.

    Raises:
        KeyError: A material is not in the book.
    """
    return (*_always_first(), *_of_vinyl(book, materials), *_of_film(film), *_of_shoe(shoe))


@lru_cache(maxsize=1)
def _always_first() -> tuple[Caution, ...]:
    return tuple(_caution(said(f"caution.{code}"), source) for code, source in _ALWAYS_FIRST.items())


def _caution(words: Said, source: str) -> Caution:
    return Caution(
        code=words.message.removeprefix("caution."),
        sentence=words.sentence,
        source=source,
        message=words.message,
        parameters=words.parameters,
    )


def _of_vinyl(book: Book, materials: Collection[str]) -> Iterator[Caution]:
    vinyl = [book.materials[name] for name in sorted(set(materials)) if book.materials[name].vinyl]
    if vinyl:
        limit_c = min(material.limit.peak_c for material in vinyl)
        limits = {name: temperature(limit_c, units) for name, units in (("limit", "metric"), ("other", "us"))}
        yield _caution(
            said("caution.vinyl", materials=vinyl, **limits),
            "J Occup Med 1977 19(3):188-191; the limit is the shop book's",
        )


def _of_film(film: Film) -> Iterator[Caution]:
    effects = {colour.effect for colour in film.colours}
    if film.family == "reflective" or not effects.isdisjoint({"reflective", "fluorescent"}):
        yield _caution(
            said("caution.not-high-visibility"),
            "EN ISO 20471, High visibility clothing: least areas of material by class",
        )


def _of_shoe(shoe: ShoeModel | None) -> Iterator[Caution]:
    if shoe is None or shoe.protective:
        yield _caution(
            said("caution.protective-footwear"),
            "EN ISO 20345, Personal protective equipment - Safety footwear; Regulation (EU) 2016/425 (that "
            "altering ends conformity: from memory)",
        )
    if shoe is None or shoe.wearer == "child":
        yield _caution(
            said("caution.childrens-footwear"),
            "REACH annex XVII, entries 51, 52 and 63; United States Consumer Product Safety Improvement Act, "
            "sections 101 and 108 (who counts as the maker: from memory)",
        )
