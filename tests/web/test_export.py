"""The export of everything that is stored of a person."""

from __future__ import annotations

import csv
import io
import json
import re
from typing import Any
from zipfile import ZipFile

import pytest

from dawnrule.application.heads import heads_in
from dawnrule.store import Store, hash_key, hash_token
from dawnrule.store.tables.personal_data import KINDS
from tests.conftest import Client, Clock
from tests.factories import EXAMPLE, SESSION, changed
from tests.web.test_replays import done

ADDRESS = {"purpose": "read"}


def exported(client: Client, athlete_id: str = "a-03") -> dict[str, str]:
    """The files of an export by name."""
    answer = client.get(f"/v1/athletes/{athlete_id}/export")
    assert (answer.status_code, answer.mimetype) == (200, "application/zip")
    with ZipFile(io.BytesIO(answer.data)) as packed:
        return {name: packed.read(name).decode() for name in packed.namelist()}


def rows(files: dict[str, str], kind: str) -> list[dict[str, str]]:
    """The rows of a CSV file."""
    return list(csv.DictReader(io.StringIO(files[f"{kind}.csv"].removeprefix("\ufeff"))))


@pytest.fixture
def posted(coach: Client, clock: Clock) -> str:
    """A check-in, the same put right, a session, a plan and an address; its token."""
    coach.post("/v1/check-ins", json=EXAMPLE)
    coach.post("/v1/check-ins", json=changed("/sleep/hours", 8.0))
    coach.post("/v1/sessions", json=SESSION)
    token: str = coach.post("/v1/athletes/a-03/addresses", json=ADDRESS).json["urls"][0]
    return token.split("/")[-2]


def test_an_export_has_each_kind_as_json_and_as_csv_with_a_readme(
    coach: Client, posted: str
) -> None:
    files = exported(coach)
    forms = {f"{kind}.{form}" for kind in KINDS for form in ("json", "csv")}
    assert set(files) == forms | {"README.txt"}


def test_the_readme_tells_of_each_file(coach: Client, posted: str) -> None:
    readme = exported(coach)["README.txt"]
    assert all(re.search(rf"^{kind}( \(\d+\))?: ", readme, re.MULTILINE) for kind in KINDS)
    assert "check-ins (2): what you reported" in readme


def test_all_revisions_of_a_check_in_are_there_as_they_came(coach: Client, posted: str) -> None:
    files = exported(coach)
    plain = json.loads(files["check-ins.json"])
    assert [row["revision"] for row in plain] == [1, 2]
    assert [row["check_in"]["sleep"]["hours"] for row in plain] == [EXAMPLE["sleep"]["hours"], 8.0]
    hours = [row["check_in.sleep.hours"] for row in rows(files, "check-ins")]
    assert [float(text) for text in hours] == [EXAMPLE["sleep"]["hours"], 8.0]


def test_advice_is_there_with_its_record_and_its_place_in_the_ledger(
    coach: Client, posted: str
) -> None:
    files = exported(coach)
    [first, *_] = json.loads(files["advice.json"])
    proof = coach.get(f"/v1/advice/{first['advice_id']}/proof").json
    assert first["record"] == json.loads(proof["record"])
    assert (first["position"], first["salt"]) == (proof["entry"]["position"], proof["salt"])
    told = rows(files, "advice")[0]
    assert told["headline"] == first["record"]["advice"]["headline"]


def test_sessions_keys_addresses_and_acts_are_there(coach: Client, posted: str) -> None:
    files = exported(coach)
    assert len(rows(files, "sessions")) == 1
    assert [row["purpose"] for row in rows(files, "addresses")] == ["read"]
    assert rows(files, "acts")[-1]["act.act"] == "athlete-exported"


def test_what_replays_found_of_a_person_is_there(coach: Client, posted: str) -> None:
    coach.post("/v1/check-ins", json=changed("/athlete_id", "a-04"))
    asked = coach.post("/v1/replays", json={"rule_set": "baseline@1.0.0"})
    done(coach, asked.json["replay_id"])
    files = exported(coach)
    [found] = json.loads(files["replays.json"])
    assert (found["replay_id"], found["rule_set"]) == (asked.json["replay_id"], "baseline@1.0.0")
    assert found["found"] == {"athlete_id": "a-03", "protected": "same", "count": 1}
    assert rows(files, "replays")[0]["found.protected"] == "same"


def test_no_key_and_no_token_is_exported_nor_their_hashes(
    coach: Client, athlete: Client, athlete_key: str, posted: str
) -> None:
    files = exported(athlete)
    assert len(rows(files, "keys")) == 1
    for secret in (athlete_key, hash_key(athlete_key), posted, hash_token(posted)):
        assert all(secret not in text for text in files.values())


def test_nothing_of_anybody_else_is_exported(coach: Client, posted: str) -> None:
    coach.post("/v1/check-ins", json=changed("/athlete_id", "a-04"))
    files = exported(coach)
    assert all("a-04" not in text and "Tomo" not in text for text in files.values())


def test_an_athlete_exports_what_is_their_own(athlete: Client, posted: str) -> None:
    assert json.loads(exported(athlete)["athlete.json"])[0]["name"] == "Mara"
    assert athlete.get("/v1/athletes/a-04/export").status_code == 404


def test_an_export_of_somebody_new_is_whole_too(coach: Client) -> None:
    files = exported(coach, "a-05")
    assert json.loads(files["check-ins.json"]) == []
    assert rows(files, "athlete")[0]["time_zone"] == "America/Los_Angeles"


@pytest.mark.parametrize("start", ["=", "\uff1d"])
def test_text_that_a_spreadsheet_would_take_for_a_formula_is_led_by_an_apostrophe(
    coach: Client, start: str
) -> None:
    name = f'{start}HYPERLINK("http://127.0.0.1","Mara")'
    coach.put("/v1/athletes/a-06", json={"name": name, "time_zone": "UTC"})
    files = exported(coach, "a-06")
    assert rows(files, "athlete")[0]["name"] == f"'{name}"
    assert json.loads(files["athlete.json"])[0]["name"] == name


def test_no_table_that_names_an_athlete_is_forgotten(store: Store) -> None:
    """Neither by the export, nor where it is counted what erasing removes."""

    def tables(transaction: Any) -> set[str]:
        found = transaction.athletes.connection.execute(
            """
            SELECT sqlite_master.name FROM sqlite_master, pragma_table_info(sqlite_master.name)
            WHERE pragma_table_info.name = 'athlete_id'
            """
        )
        return {name for (name,) in found}

    named = store.read(tables)
    assert "check_ins" in named
    assert named <= set(re.findall(r"(?:FROM|JOIN) (\w+)", " ".join(KINDS.values())))
    beside = {"athletes", "shadow_verdicts", "replays"}
    assert named | beside == set(
        store.write(lambda transaction: transaction.athletes.delete("nobody"))
    )


@pytest.mark.usefixtures("posted")
def test_an_export_holds_the_newest_head_to_be_checked_against_later(
    coach: Client, store: Store
) -> None:
    readme = exported(coach)["README.txt"]
    assert heads_in(readme) == [store.read(lambda transaction: transaction.ledger.head())]
