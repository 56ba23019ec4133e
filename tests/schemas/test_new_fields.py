"""Optional fields of check-ins, sessions, plans and athletes: in, out and refused."""

from __future__ import annotations

from typing import Any

import pytest

from dawnrule.errors import InvalidInput
from dawnrule.model.entities import (
    Athlete,
    BarSpeed,
    CheckIn,
    Competition,
    Heat,
    PlanPhase,
    Session,
)
from dawnrule.model.serialization import from_json, to_json
from dawnrule.schemas import load_athlete, load_check_in, load_session
from tests.factories import EFFORT_IN_FULL, PAIN_IN_FULL

BLOCK = {
    "goal": "strength",
    "pattern": "squat",
    **EFFORT_IN_FULL,
}
CHECK_IN: dict[str, Any] = {
    "athlete_id": "a-01",
    "date": "2026-03-09",
    "sleep": {"hours": 6.5, "naps_hours": 0.5},
    "soreness": {"quadriceps": 2.5, "chest": 3},
    "fatigue": 4.5,
    "stress": 2,
    "pain": [PAIN_IN_FULL],
    "temperature_c": 37.4,
    "fever_medicine": False,
    "jump_height_cm": [38.5, 39.5, 39],
    "grip_kg": 52.5,
    "bar_speed": [{"pattern": "squat", "load_kg": 100, "metres_per_second": 0.62}],
    "journey": {"time_zones_crossed": 6, "arrived_on": "2026-03-07"},
    "heat": {"temperature_c": 31, "humidity_percent": 70, "acclimatised": False},
    "takes": {"caffeine_mg": 200, "creatine_g": 5, "other": "beetroot juice"},
    "plan": [BLOCK],
}
SESSION: dict[str, Any] = {
    "athlete_id": "a-01",
    "starts_at": "2026-03-08T18:00:00+01:00",
    "minutes": 60,
    "blocks": [
        {**BLOCK, "output": "dropped", "output_drop_percent": 6, "load_kg": 100},
        {"goal": "long-endurance", "modality": "flat-running", "longest_run_km": 18.5},
    ],
}
ATHLETE: dict[str, Any] = {
    "athlete_id": "a-01",
    "name": "Kim",
    "time_zone": "Europe/Berlin",
    "body_mass_kg": 71.5,
    "competitions": [
        {"date": "2026-03-14", "rank": "main", "starts_at": "2026-03-14T15:00:00+01:00"},
        {"date": "2026-04-01", "rank": "training", "name": "Spring run"},
    ],
    "phases": [{"from": "2026-03-01", "until": "2026-03-31", "phase": "build"}],
}


def pointers(load: Any, plain: dict[str, Any]) -> list[str]:
    with pytest.raises(InvalidInput) as refused:
        load(plain)
    return [fault.pointer for fault in refused.value.errors]


def test_a_check_in_with_everything_comes_back_as_it_was_sent() -> None:
    check_in = load_check_in(CHECK_IN)
    assert to_json(check_in) == CHECK_IN
    assert from_json(CheckIn, to_json(check_in)) == check_in
    assert check_in.heat == Heat(temperature_c=31, humidity_percent=70, acclimatised=False)
    assert check_in.bar_speed == (BarSpeed(100, 0.62, "squat"),)


def test_a_session_with_everything_comes_back_as_it_was_sent() -> None:
    session = load_session(SESSION)
    assert to_json(session) == SESSION
    assert from_json(Session, to_json(session)) == session


def test_an_athletes_calendar_comes_back_as_it_was_sent() -> None:
    athlete = load_athlete(ATHLETE)
    plain = to_json(athlete)
    assert {name: plain[name] for name in ("body_mass_kg", "competitions", "phases")} == {
        name: ATHLETE[name] for name in ("body_mass_kg", "competitions", "phases")
    }
    assert from_json(Athlete, plain) == athlete
    assert [type(one) for one in athlete.competitions or ()] == [Competition, Competition]
    assert [type(one) for one in athlete.phases or ()] == [PlanPhase]


def test_a_whole_rating_stays_a_whole_number_and_a_decimal_one_a_decimal() -> None:
    check_in = load_check_in({**CHECK_IN, "soreness": {"chest": 3.0, "calves": 2.5}})
    assert to_json(check_in)["soreness"] == {"chest": 3, "calves": 2.5}
    assert isinstance(check_in.soreness["chest"], int)


