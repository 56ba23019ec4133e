"""Who drifts: each athlete's last mornings beside the athlete's own usual."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from dawnrule.application.groups import members
from dawnrule.facts.drift import DriftRules, Standing, largest, standings
from dawnrule.model.entities import Athlete, CheckIn
from dawnrule.store import Transaction


@dataclass(frozen=True, slots=True)
class AthleteDrift:
    """How an athlete's measures stand on the athlete's own date, each by itself."""

    athlete: Athlete
    on: date
    standings: tuple[Standing, ...]

    @property
    def drifts(self) -> bool:
        """Whether any measure does."""
        return any(one.drifts for one in self.standings)


def read_drifts(
    transaction: Transaction, now: datetime, group_id: str | None = None
) -> list[AthleteDrift]:
    """Compare each athlete of a group, or of the squad, at a time (aware); whose measure drifts
    farthest comes first, then by name. Raises ``NotFound`` for an unknown group."""
    among = members(transaction, group_id) if group_id is not None else transaction.athletes.all()
    squad = [(athlete, athlete.today_or_utc(now)) for athlete in among]
    if not squad:
        return []
    rules, dates = DriftRules.bundled(), [on for _, on in squad]
    first = min(dates) - timedelta(days=rules.days_read)
    check_ins: defaultdict[str, list[CheckIn]] = defaultdict(list)
    for check_in in transaction.check_ins.of_everybody(first, max(dates)):
        check_ins[check_in.athlete_id].append(check_in)
    found = [
        AthleteDrift(athlete, on, tuple(standings(check_ins[athlete.id], on, rules)))
        for athlete, on in squad
    ]
    return sorted(found, key=lambda one: (-largest(one.standings), one.athlete.name.casefold()))
