"""Past mornings in a folder, a Parquet file for each month, and many such folders as one table."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from hashlib import file_digest
from pathlib import Path
from typing import TypeAlias

import polars as pl

from dawnrule.errors import StoreUnusable
from dawnrule.model import FactDictionary, Verdict
from dawnrule.rules.columnar.expressions import TYPES
from dawnrule.rules.columnar.table import KEYS, ROWS_READ_TOGETHER, MorningTable, in_order

SUMS = "SHA256SUMS"
"""The file of a folder that names the others with their sums, as ``sha256sum`` does. They are named
by the year and month of their mornings."""

_WORDS = "words"
"""The mark of a file that has the words of ``words_of``."""

_CLUB = "club"
"""The mark of a file that has the name of the folder that it was written for."""

_COLUMNS = "columns"
"""The mark of a file that has the names of its columns, all that there were in its version."""

_SUM = re.compile(r"([0-9a-f]{64})  (year=\d+/month=\d\d/mornings\.parquet)\n")

OUTCOMES: Mapping[str, pl.DataType] = {
    "outcome_session": pl.String(),
    "outcome_output": pl.String(),
    "outcome_soreness_before": pl.Float64(),
    "outcome_soreness_after": pl.Float64(),
}
"""Columns beside the facts: what followed. The first two stand in the row of the day, the others,
which are ratings of its muscle group that morning and the next, in the row of a part."""

OutcomeRow: TypeAlias = tuple[int, int | None, str | None, str | None, float | None, float | None]
"""A position, a part, None for the day, and the values of ``OUTCOMES``."""

_LEDGER_BITS = 40
"""Positions of one ledger stay below this power of two; the folder's number is put above."""


def write_months(
    table: MorningTable,
    folder: Path,
    club: str,
    name_of: Callable[[str], str],
    outcomes: Iterable[OutcomeRow],
) -> int:
    """Write a table to a folder, which will be named ``club``, with other ids of the athletes and
    with what followed, and then the sums of its files; return the number of mornings."""
    subject = {"position": KEYS["position"], "part": KEYS["part"]}
    followed = pl.DataFrame(list(outcomes), schema={**subject, **OUTCOMES}, orient="row").lazy()
    ids = table.frame.select("athlete_id").unique().collect()["athlete_id"].to_list()
    named = pl.col("athlete_id").replace_strict(
        ids, list(map(name_of, ids)), return_dtype=pl.String()
    )
    marks = {
        _CLUB: club,
        _COLUMNS: json.dumps([*table.frame.collect_schema(), *OUTCOMES]),
        _WORDS: json.dumps(words_of(table.dictionary)),
    }
    sums = []
    months = sorted({(day.year, day.month) for day, _, _ in table.sizes()})
    for year, month in months:
        of_month = (pl.col("date").dt.year() == year) & (pl.col("date").dt.month() == month)
        file = folder / f"year={year}" / f"month={month:02}" / "mornings.parquet"
        file.parent.parent.mkdir(exist_ok=True)  # not the folder: whoever deleted it has taken over
        file.parent.mkdir()
        rows = table.frame.filter(of_month).with_columns(named)
        rows = rows.join(followed, on=list(subject), how="left", nulls_equal=True)
        rows.collect().write_parquet(
            file, compression="zstd", row_group_size=ROWS_READ_TOGETHER, metadata=marks
        )
        sums.append(f"{_sum_of(file)}  {file.relative_to(folder).as_posix()}\n")
    (folder / SUMS).write_text("".join(sums), encoding="utf-8")
    return sum(mornings for _, mornings, _ in table.sizes())


def words_of(dictionary: FactDictionary) -> Mapping[str, Sequence[str]]:
    """Return the words that may stand in each column of words."""
    facts = {name: one.values for name, one in dictionary.items() if one.values}
    return {**facts, "verdict": [verdict.value for verdict in Verdict]}


def read_outcomes(
    table: MorningTable,
) -> Iterator[
    tuple[int, int | None, str | None, str | None, str | None, float | None, float | None]
]:
    """Yield the outcomes in a table that ``read_months`` read, each day before its parts: position,
    part, muscle group, and the values of ``OUTCOMES``."""
    rows = in_order(table.frame).select("position", "part", "muscle_group", *OUTCOMES)
    yield from rows.collect().iter_rows()


