"""Facts of a morning, by the names of the fact dictionary."""

from __future__ import annotations

import time as clock
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dawnrule.facts.derive import FactSource, MorningFacts, PartFacts, derive_facts
from dawnrule.model import FIRST_EDITION, FactDictionary, FactValue, Modality, Pattern, Vocabulary
from dawnrule.model.entities import Athlete, Block, CheckIn, History, Pain, Sleep
from tests.factories import (
    DAY,
    GROWTH,
    KIM,
    NOW,
    STRENGTH,
    at,
    days_ago,
    facts,
    last_trained,
    logged,
    morning,
    part_of,
    session,
)

DICTIONARY = FactDictionary.bundled()
WORDS = Vocabulary.bundled()
STRANGER = Athlete("a-09", "Noa", "Asia/Tokyo")


def parts_of(*plan: Block) -> list[tuple[int, str, str | None]]:
    return [(p.block, p.goal, p.muscle_group) for p in facts(morning(0, *plan)).parts]


# ---- parts -----------------------------------------------------------------------------


def test_each_muscle_group_of_each_block_is_a_part_in_the_plans_order() -> None:
    chest_and_back = Block("strength", ("chest", "lats"))
    assert parts_of(chest_and_back, GROWTH) == [
        (0, "strength", "chest"),
        (0, "strength", "lats"),
        (1, "hypertrophy", "quadriceps"),
    ]


def test_a_pattern_and_a_modality_bring_their_muscle_groups_each_once() -> None:
    squats = Block("strength", pattern="squat")
    ride = Block("intervals", ("calves", "abdominals"), modality="cycling")
    assert [group for _, _, group in parts_of(squats, ride)] == [
        *WORDS.patterns["squat"].muscle_groups,
        "calves",
        "abdominals",
        "quadriceps",
        "glutes",
    ]


def test_a_block_without_muscle_groups_is_one_part() -> None:
    assert parts_of(Block("skill")) == [(0, "skill", None)]


def test_a_day_off_has_no_parts() -> None:
    assert parts_of() == []


# ---- what was reported -----------------------------------------------------------------


def test_what_was_not_reported_is_absent() -> None:
    bare = CheckIn(STRANGER.id, DAY, (GROWTH,))
    told_of_bare = derive_facts(STRANGER, bare, History(), NOW, FIRST_EDITION)
    assert dict(told_of_bare.day) == {"planned_blocks": 1, "questions_answered": 0}
    assert dict(told_of_bare.parts[0].facts) == {
        "planned_blocks": 1,
        "questions_answered": 0,
        "goal": "hypertrophy",
        "muscle_group": "quadriceps",
        "planned_sets": 4,
        "lifting_same_day": False,
    }


def test_all_that_was_reported_is_told() -> None:
    check_in = morning(
        sleep=Sleep(0.0, 1),
        fatigue=0,
        stress=10,
        resting_hr_bpm=52,
        hrv_rmssd_ms=71.5,
        illness="none",
    )
    assert facts(check_in).day == {
        "sleep_hours": 0.0,
        "sleep_quality": 1,
        "fatigue": 0,
        "stress": 10,
        "resting_hr_bpm": 52,
        "hrv_rmssd_ms": 71.5,
        "illness": "none",
        "questions_answered": 2,
        "age_years": 30,
        "training_status": "trained",
        "planned_blocks": 0,
    }


def test_no_warning_sign_is_an_answer_and_no_answer_is_none() -> None:
    signs = {sign.replace("-", "_") for sign in WORDS.warning_signs}
    assert signs.isdisjoint(facts(morning()).day)
    answered = facts(morning(warning_signs=())).day
    assert {sign: answered[sign] for sign in signs} == dict.fromkeys(signs, False)


@pytest.mark.parametrize("sign", WORDS.warning_signs)
def test_a_warning_sign_is_told_alone(sign: str) -> None:
    day = facts(morning(warning_signs=(sign,))).day
    signs = [name.replace("-", "_") for name in WORDS.warning_signs]
    assert [name for name in signs if day[name]] == [sign.replace("-", "_")]


def pains_of(part: PartFacts) -> dict[str, FactValue]:
    kinds = {"joint_pain", "sharp_pain", "one_sided_pain", "other_pain"}
    return {name: value for name, value in part.facts.items() if name in kinds}


KNEE = Pain("left knee", "joint", ("quadriceps",))
SOMEWHERE = Pain("somewhere", "sharp")
WRIST = Pain("right wrist", "joint", ("forearms",))
QUADS = "quadriceps"


