"""Rules, tests and values in words, in the language of a catalogue.

``Wording`` writes the short texts of advice: a rule's reason, a fact, a test, values rounded for
reading. ``Prose`` writes whole rules and conditions, with every number exact.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from sys import float_info

from dawnrule.i18n.catalog import Texts
from dawnrule.model import FactDictionary, Facts, FactValue, Vocabulary, is_number
from dawnrule.rules.conditions import (
    NUMERIC_OPERATORS,
    Condition,
    Group,
    GroupKind,
    Operator,
    Signal,
    Test,
    tests_of,
)
from dawnrule.rules.evaluation.evaluator import GroupTrace, TestTrace, Trace, predicate
from dawnrule.rules.loading.reason_template import (
    CONDITIONS_MET,
    DECIMALS_SHOWN,
    cut_short,
    fill,
    names_in,
)
from dawnrule.rules.rule_set import Rule

_YES_AND_NO = ("true", "false")


class Wording:
    """The short texts of advice in one language."""

    def __init__(self, dictionary: FactDictionary, vocabulary: Vocabulary, texts: Texts) -> None:
        self._dictionary = dictionary
        self._vocabulary = vocabulary
        self._texts = texts

    def reason(self, rule: Rule, facts: Facts, at: Sequence[str] = ()) -> str:
        """Write a rule's reason with this morning's numbers; the rule must have fired on the facts.
        The places ``at``, if any, stand for the muscle group."""
        template = self._texts.of_rule(rule.reason)
        values = {name: self._named(name, rule, facts, at) for name in names_in(template)}
        return fill(template, values, self._texts.decimal_mark)

    def places(self, at: Iterable[str]) -> str:
        """List places: muscle groups (by id), and places in an athlete's own words."""
        labels = dict.fromkeys(map(self._vocabulary.label, at))
        return self._texts.listing(list(labels))

    def test(self, test: Test, facts: Facts) -> str:
        """Write one test with the value and its threshold: ``sleep 5.5 h (below 6 h)``."""
        name = self.fact(test.fact)
        if test.operator is Operator.REPORTED:
            return self._texts.say(f"reported_{str(test.value).lower()}", fact=name)
        if isinstance(test.value, bool):
            return self._texts.say(f"fact_{str(test.value).lower()}", fact=name)
        return self._texts.say(
            "test_met",
            fact=name,
            value=self.value(test.fact, facts.get(test.fact)),
            operator=self._texts.operator(test.operator.value),
            threshold=self.threshold(test),
        )

    def threshold(self, test: Test) -> str:
        """Write the value that a test compares with."""
        return ", ".join(self.value(test.fact, value) for value in test.values)

    def fact(self, name: str) -> str:
        """Return a fact's name in words."""
        return self._dictionary[name].label

    def value(self, fact: str, value: FactValue | None) -> str:
        """Write a value with its unit, numbers with one decimal at most."""
        if value is None:
            return "-"
        if isinstance(value, str):
            return self._vocabulary.label(value)
        if isinstance(value, bool):
            return str(value).lower()
        unit = self.unit(fact)
        number = self._texts.number(f"{cut_short(value, DECIMALS_SHOWN):g}")
        return f"{number} {unit}" if unit else number

    def unit(self, fact: str) -> str:
        """Return the unit written after a number; empty for ratings and counts."""
        return self._texts.unit(self._dictionary[fact].unit)

    def need(self, fact: str, to: str) -> str:
        """Write what a fact would have to be: ``sleep at least 6 h``; ``to`` is a range, ``true``
        or ``false``, as in a change."""
        name = self.fact(fact)
        if to in _YES_AND_NO:
            return self._texts.say(f"fact_{to}", fact=name)
        return self._texts.say(
            "change_to", fact=name, to=self.range(to), unit=self.unit(fact)
        ).strip()

    def range(self, to: str) -> str:
        """Write the range of a change (``at least 6``) in words; anything else is returned
        unchanged."""
        operator, _, edge = to.rpartition(" ")
        if not operator:
            return to
        words = self._texts.operator(operator.replace(" ", "_"))
        return f"{words} {self._texts.number(edge)}"

    def _named(self, name: str, rule: Rule, facts: Facts, at: Sequence[str]) -> object:
        """Find what a name in a reason stands for."""
        if name == CONDITIONS_MET:
            met = (test for test in dict.fromkeys(tests_of(rule.when)) if predicate(test)(facts))
            return ", ".join(self.test(test, facts) for test in met)
        if name == "muscle_group" and at:
            return self.places(at)
        if name == "muscle_group" and name not in facts:
            return self._texts.say("this_block")
        value = facts[name]
        return self._vocabulary.label(value) if isinstance(value, str) else value


