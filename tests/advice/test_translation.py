"""Translation of recorded advice, held against advice composed in that language from the start."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache

import pytest

from dawnrule.advice.advisor import Advisor, Morning
from dawnrule.advice.composer import Composer
from dawnrule.advice.summary import spoken_summary
from dawnrule.advice.translation import in_todays_words, translate
from dawnrule.application.read_advice import read_advice
from dawnrule.i18n.catalog import ENGLISH, Texts, languages
from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.model.advice import Advice, Note, RuleName
from dawnrule.model.entities import Athlete, Block, CheckIn, LastTrained
from dawnrule.model.record import Record
from dawnrule.model.serialization import from_json
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import StoredAdvice
from tests.effort import LONG_RUN
from tests.factories import KIM, NOW, baseline, bundled_advisor
from tests.golden.test_golden_decisions import CASES, REPORTED_AT, Case, history_of

OTHERS = [language for language in languages() if language != ENGLISH]
LONGEST_HEADLINE = 140

each_file = pytest.mark.parametrize("file", sorted({case.rule_set for case in CASES}))
in_each = pytest.mark.parametrize("language", OTHERS)


@cache
def advisor(language: str) -> Advisor:
    if language == ENGLISH:
        return bundled_advisor()
    return replace(bundled_advisor(), composer=Composer.bundled(language))


def rule_set_of(case: Case) -> RuleSet:
    name, _, version = case.rule_set.rpartition("-")
    return bundled_advisor().library.get(name, version)


def morning_of(case: Case) -> Morning:
    who = {"id": "golden", "name": "Golden", "time_zone": "UTC", **case.athlete}
    check_in = from_json(CheckIn, dict(case.check_in))
    return Morning(from_json(Athlete, who), check_in, history_of(case), REPORTED_AT)


def composed(morning: Morning, rule_set: RuleSet, language: str) -> Record:
    """The record of a morning when its advice is composed in a language at once."""
    considered = advisor(language).consider(morning, rule_set, "advice-1")
    record = considered.record(decided_at=REPORTED_AT, posted_by=None, supersedes=None)
    return Record.from_text(record.to_canonical_json())


def texts_in(advice: Advice) -> Iterator[str]:
    """All sentences of an advice."""
    for one in advice.day_and_parts:
        yield from (one.reason, one.caution)
        if one.rule:
            yield one.rule.title
    yield advice.headline
    yield from (part.opens_note for part in advice.parts if part.opens_note)
    for note in advice.notes:
        yield from (note.caution, note.rule.title)


@in_each
@each_file
def test_every_golden_advice_is_the_same_in_another_language(
    file: str, language: str, subtests: pytest.Subtests
) -> None:
    """In English it is the record itself; in another language it is what would have been composed
    at once, with no English left."""
    composer = Composer.bundled(language)
    for case, record in told_apart(file):
        with subtests.test(case.sentence):
            morning, rule_set = morning_of(case), rule_set_of(case)
            assert translate(record, rule_set, Composer.of_records()) == record.advice
            told = translate(record, rule_set, composer)
            at_once = composed(morning, rule_set, language).advice
            assert told == at_once
            assert set(texts_in(told)) & set(texts_in(record.advice)) == set()
            theirs = {word for pain in morning.check_in.pain or () for word in pain.where.split()}
            assert english_words(" ".join(texts_in(told)), language) <= theirs
            assert len(told.headline) <= LONGEST_HEADLINE


@cache
def told_apart(file: str) -> Sequence[tuple[Case, Record]]:
    """The golden mornings of a rule set with their English records: in the long run all of them, in
    a short one those that say what none before them says."""
    golden = [case for case in CASES if case.rule_set == file]
    records = [composed(morning_of(case), rule_set_of(case), ENGLISH) for case in golden]
    if LONG_RUN:
        return list(zip(golden, records, strict=True))
    said, telling = set[str](), []
    for case, record in zip(golden, records, strict=True):
        kinds = {re.sub("[0-9.]+", "0", text) for text in texts_in(record.advice)}
        if kinds - said:
            telling.append((case, record))
        said |= kinds
    return telling


def english_words(text: str, language: str) -> set[str]:
    """The English names of facts and words that stand in a text of another language."""
    return {name for name in only_english(language) if f" {name} " in f" {text} "}


@cache
def only_english(language: str) -> frozenset[str]:
    def names(composer: Composer) -> set[str]:
        facts = {fact.label for fact in composer.dictionary.values()}
        return facts | set(composer.vocabulary.labels.values())

    return frozenset(names(Composer.bundled()) - names(Composer.bundled(language)))


def test_german_writes_numbers_with_a_comma() -> None:
    case = next(case for case in CASES if case.expect["rule"] == "sleep-very-short")
    check_in = {**case.check_in, "sleep": {"hours": 3.5}}
    short = replace(case, check_in=check_in)
    record = composed(morning_of(short), rule_set_of(short), ENGLISH)
    assert "3.5 h" in record.advice.reason
    assert "3,5 h" in translate(record, rule_set_of(short), Composer.bundled("de")).reason


def test_what_a_day_needs_is_told_in_german_too() -> None:
    """Time and soreness hold it back: the sentence is taken apart and put together again."""
    german = Composer.bundled("de")
    trained = LastTrained(NOW - timedelta(hours=20), "hypertrophy")
    plan = (Block(goal="hypertrophy", muscle_groups=("chest",)),)
    check_in = CheckIn(
        KIM.id,
        NOW.date(),
        plan,
        reported_at=NOW,
        soreness={"chest": 5},
        last_trained={"chest": trained},
    )
    morning = Morning(KIM, check_in, history_of(CASES[0]), NOW)
    record = composed(morning, baseline("1.2.0"), ENGLISH)
    [part] = record.advice.parts
    assert (part.opens_note or "").startswith("From ")
    [told] = translate(record, baseline("1.2.0"), german).parts
    assert (told.opens_note or "").endswith(
        "ist nur noch nötig: Muskelkater unter 3. Warten allein reicht nicht."
    )


def test_the_notes_of_a_record_stay_as_many_as_they_were() -> None:
    """Older records have notes on parts that are swapped, of which nothing is said today."""
    case = next(case for case in CASES if case.expect["rule"] == "sleep-very-short")
    record = composed(morning_of(case), rule_set_of(case), ENGLISH)
    breath = next(rule for rule in rule_set_of(case).rules if rule.id == "lifting-breath")
    recorded = Note(RuleName(breath.id, breath.title), breath.caution)
    record = replace(record, advice=replace(record.advice, notes=(recorded,)))
    [note] = translate(record, rule_set_of(case), Composer.bundled("de")).notes
    assert note.rule.id == "lifting-breath"
    assert note.caution.startswith("Spann den Rumpf an.")


def test_a_note_in_words_that_are_not_known_stays_as_it_was_recorded() -> None:
    case = next(case for case in CASES if case.expect["rule"] == "sleep-very-short")
    record = composed(morning_of(case), rule_set_of(case), ENGLISH)
    note = "It opens when it opens, with sleep at least 4 h."
    parts = tuple(replace(part, opens_note=note) for part in record.advice.parts)
    record = replace(record, advice=replace(record.advice, parts=parts))
    told = translate(record, rule_set_of(case), Composer.bundled("de"))
    assert {part.opens_note for part in told.parts} == {note}


def stored(record: Record) -> StoredAdvice:
    advice = record.advice
    return StoredAdvice(
        id="advice-1",
        check_in_id="check-in-1",
        athlete_id=advice.athlete_id,
        date=REPORTED_AT.date(),
        verdict=advice.verdict.value,
        rule_id=None,
        rule_set_digest=advice.rule_set.digest,
        record=record.to_canonical_json(),
        decided_at=datetime.now(UTC),
        supersedes=None,
    )


def test_advice_whose_rule_set_is_gone_is_told_as_it_was_recorded() -> None:
    record = composed(morning_of(CASES[0]), rule_set_of(CASES[0]), ENGLISH)
    german, nothing = Composer.bundled("de"), RuleSetLibrary({})
    assert read_advice(stored(record), nothing, german) == record.advice
    assert read_advice(stored(record), bundled_advisor().library, german) != record.advice


def test_english_needs_no_rule_set_to_be_told() -> None:
    record = composed(morning_of(CASES[0]), rule_set_of(CASES[0]), ENGLISH)
    english = Composer.bundled()
    told = read_advice(stored(record), RuleSetLibrary({}), english)
    assert told == in_todays_words(record.advice, english.texts)


def test_english_records_are_read_in_the_words_of_today() -> None:
    texts = Texts.bundled()
    was = "From 2026-03-10 18:00 on it needs only soreness below 3; time alone does not open it."
    now = "From 2026-03-10 18:00 on it needs only soreness below 3. Waiting is not enough."
    assert texts.reworded(was) == now
    assert Texts.of_records().say("opens_unknown") != texts.say("opens_unknown")
    assert texts.reworded("Ask Kim.") == "Ask Kim."


def test_the_language_of_an_athlete_leaves_no_trace_in_a_record() -> None:
    morning = morning_of(CASES[0])
    german = replace(morning, athlete=replace(morning.athlete, language="de"))
    rule_set = rule_set_of(CASES[0])
    assert composed(german, rule_set, ENGLISH) == composed(morning, rule_set, ENGLISH)


@in_each
def test_a_phone_speaks_two_sentences_in_every_language(language: str) -> None:
    case = next(case for case in CASES if case.expect["rule"] == "growth-work-too-soon")
    record = composed(morning_of(case), rule_set_of(case), ENGLISH)
    composer = Composer.bundled(language)
    said = spoken_summary(translate(record, rule_set_of(case), composer), composer)
    assert said.startswith(composer.vocabulary.label("swap-to-low-damage"))
    assert said.count(". ") + said.endswith(".") == 2


def test_words_that_have_no_other_name_keep_theirs() -> None:
    nothing = Texts({"language": "xx"})
    assert Vocabulary.bundled().translated(nothing) == Vocabulary.bundled()
    assert FactDictionary.bundled().translated(nothing) == FactDictionary.bundled()
