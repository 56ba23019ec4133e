"""Records, the ledger and translations byte for byte, by digests made before the code was moved.

A change of code must not change a byte of what is recorded. Where a record is meant to change, the
digest changes in the same commit, which says why: ``python -m tests.golden.season_bytes`` writes
those of the season.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.composer import Composer
from dawnrule.advice.summary import spoken_summary
from dawnrule.advice.translation import translate
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.application.sessions import log_session
from dawnrule.demo.squad import Squad, invent_diaries
from dawnrule.model.serialization import to_json
from dawnrule.store import Store, Transaction
from dawnrule.store.tables import ledger, vouched_rows
from tests.advice.test_translation import composed, morning_of, rule_set_of
from tests.golden.season_bytes import digest, season_digests
from tests.golden.test_golden_decisions import CASES, REPORTED_AT

DIGESTS = json.loads(Path(__file__).with_name("golden_bytes.json").read_text(encoding="utf-8"))

THIS_MORNING = datetime(2026, 3, 9, 8, tzinfo=UTC)
FILES = sorted({case.rule_set for case in CASES})


@pytest.mark.parametrize("file", FILES)
def test_the_records_of_golden_mornings_stay_byte_for_byte(file: str) -> None:
    def records() -> Iterator[str]:
        advisor = Advisor.bundled()
        for case in (case for case in CASES if case.rule_set == file):
            considered = advisor.consider(morning_of(case), rule_set_of(case), "advice-1")
            record = considered.record(decided_at=REPORTED_AT, posted_by=None, supersedes=None)
            yield record.to_canonical_json()

    assert digest(records()) == DIGESTS["records"][file]


@pytest.mark.parametrize("file", FILES)
def test_the_german_of_golden_mornings_stays_byte_for_byte(file: str) -> None:
    def translations() -> Iterator[str]:
        composer = Composer.bundled("de")
        for case in (case for case in CASES if case.rule_set == file):
            record = composed(morning_of(case), rule_set_of(case), "en")
            advice = translate(record, rule_set_of(case), composer)
            values = to_json(advice)
            values["rule_set"] = dict(sorted(values["rule_set"].items()))  # as in the record
            yield json.dumps(values, ensure_ascii=False)
            yield spoken_summary(advice, composer)

    assert digest(translations()) == DIGESTS["german"][file]


def test_the_ledger_of_an_invented_squad_stays_byte_for_byte(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """``service_version`` aside, which a release changes."""
    salts, ids = count(), count()
    for module in (ledger, vouched_rows):
        monkeypatch.setattr(module, "token_hex", lambda size: f"{next(salts):0{2 * size}x}")
    monkeypatch.setattr(vouched_rows, "_now", lambda: THIS_MORNING)
    monkeypatch.setattr("dawnrule.__version__", "0.1.0")
    store.write(lambda transaction: _remember_squad(transaction, lambda: f"id-{next(ids):05}"))

    def entries() -> Iterator[str]:
        for walked in store.read(lambda transaction: list(transaction.ledger.walk(0, 100_000))):
            yield walked.entry.digest
            yield walked.advice.record if walked.advice else walked.body or ""

    assert digest(entries()) == DIGESTS["ledger"]


def test_the_ledger_and_the_german_of_season_mornings_stay_byte_for_byte(tmp_path: Path) -> None:
    """Under the version that decides, with all that came before each morning."""
    assert season_digests(tmp_path) == DIGESTS["season"]


def _remember_squad(transaction: Transaction, new_id: Callable[[], str]) -> None:
    advisor = Advisor.bundled()
    rule_set = advisor.library.get("baseline", "1.2.0")
    check_ins = CheckIns(advisor, rule_set, lambda: THIS_MORNING, new_id)
    for diary in invent_diaries(Squad.invented(), THIS_MORNING):
        transaction.athletes.put(diary.athlete)
        for day in diary.past:
            assert day.check_in.reported_at is not None
            posting = Submission(day.check_in.reported_at, None, new_id(), new_id())
            check_ins.submit(transaction, day.check_in, posting)
            if day.session is not None:
                ended = day.session.starts_at + timedelta(minutes=day.session.minutes)
                posting = Submission(ended, None, new_id(), new_id())
                log_session(transaction, check_ins, day.session, new_id(), posting)
