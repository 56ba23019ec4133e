"""Is what the README shows what a reader gets?"""

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
    answer = coach.post("/v1/check-ins", json=shown("the request"))
    assert answer.status_code == 201
    given = answer.get_json()
    assert given | {"advice_id": shown("the answer")["advice_id"]} == shown("the answer")


def test_the_same_plan_as_strength_trains(coach: FlaskClient) -> None:
    request = shown("the request")
    request["plan"][0]["goal"] = "strength"
    assert coach.post("/v1/check-ins", json=request).get_json()["verdict"] == "train-as-planned"


def test_the_same_plan_with_chest_pain_rests(coach: FlaskClient) -> None:
    request = shown("the request") | {"warning_signs": ["chest-pain"]}
    answer = coach.post("/v1/check-ins", json=request).get_json()
    assert answer["verdict"] == "rest"
    assert "medical care now" in answer["caution"]
