"""Extensions: what a rule set changes of the one it extends, and nothing else."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from dawnrule.advice.advisor import Advisor, Morning
from dawnrule.advice.composer import Composer
from dawnrule.errors import Finding, NotFound, RuleSetInvalid
from dawnrule.i18n.resources import rules_folder
from dawnrule.model import FactDictionary, Facts
from dawnrule.model.entities import Athlete, CheckIn, History
from dawnrule.rules.analysis.check import check_rule_set
from dawnrule.rules.conditions import Group, Operator, Signal
from dawnrule.rules.conditions import tests_of as each_test
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.loading import loader
from dawnrule.rules.loading.loader import bundled_rule_set, load_rule_set, parse_rule_set
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.rules.serialization import rule_set_to_json, rule_to_json
from dawnrule.schemas.rule_set import RuleSetSchema

CLUB = """\
rule_set: our-club
version: 1.0.0
summary: The baseline as our club needs it.
extends: baseline@1.0.0
signals:
  long-block: {fact: planned_minutes, above: 90}
change:
  - rule: growth-work-too-soon
    fact: hours_since_growth_work
    below: 60
    because: our lifters train to failure
    reason: "{muscle_group} had growth work {hours_since_growth_work:.1f} h ago; it waits 60 h."
    caution: Train another muscle group.
    examples:
      - {facts: {goal: hypertrophy, hours_since_growth_work: 59.9}, fires: true}
      - {facts: {goal: hypertrophy, hours_since_growth_work: 60}, fires: false}
off:
  - {rule: growth-work-long-session, because: our sessions hold long warm-ups}
rules:
  - id: long-speed-work
    title: Long speed work after a short night
    scope: part
    when: {all: [{fact: goal, is: speed}, {signal: short-sleep}, {signal: long-block}]}
    verdict: swap-to-low-damage
    reason: Slept {sleep_hours:.1f} h.
    caution: Do easy technique instead.
    basis: {kind: house, source: house judgement}
    wrong_when: The athlete naps at noon.
    examples:
      - {facts: {goal: speed, sleep_hours: 5.9, planned_minutes: 90.1}, fires: true}
      - {facts: {goal: speed, sleep_hours: 6, planned_minutes: 90.1}, fires: false}
      - {facts: {goal: speed, sleep_hours: 5.9, planned_minutes: 90}, fires: false}
      - {facts: {goal: power, sleep_hours: 5.9, planned_minutes: 90.1}, fires: false}
"""

BARE = CLUB[: CLUB.index("signals:")]


@cache
def baseline(name: str = "baseline", version: str = "1.0.0") -> RuleSet:
    return bundled_rule_set(name, version)


@cache
def club(text: str = CLUB) -> RuleSet:
    return parse_rule_set(text, "club.yaml", resolve=baseline)


def rule(rule_set: RuleSet, name: str) -> Rule:
    return next(rule for rule in rule_set.rules if rule.id == name)


def findings(text: str) -> list[Finding]:
    return check_rule_set(club(text), FactDictionary.bundled())


def codes(text: str) -> set[str]:
    return {finding.code for finding in findings(text)}


def test_nothing_is_found_in_a_sound_extension() -> None:
    assert findings(CLUB) == []


def test_what_is_not_mentioned_stays_as_it_was() -> None:
    ours = {r.id: rule_to_json(r) for r in club().rules}
    theirs = {r.id: rule_to_json(r) for r in baseline().rules}
    assert {name for name in theirs if theirs[name] != ours.get(name)} == {
        "growth-work-too-soon",
        "growth-work-long-session",
    }


def test_rules_keep_their_order_and_added_ones_stand_last() -> None:
    """So no added rule takes the word from a warning sign."""
    left = [r.id for r in baseline().rules if r.id != "growth-work-long-session"]
    assert [r.id for r in club().rules] == [*left, "long-speed-work"]


def test_a_changed_threshold_decides_by_both_evaluations() -> None:
    facts: Facts = {"goal": "hypertrophy", "hours_since_growth_work": 59.9}
    for rule_set, fired in ((baseline(), False), (club(), True)):
        decider = Decider(rule_set, FactDictionary.bundled())
        ids = {one.id for one in decider.fired("part", facts)}
        assert ("growth-work-too-soon" in ids) is fired
        decider.close()


def test_a_changed_rule_is_house_judgement_and_names_what_it_was() -> None:
    basis = rule(club(), "growth-work-too-soon").basis
    assert (basis.kind, basis.source) == ("house", "house judgement: our lifters train to failure")
    assert basis.note is not None
    assert basis.note.startswith("In baseline@1.0.0 it is hours_since_growth_work below 48, with")


def test_a_changed_rule_keeps_the_examples_that_still_come_out() -> None:
    shown = rule(club(), "growth-work-too-soon").examples
    hours = [example.facts.get("hours_since_growth_work") for example in shown]
    assert hours == [30, 47.9, 30, None, 59.9, 60]


def test_a_changed_test_inside_a_signal_is_changed_for_its_rule_alone() -> None:
    text = f"""{BARE}change:
  - rule: two-signs-of-strain
    fact: sleep_hours
    below: 6.5
    because: our athletes are young
