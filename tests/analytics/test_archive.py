"""The archive: always what the ledger says, and never more."""

from __future__ import annotations

import errno
import gc
import json
import os
import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics import archive as archive_module
from dawnrule.analytics.archive import Archive
from dawnrule.application.athletes import erase
from dawnrule.errors import EngineFailure, NotFound, StoreUnusable
from dawnrule.rules.columnar import PastMorning
from dawnrule.store import Store
from tests.factories import DAY, KIM, LATER, ONE_DAY, SAM, post_check_in


@pytest.fixture
def archive(store: Store) -> Archive:
    return Archive(store)


@pytest.fixture
def file(store: Store) -> Path:
    """Where the archive is."""
    return store.file.with_name("dawnrule.db.facts.parquet")


@pytest.fixture
def three_mornings(store: Store, advisor: Advisor) -> None:
    """Two of Kim's, the second with a sore muscle, and one of Sam's."""
    post_check_in(store, advisor, KIM, DAY)
    post_check_in(store, advisor, KIM, DAY + ONE_DAY, soreness=9)
    post_check_in(store, advisor, SAM, DAY, plan=())


def mornings(archive: Archive) -> list[PastMorning]:
    return list(archive.mornings().mornings())


def read_on(archive: Archive) -> list[tuple[int, int]]:
    """What is told of progress while the archive is brought up to date."""
    told: list[tuple[int, int]] = []
    archive.mornings(lambda done, of: told.append((done, of)))
    return told


def dates(archive: Archive) -> list[tuple[str, date]]:
    return [(one.athlete_id, one.date) for one in mornings(archive)]


THREE = [(KIM.id, DAY), (KIM.id, DAY + ONE_DAY), (SAM.id, DAY)]


@pytest.mark.usefixtures("three_mornings")
def test_the_archive_has_each_morning_as_it_was_given(store: Store, archive: Archive) -> None:
    ledger = store.read(lambda transaction: transaction.advice.after(0, 10))
    for one, (position, advice) in zip(mornings(archive), ledger, strict=True):
        record = json.loads(advice.record)
        assert one.position == position
        assert (one.athlete_id, one.date) == (advice.athlete_id, advice.date)
        assert one.rule_set_digest == advice.rule_set_digest
        assert (one.day.verdict, one.day.rule_id) == (advice.verdict, advice.rule_id)
        assert one.day.facts == record["facts"]["day"]
        assert list(one.day.fired) == record["fired"]["day"]
        assert [part.verdict for part in one.parts] == [
            part["verdict"] for part in record["advice"]["parts"]
        ]
        assert [list(part.fired) for part in one.parts] == record["fired"]["parts"]


@pytest.mark.usefixtures("three_mornings")
def test_a_part_has_the_facts_of_its_day_too(archive: Archive) -> None:
    [quadriceps] = mornings(archive)[1].parts
    assert (quadriceps.rule_id, quadriceps.facts["soreness"]) == ("soreness-very-high", 9)
    assert quadriceps.facts["planned_blocks"] == 1


def test_an_empty_ledger_has_an_empty_archive(archive: Archive) -> None:
    assert mornings(archive) == []
    assert mornings(archive) == []


@pytest.mark.usefixtures("three_mornings")
def test_only_what_is_new_is_read_from_the_ledger(
    archive: Archive, store: Store, advisor: Advisor
) -> None:
    assert read_on(archive) == [(3, 3)]
    assert read_on(archive) == []
    post_check_in(store, advisor, SAM, DAY + ONE_DAY)
    assert read_on(archive) == [(1, 1)]
    assert dates(archive) == [*THREE, (SAM.id, DAY + ONE_DAY)]


@pytest.mark.usefixtures("three_mornings")
def test_the_ledger_is_read_in_small_pieces(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archive_module, "READ_TOGETHER", 2)
    assert read_on(archive) == [(2, 3), (3, 3)]
    assert dates(archive) == THREE


@pytest.mark.usefixtures("three_mornings")
def test_superseded_advice_leaves_the_archive(
    archive: Archive, store: Store, advisor: Advisor
) -> None:
    archive.mornings()
    post_check_in(store, advisor, KIM, DAY, soreness=4)
    assert dates(archive) == [*THREE[1:], (KIM.id, DAY)]
    assert mornings(archive)[-1].day.rule_id == "growth-work-soreness"


@pytest.mark.usefixtures("three_mornings")
def test_advice_superseded_before_it_was_archived_is_not_there_either(
    archive: Archive, store: Store, advisor: Advisor
) -> None:
    post_check_in(store, advisor, KIM, DAY, soreness=4)
    assert dates(archive) == [*THREE[1:], (KIM.id, DAY)]


@pytest.mark.usefixtures("three_mornings")
@pytest.mark.parametrize("spoilt", [b"", b"no Parquet", None])
def test_a_file_that_is_missing_or_broken_is_made_anew(
    archive: Archive, file: Path, spoilt: bytes | None
) -> None:
    archive.mornings()
    if spoilt is None:
        file.unlink()
    else:
        file.write_bytes(spoilt)
    assert dates(archive) == THREE


