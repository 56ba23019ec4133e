"""The page *This morning*: who should do what, with nobody left out."""

from __future__ import annotations

import csv
import io
import re
from html import unescape
from typing import Any

import pytest

from dawnrule.model.entities import Athlete
from dawnrule.store import Store
from tests.conftest import Client, Clock
from tests.factories import EXAMPLE, without

SORE = without("pain")
"""Sore quadriceps on a day of growth work."""
FEVER = {"athlete_id": "a-04", "date": "2026-03-09", "illness": "fever", "plan": EXAMPLE["plan"]}
ASKED = {"pain": [], "illness": "none", "warning_signs": []}
READY = ASKED | {
    "athlete_id": "a-05",
    "date": "2026-03-08",
    "plan": [{"goal": "steady-endurance", "modality": "cycling", "minutes": 40}],
}
"""In Los Angeles it still is the day before."""


@pytest.fixture
def checked_in(coach: Client) -> dict[str, dict[str, Any]]:
    """The squad's advice of the morning, by athlete."""
    answers = [coach.post("/v1/check-ins", json=one) for one in (SORE, FEVER, READY)]
    assert [answer.status_code for answer in answers] == [201, 201, 201]
    return {answer.json["athlete_id"]: answer.json for answer in answers}


def read(page: Any) -> str:
    """What a reader of a page sees: its words, in their order."""
    assert page.mimetype == "text/html"
    main = page.text.partition("<main")[2]
    words = re.sub(r"<[^>]*>", " ", main.partition(">")[2])
    return " ".join(unescape(words).split())


def names(page: Any) -> list[str]:
    """The athletes on a page, in their order."""
    return re.findall(r'<li id="athlete-([^"]*)"', page.text)


def test_the_most_urgent_come_first(coach_browser: Client, coach: Client) -> None:
    """A warning sign stays in the first place when the next morning says nothing of it."""
    sign = {"athlete_id": "a-05", "date": "2026-03-07", "plan": [], "warning_signs": ["fainting"]}
    for sent in (sign, FEVER):
        assert coach.post("/v1/check-ins", json=sent).status_code == 201
    page = coach_browser.get("/coach/")
    assert names(page) == ["a-05", "a-04", "a-03"]
    counted = "1 with a warning sign 1 rest 1 not checked in"
    assert counted in read(page)
    answer = coach.get("/v1/morning").json
    places = [(one["athlete_id"], one["place"]) for one in answer["athletes"]]
    assert places == [("a-05", "warning-sign"), ("a-04", "rest"), ("a-03", "not-checked-in")]


def test_what_changed_since_the_last_look_is_marked(
    coach_browser: Client, coach: Client, clock: Clock
) -> None:
    coach.post("/v1/check-ins", json=SORE)
    assert "New since" not in read(coach_browser.get("/coach/")), "nobody has looked before"
    clock.set("2026-03-09T07:30:00+01:00")
    coach.post("/v1/check-ins", json=SORE | {"soreness": {"quadriceps": 0}, "last_trained": {}})
    coach.post("/v1/check-ins", json=FEVER)
    for _ in range(2):
        text = read(coach_browser.get("/coach/"))
        assert "New since 06:45: 2" in text, "loading the page again makes nothing old"
    assert "new, was: Swap to low-damage work" in text
    clock.set("2026-03-09T07:40:00+01:00")
    assert "Nothing new since 07:30" in read(coach_browser.get("/coach/"))
    answer = coach.get("/v1/morning?since=2026-03-09T06:45:00%2B01:00").json
    new = {one["athlete_id"]: one["verdict_before"] for one in answer["athletes"] if one["is_new"]}
    assert new == {"a-03": "swap-to-low-damage", "a-04": None}


def test_what_is_read_out_says_what_to_do_and_never_why(
    coach_browser: Client, coach: Client, checked_in: dict[str, dict[str, Any]]
) -> None:
    said = coach.get("/v1/morning", headers={"Accept": "text/plain"}).text
    assert said.startswith("Train as planned: Lena. Mara: Within limits: at most 50 % of the usual")
    assert said.endswith("Rest today: Tomo.")
    assert not re.search("fever|sore|growth|ill", said, re.IGNORECASE)
    assert said in read(coach_browser.get("/coach/"))
    german = coach.get("/v1/morning?format=txt&lang=de").text
    assert german.endswith("Heute Ruhe: Tomo.")


def test_a_group_can_be_chosen(
    coach_browser: Client, coach: Client, checked_in: dict[str, dict[str, Any]]
) -> None:
    coach.put("/v1/groups/legs", json={"name": "Legs first", "athletes": ["a-03", "a-05"]})
    page = coach_browser.get("/coach/?group=legs")
    assert names(page) == ["a-03", "a-05"]
    assert '<option value="legs" selected>Legs first</option>' in page.text
    answer = coach.get("/v1/morning?group=legs").json
    assert [one["athlete_id"] for one in answer["athletes"]] == ["a-03", "a-05"]
    assert coach.get("/v1/morning?group=arms").status_code == 404


