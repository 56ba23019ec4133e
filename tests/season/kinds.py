"""Kinds of athletes: how old they are, what a week of theirs holds, and how much befalls them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, time

from dawnrule.model.entities import Block

MONDAY, TUESDAY, WEDNESDAY, THURSDAY, FRIDAY, SATURDAY, SUNDAY = range(7)

COMPETITIONS = (date(2026, 5, 16), date(2026, 10, 3))
"""When those who compete do."""

Hour = time
Planned = tuple[Hour, tuple[Block, ...]]
"""What is planned on a day of the week, and when it starts."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of athlete. ``born`` are the years of birth, ``is_used_to_it`` how little a usual
    session leaves behind, from 0 (everything is new) to 1; ``competition`` takes place on the
    dates of ``COMPETITIONS``."""

    name: str
    born: range
    training_status: str
    is_used_to_it: float
    week: Mapping[int, Planned]
    competition: Block | None = None


def growth(pattern: str, sets: int) -> Block:
    return Block("hypertrophy", pattern=pattern, modality="free-weights", sets=sets, reps=10)


def machine(group: str, sets: int) -> Block:
    return Block("hypertrophy", (group,), modality="machines", sets=sets, reps=12)


def strength(pattern: str, sets: int = 5, reps: int = 5) -> Block:
    return Block(
        "strength",
        pattern=pattern,
        modality="free-weights",
        sets=sets,
        reps=reps,
        rest_seconds=180,
    )


def endurance(goal: str, modality: str, minutes: float) -> Block:
    return Block(goal, modality=modality, minutes=minutes)


EVENING, AFTERNOON, FORENOON = time(18), time(15), time(10)
WALK = endurance("steady-endurance", "walking", 40)
PRACTICE = endurance("intervals", "court-sport", 75)
MATCH = replace(endurance("intervals", "court-sport", 80), competition=True, contact=True)
MEET = replace(strength("squat", 3, 1), competition=True)
RACE = replace(endurance("long-endurance", "flat-running", 90), competition=True)
EASY_RUN = endurance("steady-endurance", "flat-running", 40)

KINDS = (
    Kind(
        "beginner",
        range(1980, 2004),
        "novice",
        0.35,
        {
            MONDAY: (EVENING, (growth("squat", 3), growth("horizontal-press", 3))),
            THURSDAY: (EVENING, (growth("hinge", 3), growth("horizontal-pull", 3))),
            SATURDAY: (FORENOON, (WALK,)),
        },
    ),
    Kind(
        "strength",
        range(1985, 2004),
        "advanced",
        0.8,
        {
            MONDAY: (EVENING, (strength("squat"), strength("horizontal-press"))),
            TUESDAY: (EVENING, (strength("horizontal-pull"),)),
            THURSDAY: (EVENING, (strength("hinge", 3, 3), strength("vertical-press"))),
            SATURDAY: (FORENOON, (strength("squat", 5, 3), strength("horizontal-press", 5, 3))),
        },
        MEET,
    ),
    Kind(
        "growth",
        range(1985, 2004),
        "trained",
        0.7,
        {
            MONDAY: (EVENING, (growth("horizontal-press", 6), growth("horizontal-pull", 6))),
            TUESDAY: (EVENING, (growth("squat", 5), machine("hamstrings", 4))),
            THURSDAY: (EVENING, (growth("vertical-press", 5), growth("vertical-pull", 6))),
            FRIDAY: (EVENING, (growth("hinge", 4), machine("quadriceps", 4))),
        },
    ),
    Kind(
        "endurance",
        range(1975, 2004),
        "trained",
        0.8,
        {
            MONDAY: (EVENING, (EASY_RUN,)),
            TUESDAY: (EVENING, (endurance("intervals", "flat-running", 50),)),
            WEDNESDAY: (EVENING, (endurance("steady-endurance", "cycling", 60),)),
            THURSDAY: (EVENING, (endurance("intervals", "flat-running", 50),)),
            FRIDAY: (EVENING, (strength("squat", 3),)),
            SUNDAY: (FORENOON, (endurance("long-endurance", "flat-running", 100),)),
        },
        RACE,
    ),
    Kind(
        "team sport",
        range(1995, 2007),
        "trained",
        0.75,
        {
            MONDAY: (EVENING, (strength("squat", 3), strength("horizontal-press", 3))),
            TUESDAY: (EVENING, (PRACTICE,)),
            THURSDAY: (EVENING, (PRACTICE,)),
            SATURDAY: (AFTERNOON, (MATCH,)),
        },
    ),
    Kind(
        "fifteen",
        range(2010, 2012),
        "novice",
        0.7,
        {
            MONDAY: (EVENING, (PRACTICE,)),
            TUESDAY: (EVENING, (strength("squat", 3, 8),)),
            WEDNESDAY: (EVENING, (PRACTICE,)),
            FRIDAY: (EVENING, (PRACTICE,)),
            SATURDAY: (AFTERNOON, (MATCH,)),
        },
    ),
    Kind(
        "sixty-two",
        range(1962, 1966),
        "trained",
        0.6,
        {
            MONDAY: (FORENOON, (growth("squat", 4), growth("horizontal-press", 4))),
            TUESDAY: (FORENOON, (endurance("steady-endurance", "cycling", 45),)),
            THURSDAY: (FORENOON, (growth("hinge", 3), growth("horizontal-pull", 4))),
            FRIDAY: (FORENOON, (WALK,)),
            SUNDAY: (FORENOON, (WALK,)),
        },
    ),
)
