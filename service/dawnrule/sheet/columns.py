"""Columns of a sheet: the words for each, and the field that it holds."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property, lru_cache
from itertools import product
from typing import Literal, Self, TypeAlias

from dawnrule.i18n.resources import read_data, rules_folder
from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.schemas.check_in import (
    MOST_AIR_C,
    MOST_BAR_SPEED,
    MOST_BICARBONATE_G,
    MOST_CAFFEINE_MG,
    MOST_CREATINE_G,
    MOST_GRIP_KG,
    MOST_JUMP_CM,
    MOST_KILOMETRES,
    MOST_LOAD_KG,
    MOST_NAPS_HOURS,
    MOST_SEVERITY,
    MOST_SPRINT_METRES,
)
from dawnrule.schemas.session import MOST_RPE

_BETWEEN_WORDS = re.compile(r"[\s_-]+")
_MOST_REMEMBERED = 2048  # texts: words come again in each row
_FILE_NAME = "sheet_columns.yaml"


@lru_cache(maxsize=_MOST_REMEMBERED)
def plain_name(header: str) -> str:
    """Write a header cell as column names are written: lower case, words joined by underscores."""
    composed = unicodedata.normalize("NFC", header)
    return _BETWEEN_WORDS.sub("_", composed.strip().lower())


@dataclass(frozen=True, slots=True)
class HeaderWords:
    """``rules/sheet_columns.yaml`` in memory; the keys there are the attributes here."""

    columns: Mapping[str, Sequence[str]]
    of_a_block: Mapping[str, Sequence[str]]
    of_the_first_block: Mapping[str, Sequence[str]]
    of_a_muscle_group: Mapping[str, Sequence[str]]
    muscle_groups: Mapping[str, Sequence[str]]
    never_unread: Mapping[str, Sequence[str]]
    own: str
    none: Sequence[str]
    yes: Sequence[str]
    no: Sequence[str]
    of_cells: Mapping[str, Mapping[str, Sequence[str]]]

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Load the words that ship with the service."""
        return cls(**read_data(rules_folder() / _FILE_NAME))

    def of_column(self, name: str) -> Iterator[str]:
        """Yield the words for a column that stands once in a sheet."""
        yield from (name, *self.columns.get(name, ()))

    def of_block_column(self, prefix: str, name: str) -> Iterator[str]:
        """Yield the words for a block's column: ``plan2`` and ``goal``."""
        yield from (f"{prefix}_{word}" for word in (name, *self.of_a_block.get(name, ())))

    def of_first_block_column(self, name: str) -> Iterator[str]:
        """Yield the words for the first block's column that have no prefix: ``ziel``."""
        yield from self.of_the_first_block.get(name, ())

    def of_muscle_group_column(self, name: str, group: str) -> Iterator[str]:
        """Yield the words for a muscle group's column: ``soreness`` and ``quadriceps``."""
        pairs = product(self.of_a_muscle_group[name], self.of_muscle_group(group))
        yield from (pattern.format(word) for pattern, word in pairs)

    def of_muscle_group(self, group: str) -> Iterator[str]:
        """Yield the words for a muscle group itself, its own name first."""
        yield from (plain_name(group), *self.muscle_groups.get(group, ()))


Kind: TypeAlias = Literal[
    "text",
    "word",
    "words",
    "number",
    "numbers",
    "yes-or-no",
    "date",
    "datetime",
    "muscle-group",
    "region",
    "list-of-soreness",
    "sign",
    "ill",
    "pain-at",
    "comment",
    "sets-by-reps",
    "trial",
]
Path: TypeAlias = tuple[str | int, ...]

_PERCENT = "%"
MUSCLE_GROUP = "muscle_group"
"""The column that makes a sheet long: a row for each muscle group of a morning."""


