"""A short season: sixty days of fourteen athletes; ``python -m tests.season`` simulates a year."""

from __future__ import annotations

from datetime import date
from functools import cache

import pytest

from tests.season.kinds import KINDS
from tests.season.squad import Simulated, simulate, table


@cache
def short_season() -> Simulated:
    return simulate(athletes=2 * len(KINDS), days=60, seed=3)


def test_nothing_leads_from_an_open_warning_sign_to_training_without_a_clearance() -> None:
    """Nor from fever, illness below the neck or pain that was not answered since."""
    season = short_season()
    assert season.broken() == []
    assert season.seen()["illness"] > 0
    assert season.seen()["pain"] > 0
    assert season.seen()["order"] > 0
    assert season.seen()["slip confirmed"] > 0
    assert any(sign in season.seen() for sign in ("chest-pain", "fainting", "dark-urine"))


def test_nobody_trains_in_dangerous_heat() -> None:
    """The short season is one of winter."""
    summer = simulate(athletes=len(KINDS), days=30, seed=5, first=date(2026, 7, 15))
    assert summer.broken() == []
    assert summer.seen()["heat"] > 0


def test_the_same_seed_gives_the_same_season() -> None:
    """A day on which a promise was not kept can be looked at again."""
    once, again = (simulate(len(KINDS), days=20, seed=7) for _ in range(2))
    assert once.shares() == again.shares()


@pytest.mark.parametrize("kind", [kind.name for kind in KINDS])
def test_no_kind_of_athlete_is_rested_or_swapped_most_days(kind: str) -> None:
    """A rule set that rests everybody is safe, and of no use."""
    counts = short_season().shares()[kind]
    planned = sum(counts.values()) - counts["day off"]
    assert counts["train-as-planned"] > planned / 3
    assert counts["rest"] < planned / 2


def test_the_table_has_a_row_for_each_kind_and_one_for_all() -> None:
    """Each row tells the shares of its days with a plan."""
    lines = list(table(short_season().shares()))
    assert len(lines) == len(KINDS) + 2
    assert all(line.count("%") == 3 for line in lines[1:])
