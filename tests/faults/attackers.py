"""Those who use a club's service hard, all at once: phones, sheets, readers, and who means harm.

Each is asked to do one thing after the other, and keeps what was promised to it. What they send
may be refused, in words; whether it was right to refuse it is for other tests.
"""

from __future__ import annotations

import json
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import count
from pathlib import Path
from typing import Any, Protocol

from dawnrule.clock import now
from dawnrule.web.http.responses import CSV, YAML
from tests.factories import CLUB, EXAMPLE, SESSION
from tests.faults.club import command, environment
from tests.faults.killing import CheckedIn, Client, Promised
from tests.faults.watch import Watch, WatchedCaller
from tests.security.workbooks import BOOKS, PARTS, kind_of_book, part, spoiled, with_part

OK, NOT_FOUND = 200, 404
ANY_REFUSAL = frozenset(range(400, 500)) | {200, 201, 202, 207}
ASKED_AGAIN_SECONDS = 0.2
REPLAYED_WITHIN_SECONDS = 300.0
READ_BY_EVERYBODY = "s-0"


class Attacker(Protocol):
    """One who does a thing at a time. ``act`` raises one of ``NO_ANSWER`` when that is cut off."""

    @property
    def promised(self) -> Promised: ...

    def act(self) -> None: ...


def morning_of(athlete_id: str, day: date, hours: float) -> dict[str, Any]:
    """A check-in with hours of sleep that tell it from all others of the athlete."""
    return {
        "athlete_id": athlete_id,
        "date": day.isoformat(),
        "sleep": {"hours": hours},
        "soreness": {"quadriceps": int(hours * 1000) % 11},
        "plan": [{"goal": "hypertrophy", "muscle_groups": ["quadriceps"]}],
    }


class Hours:
    """Hours of sleep, none of which comes twice: 4.0001, 4.0002, and so on."""

    def __init__(self) -> None:
        self._numbers = count(1)

    def next(self) -> float:
        return round(4 + next(self._numbers) % 200_000 / 10_000, 4)


@dataclass(slots=True)
class Phones:
    """Athletes who check in, correct themselves, log sessions, come and go."""

    caller: WatchedCaller
    client: Client

    @property
    def promised(self) -> Promised:
        return self.client.promised

    def act(self) -> None:
        self.client.send_something(self.caller)


@dataclass(slots=True)
class Rows:
    """Whoever sends the mornings of many athletes at once, and each time with other nights."""

    caller: WatchedCaller
    athletes: Sequence[str]
    days: int
    promised: Promised = field(default_factory=Promised)
    hours: Hours = field(default_factory=Hours)

    def mornings(self) -> list[dict[str, Any]]:
        """A check-in of each athlete for each of so many days, today last."""
        today = now().date()
        return [
            morning_of(athlete_id, today - timedelta(days=days), self.hours.next())
            for days in reversed(range(self.days))
            for athlete_id in self.athletes
        ]

    def keep(self, sent: Sequence[Mapping[str, Any]], results: Sequence[Mapping[str, Any]]) -> None:
        """Note what was acknowledged."""
        for morning, result in zip(sent, results, strict=True):
            told = result["advice"]
            self.promised.check_ins.append(
                CheckedIn(
                    morning["athlete_id"],
                    told["advice_id"],
                    told["verdict"],
                    morning["sleep"]["hours"],
                )
            )


@dataclass(slots=True)
class Sheet:
    """A spreadsheet that sends the squad's morning, and corrects it."""

    rows: Rows

    @property
    def promised(self) -> Promised:
        return self.rows.promised

    def act(self) -> None:
        mornings = self.rows.mornings()
        lines = ["athlete_id,date,sleep_hours,soreness_quadriceps,plan_goal,plan_muscle_groups"]
        for one in mornings:
            night, sore = one["sleep"]["hours"], one["soreness"]["quadriceps"]
            who = f"{one['athlete_id']},{one['date']}"
            lines.append(f"{who},{night},{sore},hypertrophy,quadriceps")
        sheet = "\n".join(lines).encode()
        headers = {"Content-Type": CSV, "Accept": "application/json"}
        said = self.rows.caller.send("POST", "/v1/check-ins/batch", sheet, headers)
        if said.status == OK:
            self.rows.keep(mornings, said.body["results"])


@dataclass(slots=True)
class Batch:
    """A program that posts many rows, each time with other nights."""

    rows: Rows
    query: str = ""

    @property
    def promised(self) -> Promised:
        return self.rows.promised

    def act(self) -> None:
        mornings = self.rows.mornings()
        address = f"/v1/check-ins/batch{self.query}"
        said = self.rows.caller.ask("POST", address, {"check_ins": mornings})
        if said.status == OK:
            self.rows.keep(mornings, said.body["results"])


@dataclass(slots=True)
class LonePhone:
    """One who checks in again and again, and notes how long that takes beside what."""

    caller: WatchedCaller
    athlete_id: str
    promised: Promised = field(default_factory=Promised)
    hours: Hours = field(default_factory=Hours)

    def act(self) -> None:
        watch, hours = self.caller.watch, self.hours.next()
        body = morning_of(self.athlete_id, now().date(), hours)
        beside, began = watch.beside_a_lone_check_in(), time.perf_counter()
        said = self.caller.ask("POST", "/v1/check-ins", body)
        took = time.perf_counter() - began
        if watch.beside_a_lone_check_in() == beside:
            watch.lone_seconds[beside[0]].append(took)
        if "advice_id" in said.body:
            told = said.body["advice_id"], said.body["verdict"]
            self.promised.check_ins.append(CheckedIn(self.athlete_id, *told, hours))


