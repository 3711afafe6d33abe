"""Bulk: many questions in one stream, each a line of JSON; each answer a line too, in the order of the questions.

Media type ``application/jsonl``: JSON texts divided by a line feed, none of them with a line feed inside.
"""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.costs import CostAnswer, CostRequest, Order
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.measures import ArtworkAnswer, ArtworkRequest
from featherline.wire.problems import Problem
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer, RecipeRequest
from featherline.wire.trials import TrialAnswer, TrialRequest

LineId = Annotated[
    str, Meta(min_length=1, max_length=128, description="The caller's own name for a line; its answer bears it.")
]
LineNumber = Annotated[
    int, Meta(ge=1, description="Number of the question's line in the request, from 1; empty lines count too.")
]


class RecipeQuestion(Struct, tag_field="kind", tag="recipe", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line that asks what ``/v1/recipes`` answers."""

    id: LineId | None = None
    request: RecipeRequest


class FitQuestion(Struct, tag_field="kind", tag="fit", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line that asks what ``/v1/fits`` answers."""

    id: LineId | None = None
    request: FitRequest


class CostQuestion(Struct, tag_field="kind", tag="cost", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line that asks what ``/v1/costs`` answers."""

    id: LineId | None = None
    request: CostRequest


class QuoteQuestion(Struct, tag_field="kind", tag="quote", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line that asks what ``/v1/quotes`` answers."""

    id: LineId | None = None
    request: Order


class TrialQuestion(Struct, tag_field="kind", tag="trial", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line that asks what ``/v1/trials`` answers."""

    id: LineId | None = None
    request: TrialRequest


class ArtworkQuestion(Struct, tag_field="kind", tag="artwork", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line that asks what ``/v1/artworks`` answers."""

    id: LineId | None = None
    request: ArtworkRequest


BulkQuestion = RecipeQuestion | FitQuestion | CostQuestion | QuoteQuestion | TrialQuestion | ArtworkQuestion


class RecipeAnswered(Struct, tag_field="kind", tag="recipe", frozen=True, kw_only=True):
    """The answered line of a `RecipeQuestion`."""

    line: LineNumber
    id: LineId | None
    status: Literal[200]
    answer: RecipeAnswer


class FitAnswered(Struct, tag_field="kind", tag="fit", frozen=True, kw_only=True):
    """The answered line of a `FitQuestion`."""

    line: LineNumber
    id: LineId | None
    status: Literal[200]
    answer: FitAnswer


class CostAnswered(Struct, tag_field="kind", tag="cost", frozen=True, kw_only=True):
    """The answered line of a `CostQuestion`."""

    line: LineNumber
    id: LineId | None
    status: Literal[200]
    answer: CostAnswer


class QuoteAnswered(Struct, tag_field="kind", tag="quote", frozen=True, kw_only=True):
    """The answered line of a `QuoteQuestion`."""

    line: LineNumber
    id: LineId | None
    status: Literal[200]
    answer: QuoteAnswer


class TrialAnswered(Struct, tag_field="kind", tag="trial", frozen=True, kw_only=True):
    """The answered line of a `TrialQuestion`."""

    line: LineNumber
    id: LineId | None
    status: Literal[200]
    answer: TrialAnswer


class ArtworkAnswered(Struct, tag_field="kind", tag="artwork", frozen=True, kw_only=True):
    """The answered line of an `ArtworkQuestion`."""

    line: LineNumber
    id: LineId | None
    status: Literal[200]
    answer: ArtworkAnswer


class NotAnswered(Struct, tag_field="kind", tag="problem", frozen=True, kw_only=True):
    """A line that has no answer, and why; `status` is what the same request would be answered alone.

    The pointers of `problem.errors` lead into the line: ``/request/film``. `id` is null when the line has none, or is
    not well-formed enough to tell.
    """

    line: LineNumber
    id: LineId | None
    status: Annotated[int, Meta(ge=400, le=599)]
    problem: Problem


BulkAnswer = RecipeAnswered | FitAnswered | CostAnswered | QuoteAnswered | TrialAnswered | ArtworkAnswered | NotAnswered
