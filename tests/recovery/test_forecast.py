"""Forecasts of own recovery against published courses of soreness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import inf

import pytest

from dawnrule.recovery.episodes import Episode, Work
from dawnrule.recovery.forecast import AthleteRecovery, OwnEpisodes, SquadRecovery
from dawnrule.recovery.numbers import RecoveryNumbers
from dawnrule.recovery.report import in_ten

NUMBERS = RecoveryNumbers.bundled()
BEGAN = datetime(2026, 3, 2, 18, tzinfo=UTC)
USUAL = Work(BEGAN, days_since=4)


def seen(sore: float, low: float, group: str = "quadriceps", work: Work = USUAL) -> Episode:
    return Episode(group, work, sore, low, is_over=low < inf)


def recovery_of(
    own: Sequence[Episode], squad: dict[str, OwnEpisodes] | None = None
) -> AthleteRecovery:
    fitted = SquadRecovery.fit(squad or {}, NUMBERS)
    return AthleteRecovery.fit("a-01", OwnEpisodes(own), fitted, NUMBERS)


def course(daily: Sequence[float]) -> tuple[float, float]:
    """The interval in which mean soreness on days 1, 2, 3… falls under 3."""
    sore = max((24.0 * day for day, told in enumerate(daily, 1) if told >= 3), default=0.0)
    return sore, sore + 24


@pytest.mark.parametrize(
    ("group", "daily", "first", "last"),
    [
        ("quadriceps", (6.1, 4.8, 2.8, 1.9, 1.1, 1.2, 0.7), 48, 72),
        ("glutes", (4.0, 2.9, 1.6), 24, 48),
        ("biceps", (1.8, 0.8, 0.5), 0, 24),
    ],
)
def test_a_marathon_leaves_muscles_sore_as_published(
    group: str, daily: tuple[float, ...], first: float, last: float
) -> None:
    """11 runners after a marathon, soreness 0 to 10 (Takayama 2017, J Sports Med 2017:9402386,
    table 3): knee extensors under 3 from day 3 on, hips from day 2 on, elbow flexors always."""
    usual = recovery_of([seen(*course(daily), group)] * 11).group(group, BEGAN)
    assert first <= usual.usual_hours <= last
    assert (usual.times_seen, usual.basis) == (11, "own")


def test_sixty_hard_actions_are_under_three_from_a_day_on() -> None:
    """26 women, means at 24, 48, 72 and 96 h (Tufano 2012, J Strength Cond Res
    26(10):2777-2782)."""
    interval = course((2.91, 2.62, 1.97, 1.13))
    assert interval == (0, 24)
    assert recovery_of([seen(*interval)] * 26).group("quadriceps", BEGAN).usual_hours < 24


def test_a_new_exercise_takes_longer_and_a_second_bout_less() -> None:
    """The direction of Cleary 2002, J Athl Train 37(1):32-36."""
    recovery = recovery_of([])
    hours = {
        name: recovery.hours_after(work, "quadriceps").hours_at(0.5)
        for name, work in {
            "usual": USUAL,
            "new": replace(USUAL, new_exercise=True),
            "soon": replace(USUAL, days_since=2),
            "failure": replace(USUAL, to_failure=True),
        }.items()
    }
    assert hours["soon"] < hours["usual"] < hours["failure"] < hours["new"]


def test_without_own_episodes_the_squad_is_told_and_without_a_squad_the_published() -> None:
    slow = {f"b-{n}": OwnEpisodes([seen(72, 96)] * 6) for n in range(8)}
    alone = recovery_of([]).group("quadriceps", BEGAN)
    among_slow = recovery_of([], slow).group("quadriceps", BEGAN)
    assert (alone.basis, among_slow.basis) == ("published", "squad")
    assert alone.usual_hours == pytest.approx(48, abs=1)
    assert among_slow.usual_hours > 60


def test_own_episodes_outweigh_the_squad_the_more_there_are() -> None:
    slow = {f"b-{n}": OwnEpisodes([seen(72, 96)] * 6) for n in range(8)}
    hours = [
        recovery_of([seen(24, 36)] * count, slow).group("quadriceps", BEGAN).usual_hours
        for count in (1, 3, 10)
    ]
    assert hours[0] > hours[1] > hours[2]
    assert 24 <= hours[2] <= 40


def test_muscle_groups_are_told_apart_in_whatever_order_they_were_trained() -> None:
    slow, fast = [seen(60, 84)] * 8, [seen(0, 30, "chest")] * 8
    for own in ([*slow, *fast], [*fast, *slow]):
        recovery = recovery_of(own)
        hours = {name: recovery.group(name, BEGAN).usual_hours for name in ("quadriceps", "chest")}
        assert hours["chest"] < 40 < 55 < hours["quadriceps"]


def test_nobody_counts_twice() -> None:
    """Whoever is in the squad's fit gets the same forecast as on top of the others alone."""
    own = OwnEpisodes([seen(36, 60)] * 6)
    others = {f"b-{n}": OwnEpisodes([seen(48, 72)] * 6) for n in range(8)}
    apart, among = (
        AthleteRecovery.fit("a-01", own, SquadRecovery.fit(squad, NUMBERS), NUMBERS)
        for squad in (others, others | {"a-01": own})
    )
    usual = [one.group("quadriceps", BEGAN).usual_hours for one in (apart, among)]
    assert usual[0] == pytest.approx(usual[1], rel=0.02)


