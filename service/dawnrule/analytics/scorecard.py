"""Scorecard of a rule set: how often each rule fired and decided, and what happened afterwards.

Only mornings decided by the rule set itself count, with the latest advice of each athlete and date.
Reports do not follow from the rule alone: read a share beside that of all mornings, with its
interval, and never as an effect.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from math import sqrt
from statistics import NormalDist
from typing import Self, TypeAlias

from dawnrule.facts.last_trained import CUT_SHORT, HELD
from dawnrule.model.entities import Session
from dawnrule.rules import columnar
from dawnrule.rules.columnar import PastMorning, PastSubject
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Store, Transaction

CONFIDENCE = 0.95
"""Confidence level of the intervals."""

LEAST_MORNINGS = 10
"""Fewer mornings are counted, but no share is given: house judgement, no source."""

_Z = NormalDist().inv_cdf((1 + CONFIDENCE) / 2)


def wilson_interval(count: int, of: int) -> tuple[float, float]:
    """Compute the 95 % score interval of a share, ``of`` being 1 or more; it stays between 0
    and 1 and does not shrink to a point at either end.

    Wilson 1927, J Am Stat Assoc 22(158):209-212.
    """
    share = count / of
    weight = _Z**2 / of
    middle = (share + weight / 2) / (1 + weight)
    half = _Z / (1 + weight) * sqrt(share * (1 - share) / of + weight / (4 * of))
    low = 0.0 if count == 0 else middle - half
    high = 1.0 if count == of else middle + half
    return low, high


@dataclass(frozen=True, slots=True)
class Share:
    """``count`` mornings of ``of``, and the ``share`` with the ends ``low`` and ``high`` of its
    95 % interval; with too few mornings all three are None and ``why_none`` says why.
    """

    count: int
    of: int
    share: float | None
    low: float | None
    high: float | None
    why_none: str | None

    @classmethod
    def counted(cls, count: int, of: int) -> Self:
        """Compute the share of a count."""
        if of < LEAST_MORNINGS:
            why = f"needs {LEAST_MORNINGS} mornings, has {of}"
            return cls(count, of, None, None, None, why)
        return cls(count, of, count / of, *wilson_interval(count, of), None)


AthleteDate: TypeAlias = tuple[str, date]

ONE_DAY = timedelta(days=1)

DONE, NOT_DONE = "done", "not-done"
DROPPED = "dropped"
ROSE, SAME, FELL = "rose", "same", "fell"

OUTCOMES: Mapping[str, tuple[str, ...]] = {
    "session": (DONE, NOT_DONE),
    "output": (HELD, CUT_SHORT, DROPPED),
    "soreness_next_day": (ROSE, SAME, FELL),
}
"""The outcomes of a morning, and the values of each."""

_WORST_FIRST = (DROPPED, CUT_SHORT, HELD)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What is known to have followed a morning: a value of ``OUTCOMES`` each, None for not known.

    ``soreness`` has the ratings of that morning and the next by muscle group, for those that were
    rated on both.
    """

    session: str | None = None
    output: str | None = None
    soreness: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def values(self, groups: Iterable[str]) -> Iterator[str]:
        """Yield the known values, at most one of each of ``OUTCOMES``; soreness is that of the
        sorest of some muscle groups that was rated on both mornings."""
        yield from filter(None, (self.session, self.output))
        rated = [self.soreness[group] for group in groups if group in self.soreness]
        if rated:
            before, after = (max(ratings) for ratings in zip(*rated, strict=True))
            yield ROSE if after > before else FELL if after < before else SAME


