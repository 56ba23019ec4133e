"""The macro in Calc: each verdict in its row, and nothing else."""

from __future__ import annotations

import ast
import shutil
import struct
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any, TypeAlias

import pytest
from openpyxl import load_workbook

from tests.clients.calc import MACRO, Calc, key_of, running_calc
from tests.clients.conftest import CLIENTS, TODAY, Ask, PrivateAddress
from tests.clients.squad_sheet import (
    ANSWERS,
    CHECK_INS,
    LABELS,
    READ_ME,
    TODAYS,
    cell_of,
    put_squad,
    row_of_today,
    table,
)
from tests.conftest import LiveServer

FOLDER = CLIENTS / "spreadsheet"
MESSAGE, NO_MESSAGE = ["read", READ_ME, "A3"], ["write", READ_ME, "A3", ""]
MARCH_9, SIX_IN_THE_EVENING = 46090, 0.75
"""As Calc counts: the days since the end of 1899, and the part of a day."""

NOBODY_LISTENS_HERE = "http://127.0.0.1:1"

Copy: TypeAlias = Callable[..., str]


@pytest.fixture(scope="module")
def calc(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Calc]:
    with running_calc(tmp_path_factory.mktemp("calc")) as calc:
        yield calc


@pytest.fixture
def coach(calc: Calc, live_server: LiveServer) -> Calc:
    """Calc with the key of a coach, whose squad is that of the sheet."""
    put_squad(live_server)
    calc.keep_key(live_server.base_url, live_server.keys["coach"])
    return calc


@pytest.fixture
def copy(calc: Calc, tmp_path: Path) -> Copy:
    """Copies the squad sheet that is shipped to a place that Calc trusts."""

    def copy_sheet(kind: str = ".ods") -> str:
        to = calc.folder / f"{tmp_path.name}{kind}"
        return str(shutil.copy(FOLDER / f"squad{kind}", to))

    return copy_sheet


@dataclass
class Elsewhere:
    """A server that is not the service. It answers each request alike and keeps what came."""

    address: str
    status: int = 200
    kind: str = "application/json"
    body: str = ""
    location: str = ""
    came: list[tuple[str, bytes]] | None = None


@pytest.fixture
def elsewhere() -> Iterator[Elsewhere]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            assert result.came is not None
            length = int(self.headers.get("Content-Length", 0))
            result.came.append((self.path, self.rfile.read(length)))
            self.send_response(result.status)
            self.send_header("Content-Type", result.kind)
            if result.location:
                self.send_header("Location", result.location)
            self.end_headers()
            self.wfile.write(result.body.encode())

        def do_GET(self) -> None:
            self.do_POST()

        def log_message(self, *_: Any) -> None:
            """Quietly."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    result = Elsewhere(f"http://127.0.0.1:{server.server_port}", came=[])
    thread = Thread(target=server.serve_forever)
    thread.start()
    yield result
    server.shutdown()
    thread.join()
    server.server_close()


def asked(calc: Calc, sheet: str, *before: list[Any]) -> tuple[str, Path]:
    """Return the macro's message, and the sheet as saved after it ran."""
    out = Path(sheet).with_stem(f"{Path(sheet).stem}-after")
    *_, said, _ = calc.do(["load", sheet], *before, ["ask"], MESSAGE, ["store", str(out)])
    return str(said), out


def told_each(calc: Calc, sheet: str, contents: Iterable[str | None]) -> list[str]:
    """Return the macro's message with each content of the file with the key, None for no file; the
    sheet is opened once."""
    asking = [
        step
        for content in contents
        for step in (["keep", str(calc.key_file), content], NO_MESSAGE, ["ask"], MESSAGE)
    ]
    _, *done, _ = calc.do(["load", sheet], *asking, ["close"])
    return list(done[3::4])


def answers(sheet: Path) -> dict[str, dict[str, str]]:
    """Return the answer columns of each athlete's row."""
    return {row["athlete_id"]: {name: row[name] for name in ANSWERS} for row in table(sheet)}


