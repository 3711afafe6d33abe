"""The colour of a shoe: one of those in which a model is made, or of the names and digits of the web."""

from __future__ import annotations

from functools import lru_cache

from coloraide import Color

from featherline.wire.records import Panel, ShoeColour, ShoeModel
from featherline_service.identifiers import alike
from featherline_service.messages.values import Said, said


def of_model(model: ShoeModel, wanted: str | None) -> ShoeColour | None:
    """Return a colour of a model by its id; of None the one that its panels have; None where it has none such."""
    if wanted is not None:
        return next((colour for colour in model.colours if colour.id == wanted), None)
    return next((colour for colour in model.colours if _is_drawn(model, colour)), None)


def of_panel(colour: ShoeColour | None, panel: Panel) -> str:
    """Return the colour of a panel on a shoe of a colour, as sRGB digits; its own where there is none."""
    if colour is None:
        return panel.colour
    return next((other.hex for other in colour.panels if other.panel == panel.id), colour.hex)


def lacks(model: ShoeModel, wanted: str) -> Said:
    """Return that a model is not made in a colour."""
    has, more = alike(wanted, (colour.id for colour in model.colours))
    return said("fault.colour.not-made", shoe=model, wanted=wanted, has=has or None, more=more)


def _is_drawn(model: ShoeModel, colour: ShoeColour) -> bool:
    return all(of_panel(colour, panel) == panel.colour for panel in model.panels)


@lru_cache(maxsize=256)
def srgb(words: str) -> str | None:
    """Return the sRGB digits of a colour given by them or by its name; None for an unknown name.

    References:
        CSS Color Module Level 4, W3C, section 6.1: named colours.
    """
    if words.startswith("#"):
        return words
    try:
        colour = Color(words)
    except ValueError:
        return None
    return colour.to_string(hex=True) if colour.alpha() == 1.0 else None  # `transparent` is a name, too
