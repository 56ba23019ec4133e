"""JSON and back: several texts read together are what each is by itself."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from dawnrule.model.entities import CheckIn, Session
from dawnrule.model.serialization import all_of_json, from_json_text, to_json
from tests.factories import EXAMPLE, GROWTH, KIM, NOW, STRENGTH

SESSIONS = [
    Session(KIM.id, NOW - timedelta(days), 60.0, (GROWTH, STRENGTH)[:days], rpe=6.0)
    for days in range(3)
]


def test_texts_that_are_read_together_give_what_each_gives_by_itself() -> None:
    texts = [json.dumps(to_json(session)) for session in SESSIONS]
    assert all_of_json(Session, texts) == SESSIONS
    check_ins = [json.dumps(EXAMPLE), json.dumps(EXAMPLE | {"pain": [], "sleep": {}})]
    assert all_of_json(CheckIn, check_ins) == [from_json_text(CheckIn, one) for one in check_ins]
    assert all_of_json(Session, []) == []


def test_a_text_that_holds_two_values_is_not_taken_for_two_texts() -> None:
    text = json.dumps(to_json(SESSIONS[0]))
    with pytest.raises(ValueError, match="holds one value"):
        all_of_json(Session, [f"{text},{text}"])
