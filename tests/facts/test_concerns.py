"""Facts of open concerns, and of the staged returns and restrictions that follow them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import date, datetime, time, timedelta
from itertools import count
from typing import Any

import pytest

from dawnrule.facts.derive import MorningFacts, derive_facts
from dawnrule.facts.suspicion import suspected_signs
from dawnrule.model import FIRST_EDITION, SECOND_EDITION, FactValue, Vocabulary
from dawnrule.model.concern_transitions import (
    Actor,
    Opening,
    clear,
    consider_report,
    health_report,
    lapse,
    open_by,
)
from dawnrule.model.concerns import (
    ActorRole,
    Clearance,
    Concern,
    ConcernKind,
    ConcernState,
    Restriction,
    Restrictions,
)
from dawnrule.model.entities import Block, CheckIn, History, Pain
from dawnrule.rules.limits import Limits
from dawnrule.rules.returns import Returns
from dawnrule.rules.staged_returns import BundledReturns, stage_plans
from tests.factories import BERLIN, DAY, KIM, NOW, morning, session

WORDS = Vocabulary.bundled()
SQUATS = Block("strength", ("quadriceps",), sets=5, reps=5)
BENCH = Block("strength", ("chest",))
WALK = Block("steady-endurance", modality="walking", minutes=15.0, effort=2.0)
KNEE = Pain("left knee", "joint", place="knee")
FINE: dict[str, Any] = {"warning_signs": (), "illness": "none", "pain": ()}


def at(day: date, hour: int = 7) -> datetime:
    return datetime.combine(day, time(hour), BERLIN)


def concerns_after(check_ins: Sequence[CheckIn], *known: Concern) -> tuple[Concern, ...]:
    """The concerns after check-ins, each of which is made at seven."""
    numbers = count(1)
    concerns = {concern.id: concern for concern in known}
    for check_in in check_ins:
        signs = suspected_signs(check_in, WORDS)
        report = health_report(check_in, at(check_in.date), "c-1", signs)
        changed = consider_report(
            tuple(concerns.values()),
            report,
            lambda: f"k-{next(numbers)}",
            stage_plans(),
            lambda _: 0,
        )
        concerns |= {concern.id: concern for concern in changed}
    return tuple(lapse(concern, DAY, NOW) for concern in concerns.values())


def told(
    today: CheckIn, before: Sequence[CheckIn] = (), known: Sequence[Concern] = (), **more: Any
) -> MorningFacts:
    """The facts of this morning after the mornings before it."""
    open_now = concerns_after((*before, today), *known)
    history = History(tuple(before), concerns=open_now, **more)
    return derive_facts(KIM, today, history, NOW, SECOND_EDITION, BundledReturns())


def day_of(*given: Any, **more: Any) -> dict[str, FactValue]:
    return dict(told(*given, **more).day)


def part_of(*given: Any, **more: Any) -> dict[str, FactValue]:
    return dict(told(*given, **more).parts[0].facts)


def by(role: ActorRole, days_ago: int) -> Actor:
    day = DAY - timedelta(days=days_ago)
    return Actor(role, day, at(day, 9))


def cleared(concern: Concern, days_ago: int, **terms: Any) -> Concern:
    given_on = DAY - timedelta(days=days_ago)
    clearance = Clearance("cl-1", ActorRole.COACH, given_on, **terms)
    return clear(concern, clearance, by(ActorRole.COACH, days_ago), stage_plans())


def restriction(reason: str, **what: Any) -> Concern:
    opening = Opening(
        ConcernKind.RESTRICTION, restriction=Restriction(reason, Restrictions(**what))
    )
    return open_by((), KIM.id, opening, by(ActorRole.COACH, 5), "r-1")


# ---- warning signs


@pytest.mark.parametrize("sign", WORDS.warning_signs)
def test_no_answer_and_no_time_ends_an_open_warning_sign(sign: str) -> None:
    before = [morning(40, warning_signs=(sign,)), morning(39, **FINE), morning(20)]
    facts = day_of(morning(0, **FINE), before)
    if sign == "head-injury":  # its return begins without a clearance, stage by stage
        assert "open_warning_sign" not in facts
        assert part_of(morning(0, SQUATS, **FINE), before)["return_after"] == "head-injury"
        return
    assert facts["open_warning_sign"] == sign
    assert facts["open_warning_sign_days"] == 40


def test_the_most_urgent_of_several_is_told() -> None:
    facts = day_of(morning(0, warning_signs=("dark-urine", "fainting")))
    assert facts["open_warning_sign"] == "fainting"
    assert facts["open_warning_sign_days"] == 0


def test_a_clearance_ends_it_and_begins_a_return() -> None:
    (concern,) = concerns_after([morning(9, warning_signs=("chest-pain",))])
    known = [cleared(concern, 1)]
    facts = part_of(morning(0, SQUATS, **FINE), (), known)
    assert "open_warning_sign" not in facts
    assert (facts["return_after"], facts["return_stage"]) == ("heart-or-chest", 1)
    assert facts["beyond_return_stage"] == "heart-or-chest"
    easy = part_of(morning(0, WALK, **FINE), (), known)
    assert easy["return_after"] == "heart-or-chest"
    assert "beyond_return_stage" not in easy


def test_a_clearance_that_has_run_out_leaves_it_open() -> None:
    (concern,) = concerns_after([morning(9, warning_signs=("chest-pain",))])
    known = [cleared(concern, 3, until=DAY - timedelta(days=1))]
    assert day_of(morning(0, **FINE), (), known)["open_warning_sign"] == "chest-pain"


def test_a_clearance_until_a_date_keeps_its_concern_beyond_the_end_of_the_return() -> None:
    """Four stages of two days end before it does; after its last date the sign is open again."""
    (sign,) = concerns_after([morning(40, warning_signs=("fainting",))])
    answered = [morning(days, **FINE) for days in range(29, -1, -1)]
    until = DAY - timedelta(days=2)
    (after,) = concerns_after(answered, cleared(sign, 30, until=until))
    assert after.state is ConcernState.OPEN
    (before,) = concerns_after(answered[:-2], cleared(sign, 30, until=DAY))
    assert before.state is ConcernState.RETURNING
    (without,) = concerns_after(answered, cleared(sign, 30))
    assert without.is_closed


def test_pain_that_may_be_a_sign_is_open_from_the_next_check_in_on() -> None:
    pain = (Pain("chest, tight", "other"),)
    today = day_of(morning(0, pain=pain))
    assert today["suspected_warning_sign"] == "chest-pain"
    assert "open_warning_sign" not in today
    later = day_of(morning(0, **FINE), [morning(1, pain=pain)])
    assert later["open_warning_sign"] == "chest-pain"


def test_a_head_injury_rests_its_date_and_the_next() -> None:
    hit = morning(1, warning_signs=("head-injury",))
    assert day_of(morning(0, **FINE), [hit])["open_warning_sign"] == "head-injury"


# ---- illness


def test_an_illness_is_open_until_it_is_answered_with_none() -> None:
    before = [morning(3, illness="fever"), morning(2)]
    facts = day_of(morning(0), before)
    assert facts["open_illness"] == "fever"
    assert facts["open_illness_because"] == "not-answered"
    assert facts["illness_days"] == 4
    assert "open_illness" not in day_of(morning(0, **FINE), before)


def test_a_day_without_fever_and_its_medicine_is_needed() -> None:
    yesterday = morning(1, illness="fever", reported_at=at(DAY - timedelta(days=1), 20))
    early = morning(0, reported_at=at(DAY, 6), **FINE)
    facts = day_of(early, [yesterday])
    assert (facts["open_illness"], facts["open_illness_because"]) == ("fever", "fever-within-24-h")
    medicine = morning(0, fever_medicine=True, **FINE)
    facts = day_of(medicine, [morning(2, illness="fever")])
    assert facts["open_illness_because"] == "fever-medicine-within-24-h"


def test_what_follows_an_illness_is_eased_into() -> None:
    before = [*(morning(days, illness="fever") for days in (6, 5, 4)), morning(2, **FINE)]
    facts = part_of(morning(0, SQUATS, **FINE), before)
    assert (facts["return_after"], facts["return_stage"]) == ("illness", 1)
    assert facts["return_left"] == 1


# ---- pain


def test_pain_is_open_where_it_counts() -> None:
    before = [morning(3, pain=(KNEE,)), morning(2, pain=(KNEE,)), morning(1)]
    facts = part_of(morning(0, SQUATS), before)
    assert (facts["open_pain"], facts["open_pain_days"], facts["pain_mornings"]) == ("joint", 2, 2)
    elsewhere = part_of(morning(0, BENCH), before)
    assert {"open_pain", "pain_mornings", "return_after"}.isdisjoint(elsewhere)


def test_pain_that_is_over_builds_up_by_sessions() -> None:
    before = [morning(days, pain=(KNEE,)) for days in (5, 4, 3)]
    facts = part_of(morning(0, SQUATS, **FINE), [*before, morning(2, **FINE)])
    assert (facts["return_after"], facts["return_left"]) == ("pain", 3)
    assert "open_pain" not in facts


@pytest.mark.parametrize(
    ("severity", "counts"), [(3.0, False), (5.0, False), (6.0, True), (None, True)]
)
def test_cleared_pain_may_be_trained_with_up_to_its_severity(
    severity: float | None, counts: bool
) -> None:
    (concern,) = concerns_after([morning(9, pain=(KNEE,))])
    known = [cleared(concern, 3)]
    today = morning(0, SQUATS, pain=(replace(KNEE, severity=severity),))
    facts = part_of(today, (), known)
    assert facts["joint_pain"] is counts
    assert ("open_pain" in facts) is counts
    assert (facts.get("return_after") == "pain") is not counts
    first = derive_facts(KIM, today, History(concerns=tuple(known)), NOW, FIRST_EDITION)
    assert first.parts[0].facts["joint_pain"] is True


# ---- restrictions


def test_ordered_rest_counts_for_what_it_rests() -> None:
    known = [restriction("surgery", muscle_groups_rest=("quadriceps",))]
    assert part_of(morning(0, SQUATS), (), known)["rest_ordered"] == "surgery"
    assert "rest_ordered" not in part_of(morning(0, BENCH), (), known)
    whole = [restriction("pregnancy", rests_everything=True)]
    assert part_of(morning(0, BENCH), (), whole)["rest_ordered"] == "pregnancy"


@pytest.mark.parametrize(
    ("what", "block", "is_beyond"),
    [
        ({"effort_at_most": 5}, replace(SQUATS, effort=6.0), True),
        ({"effort_at_most": 5}, replace(SQUATS, effort=5.0), False),
        ({"effort_at_most": 5}, SQUATS, False),
        ({"effort_at_most": 5}, Block("intervals", modality="cycling"), True),
        ({"effort_at_most": 7}, Block("intervals", modality="cycling"), False),
        ({"effort_at_most": 7}, Block("speed", modality="flat-running"), True),
        ({"minutes_at_most": 30}, replace(SQUATS, minutes=31.0), True),
        ({"goals_not": ("strength",)}, SQUATS, True),
        ({"modalities_not": ("jumping",)}, Block("power", modality="jumping"), True),
        ({"no_contact": True}, Block("skill", modality="court-sport"), True),
        ({"no_maximal": True}, replace(SQUATS, reps=1), True),
        ({"no_maximal": True}, SQUATS, False),
    ],
)
def test_more_than_a_restriction_allows_is_told(
    what: dict[str, Any], block: Block, is_beyond: bool
) -> None:
    facts = part_of(morning(0, block), (), [restriction("injury", **what)])
    assert facts.get("beyond_restriction") == ("injury" if is_beyond else None)


def test_a_clearances_restrictions_count_too() -> None:
    (concern,) = concerns_after([morning(9, warning_signs=("fainting",))])
    known = [cleared(concern, 3, restrictions=Restrictions(effort_at_most=4))]
    hard = part_of(morning(0, replace(SQUATS, effort=7.0), **FINE), (), known)
    assert hard["beyond_restriction"] == "clearance"


@pytest.mark.parametrize(
    ("what", "is_told"),
    [
        ({"muscle_groups_rest": ("lower-back",)}, False),
        ({"rests_everything": True}, False),
        ({"goals_not": ("strength",)}, False),
        ({"no_contact": True}, True),
    ],
)
def test_what_a_week_lacks_is_not_told_while_something_is_spared(
    what: dict[str, Any], is_told: bool
) -> None:
    """A hinge that is left out for the sake of the back is not missing."""
    log = tuple(session(days, BENCH) for days in (2, 9))
    facts = day_of(morning(0, BENCH), (), [restriction("injury", **what)], sessions=log)
    assert ("week_lacks_hinge" in facts) is is_told


def test_what_a_week_lacks_is_not_told_while_a_pain_builds_up() -> None:
    log = tuple(session(days, BENCH) for days in (2, 9))
    hurt = morning(3, pain=(KNEE,))
    assert "week_lacks_squat" not in day_of(
        morning(0, BENCH, **FINE), [hurt, morning(1, **FINE)], sessions=log
    )
    assert "week_lacks_squat" in day_of(morning(0, BENCH, **FINE), sessions=log)


# ---- breaks


@pytest.mark.parametrize(("ended", "stage", "left"), [(0, 1, 7), (6, 1, 1), (7, 2, 7), (27, 4, 1)])
def test_a_break_is_returned_from_by_weeks(ended: int, stage: int, left: int) -> None:
    since = [session(days, SQUATS) for days in range(max(ended, 1), 0, -3)] if ended else []
    sessions = (session(ended + 20, SQUATS), *([session(ended, SQUATS)] if ended else []), *since)
    facts = part_of(morning(0, SQUATS), (), (), sessions=sessions)
    assert (facts["return_after"], facts["return_stage"]) == ("break", stage)
    assert (facts["return_left"], facts["break_days"]) == (left, 20)


def test_more_than_the_week_after_a_break_allows_is_told() -> None:
    sessions = tuple(session(days, SQUATS) for days in (20, 23, 26))
    whole = part_of(morning(0, SQUATS), (), (), sessions=sessions)
    assert whole["beyond_return_stage"] == "break"
    half = part_of(morning(0, replace(SQUATS, sets=2)), (), (), sessions=sessions)
    assert half["return_after"] == "break"
    assert "beyond_return_stage" not in half


def test_of_two_returns_the_one_that_does_not_allow_the_block_is_told() -> None:
    (concern,) = concerns_after([morning(9, warning_signs=("chest-pain",))])
    known = [cleared(concern, 1)]
    long_walk = replace(WALK, minutes=60.0)
    walked = tuple(session(days, long_walk, SQUATS) for days in (20, 23, 26))
    easy = part_of(morning(0, WALK, **FINE), (), known, sessions=walked)
    assert easy["return_after"] == "heart-or-chest"
    assert "beyond_return_stage" not in easy
    hard = part_of(morning(0, SQUATS, **FINE), (), known, sessions=walked)
    assert hard["beyond_return_stage"] == "heart-or-chest"


def test_of_two_returns_and_a_restriction_the_strictest_limits_count() -> None:
    (concern,) = concerns_after([morning(9, warning_signs=("chest-pain",))])
    by_clinician = restriction("surgery", no_contact=True, minutes_at_most=15.0)
    walked = tuple(session(days, WALK, SQUATS) for days in (20, 23, 26))
    facts = part_of(
        morning(0, WALK, **FINE), (), [cleared(concern, 1), by_clinician], sessions=walked
    )
    stages = [("heart-or-chest", facts["return_stage"]), ("break", 1)]
    limits = [Returns.bundled()[after].stage_at(int(n)).allows.limits for after, n in stages]
    assert facts["minutes_at_most"] == 15.0
    assert facts["no_contact"] is True
    assert facts["share_of_minutes"] == 0.5
    assert facts["effort_at_most"] == min(
        limit.effort_at_most for limit in limits if limit.effort_at_most is not None
    )


def test_without_a_restriction_or_a_return_nothing_is_limited() -> None:
    facts = part_of(morning(0, WALK, **FINE))
    assert {one.name for one in fields(Limits)}.isdisjoint(facts)


# ---- nothing known


def test_without_staged_returns_nothing_is_allowed() -> None:
    sessions = (session(20, SQUATS),)
    history = History(sessions=sessions)
    facts = derive_facts(KIM, morning(0, WALK), history, NOW).parts[0].facts
    assert facts["beyond_return_stage"] == "break"


def test_with_no_concern_nothing_is_told() -> None:
    facts = part_of(morning(0, SQUATS, **FINE), (), (), sessions=(session(1, SQUATS),))
    assert not {name for name in facts if name.startswith(("open_", "return_", "beyond_", "rest_"))}
