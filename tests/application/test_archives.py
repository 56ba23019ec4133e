"""Archives that leave the database: no names, many read as one, and erasure reaches them."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterator
from errno import ENOLCK, ENOSPC
from hashlib import sha256
from pathlib import Path
from threading import Thread

import polars as pl
import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.analytics.archive import Archive
from dawnrule.analytics.tombstones import ERASED, list_erased_in
from dawnrule.application.archives import Exported, export_archive, read_archives
from dawnrule.application.athletes import erase
from dawnrule.errors import InvalidInput, NotFound, StoreUnusable
from dawnrule.model import FactDictionary
from dawnrule.rules.columnar import MorningTable, PastMorning, months
from dawnrule.store import Store
from dawnrule.store.activity_log import COMMAND_LINE, acts_of
from tests.factories import DAY, KIM, LATER, ONE_DAY, SAM, post_check_in
from tests.prebuilt import Database

A_MONTH = 31 * ONE_DAY


@pytest.fixture
def past(store: Store, advisor: Advisor) -> list[PastMorning]:
    """Two mornings of Kim's in two months, and one of Sam's."""
    post_check_in(store, advisor, KIM, DAY)
    post_check_in(store, advisor, KIM, DAY + A_MONTH, soreness=9)
    post_check_in(store, advisor, SAM, DAY, plan=())
    return list(Archive(store).mornings().mornings())


@pytest.fixture
def other_club(empty_database: Database, advisor: Advisor, tmp_path: Path) -> Iterator[Store]:
    """A club whose Kim is somebody else."""
    empty_database.copy_to(tmp_path / "other.db")
    with Store.open(tmp_path / "other.db") as store:
        post_check_in(store, advisor, KIM, DAY)
        yield store


def exported(store: Store, to: Path) -> Exported:
    return export_archive(store, to, by=COMMAND_LINE, at=LATER)


def athletes(table: MorningTable) -> set[str]:
    return {morning.athlete_id for morning in table.mornings()}


def test_an_archive_has_the_same_mornings_without_names_in_a_file_a_month(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    club = exported(store, tmp_path / "archive")
    assert club.mornings == 3
    files = {str(file.relative_to(club.folder)) for file in club.folder.rglob("*.parquet")}
    assert files == {
        "year=2026/month=03/mornings.parquet",
        "year=2026/month=04/mornings.parquet",
    }
    back = list(read_archives([tmp_path / "archive"]).table.mornings())
    assert [(one.date, one.day, one.parts) for one in back] == [
        (one.date, one.day, one.parts) for one in past
    ]
    named = [one.athlete_id for one in back]
    assert named[0] == named[1] != named[2]
    everything = b"".join(file.read_bytes() for file in club.folder.rglob("*.*"))
    assert not any(word.encode() in everything for word in (KIM.id, KIM.name, SAM.id, SAM.name))


def test_a_second_export_replaces_the_first(
    store: Store, past: list[PastMorning], advisor: Advisor, tmp_path: Path
) -> None:
    first = exported(store, tmp_path)
    before = athletes(read_archives([tmp_path]).table)
    post_check_in(store, advisor, SAM, DAY + ONE_DAY)
    second = exported(store, tmp_path)
    assert (second.folder, second.mornings) == (first.folder, len(past) + 1)
    assert athletes(read_archives([tmp_path]).table) == before
    assert list(tmp_path.glob("[!.]*=*")) == [first.folder]


def test_athletes_are_named_with_their_club(
    store: Store, past: list[PastMorning], other_club: Store, tmp_path: Path
) -> None:
    one, other = exported(store, tmp_path), exported(other_club, tmp_path)
    named = [who.split("/") for who in sorted(athletes(read_archives([tmp_path]).table))]
    clubs = [folder.name.removeprefix("club=") for folder in (one.folder, one.folder, other.folder)]
    assert [club for club, _ in named] == sorted(clubs)
    assert {len(who) for _, who in named} == {32}


def test_an_export_deletes_what_one_that_was_killed_left(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    """It has mornings that no list of who was erased stands beside."""
    club = exported(store, tmp_path).folder
    left, of_others = tmp_path / f".new-{club.name}" / "abc", tmp_path / ".new-club=0123" / "abc"
    for folder in (left, of_others):
        shutil.copytree(club, folder)
    exported(store, tmp_path)
    assert not left.exists()
    assert of_others.exists()


def test_two_exports_to_one_archive_are_made_one_after_the_other(
    store: Store, past: list[PastMorning], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    others: list[Thread] = []
    sum_of = months._sum_of

    def beginning_another(file: Path) -> str:
        if not others:
            others.append(Thread(target=exported, args=(store, tmp_path)))
            others[0].start()
            others[0].join(0.3)
        return sum_of(file)

    with monkeypatch.context() as patched:
        patched.setattr(months, "_sum_of", beginning_another)
        folder = exported(store, tmp_path).folder
        others[0].join()
    assert list(tmp_path.glob("club=*")) == [folder]
    assert list(tmp_path.glob(".new-*/*")) == []
    assert len(list(read_archives([tmp_path]).table.mornings())) == len(past)


def test_an_export_whose_unfinished_folder_was_deleted_fails_and_leaves_what_was_there(
    store: Store, past: list[PastMorning], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where folders cannot be locked, another export may take it for one that was left."""
    exported(store, tmp_path)
    sum_of = months._sum_of

    def deleting_first(file: Path) -> str:
        found = sum_of(file)
        for unfinished in tmp_path.glob(".new-*/*"):
            shutil.rmtree(unfinished)
        return found

    with monkeypatch.context() as patched:
        patched.setattr(months, "_sum_of", deleting_first)
        with pytest.raises(StoreUnusable, match="cannot be written"):
            exported(store, tmp_path)
    assert len(list(read_archives([tmp_path]).table.mornings())) == len(past)


