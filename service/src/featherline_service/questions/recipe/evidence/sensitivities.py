"""How much each uncertain property matters to a pressing: by the slopes that the evidence model has."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import Parameter, prior
from featherline_service.heat.pressing import peak_slopes_at
from featherline_service.heat.variation import SIGMAS_95, bond_margins, layer_margins, part_slopes
from featherline_service.questions.recipe.evidence.frames import FramedHeating, bonding_of, heatings_of
from featherline_service.questions.recipe.evidence.sightings import Job


class Effect(NamedTuple):
    """What a property does by one standard deviation of it, by the book's records alone.

    `longer` is the change of the logarithm of the shortest dwell that bonds, `spare_k` that of the distance [K] of the
    layer that is nearest to its limit. `bond_share` and `harm_share` are the property's shares of the variance of the
    two: what of the doubt is due to it.
    """

    longer: float
    spare_k: float
    bond_share: float
    harm_share: float


class Sensitivities(NamedTuple):
    """A pressing's margins and the effects of all properties that they depend on.

    `bond_margin` is the logarithm of the dwell over the shortest that bonds; `spare_k` how far the nearest layer, at
    `nearest`, is below its limit. Both have their standard deviations beside them.
    """

    bond_margin: float
    bond_deviation: float
    spare_k: float
    spare_deviation_k: float
    nearest: str
    effects: Mapping[Parameter, Effect]


def sensitivities(  # noqa: PLR0917 - a pressing
    book: Book, job: Job, cover: str | None, platen_c: float, dwell_s: float, platen_spread_k: float
) -> Sensitivities:
    """Return how much each property matters to a job pressed at a setting.

    Args:
        book: The shop book.
        job: The job.
        cover: The cover sheet's id; None: none.
        platen_c: The platen's temperature [degC].
        dwell_s: The dwell [s].
        platen_spread_k: How far the platen strays [K], 95 %.
    """
    nothing = prior(())
    parameters, bonding = bonding_of(book, job, cover, nothing, platen_spread_k)
    margin, slopes = bond_margins(bonding, np.zeros(len(parameters)), np.array([platen_c]), np.array([dwell_s]))
    bond = dict(zip(parameters, slopes[0].tolist(), strict=True))
    places = heatings_of(book, job, cover, nothing, platen_spread_k)
    spare_k, deviation_k, nearest, harm = min(
        (_nearest(place, platen_c, dwell_s) for place in places), key=lambda found: found[0] / found[1]
    )
    bond_variance = math.fsum(slope**2 for slope in bond.values())
    harm_variance = math.fsum(slope**2 for slope in harm.values())
    return Sensitivities(
        bond_margin=float(margin[0]),
        bond_deviation=math.sqrt(bond_variance),
        spare_k=spare_k,
        spare_deviation_k=deviation_k,
        nearest=nearest,
        effects={
            name: Effect(
                longer=-bond.get(name, 0.0),
                spare_k=harm.get(name, 0.0),
                bond_share=bond.get(name, 0.0) ** 2 / bond_variance if bond_variance else 0.0,
                harm_share=harm.get(name, 0.0) ** 2 / harm_variance if harm_variance else 0.0,
            )
            for name in dict.fromkeys((*bond, *harm))
        },
    )


def band(effect: Effect) -> tuple[float, float]:
    """Return by which share the shortest dwell changes with a property at the low and the high end of its 95 % band."""
    return math.expm1(-SIGMAS_95 * effect.longer), math.expm1(SIGMAS_95 * effect.longer)


def _nearest(place: FramedHeating, platen_c: float, dwell_s: float) -> tuple[float, float, str, dict[Parameter, float]]:
    """Return margin, deviation, name and slopes of the upper's layer that is nearest to its limit in deviations."""
    parameters, stack, heating = place
    nothing = np.zeros(len(parameters))
    margins = layer_margins(heating, nothing, platen_c, dwell_s)
    # Where it counts, the slopes are those of this very dwell, and not of dwells that are far apart.
    over = platen_c - heating.room_c
    by_part = part_slopes(heating.logs, nothing) @ peak_slopes_at(stack.closed, stack.opened, dwell_s)
    rise = (heating.limits.peak_c - heating.room_c - margins.value_k) / over
    every = heating.limit_k - over * by_part.T - rise[:, None] * heating.platen_k
    shoe = np.flatnonzero(np.array(stack.roles) == "upper")
    deviations = np.linalg.norm(every[shoe], axis=1)
    at = int(np.argmin(margins.value_k[shoe] / deviations))
    layer = int(shoe[at])
    slopes = dict(zip(parameters, every[layer].tolist(), strict=True))
    return float(margins.value_k[layer]), float(deviations[at]), stack.names[layer], slopes