"""
    two, four = (rule(club(text), name) for name in ("two-signs-of-strain", "four-signs-of-strain"))
    assert [t.value for t in each_test(two.when) if t.fact == "sleep_hours"] == [6.5]
    assert [t.value for t in each_test(four.when) if t.fact == "sleep_hours"] == [6]
    assert isinstance(four.when, Group)
    assert isinstance(four.when.conditions[0], Signal)


def test_an_added_rule_may_use_the_signals_of_both() -> None:
    tested = {test.fact for test in each_test(rule(club(), "long-speed-work").when)}
    assert tested == {"goal", "sleep_hours", "planned_minutes"}


def test_it_says_what_it_came_from_and_what_it_changed() -> None:
    ours = club()
    assert [r.full_name for r in ours.ancestors] == ["baseline@1.0.0"]
    assert ours.extension is not None
    [change] = ours.extension.changed
    assert (change.rule, change.operator, change.before, change.after, change.line) == (
        "growth-work-too-soon",
        Operator.BELOW,
        48,
        60,
        8,
    )
    [off] = ours.extension.off
    assert (off.rule, off.because, off.line) == (
        "growth-work-long-session",
        "our sessions hold long warm-ups",
        18,
    )


def test_things_stand_on_the_lines_on_which_the_extension_says_them() -> None:
    ours = club()
    assert rule(ours, "illness-fever").line == 4
    assert rule(ours, "growth-work-too-soon").line == 8
    assert [e.line for e in rule(ours, "growth-work-too-soon").examples][-2:] == [15, 16]
    assert rule(ours, "long-speed-work").line == 20
    assert rule(ours, "long-speed-work").examples[0].line == 30


def test_the_digest_covers_what_is_said_and_what_it_came_from() -> None:
    digests = {
        club().digest,
        baseline().digest,
        club(BARE).digest,
        club(CLUB.replace("long warm-ups", "warm-ups")).digest,
        club(CLUB.replace("below: 60", "below: 59")).digest,
        club(CLUB.replace("version: 1.0.0", "version: 1.0.1")).digest,
        parse_rule_set(CLUB, "club.yaml", resolve=_baseline_with_another_digest).digest,
    }
    assert len(digests) == 7
    assert club("# a comment\n" + CLUB).digest == club().digest


def _baseline_with_another_digest(name: str, version: str) -> RuleSet:
    text = (rules_folder() / name / f"{version}.yaml").read_text(encoding="utf-8")
    return parse_rule_set(text.replace("The morning question", "A morning question"), "a.yaml")


def test_an_extension_can_be_extended() -> None:
    def resolve(name: str, version: str) -> RuleSet:
        assert (name, version) == ("our-club", "1.0.0")
        return club()

    text = """\
rule_set: p-01
version: 1.0.0
summary: One athlete's exceptions.
extends: our-club@1.0.0
off:
  - {rule: long-speed-work, because: they sleep at noon}
