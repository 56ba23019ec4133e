"""An athlete's private page, and what it has stored."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from dawnrule.store import PrivateAddress, Purpose, Store, StoredCheckIn, hash_token, new_token
from tests.conftest import Clock

Stored = Callable[..., StoredCheckIn]


@pytest.fixture
def path(store: Store, squad: Any, clock: Clock) -> str:
    """The address of a-03's page."""
    token = new_token()
    address = PrivateAddress("p-01", Purpose.CHECK_IN, "a-03", "phone", clock(), None)
    store.write(lambda transaction: transaction.private_addresses.add(address, hash_token(token)))
    return f"/check-in/{token}"


@pytest.fixture
def stored(store: Store) -> Stored:
    """What is stored of a-03 for a date."""

    def latest(on: str = "2026-03-09") -> StoredCheckIn:
        found = store.read(lambda b: b.check_ins.latest("a-03", date.fromisoformat(on)))
        assert found is not None
        return found

    return latest
