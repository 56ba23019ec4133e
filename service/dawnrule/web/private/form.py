"""The check-in form: controls filled from a stored check-in, and read back into one.

A control is called as its answer is in a check-in, with ``/`` between: ``soreness/chest``. No text
is no answer; it is never zero.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import count, takewhile
from typing import Any, Self
from zoneinfo import ZoneInfo

from werkzeug.datastructures import MultiDict

from dawnrule.errors import FieldError, InvalidInput
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Athlete, Block, CheckIn, Pain
from dawnrule.model.serialization import to_json
from dawnrule.schemas.check_in import MOST_PAINS, load_check_in

SENT, COACH, YESTERDAY, OFF, OWN = "sent", "coach", "yesterday", "off", "own"

Plan = Sequence[Block]


def plans_to_choose_from(
    athlete: Athlete, stored: Plan | None, coach: Plan | None, yesterday: Plan | None
) -> Mapping[str, Plan]:
    """Plans by what they are called on the page: what the coach plans for today, what the athlete
    planned yesterday (a day later), a day off, and first what was sent today already, where that
    is none of the others. An own plan is not among them: it is made up on the page."""
    plans: dict[str, Plan] = {}
    if coach is not None:
        plans[COACH] = tuple(coach)
    if yesterday:
        plans[YESTERDAY] = tuple(shift_one_day(block, athlete) for block in yesterday)
    plans[OFF] = ()
    if stored is not None and tuple(stored) not in plans.values():
        return {SENT: tuple(stored), **plans}
    return plans


def name_of(plan: Plan, plans: Mapping[str, Plan]) -> str:
    """What a plan is called among others, the first name that fits. Raises ``StopIteration``."""
    return next(name for name, known in plans.items() if tuple(known) == tuple(plan))


def shift_one_day(block: Block, athlete: Athlete) -> Block:
    """The block when the athlete's clock shows the same time on the next date."""
    if block.starts_at is None:
        return block
    local = block.starts_at.astimezone(ZoneInfo(athlete.time_zone))
    return replace(block, starts_at=normalize_local(local.replace(fold=0) + timedelta(days=1)))


def normalize_local(local: datetime) -> datetime:
    """A local time as clocks show it; one that they skip in spring is the time after the gap."""
    return local.astimezone(UTC).astimezone(local.tzinfo)


NONE, SOME = "none", "some"
DATE, SEEN = "date", "seen"
SIGNS = "warning_signs"

_PAIN_PARTS = ("where", "kind", "muscle_groups")


@dataclass(frozen=True, slots=True)
class Answers:
    """The texts of the controls; of those that can be ticked together, several."""

    given: Mapping[str, tuple[str, ...]]

    @classmethod
    def of_form(cls, form: MultiDict[str, str]) -> Self:
        """What a browser sent."""
        return cls.renumbered({name: tuple(texts) for name, texts in form.lists()})

    @classmethod
    def renumbered(cls, given: Mapping[str, tuple[str, ...]]) -> Self:
        """Answers of which those on pain may have gaps between them."""
        return cls(_renumber_pains(given))

    def one(self, name: str) -> str:
        """The text of a control, without blanks around it."""
        texts = self.given.get(name, ())
        return texts[0].strip() if texts else ""

    def many(self, name: str) -> tuple[str, ...]:
        """What is ticked."""
        return self.given.get(name, ())

    def pains(self) -> int:
        """Of how many pains something was said."""
        return sum(1 for _ in takewhile(lambda n: _describes_pain(self.given, n), count()))

    def replaced(self, changed: Mapping[str, tuple[str, ...]]) -> Answers:
        """These answers, with others at some controls."""
        return replace(self, given={**self.given, **changed})

    def completed_by(self, others: Answers) -> Answers:
        """These answers, and the others' where nothing was answered here. A warning sign among the
        others is ticked even so, and "none" no longer: whoever knows that there is none has to
        take it away."""
        kept = {name: texts for name, texts in self.given.items() if any(texts)}
        signs = (sign for sign in others.many(SIGNS) if sign != NONE)
        given = {**self.given, **others.given, **kept}
        if all_signs := tuple(dict.fromkeys((*self.many(SIGNS), *signs))):
            given[SIGNS] = tuple(sign for sign in all_signs if sign != NONE) or all_signs
        return replace(self, given=given)


def answers_of(check_in: CheckIn, plans: Mapping[str, Plan]) -> Answers:
    """A stored check-in as answers; its plan is one of those that can be chosen."""
    return Answers({name: texts for name, texts in _answered(check_in, plans) if any(texts)})