"""
    theirs = parse_rule_set(text, "p.yaml", resolve=resolve)
    assert [r.full_name for r in theirs.ancestors] == ["our-club@1.0.0", "baseline@1.0.0"]
    assert len(theirs.rules) == len(club().rules) - 1
    assert check_rule_set(theirs, FactDictionary.bundled()) == []


def test_a_rule_set_that_extends_itself_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(loader, "rules_folder", lambda: tmp_path)
    for name, base in (("one", "other"), ("other", "one")):
        (tmp_path / name).mkdir()
        text = BARE.replace("our-club", name).replace("baseline@1.0.0", f"{base}@1.0.0")
        (tmp_path / name / "1.0.0.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(RuleSetInvalid, match=r"one@1\.0\.0 extends itself"):
        bundled_rule_set("one", "1.0.0")


def test_a_bundled_rule_set_is_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(loader, "rules_folder", lambda: tmp_path)
    (tmp_path / "our-club").mkdir()
    file = tmp_path / "our-club" / "1.0.0.yaml"
    text = (rules_folder() / "baseline" / "1.0.0.yaml").read_text(encoding="utf-8")
    file.write_text(text, encoding="utf-8")
    first = bundled_rule_set("our-club", "1.0.0")
    assert bundled_rule_set("our-club", "1.0.0") is first


def test_a_rule_set_that_does_not_ship_is_not_found() -> None:
    with pytest.raises(NotFound, match=r"No rule set baseline@0\.0\.1 ships"):
        bundled_rule_set("baseline", "0.0.1")


def test_what_is_wrong_with_what_is_extended_is_told() -> None:
    def resolve(name: str, version: str) -> RuleSet:
        return load_rule_set(Path(__file__).parents[1] / "rules" / "bad" / "unknown-fact.yaml")

    with pytest.raises(RuleSetInvalid, match=r"unknown-fact\.yaml"):
        parse_rule_set(BARE, "club.yaml", resolve=resolve)


# ---- stop rules


def off(name: str) -> str:
    return f"{BARE}off:\n  - {{rule: {name}, because: we would rather not}}\n"


STOPS = [r.id for r in baseline().rules if r.is_stop(FactDictionary.bundled())]


def test_pain_illness_and_warning_signs_are_the_stop_rules_of_the_baseline() -> None:
    assert STOPS == [
        "warning-heart-or-chest",
        "warning-head-injury",
        "warning-numbness-or-weakness",
        "warning-dark-urine-or-swelling",
        "illness-fever",
        "illness-below-neck",
        "illness-above-neck",
        "pain-reported",
        "pain-not-soreness",
        "pain-of-another-kind",
    ]


@pytest.mark.parametrize("name", STOPS)
def test_no_stop_rule_can_be_switched_off(name: str) -> None:
    [finding] = [f for f in findings(off(name)) if f.code == "weaker-stop"]
    assert (finding.rule, finding.line) == (name, 6)
    [facts] = finding.inputs
    fired = {one.id for one in baseline().rules if predicate(one.when)(facts)}
    assert fired & set(STOPS) == {name}


def test_all_other_rules_can_be_switched_off() -> None:
    others = [r.id for r in baseline().rules if r.id not in STOPS]
    entries = "".join(f"  - {{rule: {name}, because: we would rather not}}\n" for name in others)
    text = f"{BARE}off:\n{entries}"
    assert [r.id for r in club(text).rules] == STOPS
    assert codes(text) == set()


def test_a_stop_rule_cannot_be_made_weaker() -> None:
    text = f"""{BARE}change:
  - rule: illness-above-neck
    fact: illness
    is: none
    because: a cold is nothing
    examples: [{{facts: {{illness: none}}, fires: true}}]
