"""Killing the service at random moments, and looking for losses afterwards.

Run from the checkout: ``python -m tests.faults.killing --times 200``. The real service is killed
with SIGKILL at random moments while six clients check in, correct themselves, log sessions and
now and then erase somebody; now and then it is killed once more while it starts again. After each
kill the database is looked through. Every so many kills it goes on with a new one.
"""

from __future__ import annotations

import argparse
import json
import random
import sqlite3
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from datetime import timedelta
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from dawnrule.advice.advisor import Advisor
from dawnrule.application.active_rules import StoredTexts
from dawnrule.application.audit import audit
from dawnrule.clock import now
from dawnrule.model.entities import Athlete
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Store
from tests.faults.caller import NO_ANSWER, Asks, Caller
from tests.faults.serving import Launched, apart, launch, make_squad, settings_for
from tests.warm import read_ahead

CLIENTS = 6
ATHLETES_EACH = 3
KILLS_OF_ONE_DATABASE = 10
USUAL = (80, 16, 4)
"""How often a client checks in, logs a session, and replaces an athlete by a new one."""

LONGEST_ROUND_SECONDS = 1.5
LONGEST_START_SECONDS = 0.5
ACKNOWLEDGED_WITHIN_SECONDS = 30.0
ALSO_KILLED_AT_START = 0.2
OK, CREATED = 200, 201


@dataclass(frozen=True, slots=True)
class CheckedIn:
    """A check-in that was acknowledged with its advice; ``sleep_hours`` is its own alone."""

    athlete_id: str
    advice_id: str
    verdict: str
    sleep_hours: float


@dataclass(slots=True)
class Promised:
    """What one client was told: to be kept, and to be gone. ``wiped`` are those of the erased of
    whom no byte stays; ``unsure`` the athletes whose erasing or creating was not answered."""

    check_ins: list[CheckedIn] = field(default_factory=list)
    sessions: list[tuple[str, str]] = field(default_factory=list)
    erased: set[str] = field(default_factory=set)
    wiped: set[str] = field(default_factory=set)
    unsure: set[str] = field(default_factory=set)

    def may_be_gone(self, athlete_id: str) -> bool:
        """Whether nothing of an athlete need be there."""
        return athlete_id in self.erased or athlete_id in self.unsure


class Client:
    """One who sends one thing after the other until nobody answers."""

    def __init__(self, number: int, seed: int, habits: Sequence[int] = USUAL) -> None:
        self.promised = Promised()
        self._habits = habits
        self.refused: list[str] = []
        self._chance = random.Random(f"{seed}-{number}")
        self._name = f"c{number}"
        self._count = 0
        self._athletes = [f"{self._name}-{one}" for one in range(ATHLETES_EACH)]

    def squad(self) -> list[Athlete]:
        """Those who are there from the start."""
        return [Athlete(athlete_id, name_of(athlete_id), "UTC") for athlete_id in self._athletes]

    def work(self, port: int) -> None:
        """Send until the service is gone."""
        caller = Caller(port)
        try:
            while True:
                self.send_something(caller)
        except NO_ANSWER:
            return
        finally:
            caller.close()

    def send_something(self, caller: Asks) -> None:
        """Send one thing. Raises one of ``NO_ANSWER``."""
        choices = (self._check_in, self._log_session, self._replace_an_athlete)
        [send] = self._chance.choices(choices, self._habits)
        self._count += 1
        send(caller)

    def _check_in(self, caller: Asks) -> None:
        hours = round(4 + self._count / 10_000, 4)  # told by no other check-in of the athlete
        day = now().date() - timedelta(days=self._chance.choice((0, 0, 0, 1, 2)))
        athlete_id = self._chance.choice(self._athletes)
        body = {
            "athlete_id": athlete_id,
            "date": day.isoformat(),
            "sleep": {"hours": hours},
            "fatigue": self._chance.randrange(11),
            "soreness": {"quadriceps": self._chance.randrange(11)},
            "plan": [{"goal": "hypertrophy", "muscle_groups": ["quadriceps", "chest"]}],
        }
        told = self._asked(caller, "POST", "/v1/check-ins", body)
        if told:
            self.promised.check_ins.append(
                CheckedIn(athlete_id, told["advice_id"], told["verdict"], hours)
            )

    def _log_session(self, caller: Asks) -> None:
        athlete_id = self._chance.choice(self._athletes)
        starts_at = now() - timedelta(hours=20, seconds=self._count)
        body = {
            "athlete_id": athlete_id,
            "starts_at": starts_at.isoformat(),
            "minutes": 60,
            "blocks": [{"goal": "hypertrophy", "muscle_groups": ["quadriceps"]}],
        }
        told = self._asked(caller, "POST", "/v1/sessions", body)
        if told:
            self.promised.sessions.append((athlete_id, told["session_id"]))

    def _replace_an_athlete(self, caller: Asks) -> None:
        newcomer = f"{self._name}-{self._count + ATHLETES_EACH}"
        self.promised.unsure.add(newcomer)
        body = {"name": name_of(newcomer), "time_zone": "UTC"}
        if not self._asked(caller, "PUT", f"/v1/athletes/{newcomer}", body):
            return
        self._athletes.append(newcomer)
        self.promised.unsure.discard(newcomer)
        leaver = self._athletes.pop(0)
        self.promised.unsure.add(leaver)
        told = self._asked(caller, "DELETE", f"/v1/athletes/{leaver}")
        if told:
            self.promised.erased.add(leaver)
            self.promised.unsure.discard(leaver)
            if told["wiped"]:
                self.promised.wiped.add(leaver)

    def _asked(
        self, caller: Asks, method: str, address: str, body: dict[str, Any] | None = None
    ) -> dict[str, Any] | None:
        """What was answered, if it was a yes; a no is kept, for there should be none."""
        said = caller.ask(method, address, body)
        if said.status in (OK, CREATED):
            return said.body
        self.refused.append(f"{method} {address}: {said.status} {said.body}")
        return None


