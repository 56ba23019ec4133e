"""Time to verify a long ledger.

Run from the checkout: ``python -m tests.benchmarks.audit --entries 100000``. One morning each of
many athletes is considered in earnest; its record is then entered again and again under other ids
and on later dates, with digests that fit. Around it the store writes what it writes for the
service: the check-in, every other evening a session, an act each week, and after each advice the
note of the history that it was decided on, with all check-ins and sessions that facts look back on.
So each entry is as long as a real one, and is read, hashed, compared and decided again as
``dawnrule audit verify`` does.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from dawnrule.advice.advisor import Advisor, Morning
from dawnrule.application.audit import BY_ENGINE_EACH, audit
from dawnrule.facts.history import CHECK_IN_DAYS, SESSION_DAYS
from dawnrule.model.entities import Athlete, CheckIn, History
from dawnrule.model.record import Record
from dawnrule.model.serialization import to_json
from dawnrule.store import (
    DecidedOn,
    Store,
    StoredAdvice,
    StoredCheckIn,
    StoredSession,
    Transaction,
)
from dawnrule.store.activity_log import record_act
from tests.benchmarks.history import athlete, check_in, session

ATHLETES = 50
AT_ONCE = 1_000
START = datetime(2020, 1, 1, 6, tzinfo=UTC)
EVENING = timedelta(hours=12)
SESSION_EACH = 2
ACT_EACH = 7
"""Days between two sessions of an athlete, and between two acts about one."""

Sample = tuple[Athlete, CheckIn, Record]


def samples(advisor: Advisor) -> Iterator[Sample]:
    """A morning and its record for each athlete."""
    rule_set = advisor.library.all()[-1]
    for number in range(ATHLETES):
        who = athlete(f"a-{number:02}")
        morning = check_in(who.id, number % 9)
        now = datetime.combine(morning.date, START.timetz())
        considered = advisor.consider(Morning(who, morning, History(), now), rule_set, "advice")
        record = considered.record(decided_at=now, posted_by="k-01", supersedes=None)
        yield who, morning, record


def fill(store: Store, entries: int) -> None:
    """A ledger of at least so many entries."""
    drawn = list(samples(Advisor.bundled()))
    store.write(lambda transaction: [transaction.athletes.put(who) for who, _, _ in drawn])
    number = 0
    while store.read(lambda transaction: transaction.ledger.head()).position < entries:
        numbers = range(number, number + AT_ONCE)
        store.write(partial(_add, drawn=drawn, numbers=numbers))
        number += AT_ONCE


def _add(transaction: Transaction, drawn: list[Sample], numbers: range) -> None:
    for number in numbers:
        day = number // ATHLETES
        sample, at = drawn[number % ATHLETES], START + timedelta(days=day)
        _add_morning(transaction, sample, number, at)
        who = sample[0].id
        if day % SESSION_EACH == 0:
            started = at + EVENING
            done = replace(session(who, 0), starts_at=started)
            transaction.sessions.add(StoredSession(f"s-{number}", done, started, "k-01"))
            transaction.vouched_rows.enter()
        if day % ACT_EACH == 0:
            about = {"athlete_id": who, "date": str(at.date())}
            record_act(transaction, "plan-set", by="k-01", at=at, about=about)


def _add_morning(transaction: Transaction, sample: Sample, number: int, at: datetime) -> None:
    who, morning, record = sample
    check_in_id, advice_id = f"c-{number}", f"v-{number}"
    sent = replace(morning, date=at.date())
    advice = replace(record.advice, advice_id=advice_id, date=at.date())
    text = replace(
        record, advice=advice, check_in=sent, clock=at, decided_at=at
    ).to_canonical_json()
    transaction.check_ins.add(
        StoredCheckIn(check_in_id, who.id, at.date(), to_json(sent), at, "k-01")
    )
    position = transaction.advice.add(
        StoredAdvice(
            advice_id,
            check_in_id,
            who.id,
            at.date(),
            advice.verdict.value,
            advice.rule.id if advice.rule else None,
            advice.rule_set.digest,
            text,
            at,
        )
    )
    transaction.vouched_rows.enter(
        DecidedOn(position, who.id, at.date(), at, CHECK_IN_DAYS, SESSION_DAYS)
    )


def main() -> None:
    """Fill, verify and print."""
    parser = argparse.ArgumentParser(description="Seconds to verify a ledger.")
    parser.add_argument("--entries", type=int, default=20_000)
    parser.add_argument("--each", type=int, default=BY_ENGINE_EACH, help="by the engine, one in")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "audit.db") as store:
        started = time.perf_counter()
        fill(store, chosen.entries)
        print(f"built in {time.perf_counter() - started:.1f} s")
        megabytes = store.file.stat().st_size / 1e6
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        library = Advisor.bundled().library
        started, worked = time.perf_counter(), time.process_time()
        found = audit(store, library, by_engine_each=chosen.each)
        seconds, of_processor = time.perf_counter() - started, time.process_time() - worked
        grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1e3
        speed = f"{found.entries / of_processor:,.0f} entries/s"
        print(f"{found.entries:,} entries of {megabytes:,.0f} MB verified in {seconds:.1f} s")
        print(f"{of_processor:.1f} s of one processor, {speed}")
        print(
            f"{found.records:,} records, {found.vouched.histories:,} histories, {found.acts} acts"
        )
        print(f"{found.by_engine} by the engine too, {found.fault_count} faults")
        print(f"memory grew by {grown:.0f} MB")
        for fault in found.faults[:1]:
            raise SystemExit(f"{fault.position}: {fault.says}")
        started = time.perf_counter()
        store.wipe()
        print(
            f"the file written anew, as after an erasure, in {time.perf_counter() - started:.1f} s"
        )


if __name__ == "__main__":
    main()