@pytest.mark.parametrize("kind", [".ods", ".xlsx"])
def test_every_row_gets_the_verdict_that_the_service_stored(
    coach: Calc, copy: Copy, ask: Ask, kind: str
) -> None:
    said, sheet = asked(coach, copy(kind))
    assert said.startswith("8 rows sent, ")
    assert "refused" not in said
    assert "Columns that were not read: notes" in said
    stored = ask(f"/v1/advice?date={TODAY}")["advice"]
    result = answers(sheet)
    assert "Instead, for example: " in result["a-05"]["reason"]
    assert all(result[one["athlete_id"]]["reason"].startswith(one["reason"]) for one in stored)
    assert all(result[one["athlete_id"]]["caution"].startswith(one["caution"]) for one in stored)
    assert result == {
        advice["athlete_id"]: {
            "verdict": LABELS[advice["verdict"]],
            "rule": advice["rule"]["id"] if advice["rule"] else "",
            "reason": result[advice["athlete_id"]]["reason"],
            "caution": result[advice["athlete_id"]]["caution"],
            "problem": "",
        }
        for advice in stored
    }
    assert result["a-07"]["rule"] == "warning-dark-urine"
    assert result["a-07"]["verdict"] == "Rest"


def test_a_refused_row_names_its_cells_and_the_others_are_answered(
    coach: Calc, copy: Copy, ask: Ask
) -> None:
    sleep, sore = cell_of("sleep_hours", "a-02"), cell_of("soreness_chest", "a-02")
    wrong = [["write", CHECK_INS, sleep, 450], ["write", CHECK_INS, sore, 14]]
    said, sheet = asked(coach, copy(), *wrong)
    assert "1 refused: see the column “problem”." in said
    result = answers(sheet)
    assert result["a-02"]["problem"] == (
        f"sleep_hours ({sleep}) must be from 0 to 24; soreness_chest ({sore}) must be from 0 to 10"
    )
    assert {athlete for athlete, answer in result.items() if not answer["verdict"]} == {"a-02"}
    stored = ask(f"/v1/advice?date={TODAY}")["advice"]
    assert {one["athlete_id"] for one in stored if one["verdict"] is None} == {"a-02"}


def test_an_unknown_name_is_a_refused_row_and_no_new_person(
    coach: Calc, copy: Copy, ask: Ask
) -> None:
    _, sheet = asked(coach, copy(), ["write", CHECK_INS, cell_of("athlete_id", "a-03"), "a-0e"])
    problem = answers(sheet)["a-0e"]["problem"]
    assert problem.startswith("There is no athlete 'a-0e'. A coach adds one with")
    assert "a-0e" not in [one["athlete_id"] for one in ask("/v1/athletes")["athletes"]]


def test_a_warning_sign_ticked_in_the_sheet_is_rest(coach: Calc, copy: Copy) -> None:
    sign = ["write", CHECK_INS, cell_of("warning_signs", "a-02"), "chest-pain"]
    _, sheet = asked(coach, copy(), sign)
    assert answers(sheet)["a-02"]["verdict"] == "Rest"
    assert "get medical care now" in answers(sheet)["a-02"]["caution"]


def test_a_formula_is_sent_as_its_number_and_a_failed_one_is_refused(
    coach: Calc, copy: Copy, ask: Ask
) -> None:
    fatigue, stress = cell_of("fatigue", "a-01"), cell_of("stress", "a-02")
    good, bad = (
        ["formula", CHECK_INS, fatigue, "=3+4"],
        ["formula", CHECK_INS, stress, "=1/0"],
    )
    _, sheet = asked(coach, copy(), good, bad)
    advice = ask(f"/v1/athletes/a-01/advice/{TODAY}")
    record = ask(f"/v1/advice/{advice['advice_id']}")
    assert record["check_in"]["fatigue"] == 7
    assert answers(sheet)["a-02"]["problem"].startswith(f"stress ({stress}) ")


def test_the_macro_twice_is_as_good_as_once(coach: Calc, copy: Copy, ask: Ask) -> None:
    _, once = asked(coach, copy())
    stored = ask(f"/v1/advice?date={TODAY}")
    _, twice = asked(coach, str(once))
    assert table(twice) == table(once)
    assert ask(f"/v1/advice?date={TODAY}") == stored


def test_nothing_but_the_answers_is_written(coach: Calc, copy: Copy) -> None:
    sheet = copy()
    before = [without_answers(row) for row in table(Path(sheet))]
    _, after = asked(coach, sheet)
    assert [without_answers(row) for row in table(after)] == before
    assert before[2]["notes"] == "läuft gut"


def without_answers(row: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name not in ANSWERS}


def test_headings_may_be_written_as_people_write_them(coach: Calc, copy: Copy) -> None:
    names = ["athlete_id", "sleep_hours", "verdict", "problem"]
    heads = [["write", CHECK_INS, cell_of(n), n.replace("_", " ").capitalize()] for n in names]
    _, sheet = asked(coach, copy(), *heads)
    assert [row["Verdict"] for row in table(sheet)][:2] == [
        "Swap to low-damage work",
        "Train as planned",
    ]


