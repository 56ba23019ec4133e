"""The past replayed, verified and scored at a terminal."""

from __future__ import annotations

import csv
import io
import json
import os
import pty
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, suppress
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from dawnrule.analytics import replay as replay_module
from dawnrule.analytics.replay import Replayed
from dawnrule.cli.options import ShowProgress
from dawnrule.i18n.resources import rules_folder
from dawnrule.model.serialization import from_json
from tests.cli.terminal import typed


@pytest.fixture
def db(demo_database: Path, tmp_path: Path) -> Path:
    """Copy the demo's database for one test."""
    file = tmp_path / "squad.db"
    shutil.copy(demo_database, file)
    return file


@pytest.fixture
def house_rules(tmp_path: Path) -> Path:
    """Write the baseline, but with less soreness enough for another session."""
    baseline = (rules_folder() / "baseline" / "1.0.0.yaml").read_text(encoding="utf-8")
    stricter = baseline.replace("{fact: soreness, at_least: 3}", "{fact: soreness, at_least: 2}")
    assert stricter != baseline
    file = tmp_path / "house.yaml"
    file.write_text(stricter.replace("rule_set: baseline", "rule_set: house"), encoding="utf-8")
    return file


def replayed(db: Path, rules: object, *more: str) -> Result:
    return typed("replay", "--rules", rules, "--db", db, *more)


def plain(result: Result) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def test_a_replay_is_told_by_verdict_rule_athlete_and_morning(db: Path, house_rules: Path) -> None:
    result = replayed(db, house_rules)
    assert result.exit_code == 0
    head, verdicts, rules, never, athletes, mornings = result.stdout.split("\n\n")
    assert head == "house@1.0.0: 392 mornings, 1208 decisions"
    assert "Train as planned         Swap to low-damage work" in verdicts
    assert "growth-work-soreness" in rules
    assert not re.search(r" 0 +0 +0$", rules, re.MULTILINE)
    assert re.fullmatch(r"Never applied: \d+ rules \(named by --all\)", never)
    assert "a-14" in athletes
    assert "Decided by" in mornings
    assert "Would be decided by" in mornings
    assert "growth-work-soreness" in mornings


def test_a_replay_that_changes_nothing_lists_no_mornings(db: Path) -> None:
    result = replayed(db, "baseline@1.0.0")
    assert len(result.stdout.split("\n\n")) == 5
    csv_told = replayed(db, "baseline@1.0.0", "--format", "csv")
    assert csv_told.stdout_bytes == (
        b"athlete_id,date,before,after,rule_before,rule_after,parts_changed\r\n"
    )


def test_the_forms_of_a_replay_tell_the_same_mornings(db: Path, house_rules: Path) -> None:
    as_json = plain(replayed(db, house_rules, "--format", "json"))
    as_csv = list(csv.DictReader(io.StringIO(replayed(db, house_rules, "--format", "csv").stdout)))
    changed = from_json(Replayed, as_json).changed
    assert len(changed) > 5
    assert [(one.athlete_id, str(one.date), one.after, one.rule_after) for one in changed] == [
        (row["athlete_id"], row["date"], row["after"], row["rule_after"]) for row in as_csv
    ]
    assert (as_json["state"], as_json["mornings_in_all"]) == ("done", 392)
    assert as_json["rule_set"]["full_name"] == "house@1.0.0"


def test_a_replay_is_noted_as_started_by_whoever_has_the_command_line(db: Path) -> None:
    replayed(db, "baseline@1.0.0")
    acts = typed("audit", "acts", "--act", "replay-started", "--format", "json", "--db", db)
    [act] = json.loads(acts.stdout)["acts"]
    assert (act["by"], act["about"]["rule_set"]) == ("command-line", "baseline@1.0.0")


def test_a_replay_keeps_to_the_dates_asked_for(db: Path) -> None:
    dates = ("--from", "2024-03-01", "--to", "2024-03-02", "--format", "json")
    found = plain(replayed(db, "baseline@1.1.0", *dates))
    assert (found["from"], found["to"], found["mornings"]) == ("2024-03-01", "2024-03-02", 28)


def interrupting_bar(label: str, shown: ExitStack) -> ShowProgress:
    """Ctrl-C comes when more than a hundred mornings are decided."""

    def show(done: int, of: int) -> None:
        if label == "Deciding" and done > 100:
            raise KeyboardInterrupt

    return show