"""
    [finding] = [f for f in findings(text) if f.code == "weaker-stop"]
    assert finding.inputs == ({"illness": "above-neck"},)
    assert str(finding).startswith(
        "club.yaml:6: rule illness-above-neck: it may be made stricter, never weaker or switched "
        "off: on {illness: above-neck} baseline@1.0.0 says swap-to-low-damage"
    )


STRICTER = """\
rules:
  - id: any-illness
    title: Ill in any way
    scope: day
    when: {fact: illness, in: [above-neck, below-neck, fever]}
    verdict: rest
    reason: "Illness was reported: {illness}."
    caution: Rest until you are free of symptoms. See a clinician if it gets worse.
    basis: {kind: house, source: house judgement}
    wrong_when: A runny nose from dust was ticked as illness.
    examples:
      - {facts: {illness: above-neck}, fires: true}
      - {facts: {illness: below-neck}, fires: true}
      - {facts: {illness: fever}, fires: true}
      - {facts: {illness: none}, fires: false}
"""


def test_a_stop_rule_can_be_replaced_by_a_stricter_one() -> None:
    """The rules on fever and illness below the neck still decide, but now change no verdict."""
    assert codes(off("illness-above-neck") + STRICTER) == {"subsumed"}


def test_a_stop_rule_is_not_replaced_by_a_milder_one() -> None:
    milder = STRICTER.replace("verdict: rest", "verdict: swap-to-low-damage")
    assert "weaker-stop" not in codes(off("illness-above-neck") + milder)
    [finding] = [f for f in findings(off("illness-fever") + milder) if f.code == "weaker-stop"]
    assert "says rest, and nothing here says as much" in finding.message


def test_a_stop_rule_is_not_replaced_by_one_that_does_not_speak_of_it() -> None:
    """An athlete with a fever must hear of the fever, not of something else."""
    always = "{any: [{fact: stress, reported: true}, {fact: stress, reported: false}]}"
    other = STRICTER.replace("{fact: illness, in: [above-neck, below-neck, fever]}", always)
    other = other.replace('"Illness was reported: {illness}."', "Enough.")
    assert "weaker-stop" in codes(off("illness-fever") + other)


# ---- texts that tell the old value


def test_a_text_that_still_tells_the_old_value_is_found() -> None:
    text = "\n".join(line for line in CLUB.splitlines() if 'reason: "' not in line)
    [finding] = findings(text)
    assert str(finding) == (
        "club.yaml:8: rule growth-work-too-soon: its texts still say 48, which is now 60 "
        "[old-value]"
    )


def test_a_text_that_never_told_the_value_is_not_found() -> None:
    text = f"""{BARE}change:
  - {{rule: force-work-short-rest, fact: planned_rest_seconds, below: 90, because: ours are light}}
"""
    assert "old-value" not in codes(text)


# ---- what is told


def test_a_rule_set_tells_what_it_came_from_and_what_it_changed() -> None:
    told = rule_set_to_json(club())
    base = baseline()
    assert told["came_from"] == [
        {"name": "baseline", "version": "1.0.0", "digest": base.digest},
    ]
    assert told["changed"] == [
        {
            "rule": "growth-work-too-soon",
            "before": {"fact": "hours_since_growth_work", "below": 48},
            "after": {"fact": "hours_since_growth_work", "below": 60},
            "because": "our lifters train to failure",
        }
    ]
    assert told["off"] == [
        {"rule": "growth-work-long-session", "because": "our sessions hold long warm-ups"}
    ]
    unpublished: dict[str, Any] = {
        "active": False,
        "published_at": None,
        "published_by": None,
        "activations": [],
    }
    assert RuleSetSchema().validate(told | unpublished) == {}
    plain = rule_set_to_json(base)
    assert (plain["came_from"], plain["changed"], plain["off"]) == ([], [], [])


def test_the_record_of_an_advice_tells_what_its_rule_set_came_from() -> None:
    ours = club()
    advisor = Advisor(RuleSetLibrary({(ours.name, ours.version): ours}), Composer.bundled())
    now = datetime(2026, 3, 9, 7, tzinfo=UTC)
    athlete = Athlete("a-01", "Ada", "UTC")
    morning = Morning(athlete, CheckIn("a-01", now.date(), plan=()), History(), now)
    considered = advisor.consider(morning, ours, "advice-1")
    record = considered.record(decided_at=now, posted_by=None, supersedes=None)
    assert record.advice.rule_set.digest == ours.digest
    assert [one.digest for one in record.came_from] == [baseline().digest]