def read_months(
    folders: Mapping[Path, Collection[str]], dictionary: FactDictionary
) -> MorningTable:
    """Read folders as one table, lazily, without the athletes that are named with each. An athlete
    is named by the club and the name there: ``1f13…/9c0d…``.

    Facts that a folder's version did not have were not reported there. Raises ``StoreUnusable`` for
    a file that is missing, not as it was written or not of the export: none may be passed over, or
    the rest would count as all.
    """
    facts = {name: TYPES[definition.type] for name, definition in dictionary.items()}
    schema = {**KEYS, **facts, **OUTCOMES}
    words = words_of(dictionary)
    frames = [pl.LazyFrame(schema=schema)]
    for number, (folder, erased) in enumerate(folders.items(), start=1):
        files = _files_of(folder)
        for file in files:
            marks = pl.read_parquet_metadata(file)
            _refuse_other_club(file, folder, marks)
            _refuse_other_columns(file, schema, marks)
            _refuse_other_words(file, words, marks)
        if files:
            rows = pl.scan_parquet(files, hive_partitioning=False)
            kept = rows.filter(~pl.col("athlete_id").is_in(list(erased)))
            place = pl.col("position") + (number << _LEDGER_BITS)
            who = pl.format("{}/{}", pl.lit(folder.name.partition("=")[2]), "athlete_id")
            frames.append(kept.with_columns(position=place, athlete_id=who))
    return MorningTable(pl.concat(frames, how="diagonal"), dictionary)


def _files_of(folder: Path) -> list[Path]:
    """List the files of a folder. Raises ``StoreUnusable`` where one is missing, has another sum or
    none: to read each byte takes far less time than to decide."""
    try:
        text = (folder / SUMS).read_text(encoding="utf-8")
    except OSError as error:
        raise _without_sums(folder, error.strerror) from error
    if _SUM.sub("", text):
        raise _without_sums(folder, "it was copied in part")
    sums = {folder / name: named for named, name in _SUM.findall(text)}
    for file, named in sums.items():
        try:
            is_whole = _sum_of(file) == named
        except OSError as error:
            raise StoreUnusable(
                f"{file} cannot be read: {error.strerror}. Copy it again."
            ) from error
        if not is_whole:
            raise StoreUnusable(
                f"{file} is not as it was exported: it was copied in part, or damaged. "
                "Copy it again."
            )
    for file in sorted(folder.rglob("*.parquet")):
        if file not in sums and not file.name.startswith("."):
            raise StoreUnusable(
                f"{file} is not among the files of {SUMS}: it is of an earlier export, or was put "
                "there. Delete it, or copy the archive again."
            )
    return list(sums)


def _sum_of(file: Path) -> str:
    with file.open("rb") as opened:
        return file_digest(opened, "sha256").hexdigest()


def _without_sums(folder: Path, why: str | None) -> StoreUnusable:
    return StoreUnusable(
        f"{folder / SUMS}, the list of the archive's files, cannot be read: {why}. "
        "Export or copy the archive again."
    )


def _refuse_other_club(file: Path, folder: Path, marks: Mapping[str, str]) -> None:
    """Raise ``StoreUnusable`` for a file that was written for another folder: its mornings would
    count twice, and the list of who was erased beside it would not be theirs."""
    if not {_CLUB, _COLUMNS} <= marks.keys():
        raise StoreUnusable(
            f"{file} says neither its club nor its columns: it is no export, or one of an earlier "
            "version. Export the archive again."
        )
    if marks[_CLUB] != folder.name:
        raise StoreUnusable(
            f"{file} is of {marks[_CLUB]}, not of the folder that it is in. Leave the folder out, "
            "or export it again."
        )


def _refuse_other_columns(
    file: Path, known: Mapping[str, pl.DataType], marks: Mapping[str, str]
) -> None:
    """Raise ``StoreUnusable`` for a file without the columns that it was written with, or with
    others: what is missing would count as not reported."""
    written, found = json.loads(marks[_COLUMNS]), pl.read_parquet_schema(file)
    for name in dict.fromkeys((*KEYS, *written, *found)):
        if name not in found:
            why = "is missing: it is not as it was exported. Copy or export it again"
        elif name not in written:
            why = "was added: it is not as it was exported. Copy or export it again"
        elif name not in known:
            why = "is not known to this version. It was exported by a newer one"
        elif found[name] != known[name]:
            why = "is of another type. It was exported by another version: export it again"
        else:
            continue
        raise StoreUnusable(f"{file} cannot be used: its column {name} {why}.")


def _refuse_other_words(
    file: Path, known: Mapping[str, Sequence[str]], marks: Mapping[str, str]
) -> None:
    """Raise ``StoreUnusable`` for a file that may have words which this version does not know: no
    rule would apply to them, as if nothing had been reported."""
    written = json.loads(marks.get(_WORDS, "{}"))
    for name in known.keys() & written.keys():
        if unknown := sorted(set(written[name]) - set(known[name])):
            raise StoreUnusable(
                f"{file} cannot be used: its column {name} may have {unknown[0]}, which this "
                "version does not know. It was exported by a newer one."
            )
