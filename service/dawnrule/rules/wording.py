"""How are a rule's reason, a fact and a test said in words?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from dawnrule.rules.conditions import Operator, Test, tests_of
from dawnrule.rules.evaluator import predicate
from dawnrule.rules.rule_set import Rule
from dawnrule.rules.template import CONDITIONS_MET, DECIMALS_SHOWN, cut_short, fill
from dawnrule.vocabulary import FactDictionary, Facts, FactValue, Texts, Vocabulary

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
        values = test.value if isinstance(test.value, tuple) else (test.value,)
        return ", ".join(self.value(test.fact, value) for value in values)

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
