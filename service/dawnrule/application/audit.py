"""Audit of the ledger: the chain, the records, and each decision once more.

The ledger is read from its first entry to its last. Each entry must follow from the one before,
each record must be the one that was entered, and each advice is decided again from its recorded
facts under its own rule set. Missing records must be named by a later act of erasure. ``row_audit``
checks the rows that the ledger vouches for, and the history that each advice was decided on.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from dawnrule.analytics.archive import Progress, ignore_progress
from dawnrule.analytics.cross_check import decided_subjects
from dawnrule.application.row_audit import Rows, Vouched
from dawnrule.errors import DawnruleError, StoreUnusable
from dawnrule.model.entities import CheckIn
from dawnrule.model.record import Record
from dawnrule.model.serialization import to_json
from dawnrule.rules.columnar import DecidedSubject
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Entry, Head, Readable, Transaction, Walked
from dawnrule.store.activity_log import CONCERN_ACTS, TOMBSTONES
from dawnrule.store.tables.ledger import ROWS_WRITTEN, WalkedAdvice, WalkedEvent, record_digest
from dawnrule.store.values import parse_ranges, utc_text

READ_TOGETHER = 1_000
"""Entries read at a time, so that no read takes long."""

BY_ENGINE_EACH = 100
"""By default one record in so many, starting with the first, is decided by the engine too."""

FAULTS_LISTED = 1_000
"""Faults listed one by one; all are counted."""

MOVED_TRIED = 100
"""Misplaced entries among which the original place is searched."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault: the entry's position (None where there is no entry), a code of ``FAULTS``, and a
    description that repeats nothing of a record."""

    position: int | None
    code: str
    says: str


FAULTS: Mapping[str, str] = {
    "gap": "entries are missing",
    "entry-changed": "an entry is not what its fingerprint says",
    "entry-moved": "an entry stands where another stood",
    "broken-link": "an entry does not follow from the one before it",
    "cut-off": "the logbook ends before the head that was kept",
    "other-head": "the entry at the position that was kept has another fingerprint",
    "record-changed": "a record is not what was entered",
    "record-missing": "a record is gone, and no act says that it was erased",
    "record-without-entry": "an advice, or an event of a concern, is in no entry",
    "column-changed": "a column beside a record says otherwise than the record",
    "order-changed": "advice stands in another order than was entered",
    "check-in-changed": "a stored check-in is not the one in its record",
    "revision-changed": "a check-in stands at another place among the revisions of its date than "
    "in the order in which they came",
    "check-in-missing": "the check-in of a record is gone",
    "check-in-without-advice": "a check-in is stored on which no advice was given",
    "not-erased": "of what an act says was erased, not all left with it",
    "other-outcome": "decided again under its own rule set, an advice comes out otherwise",
    "engine-differs": "the engine does not decide on a record's facts as the evaluator does",
    "row-changed": "a row is not what was entered",
    "row-missing": "a row is gone, and no entry says that it was deleted",
    "row-without-entry": "a row was never entered",
    "history-differs": "an advice was decided on other check-ins or sessions than were entered",
    "schema-changed": "a table, index or trigger is not as this version makes it",
    "damaged": "the database cannot be read here, and what follows was not looked at",
    "unreadable": "a record is not of the form that the service writes",
    "rule-set-gone": "a rule set is not to be had as it was",
}
"""The faults that an audit can find."""


@dataclass(slots=True)
class Audited:
    """The result of an audit. ``records`` counts those present, ``erased`` those rightly gone,
    ``decided`` those decided again, and ``by_engine`` those of them decided by the engine too.
    ``vouched`` is what was found of the rows of other tables.
    ``faults`` are the first ``FAULTS_LISTED`` of ``fault_count``."""

    entries: int = 0
    records: int = 0
    acts: int = 0
    erased: int = 0
    decided: int = 0
    by_engine: int = 0
    vouched: Vouched = field(default_factory=Vouched)
    head: Head = field(default_factory=Head)
    fault_count: int = 0
    faults: list[Fault] = field(default_factory=list)

    @property
    def is_clean(self) -> bool:
        """Whether no fault was found."""
        return self.fault_count == 0

    def add_fault(self, position: int | None, code: str, detail: str = "") -> None:
        """Add a fault."""
        self.fault_count += 1
        if len(self.faults) < FAULTS_LISTED:
            says = FAULTS[code] + (f": {detail}" if detail else "")
            self.faults.append(Fault(position, code, says))


def audit(
    store: Readable,
    library: RuleSetLibrary,
    *,
    kept: Sequence[Head] = (),
    by_engine_each: int = BY_ENGINE_EACH,
    progress: Progress = ignore_progress,
) -> Audited:
    """Audit a store's ledger. ``kept`` are heads that were noted earlier and reveal a cut tail;
    ``library`` has the bundled rule sets and those of this store."""
    audited = Audited()
    try:
        rows = store.read(lambda transaction: Rows.of(transaction, audited.add_fault))
        audited.vouched = rows.found
        checks = _Checks(
            audited,
            _Chain(audited, kept),
            _Records(audited, library, by_engine_each, rows),
            rows,
        )
        of = store.read(lambda transaction: transaction.ledger.head()).position
        for walked in _in_order(store):
            checks.take(walked)
            progress(audited.head.position, max(of, audited.head.position))
        store.read(checks.end)
    except StoreUnusable:
        audited.add_fault(audited.head.position + 1, "damaged")
    audited.faults.sort(key=lambda fault: (fault.position is None, fault.position or 0))
    return audited


@dataclass(frozen=True, slots=True)
class _Checks:
    """All checks of an audit."""

    audited: Audited
    chain: _Chain
    records: _Records
    rows: Rows

    def take(self, walked: Sequence[Walked]) -> None:
        """Check the next entries."""
        for one in walked:
            self.chain.check(one.entry)
            self.records.check(one)
            self.audited.head = Head(one.entry.position, one.entry.digest)

    def end(self, transaction: Transaction) -> None:
        """Check what has come in since, and in the same snapshot the tables."""
        while walked := transaction.ledger.walk(self.audited.head.position, READ_TOGETHER):
            self.take(walked)
        self.chain.end()
        self.records.end()
        self.rows.end(transaction)
        add_fault = self.audited.add_fault
        for advice_id in transaction.ledger.advice_without_entry(FAULTS_LISTED):
            add_fault(None, "record-without-entry", f"advice {advice_id}")
        for position in transaction.ledger.salts_without_entry(FAULTS_LISTED):
            add_fault(None, "record-without-entry", f"the salt for position {position}")
        for event in transaction.concerns.events_without_entry(FAULTS_LISTED):
            add_fault(None, "record-without-entry", f"concern and event {event}")
        for concern_id in transaction.concerns.without_events(FAULTS_LISTED):
            add_fault(None, "record-missing", f"all events of the concern {concern_id}")
        for check_in_id in transaction.check_ins.without_advice(FAULTS_LISTED):
            add_fault(None, "check-in-without-advice", f"check-in {check_in_id}")
        for digest, name in transaction.rule_sets.full_names():
            self.records.rule_set(digest, name)


def _in_order(store: Readable) -> Iterator[list[Walked]]:
    """Read all entries in batches; where a batch cannot be read, one by one up to the first
    unreadable entry, for which ``StoreUnusable`` is raised."""
    position, together = 0, READ_TOGETHER
    while True:
        try:
            walked = _next(store, position, together)
        except StoreUnusable:
            if together == 1:
                raise
            together = 1
            continue
        if not walked:
            return
        yield walked
        position = walked[-1].entry.position


def _next(store: Readable, position: int, together: int) -> list[Walked]:
    return store.read(lambda transaction: transaction.ledger.walk(position, together))


class _Chain:
    """The check that each entry follows from the one before."""

    def __init__(self, audited: Audited, kept: Sequence[Head]) -> None:
        self._audited = audited
        self._kept: dict[int, set[str]] = {}
        for head in kept:
            self._kept.setdefault(head.position, set()).add(head.digest)
        self._before = Head()
        self._unfit: list[Entry] = []

    def check(self, entry: Entry) -> None:
        audited, before = self._audited, self._before
        audited.entries += 1
        if entry.position != before.position + 1:
            missing = range(before.position + 1, entry.position)
            which = f"{missing[0]} to {missing[-1]}" if len(missing) > 1 else str(missing[0])
            audited.add_fault(entry.position, "gap", which)
        elif entry.previous_digest != before.digest:
            audited.add_fault(entry.position, "broken-link")
        if entry.digest_at(entry.position) != entry.digest:
            self._unfit.append(entry)
        self._before = Head(entry.position, entry.digest)
        if self._kept.get(entry.position, {entry.digest}) != {entry.digest}:
            audited.add_fault(entry.position, "other-head")

    def end(self) -> None:
        places = [entry.position for entry in self._unfit[:MOVED_TRIED]]
        for entry in self._unfit:
            stood = next((p for p in places if entry.digest_at(p) == entry.digest), None)
            if stood is None:
                self._audited.add_fault(entry.position, "entry-changed")
            else:
                self._audited.add_fault(entry.position, "entry-moved", f"it stood at {stood}")
        last, furthest = self._before.position, max(self._kept, default=0)
        if furthest > last:
            self._audited.add_fault(None, "cut-off", f"{last}, not {furthest}")


class _Records:
    """The check that each record is there, unchanged, and decided as before."""

    def __init__(
        self, audited: Audited, library: RuleSetLibrary, by_engine_each: int, rows: Rows
    ) -> None:
        self._audited = audited
        self._rows = rows
        self._library = library
        self._by_engine_each = by_engine_each
        self._missing: set[int] = set()
        self._last_advice = 0
        self._revisions: dict[tuple[str, str], int] = {}
        self._rule_sets: dict[str, RuleSet | None] = {}

    def check(self, walked: Walked) -> None:
        entry = walked.entry
        if entry.kind == "act":
            self._check_act(walked)
        elif walked.advice is None or walked.salt is None:
            self._missing.add(entry.position)
        else:
            self._rows.note_advice(walked)
            self._check_advice(entry, walked.salt, walked.advice)

    def end(self) -> None:
        for position in sorted(self._missing):
            self._audited.add_fault(position, "record-missing")

    def rule_set(self, digest: str, name: str) -> RuleSet | None:
        """Find a rule set by digest, once; None, and a fault, if it is gone."""
        if digest not in self._rule_sets:
            try:
                self._rule_sets[digest] = self._library.by_digest(digest)
            except DawnruleError:
                self._rule_sets[digest] = None
                self._audited.add_fault(None, "rule-set-gone", f"{name} {digest}")
        return self._rule_sets[digest]

    def _check_act(self, walked: Walked) -> None:
        entry, body = walked.entry, walked.body
        if body is None or record_digest(body) != entry.record_digest:
            self._audited.add_fault(entry.position, "record-changed", "an act")
            return
        try:
            plain = json.loads(body)
            if plain["act"] != walked.act:
                self._audited.add_fault(entry.position, "column-changed", "act")
            if plain["act"] == ROWS_WRITTEN:
                self._rows.check(entry.position, entry.at, plain)
                return
            self._audited.acts += 1
            if plain["act"] in TOMBSTONES:
                self._account_for_erased(entry.position, plain["about"]["positions"])
            if plain["act"].startswith(CONCERN_ACTS):
                self._check_concern_event(entry.position, plain["about"], walked.concern_event)
        except (AttributeError, KeyError, TypeError, ValueError):
            self._audited.add_fault(entry.position, "unreadable", "an act")

    def _check_concern_event(
        self, position: int, about: Mapping[str, str], event: WalkedEvent | None
    ) -> None:
        if event is None:
            self._missing.add(position)
            return
        if record_digest(event.body, event.salt) != about["digest"]:
            self._audited.add_fault(position, "record-changed", "an event of a concern")
            return
        body = json.loads(event.body)
        expected = {
            "athlete_id": body["athlete_id"],
            "concern_id": body["concern_id"],
            "event": body["event"]["kind"],
            "kind": body["kind"],
            "number": body["number"],
            "on_date": body["event"]["on"],
            "state": body["state"],
        }
        for column, value in expected.items():
            if getattr(event, column) != value:
                self._audited.add_fault(position, "column-changed", column)

    def _account_for_erased(self, position: int, positions: str) -> None:
        """Accept missing records that an act names; it covers earlier ones only, and all must be
        gone."""
        named = erased = 0
        for some in parse_ranges(positions):
            gone = self._missing.intersection(range(some.start, min(some.stop, position)))
            self._missing -= gone
            named += some.stop - some.start
            erased += len(gone)
        self._audited.erased += erased
        if erased != named:
            self._audited.add_fault(position, "not-erased", f"{erased} of {named}")

    def _check_advice(self, entry: Entry, salt: str, advice: WalkedAdvice) -> None:
        audited = self._audited
        audited.records += 1
        if advice.position <= self._last_advice:
            audited.add_fault(entry.position, "order-changed")
        self._last_advice = max(self._last_advice, advice.position)
        if record_digest(advice.record, salt) != entry.record_digest:
            audited.add_fault(entry.position, "record-changed")
            return
        try:
            self._check_record(entry, advice, Record.from_text(advice.record))
        except (KeyError, TypeError, ValueError):
            audited.add_fault(entry.position, "unreadable")

    def _check_record(self, entry: Entry, advice: WalkedAdvice, record: Record) -> None:
        for column, expected in (_columns(record) | {"decided_at": entry.at}).items():
            if getattr(advice, column) != expected:
                self._audited.add_fault(entry.position, "column-changed", column)
        self._check_check_in(entry.position, advice, record)
        self._decide_again(entry.position, record)

    def _check_check_in(self, position: int, advice: WalkedAdvice, record: Record) -> None:
        """Compare a record with its stored check-in. ``clock`` is the time of the check-in;
        ``posted_by`` is its poster only in the first advice on it, as others may cause later ones.
        """
        if advice.check_in is None:
            self._audited.add_fault(position, "check-in-missing")
            return
        check_in, subject = record.check_in, (advice.check_in_of, advice.check_in_on)
        is_same = _read(advice.check_in) == to_json(check_in)
        if not is_same or subject != (check_in.athlete_id, check_in.date.isoformat()):
            self._audited.add_fault(position, "check-in-changed")
        if advice.check_in_at != utc_text(record.clock):
            self._audited.add_fault(position, "check-in-changed", "received_at")
        if advice.check_in_before == advice.check_in_id:
            return
        if advice.check_in_by != record.posted_by:
            self._audited.add_fault(position, "check-in-changed", "posted_by")
        self._check_revision(position, check_in, advice.check_in_revision)

    def _check_revision(self, position: int, check_in: CheckIn, revision: int | None) -> None:
        """Check that the revisions of a date count from 1 in the order of the ledger: the last one
        is what later mornings go by, so it must not be another that was made to look older."""
        of = (check_in.athlete_id, check_in.date.isoformat())
        expected = self._revisions.get(of, 0) + 1
        self._revisions[of] = expected
        if revision != expected:
            detail = f"{check_in.date}, revision {revision}, not {expected}"
            self._audited.add_fault(position, "revision-changed", detail)

    def _decide_again(self, position: int, record: Record) -> None:
        named = record.advice.rule_set
        rule_set = self.rule_set(named.digest, named.full_name)
        if rule_set is None:
            return
        decider = self._library.decider(rule_set)
        self._audited.decided += 1
        with_engine = (self._audited.decided - 1) % self._by_engine_each == 0
        self._audited.by_engine += with_engine
        decide = decider.decide if with_engine else decider.decide_by_evaluator
        facts = record.facts
        parts = [{**facts.day, **part.facts} for part in facts.parts]
        try:
            decision = decide(facts.day, parts, [part.block for part in facts.parts])
        except DawnruleError:
            self._audited.add_fault(position, "engine-differs")
            return
        if decided_subjects(decision) != tuple(_recorded(record)):
            self._audited.add_fault(position, "other-outcome")


def _read(stored: str) -> Any:
    """Parse a stored check-in; None, which no check-in is, if it is no JSON."""
    try:
        return json.loads(stored)
    except ValueError:
        return None


def _columns(record: Record) -> dict[str, str | None]:
    """Collect what the columns beside a record must hold."""
    advice = record.advice
    return {
        "id": advice.advice_id,
        "athlete_id": advice.athlete_id,
        "date": advice.date.isoformat(),
        "verdict": advice.verdict.value,
        "rule_id": advice.rule.id if advice.rule else None,
        "rule_set_digest": advice.rule_set.digest,
        "supersedes": record.supersedes,
    }


def _recorded(record: Record) -> Iterator[DecidedSubject]:
    """Yield the decisions on the day and then on its parts."""
    fired = (record.fired.day, *record.fired.parts)
    for advice, ids in zip(record.advice.day_and_parts, fired, strict=True):
        rule_id = advice.rule.id if advice.rule else None
        yield DecidedSubject(advice.verdict.value, rule_id, ids)
