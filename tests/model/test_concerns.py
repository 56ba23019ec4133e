"""Concerns: what opens one, what may end one, and what never does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import count
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnrule.errors import Conflict, Forbidden
from dawnrule.model import Vocabulary
from dawnrule.model.concern_transitions import (
    Actor,
    HealthReport,
    Opening,
    Stage,
    StagePlan,
    StagePlans,
    advance,
    clear,
    confirm_typing_error,
    consider_report,
    health_report,
    lapse,
    open_by,
    withdraw_clearance,
)
from dawnrule.model.concerns import (
    ActorRole,
    Clearance,
    Concern,
    ConcernKind,
    ConcernRules,
    ConcernState,
    EventKind,
    PainSite,
    Restriction,
    Restrictions,
    concern_of,
)
from dawnrule.model.entities import CheckIn, Pain

DAY = date(2026, 3, 9)
ONE_DAY = timedelta(days=1)
RULES = ConcernRules.bundled()

PLANS: StagePlans = {
    ConcernKind.HEART_OR_CHEST: StagePlan("heart-or-chest@1.0.0", "days", (Stage(2), Stage(2))),
    ConcernKind.HEAD_INJURY: StagePlan(
        "head-injury@1.0.0",
        "hours",
        (Stage(24), Stage(24), Stage(24), Stage(24, needs_clearance=True), Stage(24), Stage(24)),
    ),
    ConcernKind.ILLNESS: StagePlan("illness@1.0.0", "days", (Stage(),), True, 2, 10),
    ConcernKind.PAIN: StagePlan("pain@1.0.0", "sessions", (Stage(),), True, 2, 10),
}

CHEST: dict[str, Any] = {"signs": ("chest-pain",)}
HEAD: dict[str, Any] = {"signs": ("head-injury",)}
FEVER: dict[str, Any] = {"illness": "fever"}
KNEE = PainSite("joint", "left knee", ("quadriceps",))


def at(day: date, hour: float = 7) -> datetime:
    return datetime.combine(day, time(), UTC) + timedelta(hours=hour)


def report(day: int, hour: float = 7, **said: Any) -> HealthReport:
    """A report so many days after the first, on which every question is answered with none, save
    for what is said."""
    answers: dict[str, Any] = {"signs": (), "illness": "none", "pains": ()}
    on = DAY + timedelta(days=day)
    values = answers | said
    fever = values.pop("fever", values["illness"] == "fever")
    return HealthReport("a-01", on, at(on, hour), f"c-{day}-{hour}", fever=fever, **values)


def after(
    *reports: HealthReport, plans: StagePlans = PLANS, sessions: int = 0
) -> tuple[Concern, ...]:
    """The concerns after some reports, in the order in which they were opened."""
    concerns: dict[str, Concern] = {}
    numbers = count(1)
    for one in reports:
        changed = consider_report(
            tuple(concerns.values()), one, lambda: f"k-{next(numbers)}", plans, lambda _: sessions
        )
        concerns |= {concern.id: concern for concern in changed}
    return tuple(concerns.values())


def only(*reports: HealthReport, plans: StagePlans = PLANS, sessions: int = 0) -> Concern:
    [concern] = after(*reports, plans=plans, sessions=sessions)
    return concern


def by(role: ActorRole, day: int = 1, hour: float = 9) -> Actor:
    on = DAY + timedelta(days=day)
    return Actor(role, on, at(on, hour))


def clearance(day: int = 1, **given_as: Any) -> Clearance:
    return Clearance("cl-1", ActorRole.COACH, DAY + timedelta(days=day), **given_as)


def kinds(concern: Concern) -> list[str]:
    return [event.kind.value for event in concern.events]


def test_kinds_states_and_signs_are_those_of_the_vocabulary() -> None:
    words = Vocabulary.bundled()
    assert tuple(kind.value for kind in ConcernKind) == words.values_of("concern_kinds")
    assert tuple(state.value for state in ConcernState) == words.values_of("concern_states")
    assert set(RULES.kind_of_sign) == set(words.values_of("concern_signs"))
    assert set(words.warning_signs) <= set(RULES.kind_of_sign)
    assert set(RULES.illnesses) <= set(words.illnesses)
    assert set(RULES.pain_kinds) <= set(words.pain_kinds)


# ---- what opens a concern ---------------------------------------------------------------------


@pytest.mark.parametrize("sign", Vocabulary.bundled().warning_signs)
def test_every_warning_sign_opens_a_concern_that_only_a_clearance_ends(sign: str) -> None:
    concern = only(report(0, signs=(sign,)))
    assert (concern.state, concern.signs) == (ConcernState.OPEN, (sign,))
    assert concern.kind is RULES.kind_of_sign[sign]
    assert concern.kind.is_warning_sign


def test_signs_of_one_kind_are_one_concern_and_of_two_kinds_are_two() -> None:
    assert only(report(0, signs=("chest-pain", "fainting"))).signs == ("chest-pain", "fainting")
    found = {concern.kind for concern in after(report(0, signs=("chest-pain", "head-injury")))}
    assert found == {ConcernKind.HEART_OR_CHEST, ConcernKind.HEAD_INJURY}


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ({"signs": ("severe-swelling",)}, ConcernKind.SEVERE_SWELLING),
        ({"signs": ("severe-swelling", "dark-urine")}, ConcernKind.MUSCLE_BREAKDOWN),
        ({"signs": ("severe-swelling",), "worst_soreness": 8}, ConcernKind.MUSCLE_BREAKDOWN),
        ({"signs": ("severe-swelling",), "worst_soreness": 7.5}, ConcernKind.SEVERE_SWELLING),
    ],
)
def test_swelling_with_dark_urine_or_severe_soreness_is_muscle_breakdown(
    said: dict[str, Any], kind: ConcernKind
) -> None:
    assert only(report(0, **said)).kind is kind


def test_a_cold_above_the_neck_and_other_pain_open_nothing() -> None:
    assert after(report(0, illness="above-neck", pains=(PainSite("other", "foot"),))) == ()


def test_pain_is_one_concern_for_each_place() -> None:
    shin = PainSite("sharp", "Shin")
    concerns = after(
        report(0, pains=(KNEE, shin)), report(1, pains=(replace(shin, where="shin "),))
    )
    assert [concern.pain for concern in concerns] == [KNEE, replace(shin, where="shin ")]
    assert [concern.state for concern in concerns] == ["returning", "open"]


def test_a_check_in_says_what_concerns_are_made_of() -> None:
    check_in = CheckIn(
        "a-01",
        DAY,
        (),
        soreness={"calves": 3, "chest": 8},
        pain=(Pain("left knee", "joint", ("quadriceps",)),),
        illness="fever",
        warning_signs=("fainting",),
    )
    said = health_report(check_in, at(DAY), "c-1")
    knee = replace(KNEE, place="knee")
    assert (said.signs, said.illness, said.pains) == (("fainting",), "fever", (knee,))
    assert (said.fever, said.worst_soreness, said.at) == (True, 8, at(DAY))


def test_a_temperature_of_a_fever_is_a_fever_whatever_was_ticked() -> None:
    for temperature, illness in ((37.9, "none"), (38.0, "fever")):
        check_in = CheckIn(
            "a-01", DAY, (), illness="none", temperature_c=temperature, fever_medicine=True
        )
        said = health_report(check_in, at(DAY), "c-1")
        assert (said.illness, said.fever, said.medicine) == (illness, illness == "fever", True)


def test_pain_at_a_place_is_known_by_the_place() -> None:
    check_in = CheckIn("a-01", DAY, (), pain=(Pain("it", "joint", (), place="knee", side="left"),))
    pains = health_report(check_in, at(DAY), "c-1").pains
    assert pains is not None
    assert pains[0].key == ("place", "knee")


def test_a_check_in_that_came_late_was_made_by_the_end_of_its_date() -> None:
    late = at(DAY + 5 * ONE_DAY)
    said = health_report(CheckIn("a-01", DAY, ()), late, "c-1")
    assert said.at == at(DAY + ONE_DAY, 12)


def test_a_question_that_was_left_open_is_no_answer() -> None:
    said = health_report(CheckIn("a-01", DAY, ()), at(DAY), "c-1")
    assert (said.signs, said.illness, said.pains, said.worst_soreness) == (None, None, None, None)


# ---- what ends one, and what does not ---------------------------------------------------------


def test_no_later_none_and_no_time_ends_a_warning_sign() -> None:
    concern = only(report(0, **CHEST), *(report(day) for day in (1, 2, 30, 400)))
    assert concern.state is ConcernState.OPEN
    assert kinds(concern) == ["opened", "answered-none"]


def test_a_clearance_begins_the_staged_return_of_a_warning_sign_which_ends_in_its_time() -> None:
    concern = clear(only(report(0, **CHEST)), clearance(), by(ActorRole.COACH), PLANS)
    assert (concern.state, concern.stage) == (ConcernState.RETURNING, 1)
    assert concern.staged_return == "heart-or-chest@1.0.0"
    states = []
    for day in (2, 3, 4, 5):
        [concern] = consider_report([concern], report(day), str, PLANS, lambda _: 0) or [concern]
        states.append((concern.state.value, concern.stage))
    assert states == [("returning", 1), ("returning", 2), ("returning", 2), ("closed", 2)]


def test_where_there_is_no_staged_return_a_clearance_ends_a_concern() -> None:
    concern = clear(only(report(0, **CHEST)), clearance(), by(ActorRole.CLINICIAN), {})
    assert kinds(concern) == ["opened", "cleared", "closed"]


def test_an_illness_is_over_after_24_hours_without_fever_less_the_tolerance() -> None:
    early = only(report(0, hour=12, **FEVER), report(1, hour=10.9))
    assert (early.state, kinds(early)) == (ConcernState.OPEN, ["opened", "answered-none"])
    assert only(report(0, hour=12, **FEVER), report(1, hour=11)).state is ConcernState.RETURNING


def test_fever_medicine_and_a_fever_beside_a_none_keep_an_illness_open() -> None:
    remains: tuple[dict[str, Any], ...] = ({"medicine": True}, {"fever": True})
    for still in remains:
        concern = only(report(0, **FEVER), report(2, **still), report(3, hour=5))
        assert (concern.state, concern.illness) == (ConcernState.OPEN, "fever")
        assert only(report(0, **FEVER), report(2, **still), report(3)).state == "returning"


@pytest.mark.parametrize(("ill", "easy"), [(1, 2), (4, 4), (20, 10)])
def test_an_illness_eases_in_over_as_many_days_as_it_lasted(ill: int, easy: int) -> None:
    sick = [report(day, **FEVER) for day in range(ill)]
    well = [report(ill + day) for day in range(easy)]
    assert only(*sick, *well).state is ConcernState.RETURNING
    assert only(*sick, *well, report(ill + easy)).state is ConcernState.CLOSED


def test_pain_builds_up_over_as_many_sessions_as_mornings_it_hurt() -> None:
    hurt = [report(day, pains=(KNEE,)) for day in range(3)]
    assert only(*hurt, report(3), report(9), sessions=2).state is ConcernState.RETURNING
    assert only(*hurt, report(3), report(9), sessions=3).state is ConcernState.CLOSED


def test_what_comes_back_during_a_return_is_open_again() -> None:
    concern = only(report(0, **FEVER), report(1), report(2, **FEVER))
    assert (concern.state, concern.stage) == (ConcernState.OPEN, None)
    assert kinds(concern)[-1] == "came-back"
    cleared = clear(only(report(0, **CHEST)), clearance(), by(ActorRole.COACH), PLANS)
    [again] = consider_report([cleared], report(2, **CHEST), str, PLANS, lambda _: 0)
    assert (again.state, again.clearance) == (ConcernState.OPEN, None)


def test_silence_changes_nothing() -> None:
    silent = report(5, signs=None, illness=None, pains=None)
    opened = (report(0, signs=("chest-pain",), illness="fever", pains=(KNEE,)),)
    assert after(*opened, silent) == after(*opened)


# ---- head injuries ----------------------------------------------------------------------------


def test_a_head_injury_rests_its_date_and_the_next_and_then_returns_by_stages() -> None:
    injured = report(0, **HEAD)
    assert only(injured, report(1)).state is ConcernState.OPEN
    concern = only(injured, report(1), report(2))
    assert (concern.state, concern.stage) == (ConcernState.RETURNING, 2)
    for day, rests in ((0, True), (1, True), (2, False)):
        assert concern.rests_whole_date(DAY + timedelta(days=day), RULES) is rests


def test_no_stage_with_contact_is_reached_without_a_clearance() -> None:
    mornings = [report(day) for day in range(1, 40)]
    concern = only(report(0, **HEAD), *mornings)
    assert (concern.state, concern.stage) == (ConcernState.RETURNING, 3)
    cleared = clear(concern, clearance(40), by(ActorRole.CLINICIAN, 40), PLANS)
    assert cleared.stage == 3
    for day in (41, 42, 43, 44):
        [cleared] = consider_report([cleared], report(day, hour=9), str, PLANS, lambda _: 0)
    assert cleared.state is ConcernState.CLOSED


def test_each_stage_takes_24_hours_and_an_answer() -> None:
    resting = [report(0, **HEAD), report(1), report(2, hour=9)]
    assert only(*resting, report(3, hour=7.9)).stage == 2
    assert only(*resting, report(3, hour=8)).stage == 3
    assert only(*resting, report(3, signs=None)).stage == 2


def test_a_head_injury_rests_its_date_even_when_it_was_a_typing_error() -> None:
    concern = confirm_typing_error(
        only(report(0, **HEAD), report(0, hour=8)), by(ActorRole.COACH, 0)
    )
    assert (concern.state, concern.is_void) == (ConcernState.CLOSED, True)
    assert concern.rests_whole_date(DAY, RULES)
    assert not concern.rests_whole_date(DAY + ONE_DAY, RULES)


# ---- corrections on the same date -------------------------------------------------------------


@pytest.mark.parametrize("said", [CHEST, HEAD, FEVER, {"pains": (KNEE,)}])
def test_what_is_withdrawn_on_its_own_date_stays_until_somebody_confirms(
    said: dict[str, Any],
) -> None:
    concern = only(report(0, **said), report(0, hour=8))
    assert (concern.state, concern.correction_on) == (ConcernState.OPEN, DAY)
    assert kinds(concern) == ["opened", "withdrawn-same-day"]
    confirmed = confirm_typing_error(concern, by(ActorRole.CLINICIAN, 0))
    assert (confirmed.state, confirmed.is_void) == (ConcernState.CLOSED, True)
    assert confirmed.events[:2] == concern.events


def test_a_withdrawal_is_noted_once_and_forgotten_when_it_is_reported_after_all() -> None:
    twice = only(report(0, **CHEST), report(0, hour=8), report(0, hour=9))
    assert kinds(twice) == ["opened", "withdrawn-same-day"]
    after_all = only(report(0, **CHEST), report(0, hour=8), report(0, hour=9, **CHEST))
    assert (after_all.correction_on, after_all.state) == (None, ConcernState.OPEN)


def test_a_typing_error_takes_back_its_own_date_and_no_other() -> None:
    concern = only(report(0, **CHEST), report(3, **CHEST), report(3, hour=8))
    confirmed = confirm_typing_error(concern, by(ActorRole.COACH, 3))
    assert (confirmed.state, confirmed.last_reported_on) == (ConcernState.OPEN, DAY)


def test_a_typing_error_during_a_return_goes_on_where_it_was() -> None:
    concern = only(report(0, **FEVER), report(1), report(2, **FEVER), report(2, hour=8))
    assert concern.state is ConcernState.OPEN
    confirmed = confirm_typing_error(concern, by(ActorRole.COACH, 2))
    assert (confirmed.state, confirmed.stage) == (ConcernState.RETURNING, 1)


def test_where_nothing_was_withdrawn_nothing_is_confirmed() -> None:
    with pytest.raises(Conflict):
        confirm_typing_error(only(report(0, **CHEST)), by(ActorRole.COACH))


def test_pain_that_may_be_a_warning_sign_is_ended_by_a_coach_or_clinician_alone() -> None:
    chest = PainSite("other", "chest, tight")
    suspicion = (("chest-pain", chest),)
    concern = only(report(0, pains=(chest,), suspected=suspicion), report(1), report(2))
    assert (concern.kind, concern.suspected) == (ConcernKind.HEART_OR_CHEST, True)
    assert concern.state is ConcernState.OPEN
    assert confirm_typing_error(concern, by(ActorRole.CLINICIAN, 2)).is_void


def test_a_sign_that_was_suspected_and_is_then_ticked_is_no_longer_only_suspected() -> None:
    chest = PainSite("other", "chest, tight")
    concern = only(
        report(0, pains=(chest,), suspected=(("chest-pain", chest),)), report(1, **CHEST)
    )
    assert not concern.suspected
    with pytest.raises(Conflict):
        confirm_typing_error(concern, by(ActorRole.CLINICIAN, 2))


# ---- coaches and clinicians -------------------------------------------------------------------


@pytest.mark.parametrize("role", [ActorRole.ATHLETE, ActorRole.SERVICE])
def test_nobody_clears_confirms_or_opens_but_a_coach_or_clinician(role: ActorRole) -> None:
    concern = only(report(0, **CHEST), report(0, hour=8))
    actor = by(role)
    with pytest.raises(Forbidden):
        clear(concern, clearance(), actor, PLANS)
    with pytest.raises(Forbidden):
        confirm_typing_error(concern, actor)
    with pytest.raises(Forbidden):
        advance(concern, actor, PLANS, 0)
    with pytest.raises(Forbidden):
        withdraw_clearance(concern, "cl-1", actor)
    with pytest.raises(Forbidden):
        open_by((), "a-01", Opening(ConcernKind.PAIN, pain=KNEE), actor, "k-1")


def test_a_withdrawn_clearance_opens_the_concern_again_and_stays_in_its_history() -> None:
    cleared = clear(only(report(0, **CHEST)), clearance(), by(ActorRole.COACH), PLANS)
    withdrawn = withdraw_clearance(cleared, "cl-1", by(ActorRole.CLINICIAN, 2))
    assert (withdrawn.state, withdrawn.clearance) == (ConcernState.OPEN, None)
    assert withdrawn.events[: len(cleared.events)] == cleared.events
    with pytest.raises(Conflict):
        withdraw_clearance(withdrawn, "cl-1", by(ActorRole.COACH, 3))


def test_a_clearance_withdrawn_after_the_end_opens_the_concern_again() -> None:
    closed = clear(only(report(0, **CHEST)), clearance(), by(ActorRole.COACH), {})
    assert withdraw_clearance(closed, "cl-1", by(ActorRole.COACH, 9)).state is ConcernState.OPEN


def test_a_clearance_that_has_run_out_opens_the_concern_again() -> None:
    until = DAY + 3 * ONE_DAY
    cleared = clear(only(report(0, **CHEST)), clearance(until=until), by(ActorRole.COACH), PLANS)
    assert lapse(cleared, until, at(until)) is cleared
    assert lapse(cleared, until + ONE_DAY, at(until)).state is ConcernState.OPEN


def test_a_restriction_ends_on_its_date_or_when_it_is_lifted() -> None:
    until = DAY + 5 * ONE_DAY
    ordered = Restriction("surgery", Restrictions(rests_everything=True), until)
    opening = Opening(ConcernKind.RESTRICTION, restriction=ordered)
    concern = open_by((), "a-01", opening, by(ActorRole.CLINICIAN, 0), "k-1")
    assert lapse(concern, until, at(until)).state is ConcernState.OPEN
    assert lapse(concern, until + ONE_DAY, at(until)).state is ConcernState.CLOSED
    assert clear(concern, clearance(), by(ActorRole.COACH), PLANS).state is ConcernState.CLOSED
    assert consider_report([concern], report(1), str, PLANS, lambda _: 0) == []


def test_what_a_coach_opens_twice_is_reported_again_but_restrictions_are_separate() -> None:
    opening = Opening(ConcernKind.HEART_OR_CHEST, ("fainting",))
    first = open_by((), "a-01", opening, by(ActorRole.COACH, 0), "k-1")
    again = open_by((first,), "a-01", opening, by(ActorRole.COACH, 1), "k-2")
    assert (again.id, kinds(again)) == ("k-1", ["opened", "reported-again"])
    ordered = Opening(ConcernKind.RESTRICTION, restriction=Restriction("injury", Restrictions()))
    one = open_by((), "a-01", ordered, by(ActorRole.COACH), "k-1")
    assert open_by((one,), "a-01", ordered, by(ActorRole.COACH), "k-2").id == "k-2"


def test_a_coach_advances_a_return_only_in_its_time_and_may_take_it_back() -> None:
    concern = only(report(0, **HEAD), report(1), report(2))
    with pytest.raises(Conflict, match="at least"):
        advance(concern, by(ActorRole.COACH, 2), PLANS, 0)
    third = advance(concern, by(ActorRole.COACH, 3), PLANS, 0)
    assert third.stage == 3
    with pytest.raises(Conflict, match="clearance"):
        advance(third, by(ActorRole.COACH, 5), PLANS, 0)
    assert advance(third, by(ActorRole.COACH, 4), PLANS, 0, back=True).stage == 2
    first = only(report(0, **FEVER), report(1))
    assert advance(first, by(ActorRole.COACH, 2), PLANS, 0, back=True).state is ConcernState.OPEN


def test_a_history_that_does_not_begin_with_a_report_is_refused() -> None:
    with pytest.raises(ValueError, match="begins with a report"):
        concern_of("k-1", "a-01", ConcernKind.PAIN, ())


# ---- whatever happens -------------------------------------------------------------------------

MOVES = ("report", "none", "silence", "withdraw", "advance", "back", "clear", "revoke", "confirm")
WARNING_SIGNS = sorted(RULES.kind_of_sign)


def lives(moves: list[tuple[str, int]], sign: str) -> Iterator[tuple[str, Concern]]:
    """The concern of a sign after each of some moves, each so many days after the one before."""
    concern = only(report(0, signs=(sign,)))
    day = 0
    for number, (move, days) in enumerate(moves):
        day += days
        coach = by(ActorRole.COACH, day)
        answers: dict[str, dict[str, Any]] = {
            "report": {"signs": (sign,)},
            "silence": {"signs": None},
        }
        hour = 10 + number / len(moves)
        try:
            match move:
                case "clear":
                    concern = clear(concern, clearance(day), coach, PLANS)
                case "revoke":
                    concern = withdraw_clearance(concern, "cl-1", coach)
                case "confirm":
                    concern = confirm_typing_error(concern, coach)
                case "advance" | "back":
                    concern = advance(concern, coach, PLANS, 99, back=move == "back")
                case _:
                    changed = consider_report(
                        [concern],
                        report(day, hour, **answers.get(move, {})),
                        lambda: "k-9",
                        PLANS,
                        lambda _: 99,
                    )
                    concern = next((one for one in changed if one.id == concern.id), concern)
        except Conflict:
            pass
        yield move, concern


@given(
    st.lists(st.tuples(st.sampled_from(MOVES), st.integers(0, 40)), min_size=1, max_size=14),
    st.sampled_from(WARNING_SIGNS),
)
def test_no_way_leads_from_a_warning_sign_to_its_end_without_a_clearance_or_a_confirmed_error(
    moves: list[tuple[str, int]], sign: str
) -> None:
    for _, concern in lives(moves, sign):
        if concern.is_closed:
            made = set(kinds(concern))
            assert EventKind.CLEARED in made or concern.is_void
            assert not concern.is_void or EventKind.TYPING_ERROR_CONFIRMED in made


@given(
    st.lists(st.tuples(st.sampled_from(MOVES), st.integers(0, 40)), min_size=1, max_size=14),
    st.sampled_from(WARNING_SIGNS),
)
def test_nothing_that_was_recorded_is_changed_and_the_same_events_give_the_same_concern(
    moves: list[tuple[str, int]], sign: str
) -> None:
    before: tuple[Any, ...] = ()
    for _, concern in lives(moves, sign):
        assert concern.events[: len(before)] == before
        before = concern.events
        assert concern_of(concern.id, "a-01", concern.kind, concern.events) == concern


def test_a_return_does_not_end_under_a_clearance_that_restricts_something() -> None:
    chest = only(report(0, **CHEST))
    no_contact = clearance(1, restrictions=Restrictions(no_contact=True))
    returning = clear(chest, no_contact, by(ActorRole.CLINICIAN), PLANS)
    for day in range(2, 30):
        [*changed] = consider_report((returning,), report(day), lambda: "k", PLANS, lambda _: 0)
        returning = changed[0] if changed else returning
    assert (returning.state, returning.stage) == (ConcernState.RETURNING, 2)

    full = Clearance("cl-2", ActorRole.CLINICIAN, DAY + timedelta(days=30))
    cleared = clear(returning, full, by(ActorRole.CLINICIAN, 30), PLANS)
    for day in range(31, 40):
        changed = consider_report((cleared,), report(day), lambda: "k", PLANS, lambda _: 0)
        cleared = changed[0] if changed else cleared
    assert cleared.is_closed
