"""Which answers are taken whatever is wrong with the others, because they stop training? (pure)

Whoever ticks a warning sign is told to get medical care, and not to mend a form first.
"""

from __future__ import annotations

from collections.abc import Iterable

from dawnrule.vocabulary import Vocabulary
from dawnrule.web.phone.answered import NONE, SIGNS, SOME, Answers
from dawnrule.web.phone.sent import chosen_plan

_ILL_ENOUGH = ("below-neck", "fever")


def signs_in(answers: Answers) -> tuple[str, ...]:
    """The warning signs that are ticked, of those that there are."""
    known = Vocabulary.shipped().warning_signs
    return tuple(sign for sign in answers.many(SIGNS) if sign in known)


def stops_training(answers: Answers) -> bool:
    """Whether a warning sign, pain or such an illness is reported that the plan matters little."""
    in_pain = answers.one("pain") == SOME or answers.pains() > 0
    return in_pain or answers.one("illness") in _ILL_ENOUGH or bool(signs_in(answers))


def with_plan(answers: Answers, plan: str) -> Answers:
    """The answers, with this plan where none is chosen."""
    return answers if chosen_plan(answers) else answers.but({"plan": (plan,)})


def heeded(answers: Answers, plan: str) -> Answers:
    """The answers as they count with a warning sign: "none of these" does not count beside one,
    nor "no pain" beside a pain that is described; ``plan`` stands in for one that is not chosen."""
    counted = with_plan(answers, plan).but({SIGNS: signs_in(answers)})
    if answers.one("pain") == NONE and answers.pains():
        return counted.but({"pain": ()})
    return counted


def without(answers: Answers, wrong: Iterable[str]) -> Answers:
    """The answers but those at controls that are wrong. A plan stands or falls as a whole, and so
    does a pain, which is then not denied either."""
    fallen = {name for control in wrong for name in _falling_with(control)}
    kept = {name: texts for name, texts in answers.given.items() if not _is_in(name, fallen)}
    return Answers.in_a_row(kept)


def section_of(control: str) -> str:
    """The part of the page that a control stands in."""
    section = control.partition("/")[0]
    return "plan" if section == "own" else section


def _falling_with(control: str) -> tuple[str, ...]:
    section, *steps = control.split("/")
    if section_of(control) == "plan":
        return "plan", "own/"
    if section == "pain" and steps:
        return "pain", f"pain/{steps[0]}/"
    return (control,)


def _is_in(name: str, fallen: Iterable[str]) -> bool:
    return any(name == one or (one.endswith("/") and name.startswith(one)) for one in fallen)
