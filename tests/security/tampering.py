"""A database with rows in each table, and edits past all of its triggers.

``python -m tests.security.tampering`` prints for each column whether an edit of it is found, and if
not, why nobody would care.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from dawnrule.advice.advisor import Advisor
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.audit import audit
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.application.groups import put_group
from dawnrule.application.introductions import introduce
from dawnrule.application.plans import set_plan
from dawnrule.application.private_addresses import create_address
from dawnrule.application.sessions import log_session
from dawnrule.clock import new_id
from dawnrule.model.entities import CheckIn, Session
from dawnrule.rules.loading.loader import parse_rule_set
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import (
    Group,
    Key,
    Purpose,
    Role,
    Store,
    StoredPlan,
    StoredReplay,
    StoredRuleSet,
    Transaction,
    opened_to_read,
)
from tests.factories import CLUB, DAY, FIRST_BASELINE, GROWTH, KIM, LATER, NOW, ONE_DAY, SAM

FORGOTTEN = date(2025, 1, 1)

NOBODY_WOULD_CARE = {
    "private_addresses.last_used_on": "It only tells the coach that an address is in use.",
    "replays": "A replay is a trial on paper, and anybody can run it again from the ledger.",
    "replay_steps": "A replay is a trial on paper, and anybody can run it again from the ledger.",
    "sign_ins": "A sign-in lasts twelve hours and opens the pages to a key; what is done with it "
    "stands in the acts. Who can forge one has the database already.",
    "service_secrets": "It signs cookies, which count only with a sign-in that is stored. Another "
    "one signs everybody out.",
}
"""Tables and columns that are not vouched for, and the reasons."""


LIBRARY = RuleSetLibrary.bundled()

OTHER = {
    "BLOB": "CAST({0} || '0' AS BLOB)",
    "INTEGER": "coalesce({0}, 0) + 7000",
    "TEXT": "coalesce({0}, '') || '0'",
}
"""Another value of each kind of column."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column and the kind of its values."""

    table: str
    name: str
    kind: str

    @property
    def reason(self) -> str | None:
        """Why nobody would care; None for a column that must be found."""
        return NOBODY_WOULD_CARE.get(self.table) or NOBODY_WOULD_CARE.get(str(self))

    def __str__(self) -> str:
        return f"{self.table}.{self.name}"


def fill(store: Store, advisor: Advisor) -> None:
    """Write rows into every table, as the service does."""
    library = advisor.library.with_published(StoredTexts(store))
    check_ins = CheckIns(Advisor(library, advisor.composer), FIRST_BASELINE, lambda: NOW, new_id)
    store.write(_people_and_rules)
    for day, signs in enumerate(((), ("chest-pain",), ())):
        on = DAY + day * ONE_DAY
        at = datetime.combine(on, time(6), LATER.tzinfo)
        posting = Submission(at, "k-01", f"c-{day}", f"v-{day}")
        check_in = CheckIn(KIM.id, on, (GROWTH,), warning_signs=signs)
        store.write(partial(check_ins.submit, check_in=check_in, submission=posting))
    done = Session(KIM.id, datetime.combine(DAY, time(18), LATER.tzinfo), 60, (GROWTH,))
    posting = Submission(NOW + ONE_DAY, "k-01", "c-none", "v-none")
    store.write(lambda transaction: log_session(transaction, check_ins, done, "s-1", posting))


def _people_and_rules(transaction: Transaction) -> None:
    for athlete in (KIM, SAM):
        transaction.athletes.put(athlete)
    transaction.keys.add(Key("k-01", Role.COACH, None, None, NOW), "0" * 64)
    transaction.sign_ins.begin("1" * 64, "k-01", NOW, NOW + ONE_DAY)
    transaction.secrets.get_or_make("cookies", lambda: b"secret", NOW)
    create_address(transaction, KIM.id, Purpose.READ, None, by="k-01", at=NOW)
    said = {"Name": "athlete_id", "Date": "date", "Legs": "soreness_legs"}
    introduce(transaction, "check-ins", said, by="k-01", at=NOW)
    put_group(transaction, Group("team", "Team", (KIM.id,)), by="k-01", at=NOW)
    set_plan(transaction, StoredPlan(KIM.id, DAY, (GROWTH,), NOW, "k-01"), by="k-01")
    club = parse_rule_set(CLUB, "club.yaml")
    named = StoredRuleSet(club.name, club.version, club.digest, club.summary, NOW, "k-01")
    transaction.rule_sets.add(named, CLUB, "[]")
    transaction.shadow.set(club.digest, NOW, "k-01")
    transaction.activations.add(club.digest, LATER.date(), SAM.id, NOW, "k-01")
    transaction.retention.delete_before(FORGOTTEN, NOW)
    _replay(transaction, club.digest)


