"""The rule-writing guide: rules/README.md teaches how rules are really written."""

from __future__ import annotations

import json
import re

import pytest

from dawnrule.errors import RuleSetInvalid
from dawnrule.i18n.resources import rules_folder
from dawnrule.model import FactDictionary
from dawnrule.rules.analysis.check import check_rule_set
from dawnrule.rules.analysis.findings import KINDS, errors_among
from dawnrule.rules.conditions import Operator
from dawnrule.rules.evaluation.evaluator import predicate
from dawnrule.rules.loading.json_schema import EXTENSION
from dawnrule.rules.loading.loader import parse_rule_set
from tests.rules.test_findings import HEAD, MORE_TRAINING

GUIDE = (rules_folder() / "README.md").read_text(encoding="utf-8")
IN_BACKTICKS = frozenset(re.findall(r"`([^`\n]+)`", GUIDE))
COMBINATIONS = ("all", "any", "none", "at_least_n_of", "signal")
RULE_FIELDS = (
    *("id", "title", "scope", "when", "verdict"),
    *("reason", "caution", "basis", "wrong_when", "examples"),
)


def complete_rule() -> str:
    """Return the rule that the guide writes from start to end."""
    blocks: list[str] = re.findall(r"```yaml\n(.*?)```", GUIDE, re.DOTALL)
    return next(block for block in blocks if block.startswith("rule_set:"))


@pytest.mark.parametrize("fact", FactDictionary.bundled())
def test_the_guide_lists_every_fact(fact: str) -> None:
    assert fact in IN_BACKTICKS


@pytest.mark.parametrize("word", [*Operator, *COMBINATIONS, *RULE_FIELDS])
def test_the_guide_explains_every_word_of_a_rule(word: str) -> None:
    assert f"\n| `{word}` |" in GUIDE


def test_the_guides_complete_rule_can_be_used_as_it_stands() -> None:
    (rule,) = parse_rule_set(complete_rule(), "1.0.0.yaml").rules
    holds = predicate(rule.when)
    assert [holds(example.facts) for example in rule.examples] == [
        example.fires for example in rule.examples
    ]


def test_the_guide_lists_every_finding_as_it_is() -> None:
    rows = [f"| `{code}` | {kind.severity} | {kind.description} |" for code, kind in KINDS.items()]
    shown = [line for line in GUIDE.splitlines() if line in rows]
    assert shown == rows


def test_nothing_is_found_in_the_guides_extension() -> None:
    blocks: list[str] = re.findall(r"```yaml\n(.*?)```", GUIDE, re.DOTALL)
    [extension] = [block for block in blocks if "\nextends:" in block]
    ours = parse_rule_set(extension, "1.0.0.yaml")
    assert check_rule_set(ours, FactDictionary.bundled()) == []


def test_the_guides_complete_rule_alone_is_warned_of_and_with_the_line_it_shows_is_sound() -> None:
    alone = parse_rule_set(complete_rule(), "1.0.0.yaml")
    [finding] = check_rule_set(alone, FactDictionary.bundled())
    assert f"(`{finding.code}`)" in GUIDE
    assert "\n```yaml\nextends: baseline@2.0.0\n```\n" in GUIDE
    extended = complete_rule().replace("rules:", "extends: baseline@2.0.0\nrules:")
    ours = parse_rule_set(extended, "1.0.0.yaml")
    assert check_rule_set(ours, FactDictionary.bundled()) == []


def test_the_guide_explains_every_field_of_an_extension() -> None:
    text = (rules_folder() / EXTENSION).read_text(encoding="utf-8")
    fields = set(json.loads(text)["properties"]) - {"rule_set", "version", "summary"}
    assert {field for field in fields if f"\n| `{field}` |" not in GUIDE} == set()


def test_the_guide_shows_the_finding_that_more_training_for_more_soreness_really_gives() -> None:
    found = check_rule_set(
        parse_rule_set(HEAD + MORE_TRAINING, "1.0.0.yaml"), FactDictionary.bundled()
    )
    [finding] = errors_among(found)
    assert f"\n{finding}\n" in GUIDE


def test_the_guide_shows_the_finding_that_a_misspelt_fact_really_gives() -> None:
    misspelt = complete_rule().replace("fact: sleep_hours", "fact: sleep_hour")
    with pytest.raises(RuleSetInvalid) as refused:
        parse_rule_set(misspelt, "1.0.0.yaml")
    shown = next(line for line in GUIDE.splitlines() if line.startswith("1.0.0.yaml:"))
    assert str(refused.value.findings[0]).startswith(shown.removesuffix(" ..."))
