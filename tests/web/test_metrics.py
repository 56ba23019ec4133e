"""Metrics: what is counted and measured, without a word on anybody."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import pytest
from flask import Flask
from prometheus_client import Metric
from prometheus_client.openmetrics import parser as openmetrics
from prometheus_client.parser import text_string_to_metric_families

from dawnrule.advice.advisor import AdvisedMorning
from dawnrule.model import Verdict
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.settings import Settings
from dawnrule.web.context import Context
from dawnrule.web.observability import RULES_BY_NAME, Metrics
from tests.conftest import Client
from tests.factories import EXAMPLE, changed

Samples = dict[tuple[str, tuple[tuple[str, str], ...]], float]


def samples_of(text: str) -> Samples:
    """Every sample by its name and its labels, read as Prometheus reads them."""
    return {
        (sample.name, tuple(sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def value(client: Client, name: str, **labels: str) -> float:
    samples = samples_of(client.get("/metrics").text)
    return samples[name, tuple(sorted(labels.items()))]


def test_verdicts_are_counted_when_they_are_stored(coach: Client) -> None:
    assert value(coach, "dawnrule_verdicts_total", verdict="rest") == 0
    posted = coach.post("/v1/check-ins", json=EXAMPLE).json
    coach.post("/v1/check-ins", json=EXAMPLE)
    assert value(coach, "dawnrule_verdicts_total", verdict=posted["verdict"]) == 1
    assert value(coach, "dawnrule_rules_fired_total", rule=posted["rule"]["id"]) == 1


def test_a_question_of_what_if_counts_nothing(coach: Client) -> None:
    asked = coach.post("/v1/evaluations", json={"check_in": EXAMPLE})
    assert asked.status_code == 200
    counted = samples_of(coach.get("/metrics").text)
    assert {v for (name, _), v in counted.items() if name == "dawnrule_verdicts_total"} == {0}


def test_requests_are_measured_by_route_and_class_of_status(coach: Client) -> None:
    coach.get("/v1/athletes/a-03")
    coach.get("/v1/athletes/a-99")
    coach.get("/no/such/page")

    def count(route: str, status: str) -> float:
        return value(
            coach, "dawnrule_request_seconds_count", route=route, method="GET", status=status
        )

    assert count("/v1/athletes/<athlete_id>", "2xx") == 1
    assert count("/v1/athletes/<athlete_id>", "4xx") == 1
    assert count("none", "4xx") == 1


def test_a_disagreement_of_the_evaluations_is_counted(
    coach: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert value(coach, "dawnrule_engine_disagreements_total") == 0
    with monkeypatch.context() as broken:
        broken.setattr(Decider, "fired_by_evaluator", lambda *_: ())
        assert coach.post("/v1/check-ins", json=EXAMPLE).status_code == 500
    assert value(coach, "dawnrule_engine_disagreements_total") == 1


def test_the_ledger_and_the_queue_are_measured_when_asked(coach: Client) -> None:
    before = value(coach, "dawnrule_ledger_position")
    coach.post("/v1/check-ins", json=EXAMPLE)
    its_advice_its_rows_and_the_concern_of_its_pain = 3
    after = value(coach, "dawnrule_ledger_position")
    assert after == before + its_advice_its_rows_and_the_concern_of_its_pain
    assert value(coach, "dawnrule_writes_waiting") == 0


def test_backups_are_told(app: Flask, coach: Client) -> None:
    metrics = Context.of(app).metrics
    metrics.backed_up(1_773_034_200)
    metrics.backup_failed()
    assert value(coach, "dawnrule_last_backup_timestamp_seconds") == 1_773_034_200
    assert value(coach, "dawnrule_backups_failed_total") == 1


def test_nothing_is_told_of_anybody(coach: Client) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE)
    coach.get("/v1/athletes/a-03/advice/today?format=txt")
    coach.open("/v1/athletes/a-03", method="LEFTKNEE")
    told = coach.get("/metrics").text
    for word in ("a-03", "Mara", "left knee", "format", "LEFTKNEE", "key-"):
        assert word not in told
    assert 'method="other"' in told


def test_the_names_of_rules_are_bounded(app: Flask) -> None:
    metrics = Context.of(app).metrics
    for number in range(RULES_BY_NAME + 20):
        metrics.stored(fired(f"rule-{number}"))
    text = metrics.exposition("")[0].decode()
    counted = {
        dict(labels)["rule"]: value
        for (name, labels), value in samples_of(text).items()
        if name == "dawnrule_rules_fired_total"
    }
    assert len(counted) == RULES_BY_NAME + 1
    assert counted["other"] == 20


def fired(rule_id: str) -> AdvisedMorning:
    day = SimpleNamespace(fired=(SimpleNamespace(id=rule_id),))
    decision = SimpleNamespace(verdict=Verdict.REST, day=day, parts=())
    return cast(AdvisedMorning, SimpleNamespace(decision=decision))


def test_openmetrics_is_spoken_with_whoever_asks_for_it(coach: Client) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE)
    metrics, content_type = Context.of(cast(Any, coach).application).metrics.exposition(
        "application/openmetrics-text; version=1.0.0"
    )
    assert content_type.startswith("application/openmetrics-text; version=1.0.0")
    parse: Callable[[str], Iterable[Metric]] = openmetrics.text_string_to_metric_families
    assert "dawnrule_verdicts" in {family.name for family in parse(metrics.decode())}


def test_each_application_counts_for_itself(app: Flask, coach: Client) -> None:
    other = Metrics(Context.of(app).store)
    coach.post("/v1/check-ins", json=changed("/date", "2026-03-08"))
    text = other.exposition("")[0].decode()
    other.close()
    assert "dawnrule_rules_fired_total{" not in text


class TestOpened:
    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        return replace(settings, metrics_open=True)

    def test_it_can_be_opened_to_those_without_a_key(self, client: Client) -> None:
        assert client.get("/metrics").status_code == 200
        assert client.get("/v1/athletes").status_code == 401
