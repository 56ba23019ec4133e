"""The demo: a plausible squad, and a morning that shows what the service can say."""

from __future__ import annotations

import os
import re
import shlex
import signal
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import requests
from flask import Flask

from dawnrule.cli import demo as demo_module
from dawnrule.demo.squad import Diary, Squad, invent_diaries
from dawnrule.demo.stage import Stage, _served, set_stage
from dawnrule.demo.weeks import next_monday
from dawnrule.facts.plausibility import implausible
from dawnrule.model.advice import Advice
from dawnrule.model.entities import CheckIn
from dawnrule.model.serialization import to_json
from dawnrule.schemas import load_athlete, load_check_in
from dawnrule.schemas.athlete import ATHLETE
from dawnrule.settings import Settings
from dawnrule.web.server import Server
from tests.cli.terminal import typed
from tests.warm import Forked, typed_apart

NOON = datetime(2024, 3, 11, 12, tzinfo=UTC)
WITHIN_SECONDS = 120
CURL = "  curl "
"""How a line begins that says what to try."""


@pytest.fixture(scope="module")
def diaries() -> dict[str, Diary]:
    return {diary.athlete.id: diary for diary in invent_diaries(Squad.invented(), NOON)}


@pytest.fixture(scope="module")
def stage() -> Iterator[Stage]:
    with set_stage(Settings(port=0)) as staged:
        yield staged


def test_a_squad_in_three_time_zones_has_four_weeks_behind_it(diaries: dict[str, Diary]) -> None:
    assert len(diaries) == 14
    assert len({diary.athlete.time_zone for diary in diaries.values()}) >= 3
    for diary in diaries.values():
        dates = [day.check_in.date for day in diary.past]
        today = diary.athlete.today(NOON)
        assert dates == [today - timedelta(days=ago) for ago in range(28, 0, -1)]
        assert diary.this_morning.date == today
        assert sum(day.session is not None for day in diary.past) >= 8


def test_all_that_is_invented_could_have_been_posted(diaries: dict[str, Diary]) -> None:
    for diary in diaries.values():
        assert load_athlete(ATHLETE.dump(diary.athlete)) == diary.athlete
        for check_in in (*(day.check_in for day in diary.past), diary.this_morning):
            assert load_check_in(to_json(check_in)) == check_in


def test_the_same_moment_gives_the_same_diaries(diaries: dict[str, Diary]) -> None:
    assert invent_diaries(Squad.invented(), NOON) == tuple(diaries.values())


def test_another_day_gives_the_same_squad_later(diaries: dict[str, Diary]) -> None:
    later = invent_diaries(Squad.invented(), NOON + timedelta(days=100))
    for before, after in zip(diaries.values(), later, strict=True):
        assert undated(before.this_morning) == undated(after.this_morning)


def undated(check_in: CheckIn) -> CheckIn:
    plan = tuple(replace(block, starts_at=None) for block in check_in.plan)
    return replace(check_in, date=date.min, reported_at=None, plan=plan)


@pytest.mark.parametrize("hour", range(0, 24, 3))
def test_this_morning_is_plausible_at_any_time_of_day(hour: int) -> None:
    now = NOON.replace(hour=hour, minute=1)
    for diary in invent_diaries(Squad.invented(), now):
        assert list(implausible(diary.athlete, diary.this_morning, now)) == []


def test_soreness_rises_after_growth_work_and_is_gone_on_the_fourth_morning(
    diaries: dict[str, Diary],
) -> None:
    days = diaries["a-04"].past
    growth = [
        place
        for place, day in enumerate(days)
        if day.session and day.session.blocks[0].pattern == "squat" and place + 4 < len(days)
    ]
    assert growth
    for place in growth:
        sore = [day.check_in.soreness["quadriceps"] for day in days[place + 1 : place + 5]]
        assert sore[0] >= 3
        assert sore == sorted(sore, reverse=True)
        assert sore[3] == 0


def test_nobody_trains_on_a_day_with_something_to_report(diaries: dict[str, Diary]) -> None:
    yesterday = diaries["a-05"].past[-1]
    assert (yesterday.check_in.illness, yesterday.session) == ("above-neck", None)


