"""A proposed rule set of one athlete's own, which never asks for less. That it is accepted as it is
holds ``web/test_recovery.py``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from dawnrule.model import FactValue, Verdict
from dawnrule.recovery.episodes import Episode
from dawnrule.recovery.personal_rules import own_hours, rule_file
from dawnrule.rules.loading.loader import load_rule_set
from dawnrule.rules.registry import RuleSetLibrary
from tests.recovery.test_forecast import BEGAN, recovery_of, seen


def test_who_is_sore_for_long_gets_a_rule_that_waits_for_as_long(tmp_path: Path) -> None:
    slow = [seen(60, 84)] * 10 + [seen(0, 30, "chest")] * 10
    [proposed] = own_hours(recovery_of(slow), 48, BEGAN)
    assert proposed.muscle_group == "quadriceps"
    assert 60 < proposed.hours <= 96
    assert proposed.hours % 6 == 0
    file = tmp_path / "1.0.0.yaml"
    file.write_text(rule_file("a-01", "baseline@2.0.0", [proposed]), encoding="utf-8")
    library = RuleSetLibrary.bundled()
    rule_set = load_rule_set(file, resolve=library.get)
    what_if = library.what_if(rule_set)
    facts: dict[str, FactValue] = {"goal": "hypertrophy", "soreness": 1}

    def verdict(hours: float, group: str = "quadriceps") -> Verdict:
        known = facts | {"hours_since_growth_work": hours, "muscle_group": group}
        return what_if.decision(known).verdict

    assert verdict(proposed.hours - 1) is Verdict.SWAP
    assert verdict(proposed.hours) is Verdict.TRAIN
    assert verdict(50, "chest") is Verdict.TRAIN


def test_a_rule_that_rests_on_an_own_usual_says_so() -> None:
    slow = [replace(seen(60, 84), usual=4.0)] * 10
    [proposed] = own_hours(recovery_of(slow), 48, BEGAN)
    assert proposed.usual_soreness == 4
    said = " ".join(rule_file("a-01", "baseline@2.0.0", [proposed]).split())
    assert "until soreness was back to the usual 4, so it waits" in said
    assert f"After {proposed.hours} h soreness was back to the usual 4 in at least 8" in said


@pytest.mark.parametrize("episodes", [[seen(12, 36)] * 10, [seen(60, 84)] * 4])
def test_nobody_is_asked_for_less_nor_for_anything_on_little_evidence(
    episodes: list[Episode],
) -> None:
    assert own_hours(recovery_of(episodes), 48, BEGAN) == []
