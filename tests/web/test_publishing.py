"""Publishing: rule sets published, activated, taken back, and tried in the shadow."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from threading import Semaphore
from typing import Any

import pytest

from dawnrule.errors import EngineFailure
from dawnrule.rules.analysis import sandbox
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.loading.loader import parse_rule_set
from dawnrule.store import Store, StoredRuleSet
from tests.conftest import Client, Clock
from tests.factories import ALONE, CLUB, DAY_OFF, WRONG_WAY

YAML = "application/yaml"

SHORT_NIGHT = DAY_OFF | {"sleep": {"hours": 7}, "fatigue": 4}
"""Not short enough for the baseline."""


def published(client: Client, text: str = CLUB) -> Any:
    return client.post("/v1/rule-sets", data=text.encode(), content_type=YAML)


@pytest.fixture
def club(coach: Client) -> dict[str, Any]:
    """The club's rule set, published."""
    answer = published(coach)
    assert answer.status_code == 201
    told: dict[str, Any] = answer.json
    return told


def advised(client: Client, **more: Any) -> dict[str, Any]:
    """The advice on a short night, with another value or two."""
    answer = client.post("/v1/check-ins", json=SHORT_NIGHT | more)
    assert answer.status_code == 201, answer.json
    told: dict[str, Any] = answer.json
    return told


def active(client: Client) -> tuple[str, str]:
    named = client.get("/v1/rule-sets/active").json["rule_set"]
    return named["name"], named["version"]


# ---- publishing


def test_a_rule_set_is_published_and_told_by_its_digest(
    coach: Client, club: dict[str, Any]
) -> None:
    assert (club["name"], club["version"], club["findings"]) == ("club", "1.0.0", [])
    told = coach.get("/v1/rule-sets/club/1.0.0").json
    assert told["digest"] == club["digest"]
    assert [one["name"] for one in told["came_from"]] == ["baseline"]
    assert (told["active"], told["activations"]) == (False, [])
    assert told["published_at"] == "2026-03-09T05:45:00+00:00"
    assert told["published_by"].startswith("key-")
    assert coach.get("/v1/rule-sets").json["rule_sets"][-1]["digest"] == club["digest"]


def test_the_same_again_is_published_once_and_in_json_too(
    coach: Client, club: dict[str, Any]
) -> None:
    again = coach.post("/v1/rule-sets", json={"text": f"# a remark\n{CLUB}"})
    assert (again.status_code, again.json) == (200, club)
    names = [one["name"] for one in coach.get("/v1/rule-sets").json["rule_sets"]]
    assert names.count("club") == 1


@pytest.mark.usefixtures("club")
def test_a_published_version_stays_as_it_is(coach: Client) -> None:
    other = published(coach, CLUB.replace("sleeps well", "sleeps badly"))
    assert other.status_code == 409
    assert "another version" in other.json["detail"]


def test_a_version_that_ships_cannot_be_published_with_other_rules(coach: Client) -> None:
    ours = CLUB.replace("rule_set: club", "rule_set: baseline")
    assert published(coach, ours).status_code == 409


def test_a_rule_set_where_more_soreness_buys_more_training_is_refused_with_both_inputs(
    coach: Client,
) -> None:
    refused = published(coach, WRONG_WAY)
    assert refused.status_code == 422
    assert refused.json["type"] == "/problems/rule-set-invalid"
    [finding] = [one for one in refused.json["findings"] if one["code"] == "not-monotone"]
    better, worse = (facts["soreness"] for facts in finding["inputs"])
    assert better < 3 <= worse
    assert finding["mend"]
    assert any("[not-monotone]" in error["detail"] for error in refused.json["errors"])
    assert coach.get("/v1/rule-sets/wrong-way/1.0.0").status_code == 404