@dataclass(frozen=True, slots=True)
class Line:
    """A line of prose and the lines that it introduces. ``holds`` is whether it held on a morning,
    None where there is no morning."""

    text: str
    inner: tuple[Line, ...] = ()
    holds: bool | None = None

    def all_text(self) -> str:
        """Join the line and all that it introduces, one line each."""
        return "\n".join([self.text, *(line.all_text() for line in self.inner)])

    def on_one_line(self) -> str:
        """Join them on one line, with what an inner line introduces in brackets."""
        if not self.inner:
            return self.text
        inner = (f"({line.on_one_line()})" if line.inner else line.text for line in self.inner)
        return f"{self.text}: {'; '.join(inner)}"


class Prose:
    """Rules and their conditions as prose in one language."""

    def __init__(self, dictionary: FactDictionary, vocabulary: Vocabulary, texts: Texts) -> None:
        self._wording = Wording(dictionary, vocabulary, texts)
        self._vocabulary = vocabulary
        self._texts = texts

    def rule(self, rule: Rule) -> Line:
        """Write what a rule does, and when: ``Rest for the whole day when illness is fever``."""
        when = self.condition(rule.when)
        does = "note" if rule.verdict is None else "verdict"
        verdict = "" if rule.verdict is None else self._vocabulary.label(rule.verdict)
        name = f"prose.{does}_{rule.scope}"
        return Line(self._texts.say(name, verdict=verdict, when=when.text), when.inner)

    def condition(self, condition: Condition) -> Line:
        """Write a condition with everything in it."""
        match condition:
            case Test():
                return Line(self.test(condition))
            case Signal(name, inner):
                line = self.condition(inner)
                return Line(self._signal(name, line.text), line.inner)
            case Group(GroupKind.NONE, (only,)):
                line = self.condition(only)
                return Line(self._texts.say("prose.not", condition=line.text), line.inner)
            case Group(kind, _, count):
                lines = [self.condition(one) for one in _flat(condition)]
                if len(lines) == 1:
                    return lines[0]
                return Line(self._group(kind.value, count), tuple(lines))

    def trace(self, trace: Trace) -> Line:
        """Write the outcome of a condition and of everything in it."""
        if isinstance(trace, TestTrace):
            return Line(self.traced_test(trace), holds=trace.holds)
        assert isinstance(trace, GroupTrace), "there is no other trace"
        lines = tuple(self.trace(one) for one in _flat_traces(trace))
        if trace.name is None:
            return Line(self._group(trace.kind, trace.count), lines, trace.holds)
        [line] = lines
        return Line(self._signal(trace.name, line.text), line.inner, trace.holds)

    def test(self, test: Test) -> str:
        """Write one test: ``sleep is below 6 h``."""
        fact = self._wording.fact(test.fact)
        if test.operator is Operator.REPORTED or isinstance(test.value, bool):
            return self._texts.say(
                "prose.answer", fact=fact, answer=self._answer(test.operator, test.value)
            )
        return self._texts.say("prose.test", fact=fact, asked=self._compared(test))

    def traced_test(self, trace: TestTrace) -> str:
        """Write one test with its value: ``sleep: 5.5 h - below 6 h``."""
        return self._texts.say(
            "prose.traced",
            fact=self._wording.fact(trace.fact),
            value=self.value_of(trace),
            asked=self.requirement(trace),
        )

    def requirement(self, trace: TestTrace) -> str:
        """Write what a test asks for: ``below 6 h``, ``asks for growth work``."""
        test = Test(trace.fact, trace.operator, trace.threshold)
        if test.operator in NUMERIC_OPERATORS:
            return self._compared(test)
        if test.operator is Operator.REPORTED or isinstance(test.value, bool):
            answer = self._answer(test.operator, test.value)
            return self._texts.say("prose.asks", threshold=answer)
        return self._texts.say("prose.asks", threshold=self._thresholds(test))

    def value_of(self, trace: TestTrace) -> str:
        """Write the value of a test, or that none was reported."""
        value = trace.value
        if value is None or trace.operator is Operator.REPORTED:
            return self._answer(Operator.REPORTED, value is not None)
        if trace.margin is not None:
            threshold = trace.threshold
            assert is_number(value), "only numbers have a margin"
            assert is_number(threshold), "it is measured from a number"
            return self._with_unit(trace.fact, truncated_near(value, threshold))
        return self.exact(trace.fact, value)

    def exact(self, fact: str, value: FactValue) -> str:
        """Write a value with its unit and all its decimals."""
        if isinstance(value, bool):
            return self._answer(Operator.IS, value)
        if isinstance(value, str):
            return self._wording.value(fact, value)
        return self._with_unit(fact, exact_number(value))

    def exact_without_unit(self, fact: str, value: FactValue) -> str:
        """Write a value without its unit, for a table with a column of units."""
        if is_number(value):
            return self._texts.number(exact_number(value))
        return self.exact(fact, value)

    def distance(self, trace: TestTrace) -> str:
        """Write the distance of a value that has a margin from its threshold, to match both as
        written."""
        assert is_number(trace.value), "only numbers have a margin"
        assert is_number(trace.threshold), "it is measured from a number"
        value = Decimal(truncated_near(trace.value, trace.threshold))
        distance = abs(value - Decimal(str(trace.threshold)))
        return self._with_unit(trace.fact, exact_number(float(distance)))

    def _compared(self, test: Test) -> str:
        if test.operator not in NUMERIC_OPERATORS:
            return self._thresholds(test)
        return self._texts.say(
            "prose.compared",
            operator=self._texts.operator(test.operator.value),
            threshold=self._thresholds(test),
        )

    def _thresholds(self, test: Test) -> str:
        *first, last = [self.exact(test.fact, value) for value in test.values]
        return self._texts.say("prose.or", first=", ".join(first), last=last) if first else last

    def _answer(self, operator: Operator, value: object) -> str:
        """Write ``yes`` or ``no``, ``reported`` or ``not reported``."""
        kind = "reported" if operator is Operator.REPORTED else "is"
        return self._texts.say(f"prose.{kind}_{str(value).lower()}")

    def _group(self, kind: str, count: int | None) -> str:
        return self._texts.say(f"prose.{kind}", count=count)

    def _signal(self, name: str, condition: str) -> str:
        return self._texts.say(
            "prose.signal", name=self._texts.of_rule(name.replace("-", " ")), condition=condition
        )

    def _with_unit(self, fact: str, number: str) -> str:
        return f"{self._texts.number(number)} {self._wording.unit(fact)}".strip()


def exact_number(value: float) -> str:
    """Write a number with all its decimals, and none for a whole one."""
    return str(value).removesuffix(".0")


def truncated_near(value: float, threshold: float) -> str:
    """Write a number with its decimals cut off as far as it stays on its side of the threshold:
    47.97 near 48 is 47.9, and 2.03 near 2 is 2.03."""
    exact, limit = Decimal(str(value)), Decimal(str(threshold))
    for places in range(DECIMALS_SHOWN, float_info.dig):
        cut = exact.quantize(Decimal(1).scaleb(-places), ROUND_FLOOR)
        if cut.compare(limit) == exact.compare(limit):
            return exact_number(float(cut))
    return exact_number(value)


def _flat(outer: Group) -> Iterator[Condition]:
    """Yield a group's conditions, with an ``all`` inside an ``all`` opened up."""
    for one in outer.conditions:
        if isinstance(one, Group) and one.kind is outer.kind is GroupKind.ALL:
            yield from _flat(one)
        else:
            yield one


def _flat_traces(outer: GroupTrace) -> Iterator[Trace]:
    for one in outer.children:
        if isinstance(one, GroupTrace) and one.kind == outer.kind == GroupKind.ALL:
            yield from _flat_traces(one)
        else:
            yield one
