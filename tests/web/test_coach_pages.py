"""View models of the coach's pages on advice, rules and replays."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from dawnrule.advice.composer import Composer
from dawnrule.analytics.replay import Replayed
from dawnrule.analytics.scorecard import LEAST_MORNINGS, Share
from dawnrule.errors import FieldError
from dawnrule.model import FactDictionary, Verdict
from dawnrule.model.advice import RuleName
from dawnrule.model.record import FiredRules
from dawnrule.model.serialization import from_json
from dawnrule.rules.analysis.diff import Difference, FieldChange, RuleChange
from dawnrule.rules.columnar import ChangedMorning
from dawnrule.web.coach.inputs import local_time
from dawnrule.web.coach.replays import CHANGES_SHOWN, outcome
from dawnrule.web.coach.rule_sets import rule_changes, share_text
from dawnrule.web.coach.try_out import assumed, form_of
from dawnrule.web.coach.why_view import day_by, prose_of
from tests.factories import a_rule_set, advice_of, rule_named, when

ENGLISH = Composer.bundled()
NOW = datetime(2026, 3, 9, 6, tzinfo=UTC)


@pytest.mark.parametrize(
    ("day", "parts", "by", "fired", "how"),
    [
        ("rest", ["rest", "rest"], "fever", ["fever"], "day_rule"),
        ("swap-to-low-damage", ["rest", "swap-to-low-damage"], "short", ["short"], "day_rule"),
        ("rest", ["rest"], "sore", ["a-note"], "all_parts"),
        ("train-as-planned", ["train-as-planned"] * 2, None, [], "all_parts"),
        ("swap-to-low-damage", ["rest", "train-as-planned"], "sore", [], "mixed_parts"),
        ("train-as-planned", [], None, [], "no_parts"),
    ],
)
def test_it_is_told_how_the_day_came_by_its_verdict(
    day: str, parts: list[str], by: str | None, fired: list[str], how: str
) -> None:
    rule = RuleName(by, "A rule") if by else None
    advice = advice_of(Verdict(day), [Verdict(part) for part in parts], rule)
    assert day_by(advice, FiredRules(tuple(fired), ())) == how


def test_times_are_told_where_the_athlete_lives() -> None:
    told = "2026-03-09 15:00 (Asia/Tokyo)"
    in_berlin = datetime.fromisoformat("2026-03-09T07:00:00+01:00")
    assert local_time(in_berlin, "Asia/Tokyo") == told
    assert local_time(NOW, "Asia/Tokyo") == told


def test_a_share_is_told_with_its_interval_once_there_are_mornings_enough() -> None:
    # 7 of 12 gives 0.320 to 0.807 by the score interval: Wilson 1927, J Am Stat Assoc 22:209-212.
    assert share_text(Share.counted(7, 12), ENGLISH.texts) == "7 of 12: 58% (32% to 81%)"
    assert share_text(Share.counted(1, LEAST_MORNINGS - 1), ENGLISH.texts) == "1 of 9"


def test_a_changed_rule_is_told_with_both_conditions_and_only_what_differs() -> None:
    old = a_rule_set([rule_named("sore", when("soreness", "at_least", 3))])
    new = a_rule_set([rule_named("sore", when("soreness", "at_least", 4))])
    fields = (
        FieldChange("when", {}, {}),
        FieldChange("basis", {"kind": "house", "note": "a"}, {"kind": "house", "note": "b"}),
        FieldChange("examples", [1, 2], [2, 3]),
        FieldChange("title", "One", "Two"),
    )
    found = Difference((), (), (RuleChange("sore", fields),), (), ())
    [change] = rule_changes(found, old, new, prose_of(ENGLISH))
    when_told, basis, examples, title = change.fields
    assert (when_told.before, when_told.after) == (
        prose_of(ENGLISH).condition(old.rules[0].when),
        prose_of(ENGLISH).condition(new.rules[0].when),
    )
    assert (basis.only_before, basis.only_after) == (("a",), ("b",))
    assert (examples.only_before, examples.only_after) == (("1",), ("3",))
    assert (title.only_before, title.only_after) == (("One",), ("Two",))


@pytest.mark.parametrize(
    ("fact", "text", "value"),
    [
        ("soreness", "3", 3),
        ("soreness", " 3.0 ", 3),
        ("soreness", "3.5", 3.5),
        ("soreness", "much", "much"),
        ("sleep_hours", "6,5", 6.5),
        ("sleep_hours", "1e3", "1e3"),
        ("chest_pain", "true", True),
        ("chest_pain", "perhaps", "perhaps"),
        ("goal", "strength", "strength"),
    ],
)
def test_what_a_field_says_becomes_the_value_that_it_stands_for(
    fact: str, text: str, value: object
) -> None:
    told = assumed({fact: text, "csrf_token": "a"}, ENGLISH)
    scope = FactDictionary.bundled()[fact].scope
    facts = told["day"] if scope == "day" else told["parts"][0]
    assert facts == {fact: value}
    assert isinstance(facts[fact], type(value)), "7 is not true, and 3 not 3.0"


def test_with_no_fact_of_a_part_there_is_no_part() -> None:
    assert assumed({"sleep_hours": "5", "soreness": " "}, ENGLISH) == {
        "day": {"sleep_hours": 5.0},
        "parts": [],
    }


def test_every_fact_of_the_dictionary_can_be_filled_in_once() -> None:
    form = form_of({}, (), ENGLISH)
    names = [field.name for field in (*form.commonest, *form.others)]
    assert sorted(names) == sorted(FactDictionary.bundled())
    assert not form.others_in_use


def test_an_error_stands_at_its_field_with_what_was_filled_in() -> None:
    errors = [FieldError("/day/age_years", "old", "must be a whole number")]
    form = form_of({"age_years": "old"}, errors, ENGLISH)
    [field] = form.wrong
    assert (field.name, field.value) == ("age_years", "old")
    assert field.error == "Write a whole number from 0 to 120."
    assert form.others_in_use, "or it could not be seen"


def changed(day: int, athlete_id: str = "a-03") -> ChangedMorning:
    on = date.fromordinal(date(2026, 1, 1).toordinal() + day)
    return ChangedMorning(athlete_id, on, "rest", "train-as-planned", "fever", None, 1)


def test_of_many_changed_mornings_the_newest_are_shown_and_all_counted() -> None:
    mornings = tuple(map(changed, range(CHANGES_SHOWN + 20)))
    found = outcome(replace(Replayed.sum([]), changed=mornings), {})
    assert found.changed_in_all == CHANGES_SHOWN + 20
    assert len(found.changed) == CHANGES_SHOWN
    assert found.changed[0] == mornings[-1]


def test_what_never_happened_is_not_listed_among_the_rules_of_a_replay() -> None:
    counted = {
        "mornings": 2,
        "decisions": 2,
        "days": [{"before": "rest", "after": "train-as-planned", "count": 2}],
        "parts": [],
        "fired": [{"rule": "fever", "count": 0}, {"rule": "sore", "count": 3}],
        "decided_before": [{"rule": "short", "count": 2}],
        "decided_now": [{"rule": None, "count": 2}],
        "athletes": [{"athlete_id": "a-03", "protected": "less", "count": 2}],
        "changed": [],
    }
    found = outcome(from_json(Replayed, counted), {"a-03": "Mara"})
    assert [(row.rule, row.decided_before, row.decided_now, row.fired) for row in found.rules] == [
        (None, 0, 2, 0),
        ("short", 2, 0, 0),
        ("sore", 0, 0, 3),
    ]
    [(name, athlete)] = found.athletes
    assert (name, athlete.less, athlete.same, athlete.more) == ("Mara", 2, 0, 0)
    [verdict] = found.verdicts
    assert (verdict.days, verdict.parts, verdict.is_same) == (2, 0, False)