def test_a_fault_in_json_is_pointed_at(coach: Client) -> None:
    refused = coach.post("/v1/rule-sets", json={"text": "rule_set: ["})
    assert [error["pointer"] for error in refused.json["errors"]] == ["/text"]
    assert "rule-set.yaml:" in refused.json["detail"]


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"data": b"\xff", "content_type": YAML}, 400),
        ({"data": b"", "content_type": YAML}, 422),
        ({"data": "rule_set: \x07", "content_type": YAML}, 422),
        ({"json": {"text": "\ud800"}}, 422),
        ({"json": {"text": 4}}, 422),
        ({"json": {}}, 422),
        ({"data": CLUB, "content_type": "text/plain"}, 415),
    ],
)
def test_what_is_no_rule_file_is_refused(coach: Client, sent: dict[str, Any], status: int) -> None:
    assert coach.post("/v1/rule-sets", **sent).status_code == status


def test_a_rule_set_that_takes_its_trial_down_leaves_the_service_up(
    coach: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)"
    monkeypatch.setattr(sandbox, "SANDBOX_COMMAND", (sys.executable, "-c", code))
    refused = published(coach)
    assert refused.status_code == 422
    assert [one["code"] for one in refused.json["findings"]] == ["trial"]
    assert active(coach) == ("baseline", "2.0.0")
    assert advised(coach)["rule_set"]["name"] == "baseline"
    assert coach.get("/v1/rule-sets/club/1.0.0").status_code == 404


@pytest.mark.usefixtures("club")
def test_the_findings_are_kept(coach: Client) -> None:
    assert coach.get("/v1/rule-sets/club/1.0.0/findings").json == {"findings": []}
    loud = CLUB.replace("1.0.0", "3.0.0", 1).replace("7.4", "7.3")
    warned = published(coach, loud).json["findings"]
    assert {one["severity"] for one in warned} == {"warning"}
    assert coach.get("/v1/rule-sets/club/3.0.0/findings").json == {"findings": warned}


@pytest.mark.usefixtures("club")
def test_two_rule_sets_are_told_apart_in_meaning(coach: Client) -> None:
    told = coach.get("/v1/rule-sets/diff?from=baseline@1.1.0&to=club@1.0.0").json
    assert (told["before"], told["added"]) == ("baseline@1.1.0", ["club-sleep"])
    ways = {(way["scope"], way["before"], way["after"]): way for way in told["verdicts"]}
    example = ways["day", "train-as-planned", "rest"]
    assert example["rule_after"] == "club-sleep"
    assert ways["day", "rest", "train-as-planned"]["facts"] is None


# ---- activating


@pytest.mark.usefixtures("club")
def test_an_activation_decides_from_its_date_on_and_changes_no_advice_that_was_given(
    coach: Client, clock: Clock
) -> None:
    before = advised(coach)
    assert before["verdict"] != "rest"
    body = {"rule_set": "club@1.0.0", "from": "2026-03-10"}
    assert coach.put("/v1/rule-sets/active", json=body).status_code == 200
    assert active(coach) == ("baseline", "2.0.0")

    clock.set("2026-03-10T06:45:00+01:00")
    assert active(coach) == ("club", "1.0.0")
    late = coach.post("/v1/check-ins", json=SHORT_NIGHT)
    assert (late.status_code, late.json) == (200, before)
    today = advised(coach, date="2026-03-10")
    assert (today["verdict"], today["rule"]["id"]) == ("rest", "club-sleep")


def test_a_rollback_holds_at_once_and_is_kept(coach: Client, club: dict[str, Any]) -> None:
    coach.put("/v1/rule-sets/active", json={"rule_set": "club@1.0.0"})
    with_club = advised(coach)
    assert with_club["rule"]["id"] == "club-sleep"
    back = coach.post("/v1/rule-sets/rollback", json={})
    assert back.json["rule_set"]["name"] == "baseline"
    [one] = back.json["activations"]
    assert one["rule_set"] == {"full_name": "club@1.0.0", "digest": club["digest"]}
    assert one["by"].startswith("key-")
    assert one["taken_back_by"] == one["by"]
    assert advised(coach, stress=1)["rule_set"]["name"] == "baseline"
    assert coach.post("/v1/rule-sets/rollback", json={}).status_code == 409

    record = coach.get(f"/v1/advice/{with_club['advice_id']}").json
    assert record["reproduced"]
    assert "club-sleep" in {rule["id"] for rule in record["rules"]}


