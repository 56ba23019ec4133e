"""The one door to the database; it knows nothing of rules.

- ``door``: the store, opened, written, read and closed.
- ``books``: what a job may do, one book for one table: ``athletes``, ``check_ins``, ``advice``,
  ``sessions``, ``keys``, ``private_addresses``, ``plans``, ``replays``, ``rule_sets`` (with
  activations), ``shadow``, ``service_secrets``, ``sign_ins``, ``ledger``, ``retention``; and
  ``person``, all that is about one. Tables, indexes and queries stand in these and nowhere else.
- ``writer``: one thread commits for all, in groups. ``readers``: consistent, read-only looks.
- ``backup``: a database copied, and put in another's place.
- ``migrations``: how a database file comes to have the tables. ``connections``, ``columns``,
  ``failures``: how a connection is set up, values are written, and SQLite's errors are named.
"""

from dawnrule.store.database import Store
from dawnrule.store.tables.advice import StoredAdvice
from dawnrule.store.tables.check_ins import StoredCheckIn
from dawnrule.store.tables.keys import Key, Role, hash_key, new_key
from dawnrule.store.tables.ledger import Entry, Head, StoredAct, Walked
from dawnrule.store.tables.plans import StoredPlan
from dawnrule.store.tables.private_addresses import PrivateAddress, Purpose, hash_token, new_token
from dawnrule.store.tables.replays import ReplayState, ReplayStep, StoredReplay
from dawnrule.store.tables.rule_sets import Activation, StoredRuleSet
from dawnrule.store.tables.sessions import StoredSession
from dawnrule.store.tables.shadow import Candidate, ShadowDifference
from dawnrule.store.transaction import Transaction

__all__ = [
    "Activation",
    "Candidate",
    "Entry",
    "Head",
    "Key",
    "PrivateAddress",
    "Purpose",
    "ReplayState",
    "ReplayStep",
    "Role",
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
    "new_key",
    "new_token",
]