def test_columns_may_stand_in_any_order(coach: Calc, copy: Copy) -> None:
    sheet = copy(".xlsx")
    book = load_workbook(sheet)
    book[CHECK_INS].move_range("AD1:AH9", cols=20)
    book.save(sheet)
    _, moved = asked(coach, sheet)
    _, straight = asked(coach, copy())
    assert answers(moved) == answers(straight)


def test_a_wrong_key_is_told_and_no_verdict_of_yesterday_stays(
    coach: Calc, copy: Copy, live_server: LiveServer
) -> None:
    _, answered = asked(coach, copy())
    coach.keep_key(live_server.base_url, "dawn_wrong")
    said, sheet = asked(coach, str(answered))
    assert said.startswith("A key is needed: ")
    assert {text for answer in answers(sheet).values() for text in answer.values()} == {""}


def test_an_address_that_is_none_and_a_service_that_is_not_there_are_told(
    coach: Calc, copy: Copy
) -> None:
    addresses = ("nowhere", "ftp://127.0.0.1", "http://", "http://a b", NOBODY_LISTENS_HERE)
    told = told_each(coach, copy(), [key_of(address, "dawn_secret") for address in addresses])
    assert len(told) == len(addresses)
    for address, said in zip(addresses, told, strict=True):
        assert said.startswith("There is no answer from "), address
        assert "secret" not in said, address
    assert told[-1].startswith(f"There is no answer from {NOBODY_LISTENS_HERE}: ")


NO_KEYS = {
    "no file": None,
    "empty": "",
    "no section": "no sections",
    "no address": "[dawnrule]\nkey = dawn_secret\n",
    "two lines": "[dawnrule]\naddress = http://127.0.0.1:1\nkey = dawn_secret\n  more\n",
    "not ASCII": "[dawnrule]\naddress = http://127.0.0.1:1\nkey = dawn_secret…\n",
}


def test_without_address_and_key_the_macro_says_where_they_must_stand(
    coach: Calc, copy: Copy
) -> None:
    told = told_each(coach, copy(), NO_KEYS.values())
    for content, said in zip(NO_KEYS, told, strict=True):
        assert "secret" not in said, content
        assert str(coach.key_file) in said, content
        assert said.endswith("Nothing was sent."), content


def test_a_sheet_that_cannot_be_read_as_a_whole_is_told(coach: Calc, copy: Copy) -> None:
    said, sheet = asked(coach, copy(), ["write", CHECK_INS, "B1", "when"])
    assert "missing: date" in said
    assert not any(row["verdict"] for row in table(sheet))


def test_a_sheet_without_room_for_the_answers_is_not_sent(
    coach: Calc, copy: Copy, ask: Ask
) -> None:
    said, _ = asked(coach, copy(), ["write", CHECK_INS, cell_of("problem"), "remarks"])
    assert said == "The first row must name, once: problem. Nothing was sent."
    assert {one["verdict"] for one in ask(f"/v1/advice?date={TODAY}")["advice"]} == {None}


def test_a_sheet_that_is_too_large_is_told(coach: Calc, copy: Copy, elsewhere: Elsewhere) -> None:
    elsewhere.status, elsewhere.kind = 413, "application/problem+json"
    elsewhere.body = '{"title": "Too large", "detail": "A batch may be 5 MB."}'
    coach.keep_key(elsewhere.address, "dawn_any")
    said, _ = asked(coach, copy())
    assert said == "Too large: A batch may be 5 MB."


@pytest.mark.parametrize("status", [200, 502])
def test_a_page_that_is_no_answer_is_told(
    coach: Calc, copy: Copy, elsewhere: Elsewhere, status: int
) -> None:
    elsewhere.status, elsewhere.kind, elsewhere.body = status, "text/html", "<p>Sign in</p>"
    coach.keep_key(elsewhere.address, "dawn_any")
    said, _ = asked(coach, copy())
    assert said.startswith(f"There is no answer from {elsewhere.address}: ")


def test_the_key_follows_no_pointer_to_another_place(
    coach: Calc, copy: Copy, elsewhere: Elsewhere
) -> None:
    elsewhere.status, elsewhere.location = 302, f"{elsewhere.address}/thief"
    coach.keep_key(elsewhere.address, "dawn_any")
    asked(coach, copy())
    assert elsewhere.came is not None
    assert [path for path, _ in elsewhere.came] == ["/v1/check-ins/batch?format=csv"]


