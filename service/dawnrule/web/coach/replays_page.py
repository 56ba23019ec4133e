"""What does a coach read about a replay: how far it is, and what would have changed? (pure)"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dawnrule.advice.compose import Composer
from dawnrule.advice.replay import Replayed
from dawnrule.rules.columns import ChangedMorning
from dawnrule.store import ReplayState, StoredReplay

CHANGES_SHOWN = 100
"""How many mornings a page lists; its counts are of all."""

GOING_ON = (ReplayState.WAITING, ReplayState.RUNNING)
"""The states of a replay that will change by itself."""

_TURNS = ("less", "same", "more")


@dataclass(frozen=True, slots=True)
class VerdictRow:
    """A verdict told and the one now, with how many days and parts have these two."""

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
    """How many days a rule decided then and decides now, and on how many days and parts it fires
    now; ``rule`` is None for no rule."""

    rule: str | None
    decided_before: int
    decided_now: int
    fired: int


@dataclass(frozen=True, slots=True)
class AthleteRow:
    """On how many days an athlete would be less, as much, or more protected."""

    name: str
    less: int
    same: int
    more: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a replay found so far; ``changed`` are the newest mornings that come out otherwise, and
    ``changed_in_all`` says how many there are."""

    mornings: int
    decisions: int
    verdicts: tuple[VerdictRow, ...]
    rules: tuple[RuleRow, ...]
    athletes: tuple[AthleteRow, ...]
    changed: tuple[ChangedMorning, ...]
    changed_in_all: int


def outcome(result: Replayed, names: Mapping[str, str]) -> Outcome:
    """The tables of a result; ``names`` are the athletes' by id."""
    newest = sorted(result.changed, key=lambda one: (one.date, one.athlete_id), reverse=True)
    return Outcome(
        result.mornings,
        result.decisions,
        _verdicts(result),
        _rules(result),
        _athletes(result, names),
        tuple(newest[:CHANGES_SHOWN]),
        len(newest),
    )


def progress_told(replay: StoredReplay, composer: Composer) -> str:
    """How far a replay is, in words."""
    say = composer.texts.say
    state = say(f"coach_rules.state_{replay.state.value}")
    if replay.mornings is None:
        return state
    done = say("coach_rules.done_of", done=replay.mornings_done, of=replay.mornings)
    return f"{state} {done}"


def _verdicts(result: Replayed) -> tuple[VerdictRow, ...]:
    """Those that stay the same first."""
    days, parts = result.counts["days"], result.counts["parts"]
    pairs = sorted(days | parts, key=lambda pair: (pair[0] != pair[1], pair))
    return tuple(
        VerdictRow(before, after, days[before, after], parts[before, after])
        for before, after in pairs
    )


def _rules(result: Replayed) -> tuple[RuleRow, ...]:
    counts = [result.counts[name] for name in ("decided_before", "decided_now", "fired")]
    rules = sorted({rule or "" for count in counts for (rule,), found in count.items() if found})
    return tuple(
        RuleRow(rule or None, *(count[rule or None,] for count in counts)) for rule in rules
    )


def _athletes(result: Replayed, names: Mapping[str, str]) -> tuple[AthleteRow, ...]:
    counts = result.counts["athletes"]
    return tuple(
        AthleteRow(names.get(who, who), *(counts[who, turn] for turn in _TURNS))
        for who in sorted({who for who, _ in counts})
    )
