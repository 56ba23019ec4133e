"""Replay of past mornings under another rule set (pure).

The recorded facts are decided again, for the latest advice of each athlete and date. Dates are
processed in steps, so that a replay can be stopped and resumed.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import astuple, dataclass
from datetime import date
from functools import cache
from typing import Any, Self, TypeAlias, TypeVar

from dawnrule.model import Verdict
from dawnrule.rules import columnar
from dawnrule.rules.columnar import ChangedMorning
from dawnrule.rules.rule_set import RuleSet

SUBJECTS_IN_A_STEP = 100_000
"""Days and parts decided at a time: enough for columns to be fast, few enough to stop at once."""

_VERDICTS = ("verdict", "after")

_VERDICTS_THEN_NOW, _RULE_THEN, _RULE_NOW = (0, 2), (1,), (3,)
"""Where they stand in what a database counts: verdict and rule then, verdict and rule now."""


@dataclass(frozen=True, slots=True)
class VerdictCount:
    """The number of days or parts with a verdict then and one now."""

    before: str
    after: str
    count: int


@dataclass(frozen=True, slots=True)
class RuleCount:
    """The number of days or parts of a rule, None for no rule."""

    rule: str | None
    count: int


@dataclass(frozen=True, slots=True)
class AthleteCount:
    """The number of an athlete's days that are now ``less``, ``same`` or ``more`` protected."""

    athlete_id: str
    protected: str
    count: int


Count: TypeAlias = VerdictCount | RuleCount | AthleteCount
C = TypeVar("C", VerdictCount, RuleCount, AthleteCount)


@dataclass(frozen=True, slots=True)
class Dates:
    """A range of dates, both ends included, and its number of mornings."""

    first: date
    last: date
    mornings: int


def dates_in_steps(table: columnar.MorningTable) -> Iterator[Dates]:
    """Split the dates of a table, in order, into steps."""
    together: list[tuple[date, int]] = []
    room = SUBJECTS_IN_A_STEP
    for day, mornings, subjects in table.sizes():
        together.append((day, mornings))
        room -= subjects
        if room <= 0:
            yield _dates(together)
            together, room = [], SUBJECTS_IN_A_STEP
    if together:
        yield _dates(together)


@dataclass(frozen=True, slots=True)
class Replayed:
    """The result of a replay. ``decisions`` counts those on days and on parts.

    ``fired`` has the days or parts on which each rule fires now, ``decided_before`` and
    ``decided_now`` the days that it decided then and now. Counts are in order, largest first.
    ``changed`` has the mornings with another decision, by date and athlete.
    """

    mornings: int
    decisions: int
    days: tuple[VerdictCount, ...]
    parts: tuple[VerdictCount, ...]
    fired: tuple[RuleCount, ...]
    decided_before: tuple[RuleCount, ...]
    decided_now: tuple[RuleCount, ...]
    athletes: tuple[AthleteCount, ...]
    changed: tuple[ChangedMorning, ...]

    @classmethod
    def of(cls, decided: columnar.ColumnDecisions) -> Self:
        """Count some decisions."""
        by_athlete = decided.counts("day", "athlete_id", *_VERDICTS).items()
        protected = (((who, _protected(*verdicts)), n) for (who, *verdicts), n in by_athlete)
        return cls(
            mornings=len(decided.days),
            decisions=len(decided.days) + len(decided.parts),
            days=_counted(VerdictCount, decided.counts("day", *_VERDICTS).items()),
            parts=_counted(VerdictCount, decided.counts("part", *_VERDICTS).items()),
            fired=_counted(RuleCount, (((rule,), n) for rule, n in decided.fired().items())),
            decided_before=_counted(RuleCount, decided.counts("day", "rule_id").items()),
            decided_now=_counted(RuleCount, decided.counts("day", "rule_after").items()),
            athletes=_counted(AthleteCount, protected),
            changed=tuple(decided.changed()),
        )

    @classmethod
    def sum(cls, results: Iterable[Self]) -> Self:
        """Add up the results of several steps."""
        steps = list(results)
        return cls(
            mornings=sum(step.mornings for step in steps),
            decisions=sum(step.decisions for step in steps),
            days=_sum(VerdictCount, (step.days for step in steps)),
            parts=_sum(VerdictCount, (step.parts for step in steps)),
            fired=_sum(RuleCount, (step.fired for step in steps)),
            decided_before=_sum(RuleCount, (step.decided_before for step in steps)),
            decided_now=_sum(RuleCount, (step.decided_now for step in steps)),
            athletes=_sum(AthleteCount, (step.athletes for step in steps)),
            changed=tuple(changed for step in steps for changed in step.changed),
        )


