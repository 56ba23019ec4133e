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
    """The plain values of a JSON body. Raises ``MalformedInput``, and what werkzeug raises for
    another media type (415) or too large a body (413)."""
    refuse_other_than(JSON)
    return read_json(request.get_data())


def refuse_other_than(*accepted: str) -> None:
    """Raises ``UnsupportedMediaType`` when the body says that it is none of these."""
    if request.mimetype not in accepted:
        came = request.mimetype or "a body without a Content-Type"
        raise UnsupportedMediaType(f"Send {' or '.join(accepted)}, not {came}.")


def refuse_compressed() -> None:
    """Raises ``UnsupportedMediaType`` for a body that would have to be unpacked: it may be small,
    and what comes out of it without end."""
    coding = request.headers.get("Content-Encoding", _AS_IT_IS)
    if coding.strip().lower() != _AS_IT_IS:
        raise UnsupportedMediaType("Send the body as it is, without Content-Encoding.")


class _StrictParser(FlaskParser):
    """Reads bodies strictly, refuses unknown queries too, and says faults in our own words."""

    DEFAULT_UNKNOWN_BY_LOCATION = FlaskParser.DEFAULT_UNKNOWN_BY_LOCATION | {"query": "raise"}

    def load_json(self, req: Request, schema: Any) -> Any:
        """The body; that of this request, which is the only one there is."""
        return json_body()

    def handle_error(self, error: Any, req: Request, schema: Any, **_: Any) -> NoReturn:
        """Raises ``InvalidInput``. webargs puts the location around the messages."""
        [messages] = error.messages.values()
        raise invalid_input(errors_at(messages, error.data)) from error


ATHLETE_ID = {
    "name": "athlete_id",
    "in": "path",
    "schema": AthleteId().json_schema(),
}
"""How the athlete's id in an address is described."""


class Blueprint(flask_smorest.Blueprint):
    """Views with the schemas that they take and give."""

    ARGUMENTS_PARSER = _StrictParser()
