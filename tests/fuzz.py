"""Random requests to every operation, whose answers must fit the description.

``python -m tests.fuzz --examples 2000`` is the long run; ``tests/security/test_fuzz.py`` is a
short one that is the same each time. Cases come from the description: those on the edges of
what it allows first, then random ones, fitting and unfitting; half of them are about what is
really there.
"""

from __future__ import annotations

import argparse
import logging
import sys
import traceback
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from itertools import count, islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import schemathesis
from flask import Flask
from hypothesis import HealthCheck, Phase, Verbosity, given
from hypothesis import seed as seeded
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from schemathesis import Case, CheckContext, GenerationMode, Response, SerializationContext
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.core.parameters import ParameterLocation
from schemathesis.core.result import Ok
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    ignored_auth,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from dawnrule.advice.advisor import Advisor
from dawnrule.settings import Settings
from dawnrule.store import Key, Role, Store, hash_key, new_key
from dawnrule.web import create_app
from dawnrule.web.context import Context
from dawnrule.web.http.responses import ODS, XLSX
from dawnrule.web.openapi import document
from tests.conftest import SQUAD, client_with
from tests.factories import EXAMPLE, SESSION

NOW = datetime.fromisoformat("2026-03-09T06:45:00+01:00")
DATES = ("2026-03-09", "today")
OPERATIONS_IN_A_PROCESS_OF_THEIR_OWN = {"POST /v1/rule-sets", "GET /v1/rule-sets/diff"}
"""They take a second each: they get a tenth of the cases."""


@schemathesis.serializer(XLSX, ODS)
def as_bytes(ctx: SerializationContext, value: Any) -> bytes:
    """A workbook that is none."""
    return value if isinstance(value, bytes) else str(value).encode()


def a_success_is_described(ctx: CheckContext, response: Response, case: Case[Any]) -> None:
    """Other than an error, which may be the default one."""
    described = case.operation.definition.raw["responses"]
    is_of_another_method = case.method != case.operation.method.upper()
    if response.status_code < 400 and not is_of_another_method:
        assert str(response.status_code) in described, f"{response.status_code} is not described"


def a_body_that_does_not_fit_is_refused(
    ctx: CheckContext, response: Response, case: Case[Any]
) -> bool | None:
    """A query that is not described is not: a spreadsheet adds one to get past its cache."""
    if case.meta is None or not case.meta.is_negative_at(ParameterLocation.BODY):
        return None
    return negative_data_rejection(ctx, response, case)


CHECKS = [
    not_a_server_error,
    a_success_is_described,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    ignored_auth,
    a_body_that_does_not_fit_is_refused,
]


@dataclass
class Target:
    """A service with a squad, and something of everything in its store."""

    app: Flask
    store: Store
    keys: Mapping[Role, str]
    there: Mapping[str, str]
    answers: Counter[int] = field(default_factory=Counter)
    """How often which status came back."""

    may_lack_something: bool = True

    @cached_property
    def operations(self) -> list[Any]:
        """All of them, of one schema: what it looks up of the application takes half a second."""
        schema = schemathesis.openapi.from_dict(document(self.app))
        schema.app = self.app
        operations = []
        for found in schema.get_all_operations():
            assert isinstance(found, Ok), found
            operations.append(found.ok())
        return operations

    def furnish(self) -> None:
        """Put the squad there again, whatever was erased."""
        self.store.write(
            lambda transaction: [transaction.athletes.put(athlete) for athlete in SQUAD]
        )
        self.keys = {role: self._new_key(role) for role in Role}
        coach = client_with(self.app, self.keys[Role.COACH])
        advice = coach.post("/v1/check-ins", json=EXAMPLE)
        session = coach.post("/v1/sessions", json=SESSION)
        address = coach.post("/v1/athletes/a-03/addresses", json={"purpose": "read"})
        dates = {"rule_set": "baseline@1.1.0", "from": "2026-03-09", "to": "2026-03-09"}
        replay = coach.post("/v1/replays", json=dates)
        concern = coach.post("/v1/athletes/a-03/concerns", json={"kind": "heart-or-chest"})
        concern_id = concern.json["concern_id"]
        cleared = coach.post(f"/v1/concerns/{concern_id}/clearances", json={})
        said = {"Name": "athlete_id", "Date": "date", "Legs": "soreness_legs"}
        sheet = coach.post("/v1/sheets", json={"kind": "check-ins", "columns": said})
        coach.put("/v1/groups/team", json={"name": "Team", "athletes": ["a-03"]})
        self.there = {
            "concern_id": concern_id,
            "clearance_id": cleared.json["clearance"]["id"],
            "athlete_id": "a-03",
            "group_id": "team",
            "sheet_id": sheet.json["sheet_id"],
            "advice_id": advice.json["advice_id"],
            "session_id": session.json["session_id"],
            "address_id": address.json["address_id"],
            "token": address.json["paths"][0].split("/")[2],
            "replay_id": replay.json["replay_id"],
            "name": "baseline",
            "version": "1.1.0",
            "date": "2026-03-09",
            "day": "today",
            "rule_set": "baseline@1.1.0",
            "before": "baseline@1.0.0",
            "after": "baseline@1.1.0",
        }

    def _new_key(self, role: Role) -> str:
        key, athlete_id = new_key(), "a-03" if role is Role.ATHLETE else None
        hashed = hash_key(key)
        self.store.write(
            lambda transaction: transaction.keys.add(
                Key(hashed, role, athlete_id, None, NOW), hashed
            )
        )
        return key


