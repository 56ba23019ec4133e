"""The form of the check-in page: answers to check-ins, and back.

A control has the name of its answer in a check-in, with ``/`` between: ``soreness/chest``. Empty
text means no answer, never zero.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import count, takewhile
from typing import Any, Self

from werkzeug.datastructures import MultiDict

from dawnrule.errors import FieldError, InvalidInput
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Athlete, Block, CheckIn
from dawnrule.model.serialization import to_json
from dawnrule.model.time_zones import zone_named
from dawnrule.schemas.check_in import MOST_PAINS, load_check_in
from dawnrule.web.private.controls import (
    ANSWERS,
    HOURS_SLEPT,
    OF_A_PAIN,
    OF_OWN_SESSION,
    RATING,
    Control,
)

SENT, COACH, YESTERDAY, OFF, OWN = "sent", "coach", "yesterday", "off", "own"

Plan = Sequence[Block]


def plans_to_choose_from(
    athlete: Athlete, stored: Plan | None, coach: Plan | None, yesterday: Plan | None
) -> Mapping[str, Plan]:
    """Name the plans that can be chosen.

    These are the coach's for today, the athlete's of yesterday (a day later), and a day off; first
    that of today's earlier check-in, if it is none of the others. A plan of one's own is described
    on the page.
    """
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
    """Return the first name of a plan among others. Raises ``StopIteration``."""
    return next(name for name, known in plans.items() if tuple(known) == tuple(plan))


def shift_one_day(block: Block, athlete: Athlete) -> Block:
    """Shift a block to the next date, at the same time by the athlete's clock."""
    if block.starts_at is None:
        return block
    local = block.starts_at.astimezone(zone_named(athlete.time_zone))
    return replace(block, starts_at=normalize_local(local.replace(fold=0) + timedelta(days=1)))


def normalize_local(local: datetime) -> datetime:
    """Convert a local time to one that clocks show: a time skipped in spring moves behind the
    gap."""
    return local.astimezone(UTC).astimezone(local.tzinfo)


NONE, SOME = "none", "some"
DATE, SEEN = "date", "seen"
SIGNS = "warning_signs"
WELL = "well"
"""The one control that answers pain, illness and warning signs with none."""

SLEEP_SHOWN = "sleep_shown"
"""What the page showed as hours slept that are written, before anybody touched it."""

_PAIN_PARTS = (*OF_A_PAIN, "muscle_groups")


@dataclass(frozen=True, slots=True)
class Answers:
    """The texts of all controls; check boxes of one name have several."""

    given: Mapping[str, tuple[str, ...]]

    @classmethod
    def of_form(cls, form: MultiDict[str, str]) -> Self:
        """Read the form of a browser."""
        given = {name: tuple(texts) for name, texts in form.lists()}
        return cls.renumbered(_with_tapped_sleep(given))

    @classmethod
    def renumbered(cls, given: Mapping[str, tuple[str, ...]]) -> Self:
        """Build answers whose pains may have gaps in their numbers."""
        return cls(_renumber_pains(given))

    def one(self, name: str) -> str:
        """Return the text of a control, stripped; of several with one name, the first that is
        answered."""
        return next(filter(None, (text.strip() for text in self.given.get(name, ()))), "")

    def many(self, name: str) -> tuple[str, ...]:
        """Return what is ticked."""
        return self.given.get(name, ())

    def pains(self) -> int:
        """Count the pains that are described."""
        return sum(1 for _ in takewhile(lambda n: _describes_pain(self.given, n), count()))

    def replaced(self, changed: Mapping[str, tuple[str, ...]]) -> Answers:
        """Replace the answers at some controls."""
        return replace(self, given={**self.given, **changed})

    def completed_by(self, others: Answers) -> Answers:
        """Fill in the other answers where nothing was answered here.

        A warning sign among the others is ticked in any case, and "none" unticked: only somebody
        who unticks the sign on this page removes it.
        """
        kept = {name: texts for name, texts in self.given.items() if any(texts)}
        signs = (sign for sign in others.many(SIGNS) if sign != NONE)
        given = {**self.given, **others.given, **kept}
        if all_signs := tuple(dict.fromkeys((*self.many(SIGNS), *signs))):
            given[SIGNS] = tuple(sign for sign in all_signs if sign != NONE) or all_signs
        return replace(self, given=given)


