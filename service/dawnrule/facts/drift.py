"""Drifts: an athlete's last mornings beside the athlete's own usual of the weeks before (pure).

Each measure stands for itself; nothing is added up. The figures and their sources stand in
``rules/drift.yaml``, the windows with the facts that have the same usual.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from math import exp, log
from statistics import fmean, median, stdev
from typing import Any, Self

from dawnrule.facts.performance import jump_height_cm
from dawnrule.facts.recovery import hrv_rmssd_ms
from dawnrule.i18n.resources import read_data, rules_folder
from dawnrule.model import FactDictionary
from dawnrule.model.entities import CheckIn

Series = Mapping[date, float]
"""What was reported of one measure, by date; other dates have no value."""

_MIDDLES: Mapping[str, Callable[[Sequence[float]], float]] = {"mean": fmean, "median": median}


@dataclass(frozen=True, slots=True)
class Measure:
    """How one measure is compared; ``rules/drift.yaml`` says what each field means."""

    name: str
    middle: str
    worse: str
    unit: str
    days: int
    least_mornings: int
    least_recent: int
    beyond_sd: float
    least_sd: float
    source: str
    logarithm: bool = False


@dataclass(frozen=True, slots=True)
class DriftRules:
    """``rules/drift.yaml`` in memory."""

    recent_days: int
    followed_days: int
    measures: tuple[Measure, ...]

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Read the figures that ship with the service."""
        data: dict[str, Any] = read_data(rules_folder() / "drift.yaml")
        measures = (_measure(name, entry) for name, entry in data["measures"].items())
        return cls(data["recent_days"], data["followed_days"], tuple(measures))

    @property
    def days_read(self) -> int:
        """How many days up to today are looked at."""
        longest = max(measure.days for measure in self.measures)
        return self.recent_days + longest + self.followed_days


def _measure(name: str, entry: dict[str, Any]) -> Measure:
    fact = entry.pop("fact", None)
    window = FactDictionary.bundled()[fact].parameters if fact else entry
    return Measure(
        name=name,
        **entry | {key: window[key] for key in ("days", "least_mornings")},
    )


@dataclass(frozen=True, slots=True)
class Standing:
    """How one measure stands on a day; of soreness, that of the muscle group that is farthest off.

    ``recent`` is the mean of the last days' mornings, ``usual`` the own usual before them, both in
    the measure's unit; ``sds`` is how many standard deviations of the usual mornings lie between,
    positive in the worse direction. ``days`` counts how long it has drifted, 0 where it does not.
    All are None where too few mornings are known: ``mornings`` of the last days and
    ``usual_mornings`` before.
    """

    measure: Measure
    mornings: int
    usual_mornings: int
    muscle_group: str | None = None
    recent: float | None = None
    usual: float | None = None
    sds: float | None = None
    days: int | None = None
    since: date | None = None

    @property
    def drifts(self) -> bool:
        """Whether it is off the usual by as much as counts as a drift, in the worse direction."""
        return bool(self.days)


def standings(check_ins: Iterable[CheckIn], today: date, rules: DriftRules) -> list[Standing]:
    """Compare each measure of one athlete on a date; check-ins of later dates do not count."""
    known = [check_in for check_in in check_ins if check_in.date <= today]
    return [
        max(
            (_standing(one, series, group, today, rules) for group, series in _series(one, known)),
            key=_distance,
        )
        for one in rules.measures
    ]


def largest(of_athlete: Sequence[Standing]) -> float:
    """Return the distance of the measure that drifts farthest; 0 where none does."""
    return max((one.sds or 0.0 for one in of_athlete if one.drifts), default=0.0)


def _distance(one: Standing) -> tuple[bool, float]:
    return one.sds is not None, one.sds or 0.0


def _series(
    measure: Measure, check_ins: Sequence[CheckIn]
) -> Iterator[tuple[str | None, dict[date, float]]]:
    """Yield what was reported of a measure; of soreness for each muscle group."""
    if measure.name == "soreness":
        groups = dict.fromkeys(group for one in check_ins for group in one.soreness)
        for group in groups:
            yield group, {c.date: c.soreness[group] for c in check_ins if group in c.soreness}
        if groups:
            return
    values = ((one.date, _READ[measure.name](one)) for one in check_ins)
    yield None, {day: value for day, value in values if value is not None}


_READ: Mapping[str, Any] = {
    "sleep_hours": lambda one: one.sleep.hours,
    "fatigue": lambda one: one.fatigue,
    "soreness": lambda one: None,  # nobody reported any
    "resting_hr_bpm": lambda one: one.resting_hr_bpm,
    "hrv_rmssd_ms": lambda one: hrv_rmssd_ms(one) or None,  # 0 ms has no logarithm
    "jump_height_cm": jump_height_cm,
}


@dataclass(frozen=True, slots=True)
class _Compared:
    """The last days beside the usual, in what is compared: logarithms where the measure says so."""

    recent: float
    usual: float
    sds: float


def _standing(
    measure: Measure, series: Series, group: str | None, today: date, rules: DriftRules
) -> Standing:
    recent, before = _windows(measure, series, today, rules)
    found = _compare(measure, recent, before)
    if found is None:
        return Standing(measure, len(recent), len(before), group)
    days = 0
    compared: _Compared | None = found
    while compared is not None and compared.sds >= measure.beyond_sd and days < rules.followed_days:
        days += 1
        compared = _compare(measure, *_windows(measure, series, _ago(today, days), rules))
    shown = exp if measure.logarithm else float
    return Standing(
        measure,
        len(recent),
        len(before),
        group,
        shown(found.recent),
        shown(found.usual),
        found.sds,
        days,
        _ago(today, days - 1) if days else None,
    )


def _ago(day: date, days: int) -> date:
    return day - timedelta(days=days)


def _windows(
    measure: Measure, series: Series, day: date, rules: DriftRules
) -> tuple[list[float], list[float]]:
    """Return the values of the last days up to a date, and of the days before them."""
    read = log if measure.logarithm else float
    ages = range(rules.recent_days + measure.days)
    values = {age: read(series[on]) for age in ages if (on := _ago(day, age)) in series}
    recent = [value for age, value in values.items() if age < rules.recent_days]
    return recent, [value for age, value in values.items() if age >= rules.recent_days]


def _compare(
    measure: Measure, recent: Sequence[float], before: Sequence[float]
) -> _Compared | None:
    if len(recent) < measure.least_recent or len(before) < measure.least_mornings:
        return None
    now, usual = fmean(recent), _MIDDLES[measure.middle](before)
    sd = max(stdev(before), measure.least_sd)
    apart = now - usual if measure.worse == "higher" else usual - now
    return _Compared(now, usual, apart / sd)
