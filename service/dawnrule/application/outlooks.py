"""The outlook of an athlete: when each kind of training opens, as far as is known now."""

from __future__ import annotations

from datetime import datetime

from dawnrule.advice.outlook import Outlook
from dawnrule.application.athletes import require_athlete
from dawnrule.application.check_ins import history_before
from dawnrule.model.entities import CheckIn
from dawnrule.rules.counterfactuals import WhatIf
from dawnrule.store import Transaction


def read_outlook(
    transaction: Transaction, what_if: WhatIf, athlete_id: str, now: datetime, days: int
) -> Outlook:
    """Read the outlook of an athlete over ``days`` days from ``now`` (aware). Without a check-in
    of today it rests on the log alone. Raises ``NotFound``."""
    athlete = require_athlete(transaction, athlete_id)
    today = athlete.today(now)
    stored = transaction.check_ins.latest(athlete_id, today)
    check_in = stored.check_in if stored else None
    history = history_before(transaction, check_in or CheckIn(athlete_id, today, ()), now)
    return Outlook.of(athlete, check_in, history, what_if, now, days)
