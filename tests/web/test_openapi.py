"""The description of the interface, held against the interface."""

from __future__ import annotations

import pytest
import yaml
from flask import Flask
from openapi_spec_validator import validate

from dawnrule.i18n.resources import openapi_file
from dawnrule.web import openapi_yaml
from dawnrule.web.openapi import document
from tests.conftest import Client
from tests.described_answers import NOT_DESCRIBED


def test_the_committed_description_is_what_the_code_produces() -> None:
    committed = openapi_file().read_text(encoding="utf-8")
    assert committed == openapi_yaml(), "run: dawnrule openapi > openapi.yaml"


def test_the_description_is_openapi_3_1(app: Flask) -> None:
    description = document(app)
    assert description["openapi"].startswith("3.1.")
    validate(description)


def test_the_service_gives_its_description(client: Client) -> None:
    answer = client.get("/openapi.yaml")
    assert answer.mimetype == "application/yaml"
    assert yaml.load(answer.text, yaml.CSafeLoader) == yaml.load(openapi_yaml(), yaml.CSafeLoader)


def test_the_description_is_built_once_for_all_who_ask(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = client.get("/openapi.yaml").data
    monkeypatch.setattr("dawnrule.web.openapi.document", lambda app: pytest.fail("built again"))
    assert client.get("/openapi.yaml").data == first


def test_every_route_is_described(app: Flask) -> None:
    routes = {
        (rule.rule.replace("<", "{").replace(">", "}"), method.lower())
        for rule in app.url_map.iter_rules()
        if rule.endpoint.partition(".")[0] not in NOT_DESCRIBED
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }
    described = {
        (path, method)
        for path, operations in document(app)["paths"].items()
        for method in operations
        if method != "parameters"
    }
    assert described == routes


def test_every_operation_and_schema_is_said_in_words(app: Flask) -> None:
    description = document(app)
    for operations in description["paths"].values():
        for method, operation in operations.items():
            assert method == "parameters" or operation["summary"]
    for name, schema in description["components"]["schemas"].items():
        assert schema["description"], name


def test_ranges_come_from_the_fact_dictionary(app: Flask) -> None:
    schemas = document(app)["components"]["schemas"]
    hours = schemas["Sleep"]["properties"]["hours"]
    assert (hours["minimum"], hours["maximum"]) == (0, 24)
    soreness = schemas["CheckIn"]["properties"]["soreness"]
    assert "quadriceps" in soreness["propertyNames"]["enum"]
    assert soreness["additionalProperties"]["maximum"] == 10
