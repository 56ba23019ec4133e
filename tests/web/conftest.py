"""Every answer that a test of the interface gets is held against the interface's description."""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask import Flask, Response, request
from jsonschema import Draft202012Validator

from dawnrule.web.openapi import document
from tests.conftest import Client

NOT_DESCRIBED = {"coach", "pages", "phone", "static"}
"""What is for people, and therefore not described for programs."""


@pytest.fixture(scope="session")
def description() -> dict[str, Any]:
    """The interface's description, once there is an application: it is the same of each."""
    return {}


@pytest.fixture
def app(app: Flask, description: dict[str, Any]) -> Flask:
    """The application, which fails a test when an answer is not as described."""
    if not description:
        description |= document(app)

    def hold_against_description(response: Response) -> Response:
        if request.url_rule and request.url_rule.endpoint.partition(".")[0] not in NOT_DESCRIBED:
            refuse_undescribed(description, response)
        return response

    app.after_request_funcs.setdefault(None, []).insert(0, hold_against_description)
    return app


@pytest.fixture
def coach_browser(app: Flask, coach_key: str, squad: object) -> Client:
    """A browser that a coach has signed in with, through the form."""
    browser: Client = app.test_client()
    page = browser.get("/coach/sign-in").text
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)
    assert token is not None
    browser.post("/coach/sign-in", data={"csrf_token": token[1], "key": coach_key})
    return browser


def refuse_undescribed(description: dict[str, Any], response: Response) -> None:
    assert request.url_rule is not None
    path = request.url_rule.rule.replace("<", "{").replace(">", "}")
    if request.method in ("HEAD", "OPTIONS"):
        return
    responses = description["paths"][path][request.method.lower()]["responses"]
    described = responses.get(str(response.status_code), responses["default"])
    if "$ref" in described:
        described = description["components"]["responses"][described["$ref"].rpartition("/")[2]]
    if "content" not in described:
        assert not response.data
        return
    assert response.mimetype in described["content"], f"{response.mimetype} is not described"
    if response.is_json:
        schema = described["content"][response.mimetype]["schema"]
        whole = schema | {"components": description["components"]}
        Draft202012Validator(whole).validate(response.get_json())
