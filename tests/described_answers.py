"""Answers of the interface, held against its description."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flask import Flask, Response, request
from jsonschema_rs import Draft202012Validator

from dawnrule.web.openapi import document

NOT_DESCRIBED = {"coach", "pages", "private", "static"}
"""Endpoints for people, which are not described for programs."""


@dataclass(frozen=True)
class Description:
    """The OpenAPI document of the interface. Validators are kept: thousands of answers are held
    against them."""

    document: Mapping[str, Any]
    _validators: dict[tuple[object, ...], Draft202012Validator] = field(default_factory=dict)

    @classmethod
    def of(cls, app: Flask) -> Description:
        return cls(document(app))

    def watch(self, app: Flask) -> None:
        """Fail whichever test gets an answer that is not as described."""
        app.after_request_funcs.setdefault(None, []).insert(0, self._check)

    def _check(self, response: Response) -> Response:
        if request.url_rule and request.url_rule.endpoint.partition(".")[0] not in NOT_DESCRIBED:
            self._refuse_undescribed(request.url_rule.rule, response)
        return response

    def _refuse_undescribed(self, rule: str, response: Response) -> None:
        if request.method in ("HEAD", "OPTIONS"):
            return
        path = re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule)
        responses = self.document["paths"][path][request.method.lower()]["responses"]
        status = str(response.status_code) if str(response.status_code) in responses else "default"
        described = responses[status]
        if "$ref" in described:
            name = described["$ref"].rpartition("/")[2]
            described = self.document["components"]["responses"][name]
        if "content" not in described:
            assert not response.data
            return
        assert response.mimetype in described["content"], f"{response.mimetype} is not described"
        if response.is_json:
            answer = (path, request.method, status, response.mimetype)
            if answer not in self._validators:
                schema = described["content"][response.mimetype]["schema"]
                self._validators[answer] = self._validator_of(schema)
            self._validators[answer].validate(response.get_json())

    def _validator_of(self, schema: Mapping[str, Any]) -> Draft202012Validator:
        return Draft202012Validator({**schema, "components": self.document["components"]})
