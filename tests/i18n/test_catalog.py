"""Completeness of the message catalogues."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from string import Formatter

import pytest
import yaml

import dawnrule
from dawnrule.advice.composer import HEADLINE_LENGTH, Composer
from dawnrule.i18n.catalog import ENGLISH, Texts, languages
from dawnrule.i18n.resources import read_data, rules_folder
from dawnrule.model import FactDictionary, Verdict, Vocabulary
from dawnrule.rules.analysis.findings import proved
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.returns import Returns
from dawnrule.rules.rule_set import Rule

PACKAGE = Path(dawnrule.__file__).parent
ENGLISH_TEXTS = Texts.bundled()
OTHERS = [language for language in languages() if language != ENGLISH]
SECTIONS_OF_VOCABULARY = (
    *("verdicts", "goals", "muscle_groups"),
    *("patterns", "modalities", "pain_places"),
)
RULES = [rule for rule_set in RuleSetLibrary.bundled().all() for rule in rule_set.rules]

in_each = pytest.mark.parametrize("language", OTHERS)


def placeholders(text: str) -> list[str]:
    """The names in braces with their formats, as ``sleep_hours:.1f``."""
    pieces = Formatter().parse(text)
    return sorted(f"{name}:{spec}" for _, name, spec, _ in pieces if name is not None)


def numbers(text: str) -> list[str]:
    """The numbers in a text, written with a point, without what is filled in."""
    plain = re.sub(r"{[^}]*}", "", text)
    return sorted(number.replace(",", ".") for number in re.findall(r"\d+(?:[.,]\d+)?", plain))


def texts_of_rules() -> Iterator[str]:
    """All that the shipped rule sets say to people, save citations."""
    for file in rules_folder().glob("baseline/*.yaml"):
        data = read_data(file)
        yield data["summary"]
        yield from (name.replace("-", " ") for name in data["signals"])
    for rule in RULES:
        note = (rule.basis.note,) if rule.basis.note else ()
        yield from (rule.title, rule.reason, rule.caution, rule.wrong_when, *note)


def texts_of_returns() -> Iterator[str]:
    """All that the shipped staged returns say to people, save citations."""
    for back in Returns.bundled().values():
        note = (back.basis.note,) if back.basis.note else ()
        yield from (back.title, back.summary, back.wrong_when, *note)
        for stage in back.stages:
            yield from (stage.title, stage.on_when, stage.back_when)


def proofs() -> Iterator[str]:
    """What can be proved of a rule set, in words."""
    applicable = ("limit-loosened", "limit-not-kept", "concern-loosens", "more-permissive")
    yield from proved((), extends=True, applicable=applicable)


def reasons_why_missing() -> Iterator[str]:
    """What a record can say of a fact that could not be told, as it stands in the code; numbers
    and dates are filled in."""
    for file in (PACKAGE / "facts").glob("*.py"):
        module = ast.parse(file.read_text(encoding="utf-8"))
        functions = (node for node in module.body if getattr(node, "name", "") != "too_few")
        for node in (node for function in functions for node in ast.walk(function)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                if node.func.id == "too_few":
                    yield f"needs 7 {said_by(node.args[0])}, has 3"
                elif node.func.id == "Unavailable":
                    yield said_by(node.args[0])


def said_by(text: ast.expr) -> str:
    """A text of the code, with 7 for each number and a date for each date."""
    if isinstance(text, ast.Constant):
        return str(text.value)
    assert isinstance(text, ast.JoinedStr)
    pieces = (p.value if isinstance(p, ast.Constant) else filled(p) for p in text.values)
    return "".join(map(str, pieces))


def filled(hole: ast.expr) -> str:
    return "2026-03-07" if "isoformat" in ast.unparse(hole) else "7"


def labels_of(language: str) -> dict[str, str]:
    """What a language needs besides the sentences of English: names of words and of facts."""
    words = Vocabulary.bundled()
    lists = {name: getattr(words, name) for name in SECTIONS_OF_VOCABULARY if name != "verdicts"}
    lists["verdicts"] = tuple(Verdict)
    lists["facts"] = tuple(FactDictionary.bundled())
    units = (fact.unit for fact in FactDictionary.bundled().values())
    lists["unit_names"] = tuple(dict.fromkeys(filter(None, units)))
    return {f"{name}.{word}": word for name, several in lists.items() for word in several}


def test_there_is_a_second_language() -> None:
    assert languages()[0] == ENGLISH
    assert "de" in OTHERS


@in_each
def test_every_sentence_and_every_word_is_there(language: str) -> None:
    needed = {*ENGLISH_TEXTS.entries, *labels_of(language)}
    assert set(Texts.bundled(language).entries) == needed


@in_each
def test_every_sentence_is_filled_in_with_the_same(language: str) -> None:
    texts = Texts.bundled(language).entries
    other = [n for n, said in ENGLISH_TEXTS.entries.items() if not same_holes(said, texts[n])]
    assert other == []


def same_holes(english: str, other: str) -> bool:
    return placeholders(english) == placeholders(other)


@in_each
def test_every_text_of_the_shipped_rules_is_there(language: str) -> None:
    """Those of the newest rule set, and of the older ones that still tell old advice."""
    texts = Texts.bundled(language)
    assert [text for text in texts_of_rules() if texts.of_rule(text) == text] == []


@in_each
def test_every_text_of_the_staged_returns_is_there(language: str) -> None:
    texts = Texts.bundled(language)
    assert [text for text in texts_of_returns() if texts.of_rule(text) == text] == []


@in_each
def test_no_text_is_kept_that_nobody_says(language: str) -> None:
    texts = (*texts_of_rules(), *texts_of_returns(), *proofs())
    said = {" ".join(text.split()) for text in texts}
    said |= {rule.basis.source for rule in RULES}
    said |= {re.sub(r"\d+", "{}", reason) for reason in reasons_why_missing()}
    assert [text for text in Texts.bundled(language).from_english if text not in said] == []


@in_each
def test_what_is_proved_and_what_was_missing_is_there(language: str) -> None:
    texts = Texts.bundled(language)
    assert [proof for proof in proofs() if texts.of_rule(proof) == proof] == []
    reasons = [*reasons_why_missing()]
    assert "needs 7 nights, has 3" in reasons
    assert [reason for reason in reasons if texts.of_record(reason) == reason] == []


@in_each
def test_numbers_of_a_record_are_carried_over(language: str) -> None:
    texts = Texts.bundled(language)
    for reason in reasons_why_missing():
        assert re.findall(r"\d+", texts.of_record(reason)) == re.findall(r"\d+", reason)
    assert texts.of_record("needs luck, has 3") == "needs luck, has 3"


@in_each
def test_a_rules_text_names_the_same_facts_and_numbers(language: str) -> None:
    pairs = Texts.bundled(language).from_english.items()
    assert [english for english, other in pairs if not same_holes(english, other)] == []
    assert [english for english, other in pairs if numbers(english) != numbers(other)] == []


@in_each
def test_a_text_that_was_never_translated_is_told_as_it_was_written(language: str) -> None:
    texts = Texts.bundled(language)
    known = RULES[0].caution
    assert texts.of_rule(known) != known
    assert texts.of_rule(known + " Ask Kim.") == known + " Ask Kim."


@in_each
def test_how_a_text_is_broken_into_lines_makes_no_other_text(language: str) -> None:
    texts, known = Texts.bundled(language), RULES[0].caution
    assert texts.of_rule(known.replace(" ", "\n  ", 1)) == texts.of_rule(known)


@pytest.mark.parametrize("language", languages())
def test_a_headline_fits_in_every_language(language: str) -> None:
    composer = Composer.bundled(language)
    assert [r.id for r in RULES if len(headline(r, composer)) > HEADLINE_LENGTH] == []


def headline(rule: Rule, composer: Composer) -> str:
    """The longest that has to fit: without its muscle groups a headline is as short as it can
    be."""
    verdict = composer.vocabulary.label(rule.verdict or Verdict.TRAIN)
    title = composer.texts.of_rule(rule.title)
    return composer.texts.say("headline_protect", verdict=verdict, title=title)


@pytest.mark.parametrize("language", languages())
def test_no_two_facts_have_one_name(language: str) -> None:
    """A sentence that names a fact is taken apart by it when it is told in another language."""
    labels = [fact.label for fact in Composer.bundled(language).dictionary.values()]
    assert sorted(labels) == sorted(set(labels))


def test_every_sentence_that_a_page_or_a_module_says_is_in_the_catalogue() -> None:
    files = (*PACKAGE.rglob("*.py"), *PACKAGE.rglob("*.html"))
    said = {name for file in files for name in names_said(file.read_text(encoding="utf-8"))}
    assert "reason_train" in said
    assert [name for name in sorted(said) if name not in ENGLISH_TEXTS.entries] == []


def names_said(source: str) -> list[str]:
    """The names in calls of ``say`` that stand there whole; ``"a." ~ b`` is put together."""
    return re.findall(r'\bsay\(\s*"([\w.%-]+)"(?=\s*[,)])', source)


def test_a_name_or_a_value_that_is_missing_is_no_silent_gap() -> None:
    with pytest.raises(KeyError):
        ENGLISH_TEXTS.say("no.such.sentence")
    with pytest.raises(KeyError):
        ENGLISH_TEXTS.say("no_check_in")


@pytest.mark.parametrize("said", ["yes: Yes", "count: 3", "section: {inner: null}"])
def test_what_yaml_takes_for_no_text_is_refused(tmp_path: Path, said: str) -> None:
    (tmp_path / "xx.yaml").write_text(said, encoding="utf-8")
    with pytest.raises(TypeError):
        Texts.from_file(tmp_path / "xx.yaml")


@pytest.mark.parametrize("language", languages())
def test_no_name_stands_twice_in_a_catalogue(language: str) -> None:
    """YAML takes the last of two in silence."""
    file = rules_folder() / "texts" / f"{language}.yaml"
    doubled: list[str] = []
    look_for_doubles(yaml.compose(file.read_text(encoding="utf-8")), doubled)
    assert doubled == []


def look_for_doubles(node: yaml.Node | None, doubled: list[str]) -> None:
    if isinstance(node, yaml.MappingNode):
        names = [name.value for name, _ in node.value]
        doubled += sorted({name for name in names if names.count(name) > 1})
        for _, inner in node.value:
            look_for_doubles(inner, doubled)


def test_and_has_another_form_before_i_in_spanish() -> None:
    spanish = Texts.bundled("es")
    assert spanish.listing(["pecho", "cuádriceps", "isquios"]) == "pecho, cuádriceps e isquios"
    assert spanish.listing(["agua", "hielo"]) == "agua y hielo"


def test_names_with_a_comma_are_told_apart() -> None:
    assert ENGLISH_TEXTS.names(["García, José", "Kim"]) == "García, José; Kim"
    assert ENGLISH_TEXTS.names(["José", "Kim"]) == "José and Kim"