@dataclass(frozen=True)
class Column:
    """A column: its name, the path of its value in a check-in or session, and its kind.

    ``fact`` names the fact whose range a number has; without one, ``at_most`` is its upper limit.
    ``of_a_group`` columns are about the muscle group that the row names, which follows the first
    step of the path. ``words`` names the vocabulary list that its words are from. A time alone in
    an ``on_the_date`` column is on the row's date. A cell of a column that ``spreads`` says several
    things, or one in a way of its own; it is about ``groups``, or about what ``about`` names.
    """

    name: str
    path: Path
    kind: Kind
    fact: str = ""
    at_most: float = 0
    of_a_group: bool = False
    words: str = ""
    on_the_date: bool = False
    spreads: bool = False
    groups: tuple[str, ...] = ()
    about: str = ""

    @cached_property
    def greatest(self) -> float:
        """Return the greatest number that the column accepts."""
        return FactDictionary.bundled()[self.fact].greatest if self.fact else self.at_most

    @cached_property
    def is_percent(self) -> bool:
        """Tell whether its number is a percentage."""
        return bool(self.fact) and FactDictionary.bundled()[self.fact].unit == _PERCENT


@dataclass(frozen=True, slots=True, eq=False)  # there are two, which are looked up all the time
class Layout:
    """The subject of a sheet's rows, and their columns.

    ``name`` is what the interface calls them. ``required`` columns name a row's subject.
    ``answers`` are the columns that are added to an answered sheet; reading ignores them.
    ``common`` columns are those that most sheets have.
    ``block_list`` is the member that lists a row's blocks; the columns of each begin with one of
    ``blocks``. Where ``is_of_mornings``, an athlete has one row for each date, and each muscle
    group has columns.
    """

    name: str
    required: tuple[str, ...]
    answers: tuple[str, ...]
    common: tuple[str, ...]
    fixed: tuple[Column, ...]
    block_list: str
    blocks: tuple[str, ...]
    of_a_block: tuple[Column, ...]
    is_of_mornings: bool = False

    def columns(self) -> Mapping[str, Column]:
        """Return every column that is read, by name, in the order in which people are told of
        them."""
        return _columns(self)

    def column_named(self, header: str) -> Column | None:
        """Return the column that a header cell means, in any case, however its words are joined,
        under any of its names."""
        return _columns_by_word(self).get(plain_name(header))

    def words(self) -> Mapping[str, Column]:
        """Return every word for a column, with its column."""
        return _columns_by_word(self)


_BLOCK_COLUMNS = (
    Column("goal", ("goal",), "word", words="goals"),
    Column("muscle_groups", ("muscle_groups",), "words", words="muscle_groups"),
    Column("pattern", ("pattern",), "word", words="patterns"),
    Column("modality", ("modality",), "word", words="modalities"),
    Column("starts_at", ("starts_at",), "datetime", on_the_date=True),
    Column("minutes", ("minutes",), "number", "planned_minutes"),
    Column("sets", ("sets",), "number", "planned_sets"),
    Column("reps", ("reps",), "number", "planned_reps"),
    Column("rest_seconds", ("rest_seconds",), "number", "planned_rest_seconds"),
    Column("effort", ("effort",), "number", "planned_effort"),
    Column("reps_in_reserve", ("reps_in_reserve",), "number", "planned_reps_in_reserve"),
    Column("to_failure", ("to_failure",), "yes-or-no"),
    Column("new_exercise", ("new_exercise",), "yes-or-no"),
    Column("action", ("action",), "word", words="actions"),
    Column("contacts", ("contacts",), "number", "planned_contacts"),
    Column("sprint_metres", ("sprint_metres",), "number", at_most=MOST_SPRINT_METRES),
    Column("kilometres", ("kilometres",), "number", at_most=MOST_KILOMETRES),
    Column("contact", ("contact",), "yes-or-no"),
    Column("indoors", ("indoors",), "yes-or-no"),
    Column("competition", ("competition",), "yes-or-no"),
)

