"""OpenAPI description, made from the schemas, the views and the access table."""

from __future__ import annotations

import json
from collections.abc import Iterator
from threading import Lock
from typing import Any

import flask_smorest
import yaml
from apispec import BasePlugin
from flask import Flask, Response
from flask_smorest import Blueprint
from werkzeug.exceptions import HTTPException

import dawnrule
from dawnrule.schemas.base import ByName, ListOf, StrictField
from dawnrule.schemas.errors import ProblemSchema
from dawnrule.web.http.authorization import ACCESS, Access
from dawnrule.web.http.problems import PROBLEM_JSON, answer_http_error

_SUMMARY = "Is what is planned today worth doing today, and if not, what instead?"
_DESCRIPTION = """\
Each morning an athlete checks in; the answer is advice: train as planned, swap to low-damage work,
or rest, with the rule that decided, its numbers, its source and a caution.

Send a key as `Authorization: Bearer <key>`. A coach's key may do everything; a poster's key posts
check-ins and sessions and reads advice; an athlete's key sees that athlete only.

Errors are problem details (RFC 9457). Numbers are numbers (`4`, never `"4"`), dates are
`2026-03-09`, times carry their offset from UTC. What was not reported is left out.

503 with Retry-After means that the store was busy for longer than a request waits, as it can be
while the files are written anew after an erasure. Nothing was stored: send the same again after as
many seconds.

The advice is no medical advice and never a diagnosis.
"""
_ERROR_RESPONSES = {
    401: ("UNAUTHORIZED", "No key, or one that is not known."),
    403: ("FORBIDDEN", "The key's role may not do this."),
    404: ("NOT_FOUND", "No such thing, or none that this key may know of."),
    422: ("INVALID_INPUT", "Some fields cannot be accepted; each is named."),
}
_ERRORS_OF_ACCESS = (401, 403)
_EXTENSION = "dawnrule-api"
_YAML_EXTENSION = "dawnrule-openapi-yaml"
_FIRST_PARTS = ("openapi", "info", "servers", "security", "tags")
_LINE_WIDTH = 100


class Api(flask_smorest.Api):
    """The views of an application and their description; errors are problem details.

    The views are described when somebody asks: that takes as long as all else that an application
    does when it starts. Safe to use from several threads.
    """

    ERROR_SCHEMA = ProblemSchema

    def __init__(self, app: Flask, **given: Any) -> None:
        super().__init__(app, **given)
        self._undescribed: list[Blueprint] = []
        self._lock = Lock()

    def register_blueprint(self, blp: Blueprint) -> None:
        """Register the routes of a blueprint."""
        self._app.register_blueprint(blp)
        self._undescribed.append(blp)

    def describe(self) -> dict[str, Any]:
        """Describe all views; what was described is kept."""
        with self._lock:
            for one in self._undescribed:
                one.register_views_in_doc(
                    self, self._app, self.spec, name=one.name, parameters=None
                )
                self.spec.tag({"name": one.name, "description": one.description})
            self._undescribed.clear()
            described: dict[str, Any] = self.spec.to_dict()
        return described

    def handle_http_exception(self, error: HTTPException) -> Response:
        """Answer an error of Flask or werkzeug."""
        return answer_http_error(error)


class _AccessPlugin(BasePlugin):
    """Access to each operation, from the table that is enforced."""

    def operation_helper(
        self, path: str | None = None, operations: dict[Any, Any] | None = None, **given: Any
    ) -> None:
        endpoint = given["rule"].endpoint
        for operation in (operations or {}).values():
            operation["operationId"] = endpoint.rpartition(".")[2]
            if "description" in operation:
                operation["description"] = _one_line(operation["description"])
            _describe_access(operation, ACCESS[endpoint])
            operation["responses"] = dict(_responses(operation["responses"]))


