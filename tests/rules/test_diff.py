"""The difference of two rule sets, in their files and in what they decide."""

from __future__ import annotations

import json

import pytest

from dawnrule.model import FactDictionary, Verdict
from dawnrule.model.serialization import to_json
from dawnrule.rules.analysis.diff import Difference, VerdictChange, diff
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.loading.loader import bundled_rule_set, parse_rule_set
from tests.rules.test_findings import HEAD, SHORT_NIGHT, SORE, VERY_SORE, read, rule

TRAIN, SWAP, REST = Verdict


def between(before: str, after: str) -> Difference:
    return diff(read(before), read(after), FactDictionary.bundled())


def changes(found: Difference) -> list[VerdictChange]:
    return [change for change in found.verdicts if change.facts is not None]


def test_a_rule_set_does_not_differ_from_itself() -> None:
    rules = rule("sore", SORE) + SHORT_NIGHT
    found = between(rules, rules)
    assert (found.added, found.removed, found.changed, found.moved) == ((), (), (), ())
    assert changes(found) == []
    assert len(found.verdicts) == 12


def test_added_and_removed_rules_are_named_with_the_verdicts_that_change() -> None:
    found = between(rule("sore", SORE), rule("very-sore", VERY_SORE))
    assert (found.added, found.removed) == (("very-sore",), ("sore",))
    [change] = changes(found)
    assert (change.scope, change.before, change.after) == ("part", REST, TRAIN)
    assert (change.rule_before, change.rule_after) == ("sore", None)
    assert change.facts is not None
    assert 5 <= int(change.facts["soreness"]) < 8


def test_a_moved_threshold_is_told_with_a_morning_between_the_two() -> None:
    stricter = SORE.replace("5", "4")
    found = between(rule("sore", SORE), rule("sore", stricter))
    [change] = changes(found)
    assert change == VerdictChange("part", TRAIN, REST, {"soreness": 4}, None, "sore")
    [changed] = found.changed
    [field] = changed.fields
    assert (changed.rule, field.field, field.before, field.after) == (
        "sore",
        "when",
        {"fact": "soreness", "at_least": 5},
        {"fact": "soreness", "at_least": 4},
    )


@pytest.mark.parametrize("before", Verdict)
@pytest.mark.parametrize("after", Verdict)
def test_each_way_in_which_a_verdict_can_change_is_told(before: Verdict, after: Verdict) -> None:
    found = between(rule("sore", SORE, verdict=before), rule("sore", SORE, verdict=after))
    ways = [(change.scope, change.before, change.after) for change in changes(found)]
    assert ways == ([] if before is after else [("part", before, after)])
    assert {(c.before, c.after) for c in found.verdicts} >= {(before, after)} - {(after, after)}


def test_a_day_rule_changes_days_and_parts() -> None:
    milder = SHORT_NIGHT.replace("verdict: rest", "verdict: swap-to-low-damage")
    day = SHORT_NIGHT.replace("scope: part", "scope: day")
    found = between(day, milder.replace("scope: part", "scope: day"))
    assert [(c.scope, c.before, c.after) for c in changes(found)] == [
        ("day", REST, SWAP),
        ("part", REST, SWAP),
    ]


def test_texts_that_change_no_verdict_are_told_and_proved_to_change_none() -> None:
    found = between(rule("sore", SORE), rule("sore", SORE).replace("A caution.", "Another."))
    [changed] = found.changed
    assert [field.field for field in changed.fields] == ["caution"]
    assert changes(found) == []


def test_a_condition_written_otherwise_is_proved_to_decide_alike() -> None:
    sides = ("planned_sets: 9", "planned_sets: 0")
    found = between(
        rule("many", "{fact: planned_sets, at_least: 5}", *sides),
        rule("many", "{fact: planned_sets, above: 4}", *sides),
    )
    assert [field.field for field in found.changed[0].fields] == ["when"]
    assert changes(found) == []


def test_a_signal_that_means_something_else_is_told_with_the_rules_that_use_it() -> None:
    tired = rule("tired", "{signal: short}", "sleep_hours: 1", "sleep_hours: 9")
    signals = "signals: {{short: {{fact: sleep_hours, below: {hours}}}}}\nrules:\n"
    old, new = (
        parse_rule_set(HEAD.replace("rules:\n", signals.format(hours=hours)) + tired, "a.yaml")
        for hours in (6, 7)
    )
    found = diff(old, new, FactDictionary.bundled())
    [field] = found.changed[0].fields
    assert (field.field, field.before, field.after) == (
        "signal short",
        {"fact": "sleep_hours", "below": 6},
        {"fact": "sleep_hours", "below": 7},
    )


def test_as_few_rules_as_explain_it_are_told_to_have_moved() -> None:
    one, two, three = rule("one", SORE), rule("two", VERY_SORE), SHORT_NIGHT
    assert between(one + two + three, three + one + two).moved == ("short-night",)
    assert between(one + two + three, two + one + three).moved in (("one",), ("two",))
    assert between(one + two + three, two + three).moved == ()


@pytest.mark.parametrize(("before", "after"), [("1.0.0", "1.1.0"), ("1.1.0", "1.2.0")])
def test_no_version_of_the_baseline_frees_what_the_one_before_held_back(
    before: str, after: str
) -> None:
    """1.1.0 adds rules on earlier days and two signs of strain, 1.2.0 what was left open and
    landing work: that nothing becomes more permissive is proved over every morning that can be."""
    old, new = (bundled_rule_set("baseline", version) for version in (before, after))
    found = diff(old, new, FactDictionary.bundled())
    assert (found.removed, found.moved) == ((), ())
    more_permissive = [c for c in changes(found) if c.after.protection < c.before.protection]
    assert more_permissive == []
    for change in changes(found):
        assert change.facts is not None
        fired = [r.id for r in new.rules if predicate(r.when)(change.facts)]
        assert change.rule_after in fired


def test_a_difference_as_plain_values_is_json() -> None:
    found = between(rule("sore", SORE), rule("sore", SORE.replace("5", "4")) + SHORT_NIGHT)
    plain = json.loads(json.dumps(to_json(found)))
    assert (plain["added"], plain["removed"], plain["moved"]) == (["short-night"], [], [])
    assert plain["changed"][0]["fields"][0]["field"] == "when"
    assert plain["verdicts"][6] == {
        "scope": "part",
        "before": "train-as-planned",
        "after": "swap-to-low-damage",
        "facts": None,
        "rule_before": None,
        "rule_after": None,
    }
