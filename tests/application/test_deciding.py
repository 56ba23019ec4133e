"""What decides for whom: the same as what the store says, on every date."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from random import Random

from dawnrule.application.active_rules import active_rule_set
from dawnrule.application.deciding import Change, Decider
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Store, Transaction
from tests.effort import tries
from tests.factories import DAY, KIM, NOW, SAM

LIBRARY = RuleSetLibrary.bundled()
DEFAULT, *OTHERS = LIBRARY.all()[::-1]


def test_it_is_what_the_store_decides_by_now_and_on_every_later_date(store: Store) -> None:
    """Activations at random: for all and for one, back to all, from any date on, taken back."""
    store.write(lambda b: [b.athletes.put(one) for one in (KIM, SAM)])
    random = Random("deciding")
    for _ in range(tries(25, 300)):
        whom = random.choice([None, KIM.id, SAM.id])
        digest = random.choice([one.digest for one in OTHERS] + ([None] if whom else []))
        day = random.choice([None, DAY - timedelta(3), DAY + timedelta(random.randrange(9))])
        if random.random() < 0.3:
            store.write(partial(take_back, whom=whom))
        else:
            change = Change(digest, day, whom)
            expected = held(store.read(decider).after(change, NOW))
            store.write(partial(activate, change=change))
            assert held(store.read(decider)) == expected
        by_store = store.read(
            lambda b: {
                (whom, on): active_rule_set(b, LIBRARY, DEFAULT, whom, on).full_name
                for whom in (None, KIM.id, SAM.id)
                for on in dates()
            }
        )
        assert held(store.read(decider)) == by_store


def decider(transaction: Transaction) -> Decider:
    return Decider.of(transaction, LIBRARY, DEFAULT, DAY)


def activate(transaction: Transaction, change: Change) -> None:
    transaction.activations.add(change.digest, change.from_date, change.athlete_id, NOW, None)


def take_back(transaction: Transaction, whom: str | None) -> None:
    transaction.activations.take_back(whom, NOW, None)


def dates() -> list[date]:
    return [DAY + timedelta(days) for days in range(10)]


def held(by: Decider) -> dict[tuple[str | None, date], str]:
    """Spread what holds over the dates."""
    found = {}
    for whom in (None, KIM.id, SAM.id):
        holds = by.holds(whom)
        for on in dates():
            of_date = [one for one in holds if one.from_date is None or one.from_date <= on]
            found[whom, on] = of_date[-1].rule_set
    return found


def test_after_the_newest_is_taken_back_the_one_before_holds(store: Store) -> None:
    first, second = OTHERS[:2]
    for one in (first, second):
        store.write(partial(activate, change=Change(one.digest, None, None)))
    [for_all] = store.read(decider).all()
    assert [one.rule_set for one in for_all.holds] == [second.full_name]
    assert [one.rule_set for one in for_all.after_take_back] == [first.full_name]