def test_pain_counts_for_the_muscle_groups_that_it_names() -> None:
    plan = (GROWTH, Block("strength", ("chest",)))
    knee, chest = facts(morning(0, *plan, pain=(KNEE,))).parts
    none = {"joint_pain": False, "sharp_pain": False, "one_sided_pain": False, "other_pain": False}
    assert pains_of(knee) == {**none, "joint_pain": True}
    assert pains_of(chest) == none


def test_pain_that_names_no_muscle_group_counts_for_every_part() -> None:
    plan = (GROWTH, Block("strength", ("chest",)), Block("skill"))
    parts = facts(morning(0, *plan, pain=(SOMEWHERE,))).parts
    assert [part.facts["sharp_pain"] for part in parts] == [True, True, True]


def test_every_pain_counts_for_a_block_that_names_no_muscle_group() -> None:
    part = part_of(morning(0, Block("skill"), pain=(KNEE,)))
    assert part.facts["joint_pain"] is True


BACK = Pain("low back", "sharp", ("lower-back",))
"""Which load passes through the lower back: common practice, no source."""


@pytest.mark.parametrize(
    "block",
    [
        Block("strength", pattern="squat"),
        Block("strength", ("chest",), modality="free-weights"),
        Block("intervals", modality="flat-running"),
    ],
)
def test_pain_counts_where_the_load_of_the_block_passes_through(block: Block) -> None:
    parts = facts(morning(0, block, pain=(BACK,))).parts
    assert {part.facts["sharp_pain"] for part in parts} == {True}
    assert {part.facts["joint_pain"] for part in parts} == {False}


def test_pain_does_not_count_where_no_load_passes_through() -> None:
    parts = facts(morning(0, Block("strength", pattern="squat"), pain=(WRIST,))).parts
    assert {part.facts["joint_pain"] for part in parts} == {False}


def test_load_that_passes_through_a_muscle_neither_trains_it_nor_makes_its_soreness_count() -> None:
    squat = Block("strength", pattern="squat")
    parts = facts(morning(0, squat, soreness={"lower-back": 9})).parts
    assert "lower-back" not in {part.muscle_group for part in parts}
    assert [part.facts.get("soreness") for part in parts] == [None, None, None]


def test_a_pain_counts_for_the_block_that_bears_it_and_not_for_the_others_of_its_muscle() -> None:
    plan = (Block("strength", pattern="squat"), Block("strength", ("quadriceps",)))
    squat, alone = (
        part for part in facts(morning(0, *plan, pain=(BACK,))).parts if part.muscle_group == QUADS
    )
    assert (squat.facts["sharp_pain"], alone.facts["sharp_pain"]) == (True, False)


@pytest.mark.parametrize("way", [*WORDS.patterns.values(), *WORDS.modalities.values()])
def test_what_load_passes_through_is_a_muscle_group_beside_those_trained(
    way: Pattern | Modality,
) -> None:
    trained = way.muscle_groups if isinstance(way, Pattern) else way.loads
    assert set(way.passes_through) <= set(WORDS.muscle_groups) - set(trained)


def test_no_pain_is_an_answer_and_no_answer_is_none() -> None:
    unasked = part_of(morning(0, GROWTH))
    assert (pains_of(unasked), unasked.facts.get("pain_reported")) == ({}, None)
    asked = part_of(morning(0, GROWTH, pain=()))
    assert set(pains_of(asked).values()) == {False}
    assert asked.facts["pain_reported"] is False


def test_soreness_is_that_of_the_parts_own_muscle_group() -> None:
    plan = (GROWTH, Block("strength", ("chest",)))
    sore, unknown = facts(morning(0, *plan, soreness={"quadriceps": 0, "lats": 7})).parts
    assert sore.facts["soreness"] == 0
    assert "soreness" not in unknown.facts


# ---- what is planned -------------------------------------------------------------------


def test_the_details_of_a_block_are_those_of_its_parts() -> None:
    block = replace(
        GROWTH, modality="free-weights", minutes=50.0, sets=5, reps=8, rest_seconds=90.0
    )
    part = part_of(morning(0, block))
    planned = {name: value for name, value in part.facts.items() if name.startswith("planned_")}
    assert planned == {
        "planned_blocks": 1,
        "planned_growth_minutes": 50.0,
        "planned_minutes": 50.0,
        "planned_sets": 5,
        "planned_reps": 8,
        "planned_rest_seconds": 90.0,
    }
    assert (part.facts["modality"], part.facts["eccentric_load"]) == ("free-weights", "moderate")


