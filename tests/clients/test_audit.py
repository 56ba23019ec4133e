"""The audit client: the numbers, the rule and its source on one page."""

from __future__ import annotations

from typing import Any

import pytest
import requests

from tests.clients.conftest import PATIENCE_SECONDS, TODAY, Ask, Run
from tests.conftest import LiveServer

SCRIPT = "audit/why.py"
COLUMNS = 80

CHECK_IN: dict[str, Any] = {
    "athlete_id": "a-03",
    "date": TODAY,
    "sleep": {"hours": 5.5},
    "soreness": {"quadriceps": 1},
    "last_trained": {"quadriceps": {"at": "2026-03-08T12:00:00+01:00", "goal": "hypertrophy"}},
    "warning_signs": [],
    "plan": [
        {
            "goal": "hypertrophy",
            "muscle_groups": ["quadriceps"],
            "modality": "free-weights",
            "starts_at": "2026-03-09T18:00:00+01:00",
        }
    ],
}


@pytest.fixture
def advice(live_server: LiveServer) -> dict[str, Any]:
    """Return the advice on growth work of the quadriceps, 30 hours after growth work of them."""
    return post(live_server, CHECK_IN)


def post(live_server: LiveServer, check_in: dict[str, Any]) -> dict[str, Any]:
    response = requests.post(
        f"{live_server.base_url}/v1/check-ins",
        json=check_in,
        headers={"Authorization": f"Bearer {live_server.keys['poster']}"},
        timeout=PATIENCE_SECONDS,
    )
    answer: dict[str, Any] = response.json()
    return answer


def page(done: Any) -> list[str]:
    assert (done.returncode, done.stderr) == (0, "")
    return [line.strip() for line in done.stdout.splitlines()]


def section(page: list[str], heading: str) -> list[str]:
    """Return the lines under a heading, up to the next blank one."""
    rest = page[page.index(heading) + 2 :]
    return rest[: rest.index("")] if "" in rest else rest


def test_the_page_tells_the_verdict_and_the_rule_set_to_the_digit(
    run: Run, advice: dict[str, Any]
) -> None:
    shown = page(run(SCRIPT, "a-03", TODAY))
    assert shown[0] == f"a-03 on {TODAY}: swap-to-low-damage"
    assert "deciding rule    growth-work-too-soon" in shown
    assert f"advice           {advice['advice_id']}" in shown
    assert "evaluated again  the same" in shown
    assert advice["rule_set"]["digest"] in shown


def test_the_page_shows_what_was_reported_and_what_was_not(
    run: Run, advice: dict[str, Any]
) -> None:
    reported = section(page(run(SCRIPT, "a-03", TODAY)), "What was reported")
    result = [line.split(maxsplit=1) for line in reported]
    assert ["sleep.hours", "5.5"] in result
    assert ["soreness.quadriceps", "1"] in result
    assert ["plan.0.muscle_groups", "quadriceps"] in result
    assert ["warning_signs", "none"] in result
    _, _, not_reported = " ".join(reported).partition("not reported")
    assert "hrv_rmssd_ms" in not_reported
    assert "sleep_hours" not in not_reported


def test_the_page_shows_each_condition_with_value_threshold_and_source(
    run: Run, advice: dict[str, Any]
) -> None:
    fired = section(page(run(SCRIPT, "a-03", TODAY)), "Rules that applied: [x] holds, [ ] does not")
    at = fired.index("growth-work-too-soon: Growth work before the muscle has had two days")
    assert fired[at + 1 : at + 6] == [
        "swap-to-low-damage for block 0, quadriceps, and decided there",
        "[x] all",
        "[x] growth-like",
        "[x] any",
        "[x] all",
    ]
    assert "[x] goal: hypertrophy (is hypertrophy)" in fired[at:]
    assert "[x] hours_since_growth_work: 30 (below 47)" in fired[at:]
    assert "Source (common-practice): common practice, no source" in fired[at:]
    assert any(line.startswith("Wrong when: ") for line in fired[at:])


def test_the_page_shows_what_one_number_stood_in_the_way_of(
    run: Run, advice: dict[str, Any]
) -> None:
    near = section(page(run(SCRIPT, "a-03", TODAY)), "One number stood in the way of these")
    assert "growth-work-soreness for block 0, quadriceps: soreness 1 (at least 3)" in near
    assert "sleep-very-short-day for the day: sleep 5.5 h (below 4 h)" in near


def test_the_page_fits_eighty_columns(run: Run, advice: dict[str, Any]) -> None:
    lines = run(SCRIPT, "a-03", TODAY).stdout.splitlines()
    assert max(map(len, lines)) <= COLUMNS


def test_an_advice_can_be_asked_for_by_its_id(run: Run, advice: dict[str, Any]) -> None:
    by_id = run(SCRIPT, "--advice", advice["advice_id"])
    assert by_id.returncode == 0
    assert by_id.stdout == run(SCRIPT, "a-03", TODAY).stdout


def test_advice_that_was_superseded_says_by_which(
    run: Run, live_server: LiveServer, advice: dict[str, Any]
) -> None:
    later = post(live_server, CHECK_IN | {"warning_signs": ["dark-urine"]})
    shown = page(run(SCRIPT, "--advice", advice["advice_id"]))
    assert shown[0] == f"a-03 on {TODAY}: swap-to-low-damage"
    assert f"superseded by    {later['advice_id']}" in shown
    assert page(run(SCRIPT, "a-03"))[0] == f"a-03 on {TODAY}: rest"


def test_a_day_on_which_nothing_fired_has_a_page_too(run: Run, live_server: LiveServer) -> None:
    post(live_server, {"athlete_id": "a-04", "date": TODAY, "illness": "none", "plan": []})
    shown = page(run(SCRIPT, "a-04", TODAY))
    assert section(shown, "Rules that applied: [x] holds, [ ] does not") == ["none"]
    assert section(shown, "One number stood in the way of these") == ["none"]


def test_a_date_without_a_check_in_has_no_page(run: Run, ask: Ask) -> None:
    done = run(SCRIPT, "a-03", TODAY)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == "There is no advice for that date: no check-in came.\n"


def test_one_asks_by_athlete_or_by_advice(run: Run) -> None:
    assert run(SCRIPT).returncode == 2
    assert run(SCRIPT, "a-03", "--advice", "id-0001").returncode == 2


def test_an_address_without_its_beginning_is_told_in_one_line(run: Run) -> None:
    done = run(SCRIPT, "a-03", url="127.0.0.1:8080")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "--url must begin with http:// or https://, like http://127.0.0.1:8080\n"
