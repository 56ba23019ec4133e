"""Weeks that the rules let through, against what is known to be possible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import combinations

import pytest

from dawnrule.model.entities import Athlete, Block, CheckIn, History, Journey, Session
from dawnrule.model.weeks import WEEKDAYS, Fixed, Travel, Window, Wish
from dawnrule.week.explanation import Change, unplaced
from dawnrule.week.house_limits import TRAVELLING, HouseLimit
from dawnrule.week.judge import Judge, Known, Ruling
from dawnrule.week.planner import Planner, Week
from dawnrule.week.request import Placed, Room, WeekRequest
from tests.factories import BERLIN, bundled_advisor

SUNDAY_NIGHT = datetime(2026, 3, 8, 20, tzinfo=UTC)
MONDAY = date(2026, 3, 9)
KIM = Athlete("a-01", "Kim", "Europe/Berlin", date(1996, 3, 9))

EVENINGS = (Window(WEEKDAYS, time(18), time(19)),)
TWICE_A_DAY = (Window(WEEKDAYS, time(7), time(8)), Window(WEEKDAYS, time(18), time(19)))

LEGS = Wish("Legs", 2, 60, (Block("hypertrophy", ("quadriceps",), sets=5, minutes=60),))
PUSH = Wish("Push", 2, 60, (Block("hypertrophy", ("chest", "triceps"), sets=5, minutes=60),))
SQUATS = Wish("Squats", 2, 60, (Block("strength", ("quadriceps",), sets=5, minutes=60),))
RIDE = Wish("Ride", 2, 60, (Block("intervals", modality="cycling", minutes=60),))


def planner(athlete: Athlete = KIM, now: datetime = SUNDAY_NIGHT) -> Planner:
    """Kim has trained everything every third day so far, and is well."""
    advisor = bundled_advisor()
    rule_set = advisor.library.get("baseline", "2.0.0")
    edition = advisor.composer.dictionary.edition_of(advisor.library.what_if(rule_set).facts_read)
    done = (*LEGS.blocks, *PUSH.blocks, *SQUATS.blocks, *RIDE.blocks)
    sessions = tuple(
        Session(athlete.id, now - timedelta(days=ago, hours=2), 120, done, rpe=5)
        for ago in range(4, 60, 3)
    )
    check_ins = tuple(
        CheckIn(athlete.id, (now - timedelta(days=ago)).date(), (), pain=(), illness="none")
        for ago in range(1, 30)
    )
    known = Known(athlete, History(check_ins, sessions), None, now)
    return Planner(Judge(known, advisor.library.decider(rule_set), edition))


def request(
    *wishes: Wish,
    windows: tuple[Window, ...] = EVENINGS,
    fixed: tuple[Fixed, ...] = (),
    athlete: Athlete = KIM,
    first: date = MONDAY,
) -> WeekRequest:
    return WeekRequest(athlete, first, 7, windows, wishes, fixed)


def days_of(week: Week) -> list[str]:
    return [f"{one.starts_at.astimezone(BERLIN):%a}" for one in week.placed]


def deciding(rulings: Sequence[Ruling | object]) -> set[str]:
    return {
        one.deciding.id for one in rulings if isinstance(one, Ruling) and one.deciding is not None
    }


def test_three_growth_sessions_of_a_muscle_fit_a_week_at_one_clock_time() -> None:
    week = planner().plan(request(replace(LEGS, times=3)))
    assert (len(week.placed), week.missing(), week.is_best) == (3, {}, True)
    gaps = [
        (later.starts_at - earlier.starts_at) / timedelta(hours=1)
        for earlier, later in zip(week.placed, week.placed[1:], strict=False)
    ]
    assert min(gaps) >= 48


def test_a_fourth_is_proved_impossible_with_the_rule_named() -> None:
    """168 h a week leave room for three times 48 h and no fourth once the week comes again."""
    laid_by = planner()
    week = laid_by.plan(request(replace(LEGS, times=4)))
    assert (week.missing(), week.is_best) == ({0: 1}, True)
    [left_out] = unplaced(laid_by, week, Room())
    assert deciding([left_out.refusal]) == {"growth-work-too-soon"}
    assert left_out.least is not None
    assert left_out.least.change is Change.ONE_WEEK_ONLY


@pytest.mark.parametrize(("friday", "missing"), [(20, {}), (27, {0: 1})])
def test_the_hours_of_a_night_on_which_the_clock_changes_count_as_they_pass(
    friday: int, missing: dict[int, int]
) -> None:
    """From Friday 18:00 to Sunday 17:00 are 47 h, and 46 h on 27 March 2026, when the clocks of
    Berlin skip an hour; the rule asks for 48 h with an hour's grace."""
    now = datetime(2026, 3, friday - 1, 12, tzinfo=UTC)
    windows = (Window(("friday",), time(18), time(19)), Window(("sunday",), time(17), time(18)))
    asked = request(LEGS, windows=windows, first=date(2026, 3, friday))
    week = planner(now=now).plan(replace(asked, days=3, repeats=False))
    assert week.missing() == missing