def name_of(athlete_id: str) -> str:
    """A name that no other bytes of a database look like."""
    return f"Nomen {athlete_id} Nescio"


# ---- what is wrong afterwards


def wrong_with(db: Path, promises: list[Promised]) -> list[str]:
    """All that is not as it was promised."""
    with closing(sqlite3.connect(db)) as connection:
        found = [*_broken(connection), *_halves(connection)]
        for promised in promises:
            found += _lost(connection, promised)
            found += _not_erased(connection, promised)
            found += _not_wiped(db, promised)
    return [*found, *unverified(db)]


def _broken(connection: sqlite3.Connection) -> Iterator[str]:
    for (said,) in connection.execute("PRAGMA integrity_check"):
        if said != "ok":
            yield f"integrity_check: {said}"
    for row in connection.execute("PRAGMA foreign_key_check"):
        yield f"foreign_key_check: {row}"


_HALVES = {
    "a check-in without advice": """
        SELECT id FROM check_ins WHERE id NOT IN (SELECT check_in_id FROM advice)
    """,
    "advice without an entry in the ledger": """
        SELECT id FROM advice WHERE position NOT IN (SELECT advice_position FROM advice_entries)
    """,
    "advice for one date in two lines": """
        SELECT athlete_id, date, count(*) FROM advice
        WHERE id NOT IN (SELECT supersedes FROM advice WHERE supersedes IS NOT NULL)
        GROUP BY athlete_id, date HAVING count(*) <> 1
    """,
}


def _halves(connection: sqlite3.Connection) -> Iterator[str]:
    for what, query in _HALVES.items():
        for row in connection.execute(query):
            yield f"{what}: {row}"


def _lost(connection: sqlite3.Connection, promised: Promised) -> Iterator[str]:
    kept = {
        advice_id: (athlete_id, verdict, json.loads(body).get("sleep", {}).get("hours"))
        for advice_id, athlete_id, verdict, body in connection.execute(
            """
            SELECT advice.id, advice.athlete_id, verdict, body
            FROM advice JOIN check_ins ON check_ins.id = check_in_id
            """
        )
    }
    for one in promised.check_ins:
        told = (one.athlete_id, one.verdict, one.sleep_hours)
        if not promised.may_be_gone(one.athlete_id) and kept.get(one.advice_id) != told:
            yield f"{one} was acknowledged; there is {kept.get(one.advice_id)}"
    sessions = dict(connection.execute("SELECT id, athlete_id FROM sessions"))
    for athlete_id, session_id in promised.sessions:
        if not promised.may_be_gone(athlete_id) and sessions.get(session_id) != athlete_id:
            yield f"the session {session_id} of {athlete_id} was acknowledged"


def _not_erased(connection: sqlite3.Connection, promised: Promised) -> Iterator[str]:
    squad = {athlete_id for (athlete_id,) in connection.execute("SELECT id FROM athletes")}
    for athlete_id in promised.erased & squad:
        yield f"{athlete_id} was erased, and is there"


