"""Episodes: what the log and the check-ins say of how long soreness lasted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import inf

import pytest

from dawnrule.model import Vocabulary
from dawnrule.model.entities import Block, Session
from dawnrule.recovery.episodes import Episode, Morning, Work, episodes_of, features
from dawnrule.recovery.numbers import RecoveryNumbers

MONDAY_EVENING = datetime(2026, 3, 2, 18, tzinfo=UTC)
SQUATS = Block("hypertrophy", ("quadriceps",), sets=4)


def session(hours: float = 0, block: Block = SQUATS) -> Session:
    return Session("a-01", MONDAY_EVENING + timedelta(hours=hours), 60, (block,))


def mornings(*soreness: float | None, ill_on: int | None = None) -> list[Morning]:
    """Mornings at 6 from the Tuesday on: 12, 36, 60 h after the session."""
    return [
        Morning(
            MONDAY_EVENING + timedelta(hours=12 + 24 * day),
            {} if told is None else {"quadriceps": told},
            "cold" if day == ill_on else "none",
        )
        for day, told in enumerate(soreness)
    ]


def found(
    told: Sequence[Morning], *sessions: Session, low_under: float = 3
) -> list[tuple[float, float]]:
    return [
        (episode.sore_hours, episode.low_hours)
        for episode in _episodes(told, *sessions, low_under=low_under)
    ]


def _episodes(told: Sequence[Morning], *sessions: Session, low_under: float = 3) -> list[Episode]:
    return episodes_of(
        sessions or (session(),),
        told,
        low_under,
        Vocabulary.bundled(),
        RecoveryNumbers.bundled(),
    )


@pytest.mark.parametrize(
    ("soreness", "interval"),
    [
        ((4, 5, 2), (36, 60)),
        ((2, 5, 4, 1), (60, 84)),  # low on the first morning, while it still rises
        ((1, 2), (0, 36)),
        ((4, None, 2), (12, 60)),  # a missing morning makes it less certain
        ((4, 5), (36, inf)),
        ((), (0, inf)),
    ],
)
def test_the_hours_lie_between_the_last_sore_morning_and_the_first_that_is_low(
    soreness: tuple[float | None, ...], interval: tuple[float, float]
) -> None:
    assert found(mornings(*soreness)) == [interval]


def test_force_work_waits_for_less_than_growth_work() -> None:
    assert found(mornings(6, 4, 2), low_under=5) == [(12, 36)]


def test_new_work_cuts_an_episode_off() -> None:
    assert found(mornings(5, 4, 4, 1), session(), session(48)) == [(36, inf), (12, 36)]


def test_work_of_another_kind_or_group_does_not() -> None:
    strength = Block("strength", ("quadriceps",), sets=5)
    chest = Block("hypertrophy", ("chest",), sets=4)
    told = mornings(5, 4, 1)
    assert found(told, session(), session(20, strength)) == [(36, 60)]
    episodes = _episodes(told, session(), session(20, chest))
    assert [e.muscle_group for e in episodes] == ["chest", "quadriceps"]
    assert (episodes[1].sore_hours, episodes[1].low_hours) == (36, 60)


def test_an_illness_cuts_an_episode_off() -> None:
    assert found(mornings(5, 4, 4, 1, ill_on=2)) == [(60, inf)]
    assert _episodes(mornings(5, 4, 4, 1, ill_on=2))[0].is_over


def test_what_lasts_over_a_week_is_put_down_to_something_else() -> None:
    told = mornings(*[4] * 10, 1)
    [episode] = _episodes(told)
    assert (episode.sore_hours, episode.low_hours, episode.is_over) == (156, inf, True)


def test_who_always_says_three_is_read_against_their_own_usual() -> None:
    """As rules do: no more than the median of 28 days, and under 5."""
    before = [
        Morning(MONDAY_EVENING - timedelta(hours=12 + 24 * day), {"quadriceps": 3.0})
        for day in reversed(range(20))
    ]
    assert found([*before, *mornings(4, 5, 3)]) == [(36, 60)]
    assert found(mornings(4, 5, 3)) == [(60, inf)]


@pytest.mark.parametrize("hours_between", [96, 168])
def test_mornings_on_which_soreness_still_falls_are_nobodys_usual(hours_between: int) -> None:
    """6, 6, 4, 3 at 12, 36, 60 and 84 h after growth work, seven times: never under 3."""
    times = range(0, 7 * hours_between, hours_between)
    told = [
        replace(morning, at=morning.at + timedelta(hours=hours))
        for hours in times
        for morning in mornings(6, 6, 4, 3)
    ]
    assert found(told, *map(session, times)) == [(84, inf)] * 7


def test_the_usual_is_what_is_told_long_after_any_work_of_the_group_that_is_not_easy() -> None:
    """Growth work each week, and 3 on every morning from the fourth on: what is told from 5 days
    after work on is the usual, once it was told seven times, in the fourth week."""
    times = range(0, 6 * 168, 168)
    told = [
        replace(morning, at=morning.at + timedelta(hours=hours))
        for hours in times
        for morning in mornings(6, 6, 4, 3, 3, 3, 3)
    ]
    sessions = [*map(session, times)]
    ends = [*[(156, inf)] * 3, (132, 156), (60, 84), (60, 84)]
    assert found(told, *sessions) == ends
    assert [one.usual for one in _episodes(told, *sessions)] == [None] * 3 + [3.0] * 3
    squats, jog = Block("strength", ("quadriceps",)), Block("mobility", ("quadriceps",))
    worked = [session(hours + 110, squats) for hours in times]
    moved = [session(hours + 110, jog) for hours in times]
    assert found(told, *sessions, *worked) == [(156, inf)] * 6
    assert found(told, *sessions, *moved) == ends


def test_hard_landings_count_and_easy_running_does_not() -> None:
    match = Block("speed", ("calves",), modality="court-sport", minutes=90)
    jog = Block("mobility", ("calves",))
    groups = {e.muscle_group for e in _episodes([], session(0, match))}
    assert "calves" in groups
    assert _episodes([], session(0, jog)) == []


def test_nights_of_a_clock_change_count_as_they_were() -> None:
    """Work at 18:00 on 28 March, low at 07:00 on the 30th in Berlin: 36 h by the body's clock."""
    began = datetime(2026, 3, 28, 18, tzinfo=UTC) - timedelta(hours=1)
    low = datetime(2026, 3, 30, 7, tzinfo=UTC) - timedelta(hours=2)
    told = [Morning(low, {"quadriceps": 1})]
    assert found(told, Session("a-01", began, 60, (SQUATS,))) == [(0, 36)]


def test_what_is_not_known_of_work_counts_as_usual() -> None:
    began = MONDAY_EVENING
    usual = features(Work(began, days_since=4), None)
    assert usual == (1, 0, 0, 0, 0, 0, 0, 0)
    assert features(Work(began, sets=12, days_since=8), 40) == (1, 0, 1, 0, 0, 0, 1, 1)
    names = list(RecoveryNumbers.bundled().effects)
    assert len(names) == len(usual)
    assert names == [
        "usual",
        "landing",
        "sets",
        "to_failure",
        "new_exercise",
        "minutes",
        "break",
        "age",
    ]
