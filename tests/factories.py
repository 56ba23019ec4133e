"""Builders of test data: small, named and readable in a failing test.

Everything is about Kim on the morning of 9 March 2026, 06:40 in Berlin, unless a test says
otherwise. What only one folder needs stands in that folder.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from itertools import count
from typing import Any
from zoneinfo import ZoneInfo

from dawnrule.advice.advisor import AdvisedMorning, Advisor, Morning
from dawnrule.advice.composer import Composer
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.clock import new_id
from dawnrule.facts.derive import MorningFacts, PartFacts, derive_facts
from dawnrule.i18n.catalog import Texts
from dawnrule.model import FIRST_EDITION, Facts, Scope, Verdict
from dawnrule.model.advice import Advice, Note, PartAdvice, RuleName, RuleSetName
from dawnrule.model.entities import Athlete, Block, CheckIn, History, LastTrained, Session
from dawnrule.model.serialization import to_json
from dawnrule.rules.columnar import PastMorning, PastSubject
from dawnrule.rules.conditions import Condition, Operator, Test
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import Basis, Rule, RuleSet
from dawnrule.schemas import check_in as check_in_schema
from dawnrule.schemas import session as session_schema
from dawnrule.store import Store, StoredAdvice, StoredCheckIn, StoredSession, Transaction

DAY = date(2026, 3, 9)
ONE_DAY = timedelta(days=1)
BERLIN = ZoneInfo("Europe/Berlin")
NOW = datetime.combine(DAY, time(6, 40), BERLIN)
LATER = datetime(2026, 6, 1, tzinfo=UTC)
"""When all of these mornings are over."""

KIM = Athlete("a-01", "Kim", "Europe/Berlin", date(1996, 3, 9), "trained")
SAM = Athlete("a-02", "Sam", "UTC")

GROWTH = Block("hypertrophy", ("quadriceps",), sets=4)
STRENGTH = Block("strength", ("quadriceps",), sets=5)

TRAIN, SWAP, REST = Verdict

FIRST_BASELINE = RuleSetLibrary.bundled().get("baseline", "1.0.0")

_numbers = count(1)


# ---- check-ins and sessions


def at(text: str) -> datetime:
    """A time with its offset, as the interface reads it."""
    return datetime.fromisoformat(text)


def days_ago(days: int, clock: time = time(18)) -> datetime:
    """A time of day where Kim lives, so many days before."""
    return datetime.combine(DAY - timedelta(days=days), clock, BERLIN)


def morning(days: int = 0, *plan: Block, **reported: Any) -> CheckIn:
    """Kim's check-in of so many days ago."""
    return CheckIn(KIM.id, DAY - timedelta(days=days), plan, **reported)


def session(days: int, *blocks: Block, **more: Any) -> Session:
    """A session of Kim's, an hour at RPE 5 that started at 18:00 so many days ago."""
    values = {"starts_at": days_ago(days), "minutes": 60.0, "rpe": 5.0, **more}
    return Session(KIM.id, blocks=blocks or (GROWTH,), **values)


def logged(*sessions: Session) -> History:
    """A history of sessions only."""
    return History(sessions=sessions)


def last_trained(group: str, when: datetime, goal: str = "hypertrophy") -> dict[str, LastTrained]:
    """What a check-in says was trained last."""
    return {group: LastTrained(when, goal)}


# ---- facts


def facts(
    check_in: CheckIn,
    history: History | None = None,
    athlete: Athlete = KIM,
    edition: int = FIRST_EDITION,
) -> MorningFacts:
    """The facts of a morning at 06:40."""
    return derive_facts(athlete, check_in, history or History(), NOW, edition)


def part_of(check_in: CheckIn, history: History | None = None, athlete: Athlete = KIM) -> PartFacts:
    """The facts of the one part that is planned."""
    (part,) = facts(check_in, history, athlete).parts
    return part


# ---- rules


def when(fact: str, operator: str, value: Any) -> Test:
    """A test of one fact in the words of the rule files."""
    return Test(fact, Operator(operator), value)


def a_rule(
    when: Condition,
    identifier: str = "a-rule",
    scope: Scope = "part",
    verdict: Verdict | None = Verdict.REST,
) -> Rule:
    """A rule of which only what decides is of interest."""
    return Rule(
        identifier,
        "A rule",
        scope,
        when,
        verdict,
        "A reason.",
        "A caution.",
        Basis("house", "house judgement"),
        "Never.",
        (),
        1,
    )


def rule_named(
    identifier: str,
    condition: Condition,
    verdict: Verdict | None = SWAP,
    scope: Scope = "part",
    **more: Any,
) -> Rule:
    """A rule by its id; ``more`` may give its title, reason or caution."""
    return replace(a_rule(condition, identifier, scope, verdict), **more)


def a_rule_set(rules: Iterable[Rule]) -> RuleSet:
    """A rule set of which only the rules are of interest."""
    return RuleSet("drawn", "1.0.0", "Drawn.", tuple(rules), "sha256:drawn", "drawn.yaml")