def replayed_of_counts(
    rule_set: RuleSet, verdicts: Iterable[Sequence[Any]], fired: Sequence[int | None]
) -> Replayed:
    """Collect what a database has counted: the rows of ``query.counts_of_verdicts`` and the row of
    ``query.counts_of_fired``. Nothing is known of single athletes and mornings."""
    rows = [(bool(is_day), tuple(rest), count) for is_day, *rest, count in verdicts]
    days = [(decision, count) for is_day, decision, count in rows if is_day]
    parts = [(decision, count) for is_day, decision, count in rows if not is_day]

    def by(places: Sequence[int], counts: Iterable[tuple[tuple[Any, ...], int]]) -> Any:
        return ((tuple(key[place] for place in places), count) for key, count in counts)

    mornings = sum(count for _, count in days)
    return Replayed(
        mornings=mornings,
        decisions=mornings + sum(count for _, count in parts),
        days=_counted(VerdictCount, by(_VERDICTS_THEN_NOW, days)),
        parts=_counted(VerdictCount, by(_VERDICTS_THEN_NOW, parts)),
        fired=_counted(
            RuleCount,
            (((rule.id,), count or 0) for rule, count in zip(rule_set.rules, fired, strict=True)),
        ),
        decided_before=_counted(RuleCount, by(_RULE_THEN, days)),
        decided_now=_counted(RuleCount, by(_RULE_NOW, days)),
        athletes=(),
        changed=(),
    )


@dataclass(frozen=True, slots=True)
class VerdictRow:
    """A verdict given and the one now, with the numbers of days and parts that have these two."""

    before: str
    after: str
    days: int
    parts: int

    @property
    def is_same(self) -> bool:
        """Whether the verdict stays."""
        return self.before == self.after


@dataclass(frozen=True, slots=True)
class RuleRow:
    """On how many days a rule decided then and decides now, and on how many days and parts it fires
    now; ``rule`` is None for no rule."""

    rule: str | None
    decided_before: int
    decided_now: int
    fired: int


@dataclass(frozen=True, slots=True)
class AthleteRow:
    """On how many days an athlete would be less, equally, or more protected."""

    athlete_id: str
    less: int
    same: int
    more: int


def verdict_rows(result: Replayed) -> tuple[VerdictRow, ...]:
    """Tabulate pairs of verdicts, unchanged ones first."""
    days, parts = _by_key(result.days), _by_key(result.parts)
    pairs = sorted(days | parts, key=lambda pair: (pair[0] != pair[1], pair))
    return tuple(
        VerdictRow(one, other, days[one, other], parts[one, other]) for one, other in pairs
    )


def rule_rows(result: Replayed) -> tuple[RuleRow, ...]:
    """Tabulate the rules by id; no rule comes first."""
    counts = [_by_key(some) for some in (result.decided_before, result.decided_now, result.fired)]
    rules = sorted({rule or "" for count in counts for (rule,) in count})
    return tuple(
        RuleRow(rule or None, *(count[rule or None,] for count in counts)) for rule in rules
    )


def athlete_rows(result: Replayed) -> tuple[AthleteRow, ...]:
    """Tabulate the athletes by id."""
    days = _by_key(result.athletes)
    return tuple(
        AthleteRow(who, *(days[who, how] for how in ("less", "same", "more")))
        for who in sorted({who for who, _ in days})
    )


@dataclass(frozen=True, slots=True)
class ClubRow:
    """On how many days athletes of a club would be less, equally, or more protected."""

    club: str
    less: int
    same: int
    more: int


def club_rows(result: Replayed) -> tuple[ClubRow, ...]:
    """Tabulate the clubs of a replay of archives, whose athletes are named ``club/athlete``; of a
    database there are none."""
    days: defaultdict[str, list[AthleteRow]] = defaultdict(list)
    for row in athlete_rows(result):
        club, is_archive, _ = row.athlete_id.partition("/")
        if is_archive:
            days[club].append(row)
    return tuple(
        ClubRow(
            club,
            sum(row.less for row in rows),
            sum(row.same for row in rows),
            sum(row.more for row in rows),
        )
        for club, rows in days.items()
    )


def _dates(together: Sequence[tuple[date, int]]) -> Dates:
    return Dates(together[0][0], together[-1][0], sum(mornings for _, mornings in together))


@cache
def _protected(before: str, after: str) -> str:
    more = Verdict(after).protection - Verdict(before).protection
    return "more" if more > 0 else "less" if more < 0 else "same"


def _counted(
    kind: Callable[..., C], counts: Iterable[tuple[tuple[Any, ...], int]]
) -> tuple[C, ...]:
    """Add up the counts of each key, largest first; a key that was never met keeps its 0."""
    total: Counter[tuple[Any, ...]] = Counter()
    for key, count in counts:
        total[key] += count
    ordered = sorted(total.items(), key=lambda entry: (-entry[1], str(entry[0])))
    return tuple(kind(*key, count) for key, count in ordered)


def _sum(kind: Callable[..., C], steps: Iterable[Sequence[C]]) -> tuple[C, ...]:
    return _counted(kind, (entry for step in steps for entry in _by_key(step).items()))


def _by_key(counts: Sequence[Count]) -> Counter[tuple[Any, ...]]:
    return Counter({astuple(one)[:-1]: one.count for one in counts})
