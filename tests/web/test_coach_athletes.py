"""The coach's pages of athletes and groups: all that can be done over HTTP, in a browser."""

from __future__ import annotations

import html
import io
from typing import Any

from dawnrule.schemas.athlete import ATHLETE, CompetitionSchema, PlanPhaseSchema
from tests.conftest import Client
from tests.web.coach_forms import fault, send

MINA: dict[str, Any] = {
    "name": "Mina",
    "time_zone": "Europe/Berlin",
    "date_of_birth": "2004-02-29",
    "training_status": "novice",
    "language": "de",
    "body_mass_kg": "61,5",
    "fields": {
        "competitions/0/date": "2026-04-18",
        "competitions/0/rank": "main",
        "competitions/0/starts_at": "10:30",
        "competitions/0/name": "Spring run",
        "phases/1/from": "2026-04-11",
        "phases/1/until": "2026-04-18",
        "phases/1/phase": "taper",
    },
}


def test_all_that_can_be_known_of_an_athlete_is_entered_and_changed(
    coach_browser: Client, coach: Client
) -> None:
    coach.put("/v1/groups/team", json={"name": "Team", "athletes": []})
    added = send(coach_browser, "/coach/athletes", **MINA | {"groups": "team"})
    assert added.status_code == 303
    assert "Added: Mina." in coach_browser.get(added.headers["Location"]).text
    of_mina = {
        "athlete_id": "a-06",
        "name": "Mina",
        "time_zone": "Europe/Berlin",
        "date_of_birth": "2004-02-29",
        "training_status": "novice",
        "language": "de",
        "body_mass_kg": 61.5,
        "competitions": [
            {
                "date": "2026-04-18",
                "starts_at": "2026-04-18T10:30:00+02:00",
                "rank": "main",
                "name": "Spring run",
            }
        ],
        "phases": [{"from": "2026-04-11", "until": "2026-04-18", "phase": "taper"}],
    }
    told = coach.get("/v1/athletes/a-06").json
    assert told == of_mina
    assert told["competitions"][0]["name"] == "Spring run"
    assert coach.get("/v1/groups/team").json["athletes"] == ["a-06"]
    page = "/coach/athletes/a-06/change"
    shown = coach_browser.get(page).text
    for text in ("61.5", "2004-02-29", "10:30", "Spring run", "2026-04-11"):
        assert f'value="{text}"' in shown, text
    send(coach_browser, page, name="Mina K.", time_zone="Asia/Tokyo")
    bare = {"athlete_id": "a-06", "name": "Mina K.", "time_zone": "Asia/Tokyo"}
    assert coach.get("/v1/athletes/a-06").json == bare
    assert coach.get("/v1/groups/team").json["athletes"] == []


def test_what_is_wrong_stands_beside_its_field_and_nothing_is_lost(
    coach_browser: Client, coach: Client
) -> None:
    wrong = MINA | {"time_zone": "Atlantis", "body_mass_kg": "light", "athlete_id": "a-03"}
    refused = send(coach_browser, "/coach/athletes", **wrong)
    assert refused.status_code == 422
    assert fault(refused.text, "body_mass_kg").startswith("Must be a number from 20 to 300")
    assert "Europe/Berlin" in fault(refused.text, "time_zone")
    assert 'value="Mina"' in refused.text
    taken = send(coach_browser, "/coach/athletes", **MINA | {"athlete_id": "a-03"})
    assert "a-03 is taken" in fault(taken.text, "athlete_id")
    backwards = MINA["fields"] | {"phases/1/until": "2026-04-01"}
    phases = send(coach_browser, "/coach/athletes", **MINA | {"fields": backwards})
    assert phases.status_code == 422
    assert len(coach.get("/v1/athletes").json["athletes"]) == 3


def test_an_athlete_is_erased_only_when_the_coach_is_sure(
    coach_browser: Client, coach: Client
) -> None:
    page = "/coach/athletes/a-05/change"
    assert send(coach_browser, page, f"{page[:-7]}/erase").status_code == 422
    assert coach.get("/v1/athletes/a-05").status_code == 200
    erased = send(coach_browser, page, f"{page[:-7]}/erase", sure="yes")
    assert "Erased" in coach_browser.get(erased.headers["Location"]).text
    assert coach.get("/v1/athletes/a-05").status_code == 404
    send(coach_browser, "/coach/athletes", **MINA)
    assert coach.get("/v1/athletes/a-05").status_code == 404, "an id of somebody erased stays free"


LIST = "Squad 2026\n\nName;Born;Zone;Status;Shoe\nMina;17.5.2004;Europe/Berlin;new to training;39\n"


