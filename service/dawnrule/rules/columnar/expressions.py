"""Column expressions: conditions over whole columns of facts (pure).

The meaning is that of ``evaluator``. A fact that was not reported is null, never NaN, which polars
orders above any number. Each test turns null into false before tests are combined, so that ``none``
of it is true. Values are compared in the dictionary's types, exactly.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from dawnrule.model import FactDictionary
from dawnrule.rules.conditions import (
    COMPARISONS,
    Condition,
    Group,
    GroupKind,
    Operator,
    Signal,
    Test,
)

TYPES = {
    "boolean": pl.Boolean(),
    "enumeration": pl.String(),
    "integer": pl.Int64(),
    "number": pl.Float64(),
}
"""The column type of each type of the dictionary."""


def expression(condition: Condition, dictionary: FactDictionary) -> pl.Expr:
    """Compile the condition to a column of true and false, over a column for each fact that it
    tests."""
    match condition:
        case Test():
            return _test(condition, TYPES[dictionary[condition.fact].type])
        case Signal(condition=inner):
            return expression(inner, dictionary)
        case Group(conditions=conditions):
            return _group(condition, [expression(inner, dictionary) for inner in conditions])


def _group(group: Group, several: Sequence[pl.Expr]) -> pl.Expr:
    match group.kind:
        case GroupKind.ALL:
            return pl.all_horizontal(several)
        case GroupKind.ANY:
            return pl.any_horizontal(several)
        case GroupKind.NONE:
            return ~pl.any_horizontal(several)
        case GroupKind.AT_LEAST:
            return pl.sum_horizontal(one.cast(pl.UInt32) for one in several) >= group.needed


def _test(test: Test, of_type: pl.DataType) -> pl.Expr:
    """Compile one test; for a fact that was not reported, only ``reported`` can be true."""
    fact = pl.col(test.fact)
    if test.operator is Operator.REPORTED:
        return fact.is_not_null() if test.value else fact.is_null()
    found = [_compared(fact, test.operator, pl.lit(value, of_type)) for value in test.values]
    return pl.any_horizontal(found).fill_null(value=False)


def _compared(fact: pl.Expr, operator: Operator, value: pl.Expr) -> pl.Expr:
    if operator not in COMPARISONS:  # IS, and each value of IN
        return fact == value
    found: pl.Expr = COMPARISONS[operator](fact, value)
    return found
