"""Random input, none of which may cause a server error."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from dawnrule.model import FactDictionary, Vocabulary
from tests.conftest import Client
from tests.effort import tries
from tests.factories import EXAMPLE, SESSION, changed

WORDS = Vocabulary.bundled()
FACTS = FactDictionary.bundled()

ONE_STORE_FOR_ALL = settings(
    max_examples=tries(20, 150),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)

anything = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.sampled_from([0, -0.0, 10**400, 1e308, 5e-324, "", "\0", "\ud800", "4", "NaN"])
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


def pointers(value: Any, pointer: str = "") -> list[str]:
    """Every place in a check-in."""
    steps = value.items() if isinstance(value, dict) else enumerate(value)
    inside = ((f"{pointer}/{step}", inner) for step, inner in steps)
    found = []
    for place, inner in inside:
        found.append(place)
        if isinstance(inner, dict | list):
            found += pointers(inner, place)
    return found


def number(fact: str) -> SearchStrategy[float]:
    """A value that the fact dictionary takes, its ends among them."""
    least, greatest = FACTS[fact].least, FACTS[fact].greatest
    whole = st.integers(int(least), int(greatest))
    if FACTS[fact].type == "integer":
        return whole
    return whole | st.floats(least, greatest, allow_subnormal=True)


def word(of: Any) -> SearchStrategy[str]:
    return st.sampled_from(sorted(of))


def some(of: Any) -> SearchStrategy[list[str]]:
    return st.lists(word(of), unique=True, max_size=3)


blocks = st.fixed_dictionaries(
    {"goal": word(WORDS.goals)},
    optional={
        "muscle_groups": some(WORDS.muscle_groups),
        "modality": word(WORDS.modalities),
        "starts_at": st.sampled_from(["2026-03-08T00:00:00+01:00", "2026-03-09T23:59:59-00:00"]),
        "minutes": number("planned_minutes").map(lambda minutes: minutes / 4),
        "sets": number("planned_sets"),
        "reps": number("planned_reps"),
        "rest_seconds": number("planned_rest_seconds"),
    },
)
times = st.sampled_from(
    ["2026-03-08T18:00:00Z", "2026-03-09T06:44:59+01:00", "2015-12-01T00:00:00Z"]
)
check_ins = st.fixed_dictionaries(
    {
        "athlete_id": st.just("a-03"),
        "date": st.integers(1, 9).map("2026-03-0{}".format),
        "plan": st.lists(blocks, max_size=4),
    },
    optional={
        "reported_at": times,
        "sleep": st.fixed_dictionaries(
            {}, optional={"hours": number("sleep_hours"), "quality": number("sleep_quality")}
        ),
        "soreness": st.dictionaries(word(WORDS.muscle_groups), number("soreness"), max_size=4),
        "last_trained": st.dictionaries(
            word(WORDS.muscle_groups),
            st.fixed_dictionaries({"at": times, "goal": word(WORDS.goals)}),
            max_size=3,
        ),
        "fatigue": number("fatigue"),
        "stress": number("stress"),
        "resting_hr_bpm": number("resting_hr_bpm"),
        "hrv_rmssd_ms": number("hrv_rmssd_ms"),
        "pain": st.lists(
            st.fixed_dictionaries(
                {"where": st.just("knee"), "kind": word(WORDS.pain_kinds)},
                optional={"muscle_groups": some(WORDS.muscle_groups)},
            ),
            max_size=2,
        ),
        "illness": word(WORDS.illnesses),
        "warning_signs": some(WORDS.warning_signs),
    },
)


@ONE_STORE_FOR_ALL
@given(place=st.sampled_from(pointers(EXAMPLE)), value=anything)
def test_whatever_stands_in_a_check_in_it_is_answered_or_refused(
    coach: Client, place: str, value: Any
) -> None:
    body = json.dumps(changed(place, value))
    answer = coach.post("/v1/check-ins", data=body, content_type="application/json")
    assert answer.status_code in (200, 201, 400, 404, 422)


@ONE_STORE_FOR_ALL
@given(body=st.binary(max_size=50) | anything.map(lambda value: json.dumps(value).encode()))
def test_whatever_is_sent_it_is_refused(coach: Client, body: bytes) -> None:
    for address in (
        "/v1/check-ins",
        "/v1/check-ins/batch",
        "/v1/sessions",
        "/v1/sessions/batch",
        "/v1/evaluations",
        "/v1/replays",
    ):
        answer = coach.post(address, data=body, content_type="application/json")
        assert answer.status_code in (400, 422)
    for address in ("/v1/check-ins/batch", "/v1/sessions/batch"):
        answer = coach.post(address, data=body, content_type="text/csv")
        assert answer.status_code in (400, 422)


@ONE_STORE_FOR_ALL
@given(place=st.sampled_from(pointers(SESSION)), value=anything)
def test_whatever_stands_in_a_session_it_is_answered_or_refused(
    coach: Client, place: str, value: Any
) -> None:
    body = json.dumps(changed(place, value, of=SESSION))
    answer = coach.post("/v1/sessions", data=body, content_type="application/json")
    assert answer.status_code in (200, 201, 400, 404, 422)


@ONE_STORE_FOR_ALL
@given(check_in=check_ins)
def test_whatever_an_athlete_can_report_gets_advice_and_its_reasons(
    coach: Client, check_in: dict[str, Any]
) -> None:
    answer = coach.post("/v1/check-ins", json=check_in)
    if answer.status_code == 422:
        assert all(e["pointer"].endswith(("_at", "/at")) for e in answer.json["errors"])
        return
    assert answer.status_code in (200, 201)
    record = coach.get(f"/v1/advice/{answer.json['advice_id']}").json
    assert record["reproduced"]
