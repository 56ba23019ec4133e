"""Header words: each means one column, in both languages."""

from __future__ import annotations

from collections import Counter

import pytest

from dawnrule.model import Vocabulary
from dawnrule.sheet import CHECK_INS, SESSIONS, Layout
from dawnrule.sheet.cells import _words_for
from dawnrule.sheet.columns import HeaderWords, _words_of_columns, plain_name
from dawnrule.sheet.meanings import _pairs
from dawnrule.sheet.words import plain_word

WORDS = HeaderWords.bundled()


@pytest.mark.parametrize("layout", [CHECK_INS, SESSIONS], ids=["check-ins", "sessions"])
def test_a_word_means_one_column_only(layout: Layout) -> None:
    counted = Counter(word for word, _ in _words_of_columns(layout))
    assert [word for word, times in counted.items() if times > 1] == []


def test_words_stand_as_headers_are_compared() -> None:
    groups = (WORDS.columns, WORDS.of_a_block, WORDS.of_the_first_block, WORDS.never_unread)
    in_cells = (words for of_list in WORDS.of_cells.values() for words in of_list.values())
    lists = [
        *(words for group in (*groups, WORDS.muscle_groups) for words in group.values()),
        *in_cells,
        WORDS.none,
    ]
    assert [word for words in lists for word in words if plain_name(word) != word] == []


def test_words_are_given_for_columns_and_muscle_groups_that_there_are() -> None:
    columns = {**CHECK_INS.columns(), **SESSIONS.columns()}
    assert WORDS.columns.keys() <= columns.keys()
    assert WORDS.of_a_block.keys() == {column.name for column in SESSIONS.of_a_block}
    assert list(WORDS.muscle_groups) == list(Vocabulary.bundled().muscle_groups)


@pytest.mark.parametrize(
    "list_name", sorted({column.words for column in CHECK_INS.columns().values() if column.words})
)
def test_a_word_in_a_cell_means_one_thing_only(list_name: str) -> None:
    meant = {
        (plain_name(word), identifier)
        for identifier in Vocabulary.bundled().values_of(list_name)
        for word in _words_for(list_name, identifier)
    }
    counted = Counter(word for word, _ in meant)
    assert [word for word, times in counted.items() if times > 1] == []


@pytest.mark.parametrize("layout", [CHECK_INS, SESSIONS], ids=["check-ins", "sessions"])
def test_a_word_of_coaches_means_one_column_only(layout: Layout) -> None:
    meant = {(plain_word(word), column.name) for word, column in _pairs(layout)}
    counted = Counter(word for word, _ in meant)
    assert [word for word, times in counted.items() if times > 1] == []
    known = {word: column.name for word, column in layout.words().items()}
    assert {(word, name) for word, name in meant if known.get(word, name) != name} == set()


def test_words_for_cells_are_those_of_the_vocabulary() -> None:
    for list_name, words in WORDS.of_cells.items():
        assert words.keys() <= set(Vocabulary.bundled().values_of(list_name))


def test_what_must_not_be_left_unread_has_columns() -> None:
    for sign in WORDS.never_unread:
        assert any(name.startswith(sign) for name in CHECK_INS.columns())


@pytest.mark.parametrize(
    ("header", "column"),
    [
        ("Athlete ID", "athlete_id"),
        ("SCHLAF", "sleep_hours"),
        ("Schlafqualita\N{COMBINING DIAERESIS}t", "sleep_quality"),
        ("Quads", "soreness_quadriceps"),
        ("Muskelkater oberer Rücken", "soreness_upper_back"),
        ("last trained hamstrings", "last_hamstrings_at"),
        ("plan2 Ziel", "plan2_goal"),
        ("Plan-Dauer", "plan_minutes"),
        ("Ziel", "plan_goal"),
        ("Muskelgruppen", "plan_muscle_groups"),
        ("Muskelgruppe", "muscle_group"),
    ],
)
def test_columns_are_known_by_other_words(header: str, column: str) -> None:
    found = CHECK_INS.column_named(header)
    assert found is not None
    assert found.name == column
