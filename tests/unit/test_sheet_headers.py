"""Does each word at the head of a column mean one column, in both languages?"""

from __future__ import annotations

from collections import Counter

import pytest

from dawnrule.sheet import CHECK_INS, SESSIONS, Layout
from dawnrule.sheet.columns import _each_word
from dawnrule.sheet.headers import HeaderWords, plain_name
from dawnrule.vocabulary import Vocabulary

WORDS = HeaderWords.shipped()


@pytest.mark.parametrize("layout", [CHECK_INS, SESSIONS], ids=["check-ins", "sessions"])
def test_a_word_means_one_column_only(layout: Layout) -> None:
    counted = Counter(word for word, _ in _each_word(layout))
    assert [word for word, times in counted.items() if times > 1] == []


def test_words_stand_as_headers_are_compared() -> None:
    lists = (*WORDS.columns.values(), *WORDS.of_a_block.values(), *WORDS.muscle_groups.values())
    assert [word for words in lists for word in words if plain_name(word) != word] == []


def test_words_are_given_for_columns_and_muscle_groups_that_there_are() -> None:
    columns = {**CHECK_INS.columns(), **SESSIONS.columns()}
    assert WORDS.columns.keys() <= columns.keys()
    assert WORDS.of_a_block.keys() == {column.name for column in SESSIONS.of_a_block}
    assert list(WORDS.muscle_groups) == list(Vocabulary.shipped().muscle_groups)


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
    ],
)
def test_columns_are_known_by_other_words(header: str, column: str) -> None:
    found = CHECK_INS.column_named(header)
    assert found is not None
    assert found.name == column
