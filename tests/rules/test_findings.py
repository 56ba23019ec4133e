"""Findings: each kind of fault in a rule set is found, and only where it is.

For each code there is a rule set with the fault and one as similar as possible without it. The
codes of files that cannot be read are provoked in test_loading.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from dawnrule.errors import Finding
from dawnrule.model import FactDefinition, FactDictionary
from dawnrule.model.serialization import to_json
from dawnrule.rules.analysis import solver
from dawnrule.rules.analysis.check import check_rule_set
from dawnrule.rules.analysis.findings import (
    KINDS,
    ReportedFinding,
    Severity,
    errors_among,
    proved,
    severity_of,
)
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.loading.loader import parse_rule_set
from dawnrule.rules.rule_set import RuleSet
from tests.rules.test_loading import CODES_OF_FILES

HEAD = """\
rule_set: tried
version: 1.0.0
summary: Rules to try the check on.
rules:
"""


def rule(
    name: str,
    when: str,
    fires: str = "soreness: 5",
    fails: str = "soreness: 4",
    verdict: str = "rest",
    scope: str = "part",
) -> str:
    """Write a rule of twelve lines with an example that fires and one that does not."""
    return f"""\
  - id: {name}
    title: A rule
    scope: {scope}
    when: {when}
    verdict: {verdict}
    reason: A reason.
    caution: A caution.
    basis: {{kind: house, source: house judgement}}
    wrong_when: Never.
    examples:
      - {{facts: {{{fires}}}, fires: true}}
      - {{facts: {{{fails}}}, fires: false}}
