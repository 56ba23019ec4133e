"""The unit of work: one object per table over one connection."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Self

from dawnrule.store.schema import Schema
from dawnrule.store.tables.advice import Advice
from dawnrule.store.tables.athletes import Athletes
from dawnrule.store.tables.check_ins import CheckIns
from dawnrule.store.tables.concerns import Concerns
from dawnrule.store.tables.groups import Groups
from dawnrule.store.tables.introduced_sheets import IntroducedSheets
from dawnrule.store.tables.keys import Keys
from dawnrule.store.tables.ledger import Ledger
from dawnrule.store.tables.personal_data import Person, Retention
from dawnrule.store.tables.plans import Plans
from dawnrule.store.tables.private_addresses import PrivateAddresses
from dawnrule.store.tables.replays import Replays
from dawnrule.store.tables.rule_sets import Activations, RuleSets
from dawnrule.store.tables.secrets import Secrets
from dawnrule.store.tables.sessions import Sessions
from dawnrule.store.tables.shadow import Shadow
from dawnrule.store.tables.sign_ins import SignIns
from dawnrule.store.tables.vouched_rows import VouchedRows
from dawnrule.store.traces import Traces


@dataclass(frozen=True, slots=True)
class Transaction:
    """All tables over one connection; valid until the job that received it ends."""

    athletes: Athletes
    groups: Groups
    introduced_sheets: IntroducedSheets
    check_ins: CheckIns
    advice: Advice
    sessions: Sessions
    keys: Keys
    replays: Replays
    rule_sets: RuleSets
    activations: Activations
    shadow: Shadow
    private_addresses: PrivateAddresses
    plans: Plans
    secrets: Secrets
    sign_ins: SignIns
    concerns: Concerns
    ledger: Ledger
    retention: Retention
    person: Person
    traces: Traces
    vouched_rows: VouchedRows
    schema: Schema

    @classmethod
    def over(cls, connection: sqlite3.Connection) -> Self:
        """Open all tables over one connection."""
        return cls(
            Athletes(connection),
            Groups(connection),
            IntroducedSheets(connection),
            CheckIns(connection),
            Advice(connection),
            Sessions(connection),
            Keys(connection),
            Replays(connection),
            RuleSets(connection),
            Activations(connection),
            Shadow(connection),
            PrivateAddresses(connection),
            Plans(connection),
            Secrets(connection),
            SignIns(connection),
            Concerns(connection),
            Ledger(connection),
            Retention(connection),
            Person(connection),
            Traces(connection),
            VouchedRows(connection),
            Schema(connection),
        )