def test_one_jump_is_one_trial() -> None:
    assert load_check_in({**CHECK_IN, "jump_height_cm": 40}).jump_height_cm == (40.0,)


def test_what_was_not_reported_leaves_no_trace() -> None:
    bare = {"athlete_id": "a-01", "date": "2026-03-09", "plan": [{"goal": "skill"}]}
    assert to_json(load_check_in(bare)) == bare


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"temperature_c": 29.9}, "/temperature_c"),
        ({"temperature_c": "38"}, "/temperature_c"),
        ({"fever_medicine": 1}, "/fever_medicine"),
        ({"jump_height_cm": 0.5}, "/jump_height_cm"),
        ({"jump_height_cm": []}, "/jump_height_cm"),
        ({"jump_height_cm": [40] * 11}, "/jump_height_cm"),
        ({"jump_height_cm": [40, 151]}, "/jump_height_cm/1"),
        ({"grip_kg": 151}, "/grip_kg"),
        ({"sleep": {"naps_hours": 17}}, "/sleep/naps_hours"),
        ({"soreness": {"chest": 10.5}}, "/soreness/chest"),
        ({"pain": [{"where": "x", "kind": "sharp", "place": "elbows"}]}, "/pain/0/place"),
        ({"pain": [{"where": "x", "kind": "sharp", "severity": 11}]}, "/pain/0/severity"),
        ({"bar_speed": [{"load_kg": 50, "metres_per_second": 0.5}]}, "/bar_speed/0/pattern"),
        (
            {"heat": {"wbgt_c": 25, "temperature_c": 30, "humidity_percent": 5}},
            "/heat/temperature_c",
        ),
        ({"heat": {"temperature_c": 30}}, "/heat/humidity_percent"),
        ({"heat": {"humidity_percent": 30}}, "/heat/temperature_c"),
        (
            {"journey": {"time_zones_crossed": 13, "arrived_on": "2026-03-07"}},
            "/journey/time_zones_crossed",
        ),
        ({"takes": {"caffeine_mg": -1}}, "/takes/caffeine_mg"),
        ({"plan": [{"goal": "skill", "reps_in_reserve": 1.5}]}, "/plan/0/reps_in_reserve"),
        ({"plan": [{"goal": "skill", "to_failure": "yes"}]}, "/plan/0/to_failure"),
        ({"plan": [{"goal": "skill", "action": "static"}]}, "/plan/0/action"),
        ({"plan": [{"goal": "skill", "output": "held"}]}, "/plan/0/output"),
    ],
)
def test_what_cannot_be_is_named_by_its_place(changed: dict[str, Any], pointer: str) -> None:
    assert pointers(load_check_in, {**CHECK_IN, **changed}) == [pointer]


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"body_mass_kg": 19}, "/body_mass_kg"),
        ({"competitions": [{"date": "2026-03-14", "rank": "big"}]}, "/competitions/0/rank"),
        (
            {
                "competitions": [
                    {"date": "2026-03-14", "rank": "main", "starts_at": "2026-03-17T15:00:00Z"}
                ]
            },
            "/competitions/0/starts_at",
        ),
        (
            {"phases": [{"from": "2026-03-02", "until": "2026-03-01", "phase": "build"}]},
            "/phases/0/until",
        ),
        (
            {
                "phases": [
                    {"from": "2026-03-01", "until": "2026-03-09", "phase": "build"},
                    {"from": "2026-03-09", "until": "2026-03-10", "phase": "taper"},
                ]
            },
            "/phases",
        ),
    ],
)
def test_a_calendar_that_cannot_be_is_named_by_its_place(
    changed: dict[str, Any], pointer: str
) -> None:
    assert pointers(load_athlete, {**ATHLETE, **changed}) == [pointer]


def test_output_of_a_block_dropped_by_so_much_or_not_at_all() -> None:
    block = {"goal": "strength", "muscle_groups": ["chest"], "output": "dropped"}
    assert pointers(load_session, {**SESSION, "blocks": [block]}) == [
        "/blocks/0/output_drop_percent"
    ]
