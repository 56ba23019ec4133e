"""The tables of private addresses, plans and secrets: read back what was written."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from dawnrule.model.entities import Block
from dawnrule.store import PrivateAddress, Purpose, Store, StoredPlan, hash_token
from tests.factories import DAY, KIM, NOW, SAM

ADDRESS = PrivateAddress("p-01", Purpose.READ, KIM.id, "phone", NOW, "k-01")
HASH = hash_token("a token")
PLAN = StoredPlan(KIM.id, DAY, (Block("strength", ("chest",)),), NOW, "k-01")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "dawnrule.db") as opened:
        opened.write(lambda transaction: [transaction.athletes.put(one) for one in (KIM, SAM)])
        opened.write(lambda transaction: transaction.private_addresses.add(ADDRESS, HASH))
        yield opened


def test_an_address_is_known_by_its_hash_until_it_is_revoked(store: Store) -> None:
    assert store.read(lambda transaction: transaction.private_addresses.by_hash(HASH)) == ADDRESS
    assert (
        store.read(lambda transaction: transaction.private_addresses.by_hash(hash_token("x")))
        is None
    )
    assert (
        store.write(lambda transaction: transaction.private_addresses.revoke(ADDRESS.id, NOW))
        is True
    )
    assert store.read(lambda transaction: transaction.private_addresses.by_hash(HASH)) is None
    ended = replace(ADDRESS, revoked_at=NOW)
    assert store.read(lambda transaction: transaction.private_addresses.get(ADDRESS.id)) == ended
    assert (
        store.write(lambda transaction: transaction.private_addresses.revoke(ADDRESS.id, NOW))
        is False
    )


def test_addresses_stand_by_athlete_in_the_order_in_which_they_were_made(store: Store) -> None:
    later = replace(ADDRESS, id="p-00", created_at=NOW + timedelta(seconds=1))
    of_sam = replace(ADDRESS, id="p-02", athlete_id=SAM.id, purpose=Purpose.CHECK_IN)
    store.write(lambda b: b.private_addresses.add(later, hash_token("later")))
    store.write(lambda b: b.private_addresses.add(of_sam, hash_token("of Sam")))
    assert store.read(lambda b: b.private_addresses.of_athlete(KIM.id)) == [ADDRESS, later]
    assert store.read(lambda b: b.private_addresses.all()) == [ADDRESS, later, of_sam]


def test_of_the_use_of_an_address_the_date_alone_is_kept(store: Store) -> None:
    store.write(lambda transaction: transaction.private_addresses.note_use(ADDRESS.id, DAY))
    found = store.read(lambda transaction: transaction.private_addresses.get(ADDRESS.id))
    assert found == replace(ADDRESS, last_used_on=DAY)


def test_any_text_has_a_hash_as_it_may_come_in_an_address() -> None:
    assert len({hash_token(text) for text in ("", "\ud800", "ä", "x" * 10_000)}) == 4


def test_a_plan_comes_back_as_put_and_the_newest_holds(store: Store) -> None:
    assert store.read(lambda transaction: transaction.plans.get(KIM.id, DAY)) is None
    assert store.write(lambda transaction: transaction.plans.put(PLAN)) is True
    day_off = replace(PLAN, blocks=(), posted_by=None)
    assert store.write(lambda transaction: transaction.plans.put(day_off)) is False
    assert store.read(lambda transaction: transaction.plans.get(KIM.id, DAY)) == day_off
    assert store.read(lambda transaction: transaction.plans.get(KIM.id, date(2026, 3, 10))) is None
    assert store.write(lambda transaction: transaction.plans.delete(KIM.id, DAY)) is True
    assert store.write(lambda transaction: transaction.plans.delete(KIM.id, DAY)) is False


def test_what_is_an_athletes_leaves_with_them(store: Store) -> None:
    store.write(lambda transaction: transaction.plans.put(PLAN))
    removed = store.write(lambda transaction: transaction.athletes.delete(KIM.id))
    assert (removed["private_addresses"], removed["plans"]) == (1, 1)
    assert store.read(lambda transaction: transaction.private_addresses.get(ADDRESS.id)) is None
    assert store.read(lambda transaction: transaction.plans.get(KIM.id, DAY)) is None


def test_a_secret_is_made_once_and_outlives_a_restart(tmp_path: Path) -> None:
    made = [b"first", b"second"]
    for _ in range(2):
        with Store.open(tmp_path / "secrets.db") as store:
            secret = store.write(
                lambda transaction: transaction.secrets.get_or_make(
                    "sign-in", lambda: made.pop(0), NOW
                )
            )
            assert secret == b"first"
    assert made == [b"second"]
    with Store.open(tmp_path / "secrets.db") as store:
        assert store.read(lambda transaction: transaction.secrets.get("other")) is None