@contextmanager
def target(folder: Path, advisor: Advisor) -> Iterator[Target]:
    unlimited = Settings(
        db=folder / "fuzz.db",
        key_requests_per_minute=0,
        private_address_requests_per_minute=0,
        wrong_guesses_per_minute=0,
    )
    numbers = count(1)
    with Store.open(unlimited.db) as store:
        app = create_app(unlimited, store, advisor, lambda: NOW, lambda: f"id-{next(numbers):06}")
        app.testing = True  # a fault of ours ends the run where it happens
        yield Target(app, store, {}, {})
        Context.of(app).close()


def roles_of(operation: Any) -> list[Role]:
    """Who gets further than to be refused; of operations that need no key, one stands for all."""
    return [Role(name) for name in operation.definition.raw.get("x-roles", [Role.COACH])]


def attack(at: Target, operation: Any, role: Role, examples: int, seed: int) -> None:
    """Send an operation so many cases of each kind. Raises what a check finds."""
    if at.may_lack_something:
        at.furnish()
    at.may_lack_something = operation.method not in ("get", "head")
    if operation.label in OPERATIONS_IN_A_PROCESS_OF_THEIR_OWN:
        examples = max(1, examples // 10)
    for case in islice(_edges(operation), examples):
        _send(at, case, role, about_what_is_there=True)
    for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):
        with suppress(Unsatisfiable) if mode is GenerationMode.NEGATIVE else nullcontext():
            _send_random(at, operation, role, mode, examples, seed)  # some take whatever comes


def _edges(operation: Any) -> Iterator[Case[Any]]:
    config = operation.schema.config.generation
    for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):
        yield from operation.schema.iter_coverage_cases(
            operation, generation_modes=[mode], generation_config=config
        )


def _send_random(
    at: Target, operation: Any, role: Role, mode: GenerationMode, examples: int, seed: int
) -> None:
    @seeded(seed)
    @hypothesis_settings(
        max_examples=examples,
        deadline=None,
        database=None,
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
        verbosity=Verbosity.quiet,
    )
    @given(case=operation.as_strategy(generation_mode=mode), about_what_is_there=st.booleans())
    def send(case: Case[Any], about_what_is_there: bool) -> None:
        _send(at, case, role, about_what_is_there)

    send()


def _send(at: Target, case: Case[Any], role: Role, about_what_is_there: bool) -> None:
    if about_what_is_there:
        for name in case.path_parameters:
            case.path_parameters[name] = at.there[name]
        if isinstance(case.body, dict):
            known = case.body.keys() & at.there.keys()
            case.body = case.body | {name: at.there[name] for name in known}
    headers = {"Authorization": f"Bearer {at.keys[role]}"}
    response = case.call(headers=headers)
    at.answers[response.status_code] += 1
    case.validate_response(response, checks=CHECKS, headers=headers)


def main() -> int:
    """The long run: says what was found, operation by operation."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--examples", type=int, default=200, help="cases of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="operations whose name holds this")
    chosen = parser.parse_args()
    logging.disable(logging.CRITICAL)
    found = 0
    with TemporaryDirectory() as folder, target(Path(folder), Advisor.bundled()) as at:
        for operation in at.operations:
            if chosen.only not in operation.label:
                continue
            for role in roles_of(operation):
                try:
                    attack(at, operation, role, chosen.examples, chosen.seed)
                except (Exception, FailureGroup) as error:
                    found += 1
                    print(f"{operation.label} as {role}: {error!r}\n{error}", flush=True)
                    traceback.print_exception(error)
                else:
                    told = ", ".join(f"{n} x {status}" for status, n in sorted(at.answers.items()))
                    print(f"{operation.label} as {role}: as described ({told})", flush=True)
                at.answers.clear()
    return found


if __name__ == "__main__":
    sys.exit(main())
