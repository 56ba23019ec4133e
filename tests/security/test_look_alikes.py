"""Texts that look like others, or read otherwise than they are written; ids that look alike."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.cli.terminal import typed
from tests.conftest import Client
from tests.factories import DAY_OFF

UNSEEN = {
    "\u202e": "U+202E RIGHT-TO-LEFT OVERRIDE",
    "\u2066": "U+2066 LEFT-TO-RIGHT ISOLATE",
    "\u200b": "U+200B ZERO WIDTH SPACE",
    "\u200d": "U+200D ZERO WIDTH JOINER",
    "\u00ad": "U+00AD SOFT HYPHEN",
    "\ufeff": "U+FEFF ZERO WIDTH NO-BREAK SPACE",
    "\U000e0041": "U+E0041 TAG LATIN CAPITAL LETTER A",
    "\u2028": "U+2028 LINE SEPARATOR",
    "\u2029": "U+2029 PARAGRAPH SEPARATOR",
    "\u3164": "U+3164 HANGUL FILLER",
    "\uffa0": "U+FFA0 HALFWIDTH HANGUL FILLER",
    "\u115f": "U+115F HANGUL CHOSEONG FILLER",
    "\u2800": "U+2800 BRAILLE PATTERN BLANK",
    "\u0007": "U+0007",
    "\u0085": "U+0085",
    "\ud800": "U+D800",
}
NAMES = ["Zoë Müller-Đặng", "李小龍", "محمد", "Владимир", "นภา", "O'Neill 2", "김연아"]
JOINED = {
    "Persian": "علی\u200cمحمد",
    "Persian, with a mark": "علیِ\u200cمحمد",
    "Hindi": "क्\u200dष",
    "Hindi, apart": "रक्\u200cषा",
    "Malayalam": "ന്\u200dറ",
}
JOINING_NOTHING = {
    "between Latin letters": "Ma\u200cra",
    "between Latin letters, joining": "Ma\u200dra",
    "after a vowel": "अ\u200dन",
    "joining letters that join already": "عل\u200dی",
    "at the end": "علی\u200c",
    "at the beginning": "\u200cعلی",
    "after a letter that joins nothing": "محمد\u200cعلی",
    "twice": "علی\u200c\u200cمحمد",
    "beside what is no character": "عل\U000e0fff\u200cی",
}


def refusal(answer: Any, pointer: str) -> str:
    assert answer.status_code == 422, answer.text
    [error] = answer.json["errors"]
    assert error["pointer"] == pointer
    return str(error["detail"])


@pytest.mark.parametrize("sign", UNSEEN, ids=UNSEEN.values())
def test_what_nobody_sees_is_refused_with_its_code_point_and_place(
    coach: Client, sign: str
) -> None:
    person = {"name": f"Ma{sign}ra", "time_zone": "Europe/Berlin"}
    pain = DAY_OFF | {"pain": [{"where": f"kn{sign}ee", "kind": "joint"}]}
    taken = DAY_OFF | {"takes": {"other": f"te{sign}a"}}
    label = {"purpose": "read", "label": f"ph{sign}one"}
    for said in (
        refusal(coach.put("/v1/athletes/a-03", json=person), "/name"),
        refusal(coach.post("/v1/check-ins", json=pain), "/pain/0/where"),
        refusal(coach.post("/v1/check-ins", json=taken), "/takes/other"),
        refusal(coach.post("/v1/athletes/a-03/addresses", json=label), "/label"),
    ):
        assert f"character 3 is {UNSEEN[sign]}, which" in said


@pytest.mark.parametrize("name", NAMES)
def test_a_name_in_any_script_is_taken(coach: Client, name: str) -> None:
    answer = coach.put("/v1/athletes/a-60", json={"name": name, "time_zone": "UTC"})
    assert (answer.status_code, answer.json["name"]) == (201, name)


def test_a_joiner_is_taken_where_it_is_written(coach: Client, subtests: pytest.Subtests) -> None:
    """RFC 5892, appendices A.1 and A.2."""
    for where, name in JOINED.items():
        with subtests.test(where):
            answer = coach.put("/v1/athletes/a-03", json={"name": name, "time_zone": "UTC"})
            assert (answer.status_code, answer.json["name"]) == (200, name)


def test_a_joiner_is_refused_where_it_joins_nothing(
    coach: Client, subtests: pytest.Subtests
) -> None:
    """RFC 5892, appendices A.1 and A.2."""
    for where, name in JOINING_NOTHING.items():
        with subtests.test(where):
            answer = coach.put("/v1/athletes/a-03", json={"name": name, "time_zone": "UTC"})
            assert "ZERO WIDTH" in refusal(answer, "/name")


def test_the_command_line_refuses_it_too(tmp_path: Path) -> None:
    db = tmp_path / "a.db"
    names = ("--name", "Ma\u202era", "--time-zone", "UTC")
    assert "U+202E" in typed("athletes", "add", "a-03", *names, "--db", db).stderr
    label = ("--label", "ph\u200bone")
    assert "U+200B" in typed("keys", "create", "--role", "coach", *label, "--db", db).stderr
    typed("athletes", "add", "a-03", "--name", "Mara", "--time-zone", "UTC", "--db", db)
    words = ("addresses", "create", "--athlete", "a-03", "--purpose", "read", "--db", db)
    assert "U+200B" in typed(*words, *label).stderr


def test_an_id_in_other_capitals_is_taken(coach: Client, tmp_path: Path) -> None:
    person = {"name": "Another", "time_zone": "UTC"}
    answer = coach.put("/v1/athletes/A-03", json=person)
    assert answer.status_code == 409
    assert answer.json["detail"].startswith("The id A-03 is taken: there is a-03.")
    [error] = answer.json["errors"]
    assert (error["pointer"], error["value"]) == ("/athlete_id", "A-03")
    assert coach.get("/v1/athletes/A-03").status_code == 404
    assert coach.put("/v1/athletes/a-03", json=person).status_code == 200
    db = tmp_path / "a.db"
    for athlete_id, status in (("b-1", 0), ("B-1", 2), ("b-1", 0)):
        words = ("athletes", "add", athlete_id, "--name", "Bo", "--time-zone", "UTC", "--db", db)
        assert typed(*words).exit_code == status
