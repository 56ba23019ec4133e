"""Published checks: warning signs outrank everything.

Dark urine: US CDC/NIOSH guidance on rhabdomyolysis, signs and symptoms: dark urine, pain worse
than expected, weakness; care at once, and it may begin hours or days after the effort.
Chest pain, fainting, breathlessness, palpitations: Maron 2014, Circulation 130:1303-1334 (from
memory). Head injury: Patricios 2023, Br J Sports Med 57(11):695-711 (no return on the same day,
from memory). Numbness or weakness, and severe swelling: common practice, no source.
"""

from __future__ import annotations

import re
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

every_sign = pytest.mark.parametrize("sign", WORDS.warning_signs)

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


@every_sign
@pytest.mark.parametrize("goal", WORDS.goals)
def test_a_sign_means_rest_with_everything_else_at_its_best(
    baseline: Baseline, sign: str, goal: str
) -> None:
    """Source: at the head of this module."""
    best = everything_at_its_best() | {"warning_signs": (sign,)}
    decided = baseline.decide(check_in(planned(goal, "quadriceps"), **best))
    assert decided.verdict is Verdict.REST
    assert is_about(decided.rule, sign)


@every_sign
@pytest.mark.parametrize("plan", [(), one_block_of_each_goal()], ids=["day off", "every goal"])
def test_a_sign_means_rest_with_nothing_else_reported(
    baseline: Baseline, sign: str, plan: tuple[Any, ...]
) -> None:
    """Source: at the head of this module."""
    decided = baseline.decide(check_in(*plan, warning_signs=(sign,)))
    assert decided.verdict is Verdict.REST
    assert is_about(decided.rule, sign)
    assert set(decided.parts) <= {Verdict.REST}


@every_sign
def test_a_sign_is_what_is_named_with_everything_else_at_its_worst(
    baseline: Baseline, sign: str
) -> None:
    """Source: at the head of this module."""
    worst = EVERYTHING_AT_ITS_WORST | {"warning_signs": (sign,)}
    assert is_about(baseline.decide(check_in(*one_block_of_each_goal(), **worst)).rule, sign)


def test_of_several_signs_the_heart_comes_first(baseline: Baseline) -> None:
    """The most urgent first: common practice, no source."""
    signs = tuple(reversed(WORDS.warning_signs))
    assert is_about(baseline.decide(check_in(warning_signs=signs)).rule, "chest-pain")


@every_sign
def test_the_caution_sends_to_care_now_and_neither_diagnoses_nor_reassures(
    baseline: Baseline, sign: str
) -> None:
    """Source: US CDC/NIOSH guidance on rhabdomyolysis: signs alone cannot confirm or rule out."""
    rule = baseline.decide(check_in(warning_signs=(sign,))).rule
    assert rule is not None
    assert "get medical care now" in rule.caution
    assert "until a clinician has cleared you" in rule.caution.replace("\n", " ")
    reassuring = r"probably|harmless|no need to worry|nothing serious|just soreness"
    diagnosing = r"\byou have\b|\bthis is a\b|\bis caused by\b"
    assert not re.search(f"{reassuring}|{diagnosing}", f"{rule.reason} {rule.caution}", re.I)