def _renumber_pains(given: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    """The answers with the pains of which nothing was said left out."""
    kept = {name: texts for name, texts in given.items() if not name.startswith("pain/")}
    described = (n for n in range(MOST_PAINS) if _describes_pain(given, n))
    for number, before in enumerate(described):
        for part in _PAIN_PARTS:
            kept[f"pain/{number}/{part}"] = given.get(f"pain/{before}/{part}", ())
    return kept


def _describes_pain(given: Mapping[str, tuple[str, ...]], number: int) -> bool:
    parts = (given.get(f"pain/{number}/{part}", ()) for part in _PAIN_PARTS)
    return any(text.strip() for texts in parts for text in texts)


def _answered(
    check_in: CheckIn, plans: Mapping[str, Plan]
) -> Iterator[tuple[str, tuple[str, ...]]]:
    yield "plan", (name_of(check_in.plan, plans),)
    for group, rating in check_in.soreness.items():
        yield f"soreness/{group}", _text(rating)
    yield "sleep/hours", _text(check_in.sleep.hours)
    yield "sleep/quality", _text(check_in.sleep.quality)
    yield "fatigue", _text(check_in.fatigue)
    yield "stress", _text(check_in.stress)
    yield "illness", _text(check_in.illness)
    if check_in.warning_signs is not None:
        yield SIGNS, check_in.warning_signs or (NONE,)
    if check_in.pain is not None:
        yield "pain", (SOME if check_in.pain else NONE,)
        for number, pain in enumerate(check_in.pain):
            yield from _pain(number, pain)


def _pain(number: int, pain: Pain) -> Iterator[tuple[str, tuple[str, ...]]]:
    yield f"pain/{number}/where", (pain.where,)
    yield f"pain/{number}/kind", (pain.kind,)
    yield f"pain/{number}/muscle_groups", pain.muscle_groups


def _text(value: Any) -> tuple[str, ...]:
    if value is None:
        return ()
    return (f"{value:g}" if isinstance(value, float) else str(value),)


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


def parse_check_in(
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


def is_decimal(text: str) -> bool:
    """Return whether a text is a number with a point, as a stored rating between two is."""
    return "." in text and bool(_DECIMAL.fullmatch(text))


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
        name.removeprefix("soreness/"): _number(answers.one(name), _DECIMAL)
        for name in answers.given
        if name.startswith("soreness/") and answers.one(name)
    }
    sleep = {
        "hours": _number(answers.one("sleep/hours"), _DECIMAL),
        "quality": _number(answers.one("sleep/quality"), _WHOLE),
    }
    rated = {name: _number(answers.one(name), _WHOLE) for name in ("fatigue", "stress")}
    reported = {
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
    return _without_blanks(reported | rated) | lists


def _pains(answers: Answers) -> list[dict[str, Any]]:
    """The pains of which anything was said."""
    pains = (
        {
            "where": answers.one(f"pain/{number}/where"),
            "kind": answers.one(f"pain/{number}/kind"),
            "muscle_groups": list(answers.many(f"pain/{number}/muscle_groups")),
        }
        for number in range(answers.pains())
    )
    return [pain for pain in map(_without_blanks, pains) if pain]


def _planned(
    answers: Answers, athlete: Athlete, on: date, plans: Mapping[str, Plan]
) -> dict[str, Any]:
    chosen = chosen_plan(answers)
    if chosen != OWN:
        planned = CheckIn(athlete.id, on, tuple(plans.get(chosen, ())))
        return {"plan": to_json(planned)["plan"]}
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
    return normalize_local(datetime.combine(on, at, ZoneInfo(athlete.time_zone))).isoformat()


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


_ILL_ENOUGH = ("below-neck", "fever")


def signs_in(answers: Answers) -> tuple[str, ...]:
    """The warning signs that are ticked, of those that there are."""
    known = Vocabulary.bundled().warning_signs
    return tuple(sign for sign in answers.many(SIGNS) if sign in known)


def stops_training(answers: Answers) -> bool:
    """Whether a warning sign, pain or such an illness is reported that the plan matters little."""
    in_pain = answers.one("pain") == SOME or answers.pains() > 0
    return in_pain or answers.one("illness") in _ILL_ENOUGH or bool(signs_in(answers))


def with_plan(answers: Answers, plan: str) -> Answers:
    """The answers, with this plan where none is chosen."""
    return answers if chosen_plan(answers) else answers.replaced({"plan": (plan,)})


def with_signs_counted(answers: Answers, plan: str) -> Answers:
    """The answers as they count with a warning sign: "none of these" does not count beside one,
    nor "no pain" beside a pain that is described; ``plan`` stands in for one that is not chosen."""
    counted = with_plan(answers, plan).replaced({SIGNS: signs_in(answers)})
    if answers.one("pain") == NONE and answers.pains():
        return counted.replaced({"pain": ()})
    return counted


def without_faulty(answers: Answers, wrong: Iterable[str]) -> Answers:
    """The answers but those at controls that are wrong. A plan stands or falls as a whole, and so
    does a pain, which is then not denied either."""
    dropped = {name for control in wrong for name in _dropped_with(control)}
    kept = {name: texts for name, texts in answers.given.items() if not _is_in(name, dropped)}
    return Answers.renumbered(kept)


def section_of(control: str) -> str:
    """The part of the page that a control stands in."""
    section = control.partition("/")[0]
    return "plan" if section == "own" else section


def _dropped_with(control: str) -> tuple[str, ...]:
    section, *steps = control.split("/")
    if section_of(control) == "plan":
        return "plan", "own/"
    if section == "pain" and steps:
        return "pain", f"pain/{steps[0]}/"
    return (control,)


def _is_in(name: str, dropped: Iterable[str]) -> bool:
    return any(name == one or (one.endswith("/") and name.startswith(one)) for one in dropped)