@pytest.mark.usefixtures("club")
def test_one_athlete_can_have_an_extension_of_their_own(coach: Client) -> None:
    named = {"rule_set": "club@1.0.0"}
    own = coach.put("/v1/athletes/a-03/rule-set", json=named)
    assert (own.json["rule_set"]["name"], len(own.json["activations"])) == ("club", 1)
    assert advised(coach)["rule"]["id"] == "club-sleep"
    assert advised(coach, athlete_id="a-04")["rule_set"]["name"] == "baseline"

    back = coach.put("/v1/athletes/a-03/rule-set", json={"rule_set": None})
    assert back.json["rule_set"]["name"] == "baseline"
    told = coach.get("/v1/athletes/a-03/rule-set").json
    assert told == {name: back.json[name] for name in told}
    assert advised(coach, stress=1)["rule_set"]["name"] == "baseline"


@pytest.mark.usefixtures("club")
def test_an_evaluation_and_the_outlook_use_what_holds_for_the_athlete(coach: Client) -> None:
    coach.put("/v1/athletes/a-03/rule-set", json={"rule_set": "club@1.0.0"})
    asked = {"check_in": SHORT_NIGHT}
    assert coach.post("/v1/evaluations", json=asked).json["rule_set"]["name"] == "club"
    of_facts = coach.post("/v1/evaluations", json={"facts": {"day": {}}}).json
    assert of_facts["rule_set"]["name"] == "baseline"
    assert coach.get("/v1/athletes/a-03/outlook").status_code == 200
    assert coach.get("/readyz").json["rule_set"]["name"] == "baseline"


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"rule_set": "club@9.0.0"}, 404),
        ({"rule_set": "baseline@1.0.0", "athlete_ids": ["a-99"]}, 404),
        ({"rule_set": "baseline@1.0.0", "athlete_ids": []}, 422),
        ({"rule_set": "baseline@1.0.0", "from": "soon"}, 422),
        ({"rule_set": "baseline@1.0.0", "again": "true"}, 422),
        ({"rule_set": None}, 422),
        ({}, 422),
    ],
)
def test_what_cannot_be_activated_is_refused(
    coach: Client, body: dict[str, Any], status: int
) -> None:
    assert coach.put("/v1/rule-sets/active", json=body).status_code == status
    assert coach.get("/v1/rule-sets/active").json["activations"] == []


def test_the_same_check_in_again_is_decided_by_what_holds_now(coach: Client, clock: Clock) -> None:
    before = advised(coach)
    published(coach)
    told = coach.put("/v1/rule-sets/active", json={"rule_set": "club@1.0.0"}).json
    assert (told["advice_stays"], told["advice_decided_again"]) == (1, 0)
    assert coach.get("/v1/athletes/a-03/advice/today").json == before

    after = advised(coach)
    assert (after["verdict"], after["rule"]["id"]) == ("rest", "club-sleep")
    record = coach.get(f"/v1/advice/{after['advice_id']}").json
    assert record["supersedes"] == before["advice_id"]
    again = coach.post("/v1/check-ins", json=SHORT_NIGHT)
    assert (again.status_code, again.json) == (200, after)

    clock.set("2026-03-10T06:45:00+01:00")
    coach.post("/v1/rule-sets/rollback", json={})
    late = coach.post("/v1/check-ins", json=SHORT_NIGHT)
    assert (late.status_code, late.json) == (200, after)


