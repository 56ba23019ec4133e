"""Did the output hold at the last session of a muscle group?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from dawnrule.facts.check_in import Session
from dawnrule.facts.hours import hours_between
from dawnrule.facts.last_trained import Training
from dawnrule.facts.missing import Missing
from dawnrule.facts.past import Past
from dawnrule.vocabulary import FactValue

HELD = "held"
CUT_SHORT = "cut-short"
DROPPED = "dropped"


def output_facts(
    past: Past, trainings: Iterable[Training], start: datetime
) -> Iterator[tuple[str, FactValue | Missing]]:
    """The fall in output at the last of a muscle group's logged ``trainings``, all of them before
    ``start``; whether it was cut short, and the hours since then if output fell."""
    last = _last_session(past, trainings)
    if isinstance(last, Missing):
        for fact in ("output_drop_percent", "hours_since_output_drop", "last_session_cut_short"):
            yield fact, last
        return
    began, session = last
    yield "last_session_cut_short", session.output == CUT_SHORT
    drop = 0.0 if session.output == HELD else session.output_drop_percent
    if drop is None:
        reason = Missing("needs by how much output fell, the last session does not say")
        yield "output_drop_percent", reason
        yield "hours_since_output_drop", reason
        return
    yield "output_drop_percent", drop
    if drop > 0:
        yield "hours_since_output_drop", hours_between(began, start)


def _last_session(past: Past, trainings: Iterable[Training]) -> tuple[datetime, Session] | Missing:
    """The last session, and when it came to the muscle group; of several at once the one that
    says more, and worse."""
    days = past.parameters("output_drop_percent")["days"]
    first_date = past.check_in.date - timedelta(days=days)
    zone = ZoneInfo(past.athlete.time_zone)
    first = datetime.combine(first_date, time.min, zone).astimezone(UTC)
    recent = [(t.began, t.session) for t in trainings if t.session and t.began >= first]
    if not recent:
        return Missing(f"needs a session of this muscle group within {days} days, has none")
    last = max(recent, key=_latest_and_worst)
    if last[1].output is None:
        return Missing("needs how the last session of this muscle group went, it does not say")
    return last


def _latest_and_worst(last: tuple[datetime, Session]) -> tuple[datetime, bool, float, bool]:
    began, session = last
    drop = session.output_drop_percent or 0.0
    return began, session.output is not None, drop, session.output == CUT_SHORT