def _not_wiped(db: Path, promised: Promised) -> Iterator[str]:
    for file in db.parent.glob(f"{db.name}*"):
        content = file.read_bytes()
        for athlete_id in promised.wiped:
            if name_of(athlete_id).encode() in content:
                yield f"{file.name} has bytes of {athlete_id}, who was erased"


def unverified(db: Path) -> Iterator[str]:
    """What an audit of the ledger finds."""
    with Store.open(db) as store:
        library = RuleSetLibrary.bundled().with_published(StoredTexts(store))
        for fault in audit(store, library).faults:
            yield f"audit: entry {fault.position}: {fault.says}"


# ---- the rounds


@dataclass(slots=True)
class Tally:
    """What was done, and what was found wrong."""

    kills: int = 0
    kills_at_start: int = 0
    check_ins: int = 0
    sessions: int = 0
    erasures: int = 0
    cut_off: int = 0
    faults: list[str] = field(default_factory=list)


def one_database(
    folder: Path, kills: int, advisor: Advisor, chance: random.Random, tally: Tally
) -> None:
    """Kill the service over one database so many times, and look after each."""
    db, log = folder / "squad.db", folder / "log"
    clients = [Client(number, chance.randrange(1_000_000)) for number in range(CLIENTS)]
    make_squad(db, [athlete for client in clients for athlete in client.squad()])
    for _ in range(kills):
        launched = launch(settings_for(db), advisor, log)
        _under_load(clients, launched.port(), partial(_kill_within, launched, clients, chance))
        tally.kills += 1
        if chance.random() < ALSO_KILLED_AT_START:
            starting = launch(settings_for(db), advisor, log)
            time.sleep(chance.uniform(0, LONGEST_START_SECONDS))
            starting.end()
            tally.kills_at_start += 1
        promises = [client.promised for client in clients]
        tally.faults += apart(partial(wrong_with, db, promises))
    _count(tally, clients, log)


def _kill_within(launched: Launched, clients: list[Client], chance: random.Random) -> None:
    """Kill at a random moment, once there is something that could be lost."""
    give_up_at = time.monotonic() + ACKNOWLEDGED_WITHIN_SECONDS
    while not any(one.promised.check_ins for one in clients) and time.monotonic() < give_up_at:
        time.sleep(0.01)
    time.sleep(chance.uniform(0, LONGEST_ROUND_SECONDS))
    launched.end()


_FINISHED_LATER = 'logger="dawnrule.leftovers"'
"""In a line of the log that says what an erasure left when it was killed, and that it is finished
now: that is as it should be after a kill."""


def _under_load(clients: list[Client], port: int, kill: Callable[[], None]) -> None:
    with ThreadPoolExecutor(len(clients)) as pool:
        working = [pool.submit(client.work, port) for client in clients]
        kill()
        for one in working:
            one.result()


def _count(tally: Tally, clients: list[Client], log: Path) -> None:
    for client in clients:
        tally.check_ins += len(client.promised.check_ins)
        tally.sessions += len(client.promised.sessions)
        tally.erasures += len(client.promised.erased)
        tally.cut_off += len(client.promised.unsure)
        tally.faults += client.refused
    lines = log.read_text(encoding="utf-8").splitlines()
    tally.faults += [f"log: {line}" for line in lines if _FINISHED_LATER not in line]


def main() -> None:
    """Kill, look, and print what was found; ends with 1 when anything was wrong."""
    parser = argparse.ArgumentParser(description="The service, killed at random under load.")
    parser.add_argument("--times", type=int, default=200)
    parser.add_argument("--seed", type=int, default=random.randrange(1_000_000))
    options = parser.parse_args()
    print(f"seed {options.seed}", flush=True)
    read_ahead()
    chance, advisor, tally = random.Random(options.seed), Advisor.bundled(), Tally()
    began = time.monotonic()
    while tally.kills < options.times and not tally.faults:
        kills = min(KILLS_OF_ONE_DATABASE, options.times - tally.kills)
        with TemporaryDirectory() as folder:
            one_database(Path(folder), kills, advisor, chance, tally)
        print(f"{tally.kills} kills, {tally.check_ins} check-ins acknowledged", flush=True)
    print("\n".join(tally.faults))
    print(
        f"killed {tally.kills} times under load and {tally.kills_at_start} times while starting: "
        f"{tally.check_ins} check-ins, {tally.sessions} sessions and {tally.erasures} erasures "
        f"acknowledged, {tally.cut_off} erasures or new athletes cut off; "
        f"{len(tally.faults)} faults ({time.monotonic() - began:.0f} s)"
    )
    sys.exit(1 if tally.faults else 0)


if __name__ == "__main__":
    main()
