"""Proofs and acts: the record checked from outside, and who did what."""

from __future__ import annotations

import json
from hashlib import sha256
from typing import Any

import pytest
import rfc8785

from dawnrule.store import Store
from tests.conftest import Client, Clock
from tests.factories import CLUB, EXAMPLE, changed

YAML = {"Content-Type": "application/yaml"}


def digest(entry: dict[str, Any], previous: str) -> str:
    """As the description of the interface says, by the library."""
    content = {name: entry[name] for name in ("position", "kind", "at", "record_digest")}
    return sha256(rfc8785.dumps(content | {"previous_digest": previous})).hexdigest()


@pytest.fixture
def advice_id(coach: Client) -> str:
    """An advice whose entry stands behind that of an act."""
    coach.put("/v1/athletes/a-00", json={"name": "Juno", "time_zone": "UTC"})
    found: str = coach.post("/v1/check-ins", json=EXAMPLE).json["advice_id"]
    return found


def test_the_head_is_that_of_the_newest_entry(coach: Client, store: Store) -> None:
    newest = store.read(lambda transaction: transaction.ledger.head())
    told = coach.get("/v1/ledger/head").json
    assert told == {"position": newest.position, "digest": newest.digest}


def test_a_proof_leads_from_the_record_to_the_head(coach: Client, advice_id: str) -> None:
    for day in ("2026-03-08", "2026-03-07"):
        coach.post("/v1/check-ins", json=changed("/date", day) | {"last_trained": {}})
    coach.put("/v1/athletes/a-06", json={"name": "Juno", "time_zone": "UTC"})
    proof = coach.get(f"/v1/advice/{advice_id}/proof").json
    entry = proof["entry"]
    hashed = sha256((proof["salt"] + proof["record"]).encode()).hexdigest()
    assert hashed == entry["record_digest"]
    reached = digest(entry, entry["previous_digest"])
    assert reached == entry["digest"]
    for one in proof["following"]:
        reached = digest(one, reached)
    head = coach.get("/v1/ledger/head").json
    assert (
        head
        == proof["head"]
        == {"position": proof["following"][-1]["position"]} | {"digest": reached}
    )
    assert json.loads(proof["record"])["advice"]["advice_id"] == advice_id


def test_a_long_proof_comes_in_pages(coach: Client, advice_id: str) -> None:
    for number in range(5):
        coach.put(f"/v1/athletes/b-{number}", json={"name": "Juno", "time_zone": "UTC"})
    whole = coach.get(f"/v1/advice/{advice_id}/proof").json
    following, after = [], 0
    while after is not None:
        page = coach.get(f"/v1/advice/{advice_id}/proof?limit=2&after={after}").json
        assert page["entry"] == whole["entry"]
        following += page["following"]
        after = page["next"]
    assert following == whole["following"]
    assert len(following) >= 5


def test_a_proof_up_to_a_head_that_is_known_ends_there(coach: Client, advice_id: str) -> None:
    for number in range(3):
        coach.put(f"/v1/athletes/b-{number}", json={"name": "Juno", "time_zone": "UTC"})
    at = coach.get(f"/v1/advice/{advice_id}/proof").json["entry"]["position"]
    page = coach.get(f"/v1/advice/{advice_id}/proof?to={at + 2}").json
    assert [one["position"] for one in page["following"]] == [at + 1, at + 2]
    assert page["next"] is None
    assert coach.get(f"/v1/advice/{advice_id}/proof?to={at}").json["following"] == []


def test_what_follows_in_a_proof_tells_nothing_of_others(coach: Client, advice_id: str) -> None:
    coach.post("/v1/check-ins", json=changed("/athlete_id", "a-04"))
    proof = coach.get(f"/v1/advice/{advice_id}/proof").json
    assert "a-04" not in json.dumps(proof["following"])
    names = {name for one in proof["following"] for name in one}
    assert names == {"position", "kind", "at", "record_digest"}


def test_an_athlete_can_prove_their_own_advice_only(
    coach: Client, athlete: Client, advice_id: str
) -> None:
    other = coach.post("/v1/check-ins", json=changed("/athlete_id", "a-04")).json["advice_id"]
    assert athlete.get(f"/v1/advice/{advice_id}/proof").status_code == 200
    assert athlete.get(f"/v1/advice/{other}/proof").status_code == 404


def test_advice_that_was_erased_has_no_proof(coach: Client, advice_id: str) -> None:
    coach.delete("/v1/athletes/a-03")
    assert coach.get(f"/v1/advice/{advice_id}/proof").status_code == 404


def acts(coach: Client, query: str = "") -> list[tuple[str, dict[str, str]]]:
    return [(one["act"], one["about"]) for one in coach.get(f"/v1/acts{query}").json["acts"]]


def test_each_act_of_a_coach_is_noted(coach: Client) -> None:
    coach.put("/v1/athletes/a-06", json={"name": "Juno", "time_zone": "UTC"})
    coach.put("/v1/athletes/a-06", json={"name": "Juna", "time_zone": "UTC"})
    coach.put("/v1/athletes/a-06", json={"name": "Juna", "time_zone": "UTC"})
    coach.post("/v1/rule-sets", data=CLUB, headers=YAML)
    named = {"rule_set": "club@1.0.0"}
    coach.put("/v1/rule-sets/active", json=named | {"from": "2026-04-01"})
    coach.put("/v1/athletes/a-03/rule-set", json=named)
    coach.post("/v1/rule-sets/rollback", json={"athlete_ids": ["a-03"]})
    coach.put("/v1/rule-sets/shadow", json=named)
    coach.delete("/v1/rule-sets/shadow")
    coach.get("/v1/athletes/a-06/export")
    coach.delete("/v1/athletes/a-06")
    noted = list(reversed(acts(coach)))
    digest = noted[2][1]["digest"]
    club = {"rule_set": "club@1.0.0", "digest": digest}
    of_juno = {"athlete_id": "a-06"}
    assert noted == [
        ("athlete-added", of_juno),
        ("athlete-edited", of_juno | {"changed": "name"}),
        ("rule-set-published", club),
        ("rule-set-activated", club | {"from": "2026-04-01"}),
        ("rule-set-assigned", club | {"athlete_id": "a-03"}),
        ("rule-set-rolled-back", {"activation": "2", "athlete_id": "a-03"}),
        ("shadow-started", club),
        ("shadow-ended", {}),
        ("athlete-exported", of_juno),
        ("athlete-erased", of_juno | {"positions": ""}),
    ]


