"""Golden decisions on the rules' own examples: what the rule set as a whole says where one fires.

An example shows that its own rule fires. The verdict then depends on all the others too, so each is
kept in tests/golden/examples/. ``python -m tests.golden.decided_examples`` writes them anew; read
what it changes before you commit it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from dawnrule.i18n.resources import read_data
from dawnrule.model import Facts
from dawnrule.rules.evaluation.decision import decision_of
from dawnrule.rules.evaluation.evaluator import Predicate, predicate
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.registry import bundled_rule_set_files
from dawnrule.rules.rule_set import Rule, RuleSet

FOLDER = Path(__file__).parent / "examples"
HEAD = """\
# What {name} decides, with all its rules, on each example that fires: the verdict, the
# rule that decides, and which rules fire besides.
"""


@dataclass(frozen=True, slots=True)
class DecidedExample:
    """What a rule set says of an example: the verdict, the rule that decides, what else fires."""

    verdict: str
    rule: str | None
    besides: tuple[str, ...]


def decide(rule: Rule, facts: Facts, rule_set: RuleSet) -> DecidedExample:
    """Decide on the facts of an example of a rule, by the evaluator alone."""
    fired = [one for one in rule_set.counting_for(rule.scope) if _predicate(one)(facts)]
    decision = decision_of(fired)
    deciding = decision.deciding.id if decision.deciding else None
    besides = tuple(one.id for one in fired if one.id != deciding)
    return DecidedExample(decision.verdict.value, deciding, besides)


def decided(rule_set: RuleSet) -> Iterator[tuple[str, list[DecidedExample]]]:
    """Yield each rule's id with what is decided on its examples that fire."""
    for rule in rule_set.rules:
        firing = [example.facts for example in rule.examples if example.fires]
        yield rule.id, [decide(rule, facts, rule_set) for facts in firing]


@cache
def _predicate(rule: Rule) -> Predicate:
    return predicate(rule.when)


def file_of(rule_set: RuleSet) -> Path:
    """Name the file of a rule set's golden decisions."""
    return FOLDER / f"{rule_set.name}-{rule_set.version}.yaml"


@cache
def kept(file: Path) -> Mapping[str, Sequence[DecidedExample]]:
    """Read a file of golden decisions; empty if there is none."""
    if not file.exists():
        return {}
    data = read_data(file)
    return {
        rule_id: [
            DecidedExample(one["verdict"], one["rule"], tuple(one["besides"])) for one in examples
        ]
        for rule_id, examples in data.items()
    }


def _written(rule_set: RuleSet) -> Iterator[str]:
    yield HEAD.format(name=rule_set.full_name)
    for rule_id, examples in decided(rule_set):
        yield f"{rule_id}:\n"
        for one in examples:
            besides = ", ".join(one.besides)
            rule = one.rule or "null"
            yield f"  - {{verdict: {one.verdict}, rule: {rule}, besides: [{besides}]}}\n"


def main() -> None:
    rule_set = load_rule_set(bundled_rule_set_files()[-1])
    file_of(rule_set).write_text("".join(_written(rule_set)), encoding="utf-8")


if __name__ == "__main__":
    main()
