"""How are a rule's reason, a fact and a test said in words?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
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
from dawnrule.rules.loading.reason_template import CONDITIONS_MET, DECIMALS_SHOWN, cut_short, fill
from dawnrule.rules.rule_set import Rule

_YES_AND_NO = ("true", "false")


class Wording:
    """Says rules and facts in one language."""

    def __init__(self, dictionary: FactDictionary, vocabulary: Vocabulary, texts: Texts) -> None:
        self._dictionary = dictionary
        self._vocabulary = vocabulary
        self._texts = texts

    def reason(self, rule: Rule, facts: Facts, at: Sequence[str] = ()) -> str:
        """The rule's reason with this morning's numbers; the rule must have fired on the facts.
        What it says of the muscle group is said of the places ``at``, where any are given."""
        template = self._texts.of_rule(rule.reason)
        values = {**self._values(rule, facts), **({"muscle_group": self.places(at)} if at else {})}
        return fill(template, values, self._texts.decimal_mark)

    def places(self, at: Iterable[str]) -> str:
        """Places in one listing: muscle groups (their ids) and what people call a place."""
        said = dict.fromkeys(map(self._vocabulary.label, at))
        return self._texts.listing(list(said))

    def test(self, test: Test, facts: Facts) -> str:
        """One test with the value that came and its threshold: ``sleep 5.5 h (below 6 h)``."""
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
        """The value that a test compares with, in words."""
        return ", ".join(self.value(test.fact, value) for value in test.values)

    def fact(self, name: str) -> str:
        """A fact's name in words."""
        return self._dictionary[name].label

    def value(self, fact: str, value: FactValue | None) -> str:
        """A value with its unit; numbers lose decimals that say nothing."""
        if value is None:
            return "-"
        if isinstance(value, str):
            return self._vocabulary.label(value)
        if isinstance(value, bool):
            return str(value).lower()
        unit = self.unit(fact)
        said = self._texts.number(f"{cut_short(value, DECIMALS_SHOWN):g}")
        return f"{said} {unit}" if unit else said

    def unit(self, fact: str) -> str:
        """The unit that is said after a number; empty for ratings and counts."""
        return self._texts.unit(self._dictionary[fact].unit)

    def need(self, fact: str, to: str) -> str:
        """What a fact would have to be, in words: ``sleep at least 6 h``; ``to`` is a range or
        ``true`` or ``false``, as a change has it."""
        name = self.fact(fact)
        if to in _YES_AND_NO:
            return self._texts.say(f"fact_{to}", fact=name)
        return self._texts.say(
            "change_to", fact=name, to=self.range(to), unit=self.unit(fact)
        ).strip()

    def range(self, to: str) -> str:
        """A range as a change has it (``at least 6``), in words; what is no range stays."""
        operator, _, edge = to.rpartition(" ")
        if not operator:
            return to
        said = self._texts.operator(operator.replace(" ", "_"))
        return f"{said} {self._texts.number(edge)}"

    def _values(self, rule: Rule, facts: Facts) -> Mapping[str, object]:
        values: dict[str, object] = {
            name: self._vocabulary.label(value) if isinstance(value, str) else value
            for name, value in facts.items()
        }
        values.setdefault("muscle_group", self._texts.say("this_block"))
        met = (test for test in dict.fromkeys(tests_of(rule.when)) if predicate(test)(facts))
        values[CONDITIONS_MET] = ", ".join(self.test(test, facts) for test in met)
        return values


@dataclass(frozen=True, slots=True)
class Line:
    """A line of prose and the lines that it introduces. ``holds`` is whether it held on a morning,
    None where no morning is told of."""

    text: str
    inner: tuple[Line, ...] = ()
    holds: bool | None = None

    def all_text(self) -> str:
        """The line and all that it introduces, as one text."""
        return "\n".join([self.text, *(line.all_text() for line in self.inner)])

    def on_one_line(self) -> str:
        """The same on one line, what is introduced by an inner line in brackets."""
        if not self.inner:
            return self.text
        inner = (f"({line.on_one_line()})" if line.inner else line.text for line in self.inner)
        return f"{self.text}: {'; '.join(inner)}"


