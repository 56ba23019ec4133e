"""The database: the only package that speaks SQL. It knows nothing of rules.

Reading order:

- ``database``: ``Store``: open, read, write, close.
- ``transaction``: ``Transaction``: one object per table over one connection.
- ``tables``: one module per table, with its schema, triggers, indexes and queries.
- ``values``: times, dates and JSON as text, rows as dataclasses and back.
- ``writer``: a single thread that commits for all, in groups. ``reader_pool``: read-only
  connections. ``connection``: settings of a connection, and names for SQLite's errors.
- ``traces``: whether bytes of deleted rows may be left in the files.
- ``migrations``: the schema, step by step. ``new_database``: all of it at once.
- ``backup``: copies of a database file; ``drafts``: those that are not finished.
- ``activity_log``: acts of people, written to the ledger.
"""

from dawnrule.store.database import Readable, Store, opened_to_read
from dawnrule.store.tables.advice import StoredAdvice
from dawnrule.store.tables.check_ins import RecoveryAnswers, StoredCheckIn
from dawnrule.store.tables.groups import Group
from dawnrule.store.tables.introduced_sheets import IntroducedSheet, id_of
from dawnrule.store.tables.keys import Key, Role, hash_key, new_key
from dawnrule.store.tables.ledger import Entry, Head, StoredAct, Walked
from dawnrule.store.tables.plans import StoredPlan
from dawnrule.store.tables.private_addresses import PrivateAddress, Purpose, hash_token, new_token
from dawnrule.store.tables.replays import ReplayState, ReplayStep, StoredReplay
from dawnrule.store.tables.rule_sets import Activation, StoredRuleSet
from dawnrule.store.tables.sessions import StoredSession
from dawnrule.store.tables.shadow import Candidate, ShadowCount, ShadowDifference
from dawnrule.store.tables.vouched_rows import DecidedOn
from dawnrule.store.transaction import Transaction

__all__ = [
    "Activation",
    "Candidate",
    "DecidedOn",
    "Entry",
    "Group",
    "Head",
    "IntroducedSheet",
    "Key",
    "PrivateAddress",
    "Purpose",
    "Readable",
    "RecoveryAnswers",
    "ReplayState",
    "ReplayStep",
    "Role",
    "ShadowCount",
    "ShadowDifference",
    "Store",
    "StoredAct",
    "StoredAdvice",
    "StoredCheckIn",
    "StoredPlan",
    "StoredReplay",
    "StoredRuleSet",
    "StoredSession",
    "Transaction",
    "Walked",
    "hash_key",
    "hash_token",
    "id_of",
    "new_key",
    "new_token",
    "opened_to_read",
]
