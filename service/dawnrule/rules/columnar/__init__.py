"""What do the same rules decide on very many mornings at once?

This package alone imports polars. Rules compile to expressions over columns, so that whole
histories are decided some fifty times as fast as morning by morning; that the answers are the
engine's is proved by a property test and, for any database, by ``advice.replay.differences``.

- ``table``: past mornings as columns, a fact in each, and the file that holds them.
- ``holding``: a condition as an expression over those columns.
- ``decider``: the verdicts and deciding rules, by the same meaning as ``rules.decision``.
"""

from dawnrule.rules.columnar.decider import ChangedMorning, ColumnDecider, Decided, DecidedSubject
from dawnrule.rules.columnar.table import MorningTable, PastMorning, PastSubject, read_marks

__all__ = [
    "ChangedMorning",
    "ColumnDecider",
    "Decided",
    "DecidedSubject",
    "MorningTable",
    "PastMorning",
    "PastSubject",
    "read_marks",
]
