"""Composition of advice from a decision: headline, reason, caution and notes."""

from __future__ import annotations

from dataclasses import replace
from datetime import time
from typing import Any

import pytest

from dawnrule.advice.advisor import AdvisedMorning
from dawnrule.advice.composer import HEADLINE_LENGTH
from dawnrule.i18n.catalog import Texts
from dawnrule.model import Verdict, Vocabulary
from dawnrule.model.advice import PartAdvice, RuleSetName
from dawnrule.model.entities import Block, CheckIn, Pain, Sleep
from dawnrule.model.serialization import to_json
from dawnrule.rules.conditions import all_of
from tests.factories import (
    GROWTH,
    KIM,
    REST,
    STRENGTH,
    SWAP,
    TRAIN,
    advice_under,
    at,
    baseline,
    baseline_advice,
    bundled_advisor,
    days_ago,
    deciding_baseline,
    logged,
    morning,
    rule_named,
    session,
    when,
)

TEXTS = Texts.of_records()
WORDS = Vocabulary.bundled()
TONIGHT = replace(GROWTH, starts_at=days_ago(0))
CHEST = Block("strength", ("chest",))
SORE = rule_named("sore", when("soreness", "at_least", 3), title="A sore muscle")
TOO_SOON = rule_named("too-soon", when("hours_since_growth_work", "below", 48), title="Too soon")
TIRED_DAY = rule_named("tired", when("fatigue", "at_least", 7), scope="day", title="A tired day")
LONGEST_TITLE = "T" * 90


def the_part(considered: AdvisedMorning) -> PartAdvice:
    (part,) = considered.advice.parts
    return part


def opens_at(part: PartAdvice) -> str | None:
    return part.opens_at.isoformat() if part.opens_at else None


# ---- headline --------------------------------------------------------------------------


def headline(*rules: Any, check_in: CheckIn) -> str:
    return advice_under(*rules, check_in=check_in).advice.headline


def test_the_headline_names_what_is_trained() -> None:
    plan = (GROWTH, CHEST, Block("hypertrophy", ("lats",)))
    assert (
        headline(SORE, check_in=morning(0, *plan)) == "Train as planned: growth work and strength."
    )


def test_a_rule_that_says_train_leaves_the_headline_as_it_is() -> None:
    fresh = rule_named("fresh", when("soreness", "at_most", 1), TRAIN)
    advice = advice_under(fresh, check_in=morning(0, GROWTH, soreness={"quadriceps": 0})).advice
    assert advice.rule is not None
    assert (advice.rule.id, advice.headline) == ("fresh", "Train as planned: growth work.")


def test_the_headline_of_a_day_off_says_so() -> None:
    assert headline(SORE, check_in=morning()) == "Day off as planned."


def test_the_headline_names_the_muscle_groups_that_the_rule_is_about() -> None:
    plan = (GROWTH, CHEST, Block("strength", ("lats", "biceps")))
    soreness = {"quadriceps": 5, "lats": 3, "biceps": 3, "chest": 2}
    said = headline(SORE, check_in=morning(0, *plan, soreness=soreness))
    assert said == "Swap to low-damage work (quadriceps, lats and biceps): A sore muscle"


def test_the_headline_names_a_muscle_group_once() -> None:
    said = headline(SORE, check_in=morning(0, GROWTH, STRENGTH, soreness={"quadriceps": 5}))
    assert said == "Swap to low-damage work (quadriceps): A sore muscle"


def test_the_headline_of_a_day_rule_names_no_muscle_group() -> None:
    check_in = morning(0, GROWTH, fatigue=8, soreness={"quadriceps": 5})
    assert headline(SORE, TIRED_DAY, check_in=check_in) == "Swap to low-damage work: A tired day"


@pytest.mark.parametrize("verdict", [SWAP, REST])
@pytest.mark.parametrize("count", range(len(WORDS.muscle_groups) + 1))
def test_a_headline_is_one_line_of_at_most_140_characters(verdict: Verdict, count: int) -> None:
    block = Block("hypertrophy", WORDS.muscle_groups[:count])
    rule = rule_named("long", when("goal", "is", "hypertrophy"), verdict, title=LONGEST_TITLE)
    said = headline(rule, check_in=morning(0, block))
    assert len(said) <= HEADLINE_LENGTH == 140
    assert said.endswith(LONGEST_TITLE)


