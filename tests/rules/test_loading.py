"""Loading: rule files are read as they are meant, and every fault is named with its line.

``tests/rules/bad/`` holds a file for each fault. Its first lines state what the loader must find,
all of it and nothing else; a line may end before the finding does.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from dawnrule.errors import Finding, RuleSetInvalid
from dawnrule.model import Verdict
from dawnrule.rules.conditions import Operator, Signal, Test, all_of
from dawnrule.rules.loading.condition_parser import MAX_SIGNAL_DEPTH, MAX_TESTS
from dawnrule.rules.loading.loader import load_rule_set, parse_rule_set
from dawnrule.rules.loading.yaml_reader import read_yaml
from dawnrule.rules.registry import bundled_rule_set_files

BAD = sorted((Path(__file__).parents[1] / "rules" / "bad").glob("*.yaml"))
EXPECTED = "#   "

CODES_OF_FILES = {
    "change",
    "condition",
    "duplicate-id",
    "examples",
    "extends",
    "limits",
    "off",
    "operator",
    "reason",
    "schema",
    "scope",
    "signal",
    "unknown-fact",
    "unknown-signal",
    "value",
    "yaml",
}
"""The codes of the bad files; two more codes have tests of their own below."""

GOOD = """\
rule_set: good
version: 1.0.0
summary: One rule.
signals:
  short: {fact: sleep_hours, below: 6}
rules:
  - id: short-night
    title: A short night
    scope: day
    when: {all: [{signal: short}, {fact: fatigue, at_least: 3, below: 5}]}
    verdict: rest
    reason: Slept {sleep_hours:.1f} h.
    caution: Sleep more.
    basis: {kind: house, source: house judgement}
    wrong_when: Never.
    examples:
      - {facts: {sleep_hours: 5, fatigue: 3}, fires: true}
      - {facts: {sleep_hours: 6, fatigue: 3}, fires: false}
