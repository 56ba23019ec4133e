"""The activity log: acts of people, as entries of the ledger.

Acts stand in the same chain as advice, so none can be removed unnoticed. An act holds ids and names
of things, never what somebody reported and never a person's name.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Self

from dawnrule.model.serialization import from_json
from dawnrule.store import StoredAct, Transaction

COMMAND_LINE = "command-line"
"""The actor when no key is used: whoever can open the database."""

SERVICE = "service"
"""The actor when the service does something by itself."""

ATHLETE_ERASED = "athlete-erased"

BACKUP_RESTORED = "backup-restored"
"""The act of a restore that was told what its back-up did not know; ``about`` has that:
``erasures``, as pairs of a salt and a digest, ``folders`` that mornings were exported to, one a
line, and ``erased_names``, by which archives know who was erased."""

RETENTION_APPLIED = "retention-applied"

TOMBSTONES = frozenset({ATHLETE_ERASED, RETENTION_APPLIED})
"""The acts that account for deleted advice; ``about`` has the positions of its entries."""

CONCERN_ACTS = "concern-"
"""How the acts begin that vouch for an event of a concern; ``about`` has the event's digest."""

_ACT = re.compile(r"[a-z]+(-[a-z]+)*")


@dataclass(frozen=True, slots=True)
class Act:
    """An act and its entry's position. ``by`` is the id of a key, or ``command-line``, or
    ``service``; ``at`` is UTC text."""

    position: int
    act: str
    by: str
    at: str
    about: Mapping[str, str]

    @classmethod
    def of(cls, stored: StoredAct) -> Self:
        """Read a stored act."""
        body = json.loads(stored.body)
        body.pop("salt", None)  # acts of before had none
        return from_json(cls, body | {"position": stored.position})


def record_act(
    transaction: Transaction, act: str, *, by: str, at: datetime, about: Mapping[str, str]
) -> int:
    """Add an act to the ledger, in the transaction of the change itself; return its position.

    ``act`` is a few words like ``key-made``; ``by`` is the id of a key or one of the names above;
    ``about`` names the things concerned, by id. Raises ``ValueError`` for other characters in
    ``act``.
    """
    if not _ACT.fullmatch(act):
        raise ValueError(f"an act is named in small letters and hyphens, not {act!r}")
    moment = at.astimezone(UTC).isoformat()
    body = {"act": act, "by": by, "at": moment, "about": dict(about)}
    return transaction.ledger.add_act(act, body, at)


def acts_of(stored: Iterable[StoredAct]) -> list[Act]:
    """Read stored acts."""
    return list(map(Act.of, stored))


def said_in(body: str, name: str) -> str:
    """Read what the body of an act says about something; empty where it says nothing, or was
    tampered with."""
    try:
        about = json.loads(body)["about"][name]
    except (KeyError, TypeError, ValueError):
        return ""
    return about if isinstance(about, str) else ""


def erasures_told_in(body: str) -> dict[str, str]:
    """Read the erasures that a restore was told of: digests by their salts."""
    pairs = (pair.partition(":") for pair in said_in(body, "erasures").split())
    return {salt: digest for salt, _, digest in pairs}
