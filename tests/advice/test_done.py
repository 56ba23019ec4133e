"""What was done beside what was advised."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from dawnrule.advice.done import Difference, Outcome, compare_with_done
from dawnrule.model import Verdict, Vocabulary
from dawnrule.model.advice import Advice, Alternative, BlockAdvice, RuleSetName
from dawnrule.model.entities import Block, Session

SQUATS = Block("hypertrophy", ("quadriceps",), minutes=50, sets=8)
BENCH = Block("hypertrophy", ("chest",), minutes=40, sets=6)
RIDE = Block("steady-endurance", modality="cycling", minutes=30)
EASY = Alternative(goal="steady-endurance", modality="cycling", minutes=30, effort=3)
LESS = Alternative(goal="hypertrophy", within_limits=True, sets=4)

TRAIN = BlockAdvice(0, "hypertrophy", ("quadriceps",), Verdict.TRAIN, None, "")
SWAP = replace(TRAIN, verdict=Verdict.SWAP, alternatives=(EASY,))
REST = replace(TRAIN, verdict=Verdict.REST)
LIMITED = replace(SWAP, limits={"sets_at_most": 4}, alternatives=(LESS, EASY))


def advice(verdict: Verdict, *blocks: BlockAdvice) -> Advice:
    rules = RuleSetName("baseline", "2.0.0", "sha256:00")
    return Advice(
        "v-1", "a-03", date(2026, 3, 9), verdict, "", None, "", "", (), (), (), rules, blocks
    )


def session(*blocks: Block, rpe: float | None = None) -> Session:
    at = datetime(2026, 3, 9, 18, tzinfo=UTC)
    return Session("a-03", at, sum(block.minutes or 0 for block in blocks), blocks, rpe)


@pytest.mark.parametrize(
    ("block", "done", "outcome", "differences"),
    [
        (TRAIN, [SQUATS], "as-advised", []),
        (TRAIN, [replace(SQUATS, minutes=54)], "as-advised", []),
        (TRAIN, [], "not-logged", []),
        (TRAIN, [replace(SQUATS, minutes=75)], "more", [("minutes", 50, 75)]),
        (TRAIN, [replace(SQUATS, sets=4)], "less", [("sets", 8, 4)]),
        (TRAIN, [BENCH], "more", [("left-out", None, None), ("added", None, 40)]),
        (TRAIN, [SQUATS, RIDE], "more", [("added", None, 30)]),
        (TRAIN, [RIDE], "more", [("left-out", None, None), ("added", None, 30)]),
        (SWAP, [RIDE], "as-advised", []),
        (SWAP, [SQUATS], "more", [("not-advised", None, 50)]),
        (SWAP, [], "not-logged", []),
        (LIMITED, [replace(SQUATS, sets=4)], "as-advised", []),
        (LIMITED, [replace(SQUATS, sets=2)], "as-advised", []),
        (LIMITED, [SQUATS], "more", [("sets", 4, 8)]),
        (REST, [], "as-advised", []),
        (REST, [RIDE], "more", [("added", None, 30)]),
        (REST, [SQUATS], "more", [("not-advised", None, 50)]),
    ],
)
def test_a_day_is_held_beside_its_advice(
    block: BlockAdvice,
    done: list[Block],
    outcome: str,
    differences: list[tuple[str, float | None, float | None]],
) -> None:
    sessions = [session(*done)] if done else []
    words = Vocabulary.bundled()
    found = compare_with_done(advice(block.verdict, block), (SQUATS,), sessions, words)
    assert found.outcome == outcome
    assert [(one.what, one.advised, one.done) for one in found.differences] == differences


def test_effort_counts_where_a_limit_was_given() -> None:
    block = replace(LIMITED, limits={"effort_at_most": 3})
    hard = compare_with_done(
        advice(Verdict.SWAP, block), (SQUATS,), [session(SQUATS, rpe=7)], Vocabulary.bundled()
    )
    assert hard.differences == (Difference("effort", "hypertrophy", True, 3, 7),)


def test_a_day_off_that_was_trained_on_is_more() -> None:
    words = Vocabulary.bundled()
    off = advice(Verdict.TRAIN)
    assert compare_with_done(off, (), [session(RIDE)], words).outcome is Outcome.MORE
    assert compare_with_done(off, (), [], words).outcome is Outcome.AS_ADVISED
