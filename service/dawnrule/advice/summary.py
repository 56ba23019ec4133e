"""How is advice spoken, and what is said while there is none?"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from dawnrule.advice.composer import Composer, left_open, part_at_rest_in
from dawnrule.errors import NotFound
from dawnrule.model import Verdict
from dawnrule.rules.registry import RuleSetLibrary

_SENTENCE_END = re.compile(r"(?<=[.!?])\s+(?=[A-ZÄÖÜ0-9])")


def spoken_summary(
    advice: Mapping[str, Any], composer: Composer, on_pain: Sequence[str] = ()
) -> str:
    """Advice (plain JSON values) in a few sentences that a phone can speak: the verdict with its
    reason, and the first thing to heed; on a day of rest all that is to be heeded, for "call the
    emergency number" may stand second. Of ``on_pain`` (see ``cautions_on_pain``) the first is said
    too, and which part rests on a day that goes on. Without a check-in it is what the headline
    says."""
    if advice["verdict"] is None:
        return str(advice["headline"])
    is_rest = advice["verdict"] == Verdict.REST
    heeded = [advice["caution"] if is_rest else first_sentence(advice["caution"])]
    heeded += map(first_sentence, on_pain[:1])
    caution = " ".join(heeded)
    if advice["rule"] is None and not advice["parts"]:
        return f"{advice['headline']} {caution}"
    said = composer.texts.say(
        "spoken",
        verdict=verdict_text(advice, composer),
        reason=first_sentence(advice["reason"]),
        caution=" ".join(caution.split()),
    )
    rest = part_at_rest_in(advice, composer.vocabulary, composer.texts)
    return f"{said} {rest.said}." if rest and not rest.decides else said


def cautions_on_pain(
    advice: Mapping[str, Any], library: RuleSetLibrary, composer: Composer
) -> list[str]:
    """What notes on pain, illness or a warning sign say. They hold nobody back, but where advice is
    told in short they may not be what is left out. None on a day of rest, so that nothing stands
    behind "get medical care now"; of a rule set that is gone, all notes."""
    notes = advice["notes"]
    if not notes or advice["verdict"] == Verdict.REST:
        return []
    try:
        rules = library.by_digest(advice["rule_set"]["digest"]).rules
    except NotFound:
        return [note["caution"] for note in notes]
    stops = {rule.id for rule in rules if rule.is_stop(composer.dictionary)}
    return [note["caution"] for note in notes if note["rule"]["id"] in stops]


def left_open_in(advice: Mapping[str, Any], composer: Composer) -> str:
    """What the check-in of an advice (plain JSON values) left open, as ``left_open`` says it."""
    trains = bool(advice["parts"]) and advice["verdict"] == Verdict.TRAIN
    return left_open(advice["not_reported"], composer.texts, trains=trains)


def verdict_text(advice: Mapping[str, Any], composer: Composer) -> str:
    """The verdict of an advice (plain JSON values) in words; that on the part at rest where the
    day is told by its rule and goes on otherwise."""
    rest = part_at_rest_in(advice, composer.vocabulary, composer.texts)
    return rest.said if rest and rest.decides else composer.vocabulary.label(advice["verdict"])


def reason_text(advice: Mapping[str, Any], composer: Composer, *, short: bool = False) -> str:
    """Why the verdict of an advice (plain JSON values) is what it is, for where no headline stands;
    ``short`` in a sentence. Where a part rests on a day that goes on, that is said with it."""
    reason = first_sentence(advice["reason"]) if short else str(advice["reason"])
    rest = part_at_rest_in(advice, composer.vocabulary, composer.texts)
    if rest is None:
        return reason
    return f"{rest.said}: {reason}" if rest.decides else f"{reason} {rest.said}."


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