def test_the_morning_shows_every_verdict_and_many_rules(stage: Stage) -> None:
    decided = {one.athlete_id: (one.verdict.value, rule_of(one)) for one in stage.advice}
    assert decided == {
        "a-01": ("swap-to-low-damage", "growth-work-too-soon"),
        "a-02": ("train-as-planned", None),
        "a-03": ("swap-to-low-damage", "growth-work-soreness"),
        "a-04": ("train-as-planned", None),
        "a-05": ("rest", "illness-fever"),
        "a-06": ("swap-to-low-damage", "illness-above-neck"),
        "a-07": ("rest", "pain-not-soreness"),
        "a-08": ("rest", "warning-dark-urine"),
        "a-09": ("train-as-planned", None),
        "a-10": ("swap-to-low-damage", "sleep-very-short"),
        "a-11": ("swap-to-low-damage", "two-signs-of-strain"),
        "a-12": ("swap-to-low-damage", "endurance-on-sore-legs"),
        "a-13": ("train-as-planned", None),
        "a-14": ("train-as-planned", None),
    }


def rule_of(advice: Advice) -> str | None:
    return advice.rule.id if advice.rule else None


def test_the_squads_past_is_there_to_be_asked_for(stage: Stage) -> None:
    bearer = {"Authorization": f"Bearer {stage.coach_key}"}
    yesterday = stage.advice[0].date - timedelta(days=1)
    answer = requests.get(
        f"{stage.url}/v1/athletes/a-01/advice/{yesterday}", headers=bearer, timeout=WITHIN_SECONDS
    )
    assert (answer.status_code, answer.json()["verdict"]) == (200, "train-as-planned")


def test_the_athletes_key_opens_that_athletes_data_alone(stage: Stage) -> None:
    bearer = {"Authorization": f"Bearer {stage.athlete_key}"}
    statuses = Counter(
        requests.get(
            f"{stage.url}/v1/athletes/{athlete_id}/advice/today.txt",
            headers=bearer,
            timeout=WITHIN_SECONDS,
        ).status_code
        for athlete_id in stage.names
    )
    assert statuses == {200: 1, 404: 13}


@contextmanager
def demo(folder: Path) -> Iterator[tuple[Forked, Path]]:
    """The demo as a process of its own, and what it says."""
    folder.mkdir()
    said = folder.with_name("said")
    process = typed_apart(["demo"], said, os.environ | {"TMPDIR": str(folder)})
    try:
        yield process, said
    finally:
        process.kill()


def test_once_ends_after_the_table(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo_module, "set_stage", lambda settings: nullcontext(stage))
    told = typed("demo", "--once")
    assert (told.exit_code, told.stderr) == (0, "")
    result = told.stdout
    header, _, *lines = result.split("\n\n")[0].splitlines()
    assert [word for word in header.split() if word != "Date"] == [
        "Athlete",
        "Verdict",
        "Rule",
        "Why",
    ]
    assert len(lines) == 14
    assert "Haruki (a-08): Stop and get medical care now" in result
    assert "http" not in result


def test_it_says_what_to_try_lays_out_a_week_and_leaves_nothing_behind_when_it_is_stopped(
    tmp_path: Path,
) -> None:
    with demo(tmp_path / "temporary") as (process, said):
        offered = offered_by(process, said)
        page = signed_in_to(offered)
        assert "Haruki" in page.text
        curls = [line for line in offered.splitlines() if line.startswith(CURL)]
        assert [curled(line).status_code for line in curls] == [200, 200, 200]
        assert_next_week_is_laid_out(curls[0])
        process.send_signal(signal.SIGTERM)
        assert process.wait(WITHIN_SECONDS) == 0
    assert said.read_text(encoding="utf-8") == offered
    assert list((tmp_path / "temporary").iterdir()) == []