@pytest.mark.parametrize(("count", "fits"), [(7, True), (8, False)])
def test_a_headline_leaves_out_muscle_groups_only_where_they_do_not_fit(
    count: int, fits: bool
) -> None:
    groups = WORDS.muscle_groups[:count]
    where = TEXTS.listing([WORDS.label(group) for group in groups])
    title = "T" * 46
    full = f"Swap to low-damage work ({where}): {title}"
    assert len(full) == HEADLINE_LENGTH if fits else len(full) > HEADLINE_LENGTH
    rule = rule_named("wide", when("goal", "is", "hypertrophy"), title=title)
    said = headline(rule, check_in=morning(0, Block("hypertrophy", groups)))
    assert said == (full if fits else full.replace(f" ({where})", ""))


def test_a_headline_of_every_goal_at_once_fits() -> None:
    said = headline(SORE, check_in=morning(0, *map(Block, WORDS.goals)))
    assert said.startswith("Train as planned: growth work, strength, ")
    assert len(said) <= HEADLINE_LENGTH


@pytest.mark.parametrize(
    "rule_set", bundled_advisor().library.all(), ids=lambda r: f"{r.name}-{r.version}"
)
def test_every_title_of_a_shipped_rule_fits_the_headline(rule_set: Any) -> None:
    verdicts = [WORDS.label(verdict) for verdict in Verdict]
    longest = max(len(TEXTS.say("headline_protect", verdict=v, title="")) for v in verdicts)
    assert [r.id for r in rule_set.rules if longest + len(r.title) > HEADLINE_LENGTH] == []


WORST = rule_named("worst", when("soreness", "at_least", 8), REST, title="Very sore")


def test_the_headline_says_rest_of_the_part_that_rests_while_the_day_goes_on() -> None:
    check_in = morning(0, GROWTH, CHEST, soreness={"quadriceps": 9, "chest": 0})
    advice = advice_under(WORST, check_in=check_in).advice
    assert advice.verdict is SWAP
    assert advice.headline == "Rest for quadriceps: Very sore. Other parts: see each."


def test_the_headline_names_no_part_that_rests_by_another_rule() -> None:
    rules = (
        WORST,
        rule_named("calves", when("muscle_group", "is", "calves"), REST, title="Calves"),
    )
    plan = (GROWTH, CHEST, Block("strength", ("calves",)))
    said = headline(*rules, check_in=morning(0, *plan, soreness={"quadriceps": 9}))
    assert said.startswith("Rest for quadriceps: Very sore.")


def test_a_swap_of_the_day_says_which_part_rests_besides() -> None:
    check_in = morning(0, GROWTH, CHEST, fatigue=8, soreness={"quadriceps": 9})
    said = headline(WORST, TIRED_DAY, check_in=check_in)
    assert said == "Swap to low-damage work: A tired day. Rest for quadriceps."


def test_a_day_of_which_all_rests_is_one_of_rest() -> None:
    said = headline(WORST, check_in=morning(0, GROWTH, soreness={"quadriceps": 9}))
    assert said == "Rest (quadriceps): Very sore"


def test_a_part_at_rest_that_names_no_muscle_group_is_part_of_the_plan() -> None:
    skill = rule_named("skill", when("goal", "is", "skill"), REST, title="No skill")
    said = headline(skill, check_in=morning(0, Block("skill"), CHEST))
    assert said == "Rest for part of the plan: No skill. Other parts: see each."


@pytest.mark.parametrize("count", range(1, len(WORDS.muscle_groups)))
def test_the_headline_of_a_part_at_rest_is_short_however_many_rest(count: int) -> None:
    resting = Block("hypertrophy", WORDS.muscle_groups[:count])
    rule = rule_named("long", when("goal", "is", "hypertrophy"), REST, title=LONGEST_TITLE)
    said = headline(rule, check_in=morning(0, resting, Block("strength", ("calves",))))
    assert len(said) <= HEADLINE_LENGTH
    assert said.startswith("Rest for ")
    assert LONGEST_TITLE in said


