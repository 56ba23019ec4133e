"""What is the interface? The description falls out of the schemas and the views."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from threading import Lock
from typing import Any

import flask_smorest
import yaml
from apispec import BasePlugin
from flask import Flask, Response
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
    """Registers views with the application, and with the description once that is asked for: it
    takes most of the time that making an application takes."""

    ERROR_SCHEMA = ProblemSchema

    def __init__(self, app: Flask, *, spec_kwargs: Mapping[str, Any]) -> None:
        self._undescribed: list[flask_smorest.Blueprint] = []
        self._describing = Lock()
        super().__init__(app, spec_kwargs=spec_kwargs)

    def register_blueprint(self, blp: flask_smorest.Blueprint) -> None:
        """Register its views; they are not described yet."""
        self._app.extensions["flask-smorest"]["blp_name_to_api"][blp.name] = self
        self._app.register_blueprint(blp)
        self._undescribed.append(blp)

    def describe(self) -> None:
        """Describe what is not described yet."""
        with self._describing:
            for blp in self._undescribed:
                blp.register_views_in_doc(
                    self, self._app, self.spec, name=blp.name, parameters=None
                )
                self.spec.tag({"name": blp.name, "description": blp.description})
            self._undescribed.clear()

    def handle_http_exception(self, error: HTTPException) -> Response:
        """As problem details."""
        return answer_http_error(error)

    def _register_responses(self) -> None:
        """Errors are described as problem details, by our names for them."""
        self._error_response("DEFAULT_ERROR", "Any other error.")
        for name, description in _ERROR_RESPONSES.values():
            self._error_response(name, description)

    def _register_pagination_header(self) -> None:
        """There are no pages here, so none are described."""

    def _error_response(self, name: str, description: str) -> None:
        content = {PROBLEM_JSON: {"schema": ProblemSchema}}
        self.spec.components.response(
            name, {"description": description, "content": content}, lazy=True
        )


class _AccessPlugin(BasePlugin):
    """Describes who may call an operation, from the same table that decides it."""

    def operation_helper(
        self, path: str | None = None, operations: dict[Any, Any] | None = None, **given: Any
    ) -> None:
        endpoint = given["rule"].endpoint
        for operation in (operations or {}).values():
            operation["operationId"] = endpoint.rpartition(".")[2]
            if "description" in operation:
                operation["description"] = _folded(operation["description"])
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
    """By status; flask-smorest's names for errors, which differ between versions of Python, give
    way to ours."""
    for status in sorted(responses, key=str):
        named = isinstance(responses[status], str) and status in _ERROR_RESPONSES
        yield status, _ERROR_RESPONSES[status][0] if named else responses[status]


def _folded(text: str) -> str:
    """Text that was broken into lines for the source, in one line."""
    return " ".join(text.split())


def api_for(app: Flask) -> Api:
    """The description of an application, with nothing described yet."""
    app.config |= {"API_TITLE": "Dawnrule", "API_VERSION": dawnrule.__version__}
    app.config["OPENAPI_VERSION"] = "3.1.0"
    api = Api(app, spec_kwargs={"extra_plugins": [_AccessPlugin()], **_spec_options()})
    _converter(api).add_attribute_function(_described_by_itself)
    api.spec.components.security_scheme("key", {"type": "http", "scheme": "bearer"})
    app.extensions[_EXTENSION] = api
    return api


def document(app: Flask) -> dict[str, Any]:
    """The OpenAPI document of an application, as plain JSON values."""
    api: Api = app.extensions[_EXTENSION]
    api.describe()
    plain: dict[str, Any] = json.loads(json.dumps(api.spec.to_dict()))
    for key, name in _converter(api).refs.items():
        plain["components"]["schemas"][name]["description"] = _folded(key[0].__doc__)
    return {part: plain.pop(part) for part in _FIRST_PARTS} | plain


def document_yaml(app: Flask) -> str:
    """The OpenAPI document of an application as YAML text; built when it is first asked for, as
    an application that answers takes no further views."""
    known: str | None = app.extensions.get(_YAML_EXTENSION)
    if known is None:
        known = app.extensions[_YAML_EXTENSION] = yaml.dump(
            document(app), Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=_LINE_WIDTH
        )
    return known


class _Dumper(yaml.SafeDumper):
    """Writes text of several lines as it is read."""


def _text(dumper: _Dumper, text: str) -> yaml.ScalarNode:
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, "|" if "\n" in text else None)


_Dumper.add_representer(str, _text)


def _converter(api: Api) -> Any:
    """apispec's converter from schemas to JSON Schema; it is made when the API is set up."""
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


def _described_by_itself(self: Any, field: Any, **_: Any) -> dict[str, Any]:
    """What a strict field says of itself and of what it holds, where the schema that it stands in
    says nothing else; ``self`` is apispec's converter."""
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
