"""Pages for coaches in a browser.

- ``layout``: headers, forms and errors of all pages; ``sign_in``: in with a coach's key, and out.
- ``morning``: this morning, a line each; ``athlete``: one athlete's weeks, with charts.
- ``athletes``, ``groups``: who there is; added, changed, erased and grouped. ``forms``: what all
  forms share.
- ``plan``, ``training_log``: a week of plans; who was there and what was done.
- ``week`` (with ``week_form``): a week that the rules let through, laid out, moved and taken.
- ``check_in``: a check-in for an athlete without a phone.
- ``addresses``: private addresses, as a sheet to print.
- ``drifts``: who drifts from the own usual, measure by measure.
- ``concerns``: what is open about the squad, opened, cleared and withdrawn.
- ``why`` (with ``why_view`` and ``inputs``): one advice, from the verdict to what went in.
- ``sheets``: a coach's own sheet, introduced once.
- ``rule_sets``, ``try_out``, ``replays``: rule sets, read, tried and replayed; ``publishing``:
  published, let decide and taken back.
"""

from dawnrule.web.coach import (
    addresses,
    athlete,
    athletes,
    check_in,
    concerns,
    drifts,
    groups,
    morning,
    plan,
    publishing,
    replays,
    rule_sets,
    sheets,
    sign_in,
    training_log,
    try_out,
    week,
    why,
)
from dawnrule.web.coach.layout import coach, use_coach_pages

__all__ = [
    "addresses",
    "athlete",
    "athletes",
    "check_in",
    "coach",
    "concerns",
    "drifts",
    "groups",
    "morning",
    "plan",
    "publishing",
    "replays",
    "rule_sets",
    "sheets",
    "sign_in",
    "training_log",
    "try_out",
    "use_coach_pages",
    "week",
    "why",
]