def _describe_access(operation: dict[str, Any], access: Access) -> None:
    if not isinstance(access, frozenset):
        operation["security"] = []
        return
    operation["x-roles"] = sorted(access)
    for status in _ERRORS_OF_ACCESS:
        operation["responses"][status] = _ERROR_RESPONSES[status][0]


def _responses(responses: dict[Any, Any]) -> Iterator[tuple[Any, Any]]:
    """Sort responses by status, with our names for errors: flask-smorest's differ between versions
    of Python."""
    for status in sorted(responses, key=str):
        named = isinstance(responses[status], str) and status in _ERROR_RESPONSES
        yield status, _ERROR_RESPONSES[status][0] if named else responses[status]


def _one_line(text: str) -> str:
    """Join text that is broken into lines in the source."""
    return " ".join(text.split())


def api_for(app: Flask) -> Api:
    """Prepare the description of an application: of each blueprint that is registered with it."""
    app.config |= {"API_TITLE": "Dawnrule", "API_VERSION": dawnrule.__version__}
    app.config["OPENAPI_VERSION"] = "3.1.0"
    api = Api(app, spec_kwargs={"extra_plugins": [_AccessPlugin()], **_spec_options()})
    _converter(api).add_attribute_function(_strict_field)
    api.spec.components.security_scheme("key", {"type": "http", "scheme": "bearer"})
    _describe_errors(api)
    app.extensions[_EXTENSION] = api
    return api


def _describe_errors(api: Api) -> None:
    """Replace flask-smorest's descriptions of errors, which are in JSON, by problem details."""
    content = {PROBLEM_JSON: {"schema": ProblemSchema}}
    for name, description in (("DEFAULT_ERROR", "Any other error."), *_ERROR_RESPONSES.values()):
        response = {"description": description, "content": content}
        api.spec.components.response(name, response, lazy=True)


def document(app: Flask) -> dict[str, Any]:
    """Build the OpenAPI document of an application, as plain JSON values."""
    api: Api = app.extensions[_EXTENSION]
    plain: dict[str, Any] = json.loads(json.dumps(api.describe()))
    schemas = plain["components"]["schemas"]
    for key, name in _converter(api).refs.items():
        schemas[name]["description"] = _one_line(key[0].__doc__)
    del schemas["PaginationMetadata"]  # flask-smorest describes it even where nothing uses it
    return {part: plain.pop(part) for part in _FIRST_PARTS} | plain


def document_yaml(app: Flask) -> str:
    """Build the OpenAPI document of an application as YAML text, once."""
    text: str | None = app.extensions.get(_YAML_EXTENSION)
    if text is None:
        text = app.extensions[_YAML_EXTENSION] = yaml.dump(
            document(app), Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=_LINE_WIDTH
        )
    return text


class _Dumper(yaml.CSafeDumper):
    """YAML with text of several lines as blocks."""


def _text(dumper: _Dumper, text: str) -> yaml.ScalarNode:
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, "|" if "\n" in text else None)


_Dumper.add_representer(str, _text)


def _converter(api: Api) -> Any:
    """Return apispec's converter from schemas to JSON Schema."""
    return api.ma_plugin.converter


def _spec_options() -> dict[str, Any]:
    return {
        "info": {
            "summary": _SUMMARY,
            "description": _DESCRIPTION,
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "servers": [{"url": "/", "description": "This service."}],
        "security": [{"key": []}],
    }


def _strict_field(self: Any, field: Any, **_: Any) -> dict[str, Any]:
    """Describe a strict field and its items in JSON Schema; metadata of the field takes
    precedence. ``self`` is apispec's converter."""
    if not isinstance(field, StrictField):
        return {}
    schema: dict[str, Any] = field.json_schema() | dict(field.metadata)
    if field.allow_none:
        schema["type"] = [schema["type"], "null"]
    if isinstance(field, ListOf):
        schema["items"] = self.field2property(field.item)
    if isinstance(field, ByName):
        schema["additionalProperties"] = self.field2property(field.item)
    return schema
