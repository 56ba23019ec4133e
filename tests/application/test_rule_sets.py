"""Rule sets: which one holds for whom and when, and what never changes."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path

import pytest

from dawnrule.application.active_rules import StoredTexts, active_rule_set
from dawnrule.application.rule_sets import Publisher, RosterEntry, roster
from dawnrule.errors import Conflict, NotFound
from dawnrule.rules import registry as library_module
from dawnrule.rules.loading.loader import parse_rule_set
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Store, StoredRuleSet, Transaction
from tests.factories import CLUB, KIM, SAM, STRICTER

DAY = date(2026, 4, 1)
ONE_DAY = timedelta(days=1)
NOW = datetime(2026, 4, 1, 6, tzinfo=UTC)
SHIPPED = RuleSetLibrary.bundled()
BASELINE = SHIPPED.get("baseline", "1.1.0")


def kept(store: Store, text: str) -> RuleSet:
    """A rule set in the store, without the trial that it stands elsewhere."""
    one = parse_rule_set(text, "sent.yaml")
    stored = StoredRuleSet(one.name, one.version, one.digest, one.summary, NOW, "k-01")
    store.write(lambda transaction: transaction.rule_sets.add(stored, text, "[]"))
    return one


@pytest.fixture
def publisher(tmp_path: Path) -> Iterator[Publisher]:
    with Store.open(tmp_path / "dawnrule.db") as store:
        store.write(
            lambda transaction: [transaction.athletes.put(athlete) for athlete in (KIM, SAM)]
        )
        yield Publisher(store, SHIPPED.with_published(StoredTexts(store)), lambda: NOW)


@pytest.fixture
def club(publisher: Publisher) -> RuleSet:
    return kept(publisher.store, CLUB)


@pytest.fixture
def stricter(publisher: Publisher) -> RuleSet:
    return kept(publisher.store, STRICTER)


def activated(transaction: Transaction, digest: str) -> None:
    transaction.activations.add(digest, None, None, NOW, None)


def holds(publisher: Publisher, athlete_id: str | None = KIM.id, on: date = DAY) -> str:
    def find(transaction: Transaction) -> RuleSet:
        return active_rule_set(transaction, publisher.library, BASELINE, athlete_id, on)

    return publisher.store.read(find).full_name


# ---- what holds


def test_where_nothing_was_activated_the_settings_rule_set_holds(publisher: Publisher) -> None:
    assert holds(publisher) == holds(publisher, None) == "baseline@1.1.0"


def test_an_activation_holds_from_its_date_on(publisher: Publisher, club: RuleSet) -> None:
    publisher.activate(club, DAY, None, None)
    assert holds(publisher, on=DAY - ONE_DAY) == "baseline@1.1.0"
    assert holds(publisher, on=DAY) == holds(publisher, on=DAY + ONE_DAY) == "club@1.0.0"


def test_without_a_date_an_activation_holds_for_every_date(
    publisher: Publisher, club: RuleSet
) -> None:
    publisher.activate(club, None, None, None)
    assert holds(publisher, on=DAY - 100 * ONE_DAY) == "club@1.0.0"


def test_of_the_activations_whose_date_has_come_the_newest_holds(
    publisher: Publisher, club: RuleSet, stricter: RuleSet
) -> None:
    publisher.activate(club, DAY, None, None)
    publisher.activate(stricter, DAY + 2 * ONE_DAY, None, None)
    assert holds(publisher, on=DAY + ONE_DAY) == "club@1.0.0"
    publisher.activate(BASELINE, DAY + ONE_DAY, None, None)
    assert holds(publisher, on=DAY + 3 * ONE_DAY) == "baseline@1.1.0"


def test_an_athletes_own_comes_before_that_for_all(
    publisher: Publisher, club: RuleSet, stricter: RuleSet
) -> None:
    publisher.activate(stricter, None, [KIM.id], None)
    publisher.activate(club, None, None, None)
    assert holds(publisher, KIM.id) == "club@2.0.0"
    assert holds(publisher, SAM.id) == holds(publisher, None) == "club@1.0.0"


def test_an_athlete_can_go_with_all_again(
    publisher: Publisher, club: RuleSet, stricter: RuleSet
) -> None:
    publisher.activate(club, None, None, None)
    publisher.activate(stricter, None, [KIM.id], None)
    publisher.activate(None, DAY, [KIM.id], None)
    assert holds(publisher, on=DAY - ONE_DAY) == "club@2.0.0"
    assert holds(publisher) == "club@1.0.0"


def test_nobody_is_activated_for_when_one_is_not_known(publisher: Publisher, club: RuleSet) -> None:
    with pytest.raises(NotFound, match="no athlete 'a-99'"):
        publisher.activate(club, None, [KIM.id, "a-99"], None)
    assert publisher.activations() == []


# ---- taking back


def test_each_rollback_goes_one_step_further_back(
    publisher: Publisher, club: RuleSet, stricter: RuleSet
) -> None:
    publisher.activate(club, None, None, None)
    publisher.activate(stricter, None, None, None)
    publisher.roll_back(None, "k-02")
    assert holds(publisher) == "club@1.0.0"
    publisher.roll_back(None, "k-02")
    assert holds(publisher) == "baseline@1.1.0"
    with pytest.raises(Conflict, match="no activation for all"):
        publisher.roll_back(None, "k-02")


def test_what_was_taken_back_can_be_activated_again(publisher: Publisher, club: RuleSet) -> None:
    publisher.activate(club, None, None, None)
    publisher.roll_back(None, None)
    publisher.activate(club, None, None, None)
    assert holds(publisher) == "club@1.0.0"


def test_a_rollback_takes_back_what_was_planned_for_later(
    publisher: Publisher, club: RuleSet, stricter: RuleSet
) -> None:
    publisher.activate(club, None, None, None)
    publisher.activate(stricter, DAY + ONE_DAY, None, None)
    publisher.roll_back(None, None)
    assert holds(publisher, on=DAY + ONE_DAY) == "club@1.0.0"


def test_an_athletes_rollback_leaves_all_others(
    publisher: Publisher, club: RuleSet, stricter: RuleSet
) -> None:
    publisher.activate(club, None, None, None)
    publisher.activate(stricter, None, [KIM.id, SAM.id], None)
    publisher.roll_back([KIM.id], None)
    assert (holds(publisher, KIM.id), holds(publisher, SAM.id)) == ("club@1.0.0", "club@2.0.0")


def test_a_rollback_for_several_is_done_for_all_of_them_or_none(
    publisher: Publisher, club: RuleSet
) -> None:
    publisher.activate(club, None, [KIM.id], None)
    with pytest.raises(Conflict, match=f"athlete {SAM.id}"):
        publisher.roll_back([KIM.id, SAM.id], None)
    assert holds(publisher, KIM.id) == "club@1.0.0"


def test_who_did_it_and_when_is_kept(publisher: Publisher, club: RuleSet) -> None:
    publisher.activate(club, DAY, [KIM.id], "k-01")
    publisher.roll_back([KIM.id], "k-02")
    [one] = publisher.activations()
    assert (one.digest, one.from_date, one.athlete_id) == (club.digest, DAY, KIM.id)
    assert (one.at, one.by, one.taken_back_at, one.taken_back_by) == (NOW, "k-01", NOW, "k-02")


# ---- what stays


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE rule_sets SET text = ''",
        "DELETE FROM rule_sets",
        "UPDATE activations SET digest = 'sha256:other'",
        "DELETE FROM activations",
        "DELETE FROM shadow_candidates",
        "UPDATE shadow_candidates SET digest = NULL",
    ],
)
def test_what_was_published_and_activated_is_never_changed(
    publisher: Publisher, club: RuleSet, statement: str
) -> None:
    publisher.activate(club, None, [KIM.id], None)
    publisher.run_in_shadow(club, None)
    with pytest.raises(sqlite3.IntegrityError, match=r"is never|are never|never changed"):
        publisher.store.write(
            lambda transaction: transaction.rule_sets.connection.execute(statement)
        )


def test_an_athletes_activations_leave_with_the_athlete(
    publisher: Publisher, club: RuleSet
) -> None:
    publisher.activate(club, None, [KIM.id, SAM.id], None)
    publisher.roll_back([KIM.id], None)
    publisher.store.write(lambda transaction: transaction.athletes.delete(KIM.id))
    assert [one.athlete_id for one in publisher.activations()] == [SAM.id]


# ---- the library


def test_the_library_finds_what_was_published_by_name_and_by_digest(
    publisher: Publisher, club: RuleSet
) -> None:
    assert publisher.library.by_digest(club.digest).digest == club.digest
    assert publisher.library.get("club", "1.0.0") is publisher.library.by_digest(club.digest)
    with pytest.raises(NotFound, match=r"no rule set club@9\.0\.0"):
        publisher.library.get("club", "9.0.0")


def test_a_set_that_fails_to_load_leaves_the_one_before_it_serving(
    publisher: Publisher, club: RuleSet, caplog: pytest.LogCaptureFixture
) -> None:
    lost = StoredRuleSet("lost", "1.0.0", "sha256:lost", "Lost.", NOW, None)
    publisher.store.write(lambda transaction: transaction.rule_sets.add(lost, "rule_set: [", "[]"))
    publisher.activate(club, None, None, None)
    for digest in ("sha256:lost", "sha256:never"):
        publisher.store.write(partial(activated, digest=digest))
    assert holds(publisher) == holds(publisher) == "club@1.0.0"
    assert caplog.text.count("the rule set sha256:lost cannot be used") == 1


def test_a_text_that_means_something_else_now_is_not_used(publisher: Publisher) -> None:
    other = StoredRuleSet("club", "1.0.0", "sha256:other", "Club.", NOW, None)
    publisher.store.write(lambda transaction: transaction.rule_sets.add(other, CLUB, "[]"))
    with pytest.raises(NotFound, match="is now read as sha256:"):
        publisher.library.get("club", "1.0.0")


def test_no_more_rule_sets_are_kept_compiled_than_stated(
    publisher: Publisher, club: RuleSet, stricter: RuleSet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(library_module, "MAX_COMPILED", 2)
    library = RuleSetLibrary({})
    first = library.decider(club)
    assert library.decider(club) is first
    library.decider(stricter)
    library.decider(BASELINE)
    assert library.decider(club) is not first


def listed(publisher: Publisher, today: date = DAY) -> dict[str, RosterEntry]:
    """The roster of a date by name."""
    entries = publisher.store.read(
        lambda transaction: roster(transaction, publisher.library, BASELINE, today)
    )
    return {one.full_name: one for one in entries}


def test_the_roster_has_bundled_and_then_published_rule_sets(
    publisher: Publisher, club: RuleSet
) -> None:
    entries = listed(publisher)
    assert list(entries) == [one.full_name for one in SHIPPED.all()] + [club.full_name]
    assert [one.full_name for one in entries.values() if one.published_at] == [club.full_name]
    assert entries[club.full_name].published_by == "k-01"


def test_without_an_activation_the_settings_decide(publisher: Publisher) -> None:
    active = [one for one in listed(publisher).values() if one.active]
    assert [(one.digest, one.activation) for one in active] == [(BASELINE.digest, None)]


def test_a_rule_set_is_active_by_its_newest_activation_whose_date_has_come(
    publisher: Publisher, club: RuleSet
) -> None:
    for from_date in (None, DAY - ONE_DAY, DAY + ONE_DAY):
        publisher.activate(club, from_date, None, None)
    publisher.activate(club, DAY, [SAM.id], None)
    entry = listed(publisher)[club.full_name]
    assert entry.active
    assert entry.activation is not None
    assert entry.activation.from_date == DAY - ONE_DAY
    assert [one.from_date for one in entry.ahead] == [DAY + ONE_DAY]
    assert len(entry.activations) == 4


def test_an_activation_that_was_rolled_back_is_only_listed(
    publisher: Publisher, club: RuleSet
) -> None:
    publisher.activate(club, DAY + ONE_DAY, None, None)
    publisher.roll_back(None, None)
    entry = listed(publisher)[club.full_name]
    assert (entry.active, entry.ahead, len(entry.activations)) == (False, (), 1)


def test_an_athlete_has_a_rule_set_as_their_own_once_its_date_has_come(
    publisher: Publisher, club: RuleSet, stricter: RuleSet
) -> None:
    publisher.activate(club, None, [KIM.id, SAM.id], None)
    publisher.activate(stricter, DAY + ONE_DAY, [KIM.id], None)
    publisher.activate(None, None, [SAM.id], None)
    today, tomorrow = listed(publisher), listed(publisher, DAY + ONE_DAY)
    assert (today[club.full_name].athletes, today[stricter.full_name].athletes) == ((KIM.id,), ())
    assert tomorrow[stricter.full_name].athletes == (KIM.id,)


def test_the_roster_says_since_when_a_candidate_runs_in_the_shadow(
    publisher: Publisher, club: RuleSet
) -> None:
    publisher.run_in_shadow(club, None)
    shadow = {name: one.shadow_since for name, one in listed(publisher).items() if one.shadow_since}
    assert shadow == {club.full_name: NOW}
