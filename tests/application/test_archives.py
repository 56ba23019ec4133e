"""Archives that leave the database: no names, many read as one, and erasure reaches them."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

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
    back = list(read_archives([tmp_path / "archive"]).mornings())
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
    before = athletes(read_archives([tmp_path]))
    post_check_in(store, advisor, SAM, DAY + ONE_DAY)
    second = exported(store, tmp_path)
    assert (second.folder, second.mornings) == (first.folder, len(past) + 1)
    assert athletes(read_archives([tmp_path])) == before
    assert [path.name for path in tmp_path.iterdir() if path.is_dir()] == [first.folder.name]


def test_an_export_to_the_clubs_own_folder_is_the_same_export(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    folder = exported(store, tmp_path / "archive").folder
    assert exported(store, folder) == Exported(folder, len(past))
    assert len(list(read_archives([tmp_path / "archive"]).mornings())) == len(past)
    assert list((tmp_path / "archive").iterdir()) == [folder]


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
        together = read_archives(paths)
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


def test_who_is_erased_is_left_out_of_an_archive_from_then_on(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    exported(store, tmp_path)
    before = athletes(read_archives([tmp_path]))
    erase(store, KIM.id, by=COMMAND_LINE, at=LATER)
    [left] = read_archives([tmp_path]).mornings()
    assert (left.date, left.day) == (past[2].date, past[2].day)
    assert left.athlete_id in before
    assert exported(store, tmp_path).mornings == 1


def test_the_list_of_a_copy_elsewhere_is_brought_up_to_date(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    exported(store, tmp_path / "archive")
    shutil.copytree(tmp_path / "archive", tmp_path / "copy")
    erase(store, KIM.id, by=COMMAND_LINE, at=LATER)
    assert len(athletes(read_archives([tmp_path / "copy"]))) == 2
    list_erased_in(store, tmp_path / "copy", LATER)
    assert len(athletes(read_archives([tmp_path / "copy"]))) == 1
    with pytest.raises(NotFound, match="has no folder club="):
        list_erased_in(store, tmp_path / "elsewhere", LATER)


@pytest.mark.parametrize("exported_anew", [False, True])
def test_who_comes_back_under_an_id_brings_no_erased_morning_back(
    store: Store, past: list[PastMorning], advisor: Advisor, tmp_path: Path, exported_anew: bool
) -> None:
    exported(store, tmp_path / "archive")
    before = athletes(read_archives([tmp_path / "archive"]))
    shutil.copytree(tmp_path / "archive", tmp_path / "copy")
    erase(store, KIM.id, by=COMMAND_LINE, at=LATER)
    post_check_in(store, advisor, KIM, DAY + A_MONTH)
    if exported_anew:
        exported(store, tmp_path / "archive")
    list_erased_in(store, tmp_path / "copy", LATER)
    [sam] = athletes(read_archives([tmp_path / "copy"]))
    assert sam in before
    if exported_anew:
        [kim] = athletes(read_archives([tmp_path / "archive"])) - {sam}
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
    named = f"{sha256(file.read_bytes()).hexdigest()}  {file.relative_to(folder)}\n"
    (folder / "SHA256SUMS").write_text(named, encoding="utf-8")
    with pytest.raises(StoreUnusable, match=rf"{file}.*its column position"):
        read_archives([tmp_path])


@pytest.mark.parametrize("spoilt", ["f8f69c93", "a-03\n", "0" * 32])
def test_a_list_that_was_copied_in_part_is_not_believed(
    store: Store, past: list[PastMorning], tmp_path: Path, spoilt: str
) -> None:
    (exported(store, tmp_path).folder / ERASED).write_text(spoilt, encoding="utf-8")
    with pytest.raises(StoreUnusable, match=r"erased\.txt.*copied in part"):
        read_archives([tmp_path])


def test_a_path_that_is_no_archive_is_told_for_what_it_is(tmp_path: Path) -> None:
    (tmp_path / "sheet.csv").touch()
    with pytest.raises(InvalidInput, match=r"There is no folder .*/nowhere"):
        read_archives([tmp_path / "nowhere"])
    with pytest.raises(InvalidInput, match=r"sheet\.csv is a file"):
        read_archives([tmp_path / "sheet.csv"])


def test_an_archive_that_is_named_twice_is_read_once(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    folder = exported(store, tmp_path / "archive").folder
    assert len(list(read_archives([folder, tmp_path]).mornings())) == len(past)


def test_a_month_that_was_not_copied_is_missed(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    folder = exported(store, tmp_path).folder
    shutil.rmtree(folder / "year=2026" / "month=04")
    with pytest.raises(StoreUnusable, match=r"month=04/mornings\.parquet cannot be read.*Copy"):
        read_archives([tmp_path])


def test_a_month_that_a_copy_kept_of_an_earlier_export_is_left_out(
    store: Store, past: list[PastMorning], tmp_path: Path
) -> None:
    folder = exported(store, tmp_path).folder
    shutil.copytree(folder / "year=2026", folder / "year=2019")
    assert len(list(read_archives([tmp_path]).mornings())) == len(past)


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
