"""A squad of invented athletes of every kind, and the table of what a year said to them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from random import Random

from dawnrule.model import FactDictionary
from dawnrule.model.entities import Athlete, Competition
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from tests.season.around import Around
from tests.season.body import Body
from tests.season.diary import VERSION
from tests.season.kinds import COMPETITIONS, KINDS
from tests.season.year import FIRST, ZONE, Year

VERDICTS = ("train-as-planned", "swap-to-low-damage", "rest")


@dataclass(frozen=True, slots=True)
class Simulated:
    """The years of a squad."""

    years: tuple[Year, ...]

    def shares(self) -> Mapping[str, Counter[str]]:
        """The days of each kind of athlete by what was said."""
        shares: dict[str, Counter[str]] = {kind.name: Counter() for kind in KINDS}
        for year in self.years:
            shares[year.kind.name] += year.counts
        return shares

    def reasons(self, kind: str) -> Counter[str]:
        """The rules that held back a kind of athlete, by the days on which each decided."""
        return sum((year.reasons for year in self.years if year.kind.name == kind), Counter())

    def seen(self) -> Counter[str]:
        """How often each promise was looked at."""
        return sum((year.seen for year in self.years), Counter())

    def broken(self) -> list[str]:
        """The promises that were not kept, each with its athlete and day."""
        return [
            f"{one.athlete} on {one.day}: {one.what} ({one.verdict})"
            for year in self.years
            for one in year.broken
        ]


def newest_baseline() -> RuleSet:
    """The rule set that decides."""
    return RuleSetLibrary.bundled().get("baseline", VERSION)


def simulate(athletes: int, days: int, seed: int, first: date = FIRST) -> Simulated:
    """Let so many athletes live so many days; the same seed gives the same years."""
    decider = Decider(newest_baseline(), FactDictionary.bundled())
    years = [_year(number, seed, decider) for number in range(athletes)]
    for year in years:
        year.live(days, first)
    decider.close()
    return Simulated(tuple(years))


def _year(number: int, seed: int, decider: Decider) -> Year:
    kind = KINDS[number % len(KINDS)]
    random = Random(f"{seed} {number}")
    athlete = Athlete(
        f"{kind.name} {number}",
        f"{kind.name} {number}",
        ZONE.key,
        date(random.choice(kind.born), random.randint(1, 12), random.randint(1, 28)),
        kind.training_status,
        competitions=tuple(Competition(day, "main") for day in COMPETITIONS)
        if kind.competition
        else None,
    )
    rules = newest_baseline().rules
    return Year(athlete, kind, decider, rules, random, Body(kind, random), Around(random))


def table(shares: Mapping[str, Counter[str]]) -> Iterator[str]:
    """The shares of each kind of athlete of the days with a plan, in percent."""
    yield f"{'kind':12} {'days planned':>12} {'train':>7} {'swap':>7} {'rest':>7} {'days off':>9}"
    for kind, counts in shares.items():
        yield _row(kind, counts)
    yield _row("all", sum(shares.values(), Counter()))


def _row(kind: str, counts: Counter[str]) -> str:
    planned = sum(counts[verdict] for verdict in VERDICTS)
    percents = _percents([counts[verdict] for verdict in VERDICTS], planned)
    return f"{kind:12} {planned:12} {percents} {counts['day off']:9}"


def _percents(counts: Iterable[int], of: int) -> str:
    return " ".join(f"{100 * count / of if of else 0:6.1f}%" for count in counts)