@pytest.fixture
def ctrl_c(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    """Runs a replay that is interrupted."""

    def interrupted(db: Path, rules: object, *more: str) -> Result:
        with monkeypatch.context() as patched:
            patched.setattr(replay_module, "SUBJECTS_IN_A_STEP", 200)
            patched.setattr("dawnrule.cli.replay.bar", interrupting_bar)
            return replayed(db, rules, *more)

    return interrupted


def test_ctrl_c_stops_with_what_is_done_and_the_same_command_goes_on(
    db: Path, house_rules: Path, ctrl_c: Callable[..., Result]
) -> None:
    stopped = ctrl_c(db, house_rules, "--format", "json")
    assert stopped.exit_code == 1
    partial = plain(stopped)
    assert (partial["state"], partial["mornings_in_all"]) == ("stopped", 392)
    assert 100 < partial["mornings"] < 392
    assert f"Stopped; done up to {partial['done_through']}." in stopped.stderr

    whole = replayed(db, house_rules, "--format", "json")
    assert f"was stopped; done up to {partial['done_through']}." in whole.stderr
    assert (whole.exit_code, plain(whole)["replay_id"]) == (0, partial["replay_id"])
    uninterrupted = plain(replayed(db, house_rules, "--format", "json"))
    assert uninterrupted["replay_id"] != partial["replay_id"]
    assert from_json(Replayed, plain(whole)) == from_json(Replayed, uninterrupted)


def test_a_stopped_replay_can_be_begun_anew(
    db: Path, house_rules: Path, ctrl_c: Callable[..., Result]
) -> None:
    stopped = plain(ctrl_c(db, house_rules, "--format", "json"))
    anew = replayed(db, house_rules, "--format", "json", "--restart")
    assert (plain(anew)["mornings"], "was stopped" in anew.stderr) == (392, False)
    assert plain(anew)["replay_id"] != stopped["replay_id"]


def written_to(terminal: int) -> Iterator[bytes]:
    """Return what is written to a terminal until it is closed."""
    with open(terminal, "rb", buffering=0) as screen, suppress(OSError):
        while True:
            yield screen.read(10_000)


def test_a_person_who_watches_sees_how_far_it_has_come(db: Path) -> None:
    """At a terminal standard error shows a bar each for reading and deciding."""
    words = (sys.executable, "-m", "dawnrule", "replay", "--rules", "baseline@1.1.0", "--db", db)
    ours, theirs = pty.openpty()
    with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=theirs) as watched:
        os.close(theirs)
        shown = b"".join(written_to(ours)).decode()
    assert watched.returncode == 0
    assert re.search(r"Reading the logbook.*100%", shown)
    assert re.search(r"Deciding.*100%", shown)


@pytest.mark.parametrize(
    ("words", "exit_code", "says"),
    [
        (("--rules", "baseline@9.9.9"), 2, "There is no rule set baseline@9.9.9"),
        (("--rules", "no-such-file.yaml"), 2, "is neither a file nor a name@version"),
        (("--rules", "baseline@1.0.0", "--from", "March"), 2, "'March' is no date like 2026-03-09"),
        (
            ("--rules", "baseline@1.0.0", "--from", "2024-03-02", "--to", "2024-03-01"),
            2,
            "--to 2024-03-01 is before --from 2024-03-02",
        ),
    ],
)
def test_a_replay_that_cannot_be_run_says_why(
    db: Path, words: tuple[str, ...], exit_code: int, says: str
) -> None:
    result = typed("replay", "--db", db, *words)
    assert (result.exit_code, result.stdout) == (exit_code, "")
    assert says in result.stderr


@pytest.mark.parametrize(
    "command", [("replay", "--rules"), ("rules", "scorecard"), ("rules", "verify")]
)
def test_a_database_that_is_not_there_is_not_made(tmp_path: Path, command: tuple[str, ...]) -> None:
    result = typed(*command, "baseline@1.0.0", "--db", tmp_path / "none.db")
    assert (result.exit_code, list(tmp_path.iterdir())) == (2, [])
    assert "There is no database" in result.stderr


def test_verify_says_that_columns_and_engine_agree(db: Path) -> None:
    result = typed("rules", "verify", "baseline@1.1.0", "--db", db)
    assert (result.exit_code, result.stdout) == (0, "392 mornings, 1208 decisions, 0 different\n")


