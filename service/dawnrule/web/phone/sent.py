"""How do the answers on the page become a check-in, and what is wrong with them? (pure)

The answers go through the same schema as every other check-in; here they are only put into its
shape. What a control says is not judged but passed on.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from dawnrule.errors import FieldError, InvalidInput
from dawnrule.facts.check_in import Athlete, CheckIn
from dawnrule.facts.plain import to_plain
from dawnrule.schemas.check_in import load_check_in
from dawnrule.web.phone.answered import NONE, SOME, Answers
from dawnrule.web.phone.planned import OWN, Plan, on_the_clock

WHOLE_PAGE = ""
"""The control that a fault belongs to when it is none of them."""

_ASKED = ("sleep", "soreness", "fatigue", "stress", "pain", "illness", "warning_signs", "plan")
_DECIMAL = re.compile(r"[0-9]{1,3}([.,][0-9]{1,3})?")
_WHOLE = re.compile(r"[0-9]{1,3}")
_PAIN_PART = re.compile(r"(pain/[0-9]+)(/where|/kind|/muscle_groups)?")


@dataclass(frozen=True, slots=True)
class Faults:
    """What is wrong, by control: the name of the sentence that says so."""

    by_control: Mapping[str, str]


def check_in_sent(
    answers: Answers,
    athlete: Athlete,
    on: date,
    plans: Mapping[str, Plan],
    stored: Mapping[str, Any] | None,
) -> CheckIn | Faults:
    """The check-in that the answers make, or all that is wrong with them; what is not asked on the
    page stays as ``stored`` (a check-in's plain form) has it."""
    contradictions = dict(_contradictions(answers, plans))
    plain = {name: value for name, value in (stored or {}).items() if name not in _ASKED}
    plain |= {"athlete_id": athlete.id, "date": on.isoformat()}
    plain |= _reported(answers) | _planned(answers, athlete, on, plans)
    try:
        check_in = load_check_in(plain)
    except InvalidInput as invalid:
        return Faults({**faults_of(invalid, answers).by_control, **contradictions})
    return Faults(contradictions) if contradictions else check_in


def faults_of(invalid: InvalidInput, answers: Answers) -> Faults:
    """What a schema, or the check of what can be true, found wrong."""
    own = chosen_plan(answers) == OWN
    controls = (_control(error, own) for error in invalid.errors)
    return Faults({control: _sentence(control) for control in controls})


def chosen_plan(answers: Answers) -> str:
    """What the plan is called; who describes one of their own need not say so too."""
    return answers.one("plan") or (OWN if answers.one("own/goal") else "")


def _contradictions(answers: Answers, plans: Mapping[str, Plan]) -> Iterator[tuple[str, str]]:
    chosen = chosen_plan(answers)
    if not chosen:
        yield "plan", "phone.wrong.plan_missing"
    elif chosen != OWN and chosen not in plans:
        yield "plan", "phone.wrong.choice"
    elif chosen != OWN and answers.one("own/goal"):
        yield "plan", "phone.wrong.plan_twice"
    if answers.one("pain") == NONE and _pains(answers):
        yield "pain", "phone.wrong.pain_and_none"
    if answers.one("pain") == SOME and not _pains(answers):
        yield "pain/0/where", "phone.wrong.pain_where"
    if answers.one("pain") not in ("", NONE, SOME):
        yield "pain", "phone.wrong.choice"


def _reported(answers: Answers) -> dict[str, Any]:
    """All that was answered but the plan, in a check-in's plain form."""
    soreness = {
        name.removeprefix("soreness/"): _number(answers.one(name), _WHOLE)
        for name in answers.given
        if name.startswith("soreness/") and answers.one(name)
    }
    sleep = {
        "hours": _number(answers.one("sleep/hours"), _DECIMAL),
        "quality": _number(answers.one("sleep/quality"), _WHOLE),
    }
    rated = {name: _number(answers.one(name), _WHOLE) for name in ("fatigue", "stress")}
    told = {
        "sleep": _without_blanks(sleep),
        "soreness": soreness,
        "illness": answers.one("illness"),
    }
    pains, signs = _pains(answers), answers.many("warning_signs")
    lists: dict[str, Any] = {}
    if signs:
        lists["warning_signs"] = [sign for sign in signs if sign != NONE]
    if pains or answers.one("pain") == NONE:
        lists["pain"] = pains
    return _without_blanks(told | rated) | lists


def _pains(answers: Answers) -> list[dict[str, Any]]:
    """The pains of which anything was said."""
    said = (
        {
            "where": answers.one(f"pain/{number}/where"),
            "kind": answers.one(f"pain/{number}/kind"),
            "muscle_groups": list(answers.many(f"pain/{number}/muscle_groups")),
        }
        for number in range(answers.pains())
    )
    return [pain for pain in map(_without_blanks, said) if pain]


def _planned(
    answers: Answers, athlete: Athlete, on: date, plans: Mapping[str, Plan]
) -> dict[str, Any]:
    chosen = chosen_plan(answers)
    if chosen != OWN:
        planned = CheckIn(athlete.id, on, tuple(plans.get(chosen, ())))
        return {"plan": to_plain(planned)["plan"]}
    block = {
        "goal": answers.one("own/goal"),
        "muscle_groups": list(answers.many("own/muscle_groups")),
        "modality": answers.one("own/modality"),
        "starts_at": _start(answers.one("own/starts_at"), athlete, on),
    }
    return {"plan": [_without_blanks(block)]}


def _start(clock: str, athlete: Athlete, on: date) -> str:
    """The moment at which the athlete's clock shows a time; text that is none, as it is."""
    try:
        at = time.fromisoformat(clock)
    except ValueError:
        return clock
    if at.tzinfo is not None:
        return clock
    return on_the_clock(datetime.combine(on, at, ZoneInfo(athlete.time_zone))).isoformat()


def _number(text: str, pattern: re.Pattern[str]) -> float | int | str:
    """The number that a text is, with a point or a comma; other text as it is."""
    if not pattern.fullmatch(text):
        return text
    return int(text) if text.isdecimal() else float(text.replace(",", "."))


def _without_blanks(values: Mapping[str, Any]) -> dict[str, Any]:
    """Zero is an answer, no text is none."""
    return {name: value for name, value in values.items() if value not in ("", [], {})}


def _control(error: FieldError, own: bool) -> str:
    """The control that a JSON Pointer into a check-in leads to."""
    name = error.pointer.removeprefix("/")
    first, *rest = name.split("/")
    if first == "plan":
        return f"own/{rest[1]}" if own and len(rest) > 1 else "plan"
    if first == "warning_signs":
        return first
    if pain := _PAIN_PART.match(name):
        return f"{pain[1]}{pain[2] or '/where'}"
    return name if first in _ASKED else WHOLE_PAGE


def _sentence(control: str) -> str:
    last = control.rpartition("/")[2]
    if control == WHOLE_PAGE:
        return "phone.wrong.whole"
    return _SENTENCES.get(control) or _SENTENCES.get(last, "phone.wrong.choice")


_SENTENCES = {
    "sleep/hours": "phone.wrong.sleep_hours",
    "own/goal": "phone.wrong.own_goal",
    "own/starts_at": "phone.wrong.own_time",
    "where": "phone.wrong.pain_where",
    "kind": "phone.wrong.pain_kind",
}
