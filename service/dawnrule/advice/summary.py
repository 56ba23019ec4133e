"""Summaries of advice in a few sentences, for speech, tables and sheets (pure)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from dawnrule.advice.composer import Composer, RestingParts, unanswered_text
from dawnrule.errors import NotFound
from dawnrule.model import Verdict
from dawnrule.model.advice import Advice, NoAdvice
from dawnrule.rules.registry import RuleSetLibrary

_SENTENCE_END = re.compile(r"(?<=[.!?])\s+(?=[A-ZÄÖÜ0-9])")


def spoken_summary(
    advice: Advice | NoAdvice, composer: Composer, cautions_on_pain: Sequence[str] = ()
) -> str:
    """Summarise advice in a few sentences that a phone can speak: the verdict with its reason, and
    the first sentence of the caution.

    On a day of rest the whole caution is spoken, for "call the emergency number" may stand second.
    The first of ``cautions_on_pain`` is added, and which part rests on a day that goes on. Without
    a check-in the headline is the summary.
    """
    if isinstance(advice, NoAdvice):
        return advice.headline
    is_rest = advice.verdict is Verdict.REST
    cautions = [advice.caution if is_rest else first_sentence(advice.caution)]
    cautions += map(first_sentence, cautions_on_pain[:1])
    caution = " ".join(cautions)
    if advice.rule is None and not advice.parts:
        return f"{advice.headline} {caution}"
    summary = composer.texts.say(
        "spoken",
        verdict=verdict_text(advice, composer),
        reason=first_sentence(advice.reason),
        caution=" ".join(caution.split()),
    )
    rest = _resting_parts(advice, composer)
    return f"{summary} {rest.text}." if rest and not rest.decides else summary


def cautions_on_pain(
    advice: Advice | NoAdvice, library: RuleSetLibrary, composer: Composer
) -> list[str]:
    """List the cautions of notes on pain, illness or a warning sign, which a short form of advice
    must not leave out although they change no verdict.

    None on a day of rest, so that nothing follows "get medical care now". All notes where the rule
    set is gone.
    """
    if isinstance(advice, NoAdvice) or not advice.notes or advice.verdict is Verdict.REST:
        return []
    try:
        rules = library.by_digest(advice.rule_set.digest).rules
    except NotFound:
        return [note.caution for note in advice.notes]
    stops = {rule.id for rule in rules if rule.is_stop(composer.dictionary)}
    return [note.caution for note in advice.notes if note.rule.id in stops]


def unanswered_questions(advice: Advice | NoAdvice, composer: Composer) -> str:
    """Say which questions that can stop training a check-in left open; empty if none."""
    trains = bool(advice.parts) and advice.verdict is Verdict.TRAIN
    return unanswered_text(advice.not_reported, composer.texts, trains=trains)


def verdict_text(advice: Advice, composer: Composer) -> str:
    """Say the verdict; that on the resting parts where their rule decides the day."""
    rest = _resting_parts(advice, composer)
    return rest.text if rest and rest.decides else composer.vocabulary.label(advice.verdict)


def reason_text(advice: Advice | NoAdvice, composer: Composer, *, short: bool = False) -> str:
    """Say the reason where no headline stands beside it, with the parts that rest on a day that
    goes on; ``short`` takes its first sentence only."""
    reason = first_sentence(advice.reason) if short else advice.reason
    rest = None if isinstance(advice, NoAdvice) else _resting_parts(advice, composer)
    if rest is None:
        return reason
    return f"{rest.text}: {reason}" if rest.decides else f"{reason} {rest.text}."


def without_check_in(athlete_id: str, day: date, composer: Composer) -> NoAdvice:
    """Answer for a date without a check-in."""
    return NoAdvice(athlete_id, day, composer.texts.say("no_check_in", date=day.isoformat()))


def first_sentence(text: str) -> str:
    """The first sentence of a text, on one line."""
    return _SENTENCE_END.split(" ".join(text.split()), maxsplit=1)[0]


def _resting_parts(advice: Advice, composer: Composer) -> RestingParts | None:
    return RestingParts.of_advice(advice, composer.vocabulary, composer.texts)
