"""Replay of past mornings under another rule set (pure).

The recorded facts are decided again, for the latest advice of each athlete and date. Dates are
processed in steps, so that a replay can be stopped and resumed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from functools import cache
from typing import Any, Self, TypeAlias

from dawnrule.model import Verdict
from dawnrule.rules.columnar import ChangedMorning, ColumnDecisions, MorningTable

SUBJECTS_IN_A_STEP = 100_000
"""Days and parts decided at a time: enough for columns to be fast, few enough to stop at once."""

Counts: TypeAlias = Counter[tuple[Any, ...]]

_VERDICTS = ("verdict", "after")
_CHANGED = tuple(field.name for field in fields(ChangedMorning))

_KEYS: Mapping[str, tuple[str, ...]] = {
    "days": ("before", "after"),
    "parts": ("before", "after"),
    "fired": ("rule",),
    "decided_before": ("rule",),
    "decided_now": ("rule",),
    "athletes": ("athlete_id", "protected"),
}
"""The counts, and the keys of each."""


@dataclass(frozen=True, slots=True)
class Dates:
    """A range of dates, both ends included, and its number of mornings."""

    first: date
    last: date
    mornings: int


def dates_in_steps(table: MorningTable) -> Iterator[Dates]:
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

    ``counts`` has, by name: ``days`` and ``parts`` by the verdict then and now; ``fired``, by rule,
    the days or parts on which it fires now; ``decided_before`` and ``decided_now``, by rule, the
    days that it decided then and now, None for no rule; ``athletes``, by athlete, the days that are
    now ``less``, ``same`` or ``more`` protected. ``changed`` has the mornings with another
    decision, by date and athlete.
    """

    mornings: int
    decisions: int
    counts: Mapping[str, Counts]
    changed: tuple[ChangedMorning, ...]

    @classmethod
    def of(cls, decided: ColumnDecisions) -> Self:
        """Count some decisions."""
        athletes: Counts = Counter()
        for (who, before, after), count in decided.counts("day", "athlete_id", *_VERDICTS).items():
            athletes[who, _protected(before, after)] += count
        return cls(
            len(decided.days),
            len(decided.days) + len(decided.parts),
            {
                "days": Counter(decided.counts("day", *_VERDICTS)),
                "parts": Counter(decided.counts("part", *_VERDICTS)),
                "fired": Counter({(rule,): count for rule, count in decided.fired().items()}),
                "decided_before": Counter(decided.counts("day", "rule_id")),
                "decided_now": Counter(decided.counts("day", "rule_after")),
                "athletes": athletes,
            },
            tuple(decided.changed()),
        )

    @classmethod
    def sum(cls, results: Iterable[Self]) -> Self:
        """Add up the results of several steps."""
        results = list(results)
        return cls(
            sum(result.mornings for result in results),
            sum(result.decisions for result in results),
            {name: _total(result.counts[name] for result in results) for name in _KEYS},
            tuple(changed for result in results for changed in result.changed),
        )

    @classmethod
    def from_json(cls, plain: Mapping[str, Any]) -> Self:
        """Read the result that ``to_json`` wrote."""
        return cls(
            plain["mornings"],
            plain["decisions"],
            {
                name: Counter(
                    {tuple(row[key] for key in keys): row["count"] for row in plain[name]}
                )
                for name, keys in _KEYS.items()
            },
            tuple(map(_changed, plain["changed"])),
        )

    def to_json(self) -> dict[str, Any]:
        """Convert to plain JSON values, each count with its keys."""
        return {
            "mornings": self.mornings,
            "decisions": self.decisions,
            **{name: _rows(keys, self.counts[name]) for name, keys in _KEYS.items()},
            "changed": [_changed_row(one) for one in self.changed],
        }


def _dates(together: Sequence[tuple[date, int]]) -> Dates:
    return Dates(together[0][0], together[-1][0], sum(mornings for _, mornings in together))


def _total(counts: Iterable[Counts]) -> Counts:
    total: Counts = Counter()
    for some in counts:
        total.update(some)
    return total


@cache
def _protected(before: str, after: str) -> str:
    more = Verdict(after).protection - Verdict(before).protection
    return "more" if more > 0 else "less" if more < 0 else "same"


def _rows(keys: Sequence[str], counts: Counts) -> list[dict[str, Any]]:
    """Make a row of each count, largest first."""
    ordered = sorted(counts.items(), key=lambda entry: (-entry[1], str(entry[0])))
    return [dict(zip(keys, key, strict=True)) | {"count": count} for key, count in ordered]


def _changed_row(one: ChangedMorning) -> dict[str, Any]:
    row = {name: getattr(one, name) for name in _CHANGED}  # asdict takes several times as long
    return row | {"date": one.date.isoformat()}


def _changed(row: Mapping[str, Any]) -> ChangedMorning:
    return ChangedMorning(**{**row, "date": date.fromisoformat(row["date"])})