def test_a_plan_that_is_set_or_taken_back_is_noted_by_its_date_and_not_by_what_is_planned(
    coach: Client,
) -> None:
    address = "/v1/athletes/a-03/plans/2026-03-10"
    coach.put(address, json={"plan": []})
    coach.put(address, json={"plan": [{"goal": "strength", "muscle_groups": ["chest"]}]})
    coach.delete(address)
    about = {"athlete_id": "a-03", "date": "2026-03-10"}
    assert acts(coach) == [("plan-removed", about), ("plan-set", about), ("plan-set", about)]


def test_a_replay_that_is_started_is_noted_with_its_rule_set_and_dates(
    coach: Client, store: Store
) -> None:
    asked = {"rule_set": "baseline@1.0.0", "from": "2026-03-01", "to": "2026-03-08"}
    replay = coach.post("/v1/replays", json=asked).json
    coach.post("/v1/replays", json={"rule_set": "baseline@1.0.0"})
    named = {"rule_set": "baseline@1.0.0", "digest": replay["rule_set"]["digest"]}
    whole, part = acts(coach)
    assert part == (
        "replay-started",
        named | {"replay_id": replay["replay_id"], "from": "2026-03-01", "to": "2026-03-08"},
    )
    assert set(whole[1]) == {"rule_set", "digest", "replay_id"}


def test_an_act_says_by_which_key_and_when(coach: Client, store: Store, clock: Clock) -> None:
    coach.put("/v1/athletes/a-06", json={"name": "Juno", "time_zone": "UTC"})
    coach.put("/v1/athletes/a-03/plans/2026-03-10", json={"plan": []})
    coach.post("/v1/replays", json={"rule_set": "baseline@1.0.0"})
    noted = coach.get("/v1/acts").json["acts"]
    [key] = store.read(lambda transaction: transaction.keys.all())
    assert [act["act"] for act in noted] == ["replay-started", "plan-set", "athlete-added"]
    assert {(act["by"], act["at"]) for act in noted} == {(key.id, "2026-03-09T05:45:00+00:00")}


def test_what_is_refused_is_no_act(coach: Client) -> None:
    coach.put("/v1/athletes/a-06", json={"name": "Juno", "time_zone": "UTC", "coach": "Ada"})
    coach.post("/v1/rule-sets/rollback", json={})
    coach.delete("/v1/athletes/a-99")
    coach.get("/v1/athletes/a-99/export")
    coach.put("/v1/athletes/a-99/plans/2026-03-10", json={"plan": []})
    coach.put("/v1/athletes/a-03/plans/2026-03-10", json={"plan": [{"goal": "fun"}]})
    coach.delete("/v1/athletes/a-03/plans/2026-03-10")
    dates = {"from": "2026-03-08", "to": "2026-03-01"}
    coach.post("/v1/replays", json={"rule_set": "baseline@1.0.0"} | dates)
    assert acts(coach) == []


def test_acts_are_found_by_date_name_and_page(coach: Client, clock: Clock) -> None:
    for day in (9, 10, 11):
        clock.set(f"2026-03-{day:02}T12:00:00+00:00")
        coach.put(f"/v1/athletes/b-{day}", json={"name": "Juno", "time_zone": "UTC"})
    coach.get("/v1/athletes/b-9/export")
    added = [("athlete-added", {"athlete_id": f"b-{day}"}) for day in (11, 10, 9)]
    assert acts(coach, "?act=athlete-added") == added
    assert acts(coach, "?from=2026-03-10&to=2026-03-10") == added[1:2]
    first = coach.get("/v1/acts?limit=3").json
    assert (len(first["acts"]), first["acts"][0]["act"]) == (3, "athlete-exported")
    assert acts(coach, f"?limit=3&after={first['next']}") == added[2:]
    assert coach.get(f"/v1/acts?limit=3&after={first['next']}").json["next"] is None


def test_a_proof_does_not_tell_what_was_done_to_others(
    coach: Client, advice_id: str, store: Store
) -> None:
    """Whoever guesses an act, its time and who did it finds no digest of it among those shown."""
    coach.put("/v1/athletes/a-07", json={"name": "Juno", "time_zone": "UTC"})
    shown = {one["record_digest"] for one in following(coach, advice_id)}
    bodies = store.read(lambda transaction: transaction.ledger.acts(limit=10))
    [added] = [json.loads(one.body) for one in bodies if "a-07" in one.body]
    assert sha256(rfc8785.dumps(added)).hexdigest() in shown
    del added["salt"]
    assert sha256(rfc8785.dumps(added)).hexdigest() not in shown


def following(coach: Client, advice_id: str) -> list[dict[str, Any]]:
    entries: list[dict[str, Any]] = coach.get(f"/v1/advice/{advice_id}/proof").json["following"]
    return entries
