"""Staged returns as the facts of a morning ask for them: what a stage allows, what is left."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from functools import cache
from math import ceil

from dawnrule.model import Facts
from dawnrule.model.concern_transitions import Stage, StagePlan, StagePlans, left_of_stage
from dawnrule.model.concerns import Concern, ConcernKind, Restrictions
from dawnrule.rules.limits import Limits, merged
from dawnrule.rules.returns import Return, Returns, stage_allows

_FIXED, _HOURS = "fixed", "hours"
_HOURS_A_DAY = 24


class BundledReturns:
    """The staged returns that ship with the service."""

    def allows(self, staged_return: str, stage: int, facts: Facts) -> bool:
        """Return whether a stage allows a block, by the facts of one of its parts."""
        return stage_allows(Returns.bundled()[staged_return].stage_at(stage), facts)

    def left(self, concern: Concern, on: date, at: datetime, sessions: int) -> int:
        """Return the days or sessions that are left of a concern's stage at the least."""
        plan = stage_plans().get(concern.kind)
        if plan is None:
            return 0
        left = left_of_stage(concern, plan, on, at, sessions)
        return ceil(left / _HOURS_A_DAY if plan.counted_in == _HOURS else left)

    def limits(self, stages: Iterable[tuple[str, int]], told: Iterable[Restrictions]) -> Facts:
        """Return the strictest of the limits that stages and restrictions set, as facts."""
        returns = Returns.bundled()
        of_stages = (returns[after].stage_at(stage).allows.limits for after, stage in stages)
        return dict(merged([*of_stages, *map(_limits, told)]).given())


def _limits(told: Restrictions) -> Limits:
    return Limits(
        effort_at_most=told.effort_at_most,
        minutes_at_most=told.minutes_at_most,
        no_contact=told.no_contact,
        no_maximal=told.no_maximal,
    )


@cache
def stage_plans() -> StagePlans:
    """Return the bundled staged returns by kind of concern."""
    return {
        kind: _plan(staged)
        for staged in Returns.bundled().values()
        for kind in ConcernKind
        if kind.value in staged.after
    }


def _plan(staged: Return) -> StagePlan:
    return StagePlan(
        staged.full_name,
        staged.counted_in,
        tuple(Stage(stage.least, stage.needs_clearance) for stage in staged.stages),
        follows_length=staged.length != _FIXED,
        least=staged.least or 0,
        most=staged.most or 0,
    )
