"""Rules and rule sets, and what an extension changed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, TypeAlias

from dawnrule.model import SECOND_EDITION, FactDictionary, Facts, FactValue, Scope, Verdict
from dawnrule.rules.conditions import Condition, Operator, facts_of, needed_tests
from dawnrule.rules.evaluation.evaluator import Predicate, predicate
from dawnrule.rules.limits import NO_LIMITS, Limits

SCOPES: tuple[Scope, ...] = ("day", "part")

NOTE = "note"
"""The word that stands for the verdict of a rule that only adds a caution."""

BasisKind: TypeAlias = Literal["published", "common-practice", "house"]
ToldWhen: TypeAlias = Literal["always", "trains"]
TellAgain: TypeAlias = Literal["always", "when-changed"]


@dataclass(frozen=True, slots=True)
class Basis:
    """Where a rule comes from: a published source, common practice, or house judgement."""

    kind: BasisKind
    source: str
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Example:
    """A worked example: on these facts and no others, the rule fires or does not."""

    facts: Facts
    fires: bool
    line: int


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """One rule, equal only to itself. ``verdict`` is None for a note, which adds a caution and
    changes no verdict.

    ``reason`` is a template over the facts that the rule tests, and ``muscle_group`` and ``goal``
    in a part rule; ``line`` is the rule's line in its file. ``limits`` state how much of the plan
    may be done where the rule fires. ``told_when`` and ``tell_again`` are for notes: whether one is
    given on a morning without training, and whether it is given in full each morning.
    """

    id: str
    title: str
    scope: Scope
    when: Condition
    verdict: Verdict | None
    reason: str
    caution: str
    basis: Basis
    wrong_when: str
    examples: tuple[Example, ...]
    line: int
    limits: Limits = NO_LIMITS
    told_when: ToldWhen = "always"
    tell_again: TellAgain | None = None

    @property
    def is_note(self) -> bool:
        """Whether the rule only adds a caution."""
        return self.verdict is None

    @property
    def is_protective(self) -> bool:
        """Whether the rule asks for more than to train as planned."""
        return self.verdict not in (None, Verdict.TRAIN)

    def is_stop(self, dictionary: FactDictionary) -> bool:
        """Tell whether the rule reads pain, illness or a warning sign."""
        return any(dictionary[fact].stop for fact in self.reads)

    def is_stop_note(self, dictionary: FactDictionary) -> bool:
        """Tell whether the rule is a note on pain, illness or a warning sign. Notes on training may
        read these too, in order to be left out with them."""
        return self.is_note and self.told_when == "always" and self.is_stop(dictionary)

    def told_each_time(self, dictionary: FactDictionary) -> bool:
        """Tell whether the rule is given in full each morning, though nothing has changed: as it
        states itself, else for a rule with a verdict and a note on pain, illness or a warning
        sign."""
        if self.tell_again is not None:
            return self.tell_again == "always"
        return not self.is_note or self.is_stop(dictionary)

    @property
    def reads(self) -> tuple[str, ...]:
        """The facts that the rule tests, each once, in the file's order."""
        return _reads(self)

    @property
    def fires(self) -> Predicate:
        """Whether the rule fires on facts, by the evaluator."""
        return _fires(self)


@dataclass(frozen=True, slots=True)
class RuleSet:
    """A named, versioned, immutable list of rules.

    ``digest`` is ``sha256:`` and the hex digest of the canonical JSON (RFC 8785) of the file's
    meaning: comments and layout do not affect it, any change of a rule does. ``file`` is the name
    used in findings. ``extension`` is set when the rule set extends another; its rules are then
    those of the other, with the changes applied, followed by its own.
    """

    name: str
    version: str
    summary: str
    rules: tuple[Rule, ...]
    digest: str
    file: str
    extension: Extension | None = None
    more_permissive: MorePermissive | None = None

    @property
    def full_name(self) -> str:
        """Name and version, as ``baseline@1.0.0``."""
        return f"{self.name}@{self.version}"

    @property
    def ancestors(self) -> tuple[RuleSet, ...]:
        """The rule sets that it extends, the nearest first."""
        if self.extension is None:
            return ()
        return (self.extension.of, *self.extension.of.ancestors)

    def in_scope(self, scope: Scope) -> tuple[Rule, ...]:
        """List the rules of one scope, in the file's order."""
        return tuple(rule for rule in self.rules if rule.scope == scope)

    def counting_for(self, scope: Scope) -> tuple[Rule, ...]:
        """List the rules that decide on a day or on a part, in the file's order: day rules count
        for every part."""
        return self.rules if scope == "part" else self.in_scope("day")

    def edition(self, dictionary: FactDictionary) -> int:
        """Return the edition of facts that the rule set was written for."""
        return dictionary.edition_of(_facts_read(self.rules))

    def decides_by_block(self, dictionary: FactDictionary) -> bool:
        """Tell whether the parts of a block have one verdict. Rule sets of the first edition, which
        were written before there were blocks, decide on each part by itself."""
        return self.edition(dictionary) >= SECOND_EDITION

    def facts_read(self, scope: Scope) -> tuple[str, ...]:
        """List the facts that the rules of one scope test, each once, in the file's order."""
        return _facts_read(self.in_scope(scope))


@dataclass(frozen=True, slots=True)
class ChangedThreshold:
    """A test of one rule that an extension gave another value; ``line`` is that of the entry."""

    rule: str
    fact: str
    operator: Operator
    before: FactValue | tuple[FactValue, ...]
    after: FactValue | tuple[FactValue, ...]
    because: str
    line: int


@dataclass(frozen=True, slots=True)
class DisabledRule:
    """A rule that an extension leaves out; ``line`` is that of the entry."""

    rule: str
    because: str
    line: int


@dataclass(frozen=True, slots=True)
class MorePermissivePlace:
    """Mornings on which a rule set is more permissive than an earlier one, with the reason;
    ``line`` is that of the entry. With ``also_from_rest`` they include mornings on which the
    earlier one rests."""

    id: str
    scope: Scope
    when: Condition
    because: str
    line: int
    also_from_rest: bool = False


@dataclass(frozen=True, slots=True)
class MorePermissive:
    """All the mornings on which a rule set is more permissive than another, given by its full
    name."""

    than: str
    where: tuple[MorePermissivePlace, ...]


@dataclass(frozen=True, slots=True)
class Extension:
    """The rule set that another extends, with the changes made to it; added rules are not
    listed."""

    of: RuleSet
    changed: tuple[ChangedThreshold, ...]
    off: tuple[DisabledRule, ...]


@lru_cache(maxsize=4096)
def _reads(rule: Rule) -> tuple[str, ...]:
    return facts_of(rule.when)


@lru_cache(maxsize=4096)
def _fires(rule: Rule) -> Predicate:
    """Compile a rule. Most rules need a fact that most mornings do not report, often the one that
    stands last, so that is looked for first."""
    holds = predicate(rule.when)
    reported = [test.fact for test in needed_tests(rule.when) if test.needs_report]
    if not reported:
        return holds
    fact = reported[-1]
    return lambda facts: fact in facts and holds(facts)


@lru_cache(maxsize=64)
def _facts_read(rules: tuple[Rule, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(fact for rule in rules for fact in rule.reads))
