"""Partition of a fact's values into classes that no test can tell apart (pure).

A test compares with thresholds, so all values between two neighbouring thresholds are alike to it.
One value for each threshold and one for each gap, out to the ends of the fact's range, therefore
represent every value there is: what holds for these holds for all.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise

from dawnrule.model import FactDefinition, FactDictionary, FactValue, is_number
from dawnrule.rules.conditions import Condition, Operator, Test, tests_of
from dawnrule.rules.loading.reason_template import DECIMALS_SHOWN


def representative_values(
    conditions: Iterable[Condition], dictionary: FactDictionary
) -> Mapping[str, tuple[FactValue, ...]]:
    """Choose, for each fact that the conditions test, values that represent all of its values;
    facts are in the dictionary's order, values ascending or in that order too."""
    thresholds: dict[str, set[float]] = defaultdict(set)
    for test in (test for condition in conditions for test in tests_of(condition)):
        thresholds[test.fact].update(_numbers(test))
    return {
        fact: tuple(_values(dictionary[fact], sorted(thresholds[fact])))
        for fact in dictionary
        if fact in thresholds
    }


def step_of(definition: FactDefinition) -> float:
    """Return the least difference between two values of a number as people read them: the
    dictionary's where it has one, else 1 for whole numbers and 0.1 for others."""
    if definition.step is not None:
        return definition.step
    return 1 if definition.type == "integer" else 10**-DECIMALS_SHOWN


def next_value(definition: FactDefinition, value: float, *, above: bool) -> float:
    """Return the next value as people read them; it may lie outside the fact's range."""
    step = step_of(definition)
    return _moved(value, step if above else -step)


def _moved(value: float, by: float) -> float:
    return round(value + by, DECIMALS_SHOWN)


def _numbers(test: Test) -> Iterator[float]:
    if test.operator is not Operator.REPORTED:
        yield from filter(is_number, test.values)


def _values(definition: FactDefinition, thresholds: list[float]) -> Iterator[FactValue]:
    if definition.type == "boolean":
        yield from (False, True)
    elif definition.type == "enumeration":
        yield from definition.values
    else:
        yield from _cut(definition, thresholds)


def _cut(definition: FactDefinition, thresholds: list[float]) -> Iterator[float]:
    """Yield each threshold, and a value from each gap that has any; the outermost gaps include the
    ends of the range."""
    under = math.nextafter(definition.least, -math.inf)
    over = math.nextafter(definition.greatest, math.inf)
    for low, high in pairwise([under, *thresholds, over]):
        if low in thresholds:
            yield low
        below_first_threshold = low == under and high != over
        yield from _between(definition, low, high, from_high=below_first_threshold)


def _between(
    definition: FactDefinition, low: float, high: float, *, from_high: bool
) -> Iterator[float]:
    """Yield one value between the two, if there is any: easy to read, and near the end asked
    for."""
    steps = dict.fromkeys((1, 1 if definition.type == "integer" else 10**-DECIMALS_SHOWN))
    easy = [_moved(high, -step) if from_high else _moved(low, step) for step in steps]
    easy += [_moved(low, step) if from_high else _moved(high, -step) for step in steps]
    for value in (*easy, definition.least, math.nextafter(high, -math.inf)):
        if low < value < high and definition.accepts(value):
            yield value
            return