@pytest.mark.usefixtures("club")
def test_todays_advice_can_be_decided_again_with_the_change(coach: Client) -> None:
    before = advised(coach)
    other = advised(coach, athlete_id="a-04")
    body = {"rule_set": "club@1.0.0", "again": True}
    told = coach.put("/v1/athletes/a-03/rule-set", json=body).json
    assert (told["advice_stays"], told["advice_decided_again"]) == (0, 1)
    after = coach.get("/v1/athletes/a-03/advice/today").json
    assert (after["verdict"], after["rule_set"]["name"]) == ("rest", "club")
    assert coach.get("/v1/athletes/a-04/advice/today").json == other

    told = coach.put("/v1/rule-sets/active", json=body).json
    assert (told["advice_stays"], told["advice_decided_again"]) == (0, 1)
    body = {"athlete_ids": ["a-03"], "again": True}
    assert coach.post("/v1/rule-sets/rollback", json=body).json["advice_decided_again"] == 0
    told = coach.post("/v1/rule-sets/rollback", json={"again": True}).json
    assert (told["advice_stays"], told["advice_decided_again"]) == (0, 2)
    back = coach.get("/v1/athletes/a-03/advice/today").json
    same = {"advice_id", "rule_set"}
    assert {k: v for k, v in back.items() if k not in same} == {
        k: v for k, v in before.items() if k not in same
    }


@pytest.mark.usefixtures("club")
def test_what_comes_to_hold_later_leaves_todays_advice_alone(coach: Client) -> None:
    advised(coach)
    body = {"rule_set": "club@1.0.0", "from": "2026-03-10", "again": True}
    told = coach.put("/v1/rule-sets/active", json=body).json
    assert (told["advice_stays"], told["advice_decided_again"]) == (0, 0)


# ---- warning signs


def refused_for_signs(refused: Any) -> None:
    """That a rule set was refused, with a morning on which somebody would train."""
    assert refused.status_code == 422
    assert refused.json["type"] == "/problems/rule-set-invalid"
    [finding] = refused.json["findings"]
    assert (finding["code"], finding["severity"]) == ("warning-sign-not-heeded", "error")
    assert {"chest_pain": True} in finding["inputs"]
    assert {"illness": "fever"} in finding["inputs"]
    assert "extends: baseline@2.0.0" in finding["mend"]
    assert "{chest_pain: true} gives train-as-planned" in refused.json["detail"]


def published_before_it_was_asked(store: Store) -> str:
    """A rule set that knows no warning sign, in a database of an earlier version; its digest."""
    one, at = parse_rule_set(ALONE, "sent.yaml"), datetime(2026, 3, 8, tzinfo=UTC)
    stored = StoredRuleSet(one.name, one.version, one.digest, one.summary, at, None)
    store.write(lambda transaction: transaction.rule_sets.add(stored, ALONE, "[]"))
    return one.digest


def test_a_rule_set_that_knows_no_warning_sign_is_not_published(coach: Client) -> None:
    refused_for_signs(published(coach, ALONE))
    assert coach.get("/v1/rule-sets/alone/1.0.0").status_code == 404


def test_one_that_was_published_before_decides_for_nobody(coach: Client, store: Store) -> None:
    published_before_it_was_asked(store)
    body = {"rule_set": "alone@1.0.0"}
    refused_for_signs(coach.put("/v1/rule-sets/active", json=body))
    refused_for_signs(coach.put("/v1/athletes/a-03/rule-set", json=body))
    assert coach.get("/v1/rule-sets/active").json["activations"] == []
    refused_for_signs(published(coach, ALONE))


