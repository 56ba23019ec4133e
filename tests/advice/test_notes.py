"""Notes beside every verdict that a day and its blocks can have, by the baseline for a season."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import product

import pytest

from dawnrule.advice.blocks import decide_blocks
from dawnrule.advice.composer import Composer
from dawnrule.advice.notes import notes_by_block
from dawnrule.facts.derive import MorningFacts, PartFacts
from dawnrule.i18n.catalog import languages
from dawnrule.model import FactDictionary, Verdict
from dawnrule.model.advice import BlockAdvice
from dawnrule.model.entities import Block
from dawnrule.rules.evaluation.decision import day_decision, decision_of
from dawnrule.rules.rule_set import Rule
from tests.factories import NOW, bundled_advisor

DICTIONARY = FactDictionary.bundled()
RULES = bundled_advisor().library.get("baseline", "2.0.0").rules
NOTES = [rule for rule in RULES if rule.is_note]
PROTECTIVE = [rule for rule in RULES if rule.is_protective]
HOW_TO_TRAIN = {
    "en": re.compile(
        r"warm|\bsets\b|repetition|\blift|\bbrace|hardest|hard days|before the last|supervis"
        r"|technique|\badd one\b|\bbegin\b|\brun\b|\bjump|press|contacts|cut the|order"
        r"|heavy|dose|make today|train with|half",
        re.IGNORECASE,
    ),
    "de": re.compile(
        r"wärm|Sätze|Wiederholung|\bheb|Härteste|harte Tage|Aufsicht|Technik|\bNimm ein|\bFang"
        r"|\bLauf|\bSpring|Drück|Bodenkontakt|Streich|Reihenfolge|schwer an|untersucht"
        r"|Trainier mit|Hälfte",
        re.IGNORECASE,
    ),
    "es": re.compile(
        r"calent|\bseries?\b|repetici|\blevanta|\btensa|lo más duro|días duros|supervis|técnica"
        r"|\bañade|\bempieza|\bcorre|\bsalta|aprieta|apoyos|recorta|orden|pesad|dosis|entrena con"
        r"|mitad",
        re.IGNORECASE,
    ),
}
"""Words that tell how to train."""
PLAN = (Block("strength", ("quadriceps",)), Block("strength", ("chest",)))


def given(note: Rule, protective: Rule | None) -> tuple[list[Rule], Verdict, Verdict]:
    """The notes of a morning on which a note and a rule with a verdict fire, both on the day or on
    the first block, with the verdicts on the day and on that block."""
    parts = [PartFacts(n, b.goal, b.muscle_groups[0], NOW, {}, {}) for n, b in enumerate(PLAN)]
    morning = MorningFacts({}, tuple(parts))
    fired = [rule for rule in RULES if rule in (note, protective)]
    of_day = [rule for rule in fired if rule.scope == "day"]
    decision = day_decision(decision_of(of_day), [decision_of(fired), decision_of(of_day)], RULES)
    decided = decide_blocks(PLAN, morning, decision, RULES)
    blocks = [
        BlockAdvice(one.block, "strength", one.muscle_groups, one.verdict, None, "")
        for one in decided
    ]
    found = notes_by_block(morning, decision, decided, blocks, DICTIONARY)
    return [one.rule for one in found], decision.verdict, decided[0].verdict


def combinations() -> Iterator[tuple[Rule, Rule | None]]:
    yield from product(NOTES, [None, *PROTECTIVE])


def test_no_note_on_training_stands_where_the_day_or_its_block_rests() -> None:
    for note, protective in combinations():
        notes, day, block = given(note, protective)
        if day is Verdict.REST or (note.scope == "part" and block is Verdict.REST):
            assert not [one for one in notes if one.told_when == "trains"], (note.id, protective)


def test_beside_pain_illness_and_warning_signs_only_notes_on_these_stand() -> None:
    for note, protective in combinations():
        notes, day, _ = given(note, protective)
        if day is Verdict.REST and protective is not None and protective.is_stop(DICTIONARY):
            assert all(one.is_stop_note(DICTIONARY) for one in notes), (note.id, protective.id)


def test_a_note_on_pain_illness_or_a_warning_sign_always_stands() -> None:
    for note, protective in combinations():
        if note.is_stop_note(DICTIONARY):
            assert given(note, protective)[0] == [note]


def test_every_note_stands_where_nothing_is_held_back() -> None:
    assert all(given(note, None)[0] == [note] for note in NOTES)


@pytest.mark.parametrize("language", languages())
def test_no_words_on_training_stand_where_the_day_or_its_block_rests(language: str) -> None:
    """Whatever a note calls itself: what stands on a morning of rest does not say how to train."""
    composer = Composer.bundled(language)
    standing = set()
    for note, protective in combinations():
        notes, day, block = given(note, protective)
        if day is Verdict.REST or (note.scope == "part" and block is Verdict.REST):
            standing |= set(notes)
    assert standing
    said = {note.id: composer.note(note).caution for note in standing}
    assert {id_: text for id_, text in said.items() if HOW_TO_TRAIN[language].search(text)} == {}


@pytest.mark.parametrize("language", languages())
def test_every_note_has_a_title_and_a_caution_in_each_language(language: str) -> None:
    composer = Composer.bundled(language)
    english = {rule.id: rule.caution for rule in NOTES}
    for note in map(composer.note, NOTES):
        assert note.rule.title
        assert note.caution
        assert language == "en" or note.caution != english[note.rule.id]
