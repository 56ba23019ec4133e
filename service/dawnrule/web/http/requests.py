"""Request parsing: strict JSON, media types, query arguments."""

from __future__ import annotations

from typing import Any, NoReturn

import flask_smorest
from flask import Request, request
from webargs.flaskparser import FlaskParser
from werkzeug.exceptions import UnsupportedMediaType

from dawnrule.schemas.errors import errors_at, invalid_input
from dawnrule.schemas.fields import AthleteId
from dawnrule.schemas.json import read_json
from dawnrule.web.http.responses import JSON

_AS_IT_IS = "identity"


def json_body() -> Any:
    """Parse a JSON body. Raises ``MalformedInput``, ``UnsupportedMediaType`` (415) and
    ``RequestEntityTooLarge`` (413)."""
    refuse_other_than(JSON)
    return read_json(request.get_data())


def refuse_other_than(*accepted: str) -> None:
    """Raise ``UnsupportedMediaType`` unless the body is of one of these media types."""
    if request.mimetype not in accepted:
        came = request.mimetype or "a body without a Content-Type"
        raise UnsupportedMediaType(f"Send {' or '.join(accepted)}, not {came}.")


def refuse_compressed() -> None:
    """Raise ``UnsupportedMediaType`` for a compressed body: what it unpacks to has no bounds."""
    coding = request.headers.get("Content-Encoding", _AS_IT_IS)
    if coding.strip().lower() != _AS_IT_IS:
        raise UnsupportedMediaType("Send the body as it is, without Content-Encoding.")


class _StrictParser(FlaskParser):
    """A parser that refuses unknown query arguments and words errors our way."""

    DEFAULT_UNKNOWN_BY_LOCATION = FlaskParser.DEFAULT_UNKNOWN_BY_LOCATION | {"query": "raise"}

    def load_json(self, req: Request, schema: Any) -> Any:
        """Parse the body strictly."""
        return json_body()

    def handle_error(self, error: Any, req: Request, schema: Any, **_: Any) -> NoReturn:
        """Raise ``InvalidInput``. webargs wraps the messages in the location."""
        [messages] = error.messages.values()
        raise invalid_input(errors_at(messages, error.data)) from error


ATHLETE_ID = {
    "name": "athlete_id",
    "in": "path",
    "schema": AthleteId().json_schema(),
}
"""How the athlete's id in an address is described."""

DATE = {
    "name": "date",
    "in": "path",
    "description": "Where the athlete lives.",
    "schema": {"type": "string", "format": "date", "examples": ["2026-03-09"]},
}
"""How a local date in an address is described."""


class Blueprint(flask_smorest.Blueprint):
    """Views with the schemas that they take and give."""

    ARGUMENTS_PARSER = _StrictParser()