@dataclass(slots=True)
class Asking:
    """Whoever sends things without having to remember any of them."""

    do: Callable[[], object]
    promised: Promised = field(default_factory=Promised)

    def act(self) -> None:
        self.do()


READ = (
    f"/v1/athletes/{READ_BY_EVERYBODY}/advice/today",
    f"/v1/athletes/{READ_BY_EVERYBODY}/advice/today.txt",
    f"/v1/athletes/{READ_BY_EVERYBODY}/outlook",
    f"/v1/athletes/{READ_BY_EVERYBODY}/sessions",
    f"/v1/athletes/{READ_BY_EVERYBODY}/concerns",
    f"/v1/athletes/{READ_BY_EVERYBODY}",
    "/v1/athletes",
    "/v1/concerns",
    "/v1/rule-sets",
    "/v1/rule-sets/active",
    "/v1/ledger/head",
    "/v1/acts",
    "/metrics",
    "/healthz",
    "/openapi.yaml",
)
SCORECARDS = tuple(
    f"/v1/rule-sets/baseline/{version}/scorecard" for version in ("1.0.0", "1.2.0", "2.0.0")
)
"""What is asked for more often than the rest, as it reads a file that others put anew."""


def read(caller: WatchedCaller) -> None:
    """Read something, and one piece of advice with its proof."""
    squad = f"/v1/advice?date={now().date()}"
    address = caller.chance.choice((squad, *READ, *SCORECARDS, *SCORECARDS))
    said = caller.ask("GET", address)
    if said.body.get("advice_id"):
        caller.ask("GET", f"/v1/advice/{said.body['advice_id']}")
        caller.ask("GET", f"/v1/advice/{said.body['advice_id']}/proof")


def ask_for_heads(caller: WatchedCaller) -> None:
    """Ask what an answer would be."""
    for address in caller.chance.sample((*READ, *SCORECARDS), 3):
        caller.ask("HEAD", address)
    caller.ask("HEAD", f"/v1/athletes/{READ_BY_EVERYBODY}/export")


def replay(caller: WatchedCaller) -> None:
    """Have past mornings decided again, and wait until that is done, its process is killed, or
    it is gone, as all are when somebody is erased."""
    body = {"rule_set": f"baseline@{caller.chance.choice(('1.0.0', '1.1.0', '1.2.0'))}"}
    services = caller.club.services
    kills = [service.kills for service in services]
    with caller.watch.under_way("a replay"):
        replay_id = caller.ask("POST", "/v1/replays", body).body.get("replay_id")
        give_up_at = time.monotonic() + REPLAYED_WITHIN_SECONDS
        while replay_id and kills == [service.kills for service in services]:
            told = caller.ask("GET", f"/v1/replays/{replay_id}")
            state = told.body.get("state")
            if state == "done" or told.status == NOT_FOUND:
                return
            if state in ("failed", "stopped") or time.monotonic() > give_up_at:
                caller.watch.fault(f"a replay is {told.body}")
                return
            time.sleep(ASKED_AGAIN_SECONDS)


def publish(caller: WatchedCaller, numbers: Iterator[int]) -> None:
    """Publish another version of a rule set, or each second time something that is none; ask what
    would be advised."""
    number = next(numbers)
    text = CLUB.replace("1.0.0", f"1.0.{number}", 1)
    sent = text if number % 2 else text[: caller.chance.randrange(len(text))]
    caller.send("POST", "/v1/rule-sets", sent.encode(), {"Content-Type": YAML})
    question = {"check_in": morning_of(READ_BY_EVERYBODY, now().date(), 7.5)}
    caller.ask("POST", "/v1/evaluations", question)


def back_up(db: Path, folder: Path, watch: Watch) -> None:
    """Make a back-up by the command, as a nightly job does."""
    began = time.perf_counter()
    words = command("backup", "--db", db, "--to", folder, "--keep", 2)
    with watch.under_way("a back-up"):
        ended = subprocess.run(words, capture_output=True, text=True, env=environment())
    status = f"ended with {ended.returncode}"
    watch.answered("dawnrule backup", status, time.perf_counter() - began)
    if ended.returncode:
        watch.fault(f"dawnrule backup: {ended.stderr}")


# ---- who means harm

NESTED = b"[" * 50_000
BODIES = (NESTED, b'{"a":' * 20_000, b"", b"null", b'"\\ud800"', b"9" * 5_000, b"\x00" * 5_000)
JSON_ROUTES = ("/v1/check-ins", "/v1/sessions", "/v1/evaluations", "/v1/check-ins/batch")


def harm(caller: WatchedCaller) -> None:
    """Send what is no check-in, no session, no workbook."""
    chance = caller.chance
    address = chance.choice(JSON_ROUTES)
    about = SESSION if "sessions" in address else EXAMPLE
    sent = json.dumps(about | {"athlete_id": READ_BY_EVERYBODY}).encode()
    for content in (*spoiled(sent, chance), chance.choice(BODIES), chance.randbytes(300)):
        caller.send("POST", address, content)
    caller.send("POST", address, sent, {"Content-Encoding": chance.choice(("gzip", "br"))})
    book = chance.choice(list(BOOKS))
    name = chance.choice(PARTS[book])
    for content in spoiled(part(book, name), chance):
        spoilt = with_part(book, name, content)
        headers = {"Content-Type": kind_of_book(book)}
        caller.send("POST", "/v1/check-ins/batch", spoilt, headers)
