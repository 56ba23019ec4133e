"""Facts of soreness anywhere: the worst, for how long, rising late, passed through (pure)."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from dawnrule.facts.history import Past, Unavailable
from dawnrule.facts.last_trained import LastTrainedTimes
from dawnrule.facts.pain import passed_through
from dawnrule.facts.work import is_easy
from dawnrule.model import FactValue
from dawnrule.model.entities import Block
from dawnrule.model.training import groups_of

_NOT_REPORTED = Unavailable("needs this morning's value, which was not reported")


def worst_soreness(past: Past) -> tuple[str, float] | None:
    """Return the sorest muscle group, of several the first of the vocabulary, and its rating."""
    answered = past.check_in.soreness
    groups = [group for group in past.vocabulary.muscle_groups if group in answered]
    if not groups:
        return None
    sorest = max(groups, key=lambda group: answered[group])
    return sorest, answered[sorest]


def very_sore_mornings(past: Past) -> int | Unavailable:
    """Count the mornings in a row on which one muscle group was very sore; a morning without an
    answer for the group neither counts nor breaks the row."""
    if not past.check_in.soreness:
        return _NOT_REPORTED
    return max(_mornings_very_sore(past, group) for group in past.check_in.soreness)


def _mornings_very_sore(past: Past, group: str) -> int:
    limit, count = past.parameters("very_sore_mornings")["soreness"], 0
    for days_ago in sorted(past.mornings):
        rating = past.mornings[days_ago].soreness.get(group)
        if rating is not None:
            if rating < limit:
                break
            count += 1
    return count


def soreness_rising_late(
    past: Past, trained: LastTrainedTimes, now: datetime
) -> bool | Unavailable:
    """Return whether a muscle group is sorer than yesterday, long after it was trained."""
    yesterday = past.mornings.get(1)
    if yesterday is None:
        return Unavailable("needs soreness of yesterday morning, has none")
    limits = past.parameters("soreness_rising_late")
    at = past.check_in.reported_at or now
    outcomes = []
    for group, rating in past.check_in.soreness.items():
        last = trained.last_before(
            group, at, lambda goal, modality: not is_easy(goal, modality, past.vocabulary)
        )
        if group in yesterday.soreness and last is not None:
            rises = rating >= yesterday.soreness[group] + limits["points"]
            late = at - last > timedelta(hours=limits["hours"])
            outcomes.append(rises and late and rating >= limits["soreness"])
    if not outcomes:
        return Unavailable("needs soreness of both mornings and the last training, has none")
    return any(outcomes)


def soreness_passed_through(past: Past, block: Block) -> float | None:
    """Return the worst soreness of the groups that bear a block's load untrained."""
    if not past.check_in.soreness:
        return None
    trained = groups_of(block, past.vocabulary)
    borne = (g for g in passed_through(block, past.vocabulary) if g not in trained)
    ratings = [past.check_in.soreness[g] for g in borne if g in past.check_in.soreness]
    return max(ratings, default=None)


def soreness_of_goal(past: Past, block: Block) -> Iterator[tuple[str, FactValue]]:
    """Yield the worst soreness of the groups that a block without any could load, and which."""
    answered = past.check_in.soreness
    groups = [group for group in past.vocabulary.could_load[block.goal] if group in answered]
    if groups:
        sorest = max(groups, key=lambda group: answered[group])
        yield "soreness", answered[sorest]
        yield "soreness_from", sorest
