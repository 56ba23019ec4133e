"""Rules in words: sentences that name all that is tested, and no more."""

from __future__ import annotations

from collections import Counter

import pytest

from dawnrule.advice.composer import Composer
from dawnrule.model import Facts, Verdict
from dawnrule.rules import conditions
from dawnrule.rules.conditions import Condition, Signal, all_of, any_of, at_least, none_of
from dawnrule.rules.evaluation.evaluator import TestTrace, explain
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.text import Line, Prose, truncated_near
from tests.factories import a_rule, when

ENGLISH = Composer.bundled()
PROSE = Prose(ENGLISH.dictionary, ENGLISH.vocabulary, ENGLISH.texts)
SHIPPED = RuleSetLibrary.bundled().all()

SORE = when("soreness", "at_least", 3)
GROWTH = when("goal", "is", "hypertrophy")
SHORT = when("sleep_hours", "below", 6)


def outline(line: Line, depth: int = 0) -> list[str]:
    """Write a line and what it introduces, two blanks deeper, with its outcome if there is one."""
    held = "" if line.holds is None else f": {'yes' if line.holds else 'no'}"
    inner = [text for one in line.inner for text in outline(one, depth + 1)]
    return ["  " * depth + line.text + held, *inner]


def shipped_rule(rule_id: str) -> Rule:
    """Find a rule of 1.2.0, whose words stay as they are."""
    [published] = (one for one in SHIPPED if one.full_name == "baseline@1.2.0")
    return next(rule for rule in published.rules if rule.id == rule_id)


def test_a_rule_reads_as_a_sentence_and_a_list() -> None:
    assert outline(PROSE.rule(shipped_rule("growth-work-too-soon"))) == [
        "Swap to low-damage work for this part when all of these hold",
        "  goal is growth work",
        "  time since growth work is below 48 h",
    ]


def test_signals_are_told_with_what_they_stand_for() -> None:
    assert outline(PROSE.rule(shipped_rule("four-signs-of-strain"))) == [
        "Rest for the whole day when at least 4 of these hold",
        "  short sleep (sleep is below 6 h)",
        "  poor sleep quality (sleep quality is at most 2)",
        "  high fatigue (fatigue is at least 7)",
        "  high stress (stress is at least 7)",
        "  raised resting heart rate (resting heart rate above own median is at least 7 bpm)",
        "  low heart rate variability (heart-rate variability below own band: yes)",
    ]


@pytest.mark.parametrize("rule_set", SHIPPED, ids=lambda rule_set: rule_set.full_name)
def test_every_shipped_rule_names_each_of_its_tests_once(rule_set: RuleSet) -> None:
    for rule in rule_set.rules:
        text = PROSE.rule(rule).all_text()
        tested = Counter(map(PROSE.test, conditions.tests_of(rule.when)))
        assert {said: text.count(said) for said in tested} == tested, rule.id


@pytest.mark.parametrize(
    ("condition", "text"),
    [
        (SHORT, "sleep is below 6 h"),
        (when("soreness", "at_most", 2), "soreness is at most 2"),
        (when("monotony", "above", 2.05), "likeness of the days is above 2.05"),
        (when("goal", "in", ("strength", "power", "skill")), "goal is strength, power or skill"),
        (when("planned_sets", "in", (3, 5)), "planned sets is 3 or 5"),
        (when("chest_pain", "is", True), "chest pain: yes"),
        (when("chest_pain", "is", False), "chest pain: no"),
        (when("soreness", "reported", True), "soreness: reported"),
        (when("soreness", "reported", False), "soreness: not reported"),
        (Signal("short-night", SHORT), "short night (sleep is below 6 h)"),
        (none_of(SHORT), "this is not so: sleep is below 6 h"),
        (any_of(SHORT), "sleep is below 6 h"),
    ],
)
def test_a_condition_of_one_test_is_one_line(condition: Condition, text: str) -> None:
    assert PROSE.condition(condition) == Line(text)


@pytest.mark.parametrize(
    ("condition", "text"),
    [
        (all_of(SORE, GROWTH), "all of these hold"),
        (any_of(SORE, GROWTH), "at least one of these holds"),
        (none_of(SORE, GROWTH), "none of these holds"),
        (at_least(2, SORE, GROWTH, SHORT), "at least 2 of these hold"),
        (Signal("growth", any_of(SORE, GROWTH)), "growth (at least one of these holds)"),
        (none_of(all_of(SORE, GROWTH)), "this is not so: all of these hold"),
    ],
)
def test_a_combination_introduces_what_it_combines(condition: Condition, text: str) -> None:
    line = PROSE.condition(condition)
    assert line.text == text
    assert [inner.text for inner in line.inner][:2] == [
        "soreness is at least 3",
        "goal is growth work",
    ]


