"""What is the newest entry of the ledger, and how can an outsider check one advice?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from flask import Response

from dawnrule.errors import NotFound
from dawnrule.schemas.ledger import (
    ActsQuerySchema,
    ActsSchema,
    HeadSchema,
    ProofQuerySchema,
    ProofSchema,
)
from dawnrule.store import Entry, Transaction
from dawnrule.store.activity_log import acts_of
from dawnrule.web.context import context
from dawnrule.web.http.authorization import may_see
from dawnrule.web.http.requests import Blueprint
from dawnrule.web.http.responses import json_answer

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
    stored = context().store.read(
        lambda transaction: transaction.ledger.acts(
            start, end, query["act"], limit=limit + 1, before=query["after"]
        )
    )
    found = acts_of(stored[:limit])
    more = found[-1].position if len(stored) > limit else None
    return json_answer({"acts": [one.to_json() for one in found], "next": more})


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time.min, UTC)


ledger = Blueprint("ledger", __name__, url_prefix="/v1", description="Was anything changed since?")

_FOLLOWING = ("position", "kind", "at", "record_digest")


@ledger.route("/ledger/head")
@ledger.response(200, HeadSchema)
def get_head() -> Response:
    """The newest entry's position and digest, to be kept elsewhere.

    Whoever keeps them can tell later if any entry up to there was changed, moved or taken away.
    """
    return json_answer(asdict(context().store.read(lambda transaction: transaction.ledger.head())))


@ledger.route("/advice/<advice_id>/proof")
@ledger.arguments(ProofQuerySchema, location="query")
@ledger.response(200, ProofSchema)
@ledger.alt_response(404, "NOT_FOUND")
def get_proof(query: Mapping[str, Any], advice_id: str) -> Response:
    """An advice's record and entry, and the entries from there to the head.

    They tell when something was entered and its digest, and nothing of what it was. With a head
    from elsewhere, an outsider computes the digests one after the other and must arrive at it.
    """

    def find(transaction: Transaction) -> dict[str, Any]:
        stored, found = transaction.advice.get(advice_id), transaction.ledger.entry_of(advice_id)
        if stored is None or found is None or not may_see(stored.athlete_id):
            raise NotFound(f"There is no advice {advice_id!r}.")
        entry, salt = found
        return {
            "record": stored.record,
            "salt": salt,
            "entry": asdict(entry),
            **_page(transaction, max(query["after"], entry.position), query["to"], query["limit"]),
        }

    return json_answer(context().store.read(find))


def _page(transaction: Transaction, after: int, to: int, limit: int) -> dict[str, Any]:
    """The entries behind one position, up to another that is included."""
    head = transaction.ledger.head()
    end = min(to, head.position)
    entries = transaction.ledger.after(after, min(limit, max(end - after, 0)))
    last = entries[-1].position if entries else after
    return {
        "following": list(map(_following, entries)),
        "next": last if last < end else None,
        "head": asdict(head),
    }


def _following(entry: Entry) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in _FOLLOWING}
