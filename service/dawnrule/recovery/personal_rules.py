"""A rule set of one athlete's own, as a proposal: growth work of a muscle group waits for as long
as its soreness was seen to last.

It only ever asks for more hours than the rules that it extends: that a muscle is no longer sore
does not say that it has recovered (Nosaka 2002, Scand J Med Sci Sports 12(6):337-346).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil

from dawnrule.i18n.catalog import Texts
from dawnrule.model import Vocabulary
from dawnrule.recovery.forecast import OWN, AthleteRecovery
from dawnrule.recovery.low import Low
from dawnrule.recovery.numbers import RecoveryNumbers

_GROWTH = "growth"
_STEP_HOURS = 6
_LONGEST_HOURS = 120


@dataclass(frozen=True, slots=True)
class OwnHours:
    """The hours that a muscle group is proposed to wait, and the evidence for them."""

    muscle_group: str
    hours: int
    times_seen: int
    half_from_hours: int
    half_to_hours: int
    low: Low

    @property
    def usual_soreness(self) -> float | None:
        """The own usual that counted as low; None where soreness was under the limit each time."""
        return self.low.usual


def own_hours(recovery: AthleteRecovery, least_hours: float, now: datetime) -> list[OwnHours]:
    """Return the muscle groups that are likely sore for longer than rules ask for
    (``least_hours``), rounded up to 6 h; those of which too little was seen are left out."""
    found = []
    for group in recovery.groups(now):
        likely = recovery.usual(group.muscle_group).hours_at(recovery.numbers.likely)
        hours = min(ceil(likely / _STEP_HOURS) * _STEP_HOURS, _LONGEST_HOURS)
        if group.basis == OWN and hours > least_hours:
            half = (round(group.half_from_hours), round(group.half_to_hours))
            found.append(OwnHours(group.muscle_group, hours, group.times_seen, *half, group.low))
    return found


def rule_file(athlete_id: str, extends: str, proposed: Sequence[OwnHours]) -> str:
    """Write a rule file that extends ``extends`` (name@version) with a rule for each muscle group;
    at least one. A coach reads it, checks it and publishes it, or does not."""
    head = _HEAD.format(athlete_id=athlete_id, extends=extends)
    return head + "".join(_rule(one) for one in proposed)


_HEAD = """\
rule_set: recovery-{athlete_id}
version: 1.0.0
summary: Growth work waits for as long as soreness was seen to last, for this athlete alone.
extends: {extends}
rules:
"""

_RULE = """\
  - id: own-recovery-{muscle_group}
    title: {title}
    scope: part
    when:
      all:
        - {{fact: goal, is: hypertrophy}}
        - {{fact: muscle_group, is: {muscle_group}}}
        - {{fact: hours_since_growth_work, below: {hours}}}
    verdict: swap-to-low-damage
    reason: >-
      {{muscle_group}} had growth work {{hours_since_growth_work:.1f}} h before this block. Here it
      took {half_from_hours} to {half_to_hours} h half of the time until soreness was {low}, so it
      waits {hours} h.
    caution: Train another muscle group, or do strength or skill work of this one.
    basis:
      kind: house
      source: own check-ins and training log
      note: >-
        Seen {times_seen} times. After {hours} h soreness was {low} in at least 8 of 10 cases, by
        the service's forecast.
    wrong_when: The work was much lighter or much harder than usual.
    examples:
{examples}"""

_EXAMPLE = """\
      - facts:
          goal: {goal}
          muscle_group: {muscle_group}
          hours_since_growth_work: {hours:g}
        fires: {fires}
"""


def _rule(one: OwnHours) -> str:
    words = Vocabulary.bundled()
    other = next(group for group in words.muscle_groups if group != one.muscle_group)
    just_before = one.hours - 0.1
    examples = (
        ("hypertrophy", one.muscle_group, just_before, True),
        ("hypertrophy", one.muscle_group, one.hours, False),
        ("hypertrophy", other, just_before, False),
        ("strength", one.muscle_group, just_before, False),
    )
    return _RULE.format(
        title=f"Growth work of {words.label(one.muscle_group)} before its own {one.hours} hours",
        muscle_group=one.muscle_group,
        hours=one.hours,
        half_from_hours=one.half_from_hours,
        half_to_hours=one.half_to_hours,
        times_seen=one.times_seen,
        low=one.low.words(Texts.bundled(), RecoveryNumbers.bundled().low_under[_GROWTH]),
        examples="".join(
            _EXAMPLE.format(
                goal=goal, muscle_group=group, hours=hours, fires="true" if fires else "false"
            )
            for goal, group, hours, fires in examples
        ),
    )
