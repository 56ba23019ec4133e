"""The pages that a coach sees in a browser.

- ``frame``: what all of them share: headers, forms, errors.
- ``sign_in``: in with a coach's key, and out.
- ``morning``: the squad by verdict.
- ``athlete``: one athlete's weeks, with its ``charts``.
- ``told``: how an athlete's morning is told on both.
- ``why``: one advice, from verdict to rule.
- ``rules``, ``try_out``, ``replays``: rule sets, read, tried and replayed.
"""

from dawnrule.web.coach import athlete, morning, replays, rules, sign_in, try_out, why
from dawnrule.web.coach.frame import coach, use_coach_pages

__all__ = [
    "athlete",
    "coach",
    "morning",
    "replays",
    "rules",
    "sign_in",
    "try_out",
    "use_coach_pages",
    "why",
]
