# What this project uses of flask-smorest, which ships no types.

from collections.abc import Callable, Mapping, Sequence
from typing import Any, ClassVar, TypeVar

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from flask import Blueprint as FlaskBlueprint
from flask import Flask
from marshmallow import Schema
from webargs.flaskparser import FlaskParser
from werkzeug.exceptions import HTTPException

_View = TypeVar("_View", bound=Callable[..., Any])
_AnySchema = Schema | type[Schema]

class Blueprint(FlaskBlueprint):
    ARGUMENTS_PARSER: FlaskParser
    def __init__(
        self, name: str, import_name: str, *, url_prefix: str | None = None, description: str = ""
    ) -> None: ...
    def route(
        self,
        rule: str,
        *,
        parameters: Sequence[Mapping[str, Any]] | None = None,
        tags: Sequence[str] | None = None,
        **options: Any,
    ) -> Callable[[_View], _View]: ...
    def arguments(
        self,
        schema: _AnySchema,
        *,
        location: str = "json",
        description: str | None = None,
        example: Mapping[str, Any] | None = None,
        as_kwargs: bool = False,
    ) -> Callable[[_View], _View]: ...
    def response(
        self,
        status_code: int,
        schema: _AnySchema | Mapping[str, Any] | None = None,
        *,
        content_type: str | None = None,
        description: str | None = None,
        example: Mapping[str, Any] | None = None,
        headers: Mapping[str, Any] | None = None,
    ) -> Callable[[_View], _View]: ...
    def alt_response(
        self,
        status_code: int,
        response: str | None = None,
        *,
        schema: _AnySchema | Mapping[str, Any] | None = None,
        content_type: str | None = None,
        description: str | None = None,
        headers: Mapping[str, Any] | None = None,
        success: bool = False,
    ) -> Callable[[_View], _View]: ...
    def doc(self, **kwargs: Any) -> Callable[[_View], _View]: ...
    description: str
    def register_views_in_doc(
        self,
        api: Api,
        app: Flask,
        spec: APISpec,
        *,
        name: str,
        parameters: Sequence[Mapping[str, Any]] | None,
    ) -> None: ...

class Api:
    _app: Flask
    ERROR_SCHEMA: ClassVar[type[Schema]]
    DEFAULT_RESPONSE_CONTENT_TYPE: ClassVar[str]
    spec: APISpec
    ma_plugin: MarshmallowPlugin
    def __init__(
        self, app: Flask | None = None, *, spec_kwargs: Mapping[str, Any] | None = None
    ) -> None: ...
    def register_blueprint(self, blp: Blueprint) -> None: ...
    def handle_http_exception(self, error: HTTPException) -> Any: ...
    def _register_responses(self) -> None: ...
    def _register_pagination_header(self) -> None: ...
