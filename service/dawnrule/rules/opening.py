"""When does time alone turn the verdict to train as planned? (pure)

Facts that grow with the clock change a verdict only where they cross a threshold of the rule set,
and where a training begins that the log holds after the planned start. These moments are worked
out and tried in their order, so the answer is exact to the minute and no clock is stepped.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from dawnrule.rules.what_if import WhatIf
from dawnrule.vocabulary import FactDictionary, Facts, Verdict

ONE_MINUTE = timedelta(minutes=1)
"""The clock's step: answers are whole minutes."""

FactsAt = Callable[[datetime], Facts]


@dataclass(frozen=True, slots=True)
class Opening:
    """``at`` (UTC) is the earliest whole minute at which time alone gives train-as-planned, None
    when it never does. From ``settled_at`` on, time changes nothing more."""

    at: datetime | None
    settled_at: datetime


def opening_of(
    what_if: WhatIf,
    facts_at: FactsAt,
    start: datetime,
    since: Iterable[datetime],
    dictionary: FactDictionary,
) -> Opening:
    """When a part opens that is planned for ``start`` and does not open then.

    ``facts_at`` gives the part's facts as if it started at another time; ``since`` are the times
    from which its growing facts can run: those of every known training of the muscle group.
    """
    fired = what_if.decision(facts_at(start)).fired
    settled_at = start
    for moment in _moments(what_if, start, since, dictionary):
        then = what_if.decision(facts_at(moment))
        if then.verdict is Verdict.TRAIN:
            return Opening(moment, moment)
        if then.fired != fired:
            fired, settled_at = then.fired, moment
    return Opening(None, settled_at)


def _moments(
    what_if: WhatIf, start: datetime, since: Iterable[datetime], dictionary: FactDictionary
) -> list[datetime]:
    """The whole minutes after ``start`` at which an answer can turn: a threshold may have to be
    met, or be passed, which it is a minute later."""
    edges = set(_edges(what_if, dictionary))
    oldest = start.astimezone(UTC) - max(edges)
    recent = [at.astimezone(UTC) for at in since if at >= oldest]
    turns = {at + edge for at in recent for edge in edges}
    met = {_whole_minute(turn) for turn in turns if turn >= start}
    return sorted(at for at in met | {at + ONE_MINUTE for at in met} if at > start)


def _edges(what_if: WhatIf, dictionary: FactDictionary) -> Iterator[timedelta]:
    """How long after a training an answer can turn: at once, and at each threshold."""
    yield timedelta()
    for fact, definition in dictionary.items():
        if definition.grows:
            for test in what_if.thresholds_on(fact):
                if isinstance(test.value, int | float):
                    yield timedelta(hours=test.value)


def _whole_minute(at: datetime) -> datetime:
    """The first whole minute that is not before a time."""
    return at + (datetime.min.replace(tzinfo=UTC) - at) % ONE_MINUTE