# ---- reason and caution ----------------------------------------------------------------


def test_the_day_is_told_with_the_numbers_of_the_part_that_decides_it() -> None:
    rule = replace(SORE, reason="{muscle_group} is at {soreness}.", caution="Easy.")
    check_in = morning(0, CHEST, GROWTH, soreness={"chest": 1, "quadriceps": 6})
    advice = advice_under(rule, check_in=check_in).advice
    assert (advice.verdict, advice.reason, advice.caution) == (
        SWAP,
        "Quadriceps is at 6.",
        "Easy.",
    )
    assert [part.reason for part in advice.parts] == [
        "Nothing that was reported speaks against it.",
        "Quadriceps is at 6.",
    ]


def test_a_day_off_and_a_plain_day_say_what_to_heed() -> None:
    day_off = advice_under(SORE, check_in=morning()).advice
    assert (day_off.reason, day_off.rule) == ("Nothing is planned today.", None)
    assert day_off.caution == TEXTS.say("caution_day_off")
    plain = advice_under(SORE, check_in=morning(0, GROWTH)).advice
    assert plain.reason == "Nothing that was reported speaks against it."
    assert plain.parts[0].caution == TEXTS.say("caution_train")
    assert plain.caution.startswith(TEXTS.say("caution_train"))


ASKED = {"warning_signs": (), "pain": (), "illness": "none"}


@pytest.mark.parametrize(
    ("left_out", "what"),
    [
        (("warning_signs", "pain", "illness"), "warning signs, pain and illness"),
        (("pain", "illness"), "pain and illness"),
        (("warning_signs",), "warning signs"),
    ],
)
def test_who_may_train_is_told_what_that_stops_training_was_not_answered(
    left_out: tuple[str, ...], what: str
) -> None:
    answered = {name: value for name, value in ASKED.items() if name not in left_out}
    advice = advice_under(SORE, check_in=morning(0, GROWTH, **answered)).advice
    assert advice.caution.endswith(f" Not answered: {what}. If you have any, do not train.")


def test_nothing_more_is_to_be_heeded_where_all_that_stops_training_was_answered() -> None:
    advice = advice_under(SORE, check_in=morning(0, GROWTH, **ASKED)).advice
    assert advice.caution == TEXTS.say("caution_train")


def test_who_swaps_or_has_a_day_off_is_not_told_to_train_if_nothing_is_the_matter() -> None:
    sore = morning(0, GROWTH, soreness={"quadriceps": 5})
    assert "Not answered" not in advice_under(SORE, check_in=sore).advice.caution
    assert "Not answered" not in advice_under(SORE, check_in=morning()).advice.caution


def test_a_rule_that_says_train_is_no_answer_to_what_was_left_open() -> None:
    fresh = rule_named("fresh", when("soreness", "at_most", 1), TRAIN, caution="Enjoy.")
    fit = morning(0, GROWTH, soreness={"quadriceps": 0})
    assert advice_under(fresh, check_in=fit).advice.caution.startswith("Enjoy. Not answered: ")


def test_nothing_speaks_against_it_is_not_said_where_a_note_does() -> None:
    rules = (SORE, rule_named("note", when("soreness", "at_least", 1), None))
    check_in = morning(0, GROWTH, CHEST, soreness={"quadriceps": 2, "chest": 0})
    advice = advice_under(*rules, check_in=check_in).advice
    noted = "No rule stops it, but there are notes to heed."
    assert advice.reason == noted
    assert [part.reason for part in advice.parts] == [noted, TEXTS.say("reason_train")]


def test_a_note_on_the_day_is_one_on_each_part() -> None:
    note = rule_named("note", when("fatigue", "at_least", 3), None, "day")
    advice = advice_under(note, check_in=morning(0, GROWTH, fatigue=4)).advice
    assert {advice.reason, advice.parts[0].reason} == {TEXTS.say("reason_train_with_notes")}


def test_a_day_off_is_still_advised_by_the_rules_of_the_day() -> None:
    advice = advice_under(TIRED_DAY, check_in=morning(0, fatigue=8)).advice
    assert advice.rule is not None
    assert (advice.verdict, advice.rule.id, advice.parts) == (SWAP, "tired", ())


