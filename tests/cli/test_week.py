"""``dawnrule week``: a week that the rules let through."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar

from dawnrule.cli import week as command
from dawnrule.model.entities import Athlete
from dawnrule.store import Group, Store
from tests.cli.terminal import typed
from tests.factories import KIM, NOW
from tests.sheet.made_sheets import ods_of, xlsx_of

CLIENTS = Path(__file__).parents[2] / "clients_demo"
AVA_IN_NEW_YORK = Athlete("a-09", "Ava", "America/New_York")

ORDER: dict[str, Any] = {
    "athlete_id": KIM.id,
    "from": "2026-03-09",
    "windows": [
        {"weekdays": ["monday", "wednesday", "friday"], "begins": "18:00", "ends": "19:00"}
    ],
    "wishes": [
        {
            "name": "Legs",
            "times": 3,
            "minutes": 60,
            "blocks": [{"goal": "hypertrophy", "muscle_groups": ["quadriceps"], "sets": 4}],
        }
    ],
}


@pytest.fixture
def db(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(command, "now", lambda: NOW)
    with Store.open(tmp_path / "squad.db") as store:
        store.write(lambda transaction: transaction.athletes.put(KIM))
    return tmp_path / "squad.db"


def week(db: Path, order: Any, *words: str) -> Any:
    file = db.with_name("week.json")
    file.write_text(json.dumps(order), encoding="utf-8")
    return typed("week", str(file), "--db", db, *words)


def test_a_page_to_read_shows_each_session_with_what_lets_it_through(db: Path) -> None:
    shown = week(db, ORDER).stdout.splitlines()
    instead = "    If the morning says no: "
    assert [one for one in shown if one.startswith(instead)] == [
        f"{instead}steady endurance, swimming, 30 min, effort up to 3 of 10."
    ] * 3
    assert [one for one in shown if not one.startswith(instead)] == [
        "a-01",
        "  Mon 9 March, 18:00: Legs, 60 min.",
        "  Wed 11 March, 18:00: Legs, 60 min. Quadriceps: 48 h since growth work, 1 over.",
        "  Fri 13 March, 18:00: Legs, 60 min. Quadriceps: 48 h since growth work, 1 over.",
    ]


def test_a_sheet_has_a_row_for_each_session(db: Path) -> None:
    heading, first, *_ = week(db, ORDER, "--format", "csv").stdout.splitlines()
    assert heading == "athlete_id,starts_at,minutes,session,goals,muscle_groups"
    assert first == "a-01,2026-03-09T18:00+01:00,60,Legs,hypertrophy,quadriceps"


def test_json_holds_all_that_the_interface_tells(db: Path) -> None:
    [told] = json.loads(week(db, ORDER, "--format", "json").stdout)["weeks"]
    assert (len(told["sessions"]), told["unplaced"], told["complete"]) == (3, [], True)


def test_what_cannot_be_meant_is_named_with_its_place(db: Path) -> None:
    result = week(db, ORDER | {"windows": []})
    assert result.exit_code == 1
    assert "windows" in result.stderr


SHEET = """\
row,athlete,date,days,name,weekdays,begins,ends,times,minutes,goal,muscle_groups,sets
week,Kim,2026-03-09,,,,,,,,,,
window,,,,,"Mon-Wed, Fr",18:00,20:00,,,,,
wish,,,,Legs,,,,2,60,hypertrophy,quadriceps,4
wish,,,,Legs,,,,,,strength,chest,3
fixed,,2026-03-14,,Practice,,10:00,,,90,skill,,
"""


def week_of_sheet(db: Path, sheet: str | bytes, *words: str) -> Any:
    file = db.with_name("week.sheet")
    file.write_bytes(sheet if isinstance(sheet, bytes) else sheet.encode())
    return typed("week", str(file), "--db", db, *words)


def test_a_sheet_says_the_same_as_json(db: Path) -> None:
    [told] = json.loads(week_of_sheet(db, SHEET, "--format", "json").stdout)["weeks"]
    shown = [(one["name"], one["starts_at"], one["fixed"]) for one in told["sessions"]]
    assert shown == [
        ("Legs", "2026-03-09T18:00:00+01:00", False),
        ("Legs", "2026-03-13T18:00:00+01:00", False),
        ("Practice", "2026-03-14T10:00:00+01:00", True),
    ]
    legs = told["sessions"][0]["blocks"]
    assert [(one["goal"], one["muscle_groups"], one["sets"]) for one in legs] == [
        ("hypertrophy", ["quadriceps"], 4),
        ("strength", ["chest"], 3),
    ]


@pytest.mark.parametrize("written", [xlsx_of, ods_of])
def test_a_workbook_is_read_as_the_sheet_is(db: Path, written: Callable[[Any], bytes]) -> None:
    rows = [
        [int(cell) if cell.isdigit() else cell for cell in row]
        for row in csv.reader(SHEET.splitlines())
    ]
    told = week_of_sheet(db, written(rows), "--format", "csv").stdout
    assert told == week_of_sheet(db, SHEET, "--format", "csv").stdout != ""


def test_what_a_sheet_cannot_mean_is_named_with_its_cell(db: Path) -> None:
    faulty = SHEET.replace("18:00,", "six,").replace("hypertrophy", "growing")
    result = week_of_sheet(db, faulty + "holiday,,,,,,,,,,,,\nwindow,,,,,Mon,17:00,18:00,,,,,5\n")
    assert result.exit_code == 1
    assert all(cell in result.stderr for cell in ("(G3)", "(A7)", "(M8)"))
    assert "(N4)" in week_of_sheet(db, SHEET.replace("quadriceps,4", "quadriceps,4,easy")).stderr
    assert "(K4)" in week_of_sheet(db, SHEET.replace("hypertrophy", "growing")).stderr
    assert "(J4)" in week_of_sheet(db, SHEET.replace(",60,", ",-1,")).stderr


def test_a_journey_of_a_sheet_keeps_sessions_off_the_way(db: Path) -> None:
    away = (
        SHEET.replace("sets\n", "sets,arrives\n")
        + "travel,,2026-03-09,,,,06:00,21:00,,,,,,2026-03-11\n"
    )
    starts = week_of_sheet(db, away, "--format", "csv").stdout
    assert starts.splitlines()[1].startswith("a-01,2026-03-13T")


def test_a_column_without_a_meaning_is_not_dropped(db: Path) -> None:
    assert "Colour (C1)" in week_of_sheet(db, SHEET.replace(",date,", ",Colour,", 1)).stderr


def test_a_calendar_shows_each_session_on_the_athletes_clock_and_keeps_its_events(db: Path) -> None:
    told = week_of_sheet(db, SHEET, "--format", "ics").stdout
    calendar = Calendar.from_ical(told)
    events = list(calendar.walk("VEVENT"))
    assert [(str(one["summary"]), one.decoded("dtstart").isoformat()) for one in events] == [
        ("Legs", "2026-03-09T18:00:00+01:00"),
        ("Legs", "2026-03-13T18:00:00+01:00"),
        ("Practice", "2026-03-14T10:00:00+01:00"),
    ]
    moved = week_of_sheet(
        db, SHEET.replace("Mon-Wed, Fr", "Tue-Wed, Sat"), "--format", "ics"
    ).stdout
    uids = [
        {str(one["uid"]) for one in Calendar.from_ical(text).walk("VEVENT")}
        for text in (told, moved)
    ]
    assert len(uids[0]) == len(events)
    assert uids[0] == uids[1]


def test_a_time_that_is_fixed_for_a_group_is_refused_where_its_members_clocks_differ(
    db: Path,
) -> None:
    with Store.open(db) as store:
        store.write(lambda transaction: transaction.athletes.put(AVA_IN_NEW_YORK))
        store.write(
            lambda transaction: transaction.groups.put(Group("all", "All", (KIM.id, "a-09")))
        )
    sheet = SHEET.replace(",days,", ",group,").replace(
        "week,Kim,2026-03-09,", "week,,2026-03-09,all"
    )
    refused = week_of_sheet(db, sheet)
    assert refused.exit_code == 1
    assert "Ava (America/New_York)" in refused.stderr
    windows_only = "".join(line for line in sheet.splitlines(True) if "Practice" not in line)
    starts = week_of_sheet(db, windows_only, "--format", "csv").stdout
    assert "2026-03-09T18:00+01:00" in starts
    assert "2026-03-09T18:00-04:00" in starts


def test_the_example_sheet_is_read(db: Path) -> None:
    with Store.open(db) as store:
        store.write(lambda transaction: transaction.athletes.put(replace(KIM, id="a-03")))
    told = week_of_sheet(db, (CLIENTS / "spreadsheet/week.csv").read_bytes()).stdout
    assert "Sat 14 March, 15:00: Match, 90 min." in told
