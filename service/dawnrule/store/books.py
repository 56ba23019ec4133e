"""What may a job read and write? One book for one table."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Self

from dawnrule.store.advice import Advice
from dawnrule.store.athletes import Athletes
from dawnrule.store.check_ins import CheckIns
from dawnrule.store.keys import Keys
from dawnrule.store.ledger import Ledger
from dawnrule.store.person import Person
from dawnrule.store.plans import Plans
from dawnrule.store.private_addresses import PrivateAddresses
from dawnrule.store.replays import Replays
from dawnrule.store.retention import Retention
from dawnrule.store.rule_sets import Activations, RuleSets
from dawnrule.store.service_secrets import Secrets
from dawnrule.store.sessions import Sessions
from dawnrule.store.shadow import Shadow
from dawnrule.store.sign_ins import SignIns


@dataclass(frozen=True, slots=True)
class Books:
    """All books over one connection; good for as long as the job runs that was given them."""

    athletes: Athletes
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
    ledger: Ledger
    retention: Retention
    person: Person

    @classmethod
    def over(cls, connection: sqlite3.Connection) -> Self:
        """The books as one connection sees them."""
        return cls(
            Athletes(connection),
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
            Ledger(connection),
            Retention(connection),
            Person(connection),
        )