def test_every_session_that_is_shown_is_let_through_beside_all_others() -> None:
    laid_by = planner()
    week = laid_by.plan(request(LEGS, PUSH, SQUATS, RIDE, windows=TWICE_A_DAY))
    assert week.missing() == {}
    again = planner().judge.rulings(week.placed)
    assert [one.verdict.value for one in again] == ["train-as-planned"] * len(week.placed)


def test_the_same_request_gives_the_same_week() -> None:
    asked = request(LEGS, PUSH, RIDE, windows=TWICE_A_DAY)
    assert planner().plan(asked).placed == planner().plan(asked).placed


@pytest.mark.parametrize(("born", "days"), [(date(1996, 3, 9), 6), (date(2011, 3, 9), 5)])
def test_a_day_of_seven_is_free_and_two_for_the_young(born: date, days: int) -> None:
    ride = replace(RIDE, times=7, blocks=(Block("mobility", minutes=20),), minutes=20)
    athlete = replace(KIM, date_of_birth=born)
    week = planner(athlete).plan(request(ride, athlete=athlete))
    assert len(set(days_of(week))) == days


def test_no_growth_work_of_the_legs_comes_in_the_two_days_before_a_competition_or_after() -> None:
    match = Fixed(
        "Match",
        datetime(2026, 3, 12, 18, tzinfo=BERLIN),
        90,
        (Block("speed", modality="court-sport", competition=True, minutes=90),),
    )
    week = planner().plan(request(replace(LEGS, times=3), fixed=(match,)))
    hours = [abs((one.starts_at - match.starts_at) / timedelta(hours=1)) for one in week.placed]
    assert week.placed
    assert min(hours) >= 48


def test_strength_and_hard_endurance_of_the_same_legs_stay_three_hours_apart() -> None:
    morning = (Window(("monday",), time(6), time(12)),)
    one_each = (replace(SQUATS, times=1), replace(RIDE, times=1))
    week = planner().plan(request(*one_each, windows=morning))
    assert [one.name for one in week.placed] == ["Squats", "Ride"]
    assert week.placed[1].starts_at - week.placed[0].starts_at >= timedelta(hours=3)


def test_preferred_days_are_kept_where_they_can_be() -> None:
    week = planner().plan(request(replace(LEGS, preferred_weekdays=("tuesday", "saturday"))))
    assert days_of(week) == ["Tue", "Sat"]


def test_what_stands_already_is_moved_only_where_it_has_to_be() -> None:
    laid = planner().plan(request(LEGS, PUSH))
    kept = replace(request(LEGS, PUSH), keep=laid.placed)
    assert planner().plan(kept).placed == laid.placed
    [first, *_] = days_of(laid)
    others = tuple(day for day in WEEKDAYS if not day.startswith(first.lower()))
    moved = planner().plan(replace(kept, windows=(replace(EVENINGS[0], weekdays=others),)))
    stay = set(laid.placed) & set(moved.placed)
    assert len(stay) >= len(laid.placed) - 2
    assert first not in days_of(moved)


def test_a_small_week_places_as_many_as_trying_everything() -> None:
    """Brute force over every subset of times."""
    three = replace(LEGS, times=3)
    evenings = (Window(("monday", "tuesday", "wednesday", "friday"), time(18), time(19)),)
    asked = request(three, windows=evenings)
    starts = list(asked.starts(three, SUNDAY_NIGHT))
    judge = planner().judge

    def is_let_through(times: tuple[datetime, ...]) -> bool:
        once = [Placed.of(three, 0, at) for at in times]
        twice = [*once, *map(asked.a_week_later, once)]
        return all(ruling.is_let_through for ruling in judge.rulings(twice))

    most = max(
        count
        for count in range(4)
        if any(is_let_through(times) for times in combinations(starts, count))
    )
    assert len(planner().plan(asked).placed) == most


