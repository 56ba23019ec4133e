"""Which columns does a sheet have, and what of a check-in or a session does each hold?"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal, TypeAlias

from dawnrule.schemas.session import MOST_LOAD_KG, MOST_RPE
from dawnrule.vocabulary import FactDictionary, Vocabulary

Kind: TypeAlias = Literal["text", "word", "words", "number"]
Path: TypeAlias = tuple[str | int, ...]

_BETWEEN_WORDS = re.compile(r"[\s_-]+")


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, where its value stands in what a row says, and how it is written.

    ``fact`` names the fact whose range a number has; without one ``at_most`` is its end.
    """

    name: str
    path: Path
    kind: Kind
    fact: str = ""
    at_most: float = 0

    @property
    def greatest(self) -> float:
        """The greatest number that may stand in it."""
        return FactDictionary.shipped()[self.fact].greatest if self.fact else self.at_most


@dataclass(frozen=True, slots=True)
class Layout:
    """What the rows of a sheet are about.

    ``required`` columns name a row's subject. ``answers`` are what the sheet gets back beside its
    own columns; read again, they say nothing. ``block_list`` is the list that a row's blocks stand
    in; the columns of each begin with one of ``blocks``.
    """

    required: tuple[str, ...]
    answers: tuple[str, ...]
    fixed: tuple[Column, ...]
    block_list: str
    blocks: tuple[str, ...]
    of_a_block: tuple[Column, ...]
    has_muscle_groups: bool = False

    def columns(self) -> Mapping[str, Column]:
        """Every column that is read, by name, in the order in which people are told of them."""
        return _columns(self)

    def column_named(self, header: str) -> Column | None:
        """The column that a header cell means, whatever its case and however its words are
        joined."""
        return self.columns().get(plain_name(header))


_OF_A_BLOCK = (
    Column("goal", ("goal",), "word"),
    Column("muscle_groups", ("muscle_groups",), "words"),
    Column("pattern", ("pattern",), "word"),
    Column("modality", ("modality",), "word"),
    Column("starts_at", ("starts_at",), "text"),
    Column("minutes", ("minutes",), "number", "planned_minutes"),
    Column("sets", ("sets",), "number", "planned_sets"),
    Column("reps", ("reps",), "number", "planned_reps"),
    Column("rest_seconds", ("rest_seconds",), "number", "planned_rest_seconds"),
)

CHECK_INS = Layout(
    required=("athlete_id", "date"),
    answers=("verdict", "rule", "reason", "caution", "problem"),
    fixed=(
        Column("athlete_id", ("athlete_id",), "text"),
        Column("date", ("date",), "text"),
        Column("reported_at", ("reported_at",), "text"),
        Column("sleep_hours", ("sleep", "hours"), "number", "sleep_hours"),
        Column("sleep_quality", ("sleep", "quality"), "number", "sleep_quality"),
        Column("fatigue", ("fatigue",), "number", "fatigue"),
        Column("stress", ("stress",), "number", "stress"),
        Column("resting_hr_bpm", ("resting_hr_bpm",), "number", "resting_hr_bpm"),
        Column("hrv_rmssd_ms", ("hrv_rmssd_ms",), "number", "hrv_rmssd_ms"),
        Column("illness", ("illness",), "word"),
        Column("warning_signs", ("warning_signs",), "words"),
        Column("pain_where", ("pain", 0, "where"), "text"),
        Column("pain_kind", ("pain", 0, "kind"), "word"),
        Column("pain_muscle_groups", ("pain", 0, "muscle_groups"), "words"),
    ),
    block_list="plan",
    blocks=("plan", "plan2", "plan3", "plan4"),
    of_a_block=_OF_A_BLOCK,
    has_muscle_groups=True,
)
"""A squad's morning, a check-in in each row."""

SESSIONS = Layout(
    required=("athlete_id", "starts_at"),
    answers=("session_id", "today_verdict", "today_headline", "problem"),
    fixed=(
        Column("athlete_id", ("athlete_id",), "text"),
        Column("starts_at", ("starts_at",), "text"),
        Column("minutes", ("minutes",), "number", "planned_minutes"),
        Column("rpe", ("rpe",), "number", at_most=MOST_RPE),
        Column("output", ("output",), "word"),
        Column("output_drop_percent", ("output_drop_percent",), "number", "output_drop_percent"),
    ),
    block_list="blocks",
    blocks=("block", "block2", "block3", "block4"),
    of_a_block=(*_OF_A_BLOCK, Column("load_kg", ("load_kg",), "number", at_most=MOST_LOAD_KG)),
)
"""Training that was done, a session in each row."""


def plain_name(header: str) -> str:
    """A header cell as column names are written: small letters, words joined by underscores."""
    return _BETWEEN_WORDS.sub("_", header.strip().lower())


@cache
def _columns(layout: Layout) -> Mapping[str, Column]:
    return {column.name: column for column in _each_column(layout, Vocabulary.shipped())}


def _each_column(layout: Layout, vocabulary: Vocabulary) -> Iterator[Column]:
    yield from layout.fixed
    for group in vocabulary.muscle_groups if layout.has_muscle_groups else ():
        name = plain_name(group)
        yield Column(f"soreness_{name}", ("soreness", group), "number", "soreness")
        yield Column(f"last_{name}_at", ("last_trained", group, "at"), "text")
        yield Column(f"last_{name}_goal", ("last_trained", group, "goal"), "word")
    for index, prefix in enumerate(layout.blocks):
        for column in layout.of_a_block:
            path = (layout.block_list, index, *column.path)
            yield replace(column, name=f"{prefix}_{column.name}", path=path)
