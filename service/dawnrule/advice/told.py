"""How is advice spoken, and what is said while there is none?"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from dawnrule.advice.compose import Composer
from dawnrule.vocabulary import Verdict

_SENTENCE_END = re.compile(r"(?<=[.!?])\s+(?=[A-ZÄÖÜ0-9])")


def spoken(advice: Mapping[str, Any], composer: Composer) -> str:
    """Advice (plain JSON values) in one or two sentences that a phone can speak: the verdict with
    its reason, and the first thing to heed; on a day of rest all that is to be heeded, for "call
    the emergency number" may stand second. Without a check-in it is what the headline says."""
    if advice["verdict"] is None:
        return str(advice["headline"])
    is_rest = advice["verdict"] == Verdict.REST
    caution = advice["caution"] if is_rest else first_sentence(advice["caution"])
    if advice["rule"] is None and not advice["parts"]:
        return f"{advice['headline']} {caution}"
    return composer.texts.say(
        "spoken",
        verdict=composer.vocabulary.label(advice["verdict"]),
        reason=first_sentence(advice["reason"]),
        caution=" ".join(caution.split()),
    )


def without_check_in(athlete_id: str, day: date, composer: Composer) -> dict[str, Any]:
    """What stands in the place of advice, in its shape: no verdict, and a sentence that says so."""
    return {
        "advice_id": None,
        "athlete_id": athlete_id,
        "date": day.isoformat(),
        "verdict": None,
        "headline": composer.texts.say("no_check_in", date=day.isoformat()),
        "rule": None,
        "reason": "",
        "caution": "",
        "parts": [],
        "notes": [],
        "not_reported": [],
        "rule_set": None,
    }


def first_sentence(text: str) -> str:
    """The first sentence of a text, on one line."""
    return _SENTENCE_END.split(" ".join(text.split()), maxsplit=1)[0]
