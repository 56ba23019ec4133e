"""Concerns in the service: opened by check-ins, lifted by coaches and clinicians, in the record."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics.archive import Archive
from dawnrule.analytics.cross_check import compare
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.athletes import erase
from dawnrule.application.audit import audit
from dawnrule.application.backups import back_up, restore
from dawnrule.application.batches import Row, submit_each
from dawnrule.application.check_ins import (
    CheckIns,
    Submission,
    Submitted,
    history_before,
)
from dawnrule.application.concerns import (
    Acting,
    ConcernChanged,
    advance_concern,
    clear_concern,
    concerns_of,
    confirm_correction,
    open_concern,
    open_concerns,
    withdraw,
)
from dawnrule.application.retention import apply_retention
from dawnrule.application.sessions import log_session
from dawnrule.errors import Conflict, Forbidden, InvalidInput, NotFound, StoreUnusable
from dawnrule.model.concern_transitions import ClearanceTerms, Opening
from dawnrule.model.concerns import (
    ActorRole,
    Concern,
    ConcernKind,
    ConcernState,
    PainSite,
    Restriction,
    Restrictions,
)
from dawnrule.model.entities import Athlete, CheckIn, Pain, Session
from dawnrule.rules.rule_set import RuleSet
from dawnrule.rules.staged_returns import stage_plans
from dawnrule.schemas.concern import ConcernSchema
from dawnrule.store import Store, Transaction
from tests.factories import GROWTH, KIM, SAM, bundled_advisor, deciding_baseline

DAY = date(2026, 3, 9)
WELL: dict[str, Any] = {"warning_signs": (), "illness": "none", "pain": ()}
KNEE = (Pain("left knee", "joint", ("quadriceps",)),)
Post = Callable[..., Submitted]
Act = Callable[..., ConcernChanged]


def at(day: int, hour: float = 7) -> datetime:
    return datetime.combine(DAY, time(), UTC) + timedelta(days=day, hours=hour)


@pytest.fixture
def advisor() -> Advisor:
    return bundled_advisor()


@pytest.fixture
def rule_set() -> RuleSet:
    return deciding_baseline()


@pytest.fixture
def check_ins(advisor: Advisor, rule_set: RuleSet) -> CheckIns:
    return CheckIns(advisor, rule_set, lambda: at(0), lambda: "unused")


@pytest.fixture
def numbers() -> Iterator[int]:
    return count(1)


@pytest.fixture
def post(store: Store, check_ins: CheckIns, numbers: Iterator[int]) -> Post:
    """Posts a check-in of Kim so many days after the first."""
    store.write(lambda transaction: transaction.athletes.put(KIM))

    def posted(
        day: int, hour: float = 7, athlete: Athlete = KIM, late: int = 0, **reported: Any
    ) -> Submitted:
        number = next(numbers)
        check_in = CheckIn(athlete.id, DAY + timedelta(days=day), (GROWTH,), **(WELL | reported))
        submission = Submission(at(day + late, hour), "key-1", f"c-{number}", f"v-{number}")
        return store.write(lambda transaction: check_ins.submit(transaction, check_in, submission))

    return posted


@pytest.fixture
def act(store: Store, check_ins: CheckIns, numbers: Iterator[int]) -> Act:
    """Runs a use case as a coach so many days after the first."""

    def acted(
        use_case: Callable[..., ConcernChanged],
        *words: Any,
        day: int = 0,
        hour: float = 12,
        role: ActorRole = ActorRole.COACH,
        **more: Any,
    ) -> ConcernChanged:
        number = next(numbers)
        submission = Submission(at(day, hour), "key-2", f"a-{number}", f"v-{number}")
        acting = Acting(role, submission, "Ada")
        return store.write(
            lambda transaction: use_case(transaction, check_ins, *words, acting, **more)
        )

    return acted


def concerns(store: Store) -> list[Concern]:
    return store.read(lambda transaction: transaction.concerns.of_athlete(KIM.id))


def only(store: Store) -> Concern:
    [concern] = concerns(store)
    return concern


def known_on(store: Store, day: int) -> tuple[Concern, ...]:
    """The concerns that a morning so many days after the first knows of, at noon."""
    check_in = CheckIn(KIM.id, DAY + timedelta(days=day), ())
    return store.read(
        lambda transaction: history_before(transaction, check_in, at(day, 12))
    ).concerns


def is_clean(store: Store, advisor: Advisor) -> bool:
    return audit(store, advisor.library.with_published(StoredTexts(store))).is_clean


CHEST: dict[str, Any] = {"warning_signs": ("chest-pain",)}
FEVER: dict[str, Any] = {"illness": "fever"}


# ---- check-ins ---------------------------------------------------------------------------------


def test_a_check_in_opens_a_concern_in_its_own_transaction_and_record(
    store: Store, post: Post, advisor: Advisor
) -> None:
    submitted = post(0, **CHEST)
    concern = only(store)
    assert (concern.state, concern.events[0].check_in_id) == (ConcernState.OPEN, "c-1")
    advice_id = submitted.advice.advice_id or ""
    stored = store.read(lambda transaction: transaction.advice.get(advice_id))
    assert stored is not None
    [recorded] = stored.read_record().concerns
    assert (recorded.id, recorded.kind, recorded.state) == (concern.id, "heart-or-chest", "open")
    assert is_clean(store, advisor)


def test_a_record_without_concerns_says_nothing_of_them(store: Store, post: Post) -> None:
    advice_id = post(0).advice.advice_id or ""
    stored = store.read(lambda transaction: transaction.advice.get(advice_id))
    assert stored is not None
    assert "concerns" not in stored.record


def test_the_same_check_in_again_adds_no_event(store: Store, post: Post) -> None:
    post(0, **CHEST)
    post(0, hour=8, **CHEST)
    assert len(only(store).events) == 1


def test_the_history_of_a_morning_has_what_is_open_and_nothing_that_began_later(
    store: Store, post: Post
) -> None:
    post(0, **CHEST)
    for day, known in ((-1, 0), (0, 1), (400, 1)):
        assert len(known_on(store, day)) == known


def test_a_withdrawal_on_the_same_date_is_noted_and_waits_for_a_coach(
    store: Store, post: Post, act: Act
) -> None:
    post(0, **CHEST)
    post(0, hour=8)
    concern = only(store)
    assert (concern.state, concern.correction_on) == (ConcernState.OPEN, DAY)
    act_name = "concern-withdrawn-same-day"
    acts = store.read(lambda transaction: transaction.ledger.acts(act=act_name, limit=2))
    assert len(acts) == 1
    confirmed = act(confirm_correction, concern.id, hour=9).concern
    assert (confirmed.state, confirmed.is_void) == (ConcernState.CLOSED, True)
    assert known_on(store, 0) == ()


def test_a_head_injury_stays_in_the_history_of_its_date_even_as_a_typing_error(
    store: Store, post: Post, act: Act
) -> None:
    post(0, warning_signs=("head-injury",))
    post(0, hour=8)
    act(confirm_correction, only(store).id, hour=9)
    for day, known in ((0, 1), (1, 0)):
        assert len(known_on(store, day)) == known


def test_an_illness_eases_in_and_ends_by_check_ins_alone(
    store: Store, post: Post, advisor: Advisor
) -> None:
    states = []
    for day in range(5):
        post(day, **(FEVER if day == 0 else {}))
        states.append(only(store).state.value)
    assert states == ["open", "returning", "returning", "closed", "closed"]
    assert is_clean(store, advisor)


def test_a_check_in_that_comes_late_opens_only_what_later_ones_have_not_answered(
    store: Store, post: Post
) -> None:
    post(3)
    post(0, late=3, hour=8, **FEVER)
    assert only(store).state is ConcernState.RETURNING
    post(1, late=2, hour=8, **CHEST)
    assert [one.state for one in concerns(store)] == [ConcernState.RETURNING, ConcernState.OPEN]


def test_sessions_that_load_what_hurt_count_for_its_return(
    store: Store, post: Post, check_ins: CheckIns
) -> None:
    post(0, pain=KNEE)
    post(1)
    for number, group in enumerate(("chest", "quadriceps", "quadriceps")):
        day = 1 + number
        block = replace(GROWTH, muscle_groups=(group,))
        session = Session(KIM.id, at(day, 17), 60, (block,))
        submission = Submission(at(day, 19), "key-1", f"s-{number}", f"vs-{number}")
        store.write(partial(_log, check_ins, session, submission))
        post(day + 1)
        is_last = number == 2
        assert only(store).is_closed is is_last


def _log(
    check_ins: CheckIns,
    session: Session,
    submission: Submission,
    transaction: Transaction,
) -> None:
    log_session(transaction, check_ins, session, submission.check_in_id, submission)


def test_a_check_in_that_is_refused_leaves_no_concern_behind(
    store: Store, check_ins: CheckIns, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.write(lambda transaction: transaction.athletes.put(KIM))

    def fail(*_: object) -> None:
        raise Conflict("no advice today")

    monkeypatch.setattr(Advisor, "consider", fail)
    check_in = CheckIn(KIM.id, DAY, (GROWTH,), **(WELL | CHEST))
    submission = Submission(at(0), "key-1", "c-1", "v-1")
    row = Row((1,), check_in, lambda errors: errors)
    [answered] = submit_each(
        store, [row], lambda one: lambda b: check_ins.submit(b, one, submission)
    )
    assert isinstance(answered.outcome, Conflict)
    assert concerns(store) == []


# ---- coaches and clinicians --------------------------------------------------------------------


def test_a_clearance_begins_the_bundled_return_and_withdrawing_it_ends_that(
    store: Store, post: Post, act: Act, advisor: Advisor
) -> None:
    post(0, **CHEST)
    terms = ClearanceTerms(Restrictions(no_contact=True, effort_at_most=5))
    cleared = act(clear_concern, only(store).id, terms, role=ActorRole.CLINICIAN).concern
    assert (cleared.state, cleared.stage) == (ConcernState.RETURNING, 1)
    assert cleared.clearance is not None
    assert (cleared.clearance.given_by, cleared.clearance.name) == (ActorRole.CLINICIAN, "Ada")
    assert cleared.clearance.restrictions == terms.restrictions
    withdrawn = act(withdraw, cleared.id, cleared.clearance.id, day=1).concern
    assert (withdrawn.state, len(withdrawn.events)) == (ConcernState.OPEN, 4)
    assert only(store) == withdrawn
    assert is_clean(store, advisor)


def test_an_athlete_can_do_none_of_this(store: Store, post: Post, act: Act) -> None:
    post(0, **CHEST)
    opening = Opening(ConcernKind.HEART_OR_CHEST, ("fainting",))
    for use_case, *words in (
        (clear_concern, only(store).id, ClearanceTerms()),
        (confirm_correction, only(store).id),
        (advance_concern, only(store).id),
        (open_concern, KIM.id, opening),
        (withdraw, only(store).id, "cl"),
    ):
        with pytest.raises(Forbidden):
            act(use_case, *words, role=ActorRole.ATHLETE)
    assert len(only(store).events) == 1


def test_what_a_coach_opens_is_there_for_todays_advice(store: Store, post: Post, act: Act) -> None:
    post(0)
    ordered = Restriction("injury", Restrictions(rests_everything=True), DAY + timedelta(days=3))
    opened = act(open_concern, KIM.id, Opening(ConcernKind.RESTRICTION, restriction=ordered))
    assert only(store) == opened.concern
    assert known_on(store, 0) == (opened.concern,)
    assert known_on(store, 4) == ()


@pytest.mark.parametrize("kind", [ConcernKind.PAIN, ConcernKind.ILLNESS, ConcernKind.RESTRICTION])
def test_an_opening_says_what_it_is_about(post: Post, act: Act, kind: ConcernKind) -> None:
    with pytest.raises(InvalidInput):
        act(open_concern, KIM.id, Opening(kind))


def test_a_clearance_does_not_end_before_it_begins(store: Store, post: Post, act: Act) -> None:
    post(0, **CHEST)
    with pytest.raises(InvalidInput):
        act(clear_concern, only(store).id, ClearanceTerms(until=DAY), day=1)


def test_a_stage_is_advanced_in_its_time_and_taken_back(store: Store, post: Post, act: Act) -> None:
    post(0, **FEVER)
    post(1)
    with pytest.raises(Conflict, match="at least"):
        act(advance_concern, only(store).id, day=1)
    assert act(advance_concern, only(store).id, day=4).concern.is_closed
    post(5, pain=KNEE)
    post(6)
    pain = concerns(store)[-1]
    assert act(advance_concern, pain.id, day=6, back=True).concern.state is ConcernState.OPEN


def test_what_is_not_there_is_not_found(post: Post, act: Act, store: Store) -> None:
    post(0)
    with pytest.raises(NotFound):
        act(confirm_correction, "nobody's")
    with pytest.raises(NotFound):
        act(open_concern, "nobody", Opening(ConcernKind.LEG_CLOT))
    with pytest.raises(NotFound):
        store.read(lambda transaction: concerns_of(transaction, "nobody", at(0)))


# ---- reading -----------------------------------------------------------------------------------


def test_the_squads_open_concerns_are_read_by_athlete_as_they_are_today(
    store: Store, post: Post, act: Act
) -> None:
    store.write(lambda transaction: transaction.athletes.put(SAM))
    post(0, **CHEST)
    post(0, athlete=SAM, **FEVER)
    terms = ClearanceTerms(until=DAY + timedelta(days=2))
    act(clear_concern, only(store).id, terms)
    found = store.read(lambda transaction: open_concerns(transaction, at(1)))
    assert [(one.athlete_id, one.state) for one in found] == [
        (KIM.id, ConcernState.RETURNING),
        (SAM.id, ConcernState.OPEN),
    ]
    later = store.read(lambda transaction: open_concerns(transaction, at(3)))
    assert later[0].state is ConcernState.OPEN, "the clearance has run out"


def test_an_athletes_concerns_come_with_those_that_have_not_ended_first(
    store: Store, post: Post
) -> None:
    for day in range(4):
        post(day, **(FEVER if day == 0 else {}))
    post(4, **CHEST)
    found = store.read(lambda transaction: concerns_of(transaction, KIM.id, at(4)))
    assert [one.kind.value for one in found] == ["heart-or-chest", "illness"]
    told = ConcernSchema().dump(found[0])
    assert (told["lifted_by"], told["signs"]) == ("clearance", ["chest-pain"])
    assert [event["kind"] for event in told["events"]] == ["opened"]


def test_every_kind_but_a_restriction_has_a_bundled_return() -> None:
    assert set(stage_plans()) == set(ConcernKind) - {ConcernKind.RESTRICTION}


def test_an_erased_athlete_leaves_no_concern_and_a_clean_ledger(
    store: Store, post: Post, advisor: Advisor
) -> None:
    post(0, pain=KNEE, **CHEST)
    erased = erase(store, KIM.id, by="key-2", at=at(1))
    assert (erased.removed["concerns"], concerns(store)) == (2, [])
    assert is_clean(store, advisor)
    assert b"heart-or-chest" not in store.file.read_bytes()


def test_a_back_up_brings_concerns_back_with_their_history(
    store: Store, post: Post, act: Act, tmp_path: Path
) -> None:
    post(0, **CHEST)
    cleared = act(clear_concern, only(store).id, ClearanceTerms()).concern
    file = back_up(store.file, tmp_path / "kept.db", at(1))
    restore(file, tmp_path / "again.db", at(1))
    with Store.open(tmp_path / "again.db") as again:
        assert concerns(again) == [cleared]


def test_a_back_up_with_a_changed_concern_is_refused(
    store: Store, post: Post, tmp_path: Path
) -> None:
    post(0, **CHEST)
    with closing(sqlite3.connect(store.file)) as connection, connection:
        connection.execute("DROP TRIGGER concern_events_stay_as_they_are")
        connection.execute("UPDATE concern_events SET body = replace(body, 'chest', 'foot')")
    with pytest.raises(StoreUnusable, match="does not verify"):
        back_up(store.file, tmp_path / "kept.db", at(1))


def test_mornings_with_concerns_are_replayed_like_any_other(
    store: Store, post: Post, advisor: Advisor
) -> None:
    post(0, **CHEST)
    post(1)
    table = Archive(store).mornings()
    rules = advisor.library.get("baseline", "2.0.0")
    agreement = compare(table, rules, advisor.library.decider(rules))
    assert (agreement.mornings, agreement.differences) == (2, ())


def test_retention_keeps_a_concern_that_has_not_ended_while_its_check_in_goes(
    store: Store, post: Post, advisor: Advisor
) -> None:
    post(0, **CHEST)
    gone = apply_retention(store, 120, by="service", at=at(125)).removed
    assert (gone["check_ins"], gone["concerns"]) == (1, 0)
    assert only(store).state is ConcernState.OPEN
    assert is_clean(store, advisor)


def test_pain_is_about_a_place(store: Store, post: Post) -> None:
    post(0, pain=KNEE)
    assert only(store).pain == PainSite("joint", "left knee", ("quadriceps",), "knee")
    post(1, pain=(Pain("Knee, still", "joint"),))
    assert only(store).mornings == 2


def test_pain_told_like_a_warning_sign_is_one_until_a_clinician_has_answered_it(
    store: Store, post: Post, act: Act
) -> None:
    post(0, pain=(Pain("chest, tight", "other", place="chest"),))
    concern = only(store)
    assert (concern.kind, concern.suspected) == (ConcernKind.HEART_OR_CHEST, True)
    post(1)
    assert only(store).state is ConcernState.OPEN
    answered = act(confirm_correction, concern.id, day=1, role=ActorRole.CLINICIAN).concern
    assert (answered.state, answered.is_void) == (ConcernState.CLOSED, True)
