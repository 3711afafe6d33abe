"""Shoes and their panels, from the book at a size or measured at the counter; lengths in millimetres."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire import records
from featherline.wire import shoes as wire
from featherline.wire.fits import FootLength
from featherline.wire.records import ShoeColour, ShoeModel, Upper
from featherline.wire.shoes import BookShoe, Conditioning, Face, MeasuredPanel, MeasuredShoe, Size
from featherline_service.book.shop_book import Book
from featherline_service.identifiers import alike
from featherline_service.messages.values import Quantity, Said, said
from featherline_service.quantities import millimetres, plain
from featherline_service.questions.checks import Checks
from featherline_service.questions.shoes import shoe_colours
from featherline_service.questions.shoes.conditioning import conditioned
from featherline_service.questions.shoes.observations import Seen
from featherline_service.questions.shoes.walk_ins import seen_of, uppers_of
from featherline_service.shape import shoe_sizes
from featherline_service.shape.shoe_sizes import SizeError

_SIDE_FACES: Final = ("outer", "inner")
"""Faces of a shoe that lies on its side."""


class Panel(Struct, frozen=True):
    """A panel of a shoe, and the uppers that it may be made of."""

    id: str
    name: str
    face: Face
    uppers: tuple[Upper, ...]
    colour: str | None
    drawing: records.Panel | MeasuredPanel


class Shoe(Struct, frozen=True, kw_only=True):
    """A shoe of the book, or one measured at the counter, which has no `model`.

    `growth` has the factors from the model's reference size to this one, along the shoe and around it; None for a
    measured shoe and for a wrong size. Lengths are None where they are not known. `seen` is what is seen of a measured
    shoe.
    """

    name: str
    colour: str | None = None
    """The name of its colour, for people; None where it is not known."""
    made_in: ShoeColour | None = None
    """The colour of its model that it has; None for a measured shoe, and where its model has no such."""
    model: ShoeModel | None = None
    panels: tuple[Panel, ...]
    size: FootLength | None = None
    growth: tuple[float, float] | None = None
    inside_length: float | None = None
    width: float | None = None
    height: float | None = None
    heel_collapses: bool | None = None
    upper_is_named: bool = False
    seen: Seen | None = None
    makers_consent: bool = False
    conditioning: Conditioning = "room"

    @property
    def known_by_label(self) -> bool:
        """Whether only a ruler and the tongue label describe it."""
        return self.model is None and not self.upper_is_named

    def height_lying(self, face: Face) -> float | None:
        """Return its height [mm] when it lies with a face up."""
        return self.width if face in _SIDE_FACES else self.height


def find_shoe(book: Book, shoe: wire.Shoe, checks: Checks, *, any_size: bool = False) -> Shoe | None:
    """Return a shoe, with as much of it as can be read; note what is wrong.

    With `any_size` a model may have a size that it is not made in.
    """
    if isinstance(shoe, BookShoe):
        return _of_book(book, shoe, checks, any_size=any_size)
    return _measured(book, shoe, checks)


def _of_book(book: Book, shoe: BookShoe, checks: Checks, *, any_size: bool) -> Shoe | None:
    if checks.record(book.shoes, "shoe", shoe.shoe, "/shoe/shoe") is None:
        return None
    sized, fault = _in_size(book, shoe, any_size)
    if fault is not None:
        checks.note("/shoe/size", fault)
    if shoe.colour is not None and shoe_colours.of_model(book.shoes[shoe.shoe], shoe.colour) is None:
        checks.note("/shoe/colour", shoe_colours.lacks(book.shoes[shoe.shoe], shoe.colour))
    return sized


@lru_cache(maxsize=512)
def _in_size(book: Book, shoe: BookShoe, any_size: bool) -> tuple[Shoe, Said | None]:
    """Return a model of the book in a size, and the fault of a wrong size."""
    model = book.shoes[shoe.shoe]
    colour = shoe_colours.of_model(model, shoe.colour)
    unsized = Shoe(
        name=f"{model.name}, {shoe.size.system} {shoe.size.value}",
        colour=None if colour is None else colour.name,
        made_in=colour,
        model=model,
        panels=tuple(
            Panel(
                panel.id,
                panel.name,
                panel.face,
                (conditioned(book, book.uppers[panel.upper], shoe.conditioning),),
                panel.colour if shoe.colour is None else shoe_colours.of_panel(colour, panel),
                panel,
            )
            for panel in model.panels
        ),
        heel_collapses=model.heel_collapses,
        makers_consent=shoe.makers_consent,
        conditioning=shoe.conditioning,
    )
    try:
        foot = shoe_sizes.foot_length(shoe.size.system, shoe_sizes.number(shoe.size.value))
    except SizeError as error:
        return unsized, _no_size(error)
    fault = None if any_size else _size_fault(model, shoe.size, foot)
    if fault is not None:
        return unsized, fault
    along, around = shoe_sizes.growth(foot, model.reference_foot_mm, model.reference_girth_mm)
    sized = replace(
        unsized,
        size=FootLength(foot_mm=round(foot, 4), convention=shoe_sizes.SCALES[shoe.size.system].convention),
        growth=(along, around),
        inside_length=foot + model.inside_allowance_mm,
        width=around * model.width_mm,
        height=around * model.height_mm,
    )
    return sized, None


def _no_size(error: SizeError) -> Said:
    """Return that a system has no such size."""
    low, high = (None, None) if error.bounds is None else map(plain, error.bounds)
    goes, size = error.steps or "between", plain(error.size)
    return said("fault.size.unknown", system=error.system, size=size, goes=goes, low=low, high=high)


def _size_fault(model: ShoeModel, size: Size, foot: float) -> Said | None:
    """Return that a model is not made in a size; None where it is."""
    made = model.sizes
    marked = shoe_sizes.exact_size(made.system, foot)
    # A size marked in another system falls between the model's own: half a size beyond the last counts as the last.
    slack = 1e-9 if size.system == made.system else 0.5
    if made.smallest - slack <= marked <= made.largest + slack:
        return None
    return said(
        "fault.size.not-made",
        shoe=model,
        made_system=made.system,
        smallest=plain(made.smallest),
        largest=plain(made.largest),
        system=size.system,
        size=str(size.value),
        same=None if size.system == made.system else Quantity(round(marked, 1), None, 1),
    )


def _measured(book: Book, shoe: MeasuredShoe, checks: Checks) -> Shoe:
    def length(text: str | None, name: str) -> float | None:
        return None if text is None else checks.value(millimetres, text, f"/shoe/{name}")

    # Uppers are read twice, clear of the lasting margin and over it; only the first reading notes faults.
    clear_uppers = uppers_of(book, shoe, checks)
    margin_uppers = uppers_of(book, shoe, Checks(), over_lasting_margin=True)
    named = None if shoe.upper is None else book.uppers.get(shoe.upper)
    colour = None if shoe.colour is None else shoe_colours.srgb(shoe.colour)
    if shoe.colour is not None and colour is None:
        checks.note("/shoe/colour", said("fault.colour.no-name", wanted=shoe.colour))
    return Shoe(
        colour=None if shoe.colour is None or shoe.colour.startswith("#") else shoe.colour,
        name=f"a walk-in shoe labelled {shoe.label}" if named is None else f"a walk-in shoe of {named.name}",
        panels=tuple(
            Panel(
                panel.panel,
                panel.panel.replace("-", " ").capitalize(),
                panel.face,
                tuple(
                    conditioned(book, upper, shoe.conditioning)
                    for upper in (margin_uppers if panel.over_lasting_margin else clear_uppers)
                ),
                panel.colour or colour,
                panel,
            )
            for panel in shoe.panels
        ),
        inside_length=length(shoe.inside_length, "inside_length"),
        width=length(shoe.width, "width"),
        height=length(shoe.height, "height"),
        heel_collapses=shoe.heel_collapses,
        upper_is_named=shoe.upper is not None,
        seen=seen_of(shoe),
        conditioning=shoe.conditioning,
    )


def find_panel(shoe: Shoe, wanted: str, checks: Checks) -> Panel | None:
    """Return a panel of a shoe; note that it has none of that id."""
    panel = next((panel for panel in shoe.panels if panel.id == wanted), None)
    if panel is None:
        has, more = alike(wanted, (panel.id for panel in shoe.panels))
        checks.note("/panel", said("fault.panel.not-there", shoe=shoe.model, wanted=wanted, has=has or None, more=more))
    return panel