def test_the_order_of_athletes_changes_nothing() -> None:
    squad = {f"b-{n}": OwnEpisodes([seen(24.0 + 12 * n, 48.0 + 12 * n)] * 5) for n in range(4)}
    turned = dict(reversed(squad.items()))
    fits = [SquadRecovery.fit(one, NUMBERS).without("a-01") for one in (squad, turned)]
    assert fits[0].mean.tolist() == fits[1].mean.tolist()


def test_who_takes_longer_than_the_squad_is_seen() -> None:
    squad = {f"b-{n}": OwnEpisodes([seen(36, 60)] * 12) for n in range(8)}
    fitted = SquadRecovery.fit(squad | {"slow": OwnEpisodes([seen(84, 108)] * 12)}, NUMBERS)
    slow, usual = (fitted.hours_against_squad(one) for one in ("slow", "b-1"))
    assert slow is not None
    assert usual is not None
    assert slow.hours_at(0.1) > 1.2
    assert usual.hours_at(0.1) < 1 < usual.hours_at(0.9)
    assert fitted.hours_against_squad("unknown") is None


def test_a_chance_grows_with_the_hours_and_knows_what_has_passed() -> None:
    own = [seen(36, 60)] * 8
    last = replace(seen(38, inf), work=replace(USUAL, began=BEGAN + timedelta(days=7)))
    recovery = recovery_of([*own, last])
    under_way = recovery.group("quadriceps", BEGAN + timedelta(days=9)).under_way
    assert under_way is not None
    times = [under_way.began + timedelta(hours=hours) for hours in (30, 38, 48, 60, 90)]
    chances = [under_way.chance_at(at) for at in times]
    assert chances[:2] == [0, 0]
    assert sorted(chances) == chances
    likely = under_way.likely_from(0.8)
    assert under_way.chance_at(likely) == pytest.approx(0.8, abs=1e-6)


def test_hours_of_soreness_are_those_of_the_muscle_group() -> None:
    """One session may train several groups, of which one is sore for longer."""
    recovery = recovery_of([seen(12, 36, "chest"), seen(60, 84)])
    assert recovery.sore_hours("chest", USUAL) == 12
    assert recovery.sore_hours("quadriceps", USUAL) == 60
    assert recovery.sore_hours("calves", USUAL) == 0


def test_soreness_that_no_work_explains_counts_from_when_it_was_reported() -> None:
    told = BEGAN + timedelta(days=3)
    over = replace(recovery_of([]), own=OwnEpisodes([seen(36, 60)], sore_at={"quadriceps": told}))
    on_the_way = over.on_the_way("quadriceps", USUAL)
    assert on_the_way is not None
    assert (on_the_way.began, on_the_way.sore_hours) == (told, 0)
    assert over.on_the_way("quadriceps", None) == on_the_way
    assert over.on_the_way("chest", None) is None
    later = replace(USUAL, began=told + timedelta(hours=12))
    assert over.on_the_way("quadriceps", later) == over.under_way("quadriceps", later)


def test_soreness_that_goes_on_is_put_down_to_the_last_work() -> None:
    told = BEGAN + timedelta(hours=37)
    own = OwnEpisodes([seen(37, inf)], sore_at={"quadriceps": told})
    on_the_way = replace(recovery_of([]), own=own).on_the_way("quadriceps", USUAL)
    assert on_the_way is not None
    assert (on_the_way.began, on_the_way.sore_hours) == (BEGAN, 37)


def test_what_is_over_is_not_under_way() -> None:
    assert recovery_of([seen(36, 60)]).group("quadriceps", BEGAN).under_way is None
    old = seen(36, inf)
    late = BEGAN + timedelta(days=8)
    assert recovery_of([old]).group("quadriceps", late).under_way is None


@pytest.mark.parametrize(("chance", "tenths"), [(0.0, 0), (0.79, 7), (0.8, 8), (0.999, 9)])
def test_no_chance_is_rounded_up(chance: float, tenths: int) -> None:
    assert in_ten(chance) == tenths
