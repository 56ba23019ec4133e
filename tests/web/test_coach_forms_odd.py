"""Forms of the coach's pages with what no browser sends: an answer in words, never an error of
ours, and nothing stored."""

from __future__ import annotations

import io
from typing import Any

import pytest

from dawnrule.model.entities import Athlete
from dawnrule.store import Store
from tests.conftest import Client
from tests.effort import tries
from tests.web.coach_forms import TOKEN, send

ODD = (
    "",
    "\x00",
    "\u202e",
    "0001-01-01",
    "9999-12-31",
    "2026-02-30",
    "20260309",
    "group:nobody",
    "24:00",
    "18:00+01:00",
    "1e309",
    "9" * 400,
    '[{"goal": 1}, "25:00", 0]',
    '[{"goal": "strength", "sets": {}}, null, 0]',
    "[[], []]",
    "{{7*7}}<b>",
)
EACH = tries(4, 1)
"""A short run tries each fourth odd answer at a control, others at the next."""

FORMS: dict[str, tuple[str, ...]] = {
    "/coach/athletes": (
        *("name", "time_zone", "date_of_birth", "athlete_id", "body_mass_kg", "groups"),
        *("competitions/0/date", "competitions/0/starts_at", "phases/999/from", "phases/x/from"),
    ),
    "/coach/athletes/a-03/change": ("name", "competitions/0/date", "phases/0/until"),
    "/coach/add-athletes": ("list", "rows/0/name", "rows/0/time_zone", "step"),
    "/coach/groups": ("name", "athletes"),
    "/coach/addresses": ("who", "purpose", "label", "base"),
    "/coach/plan": (
        *("who", "week", "days", "goal", "clock", "minutes", "sets", "muscle_groups"),
        *("pattern", "effort"),
    ),
    "/coach/plan/day": ("who", "week", "days", "act", "session"),
    "/coach/plan/copy": ("who", "week", "replacing"),
    "/coach/log": (
        *("who", "day", "goal", "clock", "minutes", "effort", "there", "source"),
        *("rpe/a-03", "output/a-03", "drop/a-03"),
    ),
    "/coach/concerns": (
        *("athlete", "kind", "reason", "until", "effort_at_most", "minutes_at_most", "name"),
        *("muscle_groups_rest", "goals_not", "modalities_not"),
    ),
    "/coach/rule-sets/activate": ("rule_set", "whom", "from", "again"),
    "/coach/rule-sets/take-back": ("athlete",),
    "/coach/rule-sets/trial": ("rule_set",),
}
FILLED: dict[str, dict[str, Any]] = {
    "/coach/athletes": {"name": "Mina", "time_zone": "Europe/Berlin"},
    "/coach/athletes/a-03/change": {"name": "Mara", "time_zone": "Europe/Berlin"},
    "/coach/add-athletes": {"rows/0/name": "Mina", "rows/0/time_zone": "Oslo", "step": "add"},
    "/coach/groups": {"name": "Team"},
    "/coach/addresses": {"purpose": "check-in", "who": "athlete:a-03"},
    "/coach/plan": {"goal": "strength", "days": "2026-03-09", "who": "athlete:a-03"},
    "/coach/plan/day": {"act": "take", "days": "2026-03-09"},
    "/coach/plan/copy": {},
    "/coach/log": {"goal": "strength", "clock": "06:00", "minutes": "60", "there": "a-03"},
    "/coach/concerns": {"athlete": "a-03", "kind": "restriction", "reason": "injury"},
    "/coach/rule-sets/activate": {"rule_set": "baseline@1.2.0", "whom": "athlete:a-03"},
    "/coach/rule-sets/take-back": {},
    "/coach/rule-sets/trial": {},
}


@pytest.mark.parametrize("address", FORMS)
def test_odd_answers_are_refused_in_words(coach_browser: Client, address: str) -> None:
    token = TOKEN.search(coach_browser.get("/coach/groups").text)
    assert token is not None
    for number, control in enumerate(FORMS[address]):
        for odd in ODD[number % EACH :: EACH]:
            sent = {"csrf_token": token[1], **FILLED[address], control: odd}
            answer = coach_browser.post(address, data=sent)
            assert answer.status_code in (200, 303, 404, 409, 422), (control, odd)


def test_odd_addresses_show_today_and_everybody(coach_browser: Client) -> None:
    for odd in ODD:
        for page in ("plan", "log", "addresses", "athletes"):
            asked = dict.fromkeys(("who", "week", "day", "added", "advice", "logged"), odd)
            assert coach_browser.get(f"/coach/{page}", query_string=asked).status_code == 200, odd


def test_odd_addresses_are_answered_in_words(coach_browser: Client) -> None:
    for odd in ODD:
        for page in ("", "drifts", "concerns", "rule-sets/deciding"):
            asked = dict.fromkeys(("group", "athlete", "rule_set", "whom", "from", "since"), odd)
            answer = coach_browser.get(f"/coach/{page}", query_string=asked)
            assert answer.status_code in (200, 404, 422), (page, odd)


@pytest.mark.parametrize("data", [b"PK\x03\x04", b"\xff\xfe\x00", b'"', b"a" * 200_000])
def test_a_file_that_is_no_list_is_refused_in_words(coach_browser: Client, data: bytes) -> None:
    file = (io.BytesIO(data), "squad.xlsx")
    assert send(coach_browser, "/coach/add-athletes", file=file).status_code in (200, 422)


def test_a_time_zone_that_this_machine_lacks_keeps_nobody_else_from_being_seen(
    coach_browser: Client, coach: Client, store: Store
) -> None:
    lost = Athlete("a-99", "Lost", "Atlantis/Nowhere")
    store.write(lambda transaction: transaction.athletes.put(lost))
    session = {"goal": "skill", "clock": "05:00", "minutes": "30"}
    mara = {**session, "who": "athlete:a-03", "there": "a-03", "days": "2026-03-09"}
    for page in ("/coach/plan", "/coach/log"):
        assert send(coach_browser, page, **mara).status_code == 303
        assert coach_browser.get(page).status_code == 200
        refused = send(coach_browser, page, **mara | {"who": "athlete:a-99", "there": "a-99"})
        assert (refused.status_code, "Atlantis/Nowhere" in refused.text) == (422, True)
    for page in ("athletes", "athletes/a-99/change", "groups", "addresses"):
        assert coach_browser.get(f"/coach/{page}").status_code == 200, page