class Prose:
    """Tells rules and their conditions in one language."""

    def __init__(self, dictionary: FactDictionary, vocabulary: Vocabulary, texts: Texts) -> None:
        self._wording = Wording(dictionary, vocabulary, texts)
        self._vocabulary = vocabulary
        self._texts = texts

    def rule(self, rule: Rule) -> Line:
        """What a rule does, and when: ``Rest for the whole day when illness is fever``."""
        when = self.condition(rule.when)
        does = "note" if rule.verdict is None else "verdict"
        verdict = "" if rule.verdict is None else self._vocabulary.label(rule.verdict)
        name = f"prose.{does}_{rule.scope}"
        return Line(self._texts.say(name, verdict=verdict, when=when.text), when.inner)

    def condition(self, condition: Condition) -> Line:
        """A condition with all that stands in it."""
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
        """How a condition and all that stands in it came out."""
        if isinstance(trace, TestTrace):
            return Line(self.traced_test(trace), holds=trace.holds)
        assert isinstance(trace, GroupTrace), "there is no other trace"
        lines = tuple(self.trace(one) for one in _flat_traces(trace))
        if trace.name is None:
            return Line(self._group(trace.kind, trace.count), lines, trace.holds)
        [line] = lines
        return Line(self._signal(trace.name, line.text), line.inner, trace.holds)

    def test(self, test: Test) -> str:
        """One test: ``sleep is below 6 h``."""
        fact = self._wording.fact(test.fact)
        if test.operator is Operator.REPORTED or isinstance(test.value, bool):
            return self._texts.say(
                "prose.answer", fact=fact, answer=self._answer(test.operator, test.value)
            )
        return self._texts.say("prose.test", fact=fact, asked=self._compared(test))

    def traced_test(self, trace: TestTrace) -> str:
        """One test with the value that came: ``sleep: 5.5 h - below 6 h``."""
        return self._texts.say(
            "prose.traced",
            fact=self._wording.fact(trace.fact),
            value=self.value_of(trace),
            asked=self.asked(trace),
        )

    def asked(self, trace: TestTrace) -> str:
        """What a test asks for: ``below 6 h``, ``asks for growth work``."""
        test = Test(trace.fact, trace.operator, trace.threshold)
        if test.operator in NUMERIC_OPERATORS:
            return self._compared(test)
        if test.operator is Operator.REPORTED or isinstance(test.value, bool):
            answer = self._answer(test.operator, test.value)
            return self._texts.say("prose.asks", threshold=answer)
        return self._texts.say("prose.asks", threshold=self._thresholds(test))

    def value_of(self, trace: TestTrace) -> str:
        """The value that came, or that none was reported."""
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
        """A value in words, with its unit and all decimals that it has."""
        if isinstance(value, bool):
            return self._answer(Operator.IS, value)
        if isinstance(value, str):
            return self._wording.value(fact, value)
        return self._with_unit(fact, exact_number(value))

    def exact_without_unit(self, fact: str, value: FactValue) -> str:
        """The same without the unit, for a table that has it in a column of its own."""
        if is_number(value):
            return self._texts.number(exact_number(value))
        return self.exact(fact, value)

    def distance(self, trace: TestTrace) -> str:
        """How far a value that has a margin is from its threshold, as the two are told."""
        assert is_number(trace.value), "only numbers have a margin"
        assert is_number(trace.threshold), "it is measured from a number"
        shown = Decimal(truncated_near(trace.value, trace.threshold))
        distance = abs(shown - Decimal(str(trace.threshold)))
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
        said = [self.exact(test.fact, value) for value in test.values]
        if len(said) == 1:
            return said[0]
        return self._texts.say("prose.or", first=", ".join(said[:-1]), last=said[-1])

    def _answer(self, operator: Operator, value: object) -> str:
        """``yes`` and ``no``, ``reported`` and ``not reported``."""
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
    """A number with all decimals that it has, and none for a whole one."""
    return str(value).removesuffix(".0")


def truncated_near(value: float, threshold: float) -> str:
    """A number, its decimals cut off as far as it still shows on which side of the threshold it
    lies: 47.97 beside 48 is 47.9, and 2.03 beside 2 is 2.03."""
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
