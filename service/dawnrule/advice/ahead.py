"""What lies ahead of an athlete, as far as is known now?"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from dawnrule.advice.compose import Composer
from dawnrule.advice.morning import history_before, known_athlete
from dawnrule.advice.outlook import Outlook, outlook_to_plain
from dawnrule.facts.check_in import CheckIn
from dawnrule.facts.plain import from_plain
from dawnrule.rules.what_if import WhatIf
from dawnrule.store import Books


def look_ahead(books: Books, what_if: WhatIf, athlete_id: str, now: datetime, days: int) -> Outlook:
    """The outlook of an athlete over so many days from ``now`` (aware) on. Without a check-in of
    today it rests on the log alone. Raises ``NotFound``."""
    athlete = known_athlete(books, athlete_id)
    today = athlete.today(now)
    stored = books.check_ins.latest(athlete_id, today)
    check_in = from_plain(CheckIn, stored.body) if stored else None
    history = history_before(books, check_in or CheckIn(athlete_id, today, ()), now)
    return Outlook.of(athlete, check_in, history, what_if, now, days)


def told_outlook(outlook: Outlook, goal: str, composer: Composer) -> dict[str, Any]:
    """An outlook as plain JSON values, with what it assumes in words, and a note where it does not
    know how the athlete is today; ``goal`` is that of the balanced session."""
    assumes = composer.texts.say("outlook_assumes")
    note = None if outlook.has_check_in else composer.texts.say("outlook_no_check_in")
    return outlook_to_plain(outlook, goal) | {"note": note, "assumes": assumes}