def test_growth_minutes_add_up_over_the_blocks_that_say_theirs() -> None:
    long_one, short_one = replace(GROWTH, minutes=50.0), replace(GROWTH, minutes=30.0)
    plan = (long_one, short_one, GROWTH, replace(STRENGTH, minutes=60.0))
    assert facts(morning(0, *plan)).day["planned_growth_minutes"] == 80
    assert "planned_growth_minutes" not in facts(morning(0, GROWTH)).day


def lifting_same_day(*plan: Block) -> list[FactValue]:
    return [part.facts["lifting_same_day"] for part in facts(morning(0, *plan)).parts]


def test_lifting_on_the_same_day_is_that_of_another_block_for_the_same_muscle_group() -> None:
    ride = Block("intervals", ("quadriceps",))
    assert lifting_same_day(ride, STRENGTH) == [True, False]
    assert lifting_same_day(ride, Block("strength", ("chest",))) == [False, False]
    assert lifting_same_day(ride, Block("skill", ("quadriceps",))) == [False, False]


def test_the_same_block_planned_twice_is_two_blocks() -> None:
    assert lifting_same_day(STRENGTH, STRENGTH) == [True, True]
    assert lifting_same_day(STRENGTH, replace(STRENGTH)) == [True, True]


# ---- the dictionary is the contract ----------------------------------------------------


def full_morning() -> MorningFacts:
    """All that can be told, after five weeks of mornings and sessions."""
    plan = replace(GROWTH, modality="downhill-running", minutes=40.0, reps=8, rest_seconds=60.0)
    reported: dict[str, Any] = {
        "sleep": Sleep(7.0, 4),
        "soreness": {"quadriceps": 3},
        "fatigue": 3,
        "stress": 3,
        "resting_hr_bpm": 50,
        "hrv_rmssd_ms": 60.0,
        "pain": (KNEE,),
        "illness": "none",
        "warning_signs": (),
    }
    last = last_trained("quadriceps", days_ago(1))
    check_in = morning(0, plan, last_trained=last, **reported)
    history = History(
        tuple(morning(days, **reported) for days in range(1, 36)),
        tuple(
            session(
                days, plan, STRENGTH, rpe=4.0 + days % 2, output="dropped", output_drop_percent=5.0
            )
            for days in range(1, 36)
        ),
    )
    return facts(check_in, history)


FIRST = {name for name, fact in DICTIONARY.items() if fact.edition == FIRST_EDITION}
LEFT_OPEN = {name for name in DICTIONARY if "left_open" in name}
"""They need a question that is left open; tests/facts/test_carried_over.py asks for them."""


def test_every_fact_of_the_dictionary_can_be_told() -> None:
    day, (part, *_) = full_morning().day, full_morning().parts
    assert set(part.facts) == FIRST - LEFT_OPEN
    of_the_day = {name for name in FIRST if DICTIONARY[name].scope == "day"}
    assert of_the_day - LEFT_OPEN == set(day)


def test_every_fact_that_is_told_is_one_that_the_dictionary_accepts() -> None:
    told_of_all = full_morning()
    refused = [
        (name, value)
        for subject in (told_of_all.day, *(part.facts for part in told_of_all.parts))
        for name, value in subject.items()
        if not DICTIONARY[name].accepts(value)
    ]
    assert refused == []


def test_a_part_holds_the_facts_of_its_day() -> None:
    told_of_all = full_morning()
    for part in told_of_all.parts:
        assert told_of_all.day.items() <= part.facts.items()


@pytest.mark.parametrize("scope", ["day", "part"])
def test_each_fact_from_history_is_told_or_says_what_it_needs(scope: str) -> None:
    told_of_bare = facts(morning(0, GROWTH))
    missing = told_of_bare.missing if scope == "day" else told_of_bare.parts[0].missing
    of_scope = {n: DICTIONARY[n] for n in FIRST if DICTIONARY[n].scope == scope}
    from_history = {n for n, fact in of_scope.items() if fact.origin == "history"}
    assert set(missing) == from_history - LEFT_OPEN
    assert [fact for fact, reason in missing.items() if not reason.startswith("needs ")] == []


# ---- the clock -------------------------------------------------------------------------


