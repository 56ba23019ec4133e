"""Does a rule set that somebody sent stand its trial, and what would it take down?

Rules are read, compiled, proved and tried in a process of its own: what ends that process, a fault
of the engine or of the solver, a rule set without end, ends nothing else. Run as a module this is
that process: it takes a question as JSON on standard input and gives the answer on standard output.
"""

from __future__ import annotations

import json
import logging
import random
import resource
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeAlias

from dawnrule.errors import DawnruleError, Finding, RuleSetInvalid
from dawnrule.model import FactDictionary, Facts
from dawnrule.rules.analysis.check import check_rule_set
from dawnrule.rules.analysis.findings import errors_among
from dawnrule.rules.analysis.partition import representative_values
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.loading.loader import bundled_rule_set, parse_rule_set
from dawnrule.rules.rule_set import RuleSet

_log = logging.getLogger("dawnrule.rules")

SANDBOX_COMMAND = (sys.executable, "-m", "dawnrule.rules.analysis.sandbox")

TIMEOUT_SECONDS = 60
"""How long a trial may take: three times what 300 rules may."""

MEMORY_LIMIT_BYTES = 4 * 2**30

RANDOM_MORNINGS = 2_000
"""On how many random mornings both evaluations must agree, each with a day and a part."""

_NAMES = ("name", "version", "digest", "summary")
_SEED = 1
_NOT_REPORTED = 0.3  # of the facts of a random morning

Texts: TypeAlias = Mapping[tuple[str, str], str]
"""The texts of published rule sets, by name and version."""


@dataclass(frozen=True, slots=True)
class SandboxResult:
    """A rule set that stood its trial, and what is for its author to weigh."""

    name: str
    version: str
    digest: str
    summary: str
    warnings: tuple[Finding, ...]


def check_in_sandbox(text: str, file: str, published: Texts) -> SandboxResult:
    """Try a rule set, which may extend one that ships or was published; ``file`` is what findings
    call it. Raises ``RuleSetInvalid`` with every finding when it is not fit to be used."""
    answer = _ask({"text": text, "file": file}, file, published)
    findings = tuple(_finding(plain) for plain in answer["findings"])
    if "digest" not in answer:
        raise RuleSetInvalid(findings)
    return SandboxResult(**{name: answer[name] for name in _NAMES}, warnings=findings)


def diff_in_sandbox(
    before: tuple[str, str], after: tuple[str, str], published: Texts
) -> dict[str, Any]:
    """How one rule set differs from another, both by name and version, as plain JSON values.
    Raises ``RuleSetInvalid`` when it cannot be found out."""
    answer = _ask({"before": before, "after": after}, "@".join(after), published)
    diff: dict[str, Any] = answer["difference"]
    return diff


def _ask(question: Mapping[str, Any], file: str, published: Texts) -> dict[str, Any]:
    """What a process of its own answers. Raises ``RuleSetInvalid`` when it does not."""
    texts = [[name, version, text] for (name, version), text in published.items()]
    try:
        done = subprocess.run(
            SANDBOX_COMMAND,
            input=json.dumps({**question, "published": texts}),
            capture_output=True,
            text=True,
            timeout=TIMEOUT_SECONDS,
        )
    except subprocess.TimeoutExpired as error:
        raise _ended(file, f"took longer than {TIMEOUT_SECONDS} s") from error
    if done.returncode:
        _log.error("a trial of %s ended with %s: %s", file, done.returncode, done.stderr)
        raise _ended(file, f"ended with {done.returncode}")
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


def _plain(finding: Finding) -> dict[str, Any]:
    plain = {name: getattr(finding, name) for name in ("file", "line", "rule", "code", "message")}
    return plain | {"inputs": [dict(facts) for facts in finding.inputs]}


def _finding(plain: Mapping[str, Any]) -> Finding:
    return Finding(**{**plain, "inputs": tuple(plain["inputs"])})


def _ended(file: str, how: str) -> RuleSetInvalid:
    return RuleSetInvalid([Finding(file, 1, None, "trial", f"the trial {how}")])


# ---- in the process of its own


def main() -> None:
    """Answer the question on standard input."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_LIMIT_BYTES, MEMORY_LIMIT_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    question = json.load(sys.stdin)
    texts = {(name, version): text for name, version, text in question["published"]}
    json.dump(_answer(question, texts), sys.stdout)


def _answer(question: Mapping[str, Any], published: Texts) -> dict[str, Any]:
    if "text" in question:
        return _tried(question["text"], question["file"], published)
    # The solver is large, and is asked for nothing else here.
    from dawnrule.rules.analysis.diff import diff, diff_to_json

    one, other = (
        _rule_set(name, version, published)
        for name, version in (question["before"], question["after"])
    )
    found = diff(one, other, FactDictionary.bundled())
    return {"difference": diff_to_json(found)}


def _tried(text: str, file: str, published: Texts) -> dict[str, Any]:
    try:
        rule_set = parse_rule_set(text, file, resolve=partial(_rule_set, published=published))
    except RuleSetInvalid as invalid:
        return {"findings": [_plain(finding) for finding in invalid.findings]}
    found = check_rule_set(rule_set, FactDictionary.bundled())
    if not errors_among(found, to_decide=True):
        found += _disagreements(rule_set)
    answer: dict[str, Any] = {"findings": [_plain(finding) for finding in found]}
    if errors_among(found, to_decide=True):
        return answer
    return answer | {name: getattr(rule_set, name) for name in _NAMES}


def _disagreements(rule_set: RuleSet) -> Iterator[Finding]:
    """The first random morning on which the two evaluations differ, if there is any."""
    with closing(Decider(rule_set, FactDictionary.bundled())) as decider:
        for day, part in random_mornings(rule_set):
            try:
                decider.decide(day, [part])
            except DawnruleError as error:
                yield Finding(rule_set.file, 1, None, "trial", error.detail, (part,))
                return


def random_mornings(rule_set: RuleSet) -> Iterator[tuple[Facts, Facts]]:
    """Mornings on and around every threshold of a rule set, the same each time: the facts of a day,
    and those of a part of it, with the day's among them."""
    dictionary = FactDictionary.bundled()
    values = representative_values([rule.when for rule in rule_set.rules], dictionary)
    chance = random.Random(_SEED)
    of_day = dictionary.readable_in("day")
    for _ in range(RANDOM_MORNINGS):
        part = {
            fact: chance.choice(some)
            for fact, some in values.items()
            if chance.random() >= _NOT_REPORTED
        }
        yield {fact: value for fact, value in part.items() if fact in of_day}, part


def _rule_set(name: str, version: str, published: Texts) -> RuleSet:
    """A rule set that was published, or ships. Raises ``NotFound`` or ``RuleSetInvalid``."""
    text = published.get((name, version))
    if text is None:
        return bundled_rule_set(name, version)
    resolve = partial(_rule_set, published=published)
    return parse_rule_set(text, f"{name}@{version}", resolve=resolve)


if __name__ == "__main__":
    main()
