"""A database with rows in each table, and edits past all of its triggers."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import date, datetime, time
from functools import partial
from pathlib import Path

from dawnrule.advice.advisor import Advisor
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.application.groups import put_group
from dawnrule.application.plans import set_plan
from dawnrule.application.private_addresses import create_address
from dawnrule.application.sessions import log_session
from dawnrule.clock import new_id
from dawnrule.model.entities import CheckIn, Session
from dawnrule.rules.loading.loader import parse_rule_set
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
)
from tests.factories import CLUB, DAY, FIRST_BASELINE, GROWTH, KIM, LATER, NOW, ONE_DAY, SAM

FORGOTTEN = date(2025, 1, 1)


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
