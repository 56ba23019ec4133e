"""Who drifts: the page and the interface."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest

from dawnrule.model.entities import Athlete, CheckIn, Sleep
from dawnrule.model.serialization import to_json
from dawnrule.store import Store, StoredCheckIn, Transaction
from tests.conftest import Client
from tests.web.test_coach_morning import read

TODAY = date(2026, 3, 9)


@pytest.fixture
def mornings(store: Store, squad: tuple[Athlete, ...]) -> None:
    """Mara sleeps badly and is tired for six days; Tomo a little badly, and Lena says little."""

    def put(transaction: Transaction) -> None:
        for ago in range(34, -1, -1):
            usual = 7.0 if ago % 2 else 8.0
            tired = 7 if ago < 4 else 2
            add(transaction, "a-03", ago, 5.0 if ago < 6 else usual, tired)
            add(transaction, "a-04", ago, usual - 0.5, 2)

    store.write(put)


def add(transaction: Transaction, athlete_id: str, ago: int, hours: float, fatigue: int) -> None:
    on = TODAY - timedelta(days=ago)
    said = CheckIn(athlete_id, on, (), sleep=Sleep(hours), fatigue=fatigue, resting_hr_bpm=50)
    at = datetime.combine(on, time(6), UTC)
    stored = StoredCheckIn(f"{athlete_id}-{on}", athlete_id, on, to_json(said), at, None)
    transaction.check_ins.add(stored)


def test_each_measure_stands_for_itself_and_the_farthest_first(
    coach: Client, mornings: None
) -> None:
    athletes = coach.get("/v1/drifts").json["athletes"]
    assert athletes[0]["athlete_id"] == "a-03"
    mara = {one["measure"]: one for one in athletes[0]["standings"]}
    assert [name for name, one in mara.items() if one["drifts"]] == ["sleep_hours", "fatigue"]
    sleep = mara["sleep_hours"]
    assert sleep["recent"] == pytest.approx((6 * 5 + 8) / 7)
    assert (sleep["usual"], sleep["usual_is"], sleep["usual_mornings"]) == (7.5, "mean", 28)
    assert (sleep["days"], sleep["since"]) == (5, "2026-03-05")
    assert mara["fatigue"]["usual_is"] == "median"
    assert mara["hrv_rmssd_ms"]["recent"] is None
    assert "Vesterinen 2016" in mara["hrv_rmssd_ms"]["source"]
    assert "no source" in sleep["source"]


def test_the_page_says_how_far_and_for_how_long(coach_browser: Client, mornings: None) -> None:
    text = read(coach_browser.get("/coach/drifts"))
    assert "1 drifting" in text
    assert (
        "5.4 usual 7.5 4.1 \N{MULTIPLICATION SIGN} the usual ups and downs, 5 days, since Thu 5"
        in text
    )
    assert "As usual, or too little known: 2" in text


def test_a_group_can_be_chosen(coach_browser: Client, coach: Client, mornings: None) -> None:
    coach.put("/v1/groups/legs", json={"name": "Legs first", "athletes": ["a-04"]})
    assert "No drift is known." in read(coach_browser.get("/coach/drifts?group=legs"))
    assert len(coach.get("/v1/drifts?group=legs").json["athletes"]) == 1
    assert coach.get("/v1/drifts?group=arms").status_code == 404
    assert coach_browser.get("/coach/drifts?group=arms").status_code == 404