def test_where_folders_cannot_be_locked_only_what_is_old_counts_as_left_behind(
    store: Store, past: list[PastMorning], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise OSError(ENOLCK, "No locks available")

    monkeypatch.setattr("fcntl.flock", refuse)
    club = exported(store, tmp_path).folder
    old, fresh = (tmp_path / f".new-{club.name}" / name for name in ("old", "fresh"))
    for folder in (old, fresh):
        folder.mkdir()
    os.utime(old, (0, 0))
    exported(store, tmp_path)
    assert (old.exists(), fresh.exists()) == (False, True)


def test_an_export_from_within_the_clubs_own_folder_is_the_same_export(
    store: Store, past: list[PastMorning], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = exported(store, tmp_path).folder
    monkeypatch.chdir(folder)
    assert exported(store, Path()) == Exported(folder, len(past))
    assert len(list(read_archives([tmp_path]).table.mornings())) == len(past)


def test_an_export_to_the_clubs_own_folder_is_the_same_export(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    folder = exported(store, tmp_path / "archive").folder
    assert exported(store, folder) == Exported(folder, len(past))
    assert len(list(read_archives([tmp_path / "archive"]).table.mornings())) == len(past)
    assert list((tmp_path / "archive").glob("[!.]*")) == [folder]


def test_an_export_is_an_act(store: Store, past: list[PastMorning], tmp_path: Path) -> None:
    exported(store, tmp_path)
    [act] = acts_of(store.read(lambda transaction: transaction.ledger.acts(limit=1)))
    assert (act.act, act.by, act.about) == (
        "archive-exported",
        COMMAND_LINE,
        {"folder": str(tmp_path)},
    )


def test_archives_of_clubs_are_one_and_nobody_is_mixed_up(
    store: Store, past: list[PastMorning], other_club: Store, tmp_path: Path
) -> None:
    one, other = exported(store, tmp_path / "x"), exported(other_club, tmp_path / "deep" / "y")
    for paths in ([tmp_path], [tmp_path / "x", other.folder], [one.folder, tmp_path / "deep"]):
        together = read_archives(paths).table
        assert len(list(together.mornings())) == 4
        assert len(athletes(together)) == 3  # one more Kim


def test_one_club_is_not_counted_twice(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    club = exported(store, tmp_path / "one").folder
    shutil.copytree(club, tmp_path / "two" / club.name)
    with pytest.raises(InvalidInput, match="One club is there twice"):
        read_archives([tmp_path])
    with pytest.raises(InvalidInput, match="holds no archive"):
        read_archives([tmp_path / "two" / club.name / "year=2026"])


def test_a_copy_of_a_club_under_another_name_is_refused(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    club = exported(store, tmp_path).folder
    shutil.copytree(club, tmp_path / "club=foo")
    with pytest.raises(StoreUnusable, match=rf"club=foo .*{club.name}.*leave it out"):
        read_archives([tmp_path])


def test_mornings_of_one_club_in_the_folder_of_another_are_refused(
    store: Store, past: list[PastMorning], other_club: Store, tmp_path: Path
) -> None:
    """A copied folder whose list the other club has renewed looks like that club's own."""
    one, other = exported(store, tmp_path).folder, exported(other_club, tmp_path).folder
    shutil.rmtree(other)
    shutil.copytree(one, other)
    list_erased_in(other_club, tmp_path, LATER)
    with pytest.raises(StoreUnusable, match=rf"{other}/year.* is of {one.name}"):
        read_archives([tmp_path])


@pytest.mark.parametrize("deep", ["", "federation"])
def test_a_folder_that_is_no_clubs_is_named(
    store: Store, past: list[PastMorning], other_club: Store, tmp_path: Path, deep: str
) -> None:
    exported(store, tmp_path)
    renamed = tmp_path / deep / "club1"
    exported(other_club, tmp_path / deep).folder.rename(renamed)
    with pytest.raises(InvalidInput, match=rf"{tmp_path / (deep or 'club1')} belongs to no club"):
        read_archives([tmp_path])


def test_mornings_outside_the_folders_of_clubs_are_named(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    month = next(exported(store, tmp_path / "deep").folder.rglob("*.parquet"))
    shutil.copy(month, tmp_path / "deep")
    (tmp_path / "ABOUT.txt").touch()
    with pytest.raises(
        InvalidInput, match=rf"{tmp_path}/deep/mornings\.parquet belongs to no club"
    ):
        read_archives([tmp_path])


def test_an_export_that_is_being_written_beside_the_others_is_passed_over(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    club = exported(store, tmp_path).folder
    shutil.copytree(club, tmp_path / ".new-abcdefgh")
    assert read_archives([tmp_path]).clubs == (club,)


def test_a_club_may_be_read_from_within_its_folder(
    store: Store, past: list[PastMorning], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    club = exported(store, tmp_path).folder
    monkeypatch.chdir(club)
    assert read_archives([Path()]).clubs == (club,)


def test_who_is_erased_is_left_out_of_an_archive_from_then_on(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    exported(store, tmp_path)
    before = athletes(read_archives([tmp_path]).table)
    erase(store, KIM.id, by=COMMAND_LINE, at=LATER)
    [left] = read_archives([tmp_path]).table.mornings()
    assert (left.date, left.day) == (past[2].date, past[2].day)
    assert left.athlete_id in before
    assert exported(store, tmp_path).mornings == 1


def test_the_list_of_a_copy_elsewhere_is_brought_up_to_date(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    exported(store, tmp_path / "archive")
    shutil.copytree(tmp_path / "archive", tmp_path / "copy")
    erase(store, KIM.id, by=COMMAND_LINE, at=LATER)
    assert len(athletes(read_archives([tmp_path / "copy"]).table)) == 2
    list_erased_in(store, tmp_path / "copy", LATER)
    assert len(athletes(read_archives([tmp_path / "copy"]).table)) == 1
    with pytest.raises(NotFound, match="has no folder club="):
        list_erased_in(store, tmp_path / "elsewhere", LATER)


@pytest.mark.parametrize("exported_anew", [False, True])
def test_who_comes_back_under_an_id_brings_no_erased_morning_back(
    store: Store, past: list[PastMorning], advisor: Advisor, tmp_path: Path, exported_anew: bool
) -> None:
    exported(store, tmp_path / "archive")
    before = athletes(read_archives([tmp_path / "archive"]).table)
    shutil.copytree(tmp_path / "archive", tmp_path / "copy")
    erase(store, KIM.id, by=COMMAND_LINE, at=LATER)
    post_check_in(store, advisor, KIM, DAY + A_MONTH)
    if exported_anew:
        exported(store, tmp_path / "archive")
    list_erased_in(store, tmp_path / "copy", LATER)
    [sam] = athletes(read_archives([tmp_path / "copy"]).table)
    assert sam in before
    if exported_anew:
        [kim] = athletes(read_archives([tmp_path / "archive"]).table) - {sam}
        assert kim not in before


def test_an_erasure_goes_on_where_an_archive_is_gone_or_cannot_be_written(
    store: Store, past: list[PastMorning], tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    exported(store, tmp_path / "gone")
    shutil.rmtree(tmp_path / "gone")
    club = exported(store, tmp_path / "kept").folder
    (club / ERASED).unlink()
    (club / ERASED).mkdir()
    assert erase(store, KIM.id, by=COMMAND_LINE, at=LATER).removed["athletes"] == 1
    [told] = caplog.messages
    assert told.endswith(f"Once it can be: dawnrule archive erased --to '{tmp_path / 'kept'}'")


def test_who_is_erased_while_an_archive_is_put_in_place_is_on_its_list(
    store: Store, past: list[PastMorning], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rename = Path.rename

    def erasing_first(self: Path, target: Path) -> Path:
        erase(store, KIM.id, by=COMMAND_LINE, at=LATER)
        return rename(self, target)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "rename", erasing_first)
        exported(store, tmp_path)
    assert len(athletes(read_archives([tmp_path]).table)) == 1


def test_of_two_lists_that_are_written_at_once_nobody_is_missing(
    store: Store, past: list[PastMorning], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    exported(store, tmp_path)
    left, replace = [SAM.id], os.replace

    def erasing_first(source: Path, target: Path) -> None:
        if left:
            erase(store, left.pop(), by=COMMAND_LINE, at=LATER)
        replace(source, target)

    with monkeypatch.context() as patched:
        patched.setattr(os, "replace", erasing_first)
        erase(store, KIM.id, by=COMMAND_LINE, at=LATER)
    assert athletes(read_archives([tmp_path]).table) == set()


def test_an_archive_without_its_list_is_not_read(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    (exported(store, tmp_path).folder / ERASED).unlink()
    with pytest.raises(StoreUnusable, match=r"erased\.txt, the list of who was erased"):
        read_archives([tmp_path])


@pytest.mark.parametrize("spoilt", ["empty", "short", "one bit"])
def test_a_file_that_is_not_as_it_was_exported_is_named(
    store: Store, past: list[PastMorning], tmp_path: Path, spoilt: str
) -> None:
    _, file = sorted(exported(store, tmp_path).folder.rglob("*.parquet"))
    content = file.read_bytes()
    bit = content[:2000] + bytes([content[2000] ^ 1]) + content[2001:]
    file.write_bytes({"empty": b"", "short": content[:-1], "one bit": bit}[spoilt])
    with pytest.raises(StoreUnusable, match=rf"{file} is not as it was.*Copy it again"):
        read_archives([tmp_path])


def test_an_archive_with_words_of_a_newer_version_is_not_read(
    store: Store, past: list[PastMorning], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that is not known would count as though it were not reported."""
    newer = {**months.words_of(FactDictionary.bundled()), "illness": ["none", "heat-stroke"]}
    with monkeypatch.context() as patched:
        patched.setattr(months, "words_of", lambda dictionary: newer)
        exported(store, tmp_path)
    with pytest.raises(StoreUnusable, match=r"its column illness may have heat-stroke.*newer one"):
        read_archives([tmp_path])


def test_a_file_that_is_not_of_an_export_is_named(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    folder = exported(store, tmp_path).folder
    file, _ = sorted(folder.rglob("*.parquet"))
    pl.DataFrame({"athlete_id": [1]}).write_parquet(file)
    write_sums(folder)
    with pytest.raises(StoreUnusable, match=rf"{file}.*no export"):
        read_archives([tmp_path])


@pytest.mark.parametrize("spoilt", ["", "f8f69c93", "a-03\n", "0" * 32, f"{'0' * 32}\n"])
def test_a_list_that_was_copied_in_part_is_not_believed(
    store: Store, past: list[PastMorning], tmp_path: Path, spoilt: str
) -> None:
    (exported(store, tmp_path).folder / ERASED).write_text(spoilt, encoding="utf-8")
    with pytest.raises(StoreUnusable, match=r"erased\.txt.*copied in part.*archive erased"):
        read_archives([tmp_path])


def test_no_part_of_a_list_is_taken_for_the_list(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    """Or those who are missing from it would be back."""
    file = exported(store, tmp_path).folder / ERASED
    for athlete in (KIM, SAM):
        erase(store, athlete.id, by=COMMAND_LINE, at=LATER)
    whole = file.read_text(encoding="utf-8")
    first, second, end = whole.splitlines(keepends=True)
    longer = f"{'0' * 32}\n{whole}"
    for part in (*(whole[:size] for size in range(len(whole))), first + end, second + end, longer):
        file.write_text(part, encoding="utf-8")
        with pytest.raises(StoreUnusable, match=r"erased\.txt"):
            read_archives([tmp_path])
    file.write_text(whole, encoding="utf-8")
    assert athletes(read_archives([tmp_path]).table) == set()


def test_the_list_of_another_club_is_not_believed(
    store: Store, past: list[PastMorning], other_club: Store, tmp_path: Path
) -> None:
    one, other = exported(store, tmp_path).folder, exported(other_club, tmp_path).folder
    shutil.copy(other / ERASED, one / ERASED)
    with pytest.raises(StoreUnusable, match=rf"{one} has the list.* of {other.name}"):
        read_archives([tmp_path])


def test_a_list_that_cannot_be_finished_stays_as_it_was(
    store: Store, past: list[PastMorning], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = exported(store, tmp_path).folder / ERASED
    before = file.read_text(encoding="utf-8")

    def full(self: Path, text: str, encoding: str) -> int:
        with self.open("w", encoding=encoding) as half:
            half.write(text[:20])
        raise OSError(ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(Path, "write_text", full)
        erase(store, KIM.id, by=COMMAND_LINE, at=LATER)
    assert file.read_text(encoding="utf-8") == before
    list_erased_in(store, tmp_path, LATER)
    assert len(athletes(read_archives([tmp_path]).table)) == 1


def test_a_path_that_is_no_archive_is_told_for_what_it_is(tmp_path: Path) -> None:
    (tmp_path / "sheet.csv").touch()
    with pytest.raises(InvalidInput, match=r"There is no folder .*/nowhere"):
        read_archives([tmp_path / "nowhere"])
    with pytest.raises(InvalidInput, match=r"sheet\.csv is a file"):
        read_archives([tmp_path / "sheet.csv"])


def test_an_archive_that_is_named_twice_is_refused(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    folder = exported(store, tmp_path / "archive").folder
    for paths in ([folder, tmp_path], [tmp_path, tmp_path]):
        with pytest.raises(InvalidInput, match=rf"{folder} is given twice"):
            read_archives(paths)


def test_a_month_that_was_not_copied_is_missed(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    folder = exported(store, tmp_path).folder
    shutil.rmtree(folder / "year=2026" / "month=04")
    with pytest.raises(StoreUnusable, match=r"month=04/mornings\.parquet cannot be read.*Copy"):
        read_archives([tmp_path])


@pytest.mark.parametrize("place", ["year=2019/month=12", "year=2026/month=03/more", "."])
def test_a_file_that_the_sums_do_not_name_is_named(
    store: Store, past: list[PastMorning], tmp_path: Path, place: str
) -> None:
    """A copy may have kept it of an earlier export, with mornings of who was erased since."""
    folder = exported(store, tmp_path).folder
    (folder / place).mkdir(parents=True, exist_ok=True)
    file = folder / place / "mornings.parquet"
    shutil.copy(folder / "year=2026" / "month=03" / "mornings.parquet", file)
    with pytest.raises(StoreUnusable, match=rf"{file.resolve()} is not among.*Delete it"):
        read_archives([tmp_path])


def test_files_that_hold_no_mornings_may_lie_beside_them(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    folder = exported(store, tmp_path).folder
    (folder / "ABOUT.txt").touch()
    (folder / "year=2026" / "month=03" / "._mornings.parquet").touch()
    assert len(list(read_archives([tmp_path]).table.mornings())) == len(past)


def rewrite(
    folder: Path, change: Callable[[pl.DataFrame], pl.DataFrame], *, lists: bool, marks: bool = True
) -> None:
    """Change the columns of a folder's files, and the sums; ``lists`` says whether the files list
    the columns that they have then, ``marks`` whether they keep their marks at all."""
    for file in folder.rglob("*.parquet"):
        kept = {
            name: value
            for name, value in pl.read_parquet_metadata(file).items()
            if name != "ARROW:schema"
        }
        rows = change(pl.read_parquet(file, hive_partitioning=False))
        if lists:
            kept["columns"] = json.dumps(rows.columns)
        rows.write_parquet(file, metadata=kept if marks else {})
    write_sums(folder)


def write_sums(folder: Path) -> None:
    named = (
        f"{sha256(file.read_bytes()).hexdigest()}  {file.relative_to(folder)}\n"
        for file in sorted(folder.rglob("*.parquet"))
    )
    (folder / "SHA256SUMS").write_text("".join(named), encoding="utf-8")


@pytest.mark.parametrize("column", ["soreness", "date", "outcome_session"])
def test_a_column_that_was_exported_is_missed(
    store: Store, past: list[PastMorning], tmp_path: Path, column: str
) -> None:
    """It would count as not reported, and what was swapped would be trained."""
    rewrite(exported(store, tmp_path).folder, lambda rows: rows.drop(column), lists=False)
    with pytest.raises(StoreUnusable, match=rf"its column {column} is missing"):
        read_archives([tmp_path])


def test_an_archive_of_a_version_that_had_fewer_facts_is_read(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    rewrite(exported(store, tmp_path).folder, lambda rows: rows.drop("rest_ordered"), lists=True)
    back = read_archives([tmp_path]).table.mornings()
    assert [morning.day for morning in back] == [morning.day for morning in past]


@pytest.mark.parametrize(("lists", "told"), [(False, "was added"), (True, "newer one")])
def test_a_column_that_this_version_does_not_know_is_refused(
    store: Store, past: list[PastMorning], tmp_path: Path, lists: bool, told: str
) -> None:
    folder = exported(store, tmp_path).folder
    rewrite(folder, lambda rows: rows.with_columns(mood=pl.lit(1)), lists=lists)
    with pytest.raises(StoreUnusable, match=rf"its column mood .*{told}"):
        read_archives([tmp_path])


def test_a_column_of_another_type_is_refused(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    other = pl.col("soreness").cast(pl.String)
    rewrite(exported(store, tmp_path).folder, lambda rows: rows.with_columns(other), lists=False)
    with pytest.raises(StoreUnusable, match="its column soreness is of another type"):
        read_archives([tmp_path])


def test_files_that_do_not_say_what_they_hold_are_refused(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    """An earlier version wrote none of it, nor do programs that write a file anew."""
    folder = exported(store, tmp_path).folder
    rewrite(folder, lambda rows: rows, lists=False, marks=False)
    with pytest.raises(StoreUnusable, match=r"neither its club nor its columns.*Export"):
        read_archives([tmp_path])


@pytest.mark.parametrize("spoilt", [None, "0f3a"])
def test_an_archive_without_the_sums_of_its_files_is_not_read(
    store: Store, past: list[PastMorning], tmp_path: Path, spoilt: str | None
) -> None:
    sums = exported(store, tmp_path).folder / "SHA256SUMS"
    if spoilt is None:
        sums.unlink()
    else:
        sums.write_text(spoilt, encoding="utf-8")
    with pytest.raises(StoreUnusable, match=r"SHA256SUMS.*Export or copy"):
        read_archives([tmp_path])


def test_the_sums_of_an_archive_are_those_of_its_files(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    folder = exported(store, tmp_path).folder
    sums = (folder / "SHA256SUMS").read_text(encoding="utf-8")
    assert sums.splitlines() == [
        f"{sha256(file.read_bytes()).hexdigest()}  {file.relative_to(folder)}"
        for file in sorted(folder.rglob("*.parquet"))
    ]
