"""Published checks: warning signs outrank everything.

Dark urine: US CDC/NIOSH guidance on rhabdomyolysis, signs and symptoms: dark urine, pain worse
than expected, weakness; care at once, and it may begin hours or days after the effort.
Chest pain, fainting, breathlessness, palpitations: Maron 2014, Circulation 130:1303-1334 (from
memory). Head injury: Patricios 2023, Br J Sports Med 57(11):695-711 (no return on the same day,
from memory). Numbness or weakness, and severe swelling: common practice, no source.
"""

from __future__ import annotations

import re
from itertools import product
from typing import Any

import pytest

from dawnrule.model import Verdict
from dawnrule.model.entities import Pain, Sleep
from dawnrule.rules.conditions import facts_of
from dawnrule.rules.rule_set import Rule
from tests.published.mornings import (
    WORDS,
    Baseline,
    check_in,
    everything_at_its_best,
    one_block_of_each_goal,
    planned,
    trained,
)

EVERYTHING_AT_ITS_WORST: dict[str, Any] = {
    "sleep": Sleep(hours=0.0, quality=1),
    "soreness": dict.fromkeys(WORDS.muscle_groups, 10),
    "last_trained": trained(0, "hypertrophy", WORDS.muscle_groups),
    "fatigue": 10,
    "stress": 10,
    "pain": tuple(Pain("everywhere", kind) for kind in WORDS.pain_kinds),
    "illness": "fever",
}


def is_about(rule: Rule | None, sign: str) -> bool:
    return rule is not None and sign.replace("-", "_") in facts_of(rule.when)


def test_a_sign_means_rest_with_everything_else_at_its_best(
    baseline: Baseline, subtests: pytest.Subtests
) -> None:
    """Source: at the head of this module."""
    for sign, goal in product(WORDS.warning_signs, WORDS.goals):
        with subtests.test(sign=sign, goal=goal):
            best = everything_at_its_best() | {"warning_signs": (sign,)}
            decided = baseline.decide(check_in(planned(goal, "quadriceps"), **best))
            assert decided.verdict is Verdict.REST
            assert is_about(decided.rule, sign)


def test_a_sign_means_rest_with_nothing_else_reported(
    baseline: Baseline, subtests: pytest.Subtests
) -> None:
    """On a day off and with every goal planned. Source: at the head of this module."""
    for sign, plan in product(WORDS.warning_signs, [(), one_block_of_each_goal()]):
        with subtests.test(sign=sign, blocks=len(plan)):
            decided = baseline.decide(check_in(*plan, warning_signs=(sign,)))
            assert decided.verdict is Verdict.REST
            assert is_about(decided.rule, sign)
            assert set(decided.parts) <= {Verdict.REST}


def test_a_sign_is_what_is_named_with_everything_else_at_its_worst(
    baseline: Baseline, subtests: pytest.Subtests
) -> None:
    """Source: at the head of this module."""
    for sign in WORDS.warning_signs:
        with subtests.test(sign=sign):
            worst = EVERYTHING_AT_ITS_WORST | {"warning_signs": (sign,)}
            assert is_about(
                baseline.decide(check_in(*one_block_of_each_goal(), **worst)).rule, sign
            )


def test_of_several_signs_the_heart_comes_first(baseline: Baseline) -> None:
    """The most urgent first: common practice, no source."""
    signs = tuple(reversed(WORDS.warning_signs))
    assert is_about(baseline.decide(check_in(warning_signs=signs)).rule, "chest-pain")


def test_the_caution_sends_to_care_now_and_neither_diagnoses_nor_reassures(
    baseline: Baseline, subtests: pytest.Subtests
) -> None:
    """Source: US CDC/NIOSH guidance on rhabdomyolysis: signs alone cannot confirm or rule out."""
    reassuring = r"probably|harmless|no need to worry|nothing serious|just soreness"
    diagnosing = r"\byou have\b|\bthis is a\b|\bis caused by\b"
    for sign in WORDS.warning_signs:
        with subtests.test(sign=sign):
            rule = baseline.decide(check_in(warning_signs=(sign,))).rule
            assert rule is not None
            assert "get medical care now" in rule.caution
            assert "until a clinician has cleared you" in rule.caution.replace("\n", " ")
            said = f"{rule.reason} {rule.caution}"
            assert not re.search(f"{reassuring}|{diagnosing}", said, re.IGNORECASE)