def test_what_all_holds_inside_all_is_one_list() -> None:
    nested = all_of(GROWTH, all_of(SORE, all_of(SHORT)))
    flat = all_of(GROWTH, SORE, SHORT)
    facts: Facts = {"soreness": 4}
    assert PROSE.condition(nested) == PROSE.condition(flat)
    assert PROSE.trace(explain(nested, facts)) == PROSE.trace(explain(flat, facts))


def test_a_sentence_on_one_line_keeps_what_belongs_together() -> None:
    nested = all_of(GROWTH, any_of(SORE, SHORT))
    assert PROSE.condition(nested).on_one_line() == (
        "all of these hold: goal is growth work; "
        "(at least one of these holds: soreness is at least 3; sleep is below 6 h)"
    )


@pytest.mark.parametrize(
    ("scope", "verdict", "begins"),
    [
        ("day", Verdict.REST, "Rest for the whole day when "),
        ("part", Verdict.SWAP, "Swap to low-damage work for this part when "),
        ("day", None, "A caution for the day when "),
        ("part", None, "A caution for this part when "),
    ],
)
def test_a_sentence_says_what_the_rule_does_and_to_what(
    scope: str, verdict: Verdict | None, begins: str
) -> None:
    rule = a_rule(SHORT, scope="day" if scope == "day" else "part", verdict=verdict)
    assert PROSE.rule(rule) == Line(f"{begins}sleep is below 6 h")


def test_each_condition_is_told_with_its_value_and_whether_it_held() -> None:
    condition = all_of(GROWTH, none_of(SORE, Signal("short-night", SHORT)))
    facts: Facts = {"goal": "hypertrophy", "soreness": 4}
    assert outline(PROSE.trace(explain(condition, facts))) == [
        "all of these hold: no",
        "  goal: growth work — asks for growth work: yes",
        "  none of these holds: no",
        "    soreness: 4 — at least 3: yes",
        "    short night (sleep: not reported — below 6 h): no",
    ]


@pytest.mark.parametrize(
    ("test", "facts", "text"),
    [
        (("chest_pain", "is", True), {"chest_pain": False}, "chest pain: no — asks for yes"),
        (
            ("soreness", "reported", False),
            {"soreness": 1},
            "soreness: reported — asks for not reported",
        ),
        (("soreness", "reported", True), {}, "soreness: not reported — asks for reported"),
        (("sleep_hours", "below", 6), {"sleep_hours": 5.999}, "sleep: 5.9 h — below 6 h"),
        (("planned_blocks", "is", 0), {"planned_blocks": 2}, "planned blocks: 2 — asks for 0"),
        (
            ("goal", "in", ("strength", "power")),
            {"goal": "skill"},
            "goal: skill — asks for strength or power",
        ),
    ],
)
def test_a_test_is_told_with_its_value(
    test: tuple[str, str, object], facts: Facts, text: str
) -> None:
    trace = explain(when(*test), facts)
    assert isinstance(trace, TestTrace)
    assert PROSE.traced_test(trace) == text


@pytest.mark.parametrize(
    ("value", "threshold", "shown"),
    [
        (47.97, 48, "47.9"),
        (48.0, 48, "48"),
        (48.04, 48, "48.04"),
        (2.03, 2, "2.03"),
        (4, 3, "4"),
        (-0.05, 0, "-0.1"),
        (0.0004, 0, "0.0004"),
        (33.31, 33.3, "33.31"),
        (1234567.89, 50, "1234567.8"),
        (1e-300, 0, "1e-300"),
    ],
)
def test_a_number_shows_on_which_side_of_its_threshold_it_lies(
    value: float, threshold: float, shown: str
) -> None:
    assert truncated_near(value, threshold) == shown


@pytest.mark.parametrize(
    ("test", "value", "told"),
    [
        (("monotony", "above", 2), 1.44, "0.6"),  # it is told as 1.4
        (("sleep_hours", "below", 6), 6.5, "0.5 h"),
        (("weekly_load_rise_percent", "at_least", 33.3), 33.29, "0.1 %"),
        (("monotony", "at_most", 2), 2.0004, "0.0004"),
    ],
)
def test_a_distance_is_that_of_the_numbers_as_they_are_told(
    test: tuple[str, str, float], value: float, told: str
) -> None:
    trace = explain(when(*test), {test[0]: value})
    assert isinstance(trace, TestTrace)
    assert PROSE.distance(trace) == told


def test_german_writes_numbers_as_germans_do() -> None:
    german = Composer.bundled("de")
    prose = Prose(german.dictionary, german.vocabulary, german.texts)
    assert "5,5 h" in prose.exact("sleep_hours", 5.5)
