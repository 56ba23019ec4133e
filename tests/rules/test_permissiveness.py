"""Permissiveness: limits, concerns and versions that make advice more permissive are found."""

from __future__ import annotations

import pytest

from dawnrule.model import FactDictionary
from dawnrule.rules.analysis.applicability import applicable_codes
from dawnrule.rules.analysis.permissiveness import permissiveness_findings
from dawnrule.rules.loading.loader import bundled_rule_set, parse_rule_set

DICTIONARY = FactDictionary.bundled()

HEAD = """\
rule_set: tried
version: 1.0.0
summary: Tried.
MORErules:
"""
RULE = """\
  - id: ID
    title: A rule
    scope: part
    when: WHEN
    verdict: VERDICT
    LIMITSreason: It was reported.
    caution: Less.
    basis: {kind: house, source: house judgement}
    wrong_when: Never.
    examples:
      - {facts: {soreness: 9}, fires: true}
      - {facts: {soreness: 0}, fires: false}
"""


def rule(name: str, when: str, verdict: str, limits: str = "") -> str:
    text = RULE.replace("ID", name).replace("WHEN", when).replace("VERDICT", verdict)
    return text.replace("LIMITS", f"limits: {limits}\n    " if limits else "")


def codes(*rules: str, more: str = "") -> list[str]:
    rule_set = parse_rule_set(HEAD.replace("MORE", more) + "".join(rules), "tried.yaml")
    return [finding.code for finding in permissiveness_findings(rule_set, DICTIONARY)]


SORE = "{fact: soreness, at_least: 3}"


def test_a_concern_that_switches_a_rule_off_is_found() -> None:
    off = f"{{all: [{SORE}, {{fact: open_pain, reported: false}}]}}"
    assert codes(rule("sore", off, "rest")) == ["concern-loosens"]
    assert (
        codes(rule("sore", SORE, "rest"), rule("pain", "{fact: open_pain, is: joint}", "rest"))
        == []
    )


def test_a_limit_that_worse_facts_loosen_is_found() -> None:
    some = "{fact: soreness, at_least: 3, below: 5}"
    assert codes(rule("some", some, "swap-to-low-damage", "{no_failure: true}")) == [
        "limit-loosened"
    ]
    assert codes(rule("sore", SORE, "swap-to-low-damage", "{no_failure: true}")) == []
    assert (
        codes(
            rule("some", some, "swap-to-low-damage", "{no_failure: true}"),
            rule("very", "{fact: soreness, at_least: 5}", "rest"),
        )
        == []
    )


def test_what_exceeds_a_limit_and_is_trained_is_found() -> None:
    note = rule("sore", SORE, "note", "{no_maximal: true}")
    assert codes(note) == ["limit-not-kept"]
    maximal = f"{{all: [{SORE}, {{fact: planned_maximal, is: true}}]}}"
    assert codes(note, rule("maximal", maximal, "swap-to-low-damage")) == []


def test_a_version_that_is_more_permissive_than_it_says_is_found() -> None:
    more = """more_permissive:
  than: baseline@1.2.0
  where:
    - {id: sore, scope: part, when: {fact: soreness, at_least: 3}, because: Tried.}
"""
    found = codes(rule("sore", SORE, "rest"), more=more)
    assert set(found) == {"more-permissive"}


def test_the_newest_baseline_says_where_it_is_more_permissive_and_is_so_nowhere_else() -> None:
    newest = bundled_rule_set("baseline", "2.0.0")
    assert list(permissiveness_findings(newest, DICTIONARY)) == []
    assert applicable_codes(newest, DICTIONARY) == {
        "limit-loosened",
        "limit-not-kept",
        "concern-loosens",
        "more-permissive",
    }
    assert newest.more_permissive is not None
    assert all(place.because for place in newest.more_permissive.where)


@pytest.mark.parametrize("version", ["1.0.0", "1.1.0", "1.2.0"])
def test_older_versions_are_asked_nothing_of_this(version: str) -> None:
    rule_set = bundled_rule_set("baseline", version)
    assert applicable_codes(rule_set, DICTIONARY) == frozenset()
    assert list(permissiveness_findings(rule_set, DICTIONARY)) == []
