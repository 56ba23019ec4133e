"""The pages that a coach sees in a browser.

- ``frame``: what all of them share: headers, forms, errors.
- ``sign_in``: in with a coach's key, and out.
- ``morning``: the squad by verdict.
- ``concerns``: what is open about the squad, opened, cleared and withdrawn.
- ``athlete``: one athlete's weeks, with its ``charts``.
- ``told``: how an athlete's morning is told on both.
- ``why``: one advice, from verdict to rule.
- ``rules``, ``try_out``, ``replays``: rule sets, read, tried and replayed.
"""

from dawnrule.web.coach import (
    athlete,
    concerns,
    explanation,
    replays,
    rule_sets,
    sign_in,
    squad,
    try_out,
)
from dawnrule.web.coach.layout import coach, use_coach_pages

__all__ = [
    "athlete",
    "coach",
    "concerns",
    "explanation",
    "replays",
    "rule_sets",
    "sign_in",
    "squad",
    "try_out",
    "use_coach_pages",
]
