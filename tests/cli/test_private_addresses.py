"""``dawnrule addresses``: addresses shown once, by athlete and purpose, and revoked for good."""

from __future__ import annotations

from pathlib import Path

import pytest

from dawnrule.model.entities import Athlete
from dawnrule.store import PrivateAddress, Purpose, Store, hash_token
from tests.cli.terminal import typed


@pytest.fixture
def db(tmp_path: Path) -> Path:
    file = tmp_path / "squad.db"
    with Store.open(file) as store:
        store.write(
            lambda transaction: transaction.athletes.put(Athlete("a-03", "Ilka", "Europe/Berlin"))
        )
    return file


def create(db: Path, *options: str, purpose: str = "read") -> list[str]:
    result = typed(
        "addresses", "create", "--athlete", "a-03", "--purpose", purpose, *options, "--db", db
    )
    assert result.exit_code == 0
    assert "Not shown again" in result.stderr
    return result.stdout.splitlines()


def known(db: Path, path: str) -> PrivateAddress | None:
    hashed = hash_token(path.split("/")[-2 if "/feeds/" in path else -1])
    with Store.open(db) as store:
        return store.read(lambda transaction: transaction.private_addresses.by_hash(hashed))


def test_the_address_stands_alone_on_standard_output(db: Path) -> None:
    text, plain, calendar = create(db)
    assert text.startswith("http://127.0.0.1:8080/feeds/")
    assert [line.rpartition("/")[2] for line in (plain, calendar)] == ["today.json", "outlook.ics"]
    [page] = create(db, "--url", "https://dawn.example/", purpose="check-in")
    assert page.startswith("https://dawn.example/check-in/")


def test_without_a_url_it_begins_with_where_the_service_listens_and_says_so(db: Path) -> None:
    words = ("addresses", "create", "--athlete", "a-03", "--purpose", "check-in", "--db", db)
    result = typed(*words, DAWNRULE_HOST="192.0.2.7", DAWNRULE_PORT="9000")
    assert result.stdout.startswith("http://192.0.2.7:9000/check-in/")
    assert "pass it with --url" in result.stderr
    assert "--url" not in typed(*words, "--url", "https://dawn.example").stderr
    told = typed(*words, DAWNRULE_PUBLIC_URL="https://dawn.example/")
    assert told.stdout.startswith("https://dawn.example/check-in/")
    assert "--url" not in told.stderr


def test_no_address_is_made_that_could_not_be_shown(db: Path) -> None:
    words = ("addresses", "create", "--athlete", "a-03", "--purpose", "check-in", "--db", db)
    assert typed(*words, DAWNRULE_PORT="none").exit_code == 1
    with Store.open(db) as store:
        assert store.read(lambda transaction: transaction.private_addresses.all()) == []


def test_an_address_is_for_one_athlete_and_purpose(db: Path) -> None:
    [page] = create(db, "--label", "tablet", purpose="check-in")
    address = known(db, page)
    assert address is not None
    assert (address.athlete_id, address.purpose, address.label) == (
        "a-03",
        Purpose.CHECK_IN,
        "tablet",
    )


def test_addresses_are_listed_by_id_and_never_shown_again(db: Path) -> None:
    [page] = create(db, "--label", "tablet", purpose="check-in")
    result = typed("addresses", "list", "--db", db)
    header, _, line = result.stdout.splitlines()
    assert header.split()[:4] == ["Id", "Athlete", "Purpose", "Label"]
    assert line.split()[1:4] == ["a-03", "check-in", "tablet"]
    assert page.rpartition("/")[2] not in result.stdout
    of_another = typed("addresses", "list", "--athlete", "a-04", "--db", db)
    assert len(of_another.stdout.splitlines()) == 2


def test_a_replaced_address_ends_and_a_revoked_one_too(db: Path) -> None:
    [first] = create(db, purpose="check-in")
    address = known(db, first)
    assert address is not None
    second = typed("addresses", "rotate", address.id, "--db", db).stdout.strip()
    assert known(db, first) is None
    replacing = known(db, second)
    assert replacing is not None
    assert typed("addresses", "revoke", replacing.id, "--db", db).exit_code == 0
    assert known(db, second) is None
    again = typed("addresses", "revoke", replacing.id, "--db", db)
    assert (again.exit_code, again.stdout) == (2, "")
    assert f"There is no address '{replacing.id}'" in again.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--athlete", "a-99", "--purpose", "read"), "no athlete 'a-99'"),
        (("--athlete", "a-03", "--purpose", "write"), "'write' is not one of"),
        (("--athlete", "a-03"), "Missing option '--purpose'"),
        (("--purpose", "read"), "Missing option '--athlete'"),
    ],
)
def test_an_address_that_cannot_be_is_not_made(
    db: Path, options: tuple[str, ...], words: str
) -> None:
    result = typed("addresses", "create", *options, "--db", db)
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in result.stderr
