"""Past mornings in a folder, a Parquet file for each month, and many such folders as one table."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from pathlib import Path

import polars as pl

from dawnrule.model import FactDictionary
from dawnrule.rules.columnar.expressions import TYPES
from dawnrule.rules.columnar.table import KEYS, ROWS_READ_TOGETHER, MorningTable

FILES = "year=*/month=*/mornings.parquet"
"""The files of a folder, by the year and month of their mornings."""

_LEDGER_BITS = 40
"""Positions of one ledger stay below this power of two; the folder's number is put above."""


def write_months(table: MorningTable, folder: Path, name_of: Callable[[str], str]) -> int:
    """Write a table to a folder, with other ids of the athletes; return the number of mornings."""
    ids = table.frame.select("athlete_id").unique().collect()["athlete_id"].to_list()
    named = pl.col("athlete_id").replace_strict(
        ids, list(map(name_of, ids)), return_dtype=pl.String()
    )
    months = sorted({(day.year, day.month) for day, _, _ in table.sizes()})
    for year, month in months:
        of_month = (pl.col("date").dt.year() == year) & (pl.col("date").dt.month() == month)
        file = folder / f"year={year}" / f"month={month:02}" / "mornings.parquet"
        file.parent.mkdir(parents=True)
        rows = table.frame.filter(of_month).with_columns(named).collect()
        rows.write_parquet(file, compression="zstd", row_group_size=ROWS_READ_TOGETHER)
    return sum(mornings for _, mornings, _ in table.sizes())


def read_months(
    folders: Mapping[Path, Collection[str]], dictionary: FactDictionary
) -> MorningTable:
    """Read folders as one table, lazily, without the athletes that are named with each.

    Facts that a folder lacks were not reported there.
    """
    facts = {name: TYPES[definition.type] for name, definition in dictionary.items()}
    frames = [pl.LazyFrame(schema={**KEYS, **facts})]
    for number, (folder, erased) in enumerate(folders.items(), start=1):
        if any(folder.glob(FILES)):
            rows = pl.scan_parquet(folder / FILES, hive_partitioning=False)
            kept = rows.filter(~pl.col("athlete_id").is_in(list(erased)))
            place = pl.col("position") + (number << _LEDGER_BITS)
            frames.append(kept.with_columns(position=place))
    return MorningTable(pl.concat(frames, how="diagonal"), dictionary)