@pytest.mark.usefixtures("three_mornings")
def test_a_file_of_another_format_is_made_anew(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive.mornings()
    monkeypatch.setattr(archive_module, "FORMAT", "another")
    assert read_on(archive) == [(3, 3)]
    assert read_on(archive) == []


@pytest.mark.usefixtures("three_mornings")
def test_the_file_of_another_database_is_made_anew(
    archive: Archive, file: Path, tmp_path: Path, advisor: Advisor
) -> None:
    with Store.open(tmp_path / "other.db") as other:
        for day in range(5):
            post_check_in(other, advisor, SAM, DAY + day * ONE_DAY)
        Archive(other).mornings()
    (tmp_path / "other.db.facts.parquet").rename(file)
    assert dates(archive) == THREE


@pytest.mark.usefixtures("three_mornings")
def test_the_archive_is_its_owners_alone_and_leaves_nothing_beside_it(
    archive: Archive, file: Path
) -> None:
    archive.mornings()
    assert file.stat().st_mode & 0o777 == 0o600
    assert sorted(path.name for path in file.parent.glob("*parquet*")) == [file.name]


@pytest.mark.usefixtures("three_mornings")
def test_a_person_who_is_erased_leaves_the_archive_at_once(
    archive: Archive, store: Store, file: Path
) -> None:
    archive.mornings()
    removed = erase(store, KIM.id, by="k-01", at=LATER).removed
    assert (removed["athletes"], removed["advice"]) == (1, 2)
    assert not file.exists()
    assert dates(archive) == THREE[2:]


def test_a_person_who_is_not_there_cannot_be_erased(store: Store) -> None:
    with pytest.raises(NotFound, match="There is no athlete 'a-01'"):
        erase(store, KIM.id, by="k-01", at=LATER)


@pytest.mark.usefixtures("three_mornings")
@pytest.mark.parametrize("comes_back", [False, True])
def test_an_archive_that_knows_an_erased_person_is_made_anew(
    archive: Archive, store: Store, advisor: Advisor, comes_back: bool
) -> None:
    archive.mornings()
    store.write(lambda transaction: transaction.athletes.delete(KIM.id))
    if comes_back:
        for day in (5, 6):
            post_check_in(store, advisor, KIM, DAY + day * ONE_DAY)
    came_back = [(KIM.id, DAY + day * ONE_DAY) for day in (5, 6)] if comes_back else []
    assert dates(archive) == [*THREE[2:], *came_back]


@pytest.mark.usefixtures("three_mornings")
def test_a_person_who_is_erased_while_the_ledger_is_read_is_not_archived(
    archive: Archive, store: Store
) -> None:
    def erase_kim(done: int, of: int) -> None:
        store.write(lambda transaction: transaction.athletes.delete(KIM.id))

    table = archive.mornings(erase_kim)
    assert [(one.athlete_id, one.date) for one in table.mornings()] == THREE[2:]


@pytest.mark.usefixtures("three_mornings")
def test_an_archive_deleted_while_it_is_added_to_is_made_anew(
    archive: Archive, store: Store, advisor: Advisor
) -> None:
    archive.mornings()
    post_check_in(store, advisor, SAM, DAY + ONE_DAY)
    table = archive.mornings(lambda done, of: archive.delete())
    assert len(list(table.mornings())) == 4


@pytest.mark.usefixtures("three_mornings")
@pytest.mark.parametrize("then", ["more", "less", "deleted"])
def test_what_was_opened_stays_as_it_was_whatever_becomes_of_the_file(
    archive: Archive, store: Store, advisor: Advisor, then: str
) -> None:
    archive.mornings()
    table = Archive(store).mornings()
    if then == "deleted":
        archive.delete()
    else:
        if then == "less":
            store.write(lambda transaction: transaction.athletes.delete(KIM.id))
        post_check_in(store, advisor, SAM, DAY + ONE_DAY)
        archive.mornings()
    assert [(one.athlete_id, one.date) for one in table.mornings()] == THREE


@pytest.mark.usefixtures("three_mornings")
def test_readers_hold_on_to_no_file_that_they_have_done_with(archive: Archive, file: Path) -> None:
    archive.mornings()
    list(archive.mornings().mornings())
    archive.delete()
    gc.collect()
    held = (os.readlink(one) for one in Path("/proc/self/fd").iterdir() if one.is_symlink())
    assert [name for name in held if name.startswith(str(file))] == []


@pytest.mark.usefixtures("three_mornings")
def test_advice_on_facts_that_cannot_be_any_more_is_named(archive: Archive, store: Store) -> None:
    with closing(sqlite3.connect(store.file)) as connection:
        connection.execute("DROP TRIGGER advice_stays_as_it_is")
        spoilt = """UPDATE advice SET record = replace(record, '"soreness":9', '"soreness":19')"""
        connection.execute(spoilt)
        connection.commit()
    with pytest.raises(EngineFailure, match=r"a-01 for 2026-03-10 was given on soreness 19"):
        archive.mornings()


@pytest.mark.usefixtures("three_mornings")
@pytest.mark.parametrize("step", ["mkstemp", "os.fsync"])
def test_a_file_that_cannot_be_written_is_told_and_leaves_nothing_behind(
    archive: Archive, file: Path, step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(f"dawnrule.analytics.archive.{step}", full)
    with pytest.raises(StoreUnusable, match=r"facts\.parquet cannot be written: No space left"):
        archive.mornings()
    assert list(file.parent.glob("*parquet*")) == []