# ---- advice


@cache
def bundled_advisor() -> Advisor:
    return Advisor.bundled()


def baseline(version: str) -> RuleSet:
    return bundled_advisor().library.get("baseline", version)


def deciding_baseline() -> RuleSet:
    return baseline("2.0.0")


def baseline_advice(
    check_in: CheckIn,
    history: History | None = None,
    athlete: Athlete = KIM,
    rule_set: RuleSet | None = None,
) -> AdvisedMorning:
    """What the baseline says that decides, or another rule set."""
    given = Morning(athlete, check_in, history or History(), NOW)
    return bundled_advisor().consider(given, rule_set or deciding_baseline(), "advice-1")


def advice_under(
    *rules: Rule, check_in: CheckIn, history: History | None = None, athlete: Athlete = KIM
) -> AdvisedMorning:
    """What rules of a test's own say."""
    rule_set = a_rule_set(rules)
    advisor = Advisor(RuleSetLibrary({}), Composer.of_records())
    with closing(advisor.library.decider(rule_set)):
        given = Morning(athlete, check_in, history or History(), NOW)
        return advisor.consider(given, rule_set, "advice-1")


def advice_of(
    verdict: Verdict,
    parts: Sequence[Verdict] = (),
    rule: RuleName | None = None,
    notes: Sequence[Note] = (),
) -> Advice:
    """Advice of a verdict and of parts with theirs, as if a rule had decided all of it."""
    return Advice(
        advice_id="advice-1",
        athlete_id="a-01",
        date=NOW.date(),
        verdict=verdict,
        headline="A headline",
        rule=rule,
        reason="No rule stops it.",
        caution="Stop if it hurts.",
        parts=tuple(_part(number, one, rule) for number, one in enumerate(parts)),
        notes=tuple(notes),
        not_reported=(),
        rule_set=RuleSetName("house", "1.0.0", "sha256:0"),
    )


def _part(block: int, verdict: Verdict, rule: RuleName | None) -> PartAdvice:
    return PartAdvice(
        block=block,
        goal="strength",
        muscle_group="chest",
        verdict=verdict,
        rule=rule,
        reason="No rule stops it.",
        caution="Stop if it hurts.",
        opens_at=None,
        opens_note=None,
        would_change=(),
        would_change_together=(),
        alternatives=(),
        also_fired=(),
    )


# ---- past mornings


def past_subject(
    facts: Facts, verdict: str = Verdict.TRAIN, rule_id: str | None = None
) -> PastSubject:
    """A day or a part on which no rule, or one, is said to have fired."""
    return PastSubject(verdict, rule_id, (rule_id,) if rule_id else (), facts)


def past_morning(position: int, day: PastSubject, *parts: PastSubject) -> PastMorning:
    """A morning of Kim's, one for each date."""
    on = DAY + position * ONE_DAY
    return PastMorning(position, KIM.id, on, FIRST_BASELINE.digest, day, parts)


# ---- stored check-ins, sessions and advice


def post_check_in(
    store: Store,
    advisor: Advisor,
    athlete: Athlete,
    day: date,
    soreness: int | Mapping[str, int] = 0,
    plan: tuple[Block, ...] = (GROWTH,),
) -> None:
    """A check-in at six in the morning (UTC), answered by the baseline 1.0.0; soreness is that of
    the quadriceps unless it says otherwise."""
    groups = {"quadriceps": soreness} if isinstance(soreness, int) else soreness
    check_in = CheckIn(athlete.id, day, plan, soreness=groups)
    received_at = datetime.combine(day, time(6), UTC)
    check_ins = CheckIns(advisor, FIRST_BASELINE, lambda: received_at, new_id)
    posting = Submission(received_at, None, f"c-{next(_numbers)}", f"v-{next(_numbers)}")

    def answer(transaction: Transaction) -> None:
        transaction.athletes.put(athlete)
        check_ins.submit(transaction, check_in, posting)

    store.write(answer)


def add_session(store: Store, athlete: Athlete, day: date, output: str | None = None) -> None:
    """A session at six in the evening (UTC)."""
    starts_at = datetime.combine(day, time(18), UTC)
    session = Session(athlete.id, starts_at, 60, (GROWTH,), output=output)

    def add(transaction: Transaction) -> None:
        transaction.athletes.put(athlete)
        session_id = f"s-{next(_numbers)}"
        transaction.sessions.add(StoredSession(session_id, session, starts_at, None))

    store.write(add)


def check_in_body(date: date = DAY, **reported: Any) -> dict[str, Any]:
    return to_json(CheckIn(KIM.id, date, plan=(STRENGTH,), **reported))


def add_check_in(
    transaction: Transaction, check_in_id: str, date: date = DAY, **reported: Any
) -> int:
    body = check_in_body(date, **reported)
    return transaction.check_ins.add(StoredCheckIn(check_in_id, KIM.id, date, body, NOW, "k-01"))