def answers_of(check_in: CheckIn, plans: Mapping[str, Plan]) -> Answers:
    """Convert a stored check-in to answers; its plan must be among ``plans``."""
    return Answers({name: texts for name, texts in _answered(check_in, plans) if any(texts)})


def _with_tapped_sleep(given: Mapping[str, tuple[str, ...]]) -> Mapping[str, tuple[str, ...]]:
    """Keep the hours that were tapped beside written ones that stand as the page showed them."""
    shown = given.get(SLEEP_SHOWN, ())
    tapped = tuple(text for text in given.get(_SLEEP, ()) if text and text not in shown)
    return {**given, _SLEEP: tapped} if tapped and any(shown) else given


def _renumber_pains(given: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    """Number the pains anew, without those that are not described."""
    kept = {name: texts for name, texts in given.items() if not name.startswith("pain/")}
    described = (n for n in range(MOST_PAINS) if _describes_pain(given, n))
    for number, before in enumerate(described):
        for part in _PAIN_PARTS:
            if (name := f"pain/{before}/{part}") in given:
                kept[f"pain/{number}/{part}"] = given[name]
    return kept


def _describes_pain(given: Mapping[str, tuple[str, ...]], number: int) -> bool:
    parts = (given.get(f"pain/{number}/{part}", ()) for part in _PAIN_PARTS)
    return any(text.strip() for texts in parts for text in texts)


def _answered(
    check_in: CheckIn, plans: Mapping[str, Plan]
) -> Iterator[tuple[str, tuple[str, ...]]]:
    plain = to_json(check_in)
    yield "plan", (name_of(check_in.plan, plans),)
    for group, rating in check_in.soreness.items():
        yield f"soreness/{group}", (RATING.write(rating),)
    for name, control in ANSWERS.items():
        yield name, _written(control, _found(plain, name))
    if check_in.warning_signs is not None:
        yield SIGNS, check_in.warning_signs or (NONE,)
    if check_in.pain is not None:
        yield "pain", (SOME if check_in.pain else NONE,)
        for number, pain in enumerate(plain["pain"]):
            yield from _pain(number, pain)


def _pain(number: int, pain: Mapping[str, Any]) -> Iterator[tuple[str, tuple[str, ...]]]:
    for part, control in OF_A_PAIN.items():
        yield f"pain/{number}/{part}", _written(control, pain.get(part))
    yield f"pain/{number}/muscle_groups", tuple(pain.get("muscle_groups", ()))


def _written(control: Control, value: Any) -> tuple[str, ...]:
    return () if value is None else (control.write(value),)


def _found(plain: Mapping[str, Any], name: str) -> Any:
    """Return the value at the place that the name of a control says, None if there is none."""
    value: Any = plain
    for step in name.split("/"):
        value = value.get(step) if isinstance(value, Mapping) else None
    return value


WHOLE_PAGE = ""
"""The control that a fault belongs to when it is none of them."""

_ASKED = {"soreness", "pain", SIGNS, "plan"} | {name.partition("/")[0] for name in ANSWERS}
_PAIN_PART = re.compile(rf"(pain/[0-9]+)(/(?:{'|'.join(_PAIN_PARTS)}))?")


@dataclass(frozen=True, slots=True)
class Faults:
    """The name of a sentence on what is wrong, by control."""

    by_control: Mapping[str, str]


def parse_check_in(
    answers: Answers,
    athlete: Athlete,
    on: date,
    plans: Mapping[str, Plan],
    stored: Mapping[str, Any] | None,
) -> CheckIn | Faults:
    """Convert answers to a check-in, or return everything that is wrong with them.

    What the page does not ask about stays as in ``stored`` (the JSON form of a check-in), and so
    does what a form has no control for: a page that was opened before there was one.
    """
    contradictions = dict(_contradictions(answers, plans))
    answers = _with_wellness(answers)
    before = stored or {}
    plain = {name: value for name, value in before.items() if name not in _ASKED}
    plain |= {"athlete_id": athlete.id, "date": on.isoformat()}
    plain |= _reported(answers, before) | _planned(answers, athlete, on, plans)
    try:
        check_in = load_check_in(plain)
    except InvalidInput as invalid:
        return Faults({**faults_of(invalid, answers).by_control, **contradictions})
    return Faults(contradictions) if contradictions else check_in


def faults_of(invalid: InvalidInput, answers: Answers) -> Faults:
    """Assign the errors of a schema or of the plausibility check to controls."""
    own = chosen_plan(answers) == OWN
    controls = (_control(error, own) for error in invalid.errors)
    return Faults({control: _sentence(control) for control in controls})


def chosen_plan(answers: Answers) -> str:
    """Return the name of the chosen plan; describing a plan of one's own chooses it."""
    return answers.one("plan") or (OWN if describes_own(answers) else "")


def describes_own(answers: Answers) -> bool:
    """Return whether anything is said of a session of one's own."""
    return any(name.startswith("own/") and answers.one(name) for name in answers.given)


def _contradictions(answers: Answers, plans: Mapping[str, Plan]) -> Iterator[tuple[str, str]]:
    chosen = chosen_plan(answers)
    if not chosen:
        yield "plan", "phone.wrong.plan_missing"
    elif chosen != OWN and chosen not in plans:
        yield "plan", "phone.wrong.choice"
    elif chosen != OWN and describes_own(answers):
        yield "plan", "phone.wrong.plan_twice"
    if answers.one("pain") == NONE and _pains(answers):
        yield "pain", "phone.wrong.pain_and_none"
    if answers.one("pain") == SOME and not _pains(answers):
        yield "pain/0/where", "phone.wrong.pain_where"
    if answers.one("pain") not in ("", NONE, SOME):
        yield "pain", "phone.wrong.choice"
    if answers.one(WELL) and _says_otherwise(answers):
        yield WELL, "phone.wrong.well_and_not"
    if plans.get(chosen) and not _says_anything(answers):
        yield WELL, "phone.wrong.nothing"
    if len(set(filter(None, answers.many(_SLEEP)))) > 1:
        yield _SLEEP, "phone.wrong.sleep_twice"
    yield from _contradictions_of_heat(answers)


def _says_otherwise(answers: Answers) -> bool:
    """Return whether pain, an illness or a sign is answered with anything but none."""
    said = {answers.one("pain"), answers.one("illness"), *answers.many(SIGNS)}
    return answers.pains() > 0 or not said <= {"", NONE}


def _says_anything(answers: Answers) -> bool:
    """Return whether anything but the plan is answered."""
    return any(
        answers.one(name)
        for name in answers.given
        if name not in (DATE, SEEN, SLEEP_SHOWN, "plan") and not name.startswith("own/")
    )


def _with_wellness(answers: Answers) -> Answers:
    """Answer pain, illness and warning signs with none where the one control for them is ticked
    and they are not answered themselves."""
    if not answers.one(WELL):
        return answers
    silent = (name for name in ("pain", "illness", SIGNS) if not answers.one(name))
    return answers.replaced(dict.fromkeys(silent, (NONE,)))


def _contradictions_of_heat(answers: Answers) -> Iterator[tuple[str, str]]:
    air = ("heat/temperature_c", "heat/humidity_percent")
    given = [name for name in air if answers.one(name)]
    if given and answers.one("heat/wbgt_c"):
        yield air[0], "phone.wrong.heat_twice"
    elif len(given) == 1:
        missing = next(name for name in air if name not in given)
        yield missing, "phone.wrong.heat_pair"


def _reported(answers: Answers, before: Mapping[str, Any]) -> dict[str, Any]:
    """Collect everything but the plan, in the JSON form of a check-in."""
    reported: dict[str, Any] = {"soreness": _soreness(answers, before.get("soreness", {}))}
    for name, control in ANSWERS.items():
        section, _, last = name.rpartition("/")
        inner = reported.setdefault(section, {}) if section else reported
        inner[last] = _value(answers, name, control, _found(before, name))
    pains, signs = _pains(answers, before.get("pain", ())), answers.many(SIGNS)
    lists: dict[str, Any] = {}
    if signs:
        lists[SIGNS] = [sign for sign in signs if sign != NONE]
    if pains or answers.one("pain") == NONE:
        lists["pain"] = pains
    return _without_blanks(reported) | lists


def _soreness(answers: Answers, before: Mapping[str, Any]) -> dict[str, Any]:
    section = "soreness/"
    named = {name.removeprefix(section): name for name in answers.given if name.startswith(section)}
    return {
        group: _value(answers, name, RATING, before.get(group)) for group, name in named.items()
    }


def _value(answers: Answers, name: str, control: Control, before: Any) -> Any:
    """Return the value that is answered at a control, empty for none. Where the form has no such
    control it is the value ``before``."""
    if name not in answers.given:
        return "" if before is None else before
    text = answers.one(name)
    return control.value(text, before) if text else ""


def _pains(answers: Answers, before: Sequence[Mapping[str, Any]] = ()) -> list[dict[str, Any]]:
    """List the pains that are described. What the form has no control for stays as it was
    ``before`` at the same place."""
    return [pain for n in range(answers.pains()) if (pain := _one_pain(answers, n, before))]


def _one_pain(answers: Answers, number: int, before: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    name = f"pain/{number}"
    where = answers.one(f"{name}/where")
    same: Mapping[str, Any] = next((one for one in before if one["where"] == where), {})
    pain: dict[str, Any] = {
        part: _value(answers, f"{name}/{part}", control, same.get(part))
        for part, control in OF_A_PAIN.items()
    }
    return _without_blanks(pain | {"muscle_groups": list(answers.many(f"{name}/muscle_groups"))})


def _planned(
    answers: Answers, athlete: Athlete, on: date, plans: Mapping[str, Plan]
) -> dict[str, Any]:
    chosen = chosen_plan(answers)
    if chosen != OWN:
        planned = CheckIn(athlete.id, on, tuple(plans.get(chosen, ())))
        return {"plan": to_json(planned)["plan"]}
    block: dict[str, Any] = {
        part: _value(answers, f"own/{part}", control, None)
        for part, control in OF_OWN_SESSION.items()
    }
    block["muscle_groups"] = list(answers.many("own/muscle_groups"))
    block["starts_at"] = local_moment(on, answers.one("own/starts_at"), athlete.time_zone)
    return {"plan": [_without_blanks(block)]}


def local_moment(on: date, clock: str, zone: str) -> str:
    """Write the moment of a time by the athlete's clock; text that is no time stays."""
    try:
        at = time.fromisoformat(clock)
    except ValueError:
        return clock
    if at.tzinfo is not None:
        return clock
    return normalize_local(datetime.combine(on, at, zone_named(zone))).isoformat()


def _without_blanks(values: Mapping[str, Any]) -> dict[str, Any]:
    """Drop empty values, and sections of nothing else; zero and "no" are answers."""
    inner = {
        name: _without_blanks(value) if isinstance(value, Mapping) else value
        for name, value in values.items()
    }
    return {name: value for name, value in inner.items() if value not in ("", [], {})}


def _control(error: FieldError, own: bool) -> str:
    """Map a JSON Pointer into a check-in to a control."""
    name = error.pointer.removeprefix("/")
    first, *rest = name.split("/")
    if first == "plan":
        return f"own/{rest[1]}" if own and len(rest) > 1 else "plan"
    if first == "warning_signs":
        return first
    if pain := _PAIN_PART.match(name):
        return f"{pain[1]}{pain[2] or '/where'}"
    if first in ANSWERS:
        return first
    return name if first in _ASKED else WHOLE_PAGE


def _sentence(control: str) -> str:
    last = control.rpartition("/")[2]
    if control == WHOLE_PAGE:
        return "phone.wrong.whole"
    return _SENTENCES.get(control) or _SENTENCES.get(last, "phone.wrong.choice")


_SENTENCES = {
    "sleep/hours": "phone.wrong.sleep_hours",
    "sleep/naps_hours": "phone.wrong.naps",
    "own/goal": "phone.wrong.own_goal",
    "own/starts_at": "phone.wrong.own_time",
    "where": "phone.wrong.pain_where",
    "kind": "phone.wrong.pain_kind",
    "temperature_c": "phone.wrong.temperature",
    "jump_height_cm": "phone.wrong.jump",
    "grip_kg": "phone.wrong.grip",
    "heat/temperature_c": "phone.wrong.air",
    "heat/humidity_percent": "phone.wrong.humidity",
    "heat/wbgt_c": "phone.wrong.wbgt",
    "takes/caffeine_mg": "phone.wrong.caffeine",
    "takes/bicarbonate_g": "phone.wrong.bicarbonate",
    "takes/creatine_g": "phone.wrong.creatine",
    "takes/other": "phone.wrong.takes_other",
}


_SLEEP = "sleep/hours"


def hours_written(answers: Answers) -> str:
    """Return the hours slept that are written in words or numbers, empty where they are one of
    those that can be tapped."""
    written = (text.strip() for text in answers.many(_SLEEP))
    return next((text for text in written if text and text not in HOURS_SLEPT), "")


def hours_shown(answers: Answers) -> str:
    """Return the written hours that the page first showed, also where it is shown again."""
    first_shown = answers.given.get(SLEEP_SHOWN)
    return hours_written(answers) if first_shown is None else first_shown[0]


_ILL_ENOUGH = ("below-neck", "fever")


def signs_in(answers: Answers) -> tuple[str, ...]:
    """Return the warning signs that are ticked and known."""
    known = Vocabulary.bundled().warning_signs
    return tuple(sign for sign in answers.many(SIGNS) if sign in known)


def stops_training(answers: Answers) -> bool:
    """Return whether a warning sign, pain, fever or illness below the neck is reported, so that the
    plan matters little."""
    is_ill = answers.one("illness") in _ILL_ENOUGH
    return tells_pain(answers) or is_ill or bool(signs_in(answers))


def tells_pain(answers: Answers) -> bool:
    """Return whether pain is reported or described."""
    return answers.one("pain") == SOME or answers.pains() > 0


def with_plan(answers: Answers, plan: str) -> Answers:
    """Choose this plan where none is chosen."""
    return answers if chosen_plan(answers) else answers.replaced({"plan": (plan,)})


def with_signs_counted(answers: Answers, plan: str) -> Answers:
    """Resolve contradictions in favour of warning signs and pain.

    "None of these" does not count beside a sign, nor "no pain" beside a described pain; ``plan``
    stands in for one that is not chosen.
    """
    counted = with_plan(answers, plan).replaced({SIGNS: signs_in(answers), WELL: ()})
    if answers.one("pain") == NONE and answers.pains():
        return counted.replaced({"pain": ()})
    return counted


def without_faulty(answers: Answers, wrong: Iterable[str]) -> Answers:
    """Drop the answers at faulty controls. A plan is dropped as a whole, and so is a pain, which is
    then not denied either."""
    dropped = {name for control in wrong for name in _dropped_with(control)}
    kept = {name: texts for name, texts in answers.given.items() if not _is_in(name, dropped)}
    # blank, as without its control an answer would stay what it was before
    blank = {name: ("",) for name in ANSWERS if _is_in(name, dropped)}
    return Answers.renumbered(kept | blank)


def section_of(control: str) -> str:
    """Return the section of the page with a control."""
    section = control.partition("/")[0]
    return "plan" if section == "own" else section


def _dropped_with(control: str) -> tuple[str, ...]:
    section, *steps = control.split("/")
    if section_of(control) == "plan":
        return "plan", "own/"
    if section == "pain" and steps:
        return "pain", f"pain/{steps[0]}/"
    return ("heat/",) if section == "heat" else (control,)  # it makes sense only as a whole


def _is_in(name: str, dropped: Iterable[str]) -> bool:
    return any(name == one or (one.endswith("/") and name.startswith(one)) for one in dropped)
