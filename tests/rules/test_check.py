"""The check of a rule set: examples that do not pass, and leftover texts."""

from __future__ import annotations

from pathlib import Path

import pytest

from dawnrule.model import FactDictionary
from dawnrule.rules.analysis.check import check_rule_set
from dawnrule.rules.loading.loader import load_rule_set, parse_rule_set
from dawnrule.rules.registry import bundled_rule_set_files

SOUND = """\
rule_set: sound
version: 1.0.0
summary: One rule.
rules:
  - id: short-night
    title: A short night
    scope: day
    when: {fact: sleep_hours, below: 6}
    verdict: rest
    reason: Slept {sleep_hours:.1f} h.
    caution: Sleep more.
    basis: {kind: house, source: house judgement}
    wrong_when: Never.
    examples:
      - {facts: {sleep_hours: 5.9}, fires: true}
      - {facts: {sleep_hours: 6}, fires: false}
"""


def found(text: str, code: str) -> list[str]:
    findings = check_rule_set(parse_rule_set(text, "a.yaml"), FactDictionary.bundled())
    return [str(finding) for finding in findings if finding.code == code]


@pytest.mark.parametrize("file", bundled_rule_set_files(), ids=lambda file: file.stem)
def test_nothing_is_found_in_the_shipped_rule_sets(file: Path) -> None:
    assert check_rule_set(load_rule_set(file), FactDictionary.bundled()) == []


def test_in_a_sound_rule_set_only_that_it_heeds_no_warning_sign_is_found() -> None:
    [finding] = check_rule_set(parse_rule_set(SOUND, "a.yaml"), FactDictionary.bundled())
    assert finding.code == "warning-sign-not-heeded"


def test_examples_that_do_not_come_out_are_found_on_their_lines() -> None:
    wrong = SOUND.replace("{sleep_hours: 5.9}", "{sleep_hours: 6.5}")
    wrong = wrong.replace("{sleep_hours: 6}", "{sleep_hours: 5}")
    assert found(wrong, "example") == [
        "a.yaml:15: rule short-night: the example says that the rule fires on "
        "{sleep_hours: 6.5}, but it does not [example]",
        "a.yaml:16: rule short-night: the example says that the rule does not fire on "
        "{sleep_hours: 5}, but it does [example]",
    ]


def test_what_an_example_leaves_out_was_not_reported() -> None:
    [message] = found(SOUND.replace("{sleep_hours: 5.9}", "{stress: 5}"), "example")
    assert "the rule fires on {stress: 5}, but it does not" in message


def test_a_rule_that_the_engine_cannot_take_is_a_finding() -> None:
    either = "{any: [{fact: fatigue, at_least: 3}, {fact: stress, at_least: 3}]}"
    many = ", ".join(either.replace("3", str(n % 9 + 1)) for n in range(40))
    when = f"{{all: [{{fact: sleep_hours, below: 6}}, {many}]}}"
    unusable = SOUND.replace("{fact: sleep_hours, below: 6}", when)
    [finding] = found(unusable, "too-many-ways")
    assert finding.startswith("a.yaml:5: rule short-night: ")