def test_a_part_names_its_deciding_rule_and_what_else_fired() -> None:
    note = rule_named("note", when("soreness", "at_least", 1), None)
    worst = rule_named("worst", when("soreness", "at_least", 8), REST)
    check_in = morning(0, GROWTH, fatigue=8, soreness={"quadriceps": 9})
    part = the_part(advice_under(TIRED_DAY, note, SORE, worst, check_in=check_in))
    assert part.rule is not None
    assert (part.rule.id, part.also_fired) == ("worst", ("tired", "note", "sore"))


# ---- notes -----------------------------------------------------------------------------


def test_each_note_is_given_once_with_those_of_the_day_first() -> None:
    rules = (
        rule_named("of-part", when("soreness", "at_least", 1), None),
        rule_named("of-day", when("fatigue", "at_least", 1), None, "day"),
        rule_named("silent", when("soreness", "at_least", 9), None),
        rule_named("of-strength", when("goal", "is", "strength"), None),
    )
    check_in = morning(0, GROWTH, STRENGTH, fatigue=3, soreness={"quadriceps": 2})
    advice = advice_under(*rules, check_in=check_in).advice
    assert [note.rule.id for note in advice.notes] == ["of-day", "of-part", "of-strength"]
    assert advice.verdict is TRAIN


def test_there_is_no_note_on_how_to_train_what_rests() -> None:
    rules = (
        rule_named("rests", when("soreness", "at_least", 8), REST),
        rule_named("note", when("goal", "in", ("hypertrophy", "strength")), None),
        rule_named("growth-note", when("goal", "is", "hypertrophy"), None),
    )
    both = morning(0, GROWTH, CHEST, soreness={"quadriceps": 9})
    assert [n.rule.id for n in advice_under(*rules, check_in=both).advice.notes] == ["note"]
    one = morning(0, GROWTH, soreness={"quadriceps": 9})
    assert advice_under(*rules, check_in=one).advice.notes == ()


def test_there_is_no_note_on_how_to_train_what_is_swapped() -> None:
    """After "leave out heavy lifts" nobody is told to brace."""
    short = morning(0, replace(STRENGTH, modality="free-weights"), sleep=Sleep(3.0))
    advice = baseline_advice(short, athlete=replace(KIM, training_status="novice")).advice
    assert (advice.verdict, advice.rule and advice.rule.id) == (SWAP, "sleep-very-short")
    assert "lifting-breath" in advice.parts[0].also_fired
    assert "lifting-breath" not in {note.rule.id for note in advice.notes}


@pytest.mark.parametrize("soreness", [5, 9])
def test_notes_on_pain_stay_where_a_part_is_not_trained(soreness: int) -> None:
    pain = (Pain("thigh", "other", ("quadriceps",)),)
    check_in = morning(0, STRENGTH, pain=pain, soreness={"quadriceps": soreness})
    notes = [note.rule.id for note in baseline_advice(check_in).advice.notes]
    assert [name for name in notes if "pain" in name] == ["pain-reported", "pain-of-another-kind"]


# ---- not reported ----------------------------------------------------------------------


def not_reported(*rules: Any, check_in: CheckIn, **more: Any) -> list[str]:
    return list(advice_under(*rules, check_in=check_in, **more).advice.not_reported)


def asked_each_morning(**left_out: Any) -> CheckIn:
    everything = {
        "sleep": Sleep(8.0, 4),
        "fatigue": 2,
        "stress": 2,
        "resting_hr_bpm": 50,
        "hrv_rmssd_ms": 60.0,
        "pain": (),
        "illness": "none",
        "warning_signs": (),
    }
    return morning(0, GROWTH, **(everything | left_out))


def test_nothing_is_missing_where_every_question_was_answered() -> None:
    assert not_reported(TIRED_DAY, check_in=asked_each_morning()) == []