_LONG_COLUMNS = (
    Column(MUSCLE_GROUP, (MUSCLE_GROUP,), "muscle-group", words="muscle_groups"),
    Column("soreness", ("soreness",), "number", "soreness", of_a_group=True),
    Column("last_trained_at", ("last_trained", "at"), "datetime", of_a_group=True),
    Column("last_trained_goal", ("last_trained", "goal"), "word", of_a_group=True, words="goals"),
)

CHECK_INS = Layout(
    name="check-ins",
    required=("athlete_id", "date"),
    answers=("verdict", "rule", "reason", "caution", "problem"),
    common=(
        "athlete_id",
        "date",
        "sleep_hours",
        "soreness_quadriceps",
        "illness",
        "warning_signs",
        "pain_where",
        "pain_kind",
        "plan_goal",
        "plan_muscle_groups",
    ),
    fixed=(
        Column("athlete_id", ("athlete_id",), "text"),
        Column("date", ("date",), "date"),
        Column("reported_at", ("reported_at",), "datetime", on_the_date=True),
        Column("sleep_hours", ("sleep", "hours"), "number", "sleep_hours"),
        Column("sleep_quality", ("sleep", "quality"), "number", "sleep_quality"),
        Column("fatigue", ("fatigue",), "number", "fatigue"),
        Column("stress", ("stress",), "number", "stress"),
        Column("resting_hr_bpm", ("resting_hr_bpm",), "number", "resting_hr_bpm"),
        Column("hrv_rmssd_ms", ("hrv_rmssd_ms",), "number", "hrv_rmssd_ms"),
        Column("illness", ("illness",), "word", words="illnesses"),
        Column("warning_signs", ("warning_signs",), "words", words="warning_signs"),
        Column("pain_where", ("pain", 0, "where"), "text"),
        Column("pain_kind", ("pain", 0, "kind"), "word", words="pain_kinds"),
        Column("pain_muscle_groups", ("pain", 0, "muscle_groups"), "words", words="muscle_groups"),
        Column("pain_place", ("pain", 0, "place"), "word", words="pain_places"),
        Column("pain_side", ("pain", 0, "side"), "word", words="sides"),
        Column("pain_onset", ("pain", 0, "onset"), "word", words="onsets"),
        Column("pain_severity", ("pain", 0, "severity"), "number", at_most=MOST_SEVERITY),
        Column("pain_after", ("pain", 0, "after"), "word", words="pain_after"),
        Column("pain_warm", ("pain", 0, "warm"), "yes-or-no"),
        Column("pain_swollen", ("pain", 0, "swollen"), "yes-or-no"),
        Column("pain_numbness", ("pain", 0, "numbness"), "yes-or-no"),
        Column("naps_hours", ("sleep", "naps_hours"), "number", at_most=MOST_NAPS_HOURS),
        Column("temperature_c", ("temperature_c",), "number", "temperature_c"),
        Column("fever_medicine", ("fever_medicine",), "yes-or-no"),
        Column("jump_height_cm", ("jump_height_cm",), "numbers", at_most=MOST_JUMP_CM),
        Column("grip_kg", ("grip_kg",), "number", at_most=MOST_GRIP_KG),
        Column("bar_speed_pattern", ("bar_speed", 0, "pattern"), "word", words="patterns"),
        Column("bar_speed_load_kg", ("bar_speed", 0, "load_kg"), "number", at_most=MOST_LOAD_KG),
        Column(
            "bar_speed_metres_per_second",
            ("bar_speed", 0, "metres_per_second"),
            "number",
            at_most=MOST_BAR_SPEED,
        ),
        Column(
            "time_zones_crossed", ("journey", "time_zones_crossed"), "number", "time_zones_crossed"
        ),
        Column("arrived_on", ("journey", "arrived_on"), "date"),
        Column("heat_wbgt_c", ("heat", "wbgt_c"), "number", "wbgt_c"),
        Column("heat_temperature_c", ("heat", "temperature_c"), "number", at_most=MOST_AIR_C),
        Column("heat_humidity_percent", ("heat", "humidity_percent"), "number", at_most=100),
        Column("heat_acclimatised", ("heat", "acclimatised"), "yes-or-no"),
        Column("caffeine_mg", ("takes", "caffeine_mg"), "number", at_most=MOST_CAFFEINE_MG),
        Column("bicarbonate_g", ("takes", "bicarbonate_g"), "number", at_most=MOST_BICARBONATE_G),
        Column("creatine_g", ("takes", "creatine_g"), "number", at_most=MOST_CREATINE_G),
        Column("takes_other", ("takes", "other"), "text"),
    ),
    block_list="plan",
    blocks=("plan", "plan2", "plan3", "plan4"),
    of_a_block=_BLOCK_COLUMNS,
    is_of_mornings=True,
)
"""A squad's morning: a check-in in each row, or in as many rows as it names muscle groups."""