def test_an_answer_never_becomes_a_formula(coach: Calc, copy: Copy, elsewhere: Elsewhere) -> None:
    elsewhere.kind = "text/csv"
    elsewhere.body = "verdict,rule,reason,caution,problem\n" + "=1+1,=2+2,=3+3,+4+4,@A1\n" * 8
    coach.keep_key(elsewhere.address, "dawn_any")
    _, sheet = asked(coach, copy(".xlsx"))
    cells = [load_workbook(sheet)[CHECK_INS][cell_of(name, "a-01")] for name in ANSWERS]
    assert [cell.value for cell in cells] == ["=1+1", "=2+2", "=3+3", "+4+4", "@A1"]
    assert {cell.data_type for cell in cells} == {"s"}


def test_an_answer_with_fewer_rows_is_not_written_beside_the_wrong_ones(
    coach: Calc, copy: Copy, elsewhere: Elsewhere
) -> None:
    elsewhere.kind, elsewhere.body = "text/csv", "verdict\nRest\n"
    coach.keep_key(elsewhere.address, "dawn_any")
    said, sheet = asked(coach, copy())
    assert said.startswith("The answer does not fit the sheet")
    assert not any(row["verdict"] for row in table(sheet))


@pytest.mark.parametrize(
    ("shown_as", "sent"),
    [("DD.MM.YYYY", "2026-03-09"), ("MM/DD/YY HH:MM", "2026-03-09T18:00"), ("HH:MM", "18:00")],
)
def test_a_date_or_time_is_sent_the_same_however_it_is_shown(
    coach: Calc, copy: Copy, elsewhere: Elsewhere, shown_as: str, sent: str
) -> None:
    cell = cell_of("plan_starts_at", "a-08")
    value = MARCH_9 + SIX_IN_THE_EVENING if "YY" in shown_as else SIX_IN_THE_EVENING
    coach.keep_key(elsewhere.address, "dawn_any")
    asked(coach, copy(), ["write", CHECK_INS, cell, value], ["show_as", CHECK_INS, cell, shown_as])
    ((_, body),) = elsewhere.came or []
    assert f",{sent}," in body.decode().splitlines()[8]


def test_cells_are_sent_as_the_service_reads_them(
    coach: Calc, copy: Copy, elsewhere: Elsewhere
) -> None:
    coach.keep_key(elsewhere.address, "dawn_any")
    asked(coach, copy(), ["write", CHECK_INS, cell_of("verdict", "a-03"), "mine"])
    assert elsewhere.came is not None
    ((_, sent),) = elsewhere.came
    rows = sent.decode("utf-8").splitlines()
    assert rows[3] == (
        f"a-03,{TODAY},7.5,4,3,2,,,none,none,,none,,0,,,,,4,,,,,{TODAY[:-2]}08T19:00,strength,"
        f"steady-endurance,,,cycling,{TODAY}T18:00,45,läuft gut,,,,,"
    )


def test_a_formula_fetches_todays_advice(
    coach: Calc, copy: Copy, private_address: PrivateAddress
) -> None:
    address = private_address("a-07")
    place, formula = f"B{row_of_today('a-07')}", f"C{row_of_today('a-07')}"
    sheet = copy()
    filled = sheet.replace(".ods", "-filled.ods")
    coach.do(["load", sheet], ["write", TODAYS, place, address], ["store", filled])
    look = ["load", filled], ["read", TODAYS, formula], ["close"]
    no_check_in = f"There is no check-in for {TODAY} yet"
    assert coach.do(*look)[1].startswith(no_check_in)
    assert coach.do(["call", "WEBSERVICE", address])[0].startswith(no_check_in)
    asked(coach, sheet)
    spoken = coach.do(*look)[1]
    assert "Rest: " in spoken
    assert coach.do(["call", "WEBSERVICE", address]) == [spoken]
    assert "get medical care now" in spoken


def test_the_macro_is_written_for_the_oldest_python_that_calc_brings() -> None:
    ast.parse(MACRO.read_text(encoding="utf-8"), feature_version=(3, 8))


def test_the_sheet_can_be_drawn_as_it_looks(coach: Calc, copy: Copy, tmp_path: Path) -> None:
    _, sheet = asked(coach, copy())
    picture = tmp_path / "sheet.png"
    columns = ("athlete_id", "date", "sleep_hours", "soreness_quadriceps", "plan_goal")
    coach.draw(sheet, CHECK_INS, (*columns, "verdict", "reason"), picture)
    width, height = struct.unpack(">2I", picture.read_bytes()[16:24])  # as every PNG file begins
    assert width > height > 0
