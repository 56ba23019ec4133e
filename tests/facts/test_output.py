"""Output at the last session of a muscle group: held, dropped or cut short."""

from __future__ import annotations

from dataclasses import replace
from datetime import time
from itertools import permutations
from typing import Any

import pytest

from dawnrule.model.entities import Block, Session
from tests.factories import GROWTH, STRENGTH, days_ago, logged, morning, part_of, session

TONIGHT = replace(GROWTH, starts_at=days_ago(0))
FACTS = ("output_drop_percent", "hours_since_output_drop", "last_session_cut_short")


def told(*sessions: Session) -> dict[str, Any]:
    part = part_of(morning(0, TONIGHT), logged(*sessions))
    return {name: part.facts[name] for name in FACTS if name in part.facts}


def missing(*sessions: Session) -> dict[str, str]:
    part = part_of(morning(0, TONIGHT), logged(*sessions))
    return {name: part.missing[name] for name in FACTS if name in part.missing}


def dropped(days: int, percent: float | None = 12.0, **more: Any) -> Session:
    return session(days, output="dropped", output_drop_percent=percent, **more)


def held(days: int, **more: Any) -> Session:
    return session(days, output="held", **more)


def test_a_fall_is_told_with_the_hours_since_that_session() -> None:
    assert told(held(5), dropped(2)) == {
        "output_drop_percent": 12,
        "hours_since_output_drop": 48,
        "last_session_cut_short": False,
    }


def test_even_a_small_fall_is_told_with_its_hours() -> None:
    assert told(dropped(2, 0.5))["hours_since_output_drop"] == 48


def test_only_the_last_session_counts() -> None:
    assert told(dropped(5), held(2)) == {"output_drop_percent": 0, "last_session_cut_short": False}


def test_a_session_that_was_cut_short_tells_no_percent() -> None:
    cut_short = session(2, output="cut-short")
    assert told(cut_short) == {"last_session_cut_short": True}
    assert set(missing(cut_short)) == {"output_drop_percent", "hours_since_output_drop"}


def test_a_fall_of_unknown_size_is_not_a_fall_of_zero() -> None:
    assert told(dropped(2, None)) == {"last_session_cut_short": False}
    said = "needs by how much output fell, the last session does not say"
    assert missing(dropped(2, None))["output_drop_percent"] == said


def test_a_session_that_does_not_say_how_it_went_hides_the_one_before() -> None:
    assert told(dropped(3), session(2)) == {}
    said = "needs how the last session of this muscle group went, it does not say"
    assert missing(dropped(3), session(2)) == dict.fromkeys(FACTS, said)


def test_sessions_of_other_muscle_groups_do_not_count() -> None:
    chest = dropped(1)
    chest = replace(chest, blocks=(Block("hypertrophy", ("chest",)),))
    assert told(held(2), chest)["output_drop_percent"] == 0


def test_any_block_of_the_session_that_trains_the_muscle_group_counts() -> None:
    mixed = replace(dropped(2), blocks=(Block("strength", ("chest",)), STRENGTH))
    assert told(mixed)["output_drop_percent"] == 12


def test_hours_since_the_fall_run_like_those_since_training() -> None:
    """Both from the block's own start where it has one, so that both open at one time."""
    late_block = replace(GROWTH, starts_at=days_ago(2, time(19)))
    part = part_of(morning(0, TONIGHT), logged(replace(dropped(2), blocks=(late_block,))))
    assert part.facts["hours_since_output_drop"] == 47
    assert part.facts["hours_since_growth_work"] == 47


def test_output_is_remembered_for_28_days() -> None:
    assert told(dropped(28, starts_at=days_ago(28, time(0))))["output_drop_percent"] == 12
    said = "needs a session of this muscle group within 28 days, has none"
    too_old = dropped(29, starts_at=days_ago(29, time(23, 59)))
    assert missing(too_old) == dict.fromkeys(FACTS, said)


def test_without_any_session_nothing_is_told_of_output() -> None:
    said = "needs a session of this muscle group within 28 days, has none"
    assert missing() == dict.fromkeys(FACTS, said)


@pytest.mark.parametrize("start", [days_ago(0), days_ago(0, time(20))])
def test_a_session_that_did_not_begin_before_the_plan_does_not_count(start: Any) -> None:
    assert told(held(2), dropped(0, starts_at=start))["output_drop_percent"] == 0


@pytest.mark.parametrize(
    ("at_once", "told_of_them"),
    [
        ((session(2), held(2), dropped(2, 5.0), dropped(2, 20.0)), {"output_drop_percent": 20.0}),
        ((held(2), dropped(2, 0.5)), {"output_drop_percent": 0.5}),
        ((held(2), session(2, output="cut-short")), {"last_session_cut_short": True}),
        ((session(2), held(2)), {"output_drop_percent": 0.0}),
    ],
)
def test_of_several_sessions_at_once_the_one_that_says_more_and_worse_counts(
    at_once: tuple[Session, ...], told_of_them: dict[str, Any]
) -> None:
    for order in permutations(at_once):
        assert told_of_them.items() <= told(*order).items()


def test_a_block_without_muscle_groups_is_told_nothing_of_output() -> None:
    part = part_of(morning(0, Block("skill")), logged(dropped(2)))
    assert not set(FACTS) & {*part.facts, *part.missing}
