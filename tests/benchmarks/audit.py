"""Time to verify a long ledger.

Run from the checkout: ``python -m tests.benchmarks.audit --records 100000``. One morning each of
many athletes is considered in earnest; its record is then entered again and again under other ids
and on later dates, with digests that fit. So the records are as long as real ones, and each is
read, hashed, compared with its columns and decided again, as ``dawnrule audit verify`` does.
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
from dawnrule.model.entities import Athlete, CheckIn, History
from dawnrule.model.record import Record
from dawnrule.model.serialization import to_json
from dawnrule.store import Store, StoredAdvice, StoredCheckIn, Transaction
from tests.benchmarks.history import athlete, check_in

ATHLETES = 50
AT_ONCE = 1_000
START = datetime(2020, 1, 1, 6, tzinfo=UTC)

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


def fill(store: Store, records: int) -> None:
    """A ledger of so many advice."""
    drawn = list(samples(Advisor.bundled()))
    store.write(lambda transaction: [transaction.athletes.put(who) for who, _, _ in drawn])
    for start in range(0, records, AT_ONCE):
        numbers = range(start, min(start + AT_ONCE, records))
        store.write(partial(_add, drawn=drawn, numbers=numbers))


def _add(transaction: Transaction, drawn: list[Sample], numbers: range) -> None:
    for number in numbers:
        who, morning, record = drawn[number % ATHLETES]
        at = START + timedelta(days=number // ATHLETES)
        check_in_id, advice_id = f"c-{number}", f"v-{number}"
        sent = replace(morning, date=at.date())
        advice = replace(record.advice, advice_id=advice_id, date=at.date())
        text = replace(record, advice=advice, check_in=sent, clock=at).to_canonical_json()
        transaction.check_ins.add(
            StoredCheckIn(check_in_id, who.id, at.date(), to_json(sent), at, "k-01")
        )
        transaction.advice.add(
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


def main() -> None:
    """Fill, verify and print."""
    parser = argparse.ArgumentParser(description="Seconds to verify a ledger.")
    parser.add_argument("--records", type=int, default=20_000)
    parser.add_argument("--each", type=int, default=BY_ENGINE_EACH, help="by the engine, one in")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "audit.db") as store:
        fill(store, chosen.records)
        megabytes = store.file.stat().st_size / 1e6
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        started = time.perf_counter()
        found = audit(store, Advisor.bundled().library, by_engine_each=chosen.each)
        seconds = time.perf_counter() - started
        grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1e3
        print(f"{found.records} records of {megabytes:,.0f} MB verified in {seconds:.1f} s")
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
