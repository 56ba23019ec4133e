"""What is stored of one person? Every row that is about them, kind by kind.

Hashes of keys and of private addresses are left out: they are no use to anybody but a thief.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

KINDS: Mapping[str, str] = {
    "athlete": """
        SELECT id AS athlete_id, name, time_zone, date_of_birth, training_status, language
        FROM athletes WHERE id = ?
    """,
    "check-ins": """
        SELECT id AS check_in_id, date, revision, received_at, posted_by, body AS check_in
        FROM check_ins WHERE athlete_id = ? ORDER BY date, revision
    """,
    "advice": """
        SELECT id AS advice_id, check_in_id, date, verdict, rule_id, rule_set_digest, decided_at,
               supersedes, advice_entries.position, salt, record
        FROM advice JOIN advice_entries ON advice_position = advice.position
        WHERE athlete_id = ? ORDER BY advice.position
    """,
    "shadow": """
        SELECT advice_id, digest AS rule_set_digest, shadow.verdict, shadow.rule_id
        FROM shadow_verdicts AS shadow JOIN advice ON advice.id = advice_id
        WHERE athlete_id = ? ORDER BY advice.position
    """,
    "replays": """
        SELECT replay_id, rule_set, rule_set_digest, asked_at, told.value AS found
        FROM replays JOIN replay_steps ON replay_id = replays.id, json_tree(result) AS told
        WHERE told.type = 'object' AND json_extract(told.value, '$.athlete_id') = ?
        ORDER BY asked_at, replay_id, replay_steps.first_date, told.id
    """,
    "sessions": """
        SELECT id AS session_id, starts_at, received_at, posted_by, body AS session
        FROM sessions WHERE athlete_id = ? ORDER BY starts_at, id
    """,
    "plans": """
        SELECT date, posted_at, posted_by, plan FROM plans WHERE athlete_id = ? ORDER BY date
    """,
    "rule-sets": """
        SELECT digest AS rule_set_digest, from_date, at, by, position, takes_back
        FROM activations WHERE athlete_id = ? ORDER BY position
    """,
    "keys": """
        SELECT id AS key_id, role, label, created_at, revoked_at
        FROM keys WHERE athlete_id = ? ORDER BY created_at, id
    """,
    "addresses": """
        SELECT id AS address_id, purpose, label, created_at, created_by, revoked_at, last_used_on
        FROM private_addresses WHERE athlete_id = ? ORDER BY created_at, id
    """,
    "acts": """
        SELECT position, body AS act FROM ledger
        WHERE act IS NOT NULL AND json_extract(body, '$.about.athlete_id') = ? ORDER BY position
    """,
}
"""What there is of a person, and how it is read."""

_JSON = frozenset({"check_in", "record", "session", "plan", "act", "found"})


@dataclass(frozen=True, slots=True)
class Person:
    """All that is stored of people."""

    connection: sqlite3.Connection

    def rows(self, kind: str, athlete_id: str) -> Iterator[dict[str, Any]]:
        """The rows of a kind out of ``KINDS`` about an athlete, as plain JSON values by column."""
        cursor = self.connection.execute(KINDS[kind], (athlete_id,))
        names = [column[0] for column in cursor.description]
        for row in cursor:
            yield {
                name: json.loads(value) if name in _JSON else value
                for name, value in zip(names, row, strict=True)
            }