@dataclass(frozen=True, slots=True)
class Reports:
    """Reports of athletes over some dates: ``sessions`` by local date of their start, ``soreness``
    by date; ``log_begins`` is the date of the first session ever, ``today`` the present date."""

    sessions: Mapping[AthleteDate, list[Session]]
    soreness: Mapping[AthleteDate, Mapping[str, float]]
    log_begins: Mapping[str, date]
    today: Mapping[str, date]

    @classmethod
    def read(cls, transaction: Transaction, first: date, last: date, now: datetime) -> Self:
        """Read the reports of the dates from ``first`` to ``last``; ``now`` is aware."""
        athletes = {athlete.id: athlete for athlete in transaction.athletes.all()}
        begins = datetime.combine(first - ONE_DAY, time.min, UTC)
        ends = datetime.combine(last + 2 * ONE_DAY, time.min, UTC)
        sessions: dict[AthleteDate, list[Session]] = defaultdict(list)
        for session in transaction.sessions.of_everybody(begins, ends):
            athlete = athletes[session.athlete_id]
            sessions[athlete.id, athlete.today_or_utc(session.starts_at)].append(session)
        return cls(
            sessions,
            {
                (check_in.athlete_id, check_in.date): check_in.soreness
                for check_in in transaction.check_ins.of_everybody(first, last + ONE_DAY)
            },
            {
                who: athletes[who].today_or_utc(at)
                for who, at in transaction.sessions.first_starts().items()
            },
            {athlete.id: athlete.today_or_utc(now) for athlete in athletes.values()},
        )

    def outcome(self, morning: PastMorning) -> Outcome:
        """Find what is known to have followed a morning."""
        athlete_id, day = morning.athlete_id, morning.date
        sessions = self.sessions.get((athlete_id, day), [])
        begins, today = self.log_begins.get(athlete_id), self.today.get(athlete_id)
        is_known = begins is not None and today is not None and begins <= day < today
        outputs = {session.output for session in sessions}
        now = self.soreness.get((athlete_id, day), {})
        then = self.soreness.get((athlete_id, day + ONE_DAY), {})
        return Outcome(
            (DONE if sessions else NOT_DONE) if is_known else None,
            next((output for output in _WORST_FIRST if output in outputs), None),
            {group: (now[group], then[group]) for group in now if group in then},
        )


_MORNINGS, _DECIDED = "mornings", "decided"
_ALL = None

_Counted: TypeAlias = defaultdict[str | None, Counter[str]]
"""Counts of mornings by rule, and of all mornings."""


@dataclass(frozen=True, slots=True)
class Score:
    """Some mornings: their number, and for each of ``OUTCOMES`` the share of each value among the
    mornings where it is known."""

    mornings: int
    outcomes: Mapping[str, Mapping[str, Share]]


@dataclass(frozen=True, slots=True)
class RuleScore:
    """One rule: the share of all mornings on which it fired, and on which it decided, for the day
    or any part; and the outcomes where it fired."""

    rule: str
    title: str
    fired: Share
    decided: Share
    after: Score


@dataclass(frozen=True, slots=True)
class Scorecard:
    """The scores of a rule set's rules, in the order of its file, and of all its mornings between
    two dates, which are None when there are no mornings."""

    rule_set: RuleSet
    first: date | None
    last: date | None
    all_mornings: Score
    rules: tuple[RuleScore, ...]

    @property
    def confidence(self) -> float:
        """The confidence of the intervals."""
        return CONFIDENCE


def scorecard(
    store: Store,
    table: columnar.MorningTable,
    rule_set: RuleSet,
    first: date | None,
    last: date | None,
    now: datetime,
) -> Scorecard:
    """Compute the scorecard over the mornings of a table between two dates, both included; None
    leaves an end open. ``now`` (aware) says which dates are over."""
    decided = table.between(first, last).decided_by(rule_set.digest)
    dates = [day for day, _, _ in decided.sizes()]
    if not dates:
        return _scored(rule_set, None, None, defaultdict(Counter))
    reports = store.read(lambda transaction: Reports.read(transaction, dates[0], dates[-1], now))
    return _scored(rule_set, dates[0], dates[-1], _count(decided, reports.outcome))


