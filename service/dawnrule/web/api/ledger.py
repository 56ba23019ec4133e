"""The ledger: its head, the proof of one advice, and the acts of people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from dawnrule.errors import NotFound
from dawnrule.schemas.ledger import (
    ActsQuerySchema,
    ActsSchema,
    HeadSchema,
    ProofQuerySchema,
    ProofSchema,
)
from dawnrule.store import Entry, Head, Transaction
from dawnrule.store.activity_log import Act, acts_of
from dawnrule.web.context import context
from dawnrule.web.http.authorization import may_see
from dawnrule.web.http.requests import Blueprint

acts = Blueprint("acts", __name__, url_prefix="/v1", description="Who did what?")

_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class ActPage:
    """Acts, newest first; ``next`` is the position to go on after, None at the end."""

    acts: Sequence[Act]
    next: int | None


@acts.route("/acts")
@acts.arguments(ActsQuerySchema, location="query", as_kwargs=True)
@acts.response(200, ActsSchema)
def list_acts(
    first: date | None, last: date | None, act: str | None, limit: int, after: int | None
) -> ActPage:
    """Keys made and revoked, rule sets published and activated, athletes edited, plans set, replays
    started, data exported and erased: who did it and when, the newest first. None of them can be
    unsaid."""
    start = _midnight(first) if first else None
    end = _midnight(last + _ONE_DAY) if last else None
    stored = context().store.read(
        lambda transaction: transaction.ledger.acts(start, end, act, limit=limit + 1, before=after)
    )
    found = acts_of(stored[:limit])
    more = found[-1].position if len(stored) > limit else None
    return ActPage(found, more)


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time.min, UTC)


ledger = Blueprint("ledger", __name__, url_prefix="/v1", description="Was anything changed since?")


@dataclass(frozen=True, slots=True)
class EntryPage:
    """The entries behind one position; ``next`` is the position to go on after, None at the
    end."""

    following: Sequence[Entry]
    next: int | None
    head: Head


@dataclass(frozen=True, slots=True)
class Proof:
    """A record, its salt and its entry, with the entries that follow."""

    record: str
    salt: str
    entry: Entry
    page: EntryPage


@ledger.route("/ledger/head")
@ledger.response(200, HeadSchema)
def get_head() -> Head:
    """The newest entry's position and fingerprint, to be kept elsewhere.

    Whoever keeps them can tell later if any entry up to there was changed, moved or taken away.
    """
    return context().store.read(lambda transaction: transaction.ledger.head())


@ledger.route("/advice/<advice_id>/proof")
@ledger.arguments(ProofQuerySchema, location="query", as_kwargs=True)
@ledger.response(200, ProofSchema)
@ledger.alt_response(404, "NOT_FOUND")
def get_proof(advice_id: str, after: int, to: int, limit: int) -> Proof:
    """An advice's record and entry, and the entries from there to the head.

    They say when something was entered and its fingerprint, and nothing of what it was. With a head
    from elsewhere, an outsider computes the fingerprints one after the other and must arrive at it.
    """

    def find(transaction: Transaction) -> Proof:
        stored, found = transaction.advice.get(advice_id), transaction.ledger.entry_of(advice_id)
        if stored is None or found is None or not may_see(stored.athlete_id):
            raise NotFound(f"There is no advice {advice_id!r}.")
        entry, salt = found
        page = _following(transaction, max(after, entry.position), to, limit)
        return Proof(stored.record, salt, entry, page)

    return context().store.read(find)


def _following(transaction: Transaction, after: int, to: int, limit: int) -> EntryPage:
    """Read the entries behind one position, up to another that is included."""
    head = transaction.ledger.head()
    end = min(to, head.position)
    entries = transaction.ledger.after(after, min(limit, max(end - after, 0)))
    last = entries[-1].position if entries else after
    return EntryPage(entries, last if last < end else None, head)