"""


@cache
def found_in(file: Path) -> tuple[Finding, ...]:
    with pytest.raises(RuleSetInvalid) as refused:
        load_rule_set(file)
    return refused.value.findings


def findings_of(text: str) -> list[str]:
    with pytest.raises(RuleSetInvalid) as refused:
        parse_rule_set(text, "a.yaml")
    return [str(finding) for finding in refused.value.findings]


@pytest.mark.parametrize("file", BAD, ids=lambda file: file.stem)
def test_a_bad_file_is_refused_with_all_that_is_wrong_and_where(file: Path) -> None:
    first, *lines = file.read_text(encoding="utf-8").splitlines()
    assert first == "# Must be refused with:"
    expected = [line.removeprefix(EXPECTED) for line in lines if line.startswith(EXPECTED)]
    found = [str(finding).removeprefix(f"{file.name}:") for finding in found_in(file)]
    assert len(found) == len(expected), found
    for finding, words in zip(found, expected, strict=True):
        assert finding.startswith(words)


def test_every_code_of_a_finding_is_provoked_by_a_bad_file() -> None:
    assert {finding.code for file in BAD for finding in found_in(file)} == CODES_OF_FILES


@pytest.mark.parametrize("file", bundled_rule_set_files(), ids=lambda file: file.stem)
def test_shipped_rule_sets_load_under_the_name_of_their_file(file: Path) -> None:
    rule_set = load_rule_set(file)
    assert (rule_set.name, rule_set.version) == (file.parent.name, file.stem)


def test_a_good_file_is_read_as_it_is_meant() -> None:
    [rule] = parse_rule_set(GOOD, "good.yaml").rules
    assert rule.when == all_of(
        Signal("short", Test("sleep_hours", Operator.BELOW, 6)),
        all_of(Test("fatigue", Operator.AT_LEAST, 3), Test("fatigue", Operator.BELOW, 5)),
    )
    assert (rule.verdict, rule.line, rule.examples[1].line) == (Verdict.REST, 7, 18)
    assert rule.examples[0].facts == {"sleep_hours": 5, "fatigue": 3}


def test_a_note_has_no_verdict() -> None:
    [rule] = parse_rule_set(GOOD.replace("verdict: rest", "verdict: note"), "good.yaml").rules
    assert rule.verdict is None


@pytest.mark.parametrize(
    "same",
    [
        "# a comment\n" + GOOD,
        "\ufeff" + GOOD,
        GOOD.replace("\n", "\r\n"),
        GOOD.replace("below: 6}", "below: 6.0}"),
        GOOD.replace("verdict: rest", "verdict: 'rest'"),
        GOOD.replace("version: 1.0.0\nsummary: One rule.", "summary: One rule.\nversion: 1.0.0"),
    ],
)
def test_comments_and_layout_do_not_change_the_digest(same: str) -> None:
    assert parse_rule_set(same, "a.yaml").digest == parse_rule_set(GOOD, "b.yaml").digest


@pytest.mark.parametrize(
    ("word", "other"),
    [
        ("below: 6}", "below: 6.5}"),
        ("One rule.", "One."),
        ("Sleep more.", "Sleep."),
        ("e: 3}", "e: 4}"),
    ],
)
def test_any_change_of_meaning_changes_the_digest(word: str, other: str) -> None:
    assert word in GOOD
    changed = parse_rule_set(GOOD.replace(word, other, 1), "a.yaml")
    assert changed.digest != parse_rule_set(GOOD, "a.yaml").digest


def test_findings_name_the_file_as_it_was_named(tmp_path: Path) -> None:
    file = tmp_path / "1.0.0.yaml"
    file.write_bytes(b"rule_set: caf\xe9\n")
    for shown_as, name in ((None, "1.0.0.yaml"), ("ours/1.0.0.yaml", "ours/1.0.0.yaml")):
        with pytest.raises(RuleSetInvalid) as refused:
            load_rule_set(file, shown_as=shown_as)
        assert str(refused.value) == f"{name}:1: not UTF-8 at byte 13 [encoding]"


def test_words_of_yaml_that_look_like_something_else_stay_words() -> None:
    text = "[yes, no, on, off, 2026-03-09, 48:00, 010, 0x1F, 1_000, .5, .inf, '6']"
    assert read_yaml(text, "a.yaml").data == [
        "yes",
        "no",
        "on",
        "off",
        "2026-03-09",
        "48:00",
        "010",
        "0x1F",
        "1_000",
        ".5",
        ".inf",
        "6",
    ]


def test_numbers_of_yaml_are_those_of_json() -> None:
    assert read_yaml("[0, -5, 6.5, 1e3, true, False, null, ~]", "a.yaml").data == [
        0,
        -5,
        6.5,
        1000.0,
        True,
        False,
        None,
        None,
    ]


def test_each_thing_stands_on_its_line() -> None:
    source = read_yaml("a:\n  b: [1,\n    2]\nc/d~e: {f: 3}\n", "a.yaml")
    assert [source.line(p) for p in ("", "/a/b", "/a/b/1", "/a/b/9", "/c~1d~0e/f", "/x")] == [
        1,
        2,
        3,
        2,
        4,
        1,
    ]


def with_signals(signals: list[str]) -> str:
    body = "".join(f"  {line}\n" for line in signals)
    return GOOD.replace("  short: {fact: sleep_hours, below: 6}\n", body)


def test_signals_in_signals_do_not_exhaust_the_stack() -> None:
    chain = [f"s{i}: {{signal: s{i + 1}}}" for i in range(2000)]
    text = with_signals([*chain, "s2000: {fact: sleep_hours, below: 6}", "short: {signal: s0}"])
    found = findings_of(text)
    assert all(f"at most {MAX_SIGNAL_DEPTH} deep" in finding for finding in found)


def test_signals_that_multiply_do_not_grow_without_end() -> None:
    ten = [f"s{i}: {{all: [{', '.join([f'{{signal: s{i + 1}}}'] * 60)}]}}" for i in range(4)]
    text = with_signals([*ten, "s4: {fact: sleep_hours, below: 6}", "short: {signal: s0}"])
    assert any(f"tests at most {MAX_TESTS} facts" in finding for finding in findings_of(text))


def test_deep_nesting_is_refused_before_it_exhausts_the_stack() -> None:
    for depth in (50, 100_000):
        [finding] = findings_of("[" * depth + "]" * depth)
        assert "nest" in finding


def test_text_that_is_no_yaml_at_all_is_a_finding() -> None:
    for text in ("\0", "\x1b[31m", '"\\ud800"', "%YAML 9.9\n---\na: 1", "*unknown", "9" * 5000):
        [finding] = findings_of(text)
        assert "not YAML" in finding
