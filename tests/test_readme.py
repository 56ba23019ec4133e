"""README: what it shows is what a reader gets."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient

README = Path(__file__).parents[1] / "README.md"


def shown(name: str) -> Any:
    """The JSON that stands in the README after a comment of that name."""
    text = README.read_text(encoding="utf-8")
    found = re.search(rf"<!-- {name} -->\n```json\n(.*?)```", text, re.DOTALL)
    assert found, f"the README does not show {name}"
    return json.loads(found[1])


def test_the_request_in_the_readme_gets_the_answer_in_the_readme(coach: FlaskClient) -> None:
    """Every member that is shown is as the service answers; only the id is new each time."""
    answer = coach.post("/v1/check-ins", json=shown("the request"))
    assert answer.status_code == 201
    expected = shown("the answer")
    given = answer.get_json() | {"advice_id": expected["advice_id"]}
    assert cut_to(expected, given) == expected


def test_the_readme_names_every_member_of_the_answer_that_it_does_not_show(
    coach: FlaskClient,
) -> None:
    given = coach.post("/v1/check-ins", json=shown("the request")).get_json()
    expected = shown("the answer")
    left_out = {
        *(given.keys() - expected.keys()),
        *(given["rule_set"].keys() - expected["rule_set"].keys()),
        *(given["parts"][0].keys() - expected["parts"][0].keys()),
    }
    text = README.read_text(encoding="utf-8")
    (named,) = re.findall(r"^The whole answer also has .*$", text, re.MULTILINE)
    assert left_out == set(re.findall(r"`(\w+)`", named))


def cut_to(shape: Any, given: Any) -> Any:
    """A JSON value with the members that a shape has, and as many items."""
    if isinstance(shape, dict):
        return {name: cut_to(inner, given[name]) for name, inner in shape.items()}
    if isinstance(shape, list):
        return [cut_to(inner, item) for inner, item in zip(shape, given, strict=False)]
    return given


def test_the_same_plan_as_strength_trains(coach: FlaskClient) -> None:
    request = shown("the request")
    request["plan"][0]["goal"] = "strength"
    assert coach.post("/v1/check-ins", json=request).get_json()["verdict"] == "train-as-planned"


def test_the_same_plan_with_chest_pain_rests(coach: FlaskClient) -> None:
    request = shown("the request") | {"warning_signs": ["chest-pain"]}
    answer = coach.post("/v1/check-ins", json=request).get_json()
    assert answer["verdict"] == "rest"
    assert "medical care now" in answer["caution"]