def scorecard_of_archives(
    table: columnar.MorningTable, rule_set: RuleSet, first: date | None, last: date | None
) -> Scorecard:
    """Compute the scorecard over the mornings of archives, in which the outcomes stand that were
    known when they were exported."""
    decided = table.between(first, last).decided_by(rule_set.digest)
    dates = [day for day, _, _ in decided.sizes()]
    if not dates:
        return _scored(rule_set, None, None, defaultdict(Counter))
    outcomes = archived_outcomes(decided)
    counted = _count(decided, lambda morning: outcomes[morning.position])
    return _scored(rule_set, dates[0], dates[-1], counted)


def outcomes_to_archive(
    store: Store, table: columnar.MorningTable, now: datetime
) -> Iterator[tuple[int, int | None, str | None, str | None, float | None, float | None]]:
    """Yield the outcomes of a table's mornings as rows of ``months.OUTCOMES``; ``now`` is aware."""
    dates = [day for day, _, _ in table.sizes()]
    if not dates:
        return
    reports = store.read(lambda transaction: Reports.read(transaction, dates[0], dates[-1], now))
    for morning in table.mornings():
        known = reports.outcome(morning)
        yield morning.position, None, known.session, known.output, None, None
        for number, part in enumerate(morning.parts):
            group = str(part.facts.get("muscle_group"))
            yield morning.position, number, None, None, *known.soreness.get(group, (None, None))


def archived_outcomes(table: columnar.MorningTable) -> Mapping[int, Outcome]:
    """Read the outcomes of an archive's mornings by their positions."""
    found: dict[int, Outcome] = {}
    for position, part, group, session, output, before, after in columnar.read_outcomes(table):
        if part is None:
            found[position] = Outcome(session, output, {})
        elif group is not None and before is not None and after is not None:
            known = found[position]
            soreness = {**known.soreness, group: (before, after)}
            found[position] = replace(known, soreness=soreness)
    return found


def _count(
    decided: columnar.MorningTable, outcome_of: Callable[[PastMorning], Outcome]
) -> _Counted:
    counted: _Counted = defaultdict(Counter)
    for morning in decided.mornings():
        outcome = outcome_of(morning)
        for rule_id, parts in _fired(morning).items():
            counted[rule_id] += _counts(outcome, parts)
        for rule_id in _deciding(morning):
            counted[rule_id][_DECIDED] += 1
        counted[_ALL] += _counts(outcome, morning.parts)
    return counted


def _fired(morning: PastMorning) -> Mapping[str, list[PastSubject]]:
    """The rules that fired, each with the parts that it fired on; a day rule fires on all."""
    fired: dict[str, list[PastSubject]] = {rule_id: [] for rule_id in morning.day.fired}
    for part in morning.parts:
        for rule_id in part.fired:
            fired.setdefault(rule_id, []).append(part)
    return fired


def _deciding(morning: PastMorning) -> set[str]:
    subjects = (morning.day, *morning.parts)
    return {subject.rule_id for subject in subjects if subject.rule_id is not None}


def _counts(outcome: Outcome, parts: Iterable[PastSubject]) -> Counter[str]:
    """A morning, and what is known to have followed it for the muscle groups of parts."""
    groups = {str(part.facts["muscle_group"]) for part in parts if "muscle_group" in part.facts}
    return Counter({_MORNINGS: 1}) + Counter(outcome.values(groups))


def _scored(
    rule_set: RuleSet, first: date | None, last: date | None, counted: _Counted
) -> Scorecard:
    of = counted[_ALL][_MORNINGS]
    rules = (
        RuleScore(
            rule.id,
            rule.title,
            Share.counted(counted[rule.id][_MORNINGS], of),
            Share.counted(counted[rule.id][_DECIDED], of),
            _score(counted[rule.id]),
        )
        for rule in rule_set.rules
    )
    return Scorecard(rule_set, first, last, _score(counted[_ALL]), tuple(rules))


def _score(counted: Counter[str]) -> Score:
    return Score(
        counted[_MORNINGS],
        {
            outcome: {what: Share.counted(counted[what], _total(counted, each)) for what in each}
            for outcome, each in OUTCOMES.items()
        },
    )


def _total(counted: Counter[str], names: Iterable[str]) -> int:
    return sum(counted[name] for name in names)
