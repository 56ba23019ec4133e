"""Facts of what a planned block asks for (pure)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from statistics import median
from typing import Literal

from dawnrule.facts.breaks import Break
from dawnrule.facts.history import Past, Unavailable, too_few
from dawnrule.facts.last_trained import LastTrainedTimes
from dawnrule.facts.load_formulas import rise_percent
from dawnrule.facts.work import (
    SPEED,
    WorkLog,
    concentric_only,
    contacts_of,
    is_running,
    is_to_failure,
    lands_hard,
)
from dawnrule.model import FactValue, Vocabulary
from dawnrule.model.entities import Block
from dawnrule.model.training import groups_of

PER_CENT = 100


def prescription_facts(past: Past, block: Block) -> Iterator[tuple[str, FactValue | None]]:
    """Yield what a block says of itself, and what its words mean, whichever muscle group it is
    for; None for what it leaves out."""
    words = past.vocabulary
    yield "is_competition", bool(block.competition)
    yield "planned_effort", block.effort
    yield "planned_reps_in_reserve", block.reps_in_reserve
    yield "planned_to_failure", is_to_failure(block)
    yield "planned_maximal", _is_maximal(past, block)
    yield "planned_contact", _has_contact(past, block)
    yield "new_exercise", block.new_exercise
    yield "action", block.action
    yield "concentric_only", concentric_only(block, words)
    jumping = past.parameters("hours_since_jumps")["modality"]
    contacts, most = contacts_of(block, words, jumping), past.dictionary["planned_contacts"]
    yield "planned_contacts", None if contacts is None else min(contacts, int(most.greatest))
    yield "indoors", block.indoors


def lands_on(group: str | None, block: Block, words: Vocabulary) -> bool:
    """Return whether a block is landing work for a muscle group, or for one that is not known."""
    return lands_hard(block, words) and (group is None or group in words.leg_groups)


def _is_maximal(past: Past, block: Block) -> bool:
    limits, words = past.parameters("planned_maximal"), past.vocabulary
    if block.effort is not None and block.effort >= limits["effort"]:
        return True
    if block.goal == SPEED:
        return block.effort is None or block.effort >= limits["speed_effort"]
    is_strength = words.goals[block.goal] == "force" and block.goal in words.lifting_goals
    heavy = block.reps is not None and 0 < block.reps <= limits["reps"]
    loaded = block.modality is None or block.modality in limits["modalities"]
    return is_strength and heavy and loaded


def _has_contact(past: Past, block: Block) -> bool | None:
    if block.contact is not None or block.modality is None:
        return block.contact
    return past.vocabulary.modalities[block.modality].contact


_SAYS_NEITHER = Unavailable("needs planned sets or minutes, the plan does not say them")


@dataclass(frozen=True, slots=True)
class UsualAmounts:
    """The usual sets of a muscle group, and the usual minutes of a kind of goal: the median of the
    sessions of the 28 days before a break, else of the last 28 days."""

    past: Past
    log: WorkLog
    trained: LastTrainedTimes
    known: dict[tuple[str, str, date], float | Unavailable] = field(default_factory=dict)
    """The sets of a group, or minutes of a kind, up to a date, that were asked for already."""

    def share(
        self, block: Block, group: str | None, others: Sequence[Block], pause: Break | None
    ) -> float | Unavailable:
        """Return the sets of a muscle group on a day of ``block`` and ``others``, in per cent of
        the usual; for a block without sets, the minutes of its goal's kind."""
        words = self.past.vocabulary
        if block.sets is not None and group is not None:
            usual = self._usual("sets", group, pause)
            day = (block, *others)
            planned: float = sum(one.sets or 0 for one in day if group in groups_of(one, words))
        elif block.sets is None and block.minutes is not None:
            kind = words.goals[block.goal]
            usual = self._usual("minutes", kind, pause)
            day = (block, *others)
            planned = sum(one.minutes or 0.0 for one in day if words.goals[one.goal] == kind)
        else:
            return _SAYS_NEITHER
        return usual if isinstance(usual, Unavailable) else planned * PER_CENT / usual

    def _usual(
        self, what: Literal["sets", "minutes"], of: str, pause: Break | None
    ) -> float | Unavailable:
        end = pause.last_trained_on + timedelta(days=1) if pause else self.past.log.today
        if (what, of, end) not in self.known:
            window = self.past.parameters("planned_share_percent")
            first = end - timedelta(days=window["days"])
            before = (
                _sets_by_day(self.trained, of, first, end)
                if what == "sets"
                else _minutes_by_day(self.log, of, first, end)
            )
            usual = [amount for amount in before if amount > 0]
            self.known[what, of, end] = (
                median(usual)
                if len(usual) >= window["least_sessions"]
                else too_few("usual sessions", window["least_sessions"], len(usual))
            )
        return self.known[what, of, end]


def _sets_by_day(trained: LastTrainedTimes, group: str, first: date, end: date) -> list[float]:
    days: dict[date, float] = {}
    for work in trained.of_group(group):
        if first <= work.day < end and work.block.sets is not None:
            days[work.day] = days.get(work.day, 0.0) + work.block.sets
    return list(days.values())


def _minutes_by_day(log: WorkLog, kind: str, first: date, end: date) -> list[float]:
    days: dict[date, float] = {}
    for work in log.between(first, end):
        if work.kind == kind:
            days[work.day] = days.get(work.day, 0.0) + work.minutes
    return list(days.values())


def longest_run_over_percent(past: Past, log: WorkLog, block: Block) -> float | Unavailable | None:
    """Return how far a planned run is above the longest single one of the 30 days before, in per
    cent: in kilometres, else in minutes; None where no run is planned.

    Frandsen 2025, Br J Sports Med 59(17):1203-1210.
    """
    if not is_running(block, past.vocabulary):
        return None
    days = past.parameters("longest_run_over_percent")["days"]
    if not past.log.covers(days):
        return past.log.too_short(days)
    today = past.log.today
    runs = [
        work
        for work in log.between(today - timedelta(days=days), today)
        if is_running(work.block, past.vocabulary)
    ]
    kilometres = [
        km
        for work in runs
        if (km := work.block.longest_run_km or work.block.kilometres) is not None
    ]
    if block.kilometres is not None and any(kilometres):
        return rise_percent(block.kilometres, max(kilometres))
    minutes = [work.minutes for work in runs]
    if block.minutes is not None and any(minutes):
        return rise_percent(block.minutes, max(minutes))
    return Unavailable("needs a run that says as much as the planned one, has none")


def run_minutes_allowed(past: Past, log: WorkLog, block: Block) -> float | Unavailable | None:
    """Return the planned minutes that keep a run at a tenth above the longest of 30 days."""
    over = longest_run_over_percent(past, log, block)
    if over is None or isinstance(over, Unavailable):
        return over
    if block.minutes is None:
        return Unavailable("the plan does not say its minutes")
    percent: float = past.parameters("run_minutes_allowed")["percent"]
    return block.minutes * (PER_CENT + percent) / (PER_CENT + over)
