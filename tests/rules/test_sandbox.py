"""The sandbox: good rule sets pass, and nothing of a bad one reaches the service."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from dawnrule.errors import EngineDisagreement, RuleSetInvalid, TooManyRequests
from dawnrule.model import FactDictionary
from dawnrule.rules.analysis import sandbox
from dawnrule.rules.analysis.sandbox import check_in_sandbox, diff_in_sandbox, random_mornings
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.loading.loader import parse_rule_set
from dawnrule.rules.registry import RuleSetLibrary
from tests.factories import CLUB, WRONG_WAY

BASELINE = RuleSetLibrary.bundled().get("baseline", "1.0.0")


def child_that(code: str) -> tuple[str, ...]:
    """Replace the sandbox's process by another."""
    return sys.executable, "-c", f"import os, signal, time; {code}"


def refused(text: str) -> list[str]:
    with pytest.raises(RuleSetInvalid) as invalid:
        check_in_sandbox(text, "sent.yaml", {})
    return [str(finding) for finding in invalid.value.findings]


def test_a_rule_set_that_stands_its_trial_is_what_the_service_will_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """In the process that the service starts; the other trials of the tests run in forked ones."""
    monkeypatch.setattr(sandbox, "subprocess", subprocess)
    tried = check_in_sandbox(CLUB, "club.yaml", {})
    assert (tried.name, tried.version) == ("club", "1.0.0")
    assert tried.digest == parse_rule_set(CLUB, "club.yaml").digest


def test_a_rule_set_may_extend_one_that_was_published() -> None:
    grandchild = CLUB.replace("rule_set: club", "rule_set: team")
    grandchild = grandchild.replace("baseline@1.1.0", "club@1.0.0")
    grandchild = grandchild.replace("club-sleep", "team-sleep").replace("fatigue", "stress")
    assert check_in_sandbox(grandchild, "team.yaml", {("club", "1.0.0"): CLUB}).name == "team"
    [finding] = refused(grandchild)
    assert "No rule set club@1.0.0" in finding


def test_a_rule_set_where_more_soreness_buys_more_training_is_refused_with_both_inputs() -> None:
    with pytest.raises(RuleSetInvalid) as invalid:
        check_in_sandbox(WRONG_WAY, "sent.yaml", {})
    [finding] = [f for f in invalid.value.findings if f.code == "not-monotone"]
    better, worse = (facts["soreness"] for facts in finding.inputs)
    assert better < 3 <= worse


def test_a_text_that_is_no_rule_file_is_refused_with_its_line() -> None:
    assert refused("rule_set: [")[0].startswith("sent.yaml:")


@pytest.mark.parametrize(
    ("code", "seconds", "said"),
    [
        ("os.kill(os.getpid(), signal.SIGSEGV)", 60, "was ended by signal 11 (Segmentation fault)"),
        ("os.kill(os.getpid(), signal.SIGKILL)", 60, "was ended by signal 9 (Killed)"),
        ("os._exit(3)", 60, "ended with 3"),
        ("time.sleep(60)", 1, "took longer than 1 s"),
    ],
)
def test_what_takes_its_trial_down_is_refused_and_nothing_else_happens(
    monkeypatch: pytest.MonkeyPatch, code: str, seconds: int, said: str
) -> None:
    monkeypatch.setattr(sandbox, "SANDBOX_COMMAND", child_that(code))
    monkeypatch.setattr(sandbox, "TIMEOUT_SECONDS", seconds)
    assert refused(CLUB) == [f"sent.yaml:1: the trial {said} [trial]"]


def test_a_trial_that_runs_out_of_memory_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    code = "\n".join(
        (
            "from dawnrule.rules.analysis import sandbox",
            "sandbox.MEMORY_LIMIT_BYTES = 2**29",
            "sandbox._answer = lambda *_: bytearray(2**30)",
            "sandbox.main()",
        )
    )
    monkeypatch.setattr(sandbox, "SANDBOX_COMMAND", (sys.executable, "-c", code))
    assert refused(CLUB) == ["sent.yaml:1: the trial needed more than 4096 MB of memory [trial]"]


def test_a_rule_set_on_which_the_two_evaluations_differ_is_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def differ(*_: Any) -> None:
        raise EngineDisagreement("They differ.")

    monkeypatch.setattr(Decider, "decide", differ)
    [finding] = sandbox._disagreements(BASELINE)
    assert (finding.code, finding.message) == ("trial", "They differ.")


def test_the_random_mornings_of_a_trial_make_every_rule_fire_and_not_fire() -> None:
    decider = Decider(BASELINE, FactDictionary.bundled())
    mornings = list(random_mornings(BASELINE))
    fired = {"day": set[str](), "part": set[str]()}
    for day, part in mornings:
        fired["day"] |= {rule.id for rule in decider.fired_by_evaluator("day", day)}
        fired["part"] |= {rule.id for rule in decider.fired_by_evaluator("part", part)}
    never = {rule.id for rule in BASELINE.rules} - fired["day"] - fired["part"]
    assert len(mornings) == sandbox.RANDOM_MORNINGS
    assert len(never) < len(BASELINE.rules) / 10


def test_two_rule_sets_are_told_apart() -> None:
    told = diff_in_sandbox(("baseline", "1.1.0"), ("club", "1.0.0"), {("club", "1.0.0"): CLUB})
    assert told.added == ("club-sleep",)


def test_trials_run_one_at_a_time_one_waits_and_more_are_refused(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    running = tmp_path / "running"
    alone = f"os.mkdir({str(running)!r}); time.sleep(0.5); os.rmdir({str(running)!r}); os._exit(3)"
    monkeypatch.setattr(sandbox, "SANDBOX_COMMAND", child_that(alone))

    def tried(_: int) -> str:
        try:
            check_in_sandbox(CLUB, "sent.yaml", {})
        except (RuleSetInvalid, TooManyRequests) as error:
            return error.detail
        return "passed"

    with ThreadPoolExecutor(4) as threads:
        said = sorted(threads.map(tried, range(4)))
    busy = [one for one in said if one.startswith("Another rule set is on trial")]
    assert len(busy) == 2
    assert [one for one in said if one not in busy] == [
        "sent.yaml:1: the trial ended with 3 [trial]"
    ] * 2
    assert tried(0) == "sent.yaml:1: the trial ended with 3 [trial]"