def add_advice(
    transaction: Transaction, advice_id: str, check_in_id: str, **changed: Any
) -> StoredAdvice:
    values: dict[str, Any] = {
        "athlete_id": KIM.id,
        "date": DAY,
        "verdict": "rest",
        "rule_id": "fever",
        "rule_set_digest": "sha256:00",
        "record": '{"verdict":"rest"}',
        "decided_at": NOW,
    }
    advice = StoredAdvice(advice_id, check_in_id, **(values | changed))
    transaction.advice.add(advice)
    return advice


# ---- bodies of requests

PAIN_IN_FULL: dict[str, Any] = {
    "where": "left shin",
    "kind": "one-sided",
    "place": "shin",
    "side": "left",
    "onset": "gradual",
    "severity": 3.5,
    "after": "long-journey",
    "warm": True,
    "swollen": False,
    "numbness": False,
}
"""A pain with each detail that can be told of one."""

EFFORT_IN_FULL: dict[str, Any] = {
    "effort": 7.5,
    "reps_in_reserve": 2,
    "to_failure": False,
    "new_exercise": True,
    "action": "eccentric",
    "contacts": 40,
    "sprint_metres": 300.5,
    "kilometres": 8.25,
    "contact": True,
    "indoors": True,
    "competition": False,
}
"""Each detail of how a block is done."""

EXAMPLE: dict[str, Any] = dict(check_in_schema.EXAMPLE)
"""The whole of what a check-in can say."""

SESSION: dict[str, Any] = dict(session_schema.EXAMPLE)
"""Most of what a session can say: the evening before the example's morning."""

DAY_OFF: dict[str, Any] = {"athlete_id": "a-03", "date": "2026-03-09", "plan": []}
"""The least that a check-in can say."""


def reworded(recorded: Any) -> Any:
    """What a record says, in the words that people read today."""
    if isinstance(recorded, dict):
        return {name: reworded(value) for name, value in recorded.items()}
    if isinstance(recorded, list):
        return [reworded(value) for value in recorded]
    return Texts.bundled().reworded(recorded) if isinstance(recorded, str) else recorded


def changed(pointer: str, value: Any, of: dict[str, Any] = EXAMPLE) -> dict[str, Any]:
    """A check-in with one value put in the place of another, or added."""
    whole = copy.deepcopy(of)
    *around, last = pointer.removeprefix("/").split("/")
    inner: Any = whole
    for step in around:
        inner = inner[int(step)] if isinstance(inner, list) else inner[step]
    inner[int(last) if isinstance(inner, list) else last] = value
    return whole


def without(name: str, of: dict[str, Any] = EXAMPLE) -> dict[str, Any]:
    """A check-in that does not say one thing."""
    return {key: value for key, value in of.items() if key != name}


def as_text(of: dict[str, Any], old: str, new: str) -> bytes:
    """A check-in as JSON text, in which one thing is written otherwise."""
    text = json.dumps(of)
    assert text.count(old) == 1, f"{old} must stand once in the example"
    return text.replace(old, new).encode()


# ---- rule sets as files

CLUB = """\
rule_set: club
version: 1.0.0
summary: The baseline for a club that sleeps well.
extends: baseline@1.1.0
rules:
  - id: club-sleep
    title: A short night and tired
    scope: day
    when:
      all:
        - {fact: sleep_hours, below: 7.5}
        - {fact: fatigue, at_least: 4}
    verdict: rest
    reason: "{sleep_hours:.1f} h of sleep are too few for us."
    caution: Sleep first.
    basis: {kind: house, source: house judgement}
    wrong_when: When the athlete naps.
    examples:
      - {facts: {sleep_hours: 7.4, fatigue: 4}, fires: true}
      - {facts: {sleep_hours: 7.4, fatigue: 3}, fires: false}
      - {facts: {sleep_hours: 7.5, fatigue: 4}, fires: false}
"""
"""With it a night of 7 h and a fatigue of 4 mean rest."""

STRICTER = CLUB.replace("1.0.0", "2.0.0", 1).replace("7.5", "8").replace("7.4", "7.9")
"""Another version of the same."""

WRONG_WAY = """\
rule_set: wrong-way
version: 1.0.0
summary: More soreness leads to more training.
rules:
  - id: rest-when-fresh
    title: Rest when fresh
    scope: part
    when: {fact: soreness, below: 3}
    verdict: rest
    reason: "Soreness is {soreness:.0f}."
    caution: None.
    basis: {kind: house, source: house judgement}
    wrong_when: Always.
    examples:
      - {facts: {soreness: 2}, fires: true}
      - {facts: {soreness: 3}, fires: false}
"""

ALONE = """\
rule_set: alone
version: 1.0.0
summary: What a club adds, with nothing of the baseline.
""" + CLUB[CLUB.index("rules:") :]
"""A sound rule, but no warning sign means rest."""
