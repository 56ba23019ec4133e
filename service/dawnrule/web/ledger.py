"""What is the newest entry of the ledger, and how can an outsider check one advice?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from flask import Response

from dawnrule.errors import NotFound
from dawnrule.schemas.ledger import HeadSchema, ProofQuerySchema, ProofSchema
from dawnrule.store import Books, Entry
from dawnrule.web.access import may_see
from dawnrule.web.answers import json_answer
from dawnrule.web.incoming import Blueprint
from dawnrule.web.service import service

ledger = Blueprint("ledger", __name__, url_prefix="/v1", description="Was anything changed since?")

_FOLLOWING = ("position", "kind", "at", "record_digest")


@ledger.route("/ledger/head")
@ledger.response(200, HeadSchema)
def get_head() -> Response:
    """The newest entry's position and digest, to be kept elsewhere.

    Whoever keeps them can tell later if any entry up to there was changed, moved or taken away.
    """
    return json_answer(asdict(service().store.read(lambda books: books.ledger.head())))


@ledger.route("/advice/<advice_id>/proof")
@ledger.arguments(ProofQuerySchema, location="query")
@ledger.response(200, ProofSchema)
@ledger.alt_response(404, "NOT_FOUND")
def get_proof(query: Mapping[str, Any], advice_id: str) -> Response:
    """An advice's record and entry, and the entries from there to the head.

    They tell when something was entered and its digest, and nothing of what it was. With a head
    from elsewhere, an outsider computes the digests one after the other and must arrive at it.
    """

    def find(books: Books) -> dict[str, Any]:
        stored, found = books.advice.get(advice_id), books.ledger.entry_of(advice_id)
        if stored is None or found is None or not may_see(stored.athlete_id):
            raise NotFound(f"There is no advice {advice_id!r}.")
        entry, salt = found
        return {
            "record": stored.record,
            "salt": salt,
            "entry": asdict(entry),
            **_page(books, max(query["after"], entry.position), query["to"], query["limit"]),
        }

    return json_answer(service().store.read(find))


def _page(books: Books, after: int, to: int, limit: int) -> dict[str, Any]:
    """The entries behind one position, up to another that is included."""
    head = books.ledger.head()
    end = min(to, head.position)
    entries = books.ledger.after(after, min(limit, max(end - after, 0)))
    last = entries[-1].position if entries else after
    return {
        "following": list(map(_following, entries)),
        "next": last if last < end else None,
        "head": asdict(head),
    }


def _following(entry: Entry) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in _FOLLOWING}
