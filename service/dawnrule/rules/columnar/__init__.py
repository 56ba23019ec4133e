"""Columnar evaluation: one rule set decided on many past mornings at once.

This package alone imports polars. Rules compile to expressions over columns, which decide whole
histories about fifty times as fast as one morning after another. A property test proves that the
answers are the engine's; ``analytics.cross_check.compare`` proves it for any database.

- ``mornings``: past mornings one by one, without polars.
- ``table``: past mornings as columns, and the file that holds them.
- ``months``: past mornings in a folder, by month, and many such folders.
- ``expressions``: conditions as polars expressions.
- ``decider``: verdicts and deciding rules, with the meaning of ``evaluation.decision``.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from dawnrule.rules.columnar.mornings import (
    ChangedMorning,
    DecidedSubject,
    PastMorning,
    PastSubject,
)

if TYPE_CHECKING:
    from dawnrule.rules.columnar.decider import ColumnDecider, ColumnDecisions
    from dawnrule.rules.columnar.months import read_months, read_outcomes, write_months
    from dawnrule.rules.columnar.table import MorningTable, read_metadata

__all__ = [
    "ChangedMorning",
    "ColumnDecider",
    "ColumnDecisions",
    "DecidedSubject",
    "MorningTable",
    "PastMorning",
    "PastSubject",
    "read_metadata",
    "read_months",
    "read_outcomes",
    "write_months",
]

_MODULES = {
    "ColumnDecider": "decider",
    "ColumnDecisions": "decider",
    "MorningTable": "table",
    "read_metadata": "table",
    "read_months": "months",
    "read_outcomes": "months",
    "write_months": "months",
}


def __getattr__(name: str) -> Any:
    """Import what needs polars when it is first used: a service that replays nothing starts sooner
    and is smaller without it. So others say ``columnar.MorningTable``."""
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)
