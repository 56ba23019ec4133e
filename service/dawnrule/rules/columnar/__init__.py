"""Columnar evaluation: one rule set decided on many past mornings at once.

This package alone imports polars. Rules compile to expressions over columns, which decide whole
histories about fifty times as fast as one morning after another. A property test proves that the
answers are the engine's; ``analytics.cross_check.compare`` proves it for any database.

- ``table``: past mornings as columns, and the file that holds them.
- ``months``: past mornings in a folder, by month, and many such folders.
- ``expressions``: conditions as polars expressions.
- ``decider``: verdicts and deciding rules, with the meaning of ``evaluation.decision``.
"""

from dawnrule.rules.columnar.decider import (
    ChangedMorning,
    ColumnDecider,
    ColumnDecisions,
    DecidedSubject,
)
from dawnrule.rules.columnar.months import read_months, read_outcomes, write_months
from dawnrule.rules.columnar.table import MorningTable, PastMorning, PastSubject, read_metadata

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
