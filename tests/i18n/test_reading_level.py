"""Reading level of what athletes and coaches read.

English is measured by the Flesch-Kincaid grade (Kincaid 1975, Derivation of new readability
formulas for Navy enlisted personnel, Research Branch Report 8-75), German by the first Vienna
formula for factual texts (Bamberger and Vanecek 1984, Lesen - Verstehen - Lernen - Schreiben,
from memory), Spanish by Crawford's (1984, from memory). All tell the year at school for which a
text is fit; at fourteen it is the eighth or ninth. All count words, syllables and sentences only,
and single sentences scatter widely. So the mean is held, what a person reads at once is measured
whole, and the worst has a bound of its own. Names in braces are filled in first, with words and
numbers as they usually come.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from statistics import mean

import pytest
import textstat

from dawnrule.advice.composer import Composer
from dawnrule.i18n.catalog import languages
from dawnrule.model import Verdict
from dawnrule.rules.loading.reason_template import placeholders
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import Rule

GRADE_AT_FOURTEEN = 9.0
EASY_ON_THE_WHOLE = 6.0
"""The mean that is held: what is read before breakfast should be easier than need be."""

WORST_TEXT = 10.0
"""A year more for single ones: three reasons of the published rule sets, which cannot change, come
to 9.1 and 9.6. Of single German titles, made of few and long words, the formula tells nothing."""

LEAST_WORDS = 8
"""What is shorter is a label, of which no formula can tell."""

MEASURES: Mapping[str, Callable[[str], float]] = {
    "en": textstat.flesch_kincaid_grade,
    "de": lambda text: textstat.wiener_sachtextformel(text, 1),
    "es": textstat.crawford,
}
FILLED = {
    "en": {
        "muscle_group": "chest",
        "goal": "growth work",
        "modality": "cycling",
        "eccentric_load": "high",
        "conditions_met": "sleep 5.5 h (below 6 h), fatigue 8 (at least 7)",
    },
    "de": {
        "muscle_group": "Brust",
        "goal": "Muskelaufbautraining",
        "modality": "Radfahren",
        "eccentric_load": "hoch",
        "conditions_met": "Schlaf 5,5 h (unter 6 h), Müdigkeit 8 (mindestens 7)",
    },
    "es": {
        "muscle_group": "pecho",
        "goal": "hipertrofia",
        "modality": "bici",
        "eccentric_load": "alta",
        "conditions_met": "sueño 5,5 h (menos de 6 h), cansancio 8 (al menos 7)",
    },
}
A_NUMBER = "4"
RULES = {
    (rule.title, rule.reason, rule.caution): rule
    for rule_set in RuleSetLibrary.bundled().all()
    for rule in rule_set.rules
}

in_each = pytest.mark.parametrize("language", languages())


def filled_in(text: str, language: str) -> str:
    """A text of a rule or of the catalogue as it usually reads."""
    return re.sub(r"{(\w+)[^}]*}", lambda hole: FILLED[language].get(hole[1], A_NUMBER), text)


def grade(text: str, language: str) -> float:
    """The year at school for which a text is fit."""
    textstat.set_lang(language)
    return MEASURES[language](text)


def of_rule(rule: Rule, language: str) -> dict[str, str]:
    """What is said by a rule, filled in: its headline, its reason and its caution."""
    composer = Composer.bundled(language)
    texts, verdict = composer.texts, composer.vocabulary.label(rule.verdict or Verdict.TRAIN)
    said = {
        "headline": texts.say("headline_protect", verdict=verdict, title=texts.of_rule(rule.title)),
        "reason": texts.of_rule(rule.reason),
        "caution": texts.of_rule(rule.caution),
    }
    return {name: filled_in(text, language) for name, text in said.items()}


def advice_by(rule: Rule, language: str) -> str:
    """What somebody reads in the morning when a rule decides."""
    said = of_rule(rule, language)
    return f"{said['headline']}. {said['reason']} {said['caution']}"


def sentences_of_catalogue(language: str) -> Iterator[tuple[str, str]]:
    """The sentences of the service itself by their names, filled in; not what is too short to
    measure, nor the parts that other sentences are made of, nor the words of care, which nobody
    reads."""
    for name, text in Composer.bundled(language).texts.entries.items():
        if (
            name != "care_words"
            and len(re.findall(r"[^\W\d_]+", re.sub(r"{[^}]*}", "", text))) >= LEAST_WORDS
        ):
            yield name, filled_in(text, language)


def test_every_language_is_measured() -> None:
    assert set(MEASURES) == set(FILLED) == set(languages())


def test_all_that_a_reason_may_name_is_filled_in() -> None:
    """A number stands for whatever is not a word here."""
    names = {name for _, reason, _ in RULES for name, _ in placeholders(reason)}
    assert set(FILLED["en"]) <= names


@in_each
def test_hard_words_and_long_sentences_are_noticed(language: str) -> None:
    hard = {
        "en": "Notwithstanding considerable interindividual variability, physiological "
        "recuperation necessitates appropriately individualised intensity prescription.",
        "de": "Ungeachtet erheblicher interindividueller Schwankungsbreiten erfordert die "
        "körperliche Wiederherstellung eine sorgfältig individualisierte Belastungssteuerung.",
        "es": "No obstante la considerable variabilidad interindividual, la recuperación "
        "fisiológica exige una prescripción apropiadamente individualizada de la intensidad.",
    }
    assert grade(hard[language], language) > WORST_TEXT


@in_each
def test_advice_is_easy_to_read_on_the_whole(language: str) -> None:
    assert mean(grade(advice_by(rule, language), language) for rule in RULES.values()) <= (
        EASY_ON_THE_WHOLE
    )


@in_each
def test_no_advice_is_too_hard_at_fourteen(language: str) -> None:
    """What is read at once, measured whole: headline, reason and caution."""
    grades = {rule.id: grade(advice_by(rule, language), language) for rule in RULES.values()}
    assert {id_: found for id_, found in grades.items() if found > GRADE_AT_FOURTEEN} == {}


@pytest.mark.parametrize("kind", ["headline", "reason", "caution"])
def test_headlines_reasons_and_cautions_are_each_easy(kind: str) -> None:
    grades = {rule.id: grade(of_rule(rule, "en")[kind], "en") for rule in RULES.values()}
    assert mean(grades.values()) <= EASY_ON_THE_WHOLE
    assert {id_: found for id_, found in grades.items() if found > WORST_TEXT} == {}


@in_each
def test_the_services_own_sentences_are_easy(language: str) -> None:
    grades = {name: grade(text, language) for name, text in sentences_of_catalogue(language)}
    assert mean(grades.values()) <= EASY_ON_THE_WHOLE
    assert {name: found for name, found in grades.items() if found > WORST_TEXT} == {}
