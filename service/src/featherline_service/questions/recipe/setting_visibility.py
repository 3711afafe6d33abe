"""What an answer may show of settings of the press: a declined one shows none, in numbers or in words."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec.structs import replace

from featherline.wire.recipes import Recipe
from featherline.wire.verdicts import Reason, Verdict


def shown(recipe: Recipe, verdict: Verdict) -> Recipe:
    """Return a recipe as an answer with this verdict shows it.

    An answer that is declined shows no setting, nothing that was computed at one, and no steps.
    """
    if recipe.setting is None or verdict != "decline":
        return recipe
    return replace(
        recipe,
        reasons=spoken(recipe.reasons, verdict),
        setting=None,
        window=None,
        bond=None,
        layers=(),
        peel=None,
        alternatives=(),
        steps=(),
        evidence=None,
    )


def spoken(reasons: Iterable[Reason], verdict: Verdict) -> tuple[Reason, ...]:
    """Return reasons as an answer with this verdict gives them.

    One that is declined gives no doubts and remarks about a setting that it does not show.
    """
    return tuple(
        reason
        for reason in reasons
        if verdict != "decline" or reason.verdict == "decline" or not reason.code.startswith("heat.")
    )
