"""Trying a rule set on facts that a coach fills in; nothing is stored."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from flask import render_template, request

from dawnrule.advice.composer import Composer
from dawnrule.errors import FieldError, InvalidInput
from dawnrule.model import FactDefinition, Facts, FactValue, Scope
from dawnrule.rules.evaluation.decision import DayDecision, Decision
from dawnrule.rules.rule_set import Rule, RuleSet
from dawnrule.schemas.errors import load
from dawnrule.schemas.record import AssumedFacts, AssumedFactsSchema
from dawnrule.web.coach.layout import coach
from dawnrule.web.coach.why_view import RuleDescriber, RuleOutcomes
from dawnrule.web.context import context
from dawnrule.web.http.locale import composer

COMMONEST = (
    "goal",
    "muscle_group",
    "soreness",
    "hours_since_growth_work",
    "hours_since_trained",
    "sleep_hours",
    "sleep_quality",
    "fatigue",
    "stress",
    "illness",
)
"""The facts that most rules and most questions are about, in the order in which they are asked."""

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")
_TRUTH = {"true": True, "false": False}


@dataclass(frozen=True, slots=True)
class Choice:
    """A choice: the value that is sent, and its text."""

    value: str
    text: str


@dataclass(frozen=True, slots=True)
class Field:
    """A field for one fact: a choice when there are ``choices``, else a number.

    ``value`` is what was filled in, ``error`` what would be accepted instead; both may be empty.
    """

    name: str
    label: str
    hint: str
    choices: tuple[Choice, ...]
    value: str
    error: str


@dataclass(frozen=True, slots=True)
class Form:
    """The fields: the most common first, then all other facts of the dictionary."""

    commonest: tuple[Field, ...]
    others: tuple[Field, ...]

    @property
    def wrong(self) -> tuple[Field, ...]:
        """The fields with errors."""
        return tuple(field for field in (*self.commonest, *self.others) if field.error)

    @property
    def others_in_use(self) -> bool:
        """Whether any of the less common facts was filled in, so that they must be shown."""
        return any(field.value for field in self.others)


def form_of(filled: Mapping[str, str], errors: Iterable[FieldError], composer: Composer) -> Form:
    """Build the fields with what was filled in, by fact, and the errors."""
    wrong = {error.pointer.rpartition("/")[2] for error in errors}
    fields = {
        name: _field(definition, filled.get(name, ""), name in wrong, composer)
        for name, definition in composer.dictionary.items()
    }
    commonest = tuple(fields.pop(name) for name in COMMONEST)
    return Form(commonest, tuple(fields.values()))


def assumed(filled: Mapping[str, str], composer: Composer) -> dict[str, Any]:
    """Convert what was filled in to plain JSON values: facts of a day and, if any fact of a part is
    among them, of one part."""
    facts = {
        name: _value(definition, filled[name].strip())
        for name, definition in composer.dictionary.items()
        if filled.get(name, "").strip()
    }
    of_part = {n: v for n, v in facts.items() if composer.dictionary[n].scope == "part"}
    of_day = {n: v for n, v in facts.items() if n not in of_part}
    return {"day": of_day, "parts": [of_part] if of_part else []}


def _value(definition: FactDefinition, text: str) -> FactValue:
    """Convert a text to its value; other text stays as it is, and is refused later."""
    if definition.type == "boolean":
        return _TRUTH.get(text, text)
    if definition.is_numeric and _NUMBER.fullmatch(text):
        number = float(text.replace(",", "."))
        whole = definition.type == "integer" or definition.step is not None
        return int(number) if number.is_integer() and whole else number
    return text


def _field(definition: FactDefinition, value: str, is_wrong: bool, composer: Composer) -> Field:
    return Field(
        definition.name,
        definition.label,
        _hint(definition, composer),
        tuple(_choices(definition, composer)),
        value,
        _what_would_do(definition, composer) if is_wrong else "",
    )


def _choices(definition: FactDefinition, composer: Composer) -> Iterable[Choice]:
    if definition.type == "boolean":
        return [Choice(word, composer.texts.say(f"prose.is_{word}")) for word in _TRUTH]
    return [Choice(value, composer.vocabulary.label(value)) for value in definition.values]


def _hint(definition: FactDefinition, composer: Composer) -> str:
    """Describe the range of a number, and its unit."""
    if not definition.is_numeric:
        return ""
    unit = composer.wording.unit(definition.name)
    return composer.texts.say("coach_rules.number_hint", unit=unit, **_range(definition)).strip()


def _what_would_do(definition: FactDefinition, composer: Composer) -> str:
    """Say what would be accepted."""
    if not definition.is_numeric:
        return composer.texts.say("coach_rules.wrong_choice")
    sentence = "wrong_whole_number" if definition.type == "integer" else "wrong_number"
    return composer.texts.say(f"coach_rules.{sentence}", **_range(definition))


def _range(definition: FactDefinition) -> dict[str, str]:
    return {"least": f"{definition.least:.0f}", "greatest": f"{definition.greatest:.0f}"}


@dataclass(frozen=True, slots=True)
class _Outcome:
    """The verdict on the day or the part, its rule and reason, the outcomes of its own rules, and
    the rules for the whole day that count for the part too."""

    scope: Scope
    verdict: str
    rule: Rule | None
    reason: str
    rules: RuleOutcomes
    from_day: tuple[Rule, ...]


@coach.route("/rule-sets/<name>/<version>/try-out", methods=["GET", "POST"])
def try_rule_set(name: str, version: str) -> str | tuple[str, int]:
    """Show a form of facts, and the decision on them or the errors by field."""
    rule_set = context().advisor.library.get(name, version)
    if request.method == "GET":
        return _page(rule_set)
    try:
        facts = load(AssumedFactsSchema(), assumed(request.form, composer()))
    except InvalidInput as invalid:
        return _page(rule_set, errors=invalid.errors), invalid.status
    return _page(rule_set, tried=tuple(_outcomes(rule_set, facts)))


def _page(
    rule_set: RuleSet, errors: tuple[FieldError, ...] = (), tried: tuple[_Outcome, ...] = ()
) -> str:
    localized = composer()
    return render_template(
        "coach/try_out.html",
        rule_set=rule_set,
        form=form_of(request.form, errors, localized),
        tried=tried,
        of_rule=localized.texts.of_rule,
    )


def _outcomes(rule_set: RuleSet, facts: AssumedFacts) -> Iterator[_Outcome]:
    """Describe the day and, if there is one, the part."""
    decider = context().advisor.library.decider(rule_set)
    parts = [{**facts.day, **part} for part in facts.parts]
    decision = decider.decide(facts.day, parts)
    yield _outcome(rule_set, "day", _as_decision(decision), parts[0] if parts else facts.day)
    for part, decided in zip(parts, decision.parts, strict=True):
        yield _outcome(rule_set, "part", decided, part)


def _as_decision(decision: DayDecision) -> Decision:
    """Join the verdict on the whole day with the rules that fired on it."""
    return Decision(decision.verdict, decision.deciding, decision.day.fired)


def _outcome(rule_set: RuleSet, scope: Scope, decision: Decision, facts: Facts) -> _Outcome:
    localized, deciding = composer(), decision.deciding
    fired, decided = {rule.id for rule in decision.fired}, {deciding.id} if deciding else set()
    return _Outcome(
        scope,
        decision.verdict.value,
        deciding,
        localized.wording.reason(deciding, facts)
        if deciding
        else localized.reason_to_train(decision),
        RuleDescriber(localized).describe(rule_set.in_scope(scope), facts, fired, decided),
        tuple(rule for rule in decision.fired if rule.scope != scope),
    )
