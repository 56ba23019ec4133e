"""What a season must show, each through the application: what is remembered, lifted, limited and
told."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest

from dawnrule.model import Verdict
from dawnrule.model.advice import Advice
from dawnrule.model.concerns import ActorRole, EventKind, Restrictions
from dawnrule.model.entities import Athlete, Block, CheckIn, Pain, Session, Sleep
from dawnrule.model.serialization import to_json
from dawnrule.store import Store
from tests.season.diary import Diary
from tests.season.year import ZONE

MONDAY = date(2026, 3, 9)
TRAIN, SWAP, REST = Verdict

ADA = Athlete("ada", "Ada", ZONE.key, date(1996, 3, 9), "trained")
NOVICE_OF_15 = Athlete("kim", "Kim", ZONE.key, date(2010, 9, 1), "novice")

GOOD: dict[str, Any] = {
    "sleep": Sleep(8, 4),
    "fatigue": 2,
    "stress": 2,
    "pain": (),
    "illness": "none",
    "warning_signs": (),
}
LEG_GROWTH = Block("hypertrophy", ("quadriceps",), modality="free-weights", sets=10, reps=10)
SQUAT = Block("strength", pattern="squat", modality="free-weights", sets=5, reps=5)
EASY_CYCLING = Block("steady-endurance", modality="cycling", minutes=20)
RUN = Block("steady-endurance", modality="flat-running", minutes=30)
MATCH = Block("intervals", modality="court-sport", minutes=90)

Begin = Callable[..., Diary]


def at(days: int, clock: time = time(7)) -> datetime:
    """A time of day, so many days after the Monday."""
    return datetime.combine(MONDAY + timedelta(days=days), clock, ZONE)


@pytest.fixture
def begin(store: Store) -> Begin:
    """Begins the diary of an athlete."""

    def begun(athlete: Athlete = ADA) -> Diary:
        return Diary(store, athlete)

    return begun


def morning(diary: Diary, days: int, *plan: Block, clock: time = time(7), **answers: Any) -> Advice:
    """Post a check-in; what is not told was good."""
    when = at(days, clock)
    check_in = CheckIn(diary.athlete.id, when.date(), plan, reported_at=when, **(GOOD | answers))
    return diary.post(check_in, when)


def session(diary: Diary, days: int, block: Block, rpe: float = 6.0, hour: int = 18) -> None:
    """Log a session of one block, an hour unless the block says otherwise."""
    minutes = block.minutes or 60
    diary.log(Session(diary.athlete.id, at(days, time(hour)), minutes, (block,), rpe))


def starting(block: Block, days: int, hour: int) -> Block:
    """A block with its planned start."""
    return Block(**{**_fields(block), "starts_at": at(days, time(hour))})


def _fields(block: Block) -> dict[str, Any]:
    return {name: getattr(block, name) for name in block.__dataclass_fields__}


def block_of(advice: Advice) -> dict[str, Any]:
    """The advice on the first block, as the interface tells it."""
    block: dict[str, Any] = to_json(advice)["blocks"][0]
    return block


def notes_of(advice: Advice) -> set[str]:
    return {note.rule.id for note in advice.notes}


def rule_of(advice: Advice) -> str | None:
    return advice.rule.id if advice.rule else None


def test_a_knock_taken_back_half_an_hour_later_still_rests_and_the_coach_sees_it(
    begin: Begin,
) -> None:
    """A correction lowers nothing until the coach confirms it, and a knock rests its date even
    then."""
    diary = begin()
    told = morning(diary, 0, RUN, clock=time(6, 40), warning_signs=("head-injury",))
    taken_back = morning(diary, 0, RUN, clock=time(7, 10))
    assert (told.verdict, taken_back.verdict) == (REST, REST)
    (concern,) = diary.concerns(at(0, time(8)))
    assert concern.events[-1].kind is EventKind.WITHDRAWN_SAME_DAY
    assert concern.correction_on == MONDAY

    diary.confirm_correction(at(0, time(8)))
    assert morning(diary, 0, RUN, clock=time(9), fatigue=3).verdict is REST
    assert morning(diary, 1, RUN).verdict is TRAIN


def test_chest_pain_on_monday_still_rests_on_friday_and_says_who_can_lift_it(begin: Begin) -> None:
    """No later "none" and no time ends it; a coach or clinician does."""
    diary = begin()
    morning(diary, 0, RUN, warning_signs=("chest-pain",))
    week = [morning(diary, day, RUN) for day in range(1, 5)]
    assert [advice.verdict for advice in week] == [REST] * 4
    friday = week[-1]
    assert rule_of(friday) == "open-heart-or-chest"
    assert "clinician" in friday.caution
    (concern,) = diary.concerns(at(4))
    assert concern.lifted_by == "clearance"


def test_after_a_clearance_without_contact_the_stages_work_passes_and_a_match_does_not(
    begin: Begin,
) -> None:
    """A clearance counts with its restrictions, and the return goes by stages."""
    diary = begin()
    morning(diary, 0, warning_signs=("head-injury",))
    for day in range(1, 4):
        morning(diary, day)
    no_contact = Restrictions(no_contact=True)
    diary.clear(at(4, time(6)), ActorRole.CLINICIAN, restrictions=no_contact)
    assert morning(diary, 4, EASY_CYCLING).verdict is TRAIN
    assert morning(diary, 5, MATCH).verdict is SWAP
    for day in range(6, 12):
        morning(diary, day)
    late = morning(diary, 12, MATCH)
    assert late.verdict is SWAP, "the restriction outlasts the stages"


def test_after_four_weeks_off_half_of_the_sets_come_first(begin: Begin) -> None:
    """Ten sets planned: a swap, whose first alternative is five of them with repetitions in
    reserve."""
    diary = begin()
    for days in range(-56, -28, 3):
        session(diary, days, LEG_GROWTH)
    advice = morning(diary, 0, starting(LEG_GROWTH, 0, 18), soreness={"quadriceps": 0})
    assert (advice.verdict, rule_of(advice)) == (SWAP, "beyond-return-break")
    block = block_of(advice)
    assert block["limits"]["sets_at_most"] == 5
    first = block["alternatives"][0]
    assert first["within_limits"]
    assert first["sets"] == 5
    assert first["reps_in_reserve"] >= 3
    assert any("5" in said and "10" in said for said in block["limits_said"])


def test_a_squat_with_sore_adductors_has_one_verdict(begin: Begin) -> None:
    """A block is done or not: its verdict is the most protective of its parts."""
    diary = begin()
    sore = {"quadriceps": 0, "glutes": 0, "adductors": 6}
    advice = morning(diary, 0, SQUAT, soreness=sore)
    blocks = to_json(advice)["blocks"]
    assert [block["verdict"] for block in blocks] == ["swap-to-low-damage"]
    assert advice.verdict is SWAP
    assert {part.muscle_group for part in advice.parts} == {"quadriceps", "glutes", "adductors"}


def test_a_novice_of_15_on_sets_of_eight_hears_nothing_of_fewer_repetitions(begin: Begin) -> None:
    """Notes fit the person."""
    diary = begin(NOVICE_OF_15)
    sets_of_eight = Block(
        "strength", pattern="squat", modality="free-weights", sets=3, reps=8, rest_seconds=90
    )
    soreness = {"quadriceps": 0, "glutes": 0, "adductors": 0}
    advice = morning(diary, 0, sets_of_eight, soreness=soreness)
    assert advice.verdict is TRAIN
    assert "strength-many-repetitions" not in notes_of(advice)
    assert not [note.caution for note in advice.notes if "intensity high" in note.caution]


def test_leg_growth_on_the_day_after_a_match_is_a_swap_that_tells_the_hours(begin: Begin) -> None:
    """A match counts before leg growth work, whatever its goal was called."""
    diary = begin()
    session(diary, -1, MATCH, rpe=8.0, hour=15)
    advice = morning(diary, 0, starting(LEG_GROWTH, 0, 10), soreness={"quadriceps": 2})
    assert (advice.verdict, rule_of(advice)) == (SWAP, "growth-work-after-a-match")
    assert "19" in advice.reason


@pytest.mark.parametrize("days", [1, 14, 28, 29, 60, 200])
def test_no_window_ends_a_warning_sign_that_nobody_answers(begin: Begin, days: int) -> None:
    """Silence is no all-clear, after however many days."""
    diary = begin()
    morning(diary, 0, RUN, warning_signs=("fainting",))
    assert morning(diary, days, RUN, warning_signs=None).verdict is REST


def test_pain_that_may_be_a_warning_sign_rests_its_date_although_it_is_taken_back(
    begin: Begin,
) -> None:
    """A correction on the same date lowers nothing until the coach confirms it."""
    diary = begin()
    tight = (Pain("chest, tight", "other", ("chest",)),)
    assert morning(diary, 0, RUN, pain=tight).verdict is REST
    taken_back = morning(diary, 0, RUN, clock=time(7, 30))
    assert (taken_back.verdict, rule_of(taken_back)) == (REST, "open-heart-or-chest")
    assert morning(diary, 1, RUN).verdict is REST
    diary.confirm_correction(at(1, time(8)))
    assert morning(diary, 2, RUN).verdict is TRAIN
