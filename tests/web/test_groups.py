"""Groups over HTTP, in the chain, and in what is stored of a person."""

from __future__ import annotations

import io
import json
from zipfile import ZipFile

from tests.conftest import Client

LEGS = {"name": "Legs first", "athletes": ["a-04", "a-03"]}


def test_a_group_is_made_renamed_filled_and_removed_and_its_athletes_stay(coach: Client) -> None:
    made = coach.put("/v1/groups/legs", json=LEGS)
    assert made.status_code == 201
    told = {"group_id": "legs", "name": "Legs first", "athletes": ["a-03", "a-04"]}
    assert made.json == coach.get("/v1/groups/legs").json == told
    renamed = coach.put("/v1/groups/legs", json={"name": "Beginners", "athletes": ["a-05"]})
    assert renamed.status_code == 200
    coach.put("/v1/groups/all", json={"name": "All", "athletes": ["a-05"]})
    names = [group["name"] for group in coach.get("/v1/groups").json["groups"]]
    assert names == ["All", "Beginners"]
    assert coach.delete("/v1/groups/legs").status_code == 204
    assert coach.delete("/v1/groups/legs").status_code == 404
    assert len(coach.get("/v1/athletes").json["athletes"]) == 3


def test_what_is_done_to_a_group_is_in_the_chain_without_who_is_in_it(coach: Client) -> None:
    coach.put("/v1/groups/legs", json=LEGS)
    coach.put("/v1/groups/legs", json=LEGS)
    coach.put("/v1/groups/legs", json=LEGS | {"athletes": ["a-05"]})
    coach.delete("/v1/groups/legs")
    acts = [one for one in coach.get("/v1/acts").json["acts"] if one["act"].startswith("group")]
    assert sorted((one["act"], tuple(one["about"].items())) for one in acts) == [
        ("group-added", (("group", "legs"),)),
        ("group-edited", (("changed", "athletes"), ("group", "legs"))),
        ("group-removed", (("group", "legs"),)),
    ]


def test_a_typing_error_makes_nobody_a_member_and_two_groups_have_two_names(coach: Client) -> None:
    unknown = coach.put("/v1/groups/legs", json=LEGS | {"athletes": ["a-03", "a-99"]})
    assert unknown.status_code == 422
    assert unknown.json["errors"][0]["pointer"] == "/athletes/1"
    twice = coach.put("/v1/groups/legs", json=LEGS | {"athletes": ["a-03", "a-03"]})
    assert twice.json["errors"][0]["pointer"] == "/athletes"
    assert coach.put("/v1/groups/no one", json=LEGS).status_code == 422
    assert coach.get("/v1/groups").json["groups"] == []
    coach.put("/v1/groups/legs", json=LEGS)
    taken = coach.put("/v1/groups/other", json=LEGS | {"name": "legs FIRST"})
    assert (taken.status_code, taken.json["errors"][0]["pointer"]) == (409, "/name")


def test_a_person_gets_their_groups_and_leaves_them_when_erased(coach: Client) -> None:
    coach.put("/v1/groups/legs", json=LEGS)
    packed = ZipFile(io.BytesIO(coach.get("/v1/athletes/a-03/export").data))
    assert json.loads(packed.read("groups.json")) == [{"group_id": "legs", "name": "Legs first"}]
    assert coach.delete("/v1/athletes/a-03").json["groups"] == 1
    assert coach.get("/v1/groups/legs").json["athletes"] == ["a-04"]
