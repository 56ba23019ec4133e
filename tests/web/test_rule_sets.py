"""Rule sets over HTTP, word for word."""

from __future__ import annotations

from typing import Any

from dawnrule.i18n.resources import read_data
from dawnrule.rules.registry import bundled_rule_set_files
from tests.conftest import Client


def test_the_active_rule_set_is_marked(coach: Client) -> None:
    listed = coach.get("/v1/rule-sets").json["rule_sets"]
    assert [r["version"] for r in listed if r["active"]] == ["2.0.0"]
    assert len(listed) == len(bundled_rule_set_files())


def test_a_rule_set_is_told_as_it_stands_in_its_file(coach: Client) -> None:
    for file in bundled_rule_set_files():
        written = read_data(file)
        told = coach.get(f"/v1/rule-sets/{written['rule_set']}/{written['version']}").json
        assert [rule["id"] for rule in told["rules"]] == [rule["id"] for rule in written["rules"]]
        for rule, of_file in zip(told["rules"], written["rules"], strict=True):
            assert rule["when"] == in_single_tests(of_file["when"])
            assert rule["verdict"] == of_file["verdict"]
            assert rule["examples"] == of_file["examples"]
            assert rule["basis"]["source"] == of_file["basis"]["source"]


def test_the_signals_that_rules_name_are_told(coach: Client) -> None:
    [file, *_] = bundled_rule_set_files()
    written = read_data(file)
    told = coach.get(f"/v1/rule-sets/{written['rule_set']}/{written['version']}").json
    signals = {name: in_single_tests(when) for name, when in written["signals"].items()}
    assert told["signals"].items() <= signals.items()
    assert told["signals"]


def test_a_rule_set_that_is_not_there_gets_404(coach: Client) -> None:
    assert coach.get("/v1/rule-sets/baseline/0.0.1").status_code == 404


def in_single_tests(condition: Any) -> Any:
    """A condition of a file with each test by itself, as conditions are told."""
    match condition:
        case {"fact": fact, **tests}:
            singles = [{"fact": fact, word: value} for word, value in tests.items()]
            return singles[0] if len(singles) == 1 else {"all": singles}
        case {"at_least_n_of": {"n": n, "of": of}}:
            return {"at_least_n_of": {"n": n, "of": [in_single_tests(one) for one in of]}}
        case {"signal": _}:
            return condition
        case _:
            [(word, conditions)] = condition.items()
            return {word: [in_single_tests(one) for one in conditions]}
