"""``dawnrule rules``: findings on a rule file, in words that help a coach."""

from __future__ import annotations

import json
import re
from pathlib import Path

from dawnrule.rules.analysis.findings import KINDS
from dawnrule.rules.registry import RuleSetLibrary
from tests.cli.terminal import typed
from tests.rules.test_check import SOUND
from tests.rules.test_extension import CLUB
from tests.rules.test_findings import HEAD, MORE_TRAINING

BAD = Path(__file__).parents[1] / "rules" / "bad"


def test_the_shipped_rule_sets_are_checked_when_no_file_is_named() -> None:
    result = typed("rules", "check", "--strict")
    assert result.exit_code == 0
    assert result.stdout.count("nothing found\n") == len(RuleSetLibrary.bundled().all())
    assert "worse facts never lead to a more permissive verdict" in result.stdout


def test_findings_name_each_file_as_it_was_typed_and_say_what_mends_them(tmp_path: Path) -> None:
    good = tmp_path / "good.yaml"
    good.write_text(SOUND, encoding="utf-8")
    files = [BAD / "unknown-verdict.yaml", good, BAD / "empty.yaml"]
    result = typed("rules", "check", *files)
    assert result.exit_code == 1
    lines = [line for line in result.stdout.splitlines() if "Proved: " not in line]
    alone = [line for line in lines if line.startswith(f"warning: {good}:1: not always rest with")]
    alone += [f"    {KINDS['warning-sign-not-heeded'].remedy}"]
    assert lines == [
        f"error: {files[0]}:11: rule short-night: verdict is 'train'; allowed: rest, "
        "swap-to-low-damage, train-as-planned, note [schema]",
        "    Write it as allowed.",
        f"{files[0]}: 1 error, 0 warnings",
        *alone,
        f"{good}: 1 rule, 2 examples, 0 errors, 1 warning",
        f"error: {files[2]}:1: the file is empty [yaml]",
        "    Mend the YAML there.",
        f"{files[2]}: 1 error, 0 warnings",
    ]


def test_warnings_alone_end_well_unless_the_check_is_strict(tmp_path: Path) -> None:
    file = tmp_path / "warned.yaml"
    file.write_text(SOUND.replace("sleep_hours: 5.9", "sleep_hours: 5"), encoding="utf-8")
    result = typed("rules", "check", file)
    assert (result.exit_code, typed("rules", "check", file, "--strict").exit_code) == (0, 1)
    assert f"\nwarning: {file}:5: rule short-night: no example turns on" in result.stdout


def test_findings_are_told_to_programs(tmp_path: Path) -> None:
    file = tmp_path / "wrong.yaml"
    file.write_text(HEAD + MORE_TRAINING, encoding="utf-8")
    as_json = typed("rules", "check", file, "--format", "json")
    [checked] = json.loads(as_json.stdout)["files"]
    assert (as_json.exit_code, checked["file"]) == (1, str(file))
    assert [(f["code"], f["severity"]) for f in checked["findings"]] == [
        ("warning-sign-not-heeded", "warning"),
        ("not-monotone", "error"),
    ]
    assert "every rule can fire" in checked["proved"]
    as_sarif = typed("rules", "check", file, "--format", "sarif")
    [run] = json.loads(as_sarif.stdout)["runs"]
    assert (as_sarif.exit_code, run["results"][1]["ruleId"]) == (1, "not-monotone")


def test_two_rule_sets_are_told_apart(tmp_path: Path) -> None:
    file = tmp_path / "1.0.0.yaml"
    file.write_text(CLUB, encoding="utf-8")
    result = typed("rules", "diff", "baseline@1.0.0", file)
    lines = result.stdout.splitlines()
    assert result.exit_code == 0
    assert lines[:4] == [
        "baseline@1.0.0 -> our-club@1.0.0",
        "Added: long-speed-work",
        "Removed: growth-work-long-session",
        "Changed: growth-work-too-soon",
    ]
    assert "    when:" in lines
    assert "A part from rest to train-as-planned: none, proved" in lines
    assert lines[-6].startswith("A part from train-as-planned to swap-to-low-damage: {goal: ")
    plain = json.loads(typed("rules", "diff", "baseline@1.0.0", file, "--format", "json").stdout)
    assert (plain["before"], plain["added"]) == ("baseline@1.0.0", ["long-speed-work"])


