"""Where the time of a check-in goes, stage by stage.

Run from the checkout: ``python -m tests.benchmarks.stages``. One client posts check-ins of
different athletes within the process, one after the other, so that no stage waits for another; the
clock is read around the functions of each stage. The quickest of several rounds counts.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import Any

from webargs.core import Parser

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.composer import Composer
from dawnrule.advice.options import Options
from dawnrule.advice.sessions import Sessions
from dawnrule.application import check_ins
from dawnrule.application.check_ins import CheckIns
from dawnrule.facts.derive import FactSource
from dawnrule.rules.evaluation.decider import Decider
from dawnrule.store.reader_pool import Readers
from dawnrule.store.writer import Writer
from tests.benchmarks.http import KEY, service
from tests.factories import EXAMPLE

STAGES: tuple[tuple[Any, str], ...] = (
    (Parser, "parse"),
    (Readers, "ask"),
    (Writer, "_commit_group"),
    (CheckIns, "submit"),
    (Advisor, "consider"),
    (FactSource, "morning"),
    (FactSource, "of"),
    (Decider, "decide"),
    (Composer, "compose"),
    (Sessions, "instead_of"),
    (Options, "of"),
    (check_ins, "_record"),
)

Seconds = dict[str, float]


def time_stages() -> Seconds:
    """Read the clock around each function; return the seconds that each takes from now on."""
    took: Seconds = defaultdict(float)
    for owner, name in STAGES:
        own = vars(owner)[name]
        function = own.__func__ if isinstance(own, classmethod) else own
        timed = _timed(function, f"{owner.__name__.split('.')[-1]}.{name}", took)
        setattr(owner, name, classmethod(timed) if isinstance(own, classmethod) else timed)
    return took


def _timed(function: Callable[..., Any], stage: str, took: Seconds) -> Callable[..., Any]:
    @wraps(function)
    def timed(*args: Any, **options: Any) -> Any:
        began = perf_counter()
        try:
            return function(*args, **options)
        finally:
            took[stage] += perf_counter() - began

    return timed


def by_stage(took: Seconds, whole: float) -> Seconds:
    """Take what one function spends in another out of it; ``whole`` is all that the requests
    took."""
    facts = took["FactSource.of"] + took["FactSource.morning"]
    composed, considered = took["Composer.compose"], took["Advisor.consider"]
    alternatives, opening = took["Sessions.instead_of"], took["Options.of"]
    submitted, record = took["CheckIns.submit"], took["check_ins._record"]
    schema, access, group = took["Parser.parse"], took["Readers.ask"], took["Writer._commit_group"]
    return {
        "schema": schema,
        "access": access,
        "facts": facts,
        "both evaluations": took["Decider.decide"],
        "alternatives": alternatives,
        "openings and changes": opening,
        "wording": composed - alternatives - opening,
        "the rest of advising": considered - facts - took["Decider.decide"] - composed,
        "canonical record": record,
        "rows, chain and history": submitted - considered - record,
        "begin and commit": group - submitted,
        "Flask, threads and the client": whole - schema - access - group,
        "all": whole,
    }


def main() -> None:
    """Print the milliseconds of each stage."""
    parser = argparse.ArgumentParser(description="A check-in, stage by stage.")
    parser.add_argument("--rounds", type=int, default=4)
    parser.add_argument("--check-ins", type=int, default=300, help="of each round")
    options = parser.parse_args()
    headers = {"Authorization": f"Bearer {KEY}", "Content-Type": "application/json"}
    rounds: list[Seconds] = []
    with TemporaryDirectory() as folder:
        client, took, number = service(Path(folder)).test_client(), time_stages(), 0
        for _ in range(options.rounds + 1):  # the first is to warm up
            took.clear()
            began = perf_counter()
            for _ in range(options.check_ins):
                body = json.dumps(EXAMPLE | {"athlete_id": f"a-{number}"})
                answer = client.post("/v1/check-ins", data=body, headers=headers)
                assert answer.status_code == 201, answer.text
                number += 1
            rounds.append(by_stage(took, perf_counter() - began))
    for stage, seconds in min(rounds[1:], key=lambda found: found["all"]).items():
        print(f"{stage:<30} {1000 * seconds / options.check_ins:6.2f} ms")


if __name__ == "__main__":
    main()
