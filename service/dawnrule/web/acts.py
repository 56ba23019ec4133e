"""Who did what, and when? For the coach."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from flask import Response

from dawnrule.advice.acts import acts_of
from dawnrule.schemas.ledger import ActsQuerySchema, ActsSchema
from dawnrule.web.answers import json_answer
from dawnrule.web.incoming import Blueprint
from dawnrule.web.service import service

acts = Blueprint("acts", __name__, url_prefix="/v1", description="Who did what?")

_ONE_DAY = timedelta(days=1)


@acts.route("/acts")
@acts.arguments(ActsQuerySchema, location="query")
@acts.response(200, ActsSchema)
def list_acts(query: Mapping[str, Any]) -> Response:
    """Keys made and revoked, rule sets published and activated, athletes edited, plans set, replays
    started, data exported and erased: who did it and when, the newest first. None of them can be
    unsaid."""
    first, last, limit = query["first"], query["last"], query["limit"]
    start = _midnight(first) if first else None
    end = _midnight(last + _ONE_DAY) if last else None
    stored = service().store.read(
        lambda books: books.ledger.acts(
            start, end, query["act"], limit=limit + 1, before=query["after"]
        )
    )
    found = acts_of(stored[:limit])
    more = found[-1].position if len(stored) > limit else None
    return json_answer({"acts": [one.to_plain() for one in found], "next": more})


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time.min, UTC)
