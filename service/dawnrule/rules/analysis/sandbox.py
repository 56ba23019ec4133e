"""The sandbox: check and difference of rule sets in a process of their own.

A fault of the engine or of the solver, or a rule set without end, ends that process and nothing
else. Run as a module, this is the process: it reads a question as JSON from standard input and
writes the answer as JSON to standard output.
"""

from __future__ import annotations

import json
import logging
import random
import resource
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from functools import partial
from threading import Lock, Semaphore
from typing import Any, TypeAlias

from dawnrule.errors import DawnruleError, Finding, RuleSetInvalid, TooManyRequests
from dawnrule.model import FactDictionary, Facts
from dawnrule.model.serialization import from_json, to_json
from dawnrule.rules.analysis.check import check_rule_set
from dawnrule.rules.analysis.diff import Difference, diff
from dawnrule.rules.analysis.findings import errors_among
from dawnrule.rules.analysis.partition import representative_values
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.rules.loading.loader import bundled_rule_set, parse_rule_set
from dawnrule.rules.rule_set import RuleSet

_log = logging.getLogger("dawnrule.rules")

SANDBOX_COMMAND = (sys.executable, "-m", "dawnrule.rules.analysis.sandbox")

TIMEOUT_SECONDS = 60
"""The time that one question may take: three times what 300 rules need."""

MEMORY_LIMIT_BYTES = 4 * 2**30

_OUT_OF_MEMORY = 12
"""The status with which the process says so; it is the number of ENOMEM."""

_RUNNING = Lock()
"""Trials run one at a time: each keeps a processor busy, and check-ins need one too."""

_PLACES = Semaphore(2)
"""One trial that runs and one that waits for it. Each takes a thread of the service, and the other
threads are for check-ins."""

RANDOM_MORNINGS = 2_000
"""The number of random mornings, each a day and a part, on which both evaluations must agree."""

_SEED = 1
_NOT_REPORTED = 0.3  # of the facts of a random morning

Texts: TypeAlias = Mapping[tuple[str, str], str]
"""The texts of published rule sets, by name and version."""


@dataclass(frozen=True, slots=True)
class SandboxResult:
    """A rule set that passed, and the warnings for its author to weigh."""

    name: str
    version: str
    digest: str
    summary: str
    warnings: tuple[Finding, ...]


def check_in_sandbox(text: str, file: str, published: Texts) -> SandboxResult:
    """Check a rule set, which may extend a bundled or published one; ``file`` is its name in
    findings. Raises ``RuleSetInvalid`` with every finding when it is not fit to be used, and
    ``TooManyRequests`` while two others are on trial."""
    answer = _ask({"text": text, "file": file}, file, published)
    if "refused" in answer:
        raise RuleSetInvalid([from_json(Finding, finding) for finding in answer["refused"]])
    return from_json(SandboxResult, answer["passed"])


def diff_in_sandbox(
    before: tuple[str, str], after: tuple[str, str], published: Texts
) -> Difference:
    """Compare one rule set with another, both by name and version. Raises ``RuleSetInvalid`` when
    no answer is found, and ``TooManyRequests`` while two others are on trial."""
    answer = _ask({"before": before, "after": after}, "@".join(after), published)
    return from_json(Difference, answer["difference"])


@contextmanager
def _a_place() -> Iterator[None]:
    """Wait for the trial that runs. Raises ``TooManyRequests`` when somebody waits already."""
    if not _PLACES.acquire(blocking=False):
        raise TooManyRequests(
            "Another rule set is on trial, and one more waits. Try again in a minute."
        )
    try:
        with _RUNNING:
            yield
    finally:
        _PLACES.release()


def _ask(question: Mapping[str, Any], file: str, published: Texts) -> dict[str, Any]:
    """Start the process and return its answer. Raises ``RuleSetInvalid`` when it has none, and
    ``TooManyRequests``."""
    texts = [[name, version, text] for (name, version), text in published.items()]
    try:
        with _a_place():
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
        raise _ended(file, _how(done.returncode))
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


def _how(status: int) -> str:
    """Tell how a process ended that has no answer."""
    if status == _OUT_OF_MEMORY:
        return f"needed more than {MEMORY_LIMIT_BYTES // 2**20} MB of memory"
    if status < 0:
        return f"was ended by signal {-status} ({signal.strsignal(-status)})"
    return f"ended with {status}"


def _ended(file: str, how: str) -> RuleSetInvalid:
    return RuleSetInvalid([Finding(file, 1, None, "trial", f"the trial {how}")])


# ---- inside the process


def main() -> None:
    """Answer the question on standard input."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_LIMIT_BYTES, MEMORY_LIMIT_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    question = json.load(sys.stdin)
    texts = {(name, version): text for name, version, text in question["published"]}
    try:
        answer = json.dumps(_answer(question, texts))
    except MemoryError:
        sys.exit(_OUT_OF_MEMORY)
    sys.stdout.write(answer)


def _answer(question: Mapping[str, Any], published: Texts) -> dict[str, Any]:
    if "text" in question:
        return _checked(question["text"], question["file"], published)
    one, other = (
        _rule_set(name, version, published)
        for name, version in (question["before"], question["after"])
    )
    return {"difference": to_json(diff(one, other, FactDictionary.bundled()))}


def _checked(text: str, file: str, published: Texts) -> dict[str, Any]:
    try:
        rule_set = parse_rule_set(text, file, resolve=partial(_rule_set, published=published))
    except RuleSetInvalid as invalid:
        return {"refused": [to_json(finding) for finding in invalid.findings]}
    found = check_rule_set(rule_set, FactDictionary.bundled())
    if not errors_among(found, to_decide=True):
        found += _disagreements(rule_set)
    if errors_among(found, to_decide=True):
        return {"refused": [to_json(finding) for finding in found]}
    names = rule_set.name, rule_set.version, rule_set.digest, rule_set.summary
    return {"passed": to_json(SandboxResult(*names, tuple(found)))}


def _disagreements(rule_set: RuleSet) -> Iterator[Finding]:
    """Yield the first random morning on which the two evaluations differ, if any."""
    with closing(Decider(rule_set, FactDictionary.bundled())) as decider:
        for day, part in random_mornings(rule_set):
            try:
                decider.decide(day, [part])
            except DawnruleError as error:
                yield Finding(rule_set.file, 1, None, "trial", error.detail, (part,))
                return


def random_mornings(rule_set: RuleSet) -> Iterator[tuple[Facts, Facts]]:
    """Yield mornings on and around every threshold of a rule set, the same each time: the facts of
    a day, and those of a part, which include the day's."""
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
    """Return a published or bundled rule set. Raises ``NotFound`` or ``RuleSetInvalid``."""
    text = published.get((name, version))
    if text is None:
        return bundled_rule_set(name, version)
    resolve = partial(_rule_set, published=published)
    return parse_rule_set(text, f"{name}@{version}", resolve=resolve)


if __name__ == "__main__":
    main()
