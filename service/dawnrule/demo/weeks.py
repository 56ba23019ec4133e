"""Next week of the invented squad: laid out over HTTP, and taken as plans."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from contextlib import suppress
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from threading import Thread
from typing import Any

import requests

from dawnrule.clock import now
from dawnrule.i18n.resources import read_data

_ANSWER_WITHIN_SECONDS = 120
_DAYS = 7


def next_monday(today: date) -> date:
    """Return the Monday after a date."""
    return today + timedelta(days=_DAYS - today.weekday())


def take_weeks_in_the_background(url: str, key: str) -> None:
    """Lay weeks out and take them while the demo goes on. A service that stops ends it."""

    def work() -> None:
        with suppress(requests.RequestException):
            take_weeks(url, key)

    Thread(target=work, name="demo weeks", daemon=True).start()


def take_weeks(url: str, key: str) -> None:
    """Make the groups, lay out next week for each order, and set its sessions as plans. Raises
    ``requests.RequestException``."""
    data = read_data(Path(__file__).with_name("weeks.yaml"))
    with requests.Session() as session:
        session.trust_env = False  # no proxy stands between us and loopback
        session.headers["Authorization"] = f"Bearer {key}"
        send = partial(_send, session, f"{url}/v1")
        for group, members in data["groups"].items():
            send("PUT", f"/groups/{group}", members)
        for order in data["orders"]:
            monday = next_monday(now().date()).isoformat()
            for week in send("POST", "/weeks", {"from": monday, **order})["weeks"]:
                for day, blocks in _plans(week).items():
                    address = f"/athletes/{week['athlete_id']}/plans/{day}"
                    send("PUT", address, {"plan": blocks})


def _plans(week: Mapping[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """Return the blocks of each date, one behind the other from the start of their session on."""
    plans: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for one in week["sessions"]:
        starts_at = datetime.fromisoformat(one["starts_at"])
        for block in one["blocks"]:
            told = {name: value for name, value in block.items() if value is not None}
            plans[one["starts_at"][:10]].append(told | {"starts_at": starts_at.isoformat()})
            starts_at += timedelta(minutes=block["minutes"])
    return plans


def _send(session: requests.Session, root: str, method: str, path: str, body: Any) -> Any:
    response = session.request(method, root + path, json=body, timeout=_ANSWER_WITHIN_SECONDS)
    response.raise_for_status()
    return response.json() if response.content else None
