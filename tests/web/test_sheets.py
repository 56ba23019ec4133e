"""A coach's own sheet: looked at, introduced once, and read so from then on."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest

from dawnrule.store import Store
from tests.conftest import Client
from tests.web.conftest import Stored

OWN = "Wer,Wann,Seat,Beine hinten,Sore\nMara,2026-03-09,4,3,6\n"
MEANS = {
    "Wer": "athlete_id",
    "Wann": "date",
    "Seat": "ignore",
    "Beine hinten": "soreness_hamstrings",
    "Sore": "soreness_quadriceps",
}


@pytest.fixture
def mara(coach: Client) -> None:
    """Let a-03 be called Mara."""
    body = {"name": "Mara Lind", "time_zone": "Europe/Berlin"}
    assert coach.put("/v1/athletes/a-03", json=body).status_code == 200


def post(client: Client, sheet: str, path: str = "/v1/check-ins/batch") -> Any:
    return client.post(path, data=sheet.encode(), content_type="text/csv")


def test_a_sheet_is_looked_at_with_three_values_of_each_column(coach: Client, mara: None) -> None:
    sheet = "Name,Date,Legs,Ribs\nMara,2026-03-09,8,2\nNils Arp,2026-03-09,7,1\n"
    seen = post(coach, sheet, "/v1/sheet-columns").json
    columns = {one["header"]: one for one in seen["columns"]}
    assert columns["Legs"]["meaning"] == "soreness_legs"
    assert columns["Legs"]["samples"] == ["8", "7"]
    assert (columns["Ribs"]["how"], columns["Ribs"]["proposals"]) == ("asked", ["pain_at_chest"])
    assert seen["unknown_athletes"] == ["Nils Arp"]
    assert {"ignore", "soreness_legs", "athlete_id"} <= set(seen["meanings"])


def test_a_sheet_that_is_not_understood_is_refused_with_proposals(
    poster: Client, mara: None
) -> None:
    answer = post(poster, "Name,Date,Ribs,Sore\nMara,2026-03-09,2,6\n")
    assert answer.status_code == 400
    assert [one["pointer"] for one in answer.json["errors"]] == ["/Ribs", "/Sore"]
    assert "Did you mean pain_at_chest?" in answer.json["errors"][0]["detail"]
    assert "dawnrule sheets introduce, or the page Sheets" in answer.json["detail"]


def test_an_introduced_sheet_is_read_so_whoever_posts_it(
    coach: Client, poster: Client, stored: Stored, mara: None
) -> None:
    assert post(poster, OWN).status_code == 400
    body = {"kind": "check-ins", "columns": MEANS}
    known = coach.post("/v1/sheets", json=body)
    assert known.status_code == 201
    assert coach.post("/v1/sheets", json=body).status_code == 200
    assert post(poster, OWN).json["accepted"] == 1
    assert stored().body["soreness"] == {"hamstrings": 3, "quadriceps": 6}
    [listed] = coach.get("/v1/sheets").json["sheets"]
    assert listed == known.json
    assert coach.delete(f"/v1/sheets/{listed['sheet_id']}").status_code == 204
    assert coach.delete(f"/v1/sheets/{listed['sheet_id']}").status_code == 404
    assert post(poster, OWN).status_code == 400
    acts = [one["act"] for one in coach.get("/v1/acts").json["acts"]]
    assert {"sheet-introduced", "sheet-forgotten"} <= set(acts)


def test_columns_in_another_order_are_the_same_sheet(
    coach: Client, poster: Client, mara: None
) -> None:
    coach.post("/v1/sheets", json={"kind": "check-ins", "columns": MEANS})
    turned = "Sore,Wann,Wer,Seat,Beine hinten\n6,2026-03-09,Mara,4,3\n"
    assert post(poster, turned).json["accepted"] == 1


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"Sore": "colour"}, "/columns/sore"),
        ({"Sore": "soreness_hamstrings"}, "/columns/sore"),
        ({"Wer": "ignore"}, "/columns"),
        ({"Fatigue (1-5)": "fatigue"}, "/columns/fatigue_(1_5)"),
    ],
)
def test_meanings_that_cannot_be_are_refused(
    coach: Client, store: Store, change: dict[str, str], pointer: str
) -> None:
    answer = coach.post("/v1/sheets", json={"kind": "check-ins", "columns": {**MEANS, **change}})
    assert answer.status_code == 422
    assert pointer in [one["pointer"] for one in answer.json["errors"]]
    assert store.read(lambda b: b.introduced_sheets.all()) == []


def test_athletes_may_stand_by_name_and_nobody_is_made_by_a_typing_error(
    coach: Client, poster: Client, stored: Stored, mara: None
) -> None:
    sheet = (
        "Name,Date,Legs\nmara lind,2026-03-09,8\nMara Lindt,2026-03-08,3\nNils Arp,2026-03-09,3\n"
    )
    first, near, new = post(poster, sheet).json["results"]
    assert first["outcome"] == "created"
    assert "did you mean Mara Lind (a-03)?" in near["problem"]["errors"][0]["detail"]
    assert "add them first" in new["problem"]["errors"][0]["detail"]
    assert len(coach.get("/v1/athletes").json["athletes"]) == 3


# ---- the page


def form_of(page: str) -> dict[str, str]:
    """Read a form as a browser would send it."""
    fields = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', page))
    for name, inside in re.findall(r'<select [^>]*name="([^"]+)"[^>]*>(.*?)</select>', page, re.S):
        values = re.findall(r'<option value="([^"]*)"( selected)?>', inside)
        fields[name] = next((value for value, is_chosen in values if is_chosen), values[0][0])
    return fields


def uploaded(browser: Any, sheet: str) -> Any:
    token = form_of(browser.get("/coach/sheets").text)["csrf_token"]
    file = (io.BytesIO(sheet.encode()), "own.csv")
    return browser.post(
        "/coach/sheets",
        data={"csrf_token": token, "kind": "check-ins", "file": file},
        content_type="multipart/form-data",
    )


def test_a_coach_introduces_a_sheet_in_the_browser(
    coach_browser: Any, poster: Client, mara: None
) -> None:
    page = uploaded(coach_browser, OWN)
    assert page.status_code == 200
    filled = form_of(page.text)
    assert (filled["header-0"], filled["meaning-2"]) == ("Wer", "")
    refused = coach_browser.post("/coach/sheets/introduce", data=filled)
    assert refused.status_code == 422
    assert "Say what it is" in refused.text
    headers = [filled[f"header-{place}"] for place in range(5)]
    filled |= {f"meaning-{place}": MEANS[name] for place, name in enumerate(headers)}
    done = coach_browser.post("/coach/sheets/introduce", data=filled, follow_redirects=True)
    assert "The sheet is known now." in done.text
    assert post(poster, OWN).json["accepted"] == 1
    [action] = re.findall(r'action="(/coach/sheets/[0-9a-f]{16}/forget)"', done.text)
    token = form_of(done.text)["csrf_token"]
    gone = coach_browser.post(action, data={"csrf_token": token}, follow_redirects=True)
    assert "No sheet was introduced yet." in gone.text


def test_a_file_that_is_no_sheet_is_said_on_the_page(coach_browser: Any) -> None:
    page = uploaded(coach_browser, "%PDF-1.7")
    assert page.status_code == 422
    assert "This is a PDF" in page.text