def test_what_cannot_be_told_apart_is_said_to_be_wrong_use() -> None:
    for named in ("no-such.yaml", "baseline@9.9.9"):
        result = typed("rules", "diff", "baseline@1.0.0", named)
        assert (result.exit_code, result.stdout) == (2, "")
        assert named in result.stderr


def test_a_rule_set_that_cannot_be_read_is_not_told_apart() -> None:
    result = typed("rules", "diff", "baseline@1.0.0", BAD / "empty.yaml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert "the file is empty [yaml]" in result.stderr


def test_an_example_that_does_not_come_out_is_a_finding(tmp_path: Path) -> None:
    file = tmp_path / "wrong.yaml"
    file.write_text(SOUND.replace("{sleep_hours: 6}", "{sleep_hours: 5}"), encoding="utf-8")
    result = typed("rules", "check", file)
    assert result.exit_code == 1
    assert f"{file}:16: rule short-night: the example says" in result.stdout


def test_a_file_that_is_not_there_is_wrong_use() -> None:
    result = typed("rules", "check", "no-such.yaml")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "does not exist" in result.stderr


def test_rule_sets_are_listed_with_their_digest() -> None:
    result = typed("rules", "list").stdout
    for rule_set in RuleSetLibrary.bundled().all():
        assert f"{rule_set.name}@{rule_set.version}" in result
        assert rule_set.digest in result


def test_a_rule_set_is_printed_as_a_query_that_says_how_the_table_of_facts_looks() -> None:
    result = typed("rules", "sql", "baseline@1.0.0", "--dialect", "snowflake")
    assert result.exit_code == 0
    comment = [line for line in result.stdout.splitlines() if line.startswith("--")]
    assert comment[0] == "-- baseline@1.0.0 in the SQL of Snowflake"
    assert comment[1].startswith("-- sha256:")
    assert "--   sleep_hours DOUBLE, h, 0 to 24" in comment
    assert comment[comment.index("--   soreness DOUBLE, 0 to 10") + 1].startswith("--     How sore")
    assert result.stdout.splitlines()[len(comment)].startswith("WITH fires AS (")
    assert "COALESCE(sleep_hours < CAST('4.0' AS DOUBLE), FALSE)" in result.stdout


def test_the_comment_of_a_query_says_what_a_row_and_the_result_are_without_any_file() -> None:
    told = typed("rules", "sql", "baseline@2.0.0").stdout
    lines = [line[3:] for line in told.splitlines() if line.startswith("--")]
    text = " ".join(" ".join(lines).split())
    for said in (
        "A part is one muscle group of a block",
        "No two rows have the same athlete_id, date and part.",
        "Add the columns you have no data for, and leave them NULL.",
        "NULL in all of its rows: each part then counts as a block.",
        "Where part is NULL it is the final verdict on the morning",
    ):
        assert said in text
    assert "rules/" not in text
    names = [line.split()[0] for line in lines if re.match(r"  \w+ [A-Z]", line)]
    assert names[:6] == ["athlete_id", "date", "part", "block", "muscle_group", "goal"]
    first_of_part = names.index("action")
    assert names[6:first_of_part] == sorted(names[6:first_of_part])
    assert names[first_of_part:] == sorted(names[first_of_part:])
    assert max(map(len, lines)) <= 97


def test_the_statement_that_makes_the_table_is_printed_for_any_dialect_in_any_capitals() -> None:
    words = ("rules", "sql", "baseline@1.0.0", "--create-table", "--dialect")
    result = typed(*words, "BigQuery")
    assert (result.exit_code, result.stdout) == (0, typed(*words, "bigquery").stdout)
    assert "in the SQL of BigQuery" in result.stdout
    assert "\n  sleep_hours FLOAT64, /* sleep, h, 0 to 24 */\n" in result.stdout
    assert "WITH fires" not in result.stdout


def test_a_query_is_also_printed_for_a_rule_set_of_ones_own(tmp_path: Path) -> None:
    file = tmp_path / "club.yaml"
    file.write_text(SOUND, encoding="utf-8")
    result = typed("rules", "sql", file)
    assert result.exit_code == 0
    assert "SQL of DuckDB" in result.stdout