@pytest.mark.parametrize(
    ("left_out", "missing"),
    [
        ({"sleep": Sleep(8.0)}, ["sleep_quality"]),
        ({"hrv_rmssd_ms": None, "fatigue": None}, ["fatigue", "hrv_rmssd_ms"]),
        ({"pain": None}, ["pain_reported"]),
        ({"illness": None}, ["illness"]),
        ({"warning_signs": None}, [sign.replace("-", "_") for sign in WORDS.warning_signs]),
    ],
)
def test_a_question_of_the_check_in_that_was_left_out_is_named(
    left_out: dict[str, Any], missing: list[str]
) -> None:
    assert not_reported(TIRED_DAY, check_in=asked_each_morning(**left_out)) == missing


def test_a_fact_of_a_part_is_missing_where_a_rule_reads_it_and_any_part_lacks_it() -> None:
    check_in = asked_each_morning(soreness={"quadriceps": 1})
    assert not_reported(TIRED_DAY, check_in=check_in) == []
    assert not_reported(SORE, check_in=check_in) == []
    two = replace(check_in, plan=(GROWTH, CHEST))
    assert not_reported(SORE, check_in=two) == ["soreness"]
    assert not_reported(SORE, check_in=replace(check_in, plan=())) == []


def test_details_of_the_plan_are_never_missing() -> None:
    reads_plan = rule_named("plan", when("planned_rest_seconds", "below", 60))
    assert not_reported(reads_plan, check_in=asked_each_morning()) == []


def test_a_fact_from_history_is_missing_where_more_data_would_tell_it() -> None:
    rests = rule_named("rests", when("days_trained_in_a_row", "at_least", 6), None, "day")
    assert not_reported(rests, check_in=asked_each_morning()) == ["days_trained_in_a_row"]
    history = logged(session(1))
    assert not_reported(rests, check_in=asked_each_morning(), history=history) == []


def test_the_hours_since_output_fell_are_not_missing_where_it_held() -> None:
    fell = rule_named("fell", when("hours_since_output_drop", "below", 72))
    check_in = asked_each_morning()
    assert not_reported(fell, check_in=check_in) == ["hours_since_output_drop"]
    held = logged(session(1, output="held"))
    assert not_reported(fell, check_in=check_in, history=held) == []


# ---- when it opens ---------------------------------------------------------------------


def test_the_time_at_which_a_part_opens_is_told_in_the_athletes_zone() -> None:
    by_a_watch = logged(session(1, starts_at=at("2026-03-08T17:00:00Z")))
    part = the_part(advice_under(TOO_SOON, check_in=morning(0, TONIGHT), history=by_a_watch))
    assert opens_at(part) == "2026-03-10T18:00:00+01:00"
    assert part.opens_note is None


def test_the_time_at_which_a_part_opens_is_summer_time_after_the_clock_is_changed() -> None:
    saturday = at("2026-03-28T18:00:00+01:00")
    sunday = at("2026-03-29T18:00:00+02:00")
    check_in = CheckIn(KIM.id, sunday.date(), (replace(GROWTH, starts_at=sunday),))
    history = logged(session(0, starts_at=saturday))
    part = the_part(advice_under(TOO_SOON, check_in=check_in, history=history))
    assert opens_at(part) == "2026-03-30T19:00:00+02:00"


def test_after_a_journey_it_opens_by_the_clock_of_the_new_home() -> None:
    in_auckland = replace(KIM, time_zone="Pacific/Auckland")
    history = logged(session(1))
    considered = advice_under(
        TOO_SOON, check_in=morning(0, TONIGHT), history=history, athlete=in_auckland
    )
    assert opens_at(the_part(considered)) == "2026-03-11T06:00:00+13:00"


def opens_note(*rules: Any, check_in: CheckIn) -> str | None:
    history = logged(session(1, starts_at=days_ago(1, time(18, 0, 30))))
    part = the_part(advice_under(*rules, check_in=check_in, history=history))
    assert part.opens_at is None
    return part.opens_note


SORE_MORNING = morning(0, TONIGHT, soreness={"quadriceps": 5})


def test_what_else_a_part_needs_to_open_is_said() -> None:
    said = "Time alone does not open it; it also needs soreness below 3."
    assert opens_note(SORE, check_in=SORE_MORNING) == said


def test_what_else_it_needs_is_said_for_the_time_when_hours_are_enough() -> None:
    said = opens_note(SORE, TOO_SOON, check_in=SORE_MORNING)
    assert said is not None
    assert said.startswith("From 2026-03-10 18:01 on it needs only soreness below 3; ")