def test_a_part_can_be_told_as_if_it_started_at_another_time() -> None:
    source = FactSource.of(KIM, morning(0, GROWTH), logged(session(1)), NOW)
    sooner = source.part(0, "quadriceps", days_ago(0))
    later = source.part(0, "quadriceps", days_ago(-1))
    assert later.facts["hours_since_growth_work"] == 48
    changed = {n for n in DICTIONARY if sooner.facts.get(n) != later.facts.get(n)}
    assert changed == {"hours_since_trained", "hours_since_growth_work"}


def test_a_block_in_the_place_of_another_has_only_the_rest_of_the_plan_beside_it() -> None:
    source = FactSource.of(KIM, morning(0, GROWTH, STRENGTH), History(), NOW)
    ride = Block("intervals", modality="cycling")
    beside = source.facts_for(ride, "quadriceps", NOW, source.other_blocks(0)).facts
    assert beside["lifting_same_day"] is True
    alone = FactSource.of(KIM, morning(0, GROWTH), History(), NOW)
    assert (
        alone.facts_for(ride, "quadriceps", NOW, alone.other_blocks(0)).facts["lifting_same_day"]
        is False
    )


@pytest.fixture(params=["UTC", "Pacific/Kiritimati", "America/New_York"])
def _server_zone(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", request.param)
    clock.tzset()
    yield
    monkeypatch.undo()
    clock.tzset()


@pytest.mark.usefixtures("_server_zone")
def test_facts_do_not_know_where_the_service_runs() -> None:
    plan = replace(GROWTH, starts_at=at("2026-03-09T18:00:00+13:00"))
    in_auckland = replace(KIM, time_zone="Pacific/Auckland")
    sessions = logged(
        session(0, starts_at=at("2026-03-08T10:59:00Z")),  # 23:59 of the day before in Auckland
        session(0, starts_at=at("2026-03-08T11:01:00Z")),  # 00:01 of the day itself
    )
    part = part_of(morning(0, plan), sessions, in_auckland)
    assert part.facts["hours_since_growth_work"] == pytest.approx(18 - 1 / 60)
    assert part.facts["days_trained_in_a_row"] == 1


@pytest.mark.parametrize("zone", ["UTC", "Pacific/Kiritimati", "America/New_York"])
def test_it_does_not_matter_in_which_zone_a_time_is_written(zone: str) -> None:
    def elsewhere(moment: datetime) -> datetime:
        return moment.astimezone(ZoneInfo(zone))

    plan = replace(GROWTH, starts_at=days_ago(0))
    here = part_of(morning(0, plan), logged(session(1), session(2)))
    there = part_of(
        morning(0, replace(plan, starts_at=elsewhere(days_ago(0)))),
        logged(
            session(1, starts_at=elsewhere(days_ago(1))),
            session(2, starts_at=elsewhere(days_ago(2))),
        ),
    )
    assert there.facts == here.facts


@pytest.mark.parametrize(
    ("now", "time_zone", "today"),
    [
        ("2026-03-08T23:30:00Z", "UTC", date(2026, 3, 8)),
        ("2026-03-08T23:30:00Z", "Europe/Berlin", date(2026, 3, 9)),
        ("2026-03-08T10:00:00Z", "Pacific/Kiritimati", date(2026, 3, 9)),
        ("2026-03-08T09:59:59Z", "Pacific/Kiritimati", date(2026, 3, 8)),
        ("2026-03-09T03:59:00Z", "America/New_York", date(2026, 3, 8)),
        ("2026-03-29T00:59:00Z", "Europe/Berlin", date(2026, 3, 29)),
        ("2024-02-28T23:00:00Z", "Europe/Berlin", date(2024, 2, 29)),
    ],
)
def test_today_is_the_athletes(now: str, time_zone: str, today: date) -> None:
    assert replace(KIM, time_zone=time_zone).today(at(now)) == today


def test_the_end_of_a_date_is_its_last_hour_also_when_the_clock_is_put_back() -> None:
    """The 25th of October 2026 has 25 hours in Berlin, and the 29th of March 23."""
    for day, hours in [(date(2026, 10, 25), 25), (date(2026, 3, 29), 23)]:
        late = CheckIn(KIM.id, day, (GROWTH,), reported_at=days_ago(-300))
        midnight = datetime.combine(day, time.min, ZoneInfo(KIM.time_zone)).astimezone(UTC)
        source = FactSource.of(KIM, late, History(), NOW)
        assert source.start_of(GROWTH) == midnight + timedelta(hours=hours)
