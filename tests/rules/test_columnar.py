"""Past mornings as columns: facts are kept, and decisions are made as defined."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pytest

from dawnrule.errors import EngineFailure
from dawnrule.model import Facts, Verdict
from dawnrule.rules.columnar import (
    ChangedMorning,
    ColumnDecider,
    ColumnDecisions,
    MorningTable,
    PastMorning,
    read_metadata,
)
from dawnrule.rules.columnar.table import KEYS
from dawnrule.rules.conditions import Operator, Test
from tests.factories import DAY, KIM, ONE_DAY, SAM, a_rule, a_rule_set, past_morning, past_subject
from tests.property.rule_strategies import DICTIONARY

TRAIN, SWAP, REST = Verdict

DAY_OFF = past_morning(1, past_subject({"sleep_hours": 7.5, "fatigue": 3, "illness": "none"}))
TWO_PARTS = past_morning(
    2,
    past_subject({"fatigue": 8, "chest_pain": False}, SWAP, "tired"),
    past_subject({"fatigue": 8, "chest_pain": False, "soreness": 6}, REST, "sore"),
    past_subject({"fatigue": 8, "chest_pain": False, "goal": "mobility"}, SWAP, "tired"),
)

TIRED = a_rule(Test("fatigue", Operator.AT_LEAST, 7), "tired", "day", SWAP)
SORE = a_rule(Test("soreness", Operator.AT_LEAST, 5), "sore", "part", REST)
SHORT_NIGHT = a_rule(Test("sleep_hours", Operator.BELOW, 8), "short-night", "day", None)


def table(*mornings: PastMorning) -> MorningTable:
    return MorningTable.of(mornings, DICTIONARY)


def decided(*mornings: PastMorning) -> ColumnDecisions:
    rule_set = a_rule_set([TIRED, SORE, SHORT_NIGHT])
    return ColumnDecider(rule_set, DICTIONARY).decide(table(*mornings))


def positions(of: MorningTable) -> list[int]:
    return [one.position for one in of.mornings()]


def test_no_fact_has_the_name_of_another_column() -> None:
    assert not KEYS.keys() & DICTIONARY.keys()


def test_mornings_come_back_as_they_were() -> None:
    assert list(table(DAY_OFF, TWO_PARTS).mornings()) == [DAY_OFF, TWO_PARTS]


def test_mornings_come_back_from_a_file_as_they_were(tmp_path: Path) -> None:
    file = tmp_path / "[mornings]*.parquet"
    with file.open("wb") as new:
        table(DAY_OFF, TWO_PARTS).write(new, {"reach": "2"})
    with file.open("rb") as opened:
        assert (read_metadata(opened) or {})["reach"] == "2"
        read = MorningTable.read(opened, DICTIONARY)
    assert list(read.mornings()) == [DAY_OFF, TWO_PARTS]


def test_a_broken_file_has_no_marks() -> None:
    assert read_metadata(BytesIO(b"PAR1 and then something else")) is None


def test_a_whole_number_for_a_number_is_the_same_number() -> None:
    [one] = table(past_morning(1, past_subject({"sleep_hours": 7}))).mornings()
    assert one.day.facts == {"sleep_hours": 7.0}


@pytest.mark.parametrize(
    "facts",
    [
        {"resting_hr_bpm": 50.5},
        {"soreness": True},
        {"soreness": 11},
        {"soreness": "4"},
        {"sleep_hours": float("nan")},
        {"illness": "a cold"},
        {"chest_pain": 1},
    ],
)
def test_a_value_that_columns_would_make_another_of_is_refused(facts: Facts) -> None:
    [name] = facts
    with pytest.raises(EngineFailure, match=f"a-01 for 2026-03-10 was given on {name}"):
        table(past_morning(1, past_subject(facts)))


def test_a_fact_that_is_no_longer_in_the_dictionary_is_left_out() -> None:
    [one] = table(past_morning(1, past_subject({"fatigue": 3, "mood": 5}))).mornings()
    assert one.day.facts == {"fatigue": 3}


def test_of_two_advices_for_a_date_the_later_in_the_ledger_stays() -> None:
    again = replace(DAY_OFF, position=3)
    other = replace(DAY_OFF, position=4, athlete_id=SAM.id)
    whole = table(DAY_OFF, TWO_PARTS).followed_by([table(again), table(other)])
    assert list(whole.mornings()) == [TWO_PARTS, again, other]


@pytest.mark.parametrize(
    ("first", "last", "found"),
    [(None, None, [1, 2]), (1, 1, [1]), (2, None, [2]), (None, 1, [1]), (3, None, [])],
)
def test_both_ends_of_some_dates_belong_to_them(
    first: int | None, last: int | None, found: list[int]
) -> None:
    ends = [end if end is None else DAY + end * ONE_DAY for end in (first, last)]
    assert positions(table(DAY_OFF, TWO_PARTS).between(*ends)) == found


def test_mornings_are_found_by_the_rule_set_that_told_them() -> None:
    other = replace(TWO_PARTS, rule_set_digest="sha256:other")
    both = table(DAY_OFF, other)
    assert positions(both.decided_by("sha256:other")) == [2]


def test_each_date_says_how_many_mornings_and_subjects_it_has() -> None:
    same_date = replace(DAY_OFF, date=TWO_PARTS.date, athlete_id=SAM.id)
    assert table(TWO_PARTS, same_date).sizes() == [(TWO_PARTS.date, 2, 4)]


def test_decisions_are_counted_beside_what_was_told() -> None:
    told_otherwise = replace(TWO_PARTS, day=past_subject(TWO_PARTS.day.facts))
    counted = decided(DAY_OFF, told_otherwise)
    assert counted.counts("day", "verdict", "after") == {(TRAIN, TRAIN): 1, (TRAIN, SWAP): 1}
    assert counted.counts("part", "rule_id", "rule_after") == {
        ("sore", "sore"): 1,
        ("tired", "tired"): 1,
    }
    assert counted.fired() == {"tired": 1, "sore": 1, "short-night": 1}


def changed(*mornings: PastMorning) -> Sequence[ChangedMorning]:
    return decided(*mornings).changed()


def test_what_comes_out_as_it_was_told_has_not_changed() -> None:
    assert changed(DAY_OFF, TWO_PARTS) == []


def test_a_day_that_comes_out_otherwise_has_changed() -> None:
    told_rest = replace(DAY_OFF, day=past_subject(DAY_OFF.day.facts, REST, "fever"))
    assert changed(told_rest, TWO_PARTS) == [
        ChangedMorning(KIM.id, DAY_OFF.date, REST, TRAIN, "fever", None, 0)
    ]


def test_a_part_that_comes_out_otherwise_changes_its_morning() -> None:
    sore, tired = TWO_PARTS.parts
    told = replace(TWO_PARTS, parts=(replace(sore, verdict=SWAP), tired))
    assert changed(DAY_OFF, told) == [
        ChangedMorning(KIM.id, TWO_PARTS.date, SWAP, SWAP, "tired", "tired", 1)
    ]


def test_another_rule_for_the_same_verdict_is_no_change() -> None:
    told = replace(TWO_PARTS, day=replace(TWO_PARTS.day, rule_id="stressed"))
    assert changed(told) == []


def test_a_table_without_mornings_is_decided_too() -> None:
    assert decided().changed() == []
    assert decided().fired() == {"tired": 0, "sore": 0, "short-night": 0}
