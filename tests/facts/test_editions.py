"""Editions of facts: what older rule sets decide on stays as it was when they were published."""

from __future__ import annotations

import json
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest

from dawnrule.advice.composer import not_reported
from dawnrule.facts.history import Derived, Past
from dawnrule.model import FactDictionary, Vocabulary
from dawnrule.model.entities import History
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.registry import bundled_rule_set_files
from tests.factories import KIM, facts, morning

DICTIONARY = FactDictionary.bundled()

RELEASED = {
    1: "4adaa9fd6211def4a6ef7b2f9a273c68383d86ed668017c93261b374d8ddc806",
    2: "4b3cd80b7157d34eb925808d188533b879ee3268db7521435140ec5e741985f3",
}
"""The digest of the facts of each edition that a published rule set reads. A line is added when
the first such rule set is published, and never changed."""

CHANGED = """the facts of edition {edition} are not those that rule sets were published with. A new
fact begins the next edition: give it `edition: {next}` in rules/facts.yaml. A released fact keeps
its name, type, scope, range and parameters: one that is computed otherwise is a new fact."""


def digest_of_edition(edition: int) -> str:
    """The digest of what the records of an edition depend on; words may still be improved."""
    known = [
        [fact.name, fact.type, fact.scope, str(fact.least), str(fact.greatest), fact.parameters]
        for fact in sorted(DICTIONARY.values(), key=lambda fact: fact.name)
        if fact.edition == edition
    ]
    return sha256(json.dumps(known, sort_keys=True).encode()).hexdigest()


@pytest.mark.parametrize("edition", RELEASED)
def test_the_facts_of_a_released_edition_never_change(edition: int) -> None:
    message = CHANGED.format(edition=edition, next=max(RELEASED) + 1)
    assert digest_of_edition(edition) == RELEASED[edition], message


def test_every_edition_that_a_published_rule_set_reads_is_released() -> None:
    read = {load_rule_set(file).edition(DICTIONARY) for file in bundled_rule_set_files()}
    assert read == set(RELEASED)


def test_new_facts_belong_to_the_one_edition_that_comes_next() -> None:
    editions = {fact.edition for fact in DICTIONARY.values()}
    assert editions - set(RELEASED) <= {max(RELEASED) + 1}


def with_a_new_fact() -> tuple[int, FactDictionary]:
    """The next edition, and the dictionary with a fact of it that is asked for each morning."""
    upcoming = max(RELEASED) + 1
    fact = replace(DICTIONARY["stress"], name="new_fact", edition=upcoming)
    return upcoming, FactDictionary({**DICTIONARY, "new_fact": fact})


@pytest.mark.parametrize("edition", RELEASED)
def test_a_fact_of_the_next_edition_is_left_out_for_older_rule_sets(edition: int) -> None:
    upcoming, later = with_a_new_fact()

    def seen_in(edition: int) -> Derived:
        words = Vocabulary.bundled()
        past = Past.of(KIM, morning(0), History(), later, words, edition)
        return past.known(Derived({"stress": 4, "new_fact": 4}, {"new_fact": "needs more"}))

    assert seen_in(edition) == Derived({"stress": 4}, {})
    assert "new_fact" in seen_in(upcoming).facts
    assert "new_fact" in seen_in(upcoming).missing
    assert later.edition_of(["stress", "new_fact"]) == upcoming


@pytest.mark.parametrize(
    "file", bundled_rule_set_files(), ids=lambda file: f"{file.parent.name}@{file.stem}"
)
def test_advice_of_older_rule_sets_does_not_ask_for_a_fact_of_the_next_edition(file: Path) -> None:
    _, later = with_a_new_fact()
    told, rule_set = facts(morning(0)), load_rule_set(file)
    assert "stress" in not_reported(told, rule_set, later)
    assert not_reported(told, rule_set, later) == not_reported(told, rule_set, DICTIONARY)