SESSIONS = Layout(
    name="sessions",
    required=("athlete_id", "starts_at"),
    answers=("session_id", "today_verdict", "today_headline", "problem"),
    common=("athlete_id", "starts_at", "minutes", "rpe", "block_goal", "block_muscle_groups"),
    fixed=(
        Column("athlete_id", ("athlete_id",), "text"),
        Column("starts_at", ("starts_at",), "datetime"),
        Column("minutes", ("minutes",), "number", "planned_minutes"),
        Column("rpe", ("rpe",), "number", at_most=MOST_RPE),
        Column("output", ("output",), "word"),
        Column("output_drop_percent", ("output_drop_percent",), "number", "output_drop_percent"),
    ),
    block_list="blocks",
    blocks=("block", "block2", "block3", "block4"),
    of_a_block=(
        *_BLOCK_COLUMNS,
        Column("load_kg", ("load_kg",), "number", at_most=MOST_LOAD_KG),
        Column("output", ("output",), "word"),
        Column("output_drop_percent", ("output_drop_percent",), "number", "output_drop_percent"),
        Column("longest_run_km", ("longest_run_km",), "number", at_most=MOST_KILOMETRES),
    ),
)
"""Past training: a session in each row."""


@cache
def _columns(layout: Layout) -> Mapping[str, Column]:
    return {column.name: column for _, column in _words_of_columns(layout)}


@cache
def _columns_by_word(layout: Layout) -> Mapping[str, Column]:
    """Map words to columns; a column's own name takes precedence over other words."""
    return dict(_words_of_columns(layout)) | dict(_columns(layout))


def _words_of_columns(layout: Layout) -> Iterator[tuple[str, Column]]:
    words = HeaderWords.bundled()
    for column in (*layout.fixed, *(_LONG_COLUMNS if layout.is_of_mornings else ())):
        yield from ((word, column) for word in words.of_column(column.name))
    for group in Vocabulary.bundled().muscle_groups if layout.is_of_mornings else ():
        for kind, column in _muscle_group_columns(group).items():
            yield from ((word, column) for word in words.of_muscle_group_column(kind, group))
    for index, prefix in enumerate(layout.blocks):
        for column in layout.of_a_block:
            path = (layout.block_list, index, *column.path)
            named = replace(column, name=f"{prefix}_{column.name}", path=path)
            yield from ((word, named) for word in words.of_block_column(prefix, column.name))
            if index == 0:
                yield from ((word, named) for word in words.of_first_block_column(column.name))


def _muscle_group_columns(group: str) -> dict[str, Column]:
    name = plain_name(group)
    return {
        "soreness": Column(f"soreness_{name}", ("soreness", group), "number", "soreness"),
        "last_at": Column(f"last_{name}_at", ("last_trained", group, "at"), "datetime"),
        "last_goal": Column(
            f"last_{name}_goal", ("last_trained", group, "goal"), "word", words="goals"
        ),
    }