def test_all_that_the_advice_says_of_the_day_stands_there(
    coach_browser: Client, checked_in: dict[str, dict[str, Any]]
) -> None:
    page = coach_browser.get("/coach/")
    text = read(page)
    for advice in checked_in.values():
        assert advice["headline"] in text
        assert advice["reason"] in text
        assert advice["caution"] in text
        assert all(note["caution"] in text for note in advice["notes"])
        assert f'href="/coach/advice/{advice["advice_id"]}"' in page.text
        if advice["rule"]:
            assert f"Why: {advice['rule']['title']}" in text


def test_each_block_has_its_line(coach_browser: Client, coach: Client) -> None:
    both = EXAMPLE["plan"] + [
        {"goal": "hypertrophy", "muscle_groups": ["chest"]},
        {"goal": "mobility"},
    ]
    coach.post("/v1/check-ins", json=SORE | {"plan": both, "soreness": {"quadriceps": 5}})
    text = read(coach_browser.get("/coach/"))
    assert "Growth work (chest): Train as planned." in text
    assert "Mobility: Train as planned." in text


def test_the_muscle_groups_of_a_block_share_a_line(coach_browser: Client, coach: Client) -> None:
    plan = [{"goal": "hypertrophy", "muscle_groups": ["chest", "lats", "biceps"]}]
    sore = {"chest": 4, "lats": 5, "biceps": 4}
    day = {"athlete_id": "a-03", "date": "2026-03-09", "plan": plan, "soreness": sore}
    coach.post("/v1/check-ins", json=day)
    text = read(coach_browser.get("/coach/"))
    assert "Growth work (chest, lats and biceps): Swap to low-damage work." in text
    assert "Instead: steady endurance, cycling, 30 min" in text


def test_very_sore_muscles_come_with_what_to_heed_whatever_decides(
    coach_browser: Client, coach: Client
) -> None:
    plan = [{"goal": "hypertrophy", "muscle_groups": ["chest", "quadriceps"]}]
    pain = [{"where": "left knee", "kind": "joint", "muscle_groups": ["quadriceps"]}]
    day = {"athlete_id": "a-03", "date": "2026-03-09", "plan": plan, "pain": pain}
    coach.post("/v1/check-ins", json=day | {"soreness": {"chest": 9}, "warning_signs": []})
    assert "tea- or cola-coloured urine" in read(coach_browser.get("/coach/"))


def test_who_has_not_checked_in_is_named_with_how_long_ago_they_did(
    coach_browser: Client, coach: Client, clock: Clock
) -> None:
    coach.post("/v1/check-ins", json={"athlete_id": "a-03", "date": "2026-03-08", "plan": []})
    coach.post("/v1/check-ins", json={"athlete_id": "a-04", "date": "2026-03-05", "plan": []})
    text = read(coach_browser.get("/coach/"))
    assert "3 not checked in" in text
    assert "Mara Last checked in yesterday (Sun 8 March)." in text
    assert "Tomo Last checked in 4 days ago (Thu 5 March)." in text
    assert "Lena Sun 8 Has never checked in." in text
    assert "Check in for Mara" in text


def test_today_is_each_athletes_own(
    coach_browser: Client, checked_in: dict[str, dict[str, Any]]
) -> None:
    text = read(coach_browser.get("/coach/"))
    assert "This morning Mon 9 March" in text
    assert "Lena Sun 8 Train as planned" in text
    assert "not checked in" not in text.partition("Filter")[0]


def test_one_date_can_be_chosen_for_all(
    coach_browser: Client, checked_in: dict[str, dict[str, Any]]
) -> None:
    text = read(coach_browser.get("/coach/?date=2026-03-09"))
    assert "The morning of Mon 9 March" in text
    assert "1 not checked in" in text
    assert "Lena Last checked in yesterday (Sun 8 March)." in text


@pytest.mark.parametrize(
    ("query", "shown"),
    [
        ("place=rest", ["a-04"]),
        ("place=train-as-planned", ["a-05"]),
        ("place=not-checked-in", []),
        ("goal=steady-endurance", ["a-05"]),
        ("muscle_group=quadriceps&goal=hypertrophy", ["a-04", "a-03"]),
        ("muscle_group=calves&goal=hypertrophy", []),
        ("rule=illness-fever", ["a-04"]),
        ("name=MA", ["a-03"]),
        ("name=a-05", ["a-05"]),
        ("name=a-0", []),
        ("place=rest&name=mara", []),
    ],
)
def test_a_choice_shows_those_whom_it_fits(
    coach_browser: Client, checked_in: dict[str, dict[str, Any]], query: str, shown: list[str]
) -> None:
    verdicts = [checked_in[athlete]["verdict"] for athlete in ("a-03", "a-04", "a-05")]
    assert verdicts == ["swap-to-low-damage", "rest", "train-as-planned"]
    page = coach_browser.get(f"/coach/?{query}")
    assert page.status_code == 200
    assert names(page) == shown
    assert f"{len(shown)} of 3 athletes" in read(page) or not shown
    assert shown or "Nobody fits this." in read(page)


