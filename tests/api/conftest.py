"""Every answer that a test of the interface gets is held against the interface's description."""

from __future__ import annotations

from typing import Any

import pytest
from flask import Flask, Response, request
from jsonschema import Draft202012Validator

from dawnrule.web.openapi import document

NOT_DESCRIBED = {"pages", "static"}
"""What is for people, and therefore not described for programs."""


@pytest.fixture
def app(app: Flask) -> Flask:
    """The application, which fails a test when an answer is not as described."""
    description = document(app)

    def hold_against_description(response: Response) -> Response:
        if request.url_rule and request.url_rule.endpoint.partition(".")[0] not in NOT_DESCRIBED:
            refuse_undescribed(description, response)
        return response

    app.after_request_funcs.setdefault(None, []).insert(0, hold_against_description)
    return app


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
