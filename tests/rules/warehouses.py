"""Databases in which a rule set decides as a query: an embedded one, and a server that is started
for the purpose."""

from __future__ import annotations

import csv
import io
import os
import shutil
import subprocess
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from glob import glob
from pathlib import Path
from tempfile import mkdtemp
from typing import Any, TypeAlias

import duckdb

from dawnrule.cli.query import table_as_text
from dawnrule.rules.columnar import DecidedSubject, PastMorning
from dawnrule.rules.query import SUBJECT, columns_of_table, query
from dawnrule.rules.rule_set import RuleSet
from tests.property.rule_strategies import DICTIONARY

Decided: TypeAlias = dict[tuple[str, int | None], DecidedSubject]
"""The decisions of one date by athlete and part, None for the day."""


def rows_of(mornings: Iterable[PastMorning], rule_set: RuleSet) -> Iterator[list[Any]]:
    """The rows of the table of facts; None is not reported."""
    facts = [name for name in columns_of_table(rule_set, DICTIONARY) if name not in SUBJECT]
    for morning in mornings:
        for part, subject in enumerate((morning.day, *morning.parts), start=-1):
            key = (morning.athlete_id, morning.date, None if part < 0 else part, subject.block)
            yield [*key, *map(subject.facts.get, facts)]


def create_facts(
    database: duckdb.DuckDBPyConnection,
    mornings: Iterable[PastMorning],
    rule_set: RuleSet,
    folder: Path,
) -> None:
    """Create the table of facts in the embedded database, by the statement that is printed and a
    file in a folder."""
    file = folder / "facts.csv"
    file.write_text(_as_csv(rows_of(mornings, rule_set)), encoding="utf-8")
    database.execute(table_as_text(rule_set, "duckdb"))
    database.execute(f"COPY facts FROM '{file}' (FORMAT csv, HEADER false)")
    file.unlink()


def by_duckdb(mornings: Iterable[PastMorning], rule_set: RuleSet, folder: Path) -> Decided:
    """Decide in the embedded database."""
    with duckdb.connect() as database:
        create_facts(database, mornings, rule_set, folder)
        database.execute(query(rule_set, DICTIONARY).sql("duckdb"))
        return _decided(database.fetchall(), rule_set)


@dataclass(frozen=True)
class Postgres:
    """A server of its own, in a folder that goes with it; it listens on a socket in that folder."""

    folder: Path

    @classmethod
    @contextmanager
    def started(cls) -> Iterator[Postgres]:
        """Start a server, and end it."""
        server = cls(Path(mkdtemp(prefix="pg-")))
        data = server.folder / "data"
        try:
            if os.geteuid() == 0:  # it never runs as root
                shutil.chown(server.folder, "postgres", "postgres")
            server._run("initdb", "-D", data, "-A", "trust", "-U", "test", "-E", "UTF8", "-N")
            options = f"-k {server.folder} -h '' -F -c jit=off"
            server._run("pg_ctl", "start", "-w", "-D", data, "-o", options, "-l", data / "log")
            yield server
        finally:
            if (data / "postmaster.pid").exists():
                server._run("pg_ctl", "stop", "-w", "-m", "immediate", "-D", data)
            shutil.rmtree(server.folder)

    def decided(self, mornings: Iterable[PastMorning], rule_set: RuleSet) -> Decided:
        """Decide in the server, in a table by the statement that is printed."""
        script = (
            f"DROP TABLE IF EXISTS facts;\n{table_as_text(rule_set, 'postgres')}\n"
            f"COPY facts FROM STDIN (FORMAT csv);\n{_as_csv(rows_of(mornings, rule_set))}\\.\n"
            f"COPY ({query(rule_set, DICTIONARY).sql('postgres')}) TO STDOUT (FORMAT csv);\n"
        )
        told = self._run("psql", "-X", "-q", "-h", self.folder, "-U", "test", "-d", "postgres",
            "-v", "ON_ERROR_STOP=1", "-f", "-", given=script)  # fmt: skip
        return _decided(map(_as_typed, csv.reader(io.StringIO(told))), rule_set)

    def _run(self, program: str, *words: object, given: str = "") -> str:
        """Run one of the server's programs, the newest there is."""
        where = max(glob("/usr/lib/postgresql/*/bin"))
        other = "postgres" if os.geteuid() == 0 else None  # the server refuses to run as root
        done = subprocess.run(
            [f"{where}/{program}", *map(str, words)],
            input=given,
            stdout=subprocess.PIPE if program == "psql" else subprocess.DEVNULL,
            stderr=subprocess.PIPE if program == "psql" else subprocess.DEVNULL,
            text=True,
            cwd=self.folder,
            user=other,
            group=other,
            extra_groups=[] if other else None,
        )
        assert done.returncode == 0, done.stderr
        return str(done.stdout)


def _as_csv(rows: Iterable[Sequence[Any]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def _as_typed(row: Sequence[str]) -> list[Any]:
    """A row that a server wrote: an empty cell is NULL, t and f are true and false."""
    who, when, part, block, verdict, rule_id, *fires = row
    number = int(part) if part else None
    return [who, when, number, block, verdict, rule_id or None, *(one == "t" for one in fires)]


def _decided(rows: Iterable[Sequence[Any]], rule_set: RuleSet) -> Decided:
    found: Decided = {}
    for row in rows:
        who, _, part, _ = row[: len(SUBJECT)]
        verdict, rule_id, *fires = row[len(SUBJECT) :]
        fired = zip(rule_set.rules, fires, strict=True)
        assert all(one is not None for one in fires)
        key = (who, part)
        assert key not in found
        found[key] = DecidedSubject(verdict, rule_id, tuple(r.id for r, one in fired if one))
    return found