def test_who_is_being_answered_at_the_end_is_answered(
    app: Flask, settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    """The weeks of the squad are laid out in the background, and may be under way."""
    served = Server(app, replace(settings, threads=1))

    def answers_late(_environ: object, start: Callable[[str, list[Any]], object]) -> list[bytes]:
        time.sleep(0.2)
        start("204 No Content", [])
        return []

    served._server.application = answers_late
    with ThreadPoolExecutor(2) as clients:
        with _served(served) as port:
            url = f"http://127.0.0.1:{port}/"
            asked = [clients.submit(requests.get, url, timeout=WITHIN_SECONDS) for _ in range(2)]
            while len(served._server.active_channels) < len(asked):
                time.sleep(0.01)
        assert [one.result().status_code for one in asked] == [204, 204]
    assert caplog.messages == []


def offered_by(process: Forked, said: Path) -> str:
    """Return what a demo says, once its last command to try is among it."""
    while True:
        has_ended = process.poll() is not None
        offered = said.read_text(encoding="utf-8") if said.exists() else ""
        if offered.count(CURL) == 3 and offered.endswith("\n\n"):
            return offered
        assert not has_ended, offered
        time.sleep(0.02)


def signed_in_to(offered: str) -> requests.Response:
    """Sign in at the address and with the key that are offered first, as a person would."""
    pages, key = re.search(r"(http\S+/coach/)", offered), re.search(r"(dawn_\S+)", offered)
    assert pages is not None
    assert key is not None
    with requests.Session() as browser:
        browser.trust_env = False  # no proxy stands between us and loopback
        form = browser.get(pages[1], timeout=WITHIN_SECONDS)
        token = re.search(r'name="csrf_token" value="([^"]+)"', form.text)
        assert token is not None
        filled = {"csrf_token": token[1], "key": key[1]}
        page = browser.post(form.url, data=filled, timeout=WITHIN_SECONDS)
    assert (page.status_code, page.url) == (200, pages[1])
    return page


def assert_next_week_is_laid_out(curl: str) -> None:
    """In the plan of one and of a group with one rack, soon after the start."""
    *_, header, address = shlex.split(curl)
    url, give_up_at = address.partition("/v1/")[0], time.monotonic() + WITHIN_SECONDS
    lifters = ("a-01", "a-02", "a-13")
    while True:
        starts = {who: planned(url, header, who) for who in (*lifters, "a-03")}
        at_the_rack = [at for who in lifters for at, what in starts[who] if what == "squat"]
        if all(len(planned) >= 2 for planned in starts.values()) and len(at_the_rack) >= 3:
            break
        assert time.monotonic() < give_up_at, starts
        time.sleep(0.2)
    assert len(set(at_the_rack)) == len(at_the_rack)


def planned(url: str, header: str, athlete_id: str) -> list[tuple[str, str | None]]:
    """When the blocks of an athlete's next week start, and with which pattern."""
    name, _, value = header.partition(": ")
    monday = next_monday(datetime.now(UTC).date())
    found: list[dict[str, Any]] = []
    for day in range(7):
        at = f"{url}/v1/athletes/{athlete_id}/plans/{monday + timedelta(days=day)}"
        answer = requests.get(at, headers={name: value}, timeout=WITHIN_SECONDS)
        found += answer.json()["plan"] if answer.ok else []
    return [(block["starts_at"], block.get("pattern")) for block in found]


@pytest.mark.parametrize("stop", [signal.SIGTERM, signal.SIGINT])
def test_either_signal_ends_it_quietly(
    stage: Stage, monkeypatch: pytest.MonkeyPatch, stop: signal.Signals
) -> None:
    monkeypatch.setattr(demo_module, "set_stage", lambda settings: nullcontext(stage))
    monkeypatch.setattr(demo_module, "_wait_forever", lambda: signal.raise_signal(stop))
    told = typed("demo")
    assert (told.exit_code, told.stderr) == (0, "")


def curled(line: str) -> requests.Response:
    curl, option, header, address = shlex.split(line)
    assert (curl, option) == ("curl", "-H")
    name, _, value = header.partition(": ")
    return requests.get(address, headers={name: value}, timeout=WITHIN_SECONDS)


def test_a_port_that_is_taken_is_wrong_use(stage: Stage, tmp_path: Path) -> None:
    [port] = re.findall(r"\d+$", stage.url)
    said = tmp_path / "said"
    assert typed_apart(["demo", "--port", port], said, {}).wait(WITHIN_SECONDS) == 2
    assert said.read_text(encoding="utf-8") == (
        f"Error: Port {port} cannot be used: Address already in use.\n"
    )