def test_one_that_was_activated_before_is_passed_over(
    coach: Client, store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    digest = published_before_it_was_asked(store)
    at = datetime(2026, 3, 8, tzinfo=UTC)
    store.write(lambda transaction: transaction.activations.add(digest, None, None, at, None))
    signs = {"illness": "fever", "warning_signs": ["chest-pain"]}
    for stress in (1, 2):
        told = advised(coach, stress=stress, **signs)
        assert (told["verdict"], told["rule_set"]["name"]) == ("rest", "baseline")
    assert active(coach) == ("baseline", "2.0.0")
    assert caplog.text.count(f"the rule set {digest} may not decide") == 1


def test_one_that_was_published_before_may_run_in_the_shadow(coach: Client, store: Store) -> None:
    published_before_it_was_asked(store)
    assert coach.put("/v1/rule-sets/shadow", json={"rule_set": "alone@1.0.0"}).status_code == 200
    advised(coach)
    [count] = coach.get("/v1/rule-sets/shadow").json["counts"]
    assert count["shadow_verdict"] == "rest"


# ---- in the shadow


@pytest.mark.usefixtures("club")
def test_a_candidate_decides_every_morning_and_no_athlete_learns_of_it(
    coach: Client, athlete: Client
) -> None:
    alone = advised(athlete)
    assert coach.put("/v1/rule-sets/shadow", json={"rule_set": "club@1.0.0"}).status_code == 200
    beside = advised(athlete, stress=1)
    assert beside["verdict"] == alone["verdict"] != "rest"
    seen = [
        athlete.get("/v1/athletes/a-03/advice/today"),
        athlete.get("/v1/athletes/a-03/advice/today.txt"),
        athlete.get(f"/v1/advice/{beside['advice_id']}"),
    ]
    assert not any("club" in one.text for one in seen)
    assert athlete.get("/v1/rule-sets/shadow").status_code == 403

    told = coach.get("/v1/rule-sets/shadow").json
    assert (told["rule_set"]["name"], told["mornings"]) == ("club", 1)
    assert told["counts"] == [{"verdict": beside["verdict"], "shadow_verdict": "rest", "count": 1}]
    [difference] = told["differences"]
    assert (difference["advice_id"], difference["shadow_rule_id"]) == (
        beside["advice_id"],
        "club-sleep",
    )


@pytest.mark.usefixtures("club")
def test_only_the_advice_that_holds_is_compared(coach: Client) -> None:
    coach.put("/v1/rule-sets/shadow", json={"rule_set": "club@1.0.0"})
    advised(coach)
    advised(coach, fatigue=1)
    told = coach.get("/v1/rule-sets/shadow").json
    assert (told["mornings"], told["differences"]) == (1, [])


def test_a_candidate_that_fails_hinders_nobody(
    coach: Client, club: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    coach.put("/v1/rule-sets/shadow", json={"rule_set": "club@1.0.0"})
    decide = Decider.decide

    def fail(self: Decider, *facts: Any) -> Any:
        if self._rule_set.digest == club["digest"]:
            raise EngineFailure("It failed.")
        return decide(self, *facts)

    monkeypatch.setattr(Decider, "decide", fail)
    given = advised(coach)
    told = coach.get("/v1/rule-sets/shadow").json
    assert told["counts"] == [{"verdict": given["verdict"], "shadow_verdict": None, "count": 1}]
    assert [one["advice_id"] for one in told["differences"]] == [given["advice_id"]]


@pytest.mark.usefixtures("club")
def test_the_shadow_ends_and_leaves_with_the_athlete(coach: Client, store: Store) -> None:
    assert coach.get("/v1/rule-sets/shadow").status_code == 404
    coach.put("/v1/rule-sets/shadow", json={"rule_set": "club@1.0.0"})
    advised(coach)
    assert coach.delete("/v1/rule-sets/shadow").status_code == 204
    assert coach.get("/v1/rule-sets/shadow").status_code == 404
    advised(coach, athlete_id="a-04")
    assert coach.delete("/v1/athletes/a-03").status_code == 200
    coach.put("/v1/rule-sets/shadow", json={"rule_set": "club@1.0.0"})
    assert coach.get("/v1/rule-sets/shadow").json["mornings"] == 0


def test_a_rule_set_is_asked_to_wait_while_others_are_on_trial(
    coach: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sandbox, "_PLACES", Semaphore(0))
    monkeypatch.setattr(sandbox, "SANDBOX_COMMAND", ("nothing is to be started",))
    answer = published(coach)
    assert (answer.status_code, answer.headers["Retry-After"]) == (429, "60")
    assert "Another rule set is on trial" in answer.json["detail"]
    assert coach.get("/healthz").status_code == 200
