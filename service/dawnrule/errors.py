"""Errors: everything that can go wrong, each with its status and title.

DawnruleError                  anything we raise on purpose
├── InvalidInput        422    fields that do not fit, each with a JSON Pointer
│   └── MalformedInput  400    the body is not what it claims to be (JSON, CSV, encoding)
├── NotFound            404    no such thing, or none that this key may know of
├── Unauthorized        401    no key, or one that is not known
├── Forbidden           403    a known key that may not do this
├── Conflict            409    the request does not fit what is stored
├── TooManyRequests     429    more was asked for than is done in a minute
├── StoreBusy           503    the database did not answer in time; nothing was stored
├── NotReady            503    the service, as it is now, cannot do its work; says what is missing
├── StoreUnusable       503    the database file cannot be used as it is; nothing was stored
├── EngineDisagreement  500    the engine and the evaluator differ; no advice is given
├── EngineFailure       500    the engine did not answer as it must; no advice is given
├── NotProved           422    a question about a rule set was too hard for the solver
└── RuleSetInvalid      422    a rule set that cannot be used, with every finding
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar


@dataclass(frozen=True, slots=True)
class FieldError:
    """One wrong field: where (JSON Pointer, RFC 6901), the value, and what would be accepted."""

    pointer: str
    value: Any
    detail: str


class DawnruleError(Exception):
    """Base of every error raised on purpose; knows its HTTP status and its constant title."""

    status: ClassVar[int] = 500
    title: ClassVar[str] = "Something went wrong"
    kind: ClassVar[str] = "internal"

    def __init__(self, detail: str, errors: Sequence[FieldError] = ()) -> None:
        super().__init__(detail)
        self.detail = detail
        self.errors = tuple(errors)


class InvalidInput(DawnruleError):
    """Fields that do not fit."""

    status = 422
    title = "Some fields cannot be accepted"
    kind = "invalid-input"


class MalformedInput(InvalidInput):
    """A body that is not what it claims to be."""

    status = 400
    title = "The request cannot be read"
    kind = "malformed-input"


class NotFound(DawnruleError):
    """No such thing, or none that this key may know of."""

    status = 404
    title = "Not found"
    kind = "not-found"


class Unauthorized(DawnruleError):
    """No key, or a key that is not known."""

    status = 401
    title = "A key is needed"
    kind = "unauthorized"


class Forbidden(DawnruleError):
    """A known key that may not do this."""

    status = 403
    title = "This key may not do that"
    kind = "forbidden"


class Conflict(DawnruleError):
    """The request does not fit what is stored."""

    status = 409
    title = "The request conflicts with what is stored"
    kind = "conflict"


class TooManyRequests(DawnruleError):
    """More was asked for than one key, private address or client may ask in a minute, or more rule
    sets than can be tried at once."""

    status = 429
    title = "Too many requests"
    kind = "too-many-requests"


class StoreBusy(DawnruleError):
    """The database did not answer in time; nothing was stored, so the request can be sent again."""

    status = 503
    title = "The store is busy"
    kind = "store-busy"


class StoreUnusable(DawnruleError):
    """The database is missing, newer than this version, not ours, damaged, or its disk is full;
    nothing was stored."""

    status = 503
    title = "The store cannot be used"
    kind = "store-unusable"


class NotReady(DawnruleError):
    """The service answers, and cannot do its work now; each error names what is missing."""

    status = 503
    title = "The service is not ready"
    kind = "not-ready"


class EngineDisagreement(DawnruleError):
    """The engine and the evaluator fired different rules; no advice is given."""

    title = "No advice: the two evaluations of the rules differ"
    kind = "engine-disagreement"


class EngineFailure(DawnruleError):
    """The engine did not answer as it must; no advice is given."""

    title = "No advice: the rule engine failed"
    kind = "engine-failure"


class NotProved(DawnruleError):
    """A question about a rule set was too hard to be answered within the solver's bound."""

    status = 422
    title = "The rules are too involved to be proved right"
    kind = "not-proved"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong with a rule file: where, which rule, and what is allowed. ``inputs`` are
    facts that show it."""

    file: str
    line: int
    rule: str | None
    code: str
    message: str
    inputs: tuple[Mapping[str, Any], ...] = field(default=(), hash=False)

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}"
        rule = f" rule {self.rule}:" if self.rule else ""
        return f"{where}:{rule} {self.message} [{self.code}]"


class RuleSetInvalid(DawnruleError):
    """A rule set that cannot be used; ``findings`` holds everything found, not just the first."""

    status = 422
    title = "The rule set cannot be used"
    kind = "rule-set-invalid"

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__("\n".join(str(finding) for finding in findings))
        self.findings = tuple(findings)
