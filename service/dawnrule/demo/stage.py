"""A temporary service with the invented squad's past and this morning's advice."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Thread

import requests

from dawnrule.advice.advisor import Advisor
from dawnrule.application.check_ins import CheckIns
from dawnrule.application.sessions import log_session
from dawnrule.clock import new_id, now
from dawnrule.demo.squad import Day, Diary, Squad, invent_diaries
from dawnrule.errors import Conflict
from dawnrule.model.advice import Advice
from dawnrule.model.entities import CheckIn, Session
from dawnrule.model.serialization import from_json, to_json
from dawnrule.settings import Settings, name_and_version
from dawnrule.store import Key, Role, Store, Transaction, hash_key, new_key
from dawnrule.web import Server, create_app

_ANSWER_WITHIN_SECONDS = 30


@dataclass(frozen=True, slots=True)
class Stage:
    """A running service with this morning's advice. ``names`` are by athlete id; ``athlete_key``
    belongs to ``athlete_id``."""

    url: str
    coach_key: str
    athlete_key: str
    athlete_id: str
    names: Mapping[str, str]
    advice: Sequence[Advice]


@contextmanager
def set_stage(settings: Settings) -> Iterator[Stage]:
    """Run a temporary service that knows the squad's past, and post this morning's check-ins to it
    over HTTP; delete all its files at the end.

    Raises ``Conflict`` for a port that is taken.
    """
    diaries = invent_diaries(Squad.invented(), now())
    with (
        TemporaryDirectory(prefix="dawnrule-demo-") as folder,
        Store.open(Path(folder) / "demo.db") as store,
    ):
        advisor = Advisor.bundled()
        with _served(_bind(settings, store, advisor)) as port:  # a taken port is reported at once
            rule_set = advisor.library.get(*name_and_version(settings.rule_set))
            check_ins = CheckIns(advisor, rule_set, now, new_id)
            for diary in diaries:
                store.write(partial(_remember, check_ins=check_ins, diary=diary))
            athlete_id = diaries[0].athlete.id
            coach_key = store.write(partial(_give_key, role=Role.COACH, athlete_id=None))
            athlete_key = store.write(partial(_give_key, role=Role.ATHLETE, athlete_id=athlete_id))
            url = f"http://{settings.host}:{port}"
            yield Stage(
                url=url,
                coach_key=coach_key,
                athlete_key=athlete_key,
                athlete_id=athlete_id,
                names={diary.athlete.id: diary.athlete.name for diary in diaries},
                advice=_post(url, coach_key, [diary.this_morning for diary in diaries]),
            )


def _remember(transaction: Transaction, check_ins: CheckIns, diary: Diary) -> None:
    """Store an athlete's past as it would have come in, day by day."""
    transaction.athletes.put(diary.athlete)
    for day in diary.past:
        reported = replace(check_ins.submission(None), now=_reported_at(day))
        check_ins.submit(transaction, day.check_in, reported)
        if day.session is not None:
            logged = replace(check_ins.submission(None), now=_ended_at(day.session))
            log_session(transaction, check_ins, day.session, new_id(), logged)


def _ended_at(session: Session) -> datetime:
    return session.starts_at + timedelta(minutes=session.minutes)


def _reported_at(day: Day) -> datetime:
    assert day.check_in.reported_at is not None, "every diary says when"
    return day.check_in.reported_at


def _give_key(transaction: Transaction, role: Role, athlete_id: str | None) -> str:
    key = new_key()
    transaction.keys.add(Key(new_id(), role, athlete_id, "demo", now()), hash_key(key))
    return key


def _bind(settings: Settings, store: Store, advisor: Advisor) -> Server:
    try:
        return Server(create_app(settings, store, advisor, now, new_id), settings)
    except OSError as error:
        raise Conflict(f"Port {settings.port} cannot be used: {error.strerror}.") from error


@contextmanager
def _served(server: Server) -> Iterator[int]:
    """Serve until the end, and then as long as a week that is being laid out takes."""
    thread = Thread(target=server.run, name="demo server")
    thread.start()
    try:
        yield server.port
    finally:
        server.stop()
        thread.join()


def _post(url: str, key: str, check_ins: Sequence[CheckIn]) -> list[Advice]:
    """Post check-ins one by one, as phones would; return the advice on each."""
    with requests.Session() as session:
        session.trust_env = False  # no proxy stands between us and loopback
        session.headers["Authorization"] = f"Bearer {key}"
        return [_post_one(session, f"{url}/v1/check-ins", one) for one in check_ins]


def _post_one(session: requests.Session, url: str, check_in: CheckIn) -> Advice:
    response = session.post(url, json=to_json(check_in), timeout=_ANSWER_WITHIN_SECONDS)
    response.raise_for_status()
    return from_json(Advice, response.json())
