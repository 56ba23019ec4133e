"""Queries against the engine: the same decisions, whatever the rules and the facts."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dawnrule.analytics.cross_check import decided_by_engine
from tests.effort import tries
from tests.property.rule_strategies import rule_sets
from tests.property.test_columns_agree import several_mornings, table_of
from tests.property.test_two_evaluations_agree import decider_of
from tests.rules.warehouses import by_duckdb


@settings(max_examples=tries(25, 300), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_queries_and_the_engine_never_differ(data: st.DataObject) -> None:
    rule_set = data.draw(rule_sets(rules_at_most=6))
    mornings = list(table_of(data.draw(several_mornings(rule_set))).mornings())
    with TemporaryDirectory() as folder, closing(decider_of(rule_set)) as decider:
        decided = by_duckdb(mornings, rule_set, Path(folder))
        for morning in mornings:
            who, parts = morning.athlete_id, (None, *range(len(morning.parts)))
            assert tuple(decided[who, part] for part in parts) == decided_by_engine(
                decider, morning
            )
