"""Mutants of a module: its source with one change each, such as another operator, another number or no loop.

The changes are those of cosmic-ray, less some that teach little: bit operators, remainders and powers in place of
arithmetic, which nearly always raise; decorators, most of which are caches; annotations.
"""

from __future__ import annotations

import ast
import difflib
import re
from collections.abc import Iterator
from typing import Final, NamedTuple

import cosmic_ray.ast
import cosmic_ray.mutating
import cosmic_ray.plugins

_LEFT_OUT: Final = re.compile(
    r"core/(?:RemoveDecorator|NoOp|ReplaceBinaryOperator_\w+_(?:FloorDiv|Mod|Pow|RShift|LShift|BitOr|BitAnd|BitXor))"
)

Span = tuple[tuple[int, int], tuple[int, int]]


class Mutant(NamedTuple):
    """One change of a module: the operator that made it, its line, what stood there, what stands there, the whole."""

    operator: str
    line: int
    before: str
    after: str
    source: str


def mutants(source: str) -> Iterator[Mutant]:
    """Yield the mutants of a module's source, in the order of its lines for each operator."""
    left_out, lines = list(_left_out(source)), source.splitlines()
    for name in cosmic_ray.plugins.operator_names():
        operator = cosmic_ray.plugins.get_operator(name)
        if _LEFT_OUT.fullmatch(name) or operator.arguments():
            continue
        places = [
            start
            for node in cosmic_ray.ast.ast_nodes(cosmic_ray.ast.get_ast(source))
            for start, _ in operator().mutation_positions(node)
        ]
        for occurrence, start in enumerate(places):
            line = lines[start[0] - 1]
            keyword_only = line[start[1] :].startswith("*,")  # the sign in a signature, which is no operator
            if keyword_only or any(begin <= start < end for begin, end in left_out):
                continue
            changed = cosmic_ray.mutating.mutate_code(source, operator(), occurrence)
            if changed is not None and changed != source:
                yield Mutant(name.removeprefix("core/"), start[0], *_difference(source, changed), changed)


def _left_out(source: str) -> Iterator[Span]:
    """Yield where annotations and decorators begin and end: line from 1, column from 0."""
    for node in ast.walk(ast.parse(source)):
        expressions = (getattr(node, "annotation", None), getattr(node, "returns", None))
        for each in (*expressions, *getattr(node, "decorator_list", ())):
            if isinstance(each, ast.expr):
                yield (each.lineno, each.col_offset), (each.end_lineno or each.lineno, each.end_col_offset or 0)


def _difference(source: str, changed: str) -> tuple[str, str]:
    """Return the lines that were changed, and what they became, without the comments behind them."""
    lines = [*difflib.ndiff(source.splitlines(), changed.splitlines())]
    before, after = (
        [line[2:].partition("  # ")[0].strip() for line in lines if line.startswith(sign)] for sign in ("- ", "+ ")
    )
    return " ".join(before), " ".join(after)
