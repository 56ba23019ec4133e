"""What is folded away on the check-in page: it arrives as it was answered, fills the page again,
and is not lost where it was sent by others."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from dawnrule.i18n.catalog import Texts
from dawnrule.store import Store
from tests.conftest import Client
from tests.factories import EXAMPLE
from tests.web.conftest import Stored
from tests.web.test_check_in_page import SENT, Form

say = Texts.bundled().say

KNEE = {"pain": "some", "pain/0/where": "left knee", "pain/0/kind": "joint"}
OWN = {"plan": "own", "own/goal": "strength"}


def at(body: Any, *steps: str | int) -> Any:
    """Return what stands at a place of a check-in."""
    for step in steps:
        body = body[step]
    return body


@pytest.mark.parametrize(
    ("name", "text", "place", "value"),
    [
        ("sleep/naps_hours", "0,5", ("sleep", "naps_hours"), 0.5),
        ("sleep/naps_hours", "20 min", ("sleep", "naps_hours"), 20 / 60),
        ("sleep/naps_hours", "1:30", ("sleep", "naps_hours"), 1.5),
        ("sleep/hours", "7:30", ("sleep", "hours"), 7.5),
        ("sleep/hours", "7h30", ("sleep", "hours"), 7.5),
        ("sleep/hours", "7 h", ("sleep", "hours"), 7.0),
        ("sleep/hours", "7 h 30 min", ("sleep", "hours"), 7.5),
        ("fatigue", "2.5", ("fatigue",), 2.5),
        ("stress", "2,5", ("stress",), 2.5),
        ("temperature_c", "37,4", ("temperature_c",), 37.4),
        ("temperature_c", "37.4 °C", ("temperature_c",), 37.4),
        ("fever_medicine", "yes", ("fever_medicine",), True),
        ("fever_medicine", "no", ("fever_medicine",), False),
        ("jump_height_cm", "41,5", ("jump_height_cm",), [41.5]),
        ("jump_height_cm", "41 42,5 40", ("jump_height_cm",), [41.0, 42.5, 40.0]),
        ("jump_height_cm", "41, 42; 40 cm", ("jump_height_cm",), [41.0, 42.0, 40.0]),
        ("grip_kg", "45.5 kg", ("grip_kg",), 45.5),
        ("heat/wbgt_c", "26.5", ("heat", "wbgt_c"), 26.5),
        ("heat/acclimatised", "no", ("heat", "acclimatised"), False),
        ("takes/caffeine_mg", "200 mg", ("takes", "caffeine_mg"), 200.0),
        ("takes/bicarbonate_g", "15", ("takes", "bicarbonate_g"), 15.0),
        ("takes/creatine_g", "5 g", ("takes", "creatine_g"), 5.0),
        ("takes/other", "beetroot juice", ("takes", "other"), "beetroot juice"),
        ("pain/0/place", "knee", ("pain", 0, "place"), "knee"),
        ("pain/0/side", "left", ("pain", 0, "side"), "left"),
        ("pain/0/severity", "6", ("pain", 0, "severity"), 6.0),
        ("pain/0/onset", "sudden", ("pain", 0, "onset"), "sudden"),
        ("pain/0/after", "impact", ("pain", 0, "after"), "impact"),
        ("pain/0/numbness", "yes", ("pain", 0, "numbness"), True),
        ("pain/0/warm", "no", ("pain", 0, "warm"), False),
        ("pain/0/swollen", "yes", ("pain", 0, "swollen"), True),
        ("own/effort", "8", ("plan", 0, "effort"), 8.0),
        ("own/new_exercise", "yes", ("plan", 0, "new_exercise"), True),
        ("own/to_failure", "no", ("plan", 0, "to_failure"), False),
    ],
)
def test_each_answer_arrives_as_what_it_says(
    client: Client, path: str, stored: Stored, name: str, text: str, place: Any, value: Any
) -> None:
    around = KNEE if name.startswith("pain/") else OWN if name.startswith("own/") else {}
    assert client.post(path, data=SENT | around | {name: text}).status_code == 303
    assert at(stored().body, *place) == value


TOLD: dict[str, Any] = {
    "sleep": {"hours": 22 / 3, "quality": 3, "naps_hours": 1 / 3},
    "soreness": {"quadriceps": 2.5, "chest": 7 / 3},
    "fatigue": 2.5,
    "stress": 1.25,
    "temperature_c": 36.85,
    "fever_medicine": False,
    "jump_height_cm": [41.0, 42.5, 122 / 3],
    "grip_kg": 45.5,
    "heat": {"temperature_c": 31.0, "humidity_percent": 55.0, "acclimatised": False},
    "takes": {"caffeine_mg": 200.0, "bicarbonate_g": 0.0, "creatine_g": 5.0, "other": "juice"},
    "pain": [
        {"where": "right elbow", "kind": "other"},
        {
            "where": "left knee",
            "kind": "joint",
            "muscle_groups": ["quadriceps"],
            "place": "knee",
            "side": "left",
            "onset": "sudden",
            "severity": 5 / 3,
            "after": "impact",
            "warm": False,
            "swollen": True,
            "numbness": False,
        },
    ],
}
NOT_ASKED: dict[str, Any] = {
    "resting_hr_bpm": 52,
    "hrv_rmssd_ms": 71.0,
    "bar_speed": [{"load_kg": 80.0, "metres_per_second": 0.71, "pattern": "squat"}],
    "journey": {"time_zones_crossed": 6, "arrived_on": "2026-03-08"},
    "plan": [
        {"goal": "strength", "pattern": "squat", "sets": 5, "effort": 8.0, "to_failure": False},
        {"goal": "speed", "contacts": 40, "sprint_metres": 200.0, "new_exercise": True},
    ],
}


def test_what_others_have_sent_is_the_same_after_the_page_was_sent_untouched(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE | TOLD | NOT_ASKED)
    before = stored().body
    assert all(before[name] == value for name, value in (TOLD | NOT_ASKED).items())
    form = Form(client.get(path).text)
    assert client.post(path, data=form.sent).status_code == 303
    assert stored().body == before
    assert stored().revision == 1


def test_what_others_have_sent_is_the_same_beside_a_correction(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE | TOLD | NOT_ASKED)
    before = stored().body
    form = Form(client.get(path).text)
    form.sent["grip_kg"] = ""
    form.sent["temperature_c"] = "38.4"
    assert client.post(path, data=form.sent).status_code == 303
    left = {name: value for name, value in before.items() if name != "grip_kg"}
    assert stored().body == left | {"temperature_c": 38.4}


def test_a_page_from_before_there_was_a_control_keeps_what_it_did_not_show(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    """The page stays open in a browser while the service gets a new version."""
    coach.post("/v1/check-ins", json=EXAMPLE | TOLD | NOT_ASKED)
    before = stored().body
    form = Form(client.get(path).text)
    new: tuple[str, ...] = (
        "naps_hours",
        "temperature_c",
        "fever_medicine",
        "jump_height_cm",
        "grip_kg",
    )
    new += ("humidity_percent", "acclimatised", "caffeine_mg", "bicarbonate_g", "creatine_g")
    new += ("place", "side", "severity", "onset", "after", "numbness", "warm", "swollen", "other")
    for name in [name for name in form.sent if name.endswith(new)]:
        del form.sent[name]
    form.sent["fatigue"] = "9"
    assert client.post(path, data=form.sent).status_code == 303
    assert stored().body == before | {"fatigue": 9}


def test_a_pain_that_moves_up_takes_its_answers_along(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE | TOLD)
    form = Form(client.get(path).text)
    for part in ("where", "kind"):
        form.sent[f"pain/0/{part}"] = ""
    client.post(path, data=form.sent)
    assert stored().body["pain"] == TOLD["pain"][1:]


def test_what_was_answered_is_shown_as_people_write_it(
    coach: Client, client: Client, path: str
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE | TOLD)
    sent = Form(client.get(path).text).sent
    assert sent.getlist("sleep/hours") == ["", "7:20"]
    assert sent["sleep/naps_hours"] == "0:20"
    assert (sent["fatigue"], sent["stress"], sent["soreness/chest"]) == ("2.5", "1.25", "2.33")
    assert sent["jump_height_cm"] == "41 42.5 40.67"
    assert (sent["fever_medicine"], sent["pain/1/swollen"]) == ("no", "yes")


def test_germans_read_and_send_decimals_with_a_comma(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE | TOLD)
    before = stored().body
    form = Form(client.get(f"{path}?lang=de").text)
    assert form.sent["temperature_c"] == "36,85"
    assert form.sent["jump_height_cm"] == "41 42,5 40,67"
    assert ">2,5<" in client.get(f"{path}?lang=de").text
    assert client.post(path, data=form.sent).status_code == 303
    assert stored().body == before


def test_only_what_is_used_is_unfolded(coach: Client, client: Client, path: str) -> None:
    def unfolded() -> list[str]:
        page = client.get(path).text.split("<details open>")[1:]
        return [one.partition("<summary>")[2].partition("</summary>")[0] for one in page]

    coach.post("/v1/check-ins", json={"athlete_id": "a-03", "date": "2026-03-09", "plan": []})
    assert unfolded() == []
    told = {"temperature_c": 37.2, "takes": {"creatine_g": 5}, "plan": []}
    coach.post("/v1/check-ins", json={"athlete_id": "a-03", "date": "2026-03-09"} | told)
    assert unfolded() == [say("phone.fever"), say("phone.takes")]


def test_the_plan_says_what_is_hard_and_new_about_it(client: Client, path: str) -> None:
    more = {"own/effort": "8", "own/new_exercise": "yes", "own/to_failure": "yes"}
    client.post(path, data=SENT | OWN | more)
    plan = "strength, effort 8 of 10, new exercise, sets until nothing more goes"
    assert say("phone.plans.sent", plan=plan) in client.get(path).text


def test_whoever_says_how_hard_their_own_session_is_is_asked_what_it_is_for(
    client: Client, path: str
) -> None:
    refused = client.post(path, data=SENT | {"plan": "", "own/effort": "8"})
    assert say("phone.wrong.own_goal") in refused.text
    refused = client.post(path, data=SENT | {"own/effort": "8"})
    assert say("phone.wrong.plan_twice") in refused.text


@pytest.mark.parametrize(
    ("answers", "control", "sentence"),
    [
        ({"sleep/naps_hours": "a bit"}, "sleep/naps_hours", "naps"),
        ({"sleep/naps_hours": "17"}, "sleep/naps_hours", "naps"),
        ({"temperature_c": "98.6"}, "temperature_c", "temperature"),
        ({"temperature_c": "hot"}, "temperature_c", "temperature"),
        ({"fever_medicine": "maybe"}, "fever_medicine", "choice"),
        ({"jump_height_cm": "high"}, "jump_height_cm", "jump"),
        ({"jump_height_cm": "41 420"}, "jump_height_cm", "jump"),
        ({"jump_height_cm": " ".join(["41"] * 11)}, "jump_height_cm", "jump"),
        ({"grip_kg": "450"}, "grip_kg", "grip"),
        ({"heat/temperature_c": "31"}, "heat/humidity_percent", "heat_pair"),
        ({"heat/humidity_percent": "60"}, "heat/temperature_c", "heat_pair"),
        (
            {"heat/temperature_c": "31", "heat/humidity_percent": "60 of 100"},
            "heat/humidity_percent",
            "humidity",
        ),
        (
            {"heat/temperature_c": "88 F", "heat/humidity_percent": "60"},
            "heat/temperature_c",
            "air",
        ),
        ({"heat/wbgt_c": "80"}, "heat/wbgt_c", "wbgt"),
        ({"heat/wbgt_c": "28", "heat/humidity_percent": "60"}, "heat/temperature_c", "heat_twice"),
        ({"takes/caffeine_mg": "0.2 g"}, "takes/caffeine_mg", "caffeine"),
        ({"takes/bicarbonate_g": "a spoon"}, "takes/bicarbonate_g", "bicarbonate"),
        ({"takes/creatine_g": "500"}, "takes/creatine_g", "creatine"),
        ({"takes/other": "x" * 101}, "takes/other", "takes_other"),
        (KNEE | {"pain/0/side": "up"}, "pain/0/side", "choice"),
        (KNEE | {"pain/0/severity": "11"}, "pain/0/severity", "choice"),
        (KNEE | {"pain/0/warm": "a bit"}, "pain/0/warm", "choice"),
        (OWN | {"own/effort": "11"}, "own/effort", "choice"),
    ],
)
def test_what_is_wrong_is_said_at_its_control_which_is_unfolded(
    client: Client, path: str, store: Store, answers: dict[str, Any], control: str, sentence: str
) -> None:
    refused = client.post(path, data=SENT | answers)
    assert refused.status_code == 422
    assert store.read(lambda b: b.check_ins.latest("a-03", date(2026, 3, 9))) is None
    form, name = Form(refused.text), control.replace("/", "-")
    assert [link["href"] for link in form.all("a") if link["href"] != "#warning_signs"] == [
        f"#{name}"
    ]
    assert {name, f"fault-{name}"} <= form.ids
    assert say(f"phone.wrong.{sentence}") in refused.text
    before = refused.text[: refused.text.index(f'id="fault-{name}"')]
    assert before.rfind("<details open>") > before.rfind("</details>")


@pytest.mark.parametrize(
    ("answers", "section"),
    [
        ({"temperature_c": "hot"}, "temperature_c"),
        ({"heat/temperature_c": "31"}, "heat"),
        ({"heat/wbgt_c": "hot", "heat/acclimatised": "yes"}, "heat"),
        ({"takes/creatine_g": "a spoon"}, "takes"),
    ],
)
def test_with_a_warning_sign_only_what_cannot_be_read_is_left_out_and_named(
    client: Client, path: str, stored: Stored, answers: dict[str, str], section: str
) -> None:
    signs = {"warning_signs": ["chest-pain"], "grip_kg": "45", "takes/other": "juice"}
    sent = client.post(path, data=SENT | signs | answers)
    assert sent.status_code == 303
    body = stored().body
    assert (body["warning_signs"], body["grip_kg"]) == (["chest-pain"], 45)
    assert (body["takes"], "heat" in body) == ({"other": "juice"}, False)
    assert f"<li>{say(f'phone.at.{section}')}</li>" in client.get(sent.headers["Location"]).text


def test_a_tapped_time_counts_beside_a_written_one_that_nobody_touched(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE | {"sleep": {"hours": 7.25}})
    sent = Form(client.get(f"{path}?lang=de").text).sent
    sent.setlist("sleep/hours", ["8", "7:45"])
    refused = client.post(path, data=sent)
    assert say("phone.wrong.sleep_twice") in refused.text
    sent = Form(refused.text).sent
    assert sent.getlist("sleep/hours") == ["8", "7:45"]
    assert client.post(path, data=sent).status_code == 422
    sent.setlist("sleep/hours", ["8", sent["sleep_shown"]])
    assert client.post(path, data=sent).status_code == 303
    assert stored().body["sleep"] == {"hours": 8}


def test_the_language_of_the_address_stays_when_the_form_is_sent(client: Client, path: str) -> None:
    form = Form(client.get(f"{path}?lang=es").text)
    [action] = [has["action"] for has in form.all("form")]
    assert action
    sent = client.post(action, data={"plan": "off", "warning_signs": "chest-pain"})
    page = client.get(sent.headers["Location"]).text
    assert Texts.bundled("es").say("phone.emergency_numbers") in page
    assert "lang" not in client.post(path, data={"plan": "off", "seen": "1"}).headers["Location"]


def test_a_name_with_a_comma_stands_whole(coach: Client, client: Client, path: str) -> None:
    athlete = coach.get("/v1/athletes/a-03").json
    coach.put("/v1/athletes/a-03", json=athlete | {"name": "García, José"})
    assert say("phone.whose", name="García, José") in client.get(path).text
