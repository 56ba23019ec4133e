"""A squad's morning in few words: a line for each athlete, and a text to read out (pure)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from dawnrule.advice.composer import Composer
from dawnrule.advice.summary import sessions_sentences
from dawnrule.model import Verdict
from dawnrule.model.advice import Advice


def what_else(advice: Advice, composer: Composer) -> str:
    """Say what a headline leaves out, as shortly as can be: what may be done instead or within
    which limits; where all is trained as planned, what to heed."""
    sessions = " ".join(sessions_sentences(advice, composer))
    if sessions or advice.verdict is not Verdict.TRAIN:
        return sessions
    return " ".join(f"{note.rule.title}." for note in advice.notes)


@dataclass(frozen=True, slots=True)
class ToReadOut:
    """An athlete by name, with the advice that holds, None where there is none. ``is_urgent`` is
    somebody whom the coach has to see first."""

    name: str
    advice: Advice | None
    is_urgent: bool = False


def read_out(squad: Iterable[ToReadOut], composer: Composer) -> str:
    """Say what each of a squad does this morning, for all to hear or to read.

    It says what to do and never why: nobody else's pain, illness or sleep is for the squad's ears.
    Who does the same is named together, in the order given.
    """
    said: dict[tuple[str, str], list[str]] = {}
    for one in squad:
        said.setdefault(_to_do(one, composer), []).append(one.name)
    return " ".join(
        composer.texts.say(f"read_out.{sentence}", names=composer.texts.listing(names), what=what)
        for (sentence, what), names in sorted(said.items(), key=lambda entry: _ORDER[entry[0][0]])
    )


_ORDER = {
    name: at
    for at, name in enumerate(("train", "other", "swap", "off", "rest", "urgent", "missing"))
}


def _to_do(one: ToReadOut, composer: Composer) -> tuple[str, str]:
    """Choose the sentence for an athlete, and what it says to do."""
    if one.is_urgent:
        return "urgent", ""
    if one.advice is None:
        return "missing", ""
    if one.advice.verdict is Verdict.REST:
        return "rest", ""
    if one.advice.is_day_off:
        return "off", ""
    sessions = " ".join(sessions_sentences(one.advice, composer))
    if sessions:
        return "other", sessions
    return ("train", "") if one.advice.verdict is Verdict.TRAIN else ("swap", "")
