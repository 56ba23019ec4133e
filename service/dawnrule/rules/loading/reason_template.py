"""Reason templates: placeholders, number formats, and the facts a reason may name.

A template names facts in braces: ``{sleep_hours:.1f}``. Nothing but a name and a number of decimals
is understood, so a template from outside can reach no attribute and run nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import floor
from string import Formatter

from dawnrule.model import is_number
from dawnrule.rules.conditions import Condition, Group, GroupKind, Operator, Signal, Test

ALWAYS_NAMED = frozenset({"muscle_group", "goal"})
"""Facts that the reason of a part rule may name even if the rule does not test them."""

CONDITIONS_MET = "conditions_met"
"""The name that stands for the tests that hold, in words with their numbers."""

DECIMALS_SHOWN = 1
"""The number of decimals shown where the template asks for none."""

POINT = "."
"""The decimal mark of English."""

_DECIMALS = re.compile(r"(\.[0-9]f)?")


class TemplateError(ValueError):
    """A template that cannot be used; the message says what is allowed."""


def placeholders(template: str) -> Iterator[tuple[str, str]]:
    """Yield the names in a template and their number formats, in order.

    Raises ``TemplateError`` for broken braces and for anything but ``{name}`` or ``{name:.1f}``.
    """
    try:
        pieces = list(Formatter().parse(template))
    except ValueError as error:
        raise TemplateError(f"the braces do not match: {error}") from error
    for _, name, decimals, conversion in pieces:
        if name is None:
            continue
        if not name.isidentifier() or conversion or not _DECIMALS.fullmatch(decimals or ""):
            raise TemplateError(f"{{{name}}} must be {{fact}} or {{fact:.1f}}")
        yield name, decimals or ""


@dataclass(frozen=True, slots=True)
class _CutShort:
    """A number shown with its further decimals cut off, not rounded: 47.97 h under a limit of 48 h
    must not read as 48.0 h."""

    number: float
    decimal_mark: str

    def __format__(self, decimals: str) -> str:
        if isinstance(self.number, int) and not decimals:
            return str(self.number)
        places = int(decimals.strip(".f") or DECIMALS_SHOWN)
        cut = cut_short(self.number, places)
        return format(cut, decimals or "g").replace(POINT, self.decimal_mark)


def cut_short(number: float, places: int) -> float:
    """Cut off the decimals of a number beyond so many places."""
    scale = 10**places
    return float(floor(number * scale) / scale)


@lru_cache(maxsize=4096)
def names_in(template: str) -> frozenset[str]:
    """Return the names in a template."""
    return frozenset(name for name, _ in placeholders(template))


def fill(template: str, values: Mapping[str, object], decimal_mark: str = POINT) -> str:
    """Fill a template with values; numbers take the decimals that the template asks for."""
    formatted = {
        name: _CutShort(value, decimal_mark) if is_number(value) else value
        for name, value in values.items()
    }
    text = template.format_map(formatted)
    return text[:1].upper() + text[1:]


def surely_reported(condition: Condition) -> frozenset[str]:
    """Find the facts that are certain to be reported whenever the condition holds."""
    match condition:
        case Test(operator=Operator.REPORTED, value=False):
            return frozenset()
        case Test():
            return frozenset({condition.fact})
        case Signal(condition=inner):
            return surely_reported(inner)
        case Group(kind=GroupKind.NONE):
            return frozenset()
        case Group(conditions=several):
            return _in_at_least(several, len(several) - condition.needed + 1)


def _in_at_least(conditions: tuple[Condition, ...], count: int) -> frozenset[str]:
    """Find the facts guaranteed by at least ``count`` of the conditions: any choice of the others
    meets one."""
    guaranteed = [surely_reported(condition) for condition in conditions]
    every = frozenset().union(*guaranteed)
    return frozenset(fact for fact in every if sum(fact in g for g in guaranteed) >= count)