def test_a_muscle_group_gets_at_most_a_fifth_more_sets_than_usual() -> None:
    usual = replace(planner(), usual_sets={"quadriceps": 9.0})
    week = usual.plan(request(replace(LEGS, times=3)))
    assert week.missing() == {0: 1}
    [left_out] = unplaced(usual, week, Room())
    assert left_out.refusal == HouseLimit("sets_rise", 10, 15)


def test_two_who_share_one_rack_are_not_there_at_once() -> None:
    squats = replace(SQUATS, times=1, room="rack")
    asked = request(squats, windows=(Window(("monday",), time(18), time(20)),))
    first = planner().plan(asked, Room({"rack": 1}))
    [taken] = first.placed
    room = Room({"rack": 1}).with_sessions([("rack", taken.starts_at, taken.ends_at)])
    [other] = planner().plan(asked, room).placed
    assert other.starts_at >= taken.ends_at or other.ends_at <= taken.starts_at
    full = room.with_sessions([("rack", other.starts_at, other.ends_at)])
    assert planner().plan(asked, full).missing() == {0: 1}


def test_two_sessions_at_once_do_not_stand() -> None:
    match = Fixed("Match", datetime(2026, 3, 14, 14, tzinfo=UTC), 90, (Block("skill"),))
    asked = request(PUSH, RIDE, fixed=(match,))
    push, beside, alone = (
        Placed.of(wish, place, datetime(2026, 3, day, hour, 30, tzinfo=UTC))
        for wish, place, day, hour in ((PUSH, 0, 14, 14), (RIDE, 1, 14, 15), (RIDE, 1, 12, 17))
    )
    overlap = HouseLimit("overlap", 0, 0)
    told = planner().standing(asked, [push, beside, alone])
    assert [refusal for _, refusal in told] == [None, overlap, None]
    both = planner().standing(asked, [push, replace(beside, starts_at=push.starts_at)])
    assert [refusal for _, refusal in both] == [overlap, overlap]


def test_nothing_is_placed_on_the_way() -> None:
    begins, ends = (datetime(2026, 3, day, hour, tzinfo=UTC) for day, hour in ((9, 0), (15, 17)))
    away = replace(request(replace(RIDE, times=1)), travel=(Travel(begins, ends),))
    assert days_of(planner().plan(away)) == ["Sun"]
    whole = replace(away, travel=(Travel(begins, ends + timedelta(days=1)),))
    left = planner().plan(whole)
    [left_out] = unplaced(planner(), left, Room())
    assert (left.missing(), left_out.refusal) == ({0: 1}, TRAVELLING)
    kept = Placed.of(whole.wishes[0], 0, datetime(2026, 3, 11, 17, tzinfo=UTC))
    [(_, refusal)] = planner().standing(whole, [kept])
    assert refusal == TRAVELLING


def test_the_first_days_after_a_long_journey_are_as_the_rules_want_them() -> None:
    """The same rule as in the morning, which knows the journey from the check-in."""
    lands = datetime(2026, 3, 10, 10, tzinfo=UTC)
    travel = (Travel(lands - timedelta(hours=14), lands, 8),)
    judge = replace(planner().judge, travel=travel)
    facts = {}
    for day in (9, 11, 15):
        session = Placed.of(LEGS, 0, datetime(2026, 3, day, 17, tzinfo=UTC))
        facts[day] = judge.ruling(session, ()).facts.get("days_since_arrival")
    assert facts == {9: None, 11: 1, 15: 5}


def test_a_journey_of_today_is_known_tomorrow() -> None:
    own = planner()
    today = CheckIn(KIM.id, SUNDAY_NIGHT.date(), (), journey=Journey(8, SUNDAY_NIGHT.date()))
    judge = replace(own.judge, known=replace(own.judge.known, today=today))
    check_in, _ = judge.morning((), date(2026, 3, 10))
    assert check_in.journey == today.journey