def _replay(transaction: Transaction, digest: str) -> None:
    asked = StoredReplay("r-1", "club@1.0.0", digest, None, None, NOW, NOW)
    transaction.replays.add(asked)
    transaction.replays.connection.execute(
        "INSERT INTO replay_steps VALUES ('r-1', '2026-03-09', '2026-03-10', 2, '{}')"
    )


@contextmanager
def past_all_triggers(file: Path) -> Iterator[sqlite3.Connection]:
    """Open a database as somebody who has the file: triggers are taken away for the while and put
    back afterwards, and no check or reference holds."""
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA ignore_check_constraints = ON")
        connection.execute("BEGIN")
        found = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        triggers = connection.execute(found).fetchall()
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        yield connection
        for _, sql in triggers:
            connection.execute(sql)
        connection.commit()


def columns_of(file: Path) -> Iterator[Column]:
    with closing(sqlite3.connect(file)) as connection:
        tables = connection.execute(
            r"""
            SELECT name FROM sqlite_master WHERE type = 'table'
            AND name NOT LIKE 'sqlite\_%' ESCAPE '\' AND name NOT LIKE '\_sqlite\_%' ESCAPE '\'
            """
        ).fetchall()
        for (table,) in tables:
            for _, name, kind, *_ in connection.execute(f"PRAGMA table_info({table})"):
                yield Column(table, name, kind)


def edit(file: Path, column: Column) -> None:
    """Give a column of one row another value, past all triggers and checks."""
    with past_all_triggers(file) as connection:
        last = last_row(connection, column.table)
        value = OTHER[column.kind].format(column.name)
        edited = f"UPDATE {column.table} SET {column.name} = {value} WHERE {last}"
        assert connection.execute(edited).rowcount == 1, "there must be a row to edit"


def put_in(file: Path, table: str) -> None:
    """Put in a row that is a copy of one, with other values where none may stand twice, past all
    triggers and checks."""
    with past_all_triggers(file) as connection:
        columns = {one.name: one.kind for one in columns_of(file) if one.table == table}
        unique = set(_columns_of_keys(connection, table))
        values = [
            OTHER[kind].format(name) if name in unique else name for name, kind in columns.items()
        ]
        last = last_row(connection, table)
        put = f"INSERT INTO {table} SELECT {', '.join(values)} FROM {table} WHERE {last}"
        assert connection.execute(put).rowcount == 1


def _columns_of_keys(connection: sqlite3.Connection, table: str) -> Iterator[str]:
    for _, name, _, _, _, place in connection.execute(f"PRAGMA table_info({table})"):
        if place:
            yield name
    for _, index, is_unique, *_ in connection.execute(f"PRAGMA index_list({table})").fetchall():
        if is_unique:
            for _, _, name in connection.execute(f"PRAGMA index_info({index})"):
                yield name


def last_row(connection: sqlite3.Connection, table: str) -> str:
    """The condition that holds for one row of a table."""
    described = connection.execute(f"PRAGMA table_info({table})").fetchall()
    key = ", ".join([name for _, name, _, _, _, place in described if place] or ["rowid"])
    return f"({key}) = (SELECT {key} FROM {table} ORDER BY {key} DESC LIMIT 1)"


def is_found(file: Path) -> bool:
    with opened_to_read(file) as store:
        return not audit(store, LIBRARY.with_published(StoredTexts(store))).is_clean


def closed_in_one_file(file: Path) -> Path:
    """Fill a new database, all in its one file."""
    with Store.open(file) as store:
        fill(store, Advisor.bundled())
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    return file


def main() -> None:
    """Edit each column of a database, audit it, and print what came of it as a table."""
    print("| table | column | an edit |\n|---|---|---|")
    with TemporaryDirectory() as folder:
        filled = closed_in_one_file(Path(folder) / "squad.db")
        for column in columns_of(filled):
            edited = Path(shutil.copy(filled, Path(folder) / "edited.db"))
            edit(edited, column)
            result = "is found" if is_found(edited) else f"is not found. {column.reason}"
            print(f"| {column.table} | {column.name} | {result} |", flush=True)


if __name__ == "__main__":
    main()