def test_a_pasted_list_is_looked_over_before_anybody_is_added(
    coach_browser: Client, coach: Client
) -> None:
    coach.put("/v1/groups/team", json={"name": "Team", "athletes": ["a-03"]})
    pasted = LIST + "Mara;;;;\nOdd;31.2.2004;Atlantis;;\n"
    page = send(coach_browser, "/coach/add-athletes", list=pasted).text
    assert 'value="2004-05-17"' in page
    assert "Shoe" in page
    assert "the name is there already" in page
    assert fault(page, "rows/2/date_of_birth")
    assert fault(page, "rows/2/time_zone")
    assert len(coach.get("/v1/athletes").json["athletes"]) == 3
    rows = {
        "rows/0/name": "Mina",
        "rows/0/time_zone": "Europe/Berlin",
        "rows/1/name": "Mara",
        "rows/1/leave_out": "yes",
        "rows/2/name": "Odd",
        "rows/2/time_zone": "Atlantis",
    }
    refused = send(coach_browser, "/coach/add-athletes", step="add", group="team", fields=rows)
    assert refused.status_code == 422
    assert len(coach.get("/v1/athletes").json["athletes"]) == 3
    mended = rows | {"rows/2/time_zone": "oslo"}
    send(coach_browser, "/coach/add-athletes", step="add", group="team", fields=mended)
    names = {one["athlete_id"]: one["name"] for one in coach.get("/v1/athletes").json["athletes"]}
    assert (names["a-06"], names["a-07"], len(names)) == ("Mina", "Odd", 5)
    assert coach.get("/v1/athletes/a-07").json["time_zone"] == "Europe/Oslo"
    assert coach.get("/v1/groups/team").json["athletes"] == ["a-03", "a-06", "a-07"]


def test_an_uploaded_file_is_read_and_what_is_no_list_is_said(coach_browser: Client) -> None:
    file = (io.BytesIO(b"Mina\nOdd\n"), "squad.csv")
    assert 'value="Odd"' in send(coach_browser, "/coach/add-athletes", file=file).text
    for nothing in ({"list": " "}, {"file": (io.BytesIO(b"%PDF-1.7"), "squad.pdf")}):
        refused = send(coach_browser, "/coach/add-athletes", **nothing)
        assert (refused.status_code, bool(fault(refused.text, "list"))) == (422, True)


def test_a_group_is_made_filled_renamed_and_removed(coach_browser: Client, coach: Client) -> None:
    send(coach_browser, "/coach/groups", name="Legs first", athletes=["a-03", "a-04"])
    assert "Mara, Tomo" in coach_browser.get("/coach/groups").text
    taken = send(coach_browser, "/coach/groups", name="legs first")
    assert "already" in fault(taken.text, "name")
    assert fault(send(coach_browser, "/coach/groups", name=" ").text, "name")
    send(coach_browser, "/coach/groups/g-01", name="Beginners", athletes=["a-05"])
    told = coach.get("/v1/groups").json["groups"]
    assert told == [{"group_id": "g-01", "name": "Beginners", "athletes": ["a-05"]}]
    send(coach_browser, "/coach/groups/g-01", "/coach/groups/g-01/remove")
    assert coach.get("/v1/groups").json["groups"] == []


def test_the_form_has_a_control_for_all_that_can_be_known(coach_browser: Client) -> None:
    page = coach_browser.get("/coach/athletes").text
    nested = {"competitions": CompetitionSchema, "phases": PlanPhaseSchema}
    for name in ATHLETE.fields:
        inner = nested[name]().fields if name in nested else {}
        names = [f"{name}/0/{one.data_key or key}" for key, one in inner.items()] or [name]
        for control in names:
            assert f'name="{control}"' in page, control


def test_a_date_or_word_of_a_list_that_is_unclear_is_asked_about(coach_browser: Client) -> None:
    rows = "Name,Born,Status,Kg\nMina,30/02/2002,beginner,62kg\nOdd,07/08/98,,\nPia,17.5.98,,\n"
    page = html.unescape(send(coach_browser, "/coach/add-athletes", list=rows).text)
    assert fault(page, "rows/0/date_of_birth").startswith("There is no such day as 30/02/2002.")
    asked = fault(page, "rows/1/date_of_birth")
    assert asked == (
        "Is that Wed 8 July 1998 or Fri 7 August 1998? Write 1998-07-08 or 1998-08-07."
    )
    assert "new to training; trained; advanced" in fault(page, "rows/0/training_status")
    assert 'id="fault-rows-0-body_mass_kg"' not in page
    assert 'value="1998-05-17"' in page