def test_the_form_remembers_what_was_chosen(
    coach_browser: Client, checked_in: dict[str, dict[str, Any]]
) -> None:
    text = coach_browser.get(
        "/coach/?place=rest&rule=illness-fever&date=2026-03-09&name=%22%3Eo"
    ).text
    assert '<option value="rest" selected>' in text
    assert '<option value="illness-fever" selected>' in text
    assert 'name="date" value="2026-03-09"' in text
    assert 'value="&#34;&gt;o"' in text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("date=09.03.2026", "Date: 09.03.2026 is not a date. Write year, month and day"),
        ("date=2026-02-30", "Date: 2026-02-30 is not a date."),
        ("place=sleep", "Verdict: sleep is not one of the choices"),
        ("muscle_group=neck", "Muscle group: neck is not one of the choices"),
        ("goal=fame", "Goal: fame is not one of the choices"),
    ],
)
def test_a_choice_that_cannot_be_is_named_and_left_out(
    coach_browser: Client, checked_in: dict[str, dict[str, Any]], query: str, said: str
) -> None:
    page = coach_browser.get(f"/coach/?{query}")
    field = query.partition("=")[0]
    assert page.status_code == 422
    assert said in read(page)
    assert f'id="fault-{field}"' in page.text
    assert 'aria-invalid="true"' in page.text
    assert len(names(page)) == 3


def test_without_a_squad_the_page_says_so(
    coach_browser: Client, store: Store, squad: tuple[Athlete, ...]
) -> None:
    store.write(lambda transaction: [transaction.athletes.delete(athlete.id) for athlete in squad])
    assert "There are no athletes yet." in read(coach_browser.get("/coach/"))


def test_a_name_is_text_whatever_stands_in_it(coach_browser: Client, store: Store) -> None:
    strange = Athlete("a-99", "<script>alert(1)</script>", "UTC")
    store.write(lambda transaction: transaction.athletes.put(strange))
    text = coach_browser.get("/coach/").text
    assert "<script" not in text
    assert "&lt;script&gt;" in text


def test_the_sheet_holds_the_same_in_the_same_order(
    coach_browser: Client, checked_in: dict[str, dict[str, Any]]
) -> None:
    page = coach_browser.get("/coach/?muscle_group=quadriceps")
    address = re.search(r'href="(/coach/squad.csv[^"]*)"', page.text)
    assert address is not None
    answer = coach_browser.get(unescape(address[1]))
    assert answer.mimetype == "text/csv"
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [row["athlete_id"] for row in rows] == names(page)
    for row in rows:
        assert row["reason"].startswith(checked_in[row["athlete_id"]]["reason"])


def test_the_sheet_names_who_has_not_checked_in(coach_browser: Client) -> None:
    rows = list(csv.DictReader(io.StringIO(coach_browser.get("/coach/squad.csv").text)))
    assert [row["verdict"] for row in rows] == ["", "", ""]
    assert all("There is no check-in" in row["problem"] for row in rows)


@pytest.mark.parametrize("strange", ["endpoint=x", "_scheme=javascript&_external=1", "_method=x"])
def test_nothing_strange_in_the_address_leads_elsewhere(
    coach_browser: Client, strange: str
) -> None:
    page = coach_browser.get(f"/coach/?date=2026-03-09&{strange}")
    assert page.status_code == 200
    assert 'href="/coach/squad.csv?date=2026-03-09"' in page.text


def test_who_answered_nothing_on_what_stops_training_is_told_so(
    coach_browser: Client, coach: Client
) -> None:
    unasked = {name: value for name, value in READY.items() if name not in ASKED}
    coach.post("/v1/check-ins", json=unasked)
    assert "Not answered: warning signs, pain and illness." in read(coach_browser.get("/coach/"))


def test_a_sheet_of_no_date_is_refused(coach_browser: Client) -> None:
    answer = coach_browser.get("/coach/squad.csv?date=soon")
    assert answer.status_code == 422
    assert "soon is not a date" in read(answer)


def test_the_store_is_asked_as_often_for_many_as_for_few(
    coach_browser: Client, store: Store
) -> None:
    """Whatever the squad's size: with 300 athletes the page is still there at once."""
    many = [Athlete(f"b-{n:03}", f"B {n}", "UTC") for n in range(300)]
    store.write(lambda transaction: [transaction.athletes.put(athlete) for athlete in many])
    page = coach_browser.get("/coach/")
    assert "303 not checked in" in read(page)


def test_nobody_trains_unasked_and_a_day_off_is_no_training(
    coach_browser: Client, coach: Client
) -> None:
    alone = {"date": "2026-03-09", "hrv_rmssd_ms": 60, "plan": []}
    assert coach.post("/v1/check-ins", json=alone | {"athlete_id": "a-03"}).status_code < 300
    answered = alone | ASKED | {"athlete_id": "a-04"}
    assert coach.post("/v1/check-ins", json=answered).status_code < 300
    page = read(coach_browser.get("/coach/"))
    assert "Please check in: the questions on pain, illness and warning signs are open." in page
    assert "Day off: Tomo." in page
    assert "Train as planned: " not in page
