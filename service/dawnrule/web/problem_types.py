"""Which kinds of problems are there, and what should whoever meets one do?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dawnrule import errors
from dawnrule.errors import DawnruleError


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A kind of problem; ``kind`` names its page under /problems."""

    kind: str
    title: str
    what_to_do: str


def _of(error: type[DawnruleError], what_to_do: str) -> ProblemType:
    return ProblemType(error.kind, error.title, what_to_do)


METHOD_NOT_ALLOWED = ProblemType(
    "method-not-allowed",
    "This address does not take that method",
    "The header Allow names the methods that it takes.",
)
BODY_TOO_LARGE = ProblemType(
    "body-too-large",
    "The body is too large",
    "Send less at a time: a long sheet can be posted in pieces.",
)
UNSUPPORTED_MEDIA_TYPE = ProblemType(
    "unsupported-media-type",
    "The body is of a type that is not taken here",
    "The detail names the media types that are taken; say one of them in the header Content-Type.",
)
NOT_FOUND = _of(
    errors.NotFound,
    "Check the address and the id in it. A key that may see one athlete only is told the same "
    "about all others, whether they exist or not.",
)
MALFORMED_INPUT = _of(
    errors.MalformedInput,
    "The body must be JSON in UTF-8, or a CSV file where that is taken. A name may stand once in "
    "an object, and NaN is no number. The detail says where the reading stopped.",
)
INTERNAL = _of(
    DawnruleError,
    "This is a fault of the service. Nothing was stored. Send the request again later, and name "
    "its request_id to whoever runs the service.",
)

PROBLEM_TYPES: Mapping[str, ProblemType] = {
    problem_type.kind: problem_type
    for problem_type in (
        _of(
            errors.InvalidInput,
            "Each entry of errors says where a value stands, which it was, and what would be "
            "accepted. Mend these and send the request again; nothing of it was stored.",
        ),
        MALFORMED_INPUT,
        _of(
            errors.Unauthorized,
            "Send a key in the header Authorization: the word Bearer, a space, and the key. Keys "
            "are made by whoever runs the service, with dawnrule keys create.",
        ),
        _of(
            errors.Forbidden,
            "The key is known, but its role may not do this. A coach's key may do everything.",
        ),
        NOT_FOUND,
        METHOD_NOT_ALLOWED,
        _of(errors.Conflict, "Look at what is stored now, and decide anew."),
        _of(
            errors.TooManyRequests,
            "Wait as many seconds as the header Retry-After says, then send the request again. A "
            "whole squad can be posted as one batch.",
        ),
        BODY_TOO_LARGE,
        UNSUPPORTED_MEDIA_TYPE,
        _of(
            errors.NotProved,
            "Simplify the conditions of the rules: fewer tests in one rule, fewer ways to meet it.",
        ),
        _of(
            errors.StoreBusy,
            "Wait as many seconds as the header Retry-After says, and send the same request again; "
            "a check-in that is sent twice changes nothing the second time. After an erasure the "
            "store may be busy for as long as its files are written anew.",
        ),
        _of(
            errors.NotReady,
            "Each entry of errors names a part of the service that cannot do its work now: the "
            "store, the rules, the disk, or the service itself while it ends. Tell whoever runs "
            "it.",
        ),
        _of(errors.StoreUnusable, "Tell whoever runs the service: the database needs a look."),
        _of(
            errors.EngineDisagreement,
            "The rules are evaluated twice, and the two results were not the same; then it is "
            "better to give no advice. Tell whoever runs the service, and plan this day by hand.",
        ),
        _of(
            errors.EngineFailure,
            "The rules could not be evaluated. Tell whoever runs the service, and plan this day "
            "by hand.",
        ),
        _of(errors.RuleSetInvalid, "The detail says what is wrong, and in which line of the file."),
        INTERNAL,
    )
}

_OF_STATUS = {
    400: MALFORMED_INPUT,
    404: NOT_FOUND,
    405: METHOD_NOT_ALLOWED,
    413: BODY_TOO_LARGE,
    415: UNSUPPORTED_MEDIA_TYPE,
}


def problem_type_of(status: int) -> ProblemType:
    """The kind of problem that an HTTP status tells of, when nothing else is known of it."""
    return _OF_STATUS.get(status, INTERNAL)
