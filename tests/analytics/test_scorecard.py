"""Scorecards: outcomes after each rule, and nothing that is not known."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import partial
from typing import Any

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics.archive import Archive
from dawnrule.analytics.scorecard import Reports, RuleScore, Score, Scorecard, Share, scorecard
from dawnrule.model.entities import Athlete, Block
from dawnrule.rules.columnar import PastMorning
from dawnrule.schemas.replay import SCORECARD
from dawnrule.store import Store
from tests.factories import (
    DAY,
    FIRST_BASELINE,
    GROWTH,
    KIM,
    LATER,
    ONE_DAY,
    SAM,
    add_session,
    past_subject,
    post_check_in,
)

Post = Callable[..., None]
FAR_WEST = Athlete("a-09", "Noa", "Pacific/Honolulu")
SORE, VERY_SORE = "growth-work-soreness", "soreness-very-high"


@pytest.fixture
def posted(store: Store, advisor: Advisor) -> Post:
    return partial(post_check_in, store, advisor)


def card(
    store: Store, first: date | None = None, last: date | None = None, **more: Any
) -> Scorecard:
    now = more.get("now", LATER)
    rule_set = more.get("rule_set", FIRST_BASELINE)
    return scorecard(store, Archive(store).mornings(), rule_set, first, last, now)


def rule(store: Store, rule_id: str, **more: Any) -> RuleScore:
    return next(score for score in card(store, **more).rules if score.rule == rule_id)


def counts(score: Score, outcome: str) -> Mapping[str, tuple[int, int]]:
    return {what: (share.count, share.of) for what, share in score.outcomes[outcome].items()}


def outcomes(
    store: Store, athlete: Athlete = KIM, day: date = DAY, *groups: str, now: datetime = LATER
) -> list[str]:
    """What is known of a morning, by what is stored around it."""
    around = DAY - 3 * ONE_DAY, DAY + 9 * ONE_DAY
    reports = store.read(lambda transaction: Reports.read(transaction, *around, now))
    morning = PastMorning(1, athlete.id, day, "", past_subject({}), ())
    return list(reports.outcome(morning).values(groups or ("quadriceps",)))


def test_a_rule_is_counted_once_a_morning_however_many_parts_it_fires_on(
    store: Store, posted: Post
) -> None:
    legs = Block("hypertrophy", ("quadriceps", "hamstrings"))
    posted(KIM, DAY, {"quadriceps": 4, "hamstrings": 5}, (legs, legs))
    posted(SAM, DAY)
    score = rule(store, SORE)
    assert (score.fired.count, score.fired.of) == (1, 2)
    assert (score.decided.count, score.decided.of) == (1, 2)
    assert score.after.mornings == 1


def test_a_rule_that_fires_below_a_stronger_one_does_not_decide(store: Store, posted: Post) -> None:
    posted(KIM, DAY, 9)
    assert (rule(store, SORE).fired.count, rule(store, SORE).decided.count) == (1, 0)
    assert (rule(store, VERY_SORE).fired.count, rule(store, VERY_SORE).decided.count) == (1, 1)


def test_a_rule_that_decides_on_a_part_alone_decides(store: Store, posted: Post) -> None:
    posted(KIM, DAY, {"quadriceps": 9, "chest": 0}, (GROWTH, Block("hypertrophy", ("chest",))))
    [advice] = store.read(lambda transaction: transaction.advice.for_date(DAY))
    assert (advice.verdict, advice.rule_id) == ("swap-to-low-damage", VERY_SORE)
    assert rule(store, VERY_SORE).decided.count == 1


def test_only_mornings_that_the_rule_set_told_are_counted(store: Store, posted: Post) -> None:
    posted(KIM, DAY, 4)
    other = replace(FIRST_BASELINE, digest="sha256:other")
    found = card(store, rule_set=other)
    assert (found.first, found.all_mornings.mornings) == (None, 0)
    assert {score.fired.count for score in found.rules} == {0}


def test_only_the_latest_advice_for_a_date_counts(store: Store, posted: Post) -> None:
    posted(KIM, DAY, 4)
    posted(KIM, DAY, 0)
    assert rule(store, SORE).fired.count == 0


def test_only_the_dates_asked_for_are_counted(store: Store, posted: Post) -> None:
    for number in range(4):
        posted(KIM, DAY + number * ONE_DAY)
    found = card(store, DAY + ONE_DAY, DAY + 2 * ONE_DAY)
    assert (found.first, found.last) == (DAY + ONE_DAY, DAY + 2 * ONE_DAY)
    assert found.all_mornings.mornings == 2


def test_the_rules_stand_in_the_order_of_the_file(store: Store, posted: Post) -> None:
    posted(KIM, DAY)
    assert [score.rule for score in card(store).rules] == [rule.id for rule in FIRST_BASELINE.rules]


def test_a_session_on_the_date_counts_as_done_and_none_as_not_done(store: Store) -> None:
    add_session(store, KIM, DAY)
    assert outcomes(store) == ["done"]
    assert outcomes(store, KIM, DAY + ONE_DAY) == ["not-done"]


def test_before_the_first_logged_session_nothing_is_known_of_training(store: Store) -> None:
    add_session(store, KIM, DAY)
    assert outcomes(store, KIM, DAY - ONE_DAY) == []


def test_of_an_athlete_who_logs_nothing_nothing_is_known(store: Store, posted: Post) -> None:
    posted(KIM, DAY)
    assert outcomes(store) == []


def test_a_date_that_is_not_over_has_no_outcome_yet(store: Store) -> None:
    add_session(store, KIM, DAY)
    before_midnight = datetime(2026, 3, 9, 22, 59, tzinfo=UTC)  # in Berlin it is 23:59
    assert outcomes(store, now=before_midnight) == []
    assert outcomes(store, now=before_midnight.replace(hour=23)) == ["done"]


def test_a_session_belongs_to_the_date_where_the_athlete_lives(store: Store) -> None:
    """Six in the evening in UTC is eight in the morning in Honolulu, of the same date; it is the
    next date in Kiritimati."""
    add_session(store, FAR_WEST, DAY)
    far_east = replace(FAR_WEST, id="a-10", time_zone="Pacific/Kiritimati")
    add_session(store, far_east, DAY)
    assert outcomes(store, FAR_WEST) == ["done"]
    assert outcomes(store, far_east) == []
    assert outcomes(store, far_east, DAY + ONE_DAY) == ["done"]


@pytest.mark.parametrize(
    ("reported", "counts_as"),
    [
        ((None,), []),
        (("held",), ["held"]),
        (("cut-short",), ["cut-short"]),
        (("dropped",), ["dropped"]),
        (("held", "cut-short"), ["cut-short"]),
        (("held", "dropped", "cut-short"), ["dropped"]),
        (("held", None), ["held"]),
    ],
)
def test_of_several_sessions_the_worst_output_counts(
    store: Store, reported: tuple[str | None, ...], counts_as: list[str]
) -> None:
    for output in reported:
        add_session(store, KIM, DAY, output)
    assert outcomes(store) == ["done", *counts_as]


@pytest.mark.parametrize(("next_day", "found"), [(5, "rose"), (4, "same"), (3, "fell")])
def test_soreness_is_compared_with_the_next_morning(
    store: Store, posted: Post, next_day: int, found: str
) -> None:
    posted(KIM, DAY, 4)
    posted(KIM, DAY + ONE_DAY, next_day)
    assert outcomes(store) == [found]


def test_soreness_of_the_morning_after_next_is_not_the_next_mornings(
    store: Store, posted: Post
) -> None:
    posted(KIM, DAY, 4)
    posted(KIM, DAY + 2 * ONE_DAY, 6)
    assert outcomes(store) == []


def test_of_several_muscle_groups_the_sorest_counts_if_rated_on_both_mornings(
    store: Store, posted: Post
) -> None:
    posted(KIM, DAY, {"quadriceps": 4, "chest": 1, "calves": 9})
    posted(KIM, DAY + ONE_DAY, {"quadriceps": 2, "chest": 5, "triceps": 10})
    assert outcomes(store, KIM, DAY, "quadriceps", "chest", "calves", "triceps") == ["rose"]
    assert outcomes(store, KIM, DAY, "quadriceps") == ["fell"]
    assert outcomes(store, KIM, DAY, "calves") == []


def test_the_newest_check_in_for_a_date_says_how_sore_it_was(store: Store, posted: Post) -> None:
    posted(KIM, DAY, 4)
    posted(KIM, DAY + ONE_DAY, 6)
    posted(KIM, DAY + ONE_DAY, 2)
    assert outcomes(store) == ["fell"]


CHEST = Block("hypertrophy", ("chest",))


@pytest.mark.parametrize("plan", [(GROWTH, CHEST), (CHEST, GROWTH)])
def test_what_followed_is_that_of_the_muscle_groups_that_the_rule_fired_on(
    store: Store, posted: Post, plan: tuple[Block, ...]
) -> None:
    """The chest got sorer; but the rule fired on the quadriceps, which did not."""
    posted(KIM, DAY, {"quadriceps": 4, "chest": 0}, plan)
    posted(KIM, DAY + ONE_DAY, {"quadriceps": 2, "chest": 6}, ())
    fired_on = counts(rule(store, SORE).after, "soreness_next_day")
    assert fired_on == {"rose": (0, 1), "same": (0, 1), "fell": (1, 1)}
    everything = counts(card(store).all_mornings, "soreness_next_day")
    assert everything == {"rose": (1, 1), "same": (0, 1), "fell": (0, 1)}


def test_a_share_is_of_the_mornings_of_which_the_outcome_is_known(
    store: Store, posted: Post
) -> None:
    for number in range(12):
        posted(KIM, DAY + number * ONE_DAY, 4)
    for number in range(2, 9):
        add_session(store, KIM, DAY + number * ONE_DAY, "held" if number < 6 else "dropped")
    score = rule(store, SORE)
    assert score.fired == Share.counted(12, 12)
    assert counts(score.after, "session") == {"done": (7, 10), "not-done": (3, 10)}
    assert counts(score.after, "output") == {"held": (4, 7), "cut-short": (0, 7), "dropped": (3, 7)}
    assert counts(score.after, "soreness_next_day")["same"] == (11, 11)
    assert score.after.outcomes["session"]["done"].share == 0.7
    assert score.after.outcomes["output"]["held"].why_none == "needs 10 mornings, has 7"


def test_a_scorecard_is_plain_json(store: Store, posted: Post) -> None:
    posted(KIM, DAY, 4)
    plain = SCORECARD.dump(card(store))
    assert plain["rule_set"] == {
        "name": "baseline",
        "version": "1.0.0",
        "digest": FIRST_BASELINE.digest,
    }
    assert (plain["from"], plain["to"], plain["confidence"]) == ("2026-03-09", "2026-03-09", 0.95)
    sore = next(score for score in plain["rules"] if score["rule"] == SORE)
    assert sore["after"]["outcomes"]["session"]["done"] == {
        "count": 0,
        "of": 0,
        "share": None,
        "low": None,
        "high": None,
        "why_none": "needs 10 mornings, has 0",
    }