"""


HEEDS_NO_SIGN = ("warning-sign-not-heeded",)
"""What is found in each of these few rules alone; see test_heeding."""

SORE = "{fact: soreness, at_least: 5}"
VERY_SORE = "{fact: soreness, at_least: 8}"
NOT_SORE = rule("not-sore", f"{{none: [{SORE}]}}", "soreness: 4", "soreness: 5")
SHORT_NIGHT = rule(
    "short-night", "{fact: sleep_hours, below: 6}", "sleep_hours: 5.9", "sleep_hours: 6"
)

BELOW = "{fact: soreness, below: 5}"
MORE_TRAINING = rule("hardly-sore", BELOW, "soreness: 4", "soreness: 5")


@dataclass(frozen=True)
class Pair:
    """Rules with a fault and rules without it, with the beginning and end of the finding."""

    code: str
    faulty: str
    sound: str
    said: str


PAIRS = [
    Pair(
        "example",
        rule("sore", SORE, "soreness: 4", "soreness: 5"),
        rule("sore", SORE),
        "tried.yaml:15: rule sore: the example says that the rule fires on {soreness: 4}, "
        "but it does not",
    ),
    Pair(
        "contradictory",
        rule("sore", "{all: [{fact: goal, is: speed}, {fact: soreness, at_least: 5, below: 5}]}"),
        rule("sore", "{all: [{fact: goal, is: speed}, {fact: soreness, at_least: 5, below: 6}]}"),
        "tried.yaml:5: rule sore: {all: [{fact: soreness, at_least: 5}, "
        "{fact: soreness, below: 5}]} can never hold",
    ),
    Pair(
        "always-true",
        rule(
            "sore", "{any: [{fact: soreness, reported: true}, {fact: soreness, reported: false}]}"
        ),
        rule("sore", "{any: [{fact: soreness, reported: true}, {fact: fatigue, reported: false}]}"),
        "tried.yaml:5: rule sore: {any: [{fact: soreness, reported: true}, "
        "{fact: soreness, reported: false}]} always holds",
    ),
    Pair(
        "unreachable",
        rule("sore", SORE) + SHORT_NIGHT + rule("very-sore", VERY_SORE, "soreness: 8"),
        rule("very-sore", VERY_SORE, "soreness: 8") + SHORT_NIGHT + rule("sore", SORE),
        "tried.yaml:29: rule very-sore: it never decides: wherever it fires, so does sore",
    ),
    Pair(
        "duplicate",
        rule("sore", SORE) + rule("aching", f"{{any: [{SORE}, {SORE}]}}"),
        rule("sore", SORE) + rule("aching", f"{{any: [{SORE}, {SORE}]}}", verdict="note"),
        "tried.yaml:17: rule aching: it means the same as sore: each fires wherever the other does",
    ),
    Pair(
        "subsumed",
        rule("very-sore", VERY_SORE, "soreness: 8") + rule("sore", SORE),
        rule("very-sore", VERY_SORE, "soreness: 8")
        + rule("sore", SORE, verdict="swap-to-low-damage"),
        "tried.yaml:5: rule very-sore: it changes no verdict: wherever it fires, sore does as well",
    ),
    Pair(
        "not-monotone",
        MORE_TRAINING,
        MORE_TRAINING + rule("sore", SORE),
        "tried.yaml:5: rule hardly-sore: worse facts lead to a more permissive verdict: "
        "{soreness: 4} gives rest, but {soreness: 5} gives train-as-planned",
    ),
    Pair(
        "never-train",
        rule("sore", SORE) + NOT_SORE,
        rule("sore", SORE) + NOT_SORE.replace("verdict: rest", "verdict: note"),
        "tried.yaml:1: no part is ever trained as planned, whatever was reported",
    ),
    Pair(
        "edge",
        rule("sore", SORE, "soreness: 6", "soreness: 4"),
        rule("sore", SORE),
        "tried.yaml:5: rule sore: no example turns on {fact: soreness, at_least: 5} with soreness",
    ),
    Pair(
        "too-many-ways",
        rule(
            "sore",
            "{all: ["
            + ", ".join(
                f"{{any: [{{fact: fatigue, at_least: {n}}}, {{fact: stress, at_least: {n}}}]}}"
                for n in range(1, 10)
            )
            + "]}",
            "fatigue: 9",
            "fatigue: 8",
        ),
        rule("sore", SORE),
        "tried.yaml:5: rule sore: the engine takes no condition that can be met in more than",
    ),
]


def read(rules: str) -> RuleSet:
    return parse_rule_set(HEAD + rules, "tried.yaml")


def check(rules: str) -> list[Finding]:
    found = check_rule_set(read(rules), FactDictionary.bundled())
    return [finding for finding in found if finding.code not in HEEDS_NO_SIGN]


def of_code(findings: list[Finding], code: str) -> list[str]:
    return [str(finding) for finding in findings if finding.code == code]


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: pair.code)
def test_a_fault_is_found_where_it_is_and_said(pair: Pair) -> None:
    first, *_ = of_code(check(pair.faulty), pair.code)
    assert first.startswith(pair.said)
    assert first.endswith(f"[{pair.code}]")


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: pair.code)
def test_a_fault_is_not_found_where_it_is_not(pair: Pair) -> None:
    assert of_code(check(pair.sound), pair.code) == []


def test_every_kind_of_finding_is_provoked_by_a_test() -> None:
    here = {pair.code for pair in PAIRS} | {"not-proved", "too-many-facts"}
    of_signs = {"warning-sign-not-heeded"}
    of_extensions = {"weaker-stop", "old-value"}
    of_trials = {"trial"}
    of_care = {"limit-loosened", "limit-not-kept", "concern-loosens", "more-permissive"}
    of_others = of_signs | of_extensions | of_trials | of_care
    assert CODES_OF_FILES | {"encoding", "size"} | here | of_others == set(KINDS)


def test_more_soreness_that_buys_more_training_is_refused_with_the_two_mornings() -> None:
    hardly_sore = "{all: [{fact: goal, is: hypertrophy}, {fact: soreness, below: 5}]}"
    rules = rule("hardly-sore", hardly_sore, "goal: hypertrophy, soreness: 4", "soreness: 5")
    [finding] = errors_among(check(rules))
    assert finding.code == "not-monotone"
    fires = predicate(read(rules).rules[0].when)
    assert [fires(facts) for facts in finding.inputs] == [True, False]
    assert finding.inputs == (
        {"goal": "hypertrophy", "soreness": 4},
        {"goal": "hypertrophy", "soreness": 5},
    )


def test_a_day_rule_in_the_wrong_direction_is_refused_for_the_day() -> None:
    above = "{fact: sleep_hours, above: 9}"
    long_night = rule("long-night", above, "sleep_hours: 9.1", "sleep_hours: 9", scope="day")
    [finding] = errors_among(check(long_night))
    assert finding.inputs == ({"sleep_hours": 10}, {"sleep_hours": 9})


def test_a_day_rule_is_not_excused_by_a_part_rule() -> None:
    """On a day off there is no part, so the part rule does not make the day safe."""
    at_least, below = "{fact: fatigue, at_least: 5}", "{fact: fatigue, below: 5}"
    rested = rule("rested", below, "fatigue: 4", "fatigue: 5", scope="day")
    tired = rule("tired", at_least, "fatigue: 5", "fatigue: 4")
    assert [f.rule for f in errors_among(check(rested + tired))] == ["rested"]
    tired = rule("tired", at_least, "fatigue: 5", "fatigue: 4", scope="day")
    assert of_code(check(rested + tired), "not-monotone") == []


def test_a_part_rule_is_excused_by_a_day_rule_that_counts_for_it() -> None:
    at_least, below = "{fact: fatigue, at_least: 5}", "{fact: fatigue, below: 5}"
    rested = rule("rested", below, "fatigue: 4", "fatigue: 5")
    tired = rule("tired", at_least, "fatigue: 5", "fatigue: 4", scope="day")
    assert of_code(check(rested + tired), "not-monotone") == []


def test_a_part_rule_that_a_day_rule_always_decides_before_never_decides() -> None:
    tired = rule("tired", "{fact: fatigue, at_least: 5}", "fatigue: 5", "fatigue: 4", scope="day")
    when = f"{{all: [{SORE}, {{fact: fatigue, at_least: 7}}]}}"
    both = rule("both", when, "soreness: 5, fatigue: 7", "soreness: 5, fatigue: 6")
    assert of_code(check(tired + both), "unreachable")[0].endswith("so does tired [unreachable]")


def test_the_rules_that_together_cover_another_are_all_named_and_no_others() -> None:
    high = rule("high", "{fact: soreness, at_least: 7}", "soreness: 7", "soreness: 6")
    low = rule("low", "{fact: soreness, below: 7}", "soreness: 6", "soreness: 7")
    [said] = of_code(check(SHORT_NIGHT + high + low + rule("sore", SORE)), "unreachable")
    assert "so does high or low [" in said


def test_a_note_is_neither_superfluous_nor_in_the_way() -> None:
    """It adds its caution beside others, and changes no verdict."""
    notes = rule("very-sore", VERY_SORE, "soreness: 8", verdict="note")
    notes += rule("sore", SORE, verdict="note")
    codes = {finding.code for finding in check(notes + rule("rests", SORE))}
    assert not codes & {"subsumed", "unreachable", "not-monotone"}


def test_a_rule_that_trains_as_planned_decides_where_nothing_protects() -> None:
    fine = rule("fine", BELOW, "soreness: 4", "soreness: 5", verdict="train-as-planned")
    codes = {finding.code for finding in check(fine + rule("sore", SORE))}
    assert not codes & {"unreachable", "not-monotone"}
    [said] = of_code(
        check(fine.replace("below: 5", "at_least: 5") + rule("sore", SORE)), "unreachable"
    )
    assert "so does sore [" in said


def test_a_contradiction_is_told_once_and_spares_what_follows_from_it() -> None:
    never = rule("never", "{fact: soreness, above: 10}")
    assert [f.code for f in check(never) if f.code not in ("edge", "example")] == ["contradictory"]


def test_numbers_are_exact_to_the_last_digit() -> None:
    """Between 0.1 and the next number there is nothing, so the rule can never fire."""
    gap = "{fact: sleep_hours, above: 0.1, below: 0.10000000000000002}"
    assert of_code(check(rule("gap", gap)), "contradictory")
    wider = gap.replace("02}", "04}")
    assert of_code(check(rule("gap", wider)), "contradictory") == []


def test_the_examples_of_any_rule_that_uses_a_signal_show_its_edge() -> None:
    signal = "signals: {short: {fact: sleep_hours, below: 6}}\nrules:"
    shown = rule("short", "{signal: short}", "sleep_hours: 5.9", "sleep_hours: 6")
    both = f"{{all: [{{signal: short}}, {SORE}]}}"
    other = rule("both", both, "sleep_hours: 1, soreness: 5", "sleep_hours: 1, soreness: 4")
    text = (HEAD + other + shown).replace("rules:", signal)
    found = check_rule_set(parse_rule_set(text, "tried.yaml"), FactDictionary.bundled())
    assert of_code(found, "edge") == []
    text = (HEAD + other).replace("rules:", signal)
    found = check_rule_set(parse_rule_set(text, "tried.yaml"), FactDictionary.bundled())
    [said] = of_code(found, "edge")
    assert said.endswith("on {fact: sleep_hours, below: 6} with sleep_hours 6 or 5.9 [edge]")


@pytest.mark.parametrize(
    ("when", "fires", "fails", "unseen"),
    [
        ("{fact: soreness, at_most: 5}", "soreness: 5", "soreness: 7", "soreness 6"),
        ("{fact: sleep_hours, above: 9}", "sleep_hours: 9.2", "sleep_hours: 9", "sleep_hours 9.1"),
        ("{fact: goal, in: [speed, power]}", "goal: speed", "goal: skill", "goal power"),
        ("{fact: goal, is: speed}", "goal: speed", "soreness: 1", "goal another"),
        ("{fact: joint_pain, is: true}", "joint_pain: true", "", "joint_pain another"),
        (
            "{all: [{fact: joint_pain, is: true}, {fact: goal, reported: true}]}",
            "joint_pain: true, goal: speed",
            "joint_pain: false, goal: speed",
            "goal not reported",
        ),
    ],
)
def test_each_operator_has_its_edges(when: str, fires: str, fails: str, unseen: str) -> None:
    [said] = of_code(check(rule("edgy", when, fires, fails)), "edge")
    assert said.endswith(f"with {unseen} [edge]")


def test_what_an_example_shows_it_must_turn_on() -> None:
    """Without the goal the rule does not fire at any soreness, so nothing is shown of it."""
    when = f"{{all: [{{fact: goal, is: speed}}, {SORE}]}}"
    found = check(rule("sore", when, "goal: speed, soreness: 5", "goal: skill, soreness: 4"))
    assert len(of_code(found, "edge")) == 2


def test_a_question_that_is_too_hard_is_a_finding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(solver, "WORK_LIMIT", 1)
    [finding] = [f for f in check(rule("sore", SORE)) if f.code == "not-proved"]
    assert str(finding).startswith("tried.yaml:1: The solver gave up")
    assert proved([finding], extends=False) == []


def test_more_facts_than_the_engine_has_room_for_are_a_finding() -> None:
    def definition(name: str) -> FactDefinition:
        return FactDefinition(name, "boolean", "part", "true", "check-in", name, name)

    facts = [f"fact_{number}" for number in range(300)]
    dictionary = FactDictionary({name: definition(name) for name in facts})
    rules = "".join(
        rule(f"rule-{name[5:]}", f"{{fact: {name}, is: true}}", f"{name}: true", f"{name}: false")
        for name in facts
    )
    many = parse_rule_set(HEAD + rules, "tried.yaml", dictionary)
    assert of_code(check_rule_set(many, dictionary), "too-many-facts")


def test_errors_refuse_and_warnings_do_not() -> None:
    refusing = {"not-monotone", "contradictory", "unreachable", "example", "weaker-stop"}
    weighed = {"always-true", "subsumed", "duplicate", "edge", "old-value", *HEEDS_NO_SIGN}
    assert all(KINDS[code].severity is Severity.ERROR for code in refusing)
    assert all(KINDS[code].severity is Severity.WARNING for code in weighed)


def test_what_was_proved_is_what_was_not_found() -> None:
    everything = proved([], extends=True)
    assert len(everything) == 7
    faulty = check(MORE_TRAINING)
    assert set(everything) - set(proved(faulty, extends=True)) == {KINDS["not-monotone"].proves}


def test_a_finding_as_plain_values_holds_all_that_a_program_needs() -> None:
    [finding] = errors_among(check(MORE_TRAINING))
    assert to_json(ReportedFinding.of(finding)) == {
        "code": "not-monotone",
        "severity": severity_of(finding).value,
        "file": "tried.yaml",
        "line": 5,
        "rule": "hardly-sore",
        "message": finding.message,
        "mend": KINDS["not-monotone"].remedy,
        "inputs": [{"soreness": 4}, {"soreness": 5}],
    }
