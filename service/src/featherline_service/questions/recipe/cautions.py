"""The usual cautions of a pressing, each with its source, chosen by the materials in the stack."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Final

from featherline.wire.records import Film, ShoeModel
from featherline.wire.verdicts import Caution
from featherline_service.book.shop_book import Book
from featherline_service.quantities import say_temperature

_PRACTICE: Final = "common practice, no source"

_ALWAYS_FIRST: Final = (
    Caution(
        code="rules-first",
        sentence="Local rules, licensed practice and the makers' sheets for film, press and shoe come before anything "
        "that is said here.",
        source=_PRACTICE,
    ),
    Caution(
        code="try-first",
        sentence="Try first where it does not show, and always before a shoe becomes a stock offer: nobody can take a "
        "mark back.",
        source=_PRACTICE,
    ),
    Caution(
        code="hot-surfaces",
        sentence="The upper platen burns skin in less than half a second, and cover sheet and shoe stay hot after "
        "opening: wear gloves, keep others away, and switch off before you leave.",
        source="ISO 13732-1:2006, Ergonomics of the thermal environment - Methods for the assessment of human "
        "responses to contact with surfaces - Part 1: Hot surfaces (burn threshold of bare smooth metal "
        "at 0.5 s: 67 to 73 degC, from memory)",
    ),
    Caution(
        code="pinch-points",
        sentence="A closing press crushes: one person alone works it, both hands are out before it closes, and nobody "
        "reaches in while a self-opening head moves.",
        source="ISO 12100:2010, Safety of machinery - General principles for design - Risk assessment and risk "
        "reduction: crushing hazards (from memory)",
    ),
    Caution(
        code="fumes",
        sentence="Press in a room with moving air. Stop at smoke or a sharp smell, and do not lean over the press. "
        "Press nothing that is or may be PVC above its limit.",
        source="J Occup Med 1977 19(3):188-191: hot-cut PVC film gives off hydrogen chloride and plasticiser; "
        f"ventilation: {_PRACTICE}",
    ),
    Caution(
        code="diisocyanates",
        sentence="Read the safety data sheets of film, adhesive and primer: with 0.1 % by weight or more of free "
        "diisocyanates, only trained people may use them at work in the European Union.",
        source="Regulation (EU) 2020/1149 (REACH annex XVII, entry 74), in force for users from 24 August 2023",
    ),
    Caution(
        code="sole-joint",
        sentence="Keep heat off the featherline and the sole: glue of the kind that bonds soles softens again at 50 to "
        "70 °C (122 to 158 °F).",
        source="from memory",
    ),
)


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
    return (*_ALWAYS_FIRST, *_of_vinyl(book, materials), *_of_film(film), *_of_shoe(shoe))


def _of_vinyl(book: Book, materials: Collection[str]) -> Iterator[Caution]:
    vinyl = [book.materials[name] for name in sorted(set(materials)) if book.materials[name].vinyl]
    if vinyl:
        limit_c = min(material.limit.peak_c for material in vinyl)
        both = f"{say_temperature(limit_c, 'metric')} ({say_temperature(limit_c, 'us')})"
        names = " and ".join(material.name for material in vinyl)
        yield Caution(
            code="vinyl",
            sentence=f"There is PVC in this stack ({names}): never let it pass {both}. Hotter, it gives off hydrogen "
            "chloride and plasticiser, which harm lungs and eyes.",
            source="J Occup Med 1977 19(3):188-191; the limit is the shop book's",
        )


def _of_film(film: Film) -> Iterator[Caution]:
    effects = {colour.effect for colour in film.colours}
    if film.family == "reflective" or not effects.isdisjoint({"reflective", "fluorescent"}):
        yield Caution(
            code="not-high-visibility",
            sentence="This film makes no shoe and no garment high-visibility: that takes tested material, in areas and "
            "places that the standard sets. Do not sell it as safety.",
            source="EN ISO 20471, High visibility clothing: least areas of material by class",
        )


def _of_shoe(shoe: ShoeModel | None) -> Iterator[Caution]:
    if shoe is None or shoe.protective:
        yield Caution(
            code="protective-footwear",
            sentence="Do not alter certified protective footwear without its maker's written consent: marking it can "
            "end its conformity.",
            source="EN ISO 20345, Personal protective equipment - Safety footwear; Regulation (EU) 2016/425 (that "
            "altering ends conformity: from memory)",
        )
    if shoe is None or shoe.wearer == "child":
        yield Caution(
            code="childrens-footwear",
            sentence="For a child's shoe, keep to film whose maker states its phthalates and lead, and to the local "
            "rules on children's products: who marks and sells it may count as its maker.",
            source="REACH annex XVII, entries 51, 52 and 63; United States Consumer Product Safety Improvement Act, "
            "sections 101 and 108 (who counts as the maker: from memory)",
        )
