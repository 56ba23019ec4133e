"""Past mornings as columns: the facts they were decided on and the decisions, in memory and in a
file.

A table has a row for each subject: one for the day itself, whose ``part`` is null, and then one for
each part of its plan, which repeats the day's facts. Every fact of the dictionary is a column; null
stands for not reported. The order is that of the ledger.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from operator import itemgetter
from typing import IO, Any, Self

import polars as pl

from dawnrule.errors import EngineFailure
from dawnrule.model import FactDictionary, FactValue
from dawnrule.rules.columnar.expressions import TYPES
from dawnrule.rules.columnar.mornings import PastMorning, PastSubject

ROWS_READ_TOGETHER = 50_000
"""The number of rows in each compressed group of a file; a query for some dates unpacks only
theirs."""

KEYS: Mapping[str, pl.DataType] = {
    "position": pl.Int64(),
    "athlete_id": pl.String(),
    "date": pl.Date(),
    "rule_set_digest": pl.String(),
    "part": pl.Int64(),
    "block": pl.Int64(),
    "verdict": pl.String(),
    "rule_id": pl.String(),
    "fired": pl.List(pl.String()),
}
"""The columns of a row besides the facts: the advice's position in the ledger, and the decision."""


@dataclass(frozen=True, slots=True)
class MorningTable:
    """Past mornings as columns, read lazily; one morning for an athlete and date."""

    frame: pl.LazyFrame
    dictionary: FactDictionary

    @classmethod
    def of(cls, mornings: Iterable[PastMorning], dictionary: FactDictionary) -> Self:
        """Build the table of some mornings. A fact that the dictionary does not know is left out:
        no rule can test it.

        Raises ``EngineFailure`` for a value that the dictionary does not allow, as a column would
        convert it to another.
        """
        facts = {name: TYPES[definition.type] for name, definition in dictionary.items()}
        rows = [row for morning in mornings for row in _rows(morning, dictionary)]
        frame = pl.DataFrame(rows, schema={**KEYS, **facts}, orient="row")
        return cls(frame.lazy(), dictionary)

    @classmethod
    def read(cls, file: IO[bytes], dictionary: FactDictionary) -> Self:
        """Open the table in an open file, which the caller may close; rows are read when they are
        needed, and are those of this file whatever becomes of its name."""
        file.seek(0)
        return cls(pl.scan_parquet(file), dictionary)

    def write(self, file: IO[bytes], metadata: Mapping[str, str]) -> None:
        """Write a Parquet file with ``metadata`` in its header."""
        self.frame.collect().write_parquet(
            file,
            compression="lz4",
            row_group_size=ROWS_READ_TOGETHER,
            metadata=dict(metadata),
        )

    def followed_by(self, later: Iterable[MorningTable]) -> MorningTable:
        """Append tables that come later in the ledger; of several mornings of an athlete and date,
        the last in the ledger stays."""
        rows = pl.concat([self.frame, *(table.frame for table in later)])
        days = rows.filter(pl.col("part").is_null()).group_by("athlete_id", "date")
        newest = days.agg(pl.col("position").max())
        kept = rows.join(newest, on="position", how="semi", maintain_order="left")
        return MorningTable(kept, self.dictionary)

    def between(self, first: date | None, last: date | None) -> MorningTable:
        """Select the mornings from one date to another, inclusive; None leaves that end open."""
        frame = self.frame
        if first is not None:
            frame = frame.filter(pl.col("date") >= first)
        if last is not None:
            frame = frame.filter(pl.col("date") <= last)
        return MorningTable(frame, self.dictionary)

    def decided_by(self, rule_set_digest: str) -> MorningTable:
        """Select the mornings whose advice was given by a rule set."""
        frame = self.frame.filter(pl.col("rule_set_digest") == rule_set_digest)
        return MorningTable(frame, self.dictionary)

    def deciders(self) -> list[tuple[str, int, date, date]]:
        """List the digests of the rule sets that gave the advice, each with its number of mornings
        and their first and last date; that of the most mornings comes first."""
        days = self.frame.filter(pl.col("part").is_null()).group_by("rule_set_digest")
        counted = days.agg(
            pl.len().alias("mornings"),
            pl.col("date").min().alias("first"),
            pl.col("date").max().alias("last"),
        )
        ordered = counted.sort("mornings", "rule_set_digest", descending=[True, False])
        return ordered.collect().rows()

    def sizes(self) -> list[tuple[date, int, int]]:
        """List each date with its number of mornings and of subjects, in order of date."""
        day = pl.col("part").is_null().sum()
        return self.frame.group_by("date").agg(day, pl.len()).sort("date").collect().rows()

    def mornings(self) -> Iterator[PastMorning]:
        """Yield the mornings one by one, in the order of the ledger."""
        rows = in_order(self.frame).collect().iter_rows(named=True)
        for position, subjects in groupby(rows, key=itemgetter("position")):
            yield _morning(position, list(subjects), self.dictionary)


def in_order(subjects: pl.LazyFrame) -> pl.LazyFrame:
    """Sort subjects in the order of the ledger, each day before its parts."""
    return subjects.sort("position", "part", nulls_last=False)


def read_metadata(file: IO[bytes]) -> Mapping[str, str] | None:
    """Read the metadata that an open file was written with; None when it is unreadable."""
    try:
        return pl.read_parquet_metadata(file)
    except (OSError, pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return None


def _rows(morning: PastMorning, dictionary: FactDictionary) -> Iterator[tuple[Any, ...]]:
    for part, subject in enumerate((morning.day, *morning.parts), start=-1):
        facts = subject.facts
        for name, value in facts.items():
            if name in dictionary and not dictionary[name].accepts(value):
                raise _unfit(morning, name, value, dictionary)
        yield (
            morning.position,
            morning.athlete_id,
            morning.date,
            morning.rule_set_digest,
            part if part >= 0 else None,
            subject.block,
            subject.verdict,
            subject.rule_id,
            subject.fired,
            *map(facts.get, dictionary),
        )


def _unfit(
    morning: PastMorning, name: str, value: FactValue, dictionary: FactDictionary
) -> EngineFailure:
    return EngineFailure(
        f"The advice to {morning.athlete_id} for {morning.date.isoformat()} was given on {name} "
        f"{value!r}, which the dictionary does not allow: {dictionary[name].allowed()}."
    )


def _morning(position: int, rows: list[dict[str, Any]], dictionary: FactDictionary) -> PastMorning:
    day = rows[0]
    return PastMorning(
        position,
        day["athlete_id"],
        day["date"],
        day["rule_set_digest"],
        _subject(day, dictionary),
        tuple(_subject(row, dictionary) for row in rows[1:]),
    )


def _subject(row: dict[str, Any], dictionary: FactDictionary) -> PastSubject:
    facts = {name: row[name] for name in dictionary if row[name] is not None}
    return PastSubject(row["verdict"], row["rule_id"], tuple(row["fired"]), facts, row["block"])
