"""Stages for the pictures: real services on temporary databases, with a clock that stands still.

Everybody in them is invented.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from threading import Thread
from uuid import UUID

import requests

from dawnrule.advice.advisor import Advisor
from dawnrule.application.check_ins import CheckIns, Submission
from dawnrule.application.sessions import log_session
from dawnrule.clock import now
from dawnrule.demo.squad import Day, Diary, Squad, invent_diaries
from dawnrule.model.entities import Athlete, Block
from dawnrule.settings import LogForm, Settings, name_and_version
from dawnrule.store import (
    Key,
    PrivateAddress,
    Purpose,
    Role,
    Store,
    StoredPlan,
    Transaction,
    hash_key,
    hash_token,
)
from dawnrule.web import Server, create_app

HERE = Path(__file__).resolve().parent
COACH_KEY = "dawn_coach-of-the-pictures"
KEY_ID = "club-laptop"
CHECK_IN_TOKEN, READ_TOKEN = "address-of-the-pictures", "feed-of-the-pictures"

EARLY = datetime.fromisoformat("2026-03-09T06:45:00+01:00")
"""When an athlete in Berlin has just got up, and the squad sheet is filled in."""

LATER = datetime(2026, 3, 9, 12, 45, tzinfo=UTC)
"""When all of the squad are up, save in Auckland, where it is the middle of the next night."""
ASLEEP = "Pacific/Auckland"

PATIENCE_SECONDS = 60

ON_THE_PHONE = "a-01"
"""Who checks in on a phone: she wants growth work of the legs, for the second day running."""

CLUB_RULES = """\
rule_set: club
version: 1.0.0
summary: The baseline for a club whose lifters train to failure.
extends: baseline@2.0.0
change:
  - rule: growth-work-soreness
    fact: soreness
    at_least: 2
    because: our lifters train to failure
    reason: "{muscle_group}: soreness {soreness} of 10. Here growth work goes again under 2."
    caution: Train another muscle group, or do easy work such as cycling, swimming or rowing.
    examples:
      - {facts: {goal: hypertrophy, soreness: 2}, fires: true}
      - {facts: {goal: hypertrophy, soreness: 1}, fires: false}
"""
"""What the replay tries on past mornings."""


@dataclass(frozen=True)
class Scene:
    """A store being filled, and what decides in it. ``new_id`` gives the same ids each time."""

    store: Store
    settings: Settings
    advisor: Advisor
    new_id: Callable[[], str]

    def write_diary(self, diary: Diary, *, past: Sequence[Day], this_morning: bool) -> None:
        """Store what an athlete reported and trained, as it would have come in."""
        self.store.write(lambda transaction: self._remember(transaction, diary, past))
        if this_morning:
            self.store.write(
                lambda transaction: self._answer(transaction, Day(diary.this_morning, None))
            )

    def _remember(self, transaction: Transaction, diary: Diary, past: Sequence[Day]) -> None:
        transaction.athletes.put(diary.athlete)
        for day in past:
            self._answer(transaction, day)

    def _answer(self, transaction: Transaction, day: Day) -> None:
        assert day.check_in.reported_at is not None, "every diary says when"
        rules = self.advisor.library.get(*name_and_version(self.settings.rule_set))
        check_ins = CheckIns(self.advisor, rules, now, self.new_id)
        posting = Submission(day.check_in.reported_at, KEY_ID, self.new_id(), self.new_id())
        check_ins.submit(transaction, day.check_in, posting)
        if day.session is not None:
            at = replace(posting, now=day.session.starts_at)
            log_session(transaction, check_ins, day.session, self.new_id(), at)


@contextmanager
def service(now: datetime, *fill: Callable[[Scene], None]) -> Iterator[str]:
    """Run a real service with the filled-in data, at a time that stands still; return its
    address."""
    with TemporaryDirectory() as folder:
        settings = Settings(db=Path(folder) / "pictures.db", port=0, log=LogForm.OFF)
        with Store.open(settings.db) as store:
            scene = Scene(store, settings, Advisor.bundled(), _same_ids_each_time())
            for put in (_put_key, *fill):
                put(scene)
            app = create_app(settings, store, scene.advisor, lambda: now, scene.new_id)
            server = Server(app, settings)
            thread = Thread(target=server.run)
            thread.start()
            try:
                yield f"http://127.0.0.1:{server.port}"
            finally:
                server.close()
                thread.join()


def squad_of_the_sheet(scene: Scene) -> None:
    """Store the athletes of ``squad.csv``."""
    with (HERE / "spreadsheet" / "squad.csv").open(encoding="utf-8", newline="") as file:
        squad = [Athlete(row["athlete_id"], "", "Europe/Berlin") for row in csv.DictReader(file)]
    scene.store.write(lambda transaction: [transaction.athletes.put(athlete) for athlete in squad])


def athlete_on_the_phone(scene: Scene) -> None:
    """Store one athlete with a history, the coach's plan for today, and two private addresses."""
    diaries = invent_diaries(Squad.invented(), EARLY)
    (hers,) = (one for one in diaries if one.athlete.id == ON_THE_PHONE)
    scene.write_diary(hers, past=hers.past, this_morning=False)
    plan = (Block("hypertrophy", pattern="squat", modality="free-weights"),)
    stored = StoredPlan(ON_THE_PHONE, EARLY.date(), plan, EARLY, None)
    scene.store.write(lambda transaction: transaction.plans.put(stored))
    for purpose, token in ((Purpose.CHECK_IN, CHECK_IN_TOKEN), (Purpose.READ, READ_TOKEN)):
        address = PrivateAddress(purpose.value, purpose, ON_THE_PHONE, None, EARLY, None)
        _put_address(scene, address, token)


def whole_squad(scene: Scene) -> None:
    """Store the demo's squad with its history, and this morning's check-ins of all who are up."""
    for diary in invent_diaries(Squad.invented(), LATER):
        up = diary.athlete.time_zone != ASLEEP
        scene.write_diary(diary, past=diary.past, this_morning=up)


def publish_club_rules(url: str) -> None:
    """Publish ``CLUB_RULES``, as a coach would. Raises ``requests.HTTPError``."""
    headers = {"Authorization": f"Bearer {COACH_KEY}", "Content-Type": "application/yaml"}
    address, body = f"{url}/v1/rule-sets", CLUB_RULES.encode()
    requests.post(address, body, headers=headers, timeout=PATIENCE_SECONDS).raise_for_status()


def make_groups(url: str) -> None:
    """Put athletes into two groups, as a coach would. Raises ``requests.HTTPError``."""
    headers = {"Authorization": f"Bearer {COACH_KEY}"}
    for group_id, name, first, last in (
        ("first", "First team", 1, 7),
        ("legs", "Legs first", 5, 9),
    ):
        members = [f"a-{number:02}" for number in range(first, last + 1)]
        body = {"name": name, "athletes": members}
        address = f"{url}/v1/groups/{group_id}"
        requests.put(
            address, json=body, headers=headers, timeout=PATIENCE_SECONDS
        ).raise_for_status()


def _put_address(scene: Scene, address: PrivateAddress, token: str) -> None:
    scene.store.write(
        lambda transaction: transaction.private_addresses.add(address, hash_token(token))
    )


def _put_key(scene: Scene) -> None:
    key = hash_key(COACH_KEY)
    scene.store.write(lambda b: b.keys.add(Key(KEY_ID, Role.COACH, None, None, EARLY), key))


def _same_ids_each_time() -> Callable[[], str]:
    random = Random("pictures")
    return lambda: str(UUID(int=random.getrandbits(128), version=4))
