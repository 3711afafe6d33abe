"""The audience of each reason: the customer, the counter or the bench."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, cast

from msgspec import UNSET

from featherline.wire.verdicts import Audience, Reason, ReasonCode

AUDIENCES: Final[Mapping[ReasonCode, Audience]] = {
    "fit.outside": "customer",
    "fit.overlap": "customer",
    "fit.off-mark": "customer",
    "fit.fine-stroke": "customer",
    "fit.fine-gap": "customer",
    "fit.fine-island": "customer",
    "fit.fine-tip": "customer",
    "fit.fine-notch": "customer",
    "fit.touch": "customer",
    "fit.no-height": "customer",
    "fit.letters-spaced": "customer",
    "fit.curved": "customer",
    "fit.reach": "customer",
    "fit.sole-edge": "customer",
    "fit.opening": "counter",
    "fit.heel": "customer",
    "heat.no-window": "customer",
    "heat.worst-case": "bench",
    "heat.press-range": "bench",
    "heat.weak-evidence": "bench",
    "heat.film-longest": "bench",
    "heat.film-longer": "bench",
    "heat.pressed-apart": "bench",
    "heat.pressed-onto": "bench",
    "heat.beside": "bench",
    "heat.contradiction": "bench",
    "heat.other-setting": "bench",
    "heat.softens-old-mark": "counter",
    "heat.pressed-again": "counter",
    "surface.unsuited": "customer",
    "surface.unknown": "counter",
    "shoe.damp": "counter",
    "shoe.protective": "customer",
    "shoe.measured": "counter",
    "shoe.narrowed": "counter",
    "shoe.unnarrowed": "counter",
    "shoe.trial-risk": "counter",
    "sight.tone-on-tone": "customer",
    "sight.sideways": "customer",
    "sight.upside-down": "customer",
    "propose.height": "customer",
    "propose.spacing": "customer",
    "propose.lines": "customer",
    "propose.font": "customer",
    "propose.film": "customer",
    "trial.first-rung": "bench",
    "trial.no-setting": "bench",
    "trial.out-of-reach": "bench",
    "trial.no-place": "bench",
    "trial.not-needed": "bench",
}
"""Every code of the service's own reasons."""


def audience_of(reason: Reason) -> Audience:
    """Return whom a reason is for. A plug-in's reason says so; one that does not is for the bench."""
    known = AUDIENCES.get(cast("ReasonCode", reason.code))
    if known is not None:
        return known
    return "bench" if reason.audience is UNSET else reason.audience
