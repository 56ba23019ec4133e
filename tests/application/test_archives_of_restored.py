"""Archives of a database that was restored from an older back-up: nobody who was erased is back."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import NoReturn

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics.tombstones import ERASED, list_erased_in
from dawnrule.application import erased
from dawnrule.application.archives import export_archive, read_archives
from dawnrule.application.athletes import erase
from dawnrule.application.audit import audit
from dawnrule.application.backups import back_up, restore
from dawnrule.application.erased import erasures_elsewhere, list_erased
from dawnrule.errors import Conflict, StoreBusy
from dawnrule.model.entities import Athlete
from dawnrule.rules.registry import RuleSetLibrary
from dawnrule.store import Store, Transaction
from dawnrule.store.activity_log import COMMAND_LINE
from tests.cli.terminal import typed
from tests.factories import DAY, KIM, LATER, ONE_DAY, SAM, post_check_in
from tests.prebuilt import Database


class Club:
    """A club with a database, a folder of back-ups and an archive."""

    def __init__(self, folder: Path, advisor: Advisor) -> None:
        self.db = folder / "squad.db"
        self.kept = folder / "kept"
        self.kept.mkdir()
        self.archive = folder / "archive"
        self._advisor = advisor

    def check_in(self, *athletes: Athlete) -> None:
        with Store.open(self.db) as store:
            for athlete in athletes:
                post_check_in(store, self._advisor, athlete, DAY)

    def export(self) -> None:
        with Store.open(self.db) as store:
            export_archive(store, self.archive, by=COMMAND_LINE, at=LATER)

    def back_up(self) -> Path:
        return back_up(self.db, self.kept, LATER)

    def erase(self, athlete: Athlete) -> None:
        with Store.open(self.db) as store:
            erase(store, athlete.id, by=COMMAND_LINE, at=LATER)
        list_erased(self.db, self.kept)

    def copy_with_erased(self, athlete: Athlete) -> Path:
        """A copy of the archive as it was while an athlete was there, who is erased now."""
        self.check_in(athlete)
        self.export()
        copy = shutil.copytree(self.archive, self.archive.parent / "copy")
        self.erase(athlete)
        return copy

    def renew_list_in(self, folder: Path) -> None:
        with Store.open(self.db) as store:
            list_erased_in(store, folder, LATER)

    def mornings(self) -> list[str]:
        """Who has each morning in the archive."""
        return mornings_in(self.archive)


def mornings_in(folder: Path) -> list[str]:
    return sorted(one.athlete_id for one in read_archives([folder]).table.mornings())


@pytest.fixture
def club(empty_database: Database, advisor: Advisor, tmp_path: Path) -> Club:
    """A club in which Sam checked in."""
    club = Club(tmp_path, advisor)
    empty_database.copy_to(club.db)
    club.check_in(SAM)
    return club


def test_who_came_and_was_erased_after_the_back_up_stays_out_of_every_archive(club: Club) -> None:
    club.export()
    file = club.back_up()
    copy = club.copy_with_erased(KIM)
    [sam] = club.mornings()
    restore(file, club.db, LATER, replace=True)
    assert club.mornings() == [sam]
    for folder in (club.archive, copy):
        club.renew_list_in(folder)
        assert mornings_in(folder) == [sam]


def test_who_was_erased_twice_is_left_out_twice_after_a_restore(club: Club) -> None:
    club.check_in(KIM)
    club.export()
    file = club.back_up()
    club.erase(KIM)
    [sam] = club.mornings()
    copy = club.copy_with_erased(KIM)
    restore(file, club.db, LATER, replace=True)
    club.renew_list_in(copy)
    assert club.mornings() == mornings_in(copy) == [sam]


def test_a_club_keeps_its_name_and_its_archives_when_a_back_up_knows_of_none(club: Club) -> None:
    club.check_in(KIM)
    file = club.back_up()
    club.export()
    [folder] = club.archive.glob("club=*")
    assert restore(file, club.db, LATER, replace=True).knows_exports
    club.erase(KIM)
    [sam] = club.mornings()
    club.export()
    assert list(club.archive.glob("club=*")) == [folder]
    assert club.mornings() == [sam]
    with Store.open(club.db) as store:
        assert audit(store, RuleSetLibrary.bundled()).is_clean


def test_what_a_restore_carried_over_is_carried_over_by_the_next(club: Club) -> None:
    file = club.back_up()
    copy = club.copy_with_erased(KIM)
    [sam] = club.mornings()
    for times in range(2):
        restore(file, club.db, LATER + times * ONE_DAY, replace=True)
    club.renew_list_in(copy)
    assert mornings_in(copy) == [sam]
    club.erase(SAM)
    assert club.mornings() == []


@pytest.mark.parametrize("is_there", [True, False])
def test_who_comes_back_after_a_restore_is_somebody_new_in_archives(
    club: Club, is_there: bool
) -> None:
    """Where the database of before is gone, the list beside the back-ups tells of the erasure."""
    club.export()
    file = club.back_up()
    club.check_in(KIM)
    club.export()
    before = club.mornings()
    club.erase(KIM)
    if not is_there:
        club.db.unlink()
    restore(file, club.db, LATER, replace=True)
    club.check_in(KIM)
    club.export()
    now = club.mornings()
    assert len(now) == 2
    assert len({*now, *before}) == 3


def test_a_restore_that_is_refused_leaves_archives_as_they_are(club: Club) -> None:
    club.check_in(KIM)
    club.export()
    file = club.back_up()
    club.erase(KIM)
    club.check_in(KIM)
    club.export()
    before = club.mornings()
    with Store.open(club.db), pytest.raises(Conflict, match="in use"):
        restore(file, club.db, LATER, replace=True)
    assert club.mornings() == before
    assert len(before) == 2


@pytest.mark.parametrize("before", ["gone", "damaged", "another club's"])
def test_a_restore_that_knows_of_no_exports_says_what_to_do(
    club: Club, empty_database: Database, before: str
) -> None:
    file = club.back_up()
    told = "Nothing here says where mornings were exported to after this backup was made"
    assert told not in typed("restore", file, "--db", club.db, "--replace").stderr
    club.db.unlink()
    if before == "damaged":
        club.db.write_bytes(b"not a database at all")
    elif before == "another club's":
        empty_database.copy_to(club.db)
        club.check_in(KIM)
    result = typed("restore", file, "--db", club.db, "--replace")
    assert (result.exit_code, told in result.stderr) == (0, True)
    assert "delete the club's folder of before" in result.stderr


def test_a_restored_database_of_another_club_keeps_its_own_name(
    club: Club, empty_database: Database
) -> None:
    club.export()
    [folder] = club.archive.glob("club=*")
    file = club.back_up()
    club.db.unlink()
    empty_database.copy_to(club.db)
    club.check_in(KIM)
    club.export()
    restore(file, club.db, LATER, replace=True)
    club.export()
    assert len(list(club.archive.glob("club=*"))) == 2
    assert (folder / ERASED).is_file()


def test_names_on_a_list_that_was_cut_stay_on_it(club: Club) -> None:
    """An older database may not know of them."""
    club.export()
    [folder] = club.archive.glob("club=*")
    whole = (folder / ERASED).read_text(encoding="utf-8")
    name = "0f" * 16
    for cut in (f"{name}\n", f"{name}\n{whole[:9]}", f"{name}\n{whole}", f"{name}\n{name[:9]}"):
        (folder / ERASED).write_text(cut, encoding="utf-8")
        club.renew_list_in(club.archive)
        assert (folder / ERASED).read_text(encoding="utf-8").splitlines()[0] == name
        assert len(club.mornings()) == 1
    club.export()
    assert (folder / ERASED).read_text(encoding="utf-8").splitlines()[0] == name
    (folder / ERASED).write_text(f"{name}\nclub={'0' * 16}:{'0' * 64}\n", encoding="utf-8")
    club.renew_list_in(club.archive)
    assert (folder / ERASED).read_text(encoding="utf-8") == whole


def test_erasures_count_where_nothing_else_can_be_read(
    club: Club, monkeypatch: pytest.MonkeyPatch
) -> None:
    def busy(_: Transaction) -> NoReturn:
        raise StoreBusy("locked")

    file = club.back_up()
    with Store.open(club.db) as store:
        erase(store, SAM.id, by=COMMAND_LINE, at=LATER)
    monkeypatch.setattr(erased, "exports_known", busy)
    [found] = erasures_elsewhere(file, club.db)
    assert found.concern(SAM.id)
    assert found.exports is None
