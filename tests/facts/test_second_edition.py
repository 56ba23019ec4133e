"""Facts of the second edition: derived for rule sets that know them, and only for those."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest

from dawnrule.facts.derive import FactSource, derive_facts
from dawnrule.model import FIRST_EDITION, SECOND_EDITION, FactDictionary, FactValue
from dawnrule.model.entities import (
    Athlete,
    BarSpeed,
    Block,
    CheckIn,
    Competition,
    Heat,
    History,
    Journey,
    LastTrained,
    Pain,
    PlanPhase,
    Session,
    Sleep,
    Takes,
)
from tests.factories import BERLIN, DAY, GROWTH, KIM, NOW, days_ago, facts, logged, morning, session

DICTIONARY = FactDictionary.bundled()
RUN = Block("steady-endurance", modality="flat-running", minutes=40.0)
JUMPS = Block("power", modality="jumping", minutes=20.0)
MATCH = Block("skill", modality="court-sport", minutes=90.0)
RIDE = Block("intervals", modality="cycling", minutes=30.0)
SQUATS = Block("strength", ("quadriceps",), sets=5, reps=5)


def day_of(
    check_in: CheckIn, history: History | None = None, athlete: Athlete = KIM
) -> dict[str, FactValue]:
    return dict(facts(check_in, history, athlete, SECOND_EDITION).day)


def part(
    block: Block,
    *others: Block,
    history: History | None = None,
    athlete: Athlete = KIM,
    **said: Any,
) -> dict[str, FactValue]:
    """The facts of the first part of the first block."""
    check_in = morning(0, block, *others, **said)
    return dict(facts(check_in, history, athlete, SECOND_EDITION).parts[0].facts)


def missing(block: Block, history: History, **said: Any) -> dict[str, str]:
    return dict(facts(morning(0, block, **said), history, KIM, SECOND_EDITION).parts[0].missing)


def at_clock(hour: int, minute: int = 0) -> datetime:
    return datetime.combine(DAY, time(hour, minute), BERLIN)


# ---- editions


def test_older_rule_sets_see_none_of_them() -> None:
    told = facts(morning(0, SQUATS, sleep=Sleep(7), soreness={"chest": 8}), logged(session(1)))
    names = {*told.day, *told.parts[0].facts, *told.missing, *told.parts[0].missing}
    assert {DICTIONARY[name].edition for name in names} == {FIRST_EDITION}


@pytest.mark.parametrize(
    ("changed", "fact"),
    [
        (Block("skill"), "soreness"),
        (Block("steady-endurance"), "soreness"),
    ],
)
def test_a_block_without_a_muscle_group_is_as_sore_as_the_sorest_it_could_load(
    changed: Block, fact: str
) -> None:
    check_in = morning(0, changed, soreness={"chest": 6, "quadriceps": 4, "calves": 2})
    (first,) = facts(check_in).parts
    assert fact not in first.facts
    (second,) = facts(check_in, edition=SECOND_EDITION).parts
    expected = ("chest", 6) if changed.goal == "skill" else ("quadriceps", 4)
    assert (second.facts["soreness_from"], second.facts["soreness"]) == expected
    assert "muscle_group" not in second.facts


def test_mobility_could_load_nothing() -> None:
    assert "soreness" not in part(Block("mobility"), soreness={"chest": 6})


def test_what_was_logged_today_counts_like_what_is_planned() -> None:
    today = logged(session(0, SQUATS, starts_at=at_clock(5)))
    evening = replace(GROWTH, starts_at=at_clock(18))
    assert part(evening, history=today)["lifting_same_day"] is True
    first = facts(morning(0, evening), today).parts[0].facts
    assert first["lifting_same_day"] is False


# ---- sleep, fatigue, temperature


def test_naps_count_and_no_more_than_a_day() -> None:
    assert day_of(morning(sleep=Sleep(6.5, naps_hours=0.75)))["sleep_with_naps_hours"] == 7.25
    assert day_of(morning(sleep=Sleep(20, naps_hours=16)))["sleep_with_naps_hours"] == 24
    assert "sleep_with_naps_hours" not in day_of(morning(sleep=Sleep(naps_hours=1)))


@pytest.mark.parametrize(("born", "short"), [(date(2011, 3, 9), 1.5), (date(1996, 3, 9), 0.5)])
def test_a_night_is_short_of_the_need_of_the_age(born: date, short: float) -> None:
    """Hirshkowitz 2015, Sleep Health 1(1):40-43: 8 h at 15, 7 h for adults."""
    athlete = replace(KIM, date_of_birth=born)
    told = day_of(morning(sleep=Sleep(6.5)), athlete=athlete)
    assert told["sleep_short_of_need_hours"] == short
    assert told["sleep_need_assumed"] is False


def test_an_adults_need_counts_where_the_age_is_not_known() -> None:
    nights = tuple(morning(days, sleep=Sleep(6)) for days in range(1, 7))
    athlete = replace(KIM, date_of_birth=None)
    told = day_of(morning(sleep=Sleep(6)), History(nights), athlete)
    assert (told["sleep_short_of_need_hours"], told["sleep_shortfall_hours"]) == (1, 1)
    assert told["sleep_need_assumed"] is True
    first = facts(morning(sleep=Sleep(6)), History(nights), athlete)
    assert "sleep_shortfall_hours" in first.missing


def test_fatigue_is_held_against_the_own_median() -> None:
    before = tuple(morning(days, fatigue=3) for days in range(1, 8))
    assert day_of(morning(fatigue=6.5), History(before))["fatigue_above_usual"] == 3.5
    assert "fatigue_above_usual" not in day_of(morning(fatigue=6.5), History(before[1:]))


def test_mornings_of_strain_are_counted_until_one_is_missing_or_fine() -> None:
    hard = [morning(days, stress=7) for days in (1, 2, 4)]
    assert day_of(morning(fatigue=8), History(tuple(hard)))["strain_mornings"] == 3
    assert day_of(morning(fatigue=6, stress=6), History(tuple(hard)))["strain_mornings"] == 0
    assert "strain_mornings" not in day_of(morning(), History(tuple(hard)))


def test_fever_by_the_thermometer_is_fever_whatever_was_ticked() -> None:
    assert day_of(morning(temperature_c=38.0, illness="none"))["illness"] == "fever"
    assert day_of(morning(temperature_c=37.9, illness="above-neck"))["illness"] == "above-neck"
    assert "illness" not in day_of(morning(temperature_c=37.9))
    assert facts(morning(temperature_c=38.5)).day["illness"] == "fever"  # for every rule set


def test_days_ill_are_counted_from_the_first_report_over_silent_mornings() -> None:
    history = History((morning(5, illness="none"), morning(3, illness="above-neck"), morning(2)))
    assert day_of(morning(illness="fever"), history)["illness_days"] == 4
    assert day_of(morning(), history)["illness_days"] == 4
    assert "illness_days" not in day_of(morning(illness="none"), history)


# ---- soreness


def test_the_worst_soreness_counts_in_the_plan_or_not() -> None:
    told = day_of(morning(soreness={"calves": 8, "chest": 8, "lats": 2.5}))
    assert (told["worst_soreness"], told["worst_soreness_group"]) == (8, "chest")


def test_very_sore_mornings_are_those_of_one_group() -> None:
    before = (
        morning(1, soreness={"calves": 9}),
        morning(2),
        morning(3, soreness={"calves": 8, "chest": 9}),
        morning(4, soreness={"calves": 7}),
        morning(5, soreness={"calves": 9}),
    )
    told = day_of(morning(soreness={"calves": 8, "chest": 7.5}), History(before))
    assert told["very_sore_mornings"] == 3


@pytest.mark.parametrize(
    ("hours", "today", "yesterday", "rises"),
    [(73, 6, 5, True), (71, 6, 5, False), (73, 5.5, 5, False), (73, 4.9, 3, False)],
)
def test_soreness_that_rises_after_three_days_is_told(
    hours: float, today: float, yesterday: float, rises: bool
) -> None:
    trained = {"calves": LastTrained(NOW - timedelta(hours=hours), "strength")}
    check_in = morning(soreness={"calves": today}, last_trained=trained, reported_at=NOW)
    history = History((morning(1, soreness={"calves": yesterday}),))
    assert day_of(check_in, history)["soreness_rising_late"] is rises


def test_an_easy_ride_in_between_does_not_hide_soreness_that_rises_late() -> None:
    ride = Block("steady-endurance", modality="cycling")
    done = (session(4, Block("hypertrophy", ("calves",))), session(1, ride))
    history = History((morning(1, soreness={"calves": 5}),), done)
    assert day_of(morning(soreness={"calves": 7}), history)["soreness_rising_late"] is True


def test_soreness_where_the_load_passes_through_is_told() -> None:
    squat = Block("strength", pattern="squat")
    told = part(squat, soreness={"lower-back": 6, "quadriceps": 8, "chest": 9})
    assert told["passed_through_soreness"] == 6


# ---- performance


def test_the_mean_of_the_jumps_is_held_against_the_own_mean() -> None:
    """Claudino 2017, J Sci Med Sport 20(4):397-402: the mean, not the best of the trials."""
    before = tuple(morning(days, jump_height_cm=(38.0, 42.0)) for days in range(1, 6))
    told = day_of(morning(jump_height_cm=(35.0, 41.0)), History(before))
    assert told["jump_height_drop_percent"] == 5
    assert "jump_height_drop_percent" not in day_of(morning(jump_height_cm=(38.0,)))


def test_bar_speed_is_held_against_the_same_lift_at_the_same_load() -> None:
    def speed(load: float, value: float, pattern: str = "squat") -> tuple[BarSpeed, ...]:
        return (BarSpeed(load, value, pattern),)

    before = (
        *(morning(days, bar_speed=speed(100, 0.6)) for days in (1, 2)),
        morning(3, bar_speed=speed(102.5, 0.6)),
        morning(4, bar_speed=speed(80, 0.9)),
        morning(5, bar_speed=speed(100, 0.9, "hinge")),
    )
    told = part(SQUATS, history=History(before), bar_speed=speed(100, 0.54))
    assert told["bar_speed_drop_percent"] == pytest.approx(10)
    bench = Block("strength", ("chest",))
    assert "bar_speed_drop_percent" not in part(
        bench, history=History(before), bar_speed=speed(100, 0.54)
    )
    assert "bar_speed_drop_percent" in missing(
        SQUATS, History(before[:2]), bar_speed=speed(100, 0.54)
    )


# ---- calendar, journey, heat, what is taken


def test_the_phase_is_that_of_the_date_both_ends_included() -> None:
    athlete = replace(
        KIM,
        phases=(
            PlanPhase(DAY - timedelta(days=9), DAY, "build"),
            PlanPhase(DAY + timedelta(days=1), DAY + timedelta(days=9), "taper"),
        ),
    )
    assert day_of(morning(), athlete=athlete)["phase"] == "build"
    assert "phase" not in day_of(morning(days=10), athlete=athlete)


def test_hours_to_the_next_competition_that_counts() -> None:
    athlete = replace(
        KIM,
        competitions=(
            Competition(DAY + timedelta(days=1), "training"),
            Competition(DAY + timedelta(days=3), "minor"),
            Competition(DAY + timedelta(days=2), "main", days_ago(-2, time(15))),
        ),
    )
    evening = replace(SQUATS, starts_at=at_clock(18))
    assert part(evening, athlete=athlete)["hours_to_competition"] == 45
    event = replace(evening, competition=True)
    told = part(event, athlete=athlete)
    assert "hours_to_competition" not in told
    assert (told["is_competition"], told["competition_today"]) == (True, True)


def test_a_competition_without_a_time_is_at_noon_even_over_the_change_of_clocks() -> None:
    """The clocks go forward in the night to 2026-03-29: noon to noon is 23 h."""
    athlete = replace(KIM, competitions=(Competition(date(2026, 3, 29), "main"),))
    day = date(2026, 3, 28)
    start = datetime.combine(day, time(12), BERLIN)
    check_in = CheckIn(KIM.id, day, (replace(SQUATS, starts_at=start),))
    told = derive_facts(athlete, check_in, History(), start).parts[0].facts
    assert told["hours_to_competition"] == 23


def test_none_within_two_weeks_is_no_competition_ahead() -> None:
    far = replace(KIM, competitions=(Competition(DAY + timedelta(days=16), "main"),))
    assert "hours_to_competition" not in part(SQUATS, athlete=far)


def test_a_journey_is_told_by_its_days() -> None:
    told = day_of(morning(journey=Journey(6, DAY - timedelta(days=2))))
    assert (told["time_zones_crossed"], told["days_since_arrival"]) == (6, 2)


def test_heat_is_told_or_estimated() -> None:
    assert day_of(morning(heat=Heat(wbgt_c=28.5, acclimatised=True)))["wbgt_c"] == 28.5
    told = day_of(morning(heat=Heat(temperature_c=30, humidity_percent=60)))
    assert told["wbgt_c"] == pytest.approx(30.9, abs=0.1)
    assert "heat_acclimatised" not in told


def test_caffeine_needs_the_body_mass() -> None:
    heavy = replace(KIM, body_mass_kg=80)
    told = day_of(morning(takes=Takes(caffeine_mg=240)), athlete=heavy)
    assert told["caffeine_mg_per_kg"] == 3
    assert (told["takes_caffeine"], told["takes_creatine"]) == (True, False)
    unknown = facts(morning(takes=Takes(caffeine_mg=240)), edition=SECOND_EDITION)
    assert unknown.missing["caffeine_mg_per_kg"] == "needs the body mass, which is not known"


def test_anything_else_is_something_too() -> None:
    assert day_of(morning(takes=Takes(other="beetroot juice")))["takes_something"] is True
    assert day_of(morning(takes=Takes(caffeine_mg=0)))["takes_something"] is False


# ---- what a block asks for


@pytest.mark.parametrize(
    ("block", "fact", "value"),
    [
        (Block("power", ("calves",), contacts=30), "lands_hard", True),
        (Block("intervals", modality="court-sport"), "lands_hard", True),
        (Block("speed", modality="flat-running"), "lands_hard", True),
        (Block("steady-endurance", modality="flat-running"), "lands_hard", False),
        (Block("steady-endurance", modality="downhill-running"), "lands_hard", True),
        (Block("skill", sprint_metres=200.0), "lands_hard", True),
        (Block("power", ("chest",), contacts=30), "lands_hard", False),
        (Block("hypertrophy", modality="sled-push"), "concentric_only", True),
        (Block("hypertrophy", ("chest",), action="isometric"), "concentric_only", True),
        (Block("intervals", modality="cycling", action="eccentric"), "concentric_only", False),
        (Block("hypertrophy", ("chest",)), "concentric_only", False),
        (Block("strength", ("chest",), reps=2), "planned_maximal", True),
        (Block("strength", ("chest",), reps=3), "planned_maximal", False),
        (Block("strength", ("chest",), reps=1, modality="bodyweight"), "planned_maximal", False),
        (Block("speed", modality="flat-running"), "planned_maximal", True),
        (Block("speed", modality="flat-running", effort=7.0), "planned_maximal", False),
        (Block("hypertrophy", ("chest",), effort=9.0), "planned_maximal", True),
        (Block("hypertrophy", ("chest",), reps_in_reserve=0), "planned_to_failure", True),
        (Block("hypertrophy", ("chest",), reps_in_reserve=2), "planned_to_failure", False),
        (Block("skill", modality="court-sport"), "planned_contact", True),
        (Block("skill", modality="court-sport", contact=False), "planned_contact", False),
        (Block("power", modality="jumping", sets=5, reps=8), "planned_contacts", 40),
        (Block("power", modality="jumping", sets=84, reps=426), "planned_contacts", 10_000),
    ],
)
def test_a_block_is_what_is_done_in_it(block: Block, fact: str, value: FactValue) -> None:
    assert part(block)[fact] == value


def test_what_a_block_does_not_say_is_not_told() -> None:
    told = part(Block("hypertrophy", ("chest",)))
    for fact in ("planned_to_failure", "planned_contact", "planned_effort", "planned_contacts"):
        assert fact not in told


def test_the_share_of_the_usual_is_that_of_the_median_session() -> None:
    done = tuple(
        session(days, replace(SQUATS, sets=sets)) for days, sets in ((3, 8), (6, 10), (9, 12))
    )
    assert part(SQUATS, history=logged(*done))["planned_share_percent"] == 50
    assert missing(SQUATS, logged(done[0]))["planned_share_percent"] == (
        "needs 2 usual sessions, has 1"
    )


def test_after_a_break_the_usual_is_that_before_it() -> None:
    done = (session(20, SQUATS), session(25, replace(SQUATS, sets=15)))
    told = part(SQUATS, history=logged(*done))
    assert told["planned_share_percent"] == 50
    assert told["break_days"] == 20


def test_a_run_has_a_share_of_its_minutes() -> None:
    done = tuple(session(days, replace(RUN, minutes=80.0), minutes=80.0) for days in (3, 6))
    assert part(RUN, history=logged(*done))["planned_share_percent"] == 50


# ---- breaks


@pytest.mark.parametrize(("days", "pause"), [(13, None), (14, 14), (21, 21)])
def test_a_break_that_ends_today_counts_from_two_weeks_on(days: int, pause: int | None) -> None:
    assert part(SQUATS, history=logged(session(days, SQUATS))).get("break_days") == pause


@pytest.mark.parametrize(("ago", "pause"), [(27, 21), (28, None)])
def test_a_break_counts_for_four_weeks_after_its_end(ago: int, pause: int | None) -> None:
    back = [session(days, SQUATS) for days in range(3, ago + 1, 4)]
    done = (*back, session(ago, SQUATS), session(ago + 21, SQUATS))
    assert part(SQUATS, history=logged(*done)).get("break_days") == pause


def test_a_muscle_group_has_its_own_break() -> None:
    bench = Block("strength", ("chest",))
    done = (session(20, SQUATS, bench), *(session(days, bench) for days in (12, 4, 1)))
    assert part(SQUATS, history=logged(*done))["break_days"] == 20
    assert "break_days" not in part(bench, history=logged(*done))


@pytest.mark.parametrize(("days", "pause"), [(14, None), (15, 15)])
def test_one_missed_session_of_a_weekly_muscle_group_is_no_break_of_its_own(
    days: int, pause: int | None
) -> None:
    bench = Block("strength", ("chest",))
    done = (session(days, SQUATS, bench), *(session(day, bench) for day in (12, 8, 4, 1)))
    assert part(SQUATS, history=logged(*done)).get("break_days") == pause


def test_what_the_athlete_trained_last_ends_a_break_too() -> None:
    trained = {"quadriceps": LastTrained(days_ago(3), "strength")}
    history = logged(session(30, SQUATS), session(3, SQUATS))
    assert part(SQUATS, history=history, last_trained=trained)["break_days"] == 27
    assert "break_days" in missing(SQUATS, History())


# ---- the blocks of a day in their order


def test_growth_work_of_the_same_muscle_earlier_today_is_told_by_its_hours() -> None:
    first = replace(GROWTH, starts_at=at_clock(8))
    second = replace(GROWTH, starts_at=at_clock(18))
    told = facts(morning(0, first, second), edition=SECOND_EDITION).parts
    assert "hours_since_growth_today" not in told[0].facts
    assert told[1].facts["hours_since_growth_today"] == 10


def test_without_a_start_the_order_of_the_plan_counts() -> None:
    told = facts(morning(0, GROWTH, GROWTH), edition=SECOND_EDITION).parts
    assert "hours_since_growth_today" not in told[0].facts
    assert told[1].facts["hours_since_growth_today"] == 0


def test_concentric_work_is_no_growth_work_before() -> None:
    sled = Block("hypertrophy", ("quadriceps",), modality="sled-push")
    told = facts(morning(0, sled, GROWTH), edition=SECOND_EDITION).parts
    last = next(one for one in told if one.block == 1)
    assert "hours_since_growth_today" not in last.facts


def test_growth_work_that_was_logged_today_counts() -> None:
    history = logged(session(0, GROWTH, starts_at=at_clock(5)))
    assert (
        part(replace(GROWTH, starts_at=at_clock(17)), history=history)["hours_since_growth_today"]
        == 12
    )


@pytest.mark.parametrize(
    ("ride_at", "squats_at", "before", "after"),
    [(8, 10, True, False), (8, 11, False, False), (10, 8, False, True), (None, None, True, False)],
)
def test_hard_endurance_and_strength_see_each_other(
    ride_at: int | None, squats_at: int | None, before: bool, after: bool
) -> None:
    ride = replace(RIDE, starts_at=None if ride_at is None else at_clock(ride_at))
    squats = replace(SQUATS, starts_at=None if squats_at is None else at_clock(squats_at))
    parts = facts(morning(0, ride, squats), edition=SECOND_EDITION).parts
    of_ride = next(p for p in parts if p.block == 0 and p.muscle_group == "quadriceps").facts
    of_squats = next(p for p in parts if p.block == 1).facts
    assert of_squats["endurance_before_force"] is before
    assert of_ride["force_before_endurance"] is after
    apart = None if ride_at is None or squats_at is None else abs(ride_at - squats_at)
    assert of_ride.get("hours_between_endurance_and_lifting") == apart


def test_the_same_clock_time_two_days_later_is_told_in_hours_that_passed() -> None:
    """Over the night to 2026-03-29 two days have 47 h; the tolerance stands in the rules."""
    day = date(2026, 3, 30)
    ended = datetime.combine(day - timedelta(days=2), time(18), BERLIN)
    start = datetime.combine(day, time(18), BERLIN)
    jumps = Session(KIM.id, ended, 60.0, (JUMPS,))
    check_in = CheckIn(KIM.id, day, (replace(GROWTH, starts_at=start),))
    told = derive_facts(KIM, check_in, History(sessions=(jumps,)), start).parts[0].facts
    assert told["hours_since_jumps"] == 47
    assert told["hours_since_hard_landing"] == 47


# ---- what damages


@pytest.mark.parametrize(
    ("block", "more", "told"),
    [
        (JUMPS, {}, {"hours_since_hard_landing", "hours_since_jumps"}),
        (replace(JUMPS, minutes=9.0), {}, {"hours_since_jumps"}),
        (MATCH, {"rpe": 8.0, "minutes": 90.0}, {"hours_since_hard_landing", "hours_since_match"}),
        (MATCH, {"rpe": 6.0, "minutes": 90.0}, {"hours_since_hard_landing"}),
        (replace(RUN, competition=True), {}, {"hours_since_match"}),
        (
            Block("speed", modality="flat-running", minutes=20.0),
            {},
            {"hours_since_hard_landing"},
        ),
        (
            Block("muscular-endurance", ("quadriceps",), to_failure=True),
            {},
            {"hours_since_failure_endurance"},
        ),
        (
            Block("muscular-endurance", ("quadriceps",)),
            {"rpe": 7.0},
            {"hours_since_hard_muscular_endurance"},
        ),
        (RIDE, {"rpe": 9.0}, set()),
    ],
)
def test_what_was_done_yesterday_counts_by_what_it_was(
    block: Block, more: dict[str, Any], told: set[str]
) -> None:
    found = part(replace(GROWTH, starts_at=at_clock(18)), history=logged(session(1, block, **more)))
    kinds = {
        "hours_since_hard_landing",
        "hours_since_jumps",
        "hours_since_match",
        "hours_since_failure_endurance",
        "hours_since_hard_muscular_endurance",
    }
    assert found.keys() & kinds == told
    assert {found[fact] for fact in told} <= {24}


def test_a_competition_later_in_the_plan_is_the_next_one() -> None:
    match = replace(MATCH, competition=True, starts_at=at_clock(18))
    lift = replace(GROWTH, starts_at=at_clock(8))
    parts = facts(morning(0, lift, match), edition=SECOND_EDITION).parts
    assert parts[0].facts["hours_to_competition"] == 10
    assert "hours_to_competition" not in parts[-1].facts


def test_an_earlier_match_of_the_plan_counts() -> None:
    match = replace(MATCH, competition=True, starts_at=at_clock(10))
    lift = replace(GROWTH, starts_at=at_clock(18))
    parts = facts(morning(0, match, lift), edition=SECOND_EDITION).parts
    assert parts[-1].facts["hours_since_match"] == 8


# ---- landing, running


def test_landing_work_is_held_against_the_median_of_four_weeks() -> None:
    weeks = [session(8 + 7 * week, replace(JUMPS, minutes=30.0), minutes=30.0) for week in range(4)]
    start = session(40, SQUATS)
    told = day_of(morning(0, replace(JUMPS, minutes=45.0)), logged(*weeks, start))
    assert told["landing_minutes_above_usual_percent"] == 50
    assert told["landing_minutes_allowed_today"] == pytest.approx(39.99)


def test_a_week_without_any_training_is_left_out_of_the_usual() -> None:
    weeks = [
        session(8 + 7 * week, replace(JUMPS, minutes=30.0), minutes=30.0) for week in (1, 2, 3)
    ]
    told = day_of(morning(0, replace(JUMPS, minutes=30.0)), logged(*weeks, session(40, SQUATS)))
    assert told["landing_minutes_above_usual_percent"] == 0


def landing_weeks(*minutes: float) -> list[Session]:
    """A log of weeks with so many minutes of jumping, the latest first, and lifting in each."""
    jumps = [
        session(8 + 7 * week, replace(JUMPS, minutes=one), minutes=one)
        for week, one in enumerate(minutes)
        if one
    ]
    lifting = [session(9 + 7 * week, SQUATS) for week in range(len(minutes))]
    return [*jumps, *lifting, session(40, SQUATS)]


def usual_of(*minutes: float, check_ins: tuple[CheckIn, ...] = ()) -> float:
    """The usual minutes against which 60 planned minutes are held after such weeks."""
    history = History(check_ins, tuple(landing_weeks(*minutes)))
    told = day_of(morning(0, replace(JUMPS, minutes=60.0)), history)
    above = told["landing_minutes_above_usual_percent"]
    assert isinstance(above, float)
    return 60 / (1 + above / 100)


@pytest.mark.parametrize(
    "told",
    [
        {"illness": "fever"},
        {"illness": "below-neck"},
        {"illness": "above-neck"},
        {"temperature_c": 38.4},
        {"warning_signs": ("palpitations",)},
        {"pain": (Pain("left knee", "joint", ("quadriceps",)),)},
    ],
)
def test_a_week_in_which_landing_work_had_to_rest_is_left_out_of_the_usual(
    told: dict[str, Any],
) -> None:
    """Who was told to rest for two weeks of the four is not held to half of the usual."""
    ill = (morning(10, **told), morning(19, **told))
    assert usual_of(0, 0, 60, 60, check_ins=ill) == pytest.approx(60)


@pytest.mark.parametrize(
    "told",
    [
        {"illness": "none"},
        {"pain": (Pain("right shoulder", "joint", ("shoulders",)),)},
        {"pain": (Pain("left knee", "other", ("quadriceps",)),)},
        {"warning_signs": ()},
    ],
)
def test_a_week_in_which_landing_work_could_go_on_counts(told: dict[str, Any]) -> None:
    said = (morning(10, **told), morning(19, **told))
    assert usual_of(0, 0, 60, 60, check_ins=said) == pytest.approx(30)


def test_the_same_match_a_day_earlier_in_the_week_is_no_rise() -> None:
    """Sundays, and now a Saturday: seven days hold two, and nobody does more than usual."""
    matches = [session(6 + 7 * week, MATCH, minutes=90.0) for week in range(5)]
    told = day_of(morning(0, replace(MATCH, minutes=90.0)), logged(*matches, session(40, SQUATS)))
    assert told["landing_minutes_above_usual_percent"] == pytest.approx(100 / 6)


def test_a_full_week_that_ended_ill_does_not_lower_the_usual() -> None:
    ill = (morning(7, illness="fever"), morning(14, illness="fever"))
    assert usual_of(60, 60, 20, 60, check_ins=ill) == pytest.approx(60)


def test_where_too_few_weeks_are_free_of_rest_all_count() -> None:
    ill = tuple(morning(days, illness="fever") for days in (10, 17, 24))
    assert usual_of(20, 20, 20, 60, check_ins=ill) == pytest.approx(20)


@pytest.mark.parametrize(
    ("weeks", "usual"),
    [
        ((53, 40, 30, 30), 46.655),
        ((45, 40, 40, 30), 45),
        ((120, 40, 40, 40), 53.32),
        ((0, 40, 40, 40), 40),
    ],
)
def test_the_last_week_counts_up_to_a_third_above_the_median(
    weeks: tuple[float, ...], usual: float
) -> None:
    """Building up by less than a third a week is no steep rise, and one steep week is no usual."""
    assert usual_of(*weeks) == pytest.approx(usual)


def test_little_landing_is_always_allowed() -> None:
    weeks = [session(8 + 7 * week, replace(JUMPS, minutes=3.0), minutes=3.0) for week in range(4)]
    told = day_of(morning(0, JUMPS), logged(*weeks, session(40, SQUATS)))
    assert told["landing_minutes_allowed_today"] == 10


def test_running_after_four_weeks_without() -> None:
    old = session(30, RUN)
    assert day_of(morning(0, RUN), logged(old))["running_from_none"] is True
    assert day_of(morning(0, RUN), logged(old, session(27, MATCH)))["running_from_none"] is False
    assert day_of(morning(0, RIDE), logged(old))["running_from_none"] is False


@pytest.mark.parametrize(("planned", "over"), [(11.0, 10), (22.0, 120), (9.0, -10)])
def test_a_run_is_held_against_the_longest_of_thirty_days(planned: float, over: float) -> None:
    """Frandsen 2025, Br J Sports Med 59(17):1203-1210: the longest single run of 30 days."""
    done = (
        session(31, replace(RUN, kilometres=30.0)),
        session(30, replace(RUN, kilometres=10.0)),
        session(2, replace(RUN, kilometres=12.0, longest_run_km=8.0)),
    )
    told = part(replace(RUN, kilometres=planned), history=logged(*done))
    assert told["longest_run_over_percent"] == pytest.approx(over)


def test_without_kilometres_minutes_are_compared() -> None:
    done = (session(31, RUN), session(5, replace(RUN, minutes=50.0)))
    assert part(replace(RUN, minutes=60.0), history=logged(*done))["longest_run_over_percent"] == 20


@pytest.mark.parametrize("kilometres", [None, 24.0])
def test_the_minutes_allowed_of_a_run_keep_it_at_a_tenth_above_the_longest(
    kilometres: float | None,
) -> None:
    """Of a run that is planned in kilometres too, at its own pace."""
    long_ago = session(31, RUN)
    longest = session(5, replace(RUN, minutes=50.0, kilometres=10.0))
    planned = replace(RUN, minutes=120.0, kilometres=kilometres)
    told = part(planned, history=logged(long_ago, longest))
    assert told["run_minutes_allowed"] == pytest.approx(55.0)


def test_without_planned_minutes_none_are_allowed() -> None:
    done = (session(31, RUN), session(5, replace(RUN, kilometres=10.0)))
    told = part(replace(RUN, minutes=None, kilometres=24.0), history=logged(*done))
    assert told["longest_run_over_percent"] == 140
    assert "run_minutes_allowed" not in told


def test_hard_endurance_days_are_counted_up_to_yesterday() -> None:
    done = (
        session(1, RIDE),
        session(2, RUN, rpe=7.0),
        session(3, MATCH, rpe=8.0),
        session(4, RUN, rpe=6.0),
        session(5, RIDE),
    )
    assert day_of(morning(), logged(*done))["hard_endurance_days_in_a_row"] == 3


# ---- pain


@pytest.mark.parametrize(
    ("pain", "block", "counts"),
    [
        (
            Pain("x", "joint", place="shin"),
            Block("steady-endurance", modality="flat-running"),
            True,
        ),
        (Pain("x", "joint", place="shin"), Block("strength", ("chest",)), False),
        (Pain("x", "joint", place="toe"), Block("steady-endurance", modality="cycling"), False),
        (Pain("x", "joint", place="toe"), Block("steady-endurance", modality="walking"), True),
        (Pain("x", "joint", place="head"), Block("strength", ("chest",)), True),
        (Pain("x", "joint", ("chest",), place="knee"), Block("strength", ("chest",)), True),
    ],
)
def test_a_place_counts_for_the_groups_that_it_loads(
    pain: Pain, block: Block, counts: bool
) -> None:
    check_in = morning(0, block, pain=(pain,))
    for edition in (FIRST_EDITION, SECOND_EDITION):
        told = facts(check_in, edition=edition).parts[0].facts
        assert told["joint_pain"] is counts


def test_the_words_of_the_athlete_name_a_place_for_newer_rule_sets_alone() -> None:
    check_in = morning(
        0, Block("strength", ("chest",)), pain=(Pain("my LEFT knee, inside", "joint"),)
    )
    assert facts(check_in).parts[0].facts["joint_pain"] is True
    assert facts(check_in, edition=SECOND_EDITION).parts[0].facts["joint_pain"] is False
    unknown = morning(0, Block("strength", ("chest",)), pain=(Pain("over there", "joint"),))
    assert facts(unknown, edition=SECOND_EDITION).parts[0].facts["joint_pain"] is True


@pytest.mark.parametrize(
    ("pain", "sign"),
    [
        (Pain("chest, tight, goes to left arm", "one-sided"), "chest-pain"),
        (Pain("here", "sharp", place="chest"), "chest-pain"),
        (Pain("here", "other", ("chest",)), "chest-pain"),
        (Pain("Enge in der Brust", "joint"), "chest-pain"),
        (Pain("here", "joint", place="chest"), None),
        (Pain("calf", "one-sided", after="long-journey"), "leg-clot"),
        (Pain("linke Wade, warm", "other", side="left"), "leg-clot"),
        (Pain("calf", "one-sided", swollen=True), "leg-clot"),
        (Pain("calf", "one-sided"), None),
        (Pain("calf since 9 h on the bus", "other"), "leg-clot"),
        (Pain("Wade, seit der Autofahrt", "sharp"), "leg-clot"),
        (Pain("left calf, in the warm-up", "sharp", side="left"), None),
        (Pain("calf, both after a long drive", "other"), None),
        (Pain("calves", "other", ("calves",), warm=True), None),
        (Pain("elbow", "joint", numbness=True), "numbness-or-weakness"),
        (Pain("foot, tingling", "other"), "numbness-or-weakness"),
        (Pain("lats", "sharp"), None),
    ],
)
def test_pain_that_may_be_a_warning_sign_is_told(pain: Pain, sign: str | None) -> None:
    assert day_of(morning(pain=(pain,))).get("suspected_warning_sign") == sign


def test_of_several_the_most_urgent_is_told() -> None:
    pains = (Pain("arm", "other", numbness=True), Pain("here", "sharp", place="chest"))
    assert day_of(morning(pain=pains))["suspected_warning_sign"] == "chest-pain"


# ---- output


def test_an_output_drop_belongs_to_the_block_that_dropped() -> None:
    squats = replace(SQUATS, output="dropped", output_drop_percent=8.0)
    bench = Block("strength", ("chest",))
    done = logged(session(1, squats, bench, output="held"))
    assert part(SQUATS, history=done)["output_drop_percent"] == 8
    assert "output_drop_percent" in missing(bench, done)
    whole = logged(session(1, SQUATS, bench, output="dropped", output_drop_percent=5.0))
    assert part(bench, history=whole)["output_drop_percent"] == 5


# ---- all together


def test_every_fact_that_is_told_is_one_that_the_dictionary_accepts() -> None:
    check_in = morning(
        0,
        replace(RUN, kilometres=10.0),
        replace(SQUATS, effort=8.0, reps_in_reserve=2),
        sleep=Sleep(6.0, 3, 1.0),
        soreness={"quadriceps": 2.5, "calves": 8},
        temperature_c=36.8,
        jump_height_cm=(40.0,),
        heat=Heat(wbgt_c=20.0),
        journey=Journey(3, DAY),
        takes=Takes(creatine_g=5.0),
        pain=(Pain("knee", "other"),),
    )
    told = facts(
        check_in, logged(*(session(days, RUN, SQUATS) for days in range(1, 40, 3))), edition=2
    )
    for subject in (told.day, *(one.facts for one in told.parts)):
        refused = {n: v for n, v in subject.items() if not DICTIONARY[n].accepts(v)}
        assert refused == {}


def test_a_part_at_another_time_has_other_hours_alone() -> None:
    check_in = morning(0, replace(GROWTH, starts_at=at_clock(18)))
    source = FactSource.of(KIM, check_in, logged(session(1, MATCH, rpe=8.0)), NOW)
    sooner, later = (source.part(0, "quadriceps", at_clock(hour)).facts for hour in (18, 20))
    changed = {name for name in sooner if sooner[name] != later[name]}
    assert changed == {
        "hours_since_trained",
        "hours_since_force_work",
        "hours_since_hard_landing",
        "hours_since_match",
    }
