"""The weeks up to an athlete's next competition, as targets."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from dawnrule.application.athletes import require_athlete
from dawnrule.i18n.catalog import Texts
from dawnrule.store import Transaction
from dawnrule.week.target_words import TargetWords
from dawnrule.week.targets import UsualWeek, WeekTarget, next_competition, targets

_FOUR_WEEKS = timedelta(days=29)


@dataclass(frozen=True, slots=True)
class Targets:
    """On a local date, the next competition (None without one), the usual week (None where nothing
    was trained in the last four), and the weeks that are not over, the next first. ``note`` says
    why there are none, and what would change that; None where there are."""

    athlete_id: str
    today: date
    competition: date | None
    usual: UsualWeek | None
    weeks: tuple[WeekTarget, ...]
    note: str | None

    def words(self, texts: Texts) -> TargetWords | None:
        """Word the weeks; None where there are none."""
        if self.competition is None or not self.weeks:
            return None
        return TargetWords.of(self.competition, self.usual, self.weeks, texts, self.today)


def read_targets(transaction: Transaction, athlete_id: str, texts: Texts, now: datetime) -> Targets:
    """Read what an athlete usually does, and set the weeks before the next competition against it.
    Raises ``NotFound``."""
    athlete = require_athlete(transaction, athlete_id)
    today, competition = athlete.today(now), next_competition(athlete, now)
    found = transaction.sessions.window(athlete_id, now - _FOUR_WEEKS, now)
    usual = UsualWeek.of(athlete, [session for _, session in found], today)
    weeks = () if competition is None else tuple(targets(competition, usual, today))
    note = texts.say("targets_no_competition") if competition is None else None
    return Targets(athlete_id, today, competition, usual, weeks, note)