def test_verify_names_each_morning_on_which_they_differ(
    db: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dawnrule.analytics.cross_check.decided_by_engine", lambda *_: ())
    dates = ("--from", "2024-03-01", "--to", "2024-03-01")
    result = typed("rules", "verify", "baseline@1.1.0", "--db", db, *dates)
    assert result.exit_code == 1
    *named, summary = result.stdout.splitlines()
    assert [line.split(": ")[0] for line in named] == [f"a-{n:02} 2024-03-01" for n in range(1, 15)]
    assert summary == "14 mornings, 0 decisions, 14 different"


def scored(db: Path, *more: str) -> Result:
    return typed("rules", "scorecard", "baseline@1.0.0", "--db", db, *more)


def test_a_scorecard_gives_counts_with_intervals_and_no_share_of_a_few(db: Path) -> None:
    result = scored(db)
    assert result.exit_code == 0
    head, table, never = result.stdout.split("\n\n")
    assert head == "baseline@1.0.0: 392 mornings, 2024-02-12 to 2024-03-11"
    cells = [re.split(r" {2,}", line) for line in table.splitlines()]
    rows = {row[0]: row[1:] for row in cells}
    assert re.fullmatch(r"\d+ of \d+: \d+% \(\d+% to \d+%\)", rows["all mornings"][-3])
    assert re.fullmatch(r"\d of \d", rows["soreness-very-high"][-3])
    assert re.fullmatch(r"Never applied: \d+ rules \(named by --all\)\n", never)


def test_the_rules_that_never_applied_are_named_when_that_is_asked_for(
    db: Path, house_rules: Path
) -> None:
    for told in (scored(db, "--all"), replayed(db, house_rules, "--all")):
        [never] = re.findall(r"Never applied: (.+)", told.stdout)
        assert "warning-dark-urine-or-swelling" in never.split(", ")


def test_a_scorecard_says_why_nothing_is_known_of_what_followed(db: Path) -> None:
    with closing(sqlite3.connect(db)) as database, database:
        database.execute("DELETE FROM sessions")
    told = scored(db).stdout
    assert "\nTrained is not known of any morning: no session was logged by then" in told
    assert "\nOutput held is not known of any morning" in told
    assert "Sorer next day is not known" not in told


def test_the_forms_of_a_scorecard_tell_the_same_shares(db: Path) -> None:
    as_json = plain(scored(db, "--format", "json"))
    rows = list(csv.DictReader(io.StringIO(scored(db, "--format", "csv").stdout)))
    as_csv = {(row["rule"], row["share_of"]): (row["count"], row["of"]) for row in rows}
    assert len(as_csv) == len(rows) == 8 + 10 * len(as_json["rules"])
    for rule in as_json["rules"]:
        done = rule["after"]["outcomes"]["session"]["done"]
        assert as_csv[rule["rule"], "fired"] == (str(rule["fired"]["count"]), "392")
        assert as_csv[rule["rule"], "session done"] == (str(done["count"]), str(done["of"]))


def test_a_rule_set_that_gave_no_advice_has_no_scorecard_to_read(db: Path) -> None:
    result = typed("rules", "scorecard", "baseline@1.1.0", "--db", db)
    assert (result.exit_code, result.stdout) == (0, "baseline@1.1.0: 0 mornings\n")
    assert "baseline@1.1.0 gave no advice here, so there is nothing to score." in result.stderr
    assert "by baseline@1.0.0 (392 mornings, 2024-02-12 to 2024-03-11)." in result.stderr
    assert "dawnrule replay --rules baseline@1.1.0." in result.stderr


def test_a_scorecard_of_an_edited_file_tells_it_from_the_rule_set_of_that_name(
    db: Path, house_rules: Path
) -> None:
    renamed = house_rules.read_text(encoding="utf-8").replace(
        "rule_set: house", "rule_set: baseline"
    )
    house_rules.write_text(renamed, encoding="utf-8")
    result = typed("rules", "scorecard", house_rules, "--db", db)
    assert "by another baseline@1.0.0, sha256:" in result.stderr


def test_a_scorecard_of_other_dates_says_when_the_rule_set_gave_advice(db: Path) -> None:
    result = scored(db, "--from", "2030-01-01", "--format", "json")
    assert (result.exit_code, plain(result)["all_mornings"]["mornings"]) == (0, 0)
    assert (
        "baseline@1.0.0 gave no advice from 2030-01-01 on; it did from 2024-02-12 to 2024-03-11."
    ) in result.stderr


def test_a_replay_of_other_dates_says_on_which_there_are_mornings(db: Path) -> None:
    result = replayed(db, "baseline@1.1.0", "--to", "2001-01-01")
    assert (result.exit_code, result.stdout) == (0, "baseline@1.1.0: 0 mornings, 0 decisions\n")
    assert (
        "There are no mornings up to 2001-01-01; there are from 2024-02-12 to 2024-03-11."
    ) in result.stderr
