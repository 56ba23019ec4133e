"""How is an athlete's morning told on a page?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from dawnrule.advice.squad_morning import AthleteMorning, Plain, ToldMorning, parts_alike
from dawnrule.advice.told import first_sentence
from dawnrule.vocabulary.texts import capital
from dawnrule.web.language import composer, say, texts, told_here


@dataclass(frozen=True, slots=True)
class PartLine:
    """What is said of some parts alike, and the verdict whose shape stands before it."""

    verdict: str
    said: str


def told_morning(one: AthleteMorning) -> ToldMorning:
    """A morning with the advice that holds."""
    return ToldMorning(one, told_here(one.stored) if one.stored else None)


def parts_of(advice: Plain) -> Iterator[PartLine]:
    """What is said of each part, in as few lines as can be."""
    words = composer().vocabulary
    for parts in parts_alike(advice, words):
        what = texts().listing([words.label(group) for group in parts.muscle_groups])
        goal, verdict = words.label(parts.goal), words.label(parts.verdict)
        sentence = "coach_morning.part" if what else "coach_morning.part_alone"
        said = say(sentence, goal=capital(goal), muscle_groups=what, verdict=verdict)
        opens = parts.opens_note or ""
        if parts.opens_at:
            opens = say("coach_morning.opens", time=_clock_text(parts.opens_at))
        sentences = (said, first_sentence(parts.reason), opens, parts.caution)
        yield PartLine(parts.verdict, " ".join(filter(None, sentences)))


def last_check_in(one: AthleteMorning) -> str:
    """How long somebody has not been heard of."""
    if one.days_without is None:
        return say("coach_morning.last_never")
    sentence = "last_yesterday" if one.days_without == 1 else "last_days"
    return say(f"coach_morning.{sentence}", days=one.days_without, date=one.last_check_in)


def _clock_text(time: str) -> str:
    """A time (RFC 3339, in the athlete's zone) as a clock there shows it: ``2026-03-09 18:00``."""
    return datetime.fromisoformat(time).replace(tzinfo=None).isoformat(" ", "minutes")