def test_all_that_it_needs_is_said_with_units_and_in_words() -> None:
    short_sleep = rule_named("short", when("sleep_hours", "below", 6), scope="day")
    cut_short = rule_named("cut", when("last_session_cut_short", "is", True))
    check_in = replace(SORE_MORNING, sleep=Sleep(5.0))
    history = logged(session(1, output="cut-short"))
    part = the_part(advice_under(SORE, short_sleep, cut_short, check_in=check_in, history=history))
    assert part.opens_note == (
        "Time alone does not open it; it also needs soreness below 3, sleep at least 6 h "
        "and no last session cut short."
    )


def test_pain_and_illness_have_to_be_cleared() -> None:
    pain = rule_named("pain", when("joint_pain", "is", True), REST)
    check_in = replace(SORE_MORNING, pain=(Pain("knee", "joint"),))
    said = "Pain, illness or a warning sign has to be cleared first; time alone does not do it."
    assert opens_note(SORE, TOO_SOON, pain, check_in=check_in) == said
    fever = rule_named("fever", when("illness", "is", "fever"), REST, "day")
    assert opens_note(SORE, fever, check_in=replace(SORE_MORNING, illness="fever")) == said


def test_where_nobody_knows_what_would_open_it_nothing_is_promised() -> None:
    only_growth = rule_named("never", when("goal", "is", "hypertrophy"))
    assert opens_note(only_growth, check_in=SORE_MORNING) == "Time alone does not open it."


def test_an_open_part_needs_nothing() -> None:
    part = the_part(advice_under(SORE, check_in=morning(0, TONIGHT)))
    assert (part.opens_at, part.opens_note, part.would_change) == (None, None, ())


# ---- what would change -----------------------------------------------------------------


def test_changes_are_told_in_the_words_of_the_interface() -> None:
    considered = baseline_advice(morning(0, TONIGHT), logged(session(1)))
    (part,) = to_json(considered.advice)["parts"]
    needed = {"fact": "hours_since_growth_work", "from": 24.0, "to": "at least 47"}
    assert part["would_change"] == [{**needed, "verdict": "train-as-planned"}]
    assert part["would_change_together"] == []


def test_rules_from_before_2_0_0_name_answers_that_would_change_it_too() -> None:
    sore = morning(0, TONIGHT, soreness={"quadriceps": 9})
    considered = baseline_advice(sore, logged(session(9)), rule_set=baseline("1.2.0"))
    (part,) = to_json(considered.advice)["parts"]
    assert part["would_change"] == [
        {"fact": "soreness", "from": 9, "to": "below 8", "verdict": "swap-to-low-damage"},
        {"fact": "soreness", "from": 9, "to": "below 3", "verdict": "train-as-planned"},
    ]


def test_changes_that_must_all_come_true_are_told_apart_from_those_that_are_enough() -> None:
    downhill = Block("steady-endurance", modality="downhill-running", minutes=40.0)
    landed = session(1, downhill, starts_at=days_ago(1, time(22)))
    part = the_part(baseline_advice(morning(0, TONIGHT), logged(session(1), landed)))
    assert part.would_change == ()
    assert [(c.fact, c.before, c.to, c.verdict) for c in part.would_change_together] == [
        ("hours_since_growth_work", 24.0, "at least 47", TRAIN),
        ("hours_since_hard_landing", 20.0, "at least 23", TRAIN),
    ]


def test_the_advice_names_the_rule_set_that_it_was_given_under() -> None:
    rule_set = deciding_baseline()
    assert baseline_advice(morning()).advice.rule_set == RuleSetName.of(rule_set)
    assert to_json(RuleSetName.of(rule_set)) == {
        "name": rule_set.name,
        "version": rule_set.version,
        "digest": rule_set.digest,
    }


def test_a_part_without_a_muscle_group_is_told_as_this_block() -> None:
    rule = rule_named(
        "skilled", all_of(when("goal", "is", "skill")), reason="{muscle_group} waits."
    )
    part = the_part(advice_under(rule, check_in=morning(0, Block("skill"))))
    assert (part.muscle_group, part.reason) == (None, "This block waits.")
