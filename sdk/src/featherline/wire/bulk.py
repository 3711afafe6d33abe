"""The lines of bulk: a question is a line of JSON, and so is its answer, in the order of the questions.

The media type is ``application/jsonl``: JSON texts, each on one line.
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
    str, Meta(min_length=1, max_length=128, description="The caller's own name for a line; the answer repeats it.")
]
LineNumber = Annotated[
    int, Meta(ge=1, description="The number of the question's line in the request, from 1; empty lines count.")
]


class RecipeQuestion(Struct, tag_field="kind", tag="recipe", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line with a question for ``/v1/recipes``."""

    id: LineId | None = None
    request: RecipeRequest


class FitQuestion(Struct, tag_field="kind", tag="fit", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line with a question for ``/v1/fits``."""

    id: LineId | None = None
    request: FitRequest


class CostQuestion(Struct, tag_field="kind", tag="cost", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line with a question for ``/v1/costs``."""

    id: LineId | None = None
    request: CostRequest


class QuoteQuestion(Struct, tag_field="kind", tag="quote", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line with a question for ``/v1/quotes``."""

    id: LineId | None = None
    request: Order


class TrialQuestion(Struct, tag_field="kind", tag="trial", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line with a question for ``/v1/trials``."""

    id: LineId | None = None
    request: TrialRequest


class ArtworkQuestion(Struct, tag_field="kind", tag="artwork", frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line with a question for ``/v1/artworks``."""

    id: LineId | None = None
    request: ArtworkRequest


BulkQuestion = RecipeQuestion | FitQuestion | CostQuestion | QuoteQuestion | TrialQuestion | ArtworkQuestion


class RecipeAnswered(Struct, tag_field="kind", tag="recipe", frozen=True, kw_only=True):
    """The line that answers a `RecipeQuestion`."""

    line: LineNumber
    id: LineId | None
    status: Literal[200]
    answer: RecipeAnswer


class FitAnswered(Struct, tag_field="kind", tag="fit", frozen=True, kw_only=True):
    """The line that answers a `FitQuestion`."""

    line: LineNumber
    id: LineId | None
    status: Literal[200]
    answer: FitAnswer


class CostAnswered(Struct, tag_field="kind", tag="cost", frozen=True, kw_only=True):
    """The line that answers a `CostQuestion`."""

    line: LineNumber
    id: LineId | None
    status: Literal[200]
    answer: CostAnswer


class QuoteAnswered(Struct, tag_field="kind", tag="quote", frozen=True, kw_only=True):
    """The line that answers a `QuoteQuestion`."""

    line: LineNumber
    id: LineId | None
    status: Literal[200]
    answer: QuoteAnswer


class TrialAnswered(Struct, tag_field="kind", tag="trial", frozen=True, kw_only=True):
    """The line that answers a `TrialQuestion`."""

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
    """The line for a question without an answer. `status` is the HTTP status that the request would have alone.

    The pointers of `problem.errors` start at the question's line, as in ``/request/film``. `id` is null if the line has
    none, or is too malformed to read it.
    """

    line: LineNumber
    id: LineId | None
    status: Annotated[int, Meta(ge=400, le=599)]
    problem: Problem


BulkAnswer = RecipeAnswered | FitAnswered | CostAnswered | QuoteAnswered | TrialAnswered | ArtworkAnswered | NotAnswered
